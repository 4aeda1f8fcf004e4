"""Tooth factor of each stage over time: how many times its present force a stage's weaker tooth
would bear."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from winchsim.frozen import dataclass
from winchsim.report.figures.bands import (
    Band,
    Panel,
    compose,
    curve,
    finish,
    limit_line,
    name_curves,
)
from winchsim.report.figures.look import GREY, SERIES, VERMILLION, Look, drawing
from winchsim.report.figures.trace import whole
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
        links = [
            link for link in record.machine.links if link.channel == "mesh" and link.index == index
        ]
        if not links:
            continue
        weaker = min(links, key=lambda link: link.bears)
        force = np.abs(record[f"mesh_{index + 1}_force"])
        with np.errstate(divide="ignore"):
            values = np.where(force > 0, weaker.bears / force, math.inf)
        found.append(StageFactor(mesh.label, weaker.required, values))
    return tuple(found)


def tooth_factors(record: Record, look: Look, *, us: bool = False) -> Figure | None:  # noqa: ARG001 - every figure has the same signature
    """Tooth factor of each stage over time; where the drum is held the factors are bounds and drawn
    thin.

    Parameters
    ----------
    record : Record
    look : Look
    us : bool
        Taken for uniformity: a factor has no unit.
    """
    stages = stage_factors(record)
    if not stages:
        return None
    ranked = sorted(range(len(stages)), key=lambda i: stages[i].worst)
    leading = sorted(ranked[: len(SERIES)])
    with drawing(look):
        notes = ("thin: held, the factor is at most this",) if record.bound.any() else ()
        others = len(stages) > len(leading)
        panels = [Panel("Tooth factor", "", 1.7)]
        band = Band(record, look, whole(record), panels, named=len(leading) + others, notes=notes)
        figure = compose(look, [[band]])
        (axes,) = band.axes
        drawn: dict[int, Line2D] = {}
        for i in reversed(ranked):
            colour, dashes = SERIES[leading.index(i)] if i in leading else (GREY, "-")
            drawn[i] = _draw_stage(band, axes, stages[i], colour, dashes, faint=i not in leading)
        _scale(axes, stages)
        _limits(axes, look, stages)
        rest = [i for i in ranked if i not in leading][:1]
        names = [stages[i].label for i in leading] + ["others"] * len(rest)
        name_curves(band, [drawn[i] for i in (*leading, *rest)], names)
        finish(band)
        _ticks(axes)
    return figure


def _draw_stage(
    band: Band, axes: Axes, stage: StageFactor, colour: str, dashes: object, *, faint: bool
) -> Line2D:
    look, record = band.look, band.record
    values = np.minimum(stage.values, MOST_FACTOR)
    weight = look.line * (0.45 if faint else 1.0)
    free, bound = ~record.bound, record.bound
    style: dict[str, Any] = {"color": colour, "linestyle": dashes}
    name = f"_{stage.label}"
    line = curve(band, axes, values, "", keep=free, linewidth=weight, label=name, **style)
    curve(
        band,
        axes,
        values,
        "",
        keep=bound,
        linewidth=BOUND_WIDTH * weight,
        label=f"{name} bound",
        **style,
    )
    if not faint and math.isfinite(stage.worst) and stage.worst < MOST_FACTOR:
        at = int(np.argmin(stage.values))
        axes.plot(
            [band.shown.shown(record.time[at])],
            [stage.worst],
            marker="o",
            markersize=look.line * 3,
            color=colour,
            markerfacecolor="none" if record.bound[at] else colour,
            label="_worst",
            clip_on=False,
        )
    return line


def _scale(axes: Axes, stages: tuple[StageFactor, ...]) -> None:
    worst = min((stage.worst for stage in stages), default=math.inf)
    axes.set_yscale("log")
    axes.set_ylim(min(0.7, 0.8 * worst) if worst > 0 else 0.1, 1.15 * MOST_FACTOR)


def _ticks(axes: Axes) -> None:
    axes.yaxis.set_major_locator(LogLocator(10, (1, 2, 5)))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.yaxis.set_major_formatter(FuncFormatter(_factor_text))


def _factor_text(value: float, _position: int | None = None) -> str:
    return f"{value:g}" if value < MOST_FACTOR else f"≥{MOST_FACTOR:g}"


def _limits(axes: Axes, look: Look, stages: tuple[StageFactor, ...]) -> None:
    """The band in which teeth break, by hatch and word, and the required factors."""
    low, _ = axes.get_ylim()
    axes.axhspan(
        low,
        1.0,
        facecolor="none",
        edgecolor=VERMILLION,
        hatch="\\\\\\",
        linewidth=0,
        zorder=0.3,
        label="_breaks",
    )
    limit_line(axes, look, 1.0, "breaks below 1")
    for required in sorted({stage.required for stage in stages})[:2]:
        if required > 1:
            limit_line(axes, look, required, f"required {required:g}", below=False)
