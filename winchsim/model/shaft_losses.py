"""What each shaft of the train loses besides its meshes: bearings from the forces of its gears, and
constant drag."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.elementwise import by_value, smaller
from winchsim.inputs import DRAG_RANGE, DRAG_TEXT, Inputs, in_force
from winchsim.model.assumptions import Assumptions, look_up
from winchsim.model.machine import DriveGroup
from winchsim.model.reductions import Reduction
from winchsim.physics import bearings, drum as drum_geometry

SHAFT_SHARE = 0.4
SHAFT_RANGE = (0.25, 0.5)
"""Diameter of a shaft that is not given, in pitch diameters of the smallest gear on it. [-] Own
assumption."""

CORE_LEAST = 0.3
"""Least diameter of a drum's shaft in drum cores, where only the core is known. [-] Own
assumption."""

MOTOR_EFFICIENCY = (0.98, 0.96, 1.0)
"""Efficiency of the bearings that carry the tooth force on a motor's shaft, and its range. [-] Own
arithmetic: a bush of
1 mm radius with a friction of 0.1 under a pinion of 5 mm radius."""


def motor_bearings(inputs: Inputs, unit: DriveGroup, assumptions: Assumptions) -> float:
    """Efficiency of the bearings on the motors of a group, under the force on their pinions. [-]"""
    given = inputs.motors[unit.number - 1].bearing_efficiency
    first = inputs.stage[0] if inputs.stage else None
    spur_by_parts = first is not None and first.kind == "spur" and first.efficiency is None
    if given is None and (unit.fit.output.geared or not spur_by_parts):
        return 1.0
    return assumptions.fill_in(
        given,
        f"motors.{unit.number}.bearing_efficiency",
        *MOTOR_EFFICIENCY,
        why="own assumption: a bush under the force on the pinion",
    )


def shaft_bearings(
    inputs: Inputs, reductions: tuple[Reduction, ...], ring: Any, assumptions: Assumptions
) -> list[Any]:
    """Efficiency of the bearings on the output shaft of each reduction; None where another value
    contains them. [-]

    Parameters
    ----------
    inputs : Inputs
    reductions : tuple of Reduction
    ring : float or ndarray
        Share of the forces of the pinions on the common gear that does not cancel out. [-]
    assumptions : Assumptions

    Notes
    -----
    A given efficiency of a stage contains them, as a usual one does; a bearing key beside it takes
    them out again. The shaft of the last reduction is that of the drum, whose bearings are counted
    there.
    """
    found: list[Any] = []
    for i, r in enumerate(reductions):
        stage, last = r.stage, i + 1 == len(reductions)
        own_keys = stage.bearing is not None or stage.bearing_friction is not None
        if stage.bearing_efficiency is not None:
            found.append(stage.bearing_efficiency)
        elif last or r.gear_radius is None or (stage.efficiency is not None and not own_keys):
            found.append(None)
        else:
            found.append(
                _between(inputs, r, reductions[i + 1], ring if i == 0 else 1.0, assumptions)
            )
    return found


def _between(
    inputs: Inputs, r: Reduction, following: Reduction, ring: Any, assumptions: Assumptions
) -> Any:
    """Efficiency of the bearings between a gear and the pinion behind it on the same shaft."""
    assert r.gear_radius is not None
    small = r.gear_radius if following.pinion_radius is None else following.pinion_radius
    first = bearings.tooth_load(r.gear_radius, r.stage.pressure_angle)
    second = bearings.tooth_load(small, in_force(following.stage).pressure_angle)
    radius = r.stage.shaft_diameter and r.stage.shaft_diameter / 2
    sizes = (1.0, 1.0)
    if not radius:
        radius = SHAFT_SHARE * smaller(small, r.gear_radius)
        sizes = (SHAFT_RANGE[0] / SHAFT_SHARE, SHAFT_RANGE[1] / SHAFT_SHARE)
    loss = bearings.shaft_loss(1.0, radius, ring * first, second)
    worst = bearings.shaft_loss(1.0, radius, first, second, aligned=True) / loss

    def friction_on(name: str) -> float:
        metal = look_up(inputs.materials, name, f"{r.path}.material").family == "metal"
        kind = r.stage.bearing or ("metal bush" if metal else "polymer bore")
        given, path = r.stage.bearing_friction, f"{r.path}.bearing_friction"
        return _friction(
            given, path, kind, r.stage.greased, sizes[0], sizes[1] * worst, assumptions
        )

    friction = by_value(friction_on, r.stage.material)
    return assumptions.assume(
        f"{r.path}.bearing_efficiency",
        bearings.efficiency(friction * loss),
        why="from the friction, the shaft and the forces of its gears",
    )


def _friction(
    given: float | None,
    path: str,
    kind: str,
    greased: bool,
    least: Any,
    most: Any,
    assumptions: Assumptions,
) -> float:
    """Friction of a kind of bearing; its range holds what is not known of the shaft's size and of
    the forces' directions."""
    own = bearings.bearing_friction(kind, greased)
    why = f"{kind}: {own.why}"
    if least != 1 or np.any(most != 1):
        why += "; with the range of shaft size and directions of force"
    return assumptions.fill_in(given, path, own.value, own.low * least, own.high * most, why=why)


def drum_bearings(
    inputs: Inputs, reductions: tuple[Reduction, ...], assumptions: Assumptions
) -> Any:
    """Efficiency of the bearings of the drum, with the rope on the outermost layer of the lift. [-]

    Notes
    -----
    That layer decides whether the load is raised and held. The share that bearings take grows
    towards the core, at most as the radii; the high end of their friction is for the first layer.
    """
    drum, last = inputs.drum, reductions[-1] if reductions else None
    if drum.bearing_efficiency is not None:
        return drum.bearing_efficiency
    first = (drum.diameter + inputs.rope.diameter) / 2
    travel = (inputs.load.start_height + inputs.load.height) / math.sin(inputs.load.slope)
    outer = drum_geometry.outermost_radius(
        first,
        drum.width,
        inputs.rope.diameter,
        inputs.rope.falls * travel,
        nested=drum.layering == "nested",
        dead_turns=drum.dead_turns,
    )
    gear: Any = 0.0
    if last is not None and last.gear_radius is not None and last.stage.efficiency is None:
        gear = bearings.tooth_load(last.gear_radius, last.stage.pressure_angle)
    of_stage = None if last is None else last.stage.shaft_diameter
    diameter, least = drum.shaft_diameter or of_stage, 1.0
    if diameter is None:
        diameter, least = drum.diameter, CORE_LEAST
    loss = bearings.shaft_loss(1.0, diameter / 2, gear, 1 / outer)
    worst = bearings.shaft_loss(1.0, diameter / 2, gear, 1 / first, aligned=True) / loss
    friction = _friction(
        drum.bearing_friction,
        "drum.bearing_friction",
        drum.bearing,
        False,
        least,
        worst,
        assumptions,
    )
    return bearings.efficiency(friction * loss)


def stalled_torque(inputs: Inputs, live: Sequence[DriveGroup]) -> float:
    """Torque of the stalled motors on the output shaft of the first reduction, losses left out.
    [N·m]

    Parameters
    ----------
    inputs : Inputs
    live : sequence of DriveGroup
        Each with a pinion of its own where it has one.
    """
    torque = 0.0
    for group in live:
        up = group.fit.output.ratio
        if inputs.stage:
            up *= inputs.stage[0].speed_ratio(inputs.motors[group.number - 1].pinion)
        torque += group.count * group.motor.constant * group.fit.stall_current * up
    return torque


def shaft_drags(
    inputs: Inputs,
    reductions: tuple[Reduction, ...],
    live: Sequence[DriveGroup],
    assumptions: Assumptions,
) -> list[float]:
    """Constant drag of the output shaft of each reduction, none where it is not given. [N·m]"""
    torque, found = stalled_torque(inputs, live), []
    for place, r in enumerate(reductions):
        torque *= r.ratio if place else 1.0
        if r.stage.shaft_drag is None:
            low, high = (share * torque for share in DRAG_RANGE)
            where = "there" if r.stage.repeat == 1 else "at each of them; this is the first"
            assumptions.assume(f"{r.path}.shaft_drag", 0.0, low, high, why=f"{DRAG_TEXT} {where}")
        found.append(r.stage.shaft_drag or 0.0)
    return found
