"""Several lifts on shared axes, and measured points beside the simulation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.transforms import ScaledTranslation

from winchsim.frozen import dataclass
from winchsim.model import Event
from winchsim.quantity_text import PRINTED_UNITS, in_unit, text_of
from winchsim.report.figures.bands import (
    LEFT_EMS,
    Band,
    Panel,
    axis_text,
    compose,
    curve,
    finish,
    level_line,
    numbered,
    room_for,
)
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    LEVEL_WIDTH,
    QUANTITY_COLOURS,
    SERIES,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    fitted,
    plain_ticks,
    size_mm,
    text_width,
)
from winchsim.report.figures.trace import suits, window
from winchsim.report.measured import (
    TRACED,
    TestComparison,
    mean_difference,
    trace_differences,
)
from winchsim.report.plain_text import harmless
from winchsim.report.render.options import sentence_text
from winchsim.report.words.measured import trace as trace_words
from winchsim.report.words.values import signed
from winchsim.scenario.sheet import MeasuredTrace
from winchsim.simulation import Record

MOST_POINTS = 120
"""Most points of a measured trace that are drawn; more are thinned, and the figure says so."""

_LIGHT, _DARK = "#8CC4E8", "#06283F"


@dataclass(frozen=True)
class Run:
    """A record with the name that it goes by in a figure, and the lift times that were measured of
    it. [s]"""

    name: str
    record: Record
    measured: tuple[float, ...] = ()


def overlay(runs: Sequence[Run], look: Look, *, us: bool = False) -> Figure:
    """Height, current and winding temperature of several lifts on shared axes, with a number where
    each is decided.

    Parameters
    ----------
    runs : sequence of Run
        At least one.
    look : Look
    us : bool
        Whether US units are shown at the right.
    """
    heights = [record["height"] for record in _records(runs)]
    wanted = [r.machine.height(r.machine.top_travel) for r in _records(runs)]
    unit = suits("height", np.array([max(float(np.max(np.abs(h))) for h in heights), *wanted]), us)
    warm = suits("temperature", 0.0, us)
    end = max(max(float(run.record.time[-1]), *run.measured, 0.0) for run in runs)
    notes = ("triangles: measured lift times",) if any(run.measured for run in runs) else ()
    with drawing(look):
        panels = [Panel("Height", unit), Panel("Current", "A"), Panel("Winding", warm)]
        band = Band(
            runs[0].record,
            look,
            window(0.0, end),
            panels,
            marked=False,
            notes=notes,
            room=len(runs),
        )
        figure = compose(look, [[band]])
        drawn: list[list[np.ndarray]] = [[], [], []]
        lines = []
        for i, run in enumerate(runs):
            colour, dashes = line_of(i, len(runs))
            r = run.record
            winding = np.max([r[f"motor_{g.number}_winding"] for g in r.machine.groups], axis=0)
            values = (r["height"], r["current"], winding)
            style: dict[str, Any] = {"color": colour, "linestyle": dashes, "label": f"_{i + 1}"}
            for k, (axes, v, u) in enumerate(
                zip(band.axes, values, (unit, "A", warm), strict=True)
            ):
                line = curve(band, axes, v, u, record=r, **style)
                drawn[k].append(in_unit(v, u))
            lines.append(line)
            _mark_end(band, band.axes[0], run, unit, colour, i + 1)
            if run.measured:
                top = in_unit(r.machine.height(r.machine.top_travel), unit)
                times = band.shown.shown(np.array(run.measured))
                _pointers(band.axes[0], times, top, look, f"_measured {i + 1}")
        room_for(band.axes[0], *drawn[0], *[in_unit(w, unit) for w in wanted])
        room_for(band.axes[1], *drawn[1], least=0.02)
        room_for(band.axes[2], *drawn[2], zero=False, least=2.0)
        finish(band)
        figure.legend(
            lines,
            key_of(runs, look),
            loc="lower left",
            bbox_to_anchor=(0.02, 0.0),
            frameon=False,
            handlelength=2.4,
            borderpad=0.2,
            borderaxespad=0.0,
            labelspacing=0.3,
        )
    return figure


def key_of(runs: Sequence[Run], look: Look) -> tuple[str, ...]:
    """Lines of the key: number and name of each lift and what became of it."""
    room = look.width - 7.5 * look.em
    lines = []
    for number, run in enumerate(runs, start=1):
        outcome = _outcome(run.record)
        name = fitted(harmless(run.name), room - text_width(f", {outcome}", look), look)
        lines.append(f"{number}  {name}, {outcome}")
    return tuple(lines)


def line_of(place: int, count: int) -> tuple[str, object]:
    """Colour and dashes of one of several lifts: set apart where they are few, from light to dark
    where they are many."""
    if count <= len(SERIES):
        return SERIES[place]
    share = place / (count - 1)
    light, dark = to_rgb(_LIGHT), to_rgb(_DARK)
    red, green, blue = (a + share * (b - a) for a, b in zip(light, dark, strict=True))
    return to_hex((red, green, blue)), "-"


def _records(runs: Sequence[Run]) -> list[Record]:
    return [run.record for run in runs]


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
    if words == "up":
        return f"up after {text_of(time, 's')}"
    where = (
        "on the floor" if abs(height) < 1e-6 else f"at {text_of(height, suits('height', height))}"
    )
    return f"{words} {where} after {text_of(time, 's')}"


def _mark_end(band: Band, axes: Axes, run: Run, unit: str, colour: str, place: int) -> None:
    """The number of a lift where it was decided."""
    time, height, _ = _ending(run.record)
    numbered(axes, band.look, band.shown.shown(time), in_unit(height, unit), place, colour)


def _pointers(axes: Axes, times: np.ndarray, top: float, look: Look, label: str) -> None:
    """Measured times as triangles that point down at the height reached, clear of the numbers
    there."""
    up = ScaledTranslation(0, 0.9 * look.font / 72, axes.figure.dpi_scale_trans)
    axes.plot(
        times,
        np.full(len(times), top),
        linestyle="none",
        marker=7,
        markersize=look.line * 4,
        color=INK,
        transform=axes.transData + up,
        zorder=7,
        clip_on=False,
        label=label,
    )


# --- measured traces


def with_trace(record: Record, trace: MeasuredTrace, look: Look, *, us: bool = False) -> Figure:
    """Simulated curves with measured points on them, and the difference under each.

    Parameters
    ----------
    record : Record
    trace : MeasuredTrace
        Its time counts from power on.
    look : Look
    us : bool
        Whether US units are shown at the right.
    """
    differences = {d.name: d for d in trace_differences(record, trace)}
    shown = window(0.0, max(float(record.time[-1]), float(np.max(trace.time))))
    names = [(name, unit) for name, unit in TRACED if name in differences]
    panels, units = [], []
    for name, si in names:
        unit = suits(name, record[name], us) if name == "height" else si
        off = differences[name].printed_unit
        panels += [
            Panel(name.capitalize(), unit),
            Panel("Off by", PRINTED_UNITS[off].us or off if us else off, 0.6),
        ]
        units.append(unit)
    step = max(1, math.ceil(len(trace.time) / MOST_POINTS))
    notes = [sentence_text(trace_words(differences[name]), us=us) for name, _ in names]
    if step > 1:
        notes.append(f"one measured point in {step} is drawn; all are counted")
    with drawing(look):
        band = Band(record, look, shown, panels, notes=tuple(notes))
        figure = compose(look, [[band]])
        for k, ((name, _), unit) in enumerate(zip(names, units, strict=True)):
            upper, lower = band.axes[2 * k], band.axes[2 * k + 1]
            d, values = differences[name], getattr(trace, name)
            colour = QUANTITY_COLOURS[name]
            curve(band, upper, record[name], unit, color=colour, label=f"_simulated {name}")
            _points(
                upper,
                shown.shown(trace.time[::step]),
                in_unit(values[::step], unit),
                look,
                "_measured " + name,
            )
            room_for(upper, in_unit(record[name], unit), in_unit(values, unit), least=1e-6)
            small = panels[2 * k + 1].unit
            _points(
                lower,
                shown.shown(d.time[::step]),
                in_unit(d.difference[::step], small),
                look,
                "_difference " + name,
            )
            level_line(lower, look, in_unit(d.mean, small), "_mean")
            room_for(lower, in_unit(d.difference, small), least=1e-6)
        _legend(band)
        finish(band)
    return figure


def _points(axes: Axes, x: np.ndarray, y: np.ndarray, look: Look, label: str) -> None:
    axes.plot(
        x,
        y,
        linestyle="none",
        marker="o",
        markersize=look.line * 2.2,
        markerfacecolor="white",
        markeredgecolor=INK,
        markeredgewidth=look.line * 0.5,
        zorder=3,
        label=label,
    )


def _legend(band: Band) -> None:
    first = band.axes[0]
    lines = [
        line
        for line in first.get_lines()
        if str(line.get_label()).startswith(("_simulated", "_measured"))
    ]
    first.legend(
        lines,
        ["simulated", "measured"],
        loc="upper left",
        frameon=True,
        framealpha=0.85,
        edgecolor="none",
        handlelength=1.8,
        borderpad=0.2,
    )


# --- test sheets


def with_sheet(tests: Sequence[TestComparison], look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """Lift time and steady current over the load, measured and simulated, and the differences in
    per cent.

    Parameters
    ----------
    tests : sequence of TestComparison
        At least one.
    look : Look
    us : bool
        Taken for uniformity: loads are shown in kg.
    """
    em = look.em
    key = 1.9 * em
    tall = min(look.panel, (look.most_height - 4.4 * em) / 3 - key)
    masses = np.array([t.record.machine.body.mass for t in tests])
    with drawing(look):
        figure = blank(look, 3 * (tall + key) + 3.8 * em)
        panels = [
            box(
                figure,
                LEFT_EMS * em,
                3.6 * em + (2 - i) * (tall + key),
                look.width - (LEFT_EMS + 1.5) * em,
                tall,
            )
            for i in range(3)
        ]
        _draw_both(
            panels[0], look, masses, [t.row.measured_time for t in tests], [t.time for t in tests]
        )
        _draw_both(
            panels[1],
            look,
            masses,
            [t.row.measured_current for t in tests],
            [t.current for t in tests],
        )
        _draw_shares(panels[2], look, masses, tests)
        names = (("Lift time", "s"), ("Current", "A"), ("Difference", "%"))
        for axes, (name, unit) in zip(panels, names, strict=True):
            _dress(axes, look, axis_text(name, unit, tall, look), masses, last=axes is panels[2])
    return figure


def _draw_both(
    axes: Axes,
    look: Look,
    masses: np.ndarray,
    measured: Sequence[float | None],
    simulated: Sequence[float | None],
) -> None:
    """Simulated values joined by a line, measured ones as open points."""
    known = [(float(m), v) for m, v in zip(masses, simulated, strict=True) if v is not None]
    line = sorted(dict(known).items())
    axes.plot(
        [m for m, _ in line],
        [v for _, v in line],
        color=BLUE,
        marker="x",
        markersize=look.line * 3,
        label="simulated",
    )
    seen = [(float(m), v) for m, v in zip(masses, measured, strict=True) if v is not None]
    axes.plot(
        [m for m, _ in seen],
        [v for _, v in seen],
        linestyle="none",
        marker="o",
        markerfacecolor="white",
        markeredgecolor=INK,
        markersize=look.line * 3,
        label="measured",
        zorder=3,
    )
    room_for(axes, [v for _, v in known + seen], least=1e-6)
    _key_above(axes)


def _draw_shares(
    axes: Axes, look: Look, masses: np.ndarray, tests: Sequence[TestComparison]
) -> None:
    """Measured less simulated in per cent, with the mean of each as a thin line."""
    drawn: list[float] = []
    for name, marker, colour, values, mean in zip(
        ("time", "current"),
        "os",
        (INK, VERMILLION),
        ([t.time_difference for t in tests], [t.current_difference for t in tests]),
        mean_difference(tests),
        strict=True,
    ):
        known = [(float(m), 100 * v) for m, v in zip(masses, values, strict=True) if v is not None]
        if mean is None:
            continue
        axes.plot(
            [m for m, _ in known],
            [v for _, v in known],
            linestyle="none",
            marker=marker,
            markerfacecolor="white",
            markeredgecolor=colour,
            markersize=look.line * 3,
            label=f"{name}, mean {sentence_text(signed(mean, '%'))}",
            zorder=3,
        )
        axes.axhline(100 * mean, color=colour, linewidth=LEVEL_WIDTH * look.line, label="_mean")
        drawn += [v for _, v in known]
    room_for(axes, drawn, least=1.0)
    axes.axhline(0, color=GREY, linewidth=look.line / 2, label="_zero")
    if drawn:
        _key_above(axes)
    else:
        axes.text(
            0.5,
            0.5,
            "nothing to compare",
            transform=axes.transAxes,
            ha="center",
            va="center",
            color=GREY,
        )


def _key_above(axes: Axes) -> None:
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=2,
        frameon=False,
        borderpad=0.0,
        handlelength=1.2,
        handletextpad=0.5,
        columnspacing=1.0,
        borderaxespad=0.15,
    )


def _dress(axes: Axes, look: Look, label: str, masses: np.ndarray, *, last: bool) -> None:
    wide, _ = size_mm(axes)
    span = float(np.ptp(masses)) or float(masses[0])
    axes.set_xlim(float(masses.min()) - 0.08 * span, float(masses.max()) + 0.08 * span)
    axes.set_ylabel(label, va="top")
    axes.yaxis.set_label_coords(-(LEFT_EMS - 0.5) * look.em / wide, 0.5)
    plain_ticks(axes, look)
    if last:
        axes.set_xlabel("Load (kg)", labelpad=0.25 * look.font)
    else:
        axes.tick_params(labelbottom=False)
