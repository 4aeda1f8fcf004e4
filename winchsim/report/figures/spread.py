"""How far the lift times of many builds lie apart, and which inputs move them."""

import re

import numpy as np

from winchsim.quantity_text import quantity
from winchsim.report.figures.look import (
    BLUE,
    INK,
    PALE,
    VERMILLION,
    Axes,
    Figure,
    Look,
    name_bars,
    plain_ticks,
    stack,
    styled,
)
from winchsim.studies.spread import Ending, Spread

MOST_BARS = 8
"""Inputs that get a bar. [-]"""

_PANELS = {
    "time": ("lift time", "longer"),
    "current": ("current", "more"),
    "teeth": ("tooth factor", "stronger"),
    "hold": ("holding", "holds better"),
}
"""Results that get a panel, the first three that anything moves: name, and what an upward bar
means."""


@styled
def spread_figure(found: Spread, look: Look) -> Figure:
    """Share of the builds below each lift time; and bars for the inputs that move time, current or
    teeth most.

    Parameters
    ----------
    found : Spread
    look : Look
    """
    names = [name for name in _PANELS if _bars(found, name)][:3]
    times = np.sort(found.outcomes.time[found.outcomes.ending == Ending.LIFTED])
    lifted = bool(len(times))
    bar = 1.5 * look.row / look.panel
    shares = [1.0] * lifted + [len(_bars(found, name)) * bar for name in names]
    figure, panels = stack(look, shares or [0.5], 3.0 * len(shares), same_x=False)
    if lifted:
        _distribution(panels[0], times, found, look)
    for axes, name in zip(panels[lifted:], names, strict=False):
        _importance(axes, found, name, look)
    if not shares:
        panels[0].set_axis_off()
        panels[0].text(0, 0.5, "no build lifts, and nothing moves the results more than chance")
    return figure


def _bars(found: Spread, name: str) -> list[tuple[str, float]]:
    """Inputs that move a result more than chance: name and rank correlation."""
    ranked: list[tuple[str, float]] = [
        (re.sub("^strength of (the )?", "", row.path), ranks[name])
        for row, ranks in zip(found.plan.rows, found.ranks, strict=True)
        if abs(ranks[name]) > found.noise[name]
    ]
    return sorted(ranked, key=lambda row: -abs(row[1]))[:MOST_BARS]


def _distribution(axes: Axes, times: np.ndarray, found: Spread, look: Look) -> None:
    shares = 100 * np.arange(len(times) + 1) / found.probabilities["lifted"].of
    axes.step([times[0], *times], shares, label="_builds", where="post", color=INK, zorder=3)
    low, middle, high = np.quantile(times, (0.05, 0.5, 0.95))
    axes.axvspan(low, high, color=PALE, linewidth=0, zorder=0, label="_nine in ten")
    axes.axvline(middle, color=BLUE, linestyle=(0, (5, 1.5)), zorder=2, label="_median")
    room = 0.06 * (times[-1] - times[0]) or 0.05 * times[0]
    axes.set(
        xlim=(times[0] - room, times[-1] + room),
        ylim=(0, 104),
        xlabel="Lift time (s); band: 5 to 95 % of builds",
        ylabel="Builds (%)",
    )
    left = middle > sum(axes.get_xlim()) / 2
    axes.annotate(
        f"median {quantity(float(middle), 's')}",
        (float(middle), 6),
        xytext=(-0.5 * look.font if left else 0.5 * look.font, 0),
        textcoords="offset points",
        ha="right" if left else "left",
        va="bottom",
        color=BLUE,
    )


def _importance(axes: Axes, found: Spread, name: str, look: Look) -> None:
    bars = _bars(found, name)
    for place, (_, value) in enumerate(bars):
        up = value > 0
        axes.barh(
            place,
            value,
            height=0.62,
            color=BLUE if up else "white",
            hatch="" if up else "////",
            edgecolor=BLUE if up else VERMILLION,
            linewidth=look.line / 2,
            label="_rank",
            zorder=2,
        )
    title, upward = _PANELS[name]
    axes.set(
        xlim=(-1, 1),
        ylim=(len(bars) - 0.5, -0.5),
        title=f"Influence on {title}",
        xlabel=f"rank correlation (+: {upward})",
    )
    axes.axvline(0, color=INK, linewidth=look.line / 2, zorder=3)
    name_bars(axes, look, [name for name, _ in bars], 0.52)
    plain_ticks(axes.xaxis, 4)
