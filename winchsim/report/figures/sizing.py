"""Pictures of the studies that choose a part: what each candidate does, over one shared axis, with the band that works."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

from winchsim.quantity_text import in_unit, number
from winchsim.report.figures.look import (
    BLUE,
    GREEN,
    GREY,
    INK,
    PALE,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    plain_ticks,
    quantity_label,
    size_mm,
)
from winchsim.slow import Hold, Lifts
from winchsim.studies.drum import DrumStudy
from winchsim.studies.gears import GearStudy
from winchsim.studies.heaviest import HeaviestStudy
from winchsim.studies.motors import MotorStudy
from winchsim.studies.voltage import VoltageStudy
from winchsim.verdict.candidates import Judged, Wanted
from winchsim.verdict.crosscheck import FullRun

MOST = 6.0
"""Margins and factors are drawn up to this. [-]"""

DASHED, DOTTED = (0, (5, 1.5)), (0, (1.2, 1.2))


@dataclass(frozen=True)
class Axis:
    """The shared axis.

    Attributes
    ----------
    name, unit : str
        Quantity, and the unit that it is drawn in.
    values : ndarray
        Of all candidates. [SI]
    even : bool
        Whether it is divided evenly; else each equal step is an equal factor.
    dots : bool
        Whether candidates are dots rather than points of a line.
    """

    name: str
    unit: str
    values: np.ndarray
    even: bool = False
    dots: bool = False

    @property
    def shown(self) -> np.ndarray:
        """Values in the unit that they are drawn in."""
        return in_unit(self.values, self.unit)  # type: ignore[arg-type, return-value]


def drum_figure(study: DrumStudy, look: Look, *, us: bool = False) -> Figure:
    """Lift time, margins, strength and current over the drum's diameter.

    Parameters
    ----------
    study : DrumStudy
    look : Look
    us : bool
        Whether the axis is in inches.
    """
    choice = study.choice
    axis = Axis("Drum diameter", "in" if us else "mm", choice.values)
    return _sweep(axis, choice.judged, study.wanted, choice.recommended, choice.runs, look)


def motor_figure(study: MotorStudy, look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """The same over the number of motors."""
    choice = study.choice
    axis = Axis("Motors", "", choice.values.astype(float), even=True, dots=True)
    return _sweep(axis, choice.judged, study.wanted, choice.recommended, choice.runs, look)


def voltage_figure(study: VoltageStudy, look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """The same over the supply's voltage."""
    choice = study.choice
    axis = Axis("Supply voltage", "V", choice.values, even=True)
    return _sweep(axis, choice.judged, study.wanted, choice.recommended, choice.runs, look)


def gear_figure(study: GearStudy, look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """The same over the whole ratio, one dot a change of the gears."""
    choice = study.choice
    axis = Axis("Ratio, motor to drum", "", choice.values, dots=True)
    return _sweep(axis, choice.judged, study.wanted, choice.recommended, choice.runs, look)


def heaviest_figure(study: HeaviestStudy, look: Look, *, us: bool = False) -> Figure:
    """The same over the load."""
    best = (
        None if study.keeps_every_limit_up_to is None else int(np.argmin(np.abs(study.masses - study.keeps_every_limit_up_to)))
    )
    axis = Axis("Load", "lb" if us else "kg", study.masses)
    return _sweep(axis, study.judged, study.wanted, best, study.runs, look)


# --- panels ---------------------------------------------------------------------------------------------------------


def _sweep(axis: Axis, judged: Judged, wanted: Wanted, best: int | None, runs: Sequence[FullRun], look: Look) -> Figure:
    """Stacked panels over one axis, with the candidates that work shaded and the recommended one marked."""
    panels: tuple[tuple[str, Callable[[Axes, Axis, Lifts, Look], None]], ...] = (
        ("Lift time (s)", _times),
        ("Motor torque / needed", lambda a, x, lifts, k: _margins(a, x, lifts, k, wanted)),
        ("Strength / load", _factors),
        ("Supply current (A)", _currents),
    )
    em = look.em
    left, right, gap, top = 6.6 * em, 9.5 * em, 1.1 * em, 2.2 * em
    tall = min(look.panel * 0.75, (look.most_height - top - 4 * em) / len(panels) - gap)
    tall = max(tall, 6 * em)
    height = top + len(panels) * (tall + gap) + 3.2 * em
    with drawing(look):
        figure = blank(look, height)
        level = height - top
        for place, (label, draw) in enumerate(panels):
            level -= tall
            axes = box(figure, left, level, look.width - left - right, tall)
            level -= gap
            draw(axes, axis, judged.lifts, look)
            _dress(axes, axis, label, look, last=place + 1 == len(panels))
            _shade(axes, axis, judged)
            if best is not None:
                thin = 0.8 * look.line
                axes.axvline(axis.shown[best], color=GREEN, linewidth=thin, linestyle=DASHED, zorder=1.5, label="_best")
            if place == 0:
                _full(axes, axis, runs, look)
                _legend(axes, axis, best, look)
    return figure


def _dress(axes: Axes, axis: Axis, label: str, look: Look, *, last: bool) -> None:
    shown = axis.shown
    low, high = float(shown.min()), float(shown.max())
    if axis.even:
        axes.set_xlim(low - 0.03 * (high - low), high + 0.03 * (high - low))
    else:
        axes.set_xscale("log")
        axes.set_xlim(low / (high / low) ** 0.03, high * (high / low) ** 0.03)
        axes.xaxis.set_major_locator(FixedLocator(_round_values(low, high, look, axes)))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.4g}"))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_minor_formatter(NullFormatter())
    plain_ticks(axes, look, x=axis.even)
    axes.set_ylabel(label, va="top")
    axes.yaxis.set_label_coords(-6.1 * look.em / size_mm(axes)[0], 0.5)
    if last:
        axes.set_xlabel(quantity_label(axis.name, axis.unit), labelpad=0.25 * look.font)
    else:
        axes.tick_params(labelbottom=False)


def _round_values(low: float, high: float, look: Look, axes: Axes) -> list[float]:
    """1, 2, 5, 10, ... inside a range, fewer of them where they would stand too close."""
    found = [m * 10.0**e for e in range(-4, 6) for m in (1, 1.5, 2, 3, 4, 5, 7)]
    found = [value for value in found if low <= value <= high]
    room = max(3, int(size_mm(axes)[0] / (3.2 * look.em)))
    while len(found) > room:
        found = found[::2]
    return found


def _shade(axes: Axes, axis: Axis, judged: Judged) -> None:
    """Grey, hatched, behind the candidates that do not work."""
    if axis.dots and not axis.even:
        return
    shown = axis.shown
    edges = np.flatnonzero(np.diff(np.concatenate([[False], ~judged.works, [False]]).astype(int)))
    first, last = axes.get_xlim()
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        low = first if start == 0 else (shown[start - 1] + shown[start]) / 2
        high = last if end == len(shown) else (shown[end - 1] + shown[end]) / 2
        axes.axvspan(low, high, facecolor="none", edgecolor=PALE, hatch="////", linewidth=0, zorder=0, label="_does not work")


def _line(axes: Axes, axis: Axis, values: np.ndarray, colour: str, dashes: Any, look: Look, label: str) -> None:
    if axis.dots:
        marker = {BLUE: "o", VERMILLION: "s", INK: "o", GREEN: "^"}[colour]
        axes.plot(axis.shown, values, color=colour, linestyle="none", marker=marker, markersize=look.line * 2, label=label,
                  markerfacecolor="none" if marker == "s" else colour)  # fmt: skip
    else:
        axes.plot(axis.shown, values, color=colour, linestyle=dashes, label=label)


def _beside(axes: Axes, texts: Sequence[tuple[str, str]], look: Look) -> None:
    """Names of the lines, at the right of a panel, in their colours."""
    wide, tall = size_mm(axes)
    for n, (text, colour) in enumerate(texts):
        axes.text(1 + 0.7 * look.em / wide, 1 - (n + 0.6) * look.row / tall, text, color=colour, transform=axes.transAxes,
                  va="center", ha="left")  # fmt: skip


def _times(axes: Axes, axis: Axis, lifts: Lifts, look: Look) -> None:
    times = np.where(lifts.lifted, lifts.lift_time, np.nan)
    _line(axes, axis, times, INK, "-", look, "lift time")
    good = times[np.isfinite(times)]
    if len(good):
        top = 1.1 * min(float(good.max()), 6 * float(np.median(good)))
        axes.set_ylim(0, top)
        holds = np.where(lifts.lifted & (lifts.holding == Hold.HOLDS), 0.04 * top, np.nan)
        style = {"linestyle": "none", "marker": "_"} if axis.dots else {"linewidth": 3 * look.line}
        axes.plot(axis.shown, holds, color=GREEN, label="_holds", **style)  # type: ignore[arg-type]


def _margins(axes: Axes, axis: Axis, lifts: Lifts, look: Look, wanted: Wanted) -> None:
    _line(axes, axis, np.minimum(lifts.stall_margin_cold, 1e3), BLUE, "-", look, "cold")
    _line(axes, axis, np.minimum(lifts.stall_margin_hot, 1e3), VERMILLION, DASHED, look, "windings at limit")
    for value in (1.0, wanted.margin):
        axes.axhline(value, color=GREY, linewidth=0.6 * look.line, linestyle=DOTTED, label="_limit")
    axes.set_ylim(0, _top(lifts.stall_margin_cold))
    mark = "□ " if axis.dots else "– – "
    _beside(axes, (("● cold" if axis.dots else "— cold", BLUE), (f"{mark}hot", VERMILLION),
                   (f"··· {wanted.margin:g} required", GREY)), look)  # fmt: skip


def _factors(axes: Axes, axis: Axis, lifts: Lifts, look: Look) -> None:
    finite = np.where(np.isfinite(lifts.factor), lifts.factor, np.nan)
    kept = np.where(np.isfinite(lifts.factor_over_required), lifts.factor_over_required, np.nan)
    _line(axes, axis, finite, INK, "-", look, "weakest link")
    _line(axes, axis, kept, GREEN, DASHED, look, "over required factor")
    axes.axhline(1.0, color=GREY, linewidth=0.6 * look.line, linestyle=DOTTED, label="_limit")
    axes.set_ylim(0, _top(finite))
    _beside(axes, (("● weakest" if axis.dots else "— weakest", INK), ("▲ / required" if axis.dots else "– – / required", GREEN),
                   ("··· breaks", GREY)), look)  # fmt: skip


def _currents(axes: Axes, axis: Axis, lifts: Lifts, look: Look) -> None:
    running = np.where(lifts.lifted, lifts.peak_current, np.nan)
    _line(axes, axis, running, BLUE, "-", look, "running")
    _line(axes, axis, lifts.standstill_current, VERMILLION, DASHED, look, "standstill")
    axes.set_ylim(bottom=0)
    marks = ("● ", "□ ") if axis.dots else ("— ", "– – ")
    _beside(axes, ((f"{marks[0]}running", BLUE), (f"{marks[1]}standstill", VERMILLION)), look)


def _top(values: np.ndarray) -> float:
    good = values[np.isfinite(values)]
    return max(1.6, min(MOST, 1.1 * float(good.max()))) if len(good) else 1.6


def _full(axes: Axes, axis: Axis, runs: Sequence[FullRun], look: Look) -> None:
    """Lift times of the full runs, as open marks on the line."""
    found = [(axis.shown[run.index], run.full_time) for run in runs if run.full_time is not None]
    if found:
        x, y = zip(*found, strict=True)
        axes.plot(x, y, linestyle="none", marker="D", markerfacecolor="white", markeredgecolor=VERMILLION,
                  markersize=look.line * 3.4, zorder=4, label="run in full", clip_on=False)  # fmt: skip


def _legend(axes: Axes, axis: Axis, best: int | None, look: Look) -> None:
    texts = [("◇ run in full", VERMILLION), ("▬ holds", GREEN)]
    if not axis.dots or axis.even:
        texts.append(("//// does not work", GREY))
    _beside(axes, texts, look)
    if best is not None:
        shown = float(axis.shown[best])
        take = f"{number(shown, 3) if axis.unit else f'{shown:.4g}'} {axis.unit}".strip()
        axes.annotate(take, (axis.shown[best], 1.0), xycoords=("data", "axes fraction"), xytext=(0, 0.35 * look.font),
                      textcoords="offset points", ha="center", va="bottom", color=GREEN)  # fmt: skip
