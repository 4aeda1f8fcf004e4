"""The torque–speed line of the motors and the path that this lift walks on it."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from winchsim.frozen import dataclass
from winchsim.model import Event, Machine
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import raising_phase
from winchsim.model.machine import DriveGroup
from winchsim.quantity_text import in_unit, text_of
from winchsim.report.figures.frame import flowed
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    SERIES,
    VERMILLION,
    Look,
    below,
    numbered,
    quantity_label,
    room_for,
    stack,
    styled,
)
from winchsim.report.figures.marks import named_events
from winchsim.report.figures.trace import broken, suits
from winchsim.simulation import Record

MOST_GROUPS = 3
"""Groups that get a panel."""

NEAR = 0.06
"""Moments nearer to each other than this share of the panel are one point. [-]"""

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
    machine: Machine, group: int, windings: Sequence[float], cases: Sequence[float]
) -> MotorLine:
    """Torque–speed line of a group's motor at given temperatures, with the voltage, the limit and
    the resistance of the supply while it raises the load, up to where the motor does not pull any
    more.

    Parameters
    ----------
    machine : Machine
    group : int
        Place in the machine's live groups.
    windings, cases : sequence of float
        Of every live group. [°C]
    """
    unit, drum = machine.groups[group], np.linspace(0, 1.5 * machine.scales.drum_speed, POINTS)
    drive = DriveLaw(machine, raising_phase(machine), windings, cases).drive
    made = np.array([drive(float(speed)).torques[group] for speed in drum])
    speed = drum * unit.ratio
    torque = made / unit.count + unit.motor.drag_slope * speed
    pulls = next(iter(np.flatnonzero(torque <= 0)), POINTS) + 1
    return MotorLine(speed[:pulls], torque[:pulls])


@styled
def torque_speed(record: Record, look: Look) -> Figure:
    """Speed of a motor against its torque: the line at the start, the line when hottest, and the
    path of this lift."""
    groups = record.machine.groups[:MOST_GROUPS]
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
    unit = suits("torque", np.concatenate([torque, cold.torque]), look)
    x_of, y_of = (lambda t: in_unit(t, unit)), (lambda w: in_unit(w, "rpm"))
    _, path_torque, path_speed = broken(record, torque, speed)
    volts = text_of(raising_phase(m).voltage, "V")
    name = "path of this lift" + f", group {group.number}" * (len(m.groups) > 1)
    start = f"at {volts}, winding {text_of(group.winding_start, warm)}"
    end, drag = f"winding {text_of(hottest[place], warm)}", group.motor.drag
    axes.plot(x_of(path_torque), y_of(path_speed), color=INK, zorder=2, label=name)
    style: dict[str, Any] = {"color": PALE, "linewidth": 3.2 * look.line, "zorder": 1}
    for line, label in ((cold, start), (hot, end)):
        axes.plot(x_of(line.torque), y_of(line.speed), label=label, **style)
        style = {"color": VERMILLION, "linestyle": SERIES[2][1], "zorder": 1.4}
    thin = 0.5 * look.line
    axes.axvline(x_of(drag), color=BLUE, linewidth=thin, label=f"own drag {text_of(drag, unit)}")
    room_for(axes, y_of(speed), y_of(cold.speed), y_of(hot.speed))
    least = x_of(min(0.0, float(np.min(torque))))
    stalled = group.motor.constant * group.fit.stall_current
    most = x_of(max(float(np.max(torque)), float(np.max(cold.torque)), 1e-3 * stalled))
    axes.set_xlim(least - 0.04 * (most - least), most + 0.08 * (most - least))
    axes.axvline(0.0, color=GREY, linewidth=thin, zorder=1)
    axes.set_xlabel(quantity_label("Torque of one motor, its own drag included", unit))
    axes.set_ylabel(quantity_label("Motor speed", "rpm"))
    axes.legend(loc="lower left", bbox_to_anchor=(-0.1, 1.0), ncols=2)
    below(axes, look, flowed(_mark_moments(axes, look, record, x_of(torque), y_of(speed)), look))


def _mark_moments(
    axes: Axes, look: Look, record: Record, x: np.ndarray, y: np.ndarray
) -> list[str]:
    """Numbered points of the path at the events that matter; returns their names. Moments that lie
    on each other share a point."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    found: list[tuple[str, int]] = []
    for name, at in _moments(record):
        for i, (other, there) in enumerate(found):
            apart = np.hypot((x[at] - x[there]) / (x1 - x0), (y[at] - y[there]) / (y1 - y0))
            if apart < NEAR and name not in other:
                found[i] = (f"{other}, {name}", there)
                break
        else:
            found.append((name, at))
    for n, (_, at) in enumerate(found, start=1):
        numbered(axes, look, x[at], y[at], n, INK)
    return [f"{n} {name}" for n, (name, _) in enumerate(found, start=1)]


def _moments(record: Record) -> list[tuple[str, int]]:
    """Names and samples of the moments that are marked on the path, the first of each kind."""
    found: list[tuple[str, int]] = []
    raising = np.flatnonzero((record["speed"] > 0) & (record.phase == record.phase[0]))
    if raising.size:
        half = (record.time[raising[0]] + record.time[raising[-1]]) / 2
        middle = int(raising[np.argmin(np.abs(record.time[raising] - half))])
        found.append((f"midway, {text_of(float(record.time[middle]), 's')}", middle))
    marked = (Event.LIFT_OFF, Event.TOP, Event.LANDED)
    firsts = {e.event: e for e in reversed(named_events(record)) if e.grave or e.event in marked}
    for e in sorted(firsts.values(), key=lambda e: e.time):
        found.append((e.short, int(np.searchsorted(record.time, e.time, side="left"))))
    return [*found, ("start", 0)]
