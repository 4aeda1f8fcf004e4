"""The torque–speed line of the motors and the path that this lift walks on it."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.model import DriveGroup, DriveLaw, Event, Machine, raising_phase
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.figures.frame import broken, flowed, suits
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    SERIES,
    VERMILLION,
    Axes,
    Figure,
    Look,
    below,
    numbered,
    quantity_label,
    room_for,
    stack,
    styled,
)
from winchsim.report.figures.marks import named_events
from winchsim.simulation import Record

MOST_GROUPS = 3
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
