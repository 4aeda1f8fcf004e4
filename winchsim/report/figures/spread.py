"""How far the lift times of many builds lie apart, and which inputs move them."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from winchsim.quantity_text import quantity
from winchsim.report.figures.bands import LEFT_EMS
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    fitted,
    plain_ticks,
    quantity_label,
)  # fmt: skip
from winchsim.studies.spread import Spread, Uncertain
from winchsim.studies.spread.outcomes import Ending

Bar = tuple[str, float]

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


def spread_figure(found: Spread, look: Look) -> Figure:
    """Share of the builds below each lift time; and bars for the inputs that move time, current or
    teeth most.

    Parameters
    ----------
    found : Spread
    look : Look
    """
    wanted = [name for name in _PANELS if _bars(found, name)]
    names = wanted[:3]
    em = look.em
    times = np.sort(found.outcomes.time[found.outcomes.ending == Ending.LIFTED])
    bar = 1.5 * look.row
    heights = [len(_bars(found, name)) * bar for name in names]
    head, foot = 1.6 * look.row, 3.6 * em
    distribution = look.panel + foot + 0.6 * em if len(times) else 0.0
    total = distribution + sum(height + head + foot for height in heights) + em
    with drawing(look):
        figure = blank(look, max(total, 4 * em))
        top = total - 0.8 * em
        if len(times):
            axes = box(
                figure,
                LEFT_EMS * em,
                top - look.panel,
                look.width - (LEFT_EMS + 1.5) * em,
                look.panel,
            )
            _distribution(axes, times, found, look)
            top -= distribution
        for name, height in zip(names, heights, strict=True):
            _importance(figure, found, name, look, top, height, head)
            top -= height + head + foot
    return figure


def _bars(found: Spread, name: str) -> list[Bar]:
    """Inputs that move a result more than chance: name and rank correlation."""
    ranked: list[Bar] = [
        (_name(influence.row), influence.ranks[name])
        for influence in found.influences
        if abs(influence.ranks[name]) > found.noise[name]
    ]
    return sorted(ranked, key=lambda row: -abs(row[1]))[:MOST_BARS]


def _name(row: Uncertain) -> str:
    return row.path.removeprefix("strength of the ").removeprefix("strength of ")


def _distribution(axes: Axes, times: np.ndarray, found: Spread, look: Look) -> None:
    made = found.probabilities["lifted"].of
    shares = np.arange(1, len(times) + 1) / made
    axes.plot(
        np.concatenate([times[:1], times]),
        100 * np.concatenate([[0.0], shares]),
        color=INK,
        drawstyle="steps-post",
        label="_builds",
        zorder=3,
    )
    low, middle, high = np.quantile(times, (0.05, 0.5, 0.95))
    axes.axvspan(low, high, color=PALE, linewidth=0, zorder=0, label="_nine in ten")
    axes.axvline(middle, color=BLUE, linestyle=(0, (5, 1.5)), zorder=2, label="_median")
    room = 0.06 * (times[-1] - times[0]) or 0.05 * times[0]
    axes.set_xlim(times[0] - room, times[-1] + room)
    axes.set_ylim(0, 104)
    words = f"median {quantity(float(middle), 's')}"
    left = middle > sum(axes.get_xlim()) / 2
    axes.annotate(
        words,
        (float(middle), 6),
        xytext=(-0.5 * look.font if left else 0.5 * look.font, 0),
        textcoords="offset points",
        ha="right" if left else "left",
        va="bottom",
        color=BLUE,
    )
    plain_ticks(axes, look)
    axes.set_xlabel(quantity_label("Lift time; band: 5th to 95th percentile", "s"))
    axes.set_ylabel("Builds (%)")


def _importance(
    figure: Figure, found: Spread, name: str, look: Look, top: float, height: float, head: float
) -> None:
    bars, em = _bars(found, name), look.em
    names_wide = 0.46 * look.width
    axes = box(figure, names_wide, top - head - height, look.width - names_wide - 1.5 * em, height)
    for place, (_, value) in enumerate(bars):
        y = -place
        colour, hatch = (BLUE, "") if value > 0 else ("white", "////")
        axes.barh(
            [y],
            [value],
            height=0.62,
            color=colour,
            edgecolor=BLUE if value > 0 else VERMILLION,
            hatch=hatch,
            linewidth=look.line / 2,
            label="_rank",
            zorder=2,
        )
    axes.set_xlim(-1, 1)
    axes.set_ylim(0.6 - len(bars), 0.6)
    axes.axvline(0, color=GREY, linewidth=look.line / 2, zorder=3)
    axes.set_yticks([])
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    plain_ticks(axes, look, y=False)
    axes.set_xlabel(f"rank correlation (+: {_PANELS[name][1]})")
    wide, high = figure.get_size_inches() * 25.4
    figure.text(
        0.5 * em / wide,
        (top - 0.4 * em) / high,
        f"Influence on {_PANELS[name][0]}",
        ha="left",
        va="top",
        weight="bold",
    )
    for place, (text, _) in enumerate(bars):
        level = top - head - height * (place + 0.6) / len(bars)
        figure.text(
            (names_wide - 0.6 * em) / wide,
            level / high,
            fitted(text, names_wide - 1.2 * em, look),
            ha="right",
            va="center",
        )
