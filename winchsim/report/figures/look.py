"""One look for every figure: sizes, type, colours by quantity, and panels over each other.

Nothing global is changed: whatever draws does so inside `drawing`, which puts matplotlib's settings
back afterwards. Places are left to matplotlib's constrained layout.
"""

import textwrap
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import wraps
from typing import Any, TypeVar, cast
from unicodedata import east_asian_width

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from winchsim.frozen import dataclass
from winchsim.quantity_text import PRINTED_UNITS

INK, BLUE, VERMILLION, GREEN = "#000000", "#0072B2", "#D55E00", "#009E73"
GREY, PALE, FAINT = "#5A5A5A", "#D9D9D9", "#EFEFEF"

QUANTITY_COLOURS = {
    "height": BLUE,
    "speed": GREEN,
    "current": VERMILLION,
    "voltage": BLUE,
    "power": INK,
    "tension": INK,
    "winding": VERMILLION,
    "case": BLUE,
    "torque": INK,
}
"""Colour of each quantity, the same in every figure."""

SERIES = (
    (INK, "-"),
    (BLUE, (0, (4, 1.2))),
    (VERMILLION, (0, (1.2, 1.2))),
    (GREEN, (0, (5, 1.2, 1.2, 1.2))),
)
"""Colour and dashes of the first, second, ... of several lines of one quantity: told apart without
colour too."""

LIMIT_DASHES = (0, (9, 2.5, 1.5, 2.5, 1.5, 2.5))
"""Dashes of a limit, and of nothing else."""

MM = 1 / 25.4

WIDE, CHARACTER = 1.05, 0.56
"""Width of a character of East Asian scripts, and of others on average. [em]"""


@dataclass(frozen=True)
class Look:
    """Size of a figure and of everything in it, and the units of its axes.

    Attributes
    ----------
    width : float
        [mm]
    font : float
        Size of the type. [pt]
    line : float
        Weight of a curve. [pt]
    panel : float
        Height of one panel where there are one or two; more are lower. [mm]
    most_height : float
        Height that a figure keeps to as long as its panels stay readable. [mm]
    most_marks : int
        Most events that are marked one by one.
    us : bool
        Whether axes are in the customary units of the United States.
    """

    width: float
    font: float
    line: float
    panel: float
    most_height: float
    most_marks: int
    us: bool = False

    @property
    def em(self) -> float:
        """Height of the type. [mm]"""
        return self.font / 72 * 25.4

    @property
    def row(self) -> float:
        """Height of a row of type. [mm]"""
        return 1.35 * self.em

    def unit(self, unit: str) -> str:
        """Unit that stands on an axis for a printed one."""
        return (PRINTED_UNITS[unit].us or unit) if self.us else unit


COLUMN = Look(86.0, 7.0, 1.2, 30.0, 130.0, 12)
SLIDE = Look(254.0, 14.0, 2.4, 62.0, 142.0, 14)
LOOKS = {"column": COLUMN, "page": Look(178.0, 8.0, 1.3, 42.0, 170.0, 14), "slide": SLIDE}
"""The sizes, by the name that the user gives."""


_TYPE_SIZES = (
    "axes.titlesize",
    "axes.labelsize",
    "xtick.labelsize",
    "ytick.labelsize",
    "legend.fontsize",
    "figure.labelsize",
)


@contextmanager
def drawing(look: Look) -> Iterator[None]:
    """Matplotlib's defaults with this look, and what was set before when it is left."""
    with mpl.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")  # drawn as a box
        mpl.rcdefaults()
        mpl.rcParams.update(_settings(look))
        yield


def _settings(look: Look) -> dict[Any, Any]:
    """Matplotlib's parameters of a look."""
    thin, pad = look.line / 2, 0.4 * look.font / 72
    return {
        "font.family": ["DejaVu Sans"],
        "font.size": look.font,
        "text.parse_math": False,
        "text.hinting": "none",  # widths are then the same at every resolution
        **dict.fromkeys(_TYPE_SIZES, look.font),
        "axes.titlelocation": "left",
        "axes.titleweight": "bold",
        "axes.linewidth": thin,
        "xtick.major.width": thin,
        "ytick.major.width": thin,
        "xtick.major.size": look.em * 0.9,
        "ytick.major.size": look.em * 0.9,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.edgecolor": GREY,
        "lines.linewidth": look.line,
        "lines.markersize": look.line * 2.6,
        "lines.solid_capstyle": "butt",
        "lines.dash_capstyle": "butt",
        "axes.grid": True,
        "grid.color": FAINT,
        "grid.linewidth": thin,
        "axes.axisbelow": True,
        "hatch.linewidth": look.line / 3,
        "legend.frameon": False,
        "legend.borderpad": 0.1,
        "legend.borderaxespad": 0.1,
        "legend.labelspacing": 0.25,
        "legend.columnspacing": 1.2,
        "legend.handlelength": 2.2,
        "figure.constrained_layout.h_pad": pad,
        "figure.constrained_layout.w_pad": pad,
        "figure.facecolor": "white",
        "savefig.facecolor": "white",
        "svg.fonttype": "none",
        "svg.hashsalt": "winchsim",
        "pdf.fonttype": 42,
        "path.simplify": True,
        "path.simplify_threshold": 0.1,
    }


Draw = TypeVar("Draw", bound=Callable[..., Any])


def styled(draw: Draw) -> Draw:
    """A function from something and a look to a figure, drawn in that look; its places are settled
    once, so that saving it again gives the same file."""

    @wraps(draw)
    def drawn(shown: Any, look: Look, *more: Any) -> Any:
        with drawing(look):
            figure = draw(shown, look, *more)
            engine = figure and figure.get_layout_engine()
            if engine:
                engine.execute(figure)
                figure.set_layout_engine("none")
            return figure

    return cast(Draw, drawn)


def columns(look: Look, text: str, *, ems: float = 6.0) -> int:
    """Characters like those of a text that fit beside each other, with a room that stays free.
    [em]"""
    wide = sum(WIDE if east_asian_width(c) in "WF" else CHARACTER for c in text)
    return int((look.width / look.em - ems) * len(text) / max(wide, CHARACTER))


def folded(text: str, look: Look, *, most: int = 3, ems: float = 6.0) -> list[str]:
    """Text in lines that fit into a figure; the last is cut where more would be needed.

    Parameters
    ----------
    text : str
    look : Look
    most : int
        Lines at most. [-]
    ems : float
        Room that stays free beside them. [em]
    """
    return textwrap.wrap(
        text, max(8, columns(look, text, ems=ems)), max_lines=most, placeholder="…"
    )


def stack(
    look: Look, shares: Sequence[float], rows: float = 0.0, *, same_x: bool = True
) -> tuple[Figure, list[Axes]]:
    """Figure of panels from the top down.

    Parameters
    ----------
    look : Look
    shares : sequence of float
        Height of each panel, in those of the look. [-]
    rows : float
        Rows of type above, below and between them, labels of axes apart. [-]
    same_x : bool
        Whether they share the horizontal axis.
    """
    type_height = rows * look.row + (4.5 if same_x else 4.5 * len(shares)) * look.em
    room = (look.most_height - type_height) / sum(shares)
    height = min(look.panel, max(6.5 * look.em, room)) * sum(shares) + type_height
    figure = Figure(figsize=(look.width * MM, height * MM), layout="constrained")
    axes = figure.subplots(
        len(shares), 1, sharex=same_x, squeeze=False, height_ratios=list(shares)
    )[:, 0]
    for each in axes:
        plain_ticks(each.xaxis, look.width / (5.5 * look.em))
        plain_ticks(each.yaxis, 5)
    figure.align_ylabels()
    return figure, list(axes)


def below(axes: Axes, look: Look, lines: Sequence[str]) -> None:
    """Lines of text under the label of an axis, from the left."""
    axes.annotate(
        "\n".join(lines),
        (0, 0),
        xycoords="axes fraction",
        xytext=(-4.0 * look.font, -3.8 * look.font),
        textcoords="offset points",
        va="top",
        annotation_clip=False,
    )


def plain_ticks(axis: Any, most: float) -> None:
    """Few ticks at round numbers, written without exponents or offsets.

    Parameters
    ----------
    axis : Axis
        The horizontal or the vertical one.
    most : float
        Ticks at most. [-]
    """
    axis.set(
        major_locator=MaxNLocator(max(2, int(most)), steps=[1, 2, 2.5, 5, 10]),
        major_formatter=FuncFormatter(_plain_number),
    )


def log_ticks(axis: Any, decades: float) -> None:
    """Logarithmic ticks: as many a decade as there is room for, none unlabelled."""
    steps = (1,) if decades > 2 else (1, 2, 5) if decades > 1 else (1, 1.5, 2, 3, 4, 5, 7)
    axis.set(
        major_locator=LogLocator(10, steps),
        major_formatter=FuncFormatter(_plain_number),
        minor_locator=LogLocator(10, range(1, 10)),
        minor_formatter=NullFormatter(),
    )


def _plain_number(value: float, _position: int | None = None) -> str:
    text = f"{value:.10f}".rstrip("0").rstrip(".") if abs(value) < 1e9 else f"{value:.3g}"
    return "0" if text in ("-0", "") else text.replace("-", "−")


def quantity_label(name: str, unit: str) -> str:
    """Text of an axis: what it is, and its unit in brackets."""
    return f"{name} ({unit})" if unit else name


def room_for(
    axes: Axes, *values: np.ndarray | Sequence[float] | float, zero: bool = True, least: float = 0.0
) -> None:
    """Set the range of a panel so that the values have air around them.

    Parameters
    ----------
    axes : Axes
    *values : array_like
        In the unit of the axis; what is not finite does not count.
    zero : bool
        Whether zero has to be inside.
    least : float
        Least range, in the unit of the axis: noise of a steady quantity is not to fill a panel.
    """
    every = np.concatenate([np.zeros(int(zero)), *(np.ravel(v) for v in values)])
    every = every[np.isfinite(every)]
    low, high = (float(every.min()), float(every.max())) if every.size else (0.0, 0.0)
    if high - low < least:
        middle = (low + high) / 2
        low, high = (0.0, least) if zero and low >= 0 else (middle - least / 2, middle + least / 2)
    span = (high - low) or 1.0
    axes.set_ylim(low - (0.08 * span if low < 0 or not zero else 0.03 * span), high + 0.08 * span)
    if zero and low < 0:
        axes.axhline(0.0, color=GREY, linewidth=mpl.rcParams["axes.linewidth"], label="_zero")


def limit_line(
    axes: Axes, look: Look, level: float, text: str, *, below: bool = True, side: str = "left"
) -> None:
    """A dashed level with its name under or on it.

    Parameters
    ----------
    axes : Axes
    look : Look
    level : float
        In the unit of the axis.
    text : str
        Its name.
    below : bool
        Whether the name stands under the line.
    side : str
        ``left`` or ``right``: where it stands.
    """
    axes.axhline(
        level, color=VERMILLION, linestyle=LIMIT_DASHES, linewidth=look.line * 0.7, label="_limit"
    )
    axes.annotate(
        text,
        (0.02 if side == "left" else 0.98, level),
        xycoords=axes.get_yaxis_transform(),
        xytext=(0, -0.25 * look.font if below else 0.25 * look.font),
        textcoords="offset points",
        ha=side,
        va="top" if below else "bottom",
        color=VERMILLION,
        bbox={"boxstyle": "square,pad=0.05", "facecolor": "white", "alpha": 0.75, "linewidth": 0},
    )


def points(axes: Axes, x: Any, y: Any, marker: Any = "o", colour: str = INK, **more: Any) -> Line2D:
    """Open marks without a line."""
    style: dict[str, Any] = {"markerfacecolor": "white", "markeredgecolor": colour, "zorder": 3}
    return axes.plot(x, y, linestyle="none", marker=marker, **(style | more))[0]


def name_bars(axes: Axes, look: Look, names: Sequence[str], share: float, *, most: int = 1) -> None:
    """Names of horizontal bars, from the first up or down; each is cut to so many lines that leave
    free a share of the figure's width."""
    ems = share * look.width / look.em
    texts = ["\n".join(folded(name, look, most=most, ems=ems)) for name in names]
    axes.set_yticks(range(len(names)), texts)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")


def numbered(axes: Axes, look: Look, x: float, y: float, number: int, colour: str) -> None:
    """A point with its number in it."""
    axes.text(
        x,
        y,
        str(number),
        color="white",
        weight="bold",
        ha="center",
        va="center",
        zorder=6,
        bbox={
            "boxstyle": "circle,pad=0.15",
            "facecolor": colour,
            "edgecolor": "white",
            "linewidth": look.line / 3,
        },
    )
