"""Where the energy went: the terms of the energy balance as bars."""

from typing import Any

from matplotlib.patches import Patch

from winchsim.model.ledger import ELECTRICAL, Term
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    VERMILLION,
    Figure,
    Look,
    folded,
    name_bars,
    plain_ticks,
    quantity_label,
    stack,
    styled,
)
from winchsim.simulation import EnergyBalance, Record

MOST_BARS = 11
"""Terms with a bar of their own; the smaller ones share the last."""

LEAST_SHARE = 2e-3
"""Terms below this share of all energy go together. [-]"""

_STORED: dict[str, str] = {
    Term.POTENTIAL: "lifting the load",
    Term.KINETIC: "motion at the end",
    Term.ROPE_STRETCH: "rope stretch left",
}
"""What a bar of stored energy is called, where its term alone says too little."""


EnergyBar = tuple[str, float, str]
"""One bar: its name as the reader sees it, its energy [J], and one of `KINDS`."""


def energy_bars(balance: EnergyBalance) -> tuple[tuple[EnergyBar, ...], float]:
    """Bars, the largest first, and the energy that they share out.

    Parameters
    ----------
    balance : EnergyBalance

    Returns
    -------
    (tuple of EnergyBar, float)
        The energy is what the source and emptied stores gave, or all bars together where that is
        more. [J]
    """
    every: list[EnergyBar] = [
        *(
            (_STORED.get(name, name), after - balance.stored_before[name], "stored")
            for name, after in balance.stored_after.items()
        ),
        ("back into the source", -balance.source, "electrical heat"),
        *(
            (name, lost, "electrical heat" if name in ELECTRICAL else "friction")
            for name, lost in balance.spent.items()
        ),
    ]
    bars = sorted((bar for bar in every if bar[1] > 0), key=lambda bar: -bar[1])
    given = max(-sum(min(energy, 0.0) for _, energy, _ in every), sum(e for _, e, _ in bars))
    large = [bar for bar in bars[:MOST_BARS] if bar[1] >= LEAST_SHARE * given]
    rest = bars[len(large) :]
    if len(rest) > 1:
        small = sum(energy for _, energy, _ in rest)
        rest = [(f"{len(rest)} smaller ones", small, "friction")]
    return (*large, *rest), given


KINDS: dict[str, dict[str, Any]] = {
    "stored": {"facecolor": BLUE, "edgecolor": BLUE},
    "electrical heat": {"facecolor": "white", "edgecolor": VERMILLION, "hatch": "////"},
    "friction": {"facecolor": "white", "edgecolor": GREY, "hatch": "---"},
}
"""Look of each kind of bar."""


@styled
def energy_ledger(record: Record, look: Look) -> Figure:
    """Bars of where the energy went, with their amounts and shares.

    Parameters
    ----------
    record : Record
    look : Look
    """
    (bars, given), unit = energy_bars(record.energy), look.unit("J")
    count, room = max(len(bars), 1), 0.47 * look.width / look.em
    names = [name for name, _, _ in bars]
    pitch = 1.9 if any(folded(name, look, ems=room)[1:] for name in names) else 1.3
    figure, (axes,) = stack(look, [pitch * count * look.row / look.panel], 2.5)
    for i, (_, energy, kind) in enumerate(bars):
        amount = in_unit(energy, unit)
        axes.barh(i, amount, height=0.68, zorder=2, linewidth=look.line / 2, **KINDS[kind])
        share = f" · {quantity(energy / given, '%')}" if given > 0 else ""
        axes.annotate(
            quantity(energy, unit) + share,
            (amount, i),
            xytext=(0.5 * look.font, 0),
            textcoords="offset points",
            va="center",
            annotation_clip=False,
        )
    name_bars(axes, look, names, 0.47, most=2)
    most = in_unit(max((energy for _, energy, _ in bars), default=1.0), unit) * 1.02 or 1.0
    axes.set(ylim=(count - 0.4, -0.6), xlim=(0, most), xlabel=quantity_label("Energy", unit))
    plain_ticks(axes.xaxis, 4)
    if not bars:
        axes.text(0.5, 0.5, "no energy has flowed", transform=axes.transAxes, ha="center")
    figure.legend(
        handles=[Patch(label=name, **style) for name, style in KINDS.items()],
        loc="outside upper left",
        ncols=3,
    )
    return figure
