"""The curves of one lift: over time height and speed, current, voltage and power, temperatures,
rope tension and tooth factors; and the torque–speed line of the motors with the path that the lift
walks on it."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.ticker import FuncFormatter

from winchsim.frozen import dataclass
from winchsim.model import DriveGroup, DriveLaw, Event, Machine, raising_phase
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.figures.frame import (
    Frame,
    Panel,
    Window,
    broken,
    dress,
    flowed,
    marks_and_key,
    named_events,
    suits,
    timeline,
    whole,
    window,
)
from winchsim.report.figures.look import (
    BLUE,
    GREEN,
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
    below,
    limit_line,
    log_ticks,
    numbered,
    points,
    quantity_label,
    room_for,
    stack,
    styled,
)
from winchsim.simulation import Record

LEAST_MOVE = 0.01
"""Stretches in which the tension moves less, as a share of the weight, are not worth a larger
scale. [-]"""

MOST_TALL = 200.0
"""From this width on a figure is a slide, which has no room for two larger parts. [mm]"""

MOST_GROUPS = 2
"""Motor groups whose temperatures are drawn: two lines each make four."""


@styled
def height_and_speed(record: Record, look: Look) -> Figure:
    """Height and speed of the load over time, with the height asked for."""
    machine = record.machine
    wanted = machine.height(machine.top_travel)
    heights, speeds = record["height"], record["speed"]
    least = 0.1 * machine.scales.drum_speed * machine.layers[0].radius / machine.line.falls
    unit = suits("height", np.append(heights, wanted), look)
    speed = Panel("Speed", suits("speed", np.append(speeds, least), look))
    figure, frame = _curves(
        record,
        look,
        {Panel("Height", unit, 1.2): (heights, [wanted], 0.0), speed: (speeds, [], least)},
    )
    frame.limit(0, wanted, f"target {quantity(wanted, unit)}")
    return figure


@styled
def electrical(record: Record, look: Look) -> Figure:
    """Current, voltage and power of the supply over time."""
    volts, amps = record["voltage"], record["current"]
    limits = sorted({s.current_limit for s in record.machine.phases if s.powered})
    most = 1.6 * float(np.max(np.abs(amps), initial=0.0))
    near = [limit for limit in limits if limit <= most and math.isfinite(limit)][-2:]
    figure, frame = _curves(
        record,
        look,
        {
            Panel("Current", "A"): (amps, near, 0.02),
            Panel("Voltage", "V"): (volts, [], 0.1),
            Panel("Power", "W"): (volts * amps, [], 0.1),
        },
    )
    for limit, side in zip(reversed(near), ("right", "left"), strict=False):
        frame.limit(0, limit, f"limit {quantity(limit, 'A')}", side=side)
    return figure


_Curves = dict[Panel, tuple[np.ndarray, list[float], float]]
"""Values of each panel, what else has to fit in, and its least range, in SI."""


def _curves(record: Record, look: Look, curves: _Curves) -> tuple[Figure, Frame]:
    """A panel for each curve."""
    figure, frame = timeline(record, look, list(curves))
    for place, (panel, (values, more, least)) in enumerate(curves.items()):
        frame.curve(place, values, color=QUANTITY_COLOURS[panel.name.lower()])
        frame.room(place, values, *more, least=least)
    return figure, frame


@styled
def temperatures(record: Record, look: Look) -> Figure:
    """Winding and case temperature of the hottest motor groups over time, with the winding's
    limit."""
    every, unit = record.machine.groups, look.unit("°C")
    groups = sorted(every, key=lambda g: -float(np.max(record[f"motor_{g.number}_winding"])))
    groups = groups[:MOST_GROUPS]
    shown = [(g.number, what) for g in groups for what in ("winding", "case")]
    ambient, limit = record.machine.ambient, min(g.winding_limit for g in groups)
    figure, frame = timeline(record, look, [Panel("Temperature", unit, 1.5)], rows=len(groups))
    values = [record[f"motor_{number}_{what}"] for number, what in shown]
    lines = [
        frame.curve(0, v, color=colour, linestyle=dashes)
        for v, (colour, dashes) in zip(values, SERIES, strict=False)
    ]
    frame.room(0, *values, ambient, limit, zero=False)
    frame.limit(0, limit, f"winding limit {quantity(limit, unit)}")
    names = [f"{what} {number}" if len(every) > 1 else what for number, what in shown]
    lines.append(frame.level(0, ambient, "_ambient"))
    figure.legend(lines, [*names, "ambient"], loc="outside upper left", ncols=3)
    return figure


# --- rope tension


@styled
def tension(record: Record, look: Look) -> Figure:
    """Rope tension over the whole run, and larger where the load lifts off and where events
    crowd."""
    pull = record["tension"]
    steady = record.machine.scales.pull / record.machine.line.falls
    unit = suits("tension", pull, look)
    shown = [whole(record), *zoom_windows(record)[: 1 if look.width > MOST_TALL else 2]]
    marked = [marks_and_key(record, look, each) for each in shown]
    rows = sum(len(key) for _, key in marked) + 1.5 * len(shown) + 1
    figure, axes = stack(look, [1.0] * len(shown), rows, same_x=False)
    for place, (tag, each) in enumerate(zip(("", "A", "B"), shown, strict=False)):
        name = f"{tag}: rope tension" if tag else "Rope tension"
        frame = Frame(record, look, each, [Panel(name, unit)], [axes[place]])
        dress(frame, *marked[place])
        frame.curve(0, pull, color=QUANTITY_COLOURS["tension"])
        drawn = _seen(record, each)
        near = [steady] if drawn.max(initial=0.0) > 0.6 * steady or not tag else []
        frame.room(0, drawn, *near, zero=not tag, least=0.02 * steady)
        weight = frame.level(0, steady, "_weight")
        if tag:  # a letter on the whole run where a larger part is
            start, end = shown[0].shown(each.start), shown[0].shown(each.end)
            axes[0].axvspan(start, end, facecolor=PALE, linewidth=0, zorder=0.2, label="_zoom")
            axes[0].text(
                (start + end) / 2,
                0.1 if tag == "A" else 0.28,
                tag,
                weight="bold",
                color=GREEN,
                transform=axes[0].get_xaxis_transform(),
                ha="center",
            )
    figure.legend([weight], ["weight of the load, per fall of rope"], loc="outside upper left")
    return figure


def _seen(record: Record, shown: Window) -> np.ndarray:
    """Tensions in a stretch of time, those at its edges between two samples included. [N]"""
    time, values = record.time, record["tension"]
    inside = values[(time >= shown.start) & (time <= shown.end)]
    return np.append(inside, np.interp([shown.start, shown.end], time, values))


def zoom_windows(record: Record) -> list[Window]:
    """Stretches that are worth a larger scale: where the rope takes the load, and where grave or
    many events crowd.

    Returns
    -------
    list of Window
        None, one or two, in the order of time; each shorter than a third of the run.
    """
    start, end = float(record.time[0]), float(record.time[-1])
    period = record.machine.scales.bounce_period
    steady = record.machine.scales.pull / record.machine.line.falls
    found: list[Window] = []

    def enlarge(time: float, before: float, after: float) -> None:
        part = window(max(start, time - before * period), min(end, time + after * period), time)
        if 0 < part.span < (end - start) / 3:
            found.append(part)

    taking = record.first(Event.LIFT_OFF) or record.first(Event.TAUT)
    if taking is not None:
        enlarge(taking.time, 2, 10)
    crowd = _crowd(record, found)
    if crowd is not None:
        enlarge(crowd, 3, 9)
    kept = [w for w in found if np.ptp(_seen(record, w)) > LEAST_MOVE * steady]
    if len(kept) == 2 and kept[0].start < kept[1].end and kept[1].start < kept[0].end:
        kept = kept[:1]
    return sorted(kept, key=lambda w: w.start)


def _crowd(record: Record, taken: Sequence[Window]) -> float | None:
    """Time from which the most happens within a few bounces, outside what is shown already; grave
    events count more."""
    events = [
        e
        for e in named_events(record)
        if e.time > record.time[0] and not any(w.start <= e.time <= w.end for w in taken)
    ]
    if not events:
        return None
    stamps = np.asarray([e.time for e in events])
    heavy = np.cumsum([0, *(e.grave for e in events)])
    fresh = np.cumsum([0, 1, *(np.diff(stamps) > 0)])
    ends = np.searchsorted(stamps, stamps + 6 * record.machine.scales.bounce_period, side="right")
    score = fresh[ends] - fresh[:-1] + 0.5 * (heavy[ends] > heavy[:-1])
    best = int(np.argmax(score))
    return float(stamps[best]) if score[best] >= 1.5 else None


# --- tooth factors

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
    axes.axhspan(
        low,
        1.0,
        linewidth=0,
        label="_breaks",
        facecolor="none",
        edgecolor=VERMILLION,
        hatch="\\\\\\",
    )
    limit_line(axes, look, 1.0, "breaks below 1")
    for required in sorted({stage.required for stage in stages if stage.required > 1})[:2]:
        limit_line(axes, look, required, f"required {required:g}", below=False)


# --- torque and speed

MOST_PANELS = 3
"""Groups that get a panel."""

NEAR = 0.06
"""Moments nearer to each other than this share of the panel are one point. [-]"""

POINTS = 160
"""Points of a torque–speed line, which bends at the supply's current limit."""


def motor_line(
    machine: Machine, group: int, windings: Sequence[float], cases: Sequence[float]
) -> tuple[np.ndarray, np.ndarray]:
    """Torque of one motor of a group against its speed at given temperatures, all motors running
    with the voltage, the limit and the resistance of the supply while it raises the load, up to
    where the motor does not pull any more.

    Parameters
    ----------
    machine : Machine
    group : int
        Place in the machine's live groups.
    windings, cases : sequence of float
        Of every live group. [°C]

    Returns
    -------
    (ndarray, ndarray), shape (n,)
        Speed [rad/s], and torque, its own drag included [N·m].
    """
    unit, drum = machine.groups[group], np.linspace(0, 1.5 * machine.scales.drum_speed, POINTS)
    law, speed = DriveLaw(machine, raising_phase(machine), windings, cases), drum * unit.ratio
    made = np.array([law.drive(each).torques[group] for each in drum.tolist()])
    torque = made / unit.count + unit.motor.drag_slope * speed
    pulls = next(iter(np.flatnonzero(torque <= 0)), POINTS) + 1
    return speed[:pulls], torque[:pulls]


@styled
def torque_speed(record: Record, look: Look) -> Figure:
    """Speed of a motor against its torque: the line at the start, the line when hottest, and the
    path of this lift."""
    groups = record.machine.groups[:MOST_PANELS]
    figure, panels = stack(look, [1.9] * len(groups), 5.0 * len(groups), same_x=False)
    for place, group in enumerate(groups):
        _draw_group(panels[place], record, look, place, group)
    return figure


def _draw_group(axes: Axes, record: Record, look: Look, place: int, group: DriveGroup) -> None:
    """Lines and points of one group, and what they mean."""
    torque, speed = record[f"motor_{group.number}_torque"], record[f"motor_{group.number}_speed"]
    m, warm = record.machine, look.unit("°C")
    hottest, warmest = (
        [float(np.max(record[f"motor_{g.number}_{what}"])) for g in m.groups]
        for what in ("winding", "case")
    )
    cold = motor_line(m, place, [g.winding_start for g in m.groups], [m.ambient] * len(m.groups))
    hot = motor_line(m, place, hottest, warmest)
    unit = suits("torque", np.concatenate([torque, cold[1]]), look)
    _, path_torque, path_speed = broken(record, torque, speed)
    name = "path of this lift" + f", group {group.number}" * (len(m.groups) > 1)
    volts, end = quantity(raising_phase(m).voltage, "V"), quantity(hottest[place], warm)
    start = f"at {volts}, winding {quantity(group.winding_start, warm)}"
    lines: list[tuple[np.ndarray, np.ndarray, dict[str, Any]]] = [
        (path_speed, path_torque, {"color": INK, "zorder": 2, "label": name}),
        (*cold, {"color": PALE, "linewidth": 3.2 * look.line, "zorder": 1, "label": start}),
        (
            *hot,
            {
                "color": VERMILLION,
                "linestyle": SERIES[2][1],
                "zorder": 1.4,
                "label": f"winding {end}",
            },
        ),
    ]
    for fast, pull, style in lines:
        axes.plot(in_unit(pull, unit), in_unit(fast, "rpm"), **style)
    thin, drag = 0.5 * look.line, group.motor.drag
    axes.axvline(
        in_unit(drag, unit), color=BLUE, linewidth=thin, label=f"own drag {quantity(drag, unit)}"
    )
    room_for(axes, *(in_unit(each, "rpm") for each in (speed, cold[0], hot[0])))
    least = in_unit(min(0.0, float(np.min(torque))), unit)
    stalled = group.motor.constant * group.fit.stall_current
    most = in_unit(max(float(np.max(torque)), float(np.max(cold[1])), 1e-3 * stalled), unit)
    axes.axvline(0.0, color=GREY, linewidth=thin, zorder=1)
    axes.set(
        xlim=(least - 0.04 * (most - least), most + 0.08 * (most - least)),
        xlabel=quantity_label("Torque of one motor, its own drag included", unit),
        ylabel=quantity_label("Motor speed", "rpm"),
    )
    axes.legend(loc="lower left", bbox_to_anchor=(-0.1, 1.0), ncols=2)
    shown = in_unit(torque, unit), in_unit(speed, "rpm")
    below(axes, look, flowed(_mark_moments(axes, look, record, *shown), look))


def _mark_moments(
    axes: Axes, look: Look, record: Record, x: np.ndarray, y: np.ndarray
) -> list[str]:
    """Numbered points of the path at the events that matter; returns their names. Moments that lie
    on each other share a point."""
    wide, high = np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())
    found: list[tuple[str, int]] = []
    for name, at in _moments(record):
        for i, (others, there) in enumerate(found):
            apart = np.hypot((x[at] - x[there]) / wide, (y[at] - y[there]) / high)
            if apart < NEAR and name not in others:
                found[i] = f"{others}, {name}", there
                break
        else:
            found.append((name, at))
    for n, (_, at) in enumerate(found, start=1):
        numbered(axes, look, x[at], y[at], n, INK)
    return [f"{n} {names}" for n, (names, _) in enumerate(found, start=1)]


def _moments(record: Record) -> list[tuple[str, int]]:
    """Names and samples of the moments that are marked on the path, the first of each kind."""
    found, time = [], record.time
    raising = np.flatnonzero((record["speed"] > 0) & (record.phase == record.phase[0]))
    if raising.size:
        half = (time[raising[0]] + time[raising[-1]]) / 2
        middle = int(raising[np.argmin(np.abs(time[raising] - half))])
        found.append((f"midway, {quantity(float(time[middle]), 's')}", middle))
    marked = (Event.LIFT_OFF, Event.TOP, Event.LANDED)
    firsts = {e.event: e for e in reversed(named_events(record)) if e.grave or e.event in marked}
    found += [
        (e.short, int(np.searchsorted(time, e.time, side="left")))
        for e in sorted(firsts.values(), key=lambda e: e.time)
    ]
    return [*found, ("start", 0)]
