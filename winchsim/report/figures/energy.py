"""Where the energy went: the heads of the energy books as bars."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from winchsim.frozen import dataclass
from winchsim.model.ledger import Head, HeadKind, kind_of
from winchsim.quantity_text import text_of
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    fitted,
    plain_ticks,
    text_width,
)
from winchsim.simulation import EnergyBooks, Record

MOST_BARS = 11
"""Heads with a bar of their own; the smaller ones share the last."""

LEAST_SHARE = 2e-3
"""Heads below this share of all energy go together. [-]"""

_STORED: dict[str, str] = {
    Head.POTENTIAL: "lifting the load",
    Head.KINETIC: "motion at the end",
    Head.ROPE_STRETCH: "rope stretch left",
}
"""What a bar of stored energy is called, where its head alone says too little."""


@dataclass(frozen=True)
class EnergyBar:
    """One bar.

    Attributes
    ----------
    name : str
        As the reader sees it.
    energy : float
        [J]
    kind : HeadKind
        Stored, electrical or mechanical.
    """

    name: str
    energy: float
    kind: HeadKind


def energy_bars(books: EnergyBooks) -> tuple[tuple[EnergyBar, ...], float]:
    """Bars, the largest first, and the energy that they share out.

    Parameters
    ----------
    books : EnergyBooks

    Returns
    -------
    (tuple of EnergyBar, float)
        The energy is what the source and emptied stores gave, or all bars together where that is
        more. [J]
    """
    gained = {
        name: books.stored_after[name] - books.stored_before[name] for name in books.stored_after
    }
    given = (
        max(books.source, 0.0)
        + sum(-v for v in gained.values() if v < 0)
        + sum(-v for v in books.spent.values() if v < 0)
    )
    bars = [
        EnergyBar(_STORED.get(name, name), value, HeadKind.STORED)
        for name, value in gained.items()
        if value > 0
    ]
    if books.source < 0:
        bars.append(EnergyBar("back into the source", -books.source, HeadKind.ELECTRICAL))
    for name, value in books.spent.items():
        if value > 0:
            bars.append(EnergyBar(name, value, kind_of(name)))
    bars.sort(key=lambda bar: -bar.energy)
    given = max(given, sum(bar.energy for bar in bars))
    large = [bar for bar in bars[:MOST_BARS] if bar.energy >= LEAST_SHARE * given]
    rest = bars[len(large) :]
    if rest:
        name = rest[0].name if len(rest) == 1 else f"{len(rest)} smaller ones"
        kind = rest[0].kind if len(rest) == 1 else HeadKind.MECHANICAL
        large.append(EnergyBar(name, sum(bar.energy for bar in rest), kind))
    return tuple(large), given


def energy_ledger(record: Record, look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """Bars of where the energy went, with joules and shares.

    Parameters
    ----------
    record : Record
    look : Look
    us : bool
        Whether the axis names ft·lbf as well.
    """
    bars, given = energy_bars(record.energy)
    em = look.em
    with drawing(look):
        left = (
            min(max([text_width(bar.name, look) for bar in bars] or [0.0]), 0.43 * look.width)
            + 1.6 * em
        )
        right = max((text_width(_amount(bar, given), look) for bar in bars), default=0.0) + 1.4 * em
        pitch = min(1.75 * em, (look.most_height - 10 * em) / max(len(bars), 1))
        tall = max(len(bars), 1) * pitch + 0.6 * em
        height = tall + 5.8 * em
        figure = blank(look, height)
        axes = box(figure, left, 3.6 * em, look.width - left - right, tall)
        _draw_bars(axes, bars, given, look, left)
        _draw_kinds(figure, height, look)
    return figure


_KINDS = {
    HeadKind.STORED: ("stored", BLUE, ""),
    HeadKind.ELECTRICAL: ("electrical heat", VERMILLION, "////"),
    HeadKind.MECHANICAL: ("friction", GREY, "---"),
}
"""Name, colour and hatch of each kind of head."""


def _amount(bar: EnergyBar, given: float) -> str:
    """What is written beside a bar."""
    return text_of(bar.energy, "J") + (
        f" · {text_of(bar.energy / given, '%')}" if given > 0 else ""
    )


def _draw_bars(
    axes: Axes, bars: tuple[EnergyBar, ...], given: float, look: Look, left: float
) -> None:
    for i, bar in enumerate(bars):
        _, colour, hatch = _KINDS[bar.kind]
        axes.barh(
            i,
            bar.energy,
            height=0.68,
            facecolor=colour if not hatch else "white",
            edgecolor=colour,
            hatch=hatch,
            linewidth=look.line / 2,
            zorder=2,
        )
        axes.annotate(
            _amount(bar, given),
            (bar.energy, i),
            xytext=(0.5 * look.font, 0),
            textcoords="offset points",
            va="center",
            annotation_clip=False,
        )
    axes.set_ylim(max(len(bars), 1) - 0.4, -0.6)
    axes.set_yticks(
        range(len(bars)), [fitted(bar.name, left - 1.4 * look.em, look) for bar in bars]
    )
    axes.tick_params(axis="y", length=0)
    axes.grid(False, axis="y")
    largest = max((bar.energy for bar in bars), default=1.0)
    axes.set_xlim(0, largest * 1.02 or 1.0)
    axes.set_xlabel("Energy (J)", labelpad=0.25 * look.font)
    plain_ticks(axes, look, y=False)
    if not bars:
        axes.text(
            0.5,
            0.5,
            "no energy has flowed",
            transform=axes.transAxes,
            ha="center",
            va="center",
            color=INK,
        )


def _draw_kinds(figure: Figure, height: float, look: Look) -> None:
    """Key of the hatches, above the bars."""
    em = look.em
    strip = box(figure, 0.6 * em, height - 1.7 * em, look.width - 1.2 * em, 1.3 * em)
    strip.set(xlim=(0, look.width - 1.2 * em), ylim=(0, 1.3 * em))
    strip.set_axis_off()
    x = 0.0
    for text, colour, hatch in _KINDS.values():
        strip.barh(
            0.65 * em,
            1.6 * em,
            height=0.9 * em,
            left=x,
            facecolor=colour if not hatch else "white",
            edgecolor=colour,
            hatch=hatch,
            linewidth=look.line / 2,
        )
        strip.text(x + 2.1 * em, 0.6 * em, text, va="center")
        x += 3.4 * em + text_width(text, look)
