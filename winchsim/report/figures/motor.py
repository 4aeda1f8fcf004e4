"""The torque–speed line of the motors and the path that this lift walks on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from winchsim.frozen import dataclass
from winchsim.model import Event, Machine
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import raising_phase
from winchsim.model.machine import LiveGroup, PhaseStep
from winchsim.quantity_text import in_unit, text_of
from winchsim.report.figures.bands import LEFT_EMS, flowed, numbered, room_for, write
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    LEVEL_WIDTH,
    PALE,
    SERIES,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    plain_ticks,
    quantity_label,
    size_mm,
)
from winchsim.report.figures.marks import named_events
from winchsim.report.figures.trace import drawn_samples, suits, whole
from winchsim.simulation import Record

MOST_GROUPS = 3
"""Groups that get a panel."""

POINTS = 160
"""Points of a torque–speed line, which bends at the supply's current limit."""


@dataclass(frozen=True)
class MotorLine:
    """Torque of one motor against its speed with all motors running on the supply.

    Attributes
    ----------
    speed : ndarray, shape (n,)
        [rad/s]
    torque : ndarray, shape (n,)
        Its own drag included. [N·m]
    """

    speed: np.ndarray
    torque: np.ndarray


def motor_line(
    machine: Machine,
    group: int,
    phase: PhaseStep,
    windings: Sequence[float],
    cases: Sequence[float],
    top: float,
) -> MotorLine:
    """Torque–speed line of a group's motor at given temperatures, with the supply's resistance and
    limit.

    Parameters
    ----------
    machine : Machine
    group : int
        Place in the machine's live groups.
    phase : PhaseStep
        Gives voltage and current limit.
    windings, cases : sequence of float
        Of every live group. [°C]
    top : float
        Highest drum speed. [rad/s]
    """
    unit = machine.groups[group]
    place = machine.chain_groups.index((True, group))
    drum = np.linspace(0.0, top, POINTS)
    drive = DriveLaw(machine, phase, windings, cases).drive
    made = np.array([drive(float(speed)).torques[place] for speed in drum])
    return MotorLine(
        drum * unit.ratio, made / unit.live + unit.motor.drag_slope * unit.ratio * drum
    )


def torque_speed(record: Record, look: Look, *, us: bool = False) -> Figure:
    """Speed of a motor against its torque: the line at the start, the line when hottest, and the
    path of this lift."""
    groups = record.machine.groups[:MOST_GROUPS]
    em = look.em
    names = 4.6 * em
    foot = 4.2 * em + 2 * look.row
    tall = min(1.9 * look.panel, (look.most_height - 1.2 * em) / len(groups) - names - foot)
    height = len(groups) * (tall + names + foot)
    with drawing(look):
        figure = blank(look, height)
        level = height
        for i, group in enumerate(groups):
            level -= names + tall
            axes = box(figure, LEFT_EMS * em, level, look.width - (LEFT_EMS + 1.5) * em, tall)
            key = flowed(
                _draw_group(axes, record, look, i, group, us=us), look.width - 1.2 * em, look
            )
            for n, line in enumerate(key):
                write(figure, 0.6 * em, level - 3.6 * em - n * look.row, line, va="top")
            level -= foot
    return figure


def _draw_group(
    axes: Axes, record: Record, look: Look, place: int, group: LiveGroup, *, us: bool
) -> list[str]:
    """Lines and points of one group; returns what the numbers of the points mean."""
    torque, speed = record[f"motor_{group.number}_torque"], record[f"motor_{group.number}_speed"]
    cold, hot = _lines(record, place)
    unit = suits("torque", np.concatenate([torque, cold.torque]), us)
    x_of, y_of = (lambda t: in_unit(t, unit)), (lambda w: in_unit(w, "rpm"))
    index, cuts = drawn_samples(record, whole(record), (torque, speed))
    path_x, path_y = np.insert(torque[index], cuts, np.nan), np.insert(speed[index], cuts, np.nan)
    (_, dashes), thin = SERIES[2], LEVEL_WIDTH * look.line
    (path,) = axes.plot(x_of(path_x), y_of(path_y), color=INK, label="_path", zorder=2)
    (cold_line,) = axes.plot(
        x_of(cold.torque),
        y_of(cold.speed),
        color=PALE,
        linewidth=3.2 * look.line,
        label="_cold",
        zorder=1,
    )
    (hot_line,) = axes.plot(
        x_of(hot.torque),
        y_of(hot.speed),
        color=VERMILLION,
        linestyle=dashes,
        label="_hot",
        zorder=1.4,
    )
    drag = axes.axvline(
        x_of(group.motor.drag), color=BLUE, linewidth=thin, zorder=1.2, label="_drag"
    )
    room_for(axes, y_of(np.concatenate([speed, cold.speed, hot.speed])))
    stalled = group.motor.constant * group.fit.stall_current
    least, most = (
        float(np.min(torque)),
        float(max(np.max(torque), np.max(cold.torque), 1e-3 * stalled)),
    )
    span = x_of(most) - min(0.0, x_of(least))
    axes.set_xlim(min(0.0, x_of(least)) - 0.04 * span, x_of(most) + 0.08 * span)
    axes.axvline(0.0, color=GREY, linewidth=0.5 * look.line, zorder=1)
    axes.set_xlabel(
        quantity_label("Torque of one motor, its own drag included", unit),
        labelpad=0.25 * look.font,
    )
    axes.set_ylabel(quantity_label("Motor speed", "rpm"), va="top")
    axes.yaxis.set_label_coords(-(LEFT_EMS - 0.5) * look.em / size_mm(axes)[0], 0.5)
    plain_ticks(axes, look)
    _name_lines(axes, record, look, group, [path, cold_line, hot_line, drag], unit, us)
    return _mark_moments(axes, look, _moments(record), x_of(torque), y_of(speed))


def _lines(record: Record, place: int) -> tuple[MotorLine, MotorLine]:
    m = record.machine
    phase = raising_phase(m)
    start = [g.winding_start for g in m.groups]
    hottest = [float(np.max(record[f"motor_{g.number}_winding"])) for g in m.groups]
    warmest = [float(np.max(record[f"motor_{g.number}_case"])) for g in m.groups]
    top = m.scales.drum_speed
    cold = motor_line(m, place, phase, start, [m.ambient] * len(m.groups), 1.5 * top)
    hot = motor_line(m, place, phase, hottest, warmest, 1.5 * top)
    return _down_to_zero(cold), _down_to_zero(hot)


def _down_to_zero(line: MotorLine) -> MotorLine:
    """The part of a line on which the motor pulls."""
    count = int(np.argmax(line.torque <= 0)) + 1 if np.any(line.torque <= 0) else len(line.torque)
    return MotorLine(line.speed[:count], line.torque[:count])


def _name_lines(
    axes: Axes,
    record: Record,
    look: Look,
    group: LiveGroup,
    lines: Sequence[Line2D],
    unit: str,
    us: bool,
) -> None:
    """What each line is, above the panel."""
    hottest = float(np.max(record[f"motor_{group.number}_winding"]))
    warm = "°F" if us else "°C"
    texts = [
        "path of this lift" + (f", group {group.number}" if len(record.machine.groups) > 1 else ""),
        (
            f"at {text_of(raising_phase(record.machine).voltage, 'V')}, winding "
            f"{text_of(group.winding_start, warm)}"
        ),
        f"winding {text_of(hottest, warm)}",
        f"own drag {text_of(group.motor.drag, unit)}",
    ]
    left = (LEFT_EMS - 0.8) * look.em / size_mm(axes)[0]
    axes.legend(
        lines,
        texts,
        loc="lower left",
        bbox_to_anchor=(-left, 1.0),
        ncols=2,
        frameon=False,
        handlelength=2.2,
        borderpad=0.1,
        labelspacing=0.25,
        columnspacing=1.2,
    )


def _mark_moments(
    axes: Axes, look: Look, moments: Sequence[tuple[str, int]], x: np.ndarray, y: np.ndarray
) -> list[str]:
    """Numbered points of the path at the events that matter; returns their names."""
    wide, tall = size_mm(axes)
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    moments = _joined(moments, x * wide / (x1 - x0), y * tall / (y1 - y0), 1.6 * look.em)
    for n, (_, at) in enumerate(moments, start=1):
        numbered(axes, look, x[at], y[at], n, INK)
    return [f"{n} {name}" for n, (name, _) in enumerate(moments, start=1)]


def _joined(
    moments: Sequence[tuple[str, int]], x: np.ndarray, y: np.ndarray, near: float
) -> list[tuple[str, int]]:
    """Moments with those that lie on each other put together."""
    found: list[tuple[str, int]] = []
    for name, at in moments:
        for i, (other, there) in enumerate(found):
            if np.hypot(x[at] - x[there], y[at] - y[there]) < near and name not in other:
                found[i] = (f"{other}, {name}", there)
                break
        else:
            found.append((name, at))
    return found


def _moments(record: Record) -> list[tuple[str, int]]:
    """Names and samples of the moments that are marked on the path, the first of each kind."""
    found: list[tuple[str, int]] = []
    raising = np.flatnonzero((record["speed"] > 0) & (record.phase == record.phase[0]))
    if raising.size:
        half = (record.time[raising[0]] + record.time[raising[-1]]) / 2
        middle = int(raising[np.argmin(np.abs(record.time[raising] - half))])
        found.append((f"midway, {text_of(float(record.time[middle]), 's')}", middle))
    seen: set[Event] = set()
    for e in named_events(record):
        if (
            e.grave or e.event in (Event.LIFT_OFF, Event.TOP, Event.LANDED)
        ) and e.event not in seen:
            seen.add(e.event)
            found.append((e.short, int(np.searchsorted(record.time, e.time, side="left"))))
    return [*found, ("start", 0)]
