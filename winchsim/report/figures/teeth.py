"""Tooth factor of each stage over time: how many times its present force a stage's weaker tooth
would bear."""

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter

from winchsim.frozen import dataclass
from winchsim.report.figures.frame import Frame, Panel, timeline
from winchsim.report.figures.look import (
    GREY,
    SERIES,
    VERMILLION,
    Look,
    limit_line,
    log_ticks,
    points,
    styled,
)
from winchsim.simulation import Record

MOST_FACTOR = 100.0
"""Factors above this are drawn at it: that strong is strong enough. [-]"""

BOUND_WIDTH = 0.4
"""Width of a line where the factor is only a bound, in widths of the curve. [-]"""


@dataclass(frozen=True)
class StageFactor:
    """Tooth factor of one stage over the record.

    Attributes
    ----------
    label : str
        Of the stage.
    required : float
        Factor below which it is a caution. [-]
    values : ndarray, shape (k,)
        Strength over demand; infinite without demand. [-]
    """

    label: str
    required: float
    values: np.ndarray

    @property
    def worst(self) -> float:
        """Least factor of the run."""
        return float(np.min(self.values, initial=math.inf))


def stage_factors(record: Record) -> tuple[StageFactor, ...]:
    """Tooth factor of every spur stage of the train, from the motors on.

    Parameters
    ----------
    record : Record

    Returns
    -------
    tuple of StageFactor
        Of the weaker of pinion and gear; stages without teeth are left out.
    """
    found = []
    for index, mesh in enumerate(record.machine.meshes):
        links = [k for k in record.machine.links if (k.channel, k.index) == ("mesh", index)]
        if links:
            weaker = min(links, key=lambda link: link.bears)
            force = np.abs(record[f"mesh_{index + 1}_force"])
            values = np.full_like(force, math.inf)
            np.divide(weaker.bears, force, out=values, where=force > 0)
            found.append(StageFactor(mesh.label, weaker.required, values))
    return tuple(found)


@styled
def tooth_factors(record: Record, look: Look) -> Figure | None:
    """Tooth factor of each stage over time; where the drum is held the factors are bounds and drawn
    thin.

    Parameters
    ----------
    record : Record
    look : Look
    """
    stages = stage_factors(record)
    if not stages:
        return None
    ranked = sorted(range(len(stages)), key=lambda i: stages[i].worst)
    leading = sorted(ranked[: len(SERIES)])
    notes = ("thin: held, the factor is at most this",) if record.bound.any() else ()
    figure, frame = timeline(record, look, [Panel("Tooth factor", "", 1.7)], notes=notes, rows=2)
    drawn: dict[int, Line2D] = {}
    for i in reversed(ranked):
        colour, dashes = SERIES[leading.index(i)] if i in leading else (GREY, "-")
        drawn[i] = _draw_stage(frame, stages[i], colour, dashes, faint=i not in leading)
    _scale(frame.axes[0], look, stages)
    legend = {stages[i].label if i in leading else "others": drawn[i] for i in (*leading, *ranked)}
    figure.legend(
        legend.values(), legend.keys(), loc="outside upper left", ncols=2 if look.width < 150 else 3
    )
    return figure


def _draw_stage(
    frame: Frame, stage: StageFactor, colour: str, dashes: object, *, faint: bool
) -> Line2D:
    held, name = frame.record.bound, f"_{stage.label}"
    values = np.minimum(stage.values, MOST_FACTOR)
    width = frame.look.line * (0.45 if faint else 1.0)
    style: dict[str, Any] = {"color": colour, "linestyle": dashes}
    line = frame.curve(0, np.where(held, np.nan, values), linewidth=width, label=name, **style)
    style |= {"linewidth": BOUND_WIDTH * width, "label": f"{name} bound"}
    frame.curve(0, np.where(held, values, np.nan), **style)
    if not faint and stage.worst < MOST_FACTOR:
        at = int(np.argmin(stage.values))
        points(
            frame.axes[0],
            [frame.shown.shown(frame.record.time[at])],
            [stage.worst],
            colour=colour,
            markerfacecolor="none" if held[at] else colour,
            label="_worst",
        )
    return line


def _scale(axes: Axes, look: Look, stages: tuple[StageFactor, ...]) -> None:
    """Range and ticks, the band in which teeth break, by hatch and word, and the required
    factors."""
    worst = min(stage.worst for stage in stages)
    low = min(0.7, 0.8 * worst) if worst > 0 else 0.1
    axes.set(yscale="log", ylim=(low, 1.15 * MOST_FACTOR))
    log_ticks(axes.yaxis, math.log10(MOST_FACTOR / low))
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda v, _: f"{v:g}" if v < MOST_FACTOR else f"≥{MOST_FACTOR:g}")
    )
    hatch: dict[str, Any] = {"facecolor": "none", "edgecolor": VERMILLION, "hatch": "\\\\\\"}
    axes.axhspan(low, 1.0, linewidth=0, label="_breaks", **hatch)
    limit_line(axes, look, 1.0, "breaks below 1")
    for required in sorted({stage.required for stage in stages if stage.required > 1})[:2]:
        limit_line(axes, look, required, f"required {required:g}", below=False)
