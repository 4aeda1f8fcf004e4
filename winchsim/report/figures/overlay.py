"""Several lifts on shared axes, and measured points beside the simulation: a trace, a test sheet,
and the tests of a calibration with those to come."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap, to_hex
from matplotlib.transforms import ScaledTranslation

from winchsim.frozen import dataclass
from winchsim.model import Event
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.figures.frame import Frame, Panel, suits, timeline, window
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    QUANTITY_COLOURS,
    SERIES,
    VERMILLION,
    Axes,
    Figure,
    Line2D,
    Look,
    columns,
    numbered,
    points,
    quantity_label,
    room_for,
    stack,
    styled,
)
from winchsim.report.measured import (
    LABELS,
    ComparedTest,
    mean_difference,
    trace_differences,
    trace_sentence,
)
from winchsim.report.render.options import harmless, sentence_text
from winchsim.report.words.values import signed
from winchsim.scenario.trace import MeasuredTrace
from winchsim.simulation import Record
from winchsim.studies.calibrate import UNITS, Calibration, Interval, Kind, MeasuredReading

MOST_POINTS = 120
"""Most points of a measured trace that are drawn; more are thinned, and the figure says so."""

_SHADES = LinearSegmentedColormap.from_list("lifts", ["#8CC4E8", "#06283F"])
"""From the first to the last of many lifts."""


@dataclass(frozen=True)
class DrawnRun:
    """A record with the name that it goes by in a figure, and the lift times that were measured of
    it. [s]"""

    name: str
    record: Record
    measured: tuple[float, ...] = ()


@styled
def overlay(runs: Sequence[DrawnRun], look: Look) -> Figure:
    """Height, current and winding temperature of several lifts on shared axes, with a number where
    each is decided.

    Parameters
    ----------
    runs : sequence of DrawnRun
        At least one.
    look : Look
    """
    machines = [run.record.machine for run in runs]
    wanted = [machine.height(machine.top_travel) for machine in machines]
    heights = [run.record["height"] for run in runs]
    panels = [
        Panel("Height", suits("height", np.concatenate([*heights, wanted]), look)),
        Panel("Current", "A"),
        Panel("Winding", look.unit("°C")),
    ]
    end = max(max(float(run.record.time[-1]), *run.measured, 0.0) for run in runs)
    notes = ["triangles: measured lift times"] if any(run.measured for run in runs) else []
    figure, frame = timeline(
        runs[0].record,
        look,
        panels,
        shown=window(0.0, end),
        marked=False,
        rows=len(runs),
        notes=notes,
    )
    currents = [run.record["current"] for run in runs]
    windings = [
        np.max([run.record[f"motor_{g.number}_winding"] for g in machine.groups], axis=0)
        for run, machine in zip(runs, machines, strict=True)
    ]
    lines = []
    for i, run in enumerate(runs):
        colour, dashes = line_of(i, len(runs))
        style: dict[str, Any] = {"color": colour, "linestyle": dashes, "label": f"_{i + 1}"}
        for place, values in enumerate((heights, currents, windings)):
            line = frame.curve(place, values[i], record=run.record, **style)
        lines.append(line)
        time, height, _ = _ending(run.record)
        numbered(
            frame.axes[0], look, frame.shown.shown(time), frame.value(0, height), i + 1, colour
        )
        _mark_measured(frame, run.measured, wanted[i], f"_measured {i + 1}")
    frame.room(0, *heights, *wanted)
    frame.room(1, *currents, least=0.02)
    frame.room(2, *windings, zero=False, least=2.0)
    figure.legend(lines, key_of(runs, look), loc="outside lower left")
    return figure


def _mark_measured(frame: Frame, times: Sequence[float], height: float, label: str) -> None:
    """Triangles above a height at the times that were measured for it."""
    if not times:
        return
    axes, look = frame.axes[0], frame.look
    lifted = ScaledTranslation(0, 0.9 * look.font / 72, axes.figure.dpi_scale_trans)
    points(
        axes,
        frame.shown.shown(np.array(times)),
        np.full(len(times), frame.value(0, height)),
        7,
        clip_on=False,
        label=label,
        transform=axes.transData + lifted,
        zorder=7,
    )


def key_of(runs: Sequence[DrawnRun], look: Look) -> tuple[str, ...]:
    """Lines of the key: number and name of each lift and what became of it."""
    lines = []
    for number, run in enumerate(runs, start=1):
        outcome, name = _outcome(run.record), harmless(run.name)
        free = columns(look, name, ems=8) - len(outcome)
        name = name if len(name) <= free else name[: max(free, 8)] + "…"
        lines.append(f"{number}  {name}, {outcome}")
    return tuple(lines)


def line_of(place: int, count: int) -> tuple[str, object]:
    """Colour and dashes of one of several lifts: set apart where they are few, from light to dark
    where they are many."""
    return (
        SERIES[place] if count <= len(SERIES) else (to_hex(_SHADES(place / max(count - 1, 1))), "-")
    )


_ENDS = (
    (Event.OVERLOAD, "breaks"),
    (Event.STALLED, "stalls"),
    (Event.PAID_OUT, "runs out to its dead turns"),
    (Event.OVERFLOW, "climbs over the flange"),
    (Event.TOP, "up"),
    (Event.TIME_UP, "is not up in time"),
)
"""What ends a lift, and its name; the first that happened counts."""


def _ending(record: Record) -> tuple[float, float, str]:
    """Time [s] and height [m] at which a lift was decided, and how."""
    up = record.first(Event.TOP)
    for event, words in _ENDS:
        first = record.first(event)
        if first is not None and (up is None or first.time <= up.time):
            return first.time, first.height, words
    return float(record.time[-1]), float(record["height"][-1]), "ends"


def _outcome(record: Record) -> str:
    time, height, words = _ending(record)
    if words != "up":
        words += " on the floor" if abs(height) < 1e-6 else f" at {quantity(height, 'm')}"
    return f"{words} after {quantity(time, 's')}"


# --- measured traces


@styled
def with_trace(record: Record, look: Look, trace: MeasuredTrace) -> Figure:
    """Simulated curves with measured points on them, and the difference under each.

    Parameters
    ----------
    record : Record
    look : Look
    trace : MeasuredTrace
        Its time counts from power on.
    """
    found = trace_differences(record, trace)
    shown = window(0.0, max(float(record.time[-1]), float(np.max(trace.time))))
    panels = []
    for d in found:
        unit = suits(d.name, record[d.name], look) if d.name == "height" else d.unit
        panels += [
            Panel(d.name.capitalize(), unit),
            Panel("Off by", look.unit(d.printed_unit), 0.6),
        ]
    step = max(1, math.ceil(len(trace.time) / MOST_POINTS))
    notes = [sentence_text(trace_sentence(d), us=look.us) for d in found]
    notes += [f"one measured point in {step} is drawn; all are counted"] * (step > 1)
    figure, frame = timeline(record, look, panels, shown=shown, notes=notes, rows=1)

    def marks(place: int, time: np.ndarray, values: np.ndarray, label: str) -> Line2D:
        frame.room(place, values, *([record[d.name]] if place % 2 == 0 else []), least=1e-6)
        x, y = shown.shown(time[::step]), frame.value(place, values[::step])
        return points(frame.axes[place], x, y, label=label)

    for k, d in enumerate(found):
        style: dict[str, Any] = {"color": QUANTITY_COLOURS[d.name], "label": f"_simulated {d.name}"}
        simulated = frame.curve(2 * k, record[d.name], **style)
        measured = marks(2 * k, trace.time, getattr(trace, d.name), f"_measured {d.name}")
        marks(2 * k + 1, d.time, d.difference, f"_difference {d.name}")
        frame.level(2 * k + 1, d.mean, "_mean")
    figure.legend(
        [simulated, measured], ["simulated", "measured"], loc="outside upper left", ncols=2
    )
    return figure


# --- test sheets


@styled
def with_sheet(tests: Sequence[ComparedTest], look: Look) -> Figure:
    """Lift time and steady current over the load, measured and simulated, and the differences in
    per cent.

    Parameters
    ----------
    tests : sequence of ComparedTest
        At least one.
    look : Look
    """
    unit = look.unit("kg")
    loads = in_unit(np.array([t.record.machine.body.mass for t in tests]), unit)
    figure, panels = stack(look, [1.0] * 3, 5.0)
    shares = panels[2]
    rows = (("time", "Lift time (s)", "o", INK), ("current", "Steady current (A)", "s", VERMILLION))
    for axes, (name, label, marker, colour) in zip(panels, rows, strict=False):
        pairs = [getattr(t, name) for t in tests]
        measured, simulated, differences = (
            _known(loads, [getattr(pair, which) for pair in pairs])
            for which in ("measured", "simulated", "difference")
        )
        axes.plot(*simulated, color=BLUE, marker="x", label="simulated")
        points(axes, *measured, label="measured")
        room_for(axes, simulated[1], measured[1], least=1e-6)
        axes.set_ylabel(label)
        mean = mean_difference(pairs)
        if mean is not None:
            words = f"{name}, mean {sentence_text(signed(mean, '%'))}"
            points(shares, differences[0], 100 * differences[1], marker, colour, label=words)
            shares.axhline(100 * mean, color=colour, linewidth=0.6, label="_mean")
    _dress_shares(shares, look)
    span = float(np.ptp(loads)) or float(loads[0])
    shares.set_xlim(float(loads.min()) - 0.08 * span, float(loads.max()) + 0.08 * span)
    shares.set_xlabel(quantity_label("Load", unit))
    figure.legend(*panels[0].get_legend_handles_labels(), loc="outside upper left", ncols=2)
    return figure


def _known(loads: np.ndarray, values: Sequence[float | None]) -> tuple[np.ndarray, np.ndarray]:
    """Loads and values of the tests that have one, by load."""
    found = np.array(values, dtype=float)
    order = np.argsort(loads, kind="stable")
    order = order[np.isfinite(found[order])]
    return loads[order], found[order]


def _dress_shares(axes: Axes, look: Look) -> None:
    """Range, zero and key of the panel of differences in per cent."""
    drawn = [
        np.asarray(line.get_ydata()) for line in axes.get_lines() if line.get_label() != "_mean"
    ]
    room_for(axes, *drawn, least=1.0)
    axes.axhline(0, color=GREY, linewidth=0.6, label="_zero")
    axes.set_ylabel("Difference (%)")
    if drawn:
        axes.legend(
            loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=1 if look.width < TWO_COLUMNS else 2
        )
    else:
        axes.text(
            0.5,
            0.5,
            "nothing to compare",
            color=GREY,
            transform=axes.transAxes,
            ha="center",
            va="center",
        )


# --- calibrations

SHOWN = (Kind.TIME, Kind.CURRENT)
"""What gets a panel, where it was measured."""

TWO_COLUMNS = 150.0
"""Width of a figure from which on its marks are named in two columns. [mm]"""

APART = 0.08
"""Least share of the axis between two numbers of tests. [-]"""


@styled
def measured_and_predicted(found: Calibration, look: Look) -> Figure:
    """Measured against predicted, one panel a quantity; on the line they are equal.

    Parameters
    ----------
    found : Calibration
    look : Look
    """
    kinds = [kind for kind in SHOWN if any(row.kind is kind for row in found.residuals)] or [
        found.residuals[0].kind
    ]
    figure, panels = stack(look, [1.9] * len(kinds), 3.0, same_x=False)
    for axes, kind in zip(panels, kinds, strict=True):
        _panel(axes, found, kind, look)
    lines = {str(line.get_label()): line for axes in panels for line in axes.get_lines()}
    key = {label: line for label, line in lines.items() if not label.startswith("_")}
    figure.legend(
        list(key.values()),
        list(key),
        loc="outside upper left",
        ncols=1 if look.width < TWO_COLUMNS else 2,
    )
    return figure


AFTER: dict[str, Any] = {"markerfacecolor": INK, "label": "calibrated (number: the test)"}
OUTLIER: dict[str, Any] = {
    "marker": "X",
    "colour": VERMILLION,
    "markerfacecolor": VERMILLION,
    "label": "does not fit the others, left out",
}
"""Marks of a test in the calibrated scenario, and of one that is left out."""


def _panel(axes: Axes, found: Calibration, kind: Kind, look: Look) -> None:
    rows = [row for row in found.residuals if row.kind is kind]
    intervals: list[Interval] = [getattr(row, kind) for row in found.predictions if kind in SHOWN]
    coming = [interval for interval in intervals if math.isfinite(interval.value)]
    _line(axes, rows, coming, look)
    for row in rows:
        points(
            axes, [row.before], [row.measured], colour=GREY, label="scenario as it was", zorder=2
        )
        points(axes, [row.predicted], [row.measured], **(OUTLIER if row.is_outlier else AFTER))
    for each in coming:
        high = min(each.high, axes.get_ylim()[1])
        axes.vlines(each.value, each.low, high, color=BLUE, linewidth=2 * look.line, alpha=0.6)
        points(
            axes,
            [each.value],
            [each.value],
            "D",
            BLUE,
            markerfacecolor=BLUE,
            zorder=2.5,
            label=f"test to come, {100 * found.level:.3g} % interval",
        )
    _number(axes, rows, look)
    name, unit = LABELS[kind], UNITS[kind]
    axes.set_xlabel(quantity_label(f"Predicted {name}", unit))
    axes.set_ylabel(quantity_label(f"Measured {name}", unit))


def _line(
    axes: Axes, rows: Sequence[MeasuredReading], coming: Sequence[Interval], look: Look
) -> None:
    """Limits of both axes, and the line on which measured equals predicted."""
    across = [each.value for each in coming]
    across += [v for row in rows for v in (row.before, row.predicted) if math.isfinite(v)]
    up = [*(row.measured for row in rows), *(each.low for each in coming)]
    up += [each.high if math.isfinite(each.high) else 1.5 * each.value for each in coming]
    low, high = min([*across, *up]), max([*across, *up])
    room = 0.08 * (high - low) or 0.1 * high
    axes.set_xlim(min(across) - room, max(across) + room)
    axes.set_ylim(min([*up, min(across)]) - room, max([*up, max(across)]) + room)
    ends = [low - room, high + room]
    axes.plot(ends, ends, color=PALE, linewidth=2 * look.line, zorder=1, label="_equal")


def _number(axes: Axes, rows: Sequence[MeasuredReading], look: Look) -> None:
    """Numbers of the tests at their points, as far as there is room for each."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    taken: list[tuple[float, float]] = []
    shown = [row for row in rows if math.isfinite(row.predicted)]
    for row in sorted(shown, key=lambda row: not row.is_outlier):
        spot = (row.predicted - x0) / (x1 - x0), (row.measured - y0) / (y1 - y0)
        if all(np.hypot(spot[0] - x, spot[1] - y) > APART for x, y in taken):
            taken.append(spot)
            axes.annotate(
                str(row.test.number),
                (row.predicted, row.measured),
                xytext=(0.45 * look.font, -0.35 * look.font),
                textcoords="offset points",
                va="top",
                color=VERMILLION if row.is_outlier else INK,
            )
