"""One look for every figure: sizes, type, colours by quantity, and boxes placed in millimetres.

Nothing global is changed: whatever draws does so inside `drawing`, which puts matplotlib's settings
back afterwards.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ticker import FuncFormatter, MaxNLocator

from winchsim.frozen import dataclass

INK, BLUE, VERMILLION, GREEN, PURPLE = "#000000", "#0072B2", "#D55E00", "#009E73", "#CC79A7"
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

LEVEL_WIDTH = 0.5
"""Width of a line that only shows a level to compare with, in widths of a curve; it is solid.
[-]"""

MM = 1 / 25.4


@dataclass(frozen=True)
class Look:
    """Size of a figure and of everything in it.

    Attributes
    ----------
    name : str
        What the user calls it.
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
    """

    name: str
    width: float
    font: float
    line: float
    panel: float
    most_height: float
    most_marks: int

    @property
    def em(self) -> float:
        """Height of the type. [mm]"""
        return self.font / 72 * 25.4

    @property
    def row(self) -> float:
        """Height of a row of type. [mm]"""
        return 1.35 * self.em


COLUMN = Look("column", 86.0, 7.0, 1.2, 30.0, 130.0, 12)
SLIDE = Look("slide", 254.0, 14.0, 2.4, 62.0, 142.0, 14)
LOOKS = {look.name: look for look in (COLUMN, SLIDE)}
"""The sizes, by the name that the user gives."""


def style(look: Look) -> dict[str, Any]:
    """Settings of matplotlib that make this look."""
    thin = look.line / 2
    return {
        "font.family": ["DejaVu Sans"],
        "font.size": look.font,
        "text.parse_math": False,
        "axes.unicode_minus": True,
        "axes.titlesize": look.font,
        "axes.labelsize": look.font,
        "xtick.labelsize": look.font,
        "ytick.labelsize": look.font,
        "legend.fontsize": look.font,
        "axes.linewidth": thin,
        "xtick.major.width": thin,
        "ytick.major.width": thin,
        "xtick.major.size": look.em * 0.9,
        "ytick.major.size": look.em * 0.9,
        "xtick.direction": "out",
        "ytick.direction": "out",
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.edgecolor": GREY,
        "xtick.color": INK,
        "ytick.color": INK,
        "axes.labelcolor": INK,
        "lines.linewidth": look.line,
        "lines.solid_capstyle": "butt",
        "lines.dash_capstyle": "butt",
        "lines.scale_dashes": True,
        "axes.grid": True,
        "grid.color": FAINT,
        "grid.linewidth": thin,
        "axes.axisbelow": True,
        "hatch.linewidth": look.line / 3,
        "figure.facecolor": "white",
        "savefig.facecolor": "white",
        "svg.fonttype": "none",
        "svg.hashsalt": "winchsim",
        "pdf.fonttype": 42,
        "path.simplify": True,
        "path.simplify_threshold": 0.1,
        "agg.path.chunksize": 0,
    }


@contextmanager
def drawing(look: Look) -> Iterator[None]:
    """Matplotlib's defaults with this look, and what was set before when it is left."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(style(look))  # type: ignore[arg-type]
        yield


# --- type


@lru_cache(maxsize=4096)
def _advance(character: str) -> float:
    """Width of one character, in ems; 1 where the typeface lacks it."""
    font = get_font(findfont(FontProperties(family="DejaVu Sans")))
    index = font.get_char_index(ord(character))
    if not index:
        return 1.0
    font.set_size(100, 72)
    return font.load_glyph(index).linearHoriAdvance / 65536 / 100


def has_glyph(character: str) -> bool:
    """Whether the typeface that is drawn with has a character."""
    return bool(
        get_font(findfont(FontProperties(family="DejaVu Sans"))).get_char_index(ord(character))
    )


def text_width(text: str, look: Look) -> float:
    """Width of a line of type. [mm]"""
    return sum(_advance(c) for c in text) * look.em


def fitted(text: str, width: float, look: Look) -> str:
    """Text cut to a width, with an ellipsis where something is left out.

    Parameters
    ----------
    text : str
    width : float
        [mm]
    look : Look
    """
    if text_width(text, look) <= width:
        return text
    while text and text_width(text + "…", look) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def folded(text: str, width: float, look: Look, most: int = 3) -> list[str]:
    """Text in lines of at most a width, broken at blanks where it can be.

    Parameters
    ----------
    text : str
    width : float
        [mm]
    look : Look
    most : int
        Lines at most; the last one is cut where more would be needed. [-]
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, look) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    lines.append(line)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [fitted(line, width, look) for line in lines]


# --- boxes


def blank(look: Look, height: float) -> Figure:
    """Empty figure of the look's width and a height in mm."""
    return Figure(figsize=(look.width * MM, height * MM))


def box(
    figure: Figure, left: float, bottom: float, width: float, height: float, **more: object
) -> Axes:
    """Axes at a place of a figure.

    Parameters
    ----------
    figure : Figure
    left, bottom : float
        From the lower left corner of the figure. [mm]
    width, height : float
        [mm]
    **more
        What matplotlib takes for axes.
    """
    wide, high = (size / MM for size in figure.get_size_inches())
    return figure.add_axes((left / wide, bottom / high, width / wide, height / high), **more)  # type: ignore[call-overload]


def size_mm(axes: Axes) -> tuple[float, float]:
    """Width and height of axes. [mm]"""
    wide, high = axes.figure.get_size_inches() / MM  # type: ignore[union-attr]
    place = axes.get_position()
    return place.width * wide, place.height * high


def plain_ticks(axes: Axes, look: Look, *, x: bool = True, y: bool = True) -> None:
    """Few ticks at round numbers, written without exponents or offsets.

    Parameters
    ----------
    axes : Axes
    look : Look
    x, y : bool
        On which axes.
    """
    width, height = size_mm(axes)
    if x:
        axes.xaxis.set_major_locator(
            MaxNLocator(max(2, int(width / (4.5 * look.em))), steps=[1, 2, 2.5, 5, 10])
        )
        axes.xaxis.set_major_formatter(FuncFormatter(_plain_number))
    if y:
        axes.yaxis.set_major_locator(
            MaxNLocator(max(2, min(6, int(height / (1.8 * look.em)))), steps=[1, 2, 5, 10])
        )
        axes.yaxis.set_major_formatter(FuncFormatter(_plain_number))


def _plain_number(value: float, _position: int | None = None) -> str:
    text = f"{value:.10f}".rstrip("0").rstrip(".") if abs(value) < 1e9 else f"{value:.3g}"
    return "0" if text in ("-0", "") else text.replace("-", "−")


def quantity_label(name: str, unit: str) -> str:
    """Text of an axis: what it is, and its unit in brackets."""
    return f"{name} ({unit})" if unit else name
