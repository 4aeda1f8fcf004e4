"""Where the parts of a build stand when it is drawn: gears in mesh, motors around their common
gear, drum and its layers.

Geometry only, in metres, seen along the shafts. The first shaft is that of the gear the motors
drive; the train runs to the right of it, up and down in turn so that its gears can be told apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Stage
from winchsim.model import Machine
from winchsim.model.reductions import module_of

TILT = math.radians(32)
"""Angle by which the train goes up and down."""

NOMINAL_BODY = 1.5
"""Diameter that a motor is drawn with when none is given, in pitch diameters of its pinion. [-]"""

NOMINAL_MOTOR = 0.024
"""The same where there is no pinion. [m]"""

NOMINAL_STAGE = 0.03
"""Distance of the shafts of a reduction whose size is not known. [m]"""


@dataclass(frozen=True)
class Gear:
    """A gear where it stands.

    Attributes
    ----------
    x, y : float
        Axis. [m]
    teeth : int
    module : float
        [m]
    turn : float
        Angle of the middle of one of its teeth. [rad]
    shaft : int
        Shaft that it sits on; -1 for the motors'.
    driver : bool
        Whether it is a pinion.
    """

    x: float
    y: float
    teeth: int
    module: float
    turn: float
    shaft: int
    driver: bool

    @property
    def radius(self) -> float:
        """Of the pitch circle. [m]"""
        return self.teeth * self.module / 2

    @property
    def tip(self) -> float:
        """Radius over the teeth. [m]"""
        return self.radius + self.module

    @property
    def root(self) -> float:
        """Radius at the foot of the teeth. [m]"""
        return max(self.radius - 1.25 * self.module, 0.2 * self.radius)


@dataclass(frozen=True)
class MotorSpot:
    """A motor where it stands: axis [m], body diameter [m], whether that is given, whether it
    runs."""

    x: float
    y: float
    diameter: float
    known: bool
    live: bool


@dataclass(frozen=True)
class OtherStage:
    """A reduction that is not a spur pair: its number, its shafts [m], its kind and its ratio."""

    number: int

    x: float
    y: float
    to_x: float
    to_y: float
    kind: str
    ratio: float


@dataclass(frozen=True)
class Plan:
    """A whole build.

    Attributes
    ----------
    gears : tuple of Gear
        Each mesh's pinion, then its gear; the motors' pinions first.
    motors : tuple of MotorSpot
    others : tuple of OtherStage
    shafts : tuple of (float, float)
        Axes of the output shafts of the reductions; the last is the drum's. [m]
    crowded : bool
        Whether motors of a known size stand into each other.
    """

    gears: tuple[Gear, ...]
    motors: tuple[MotorSpot, ...]
    others: tuple[OtherStage, ...]
    shafts: tuple[tuple[float, float], ...]
    crowded: bool

    @property
    def drum(self) -> tuple[float, float]:
        """Axis of the drum. [m]"""
        return self.shafts[-1]


def plan_of(inputs: Inputs) -> Plan:
    """Places of all gears, motors and shafts of a build.

    Parameters
    ----------
    inputs : Inputs
        Scenario of the build.
    """
    unrolled = [
        (n, stage) for n, stage in enumerate(inputs.stage, start=1) for _ in range(stage.repeat)
    ]
    stages = [stage for _, stage in unrolled]
    gears: list[Gear] = []
    others: list[OtherStage] = []
    shafts = [(0.0, 0.0)]
    for i, stage in enumerate(stages[1:], start=1):
        x, y = shafts[-1]
        angle = TILT if i % 2 else -TILT
        distance = _distance(stage)
        to = (x + distance * math.cos(angle), y + distance * math.sin(angle))
        if _is_spur(stage):
            gears += _pair(stage, (x, y), to, angle, i - 1)
        else:
            others.append(OtherStage(unrolled[i][0], x, y, *to, stage.kind, stage.speed_ratio()))
        shafts.append(to)
    first = stages[0] if stages else None
    fronts, motors, crowded = _front(inputs, first)
    if first is not None and not _is_spur(first):
        others.insert(
            0, OtherStage(1, motors[0].x, motors[0].y, 0.0, 0.0, first.kind, first.speed_ratio())
        )
    return Plan(tuple(fronts + gears), tuple(motors), tuple(others), tuple(shafts), crowded)


def _is_spur(stage: Stage) -> bool:
    return (
        stage.kind == "spur"
        and stage.pinion is not None
        and stage.gear is not None
        and module_of(stage) is not None
    )


def _distance(stage: Stage) -> float:
    module = module_of(stage)
    if not _is_spur(stage) or module is None or stage.pinion is None or stage.gear is None:
        return NOMINAL_STAGE
    return (stage.pinion + stage.gear) * module / 2


def _pair(
    stage: Stage, at: tuple[float, float], to: tuple[float, float], angle: float, shaft: int
) -> list[Gear]:
    """Pinion and gear with a tooth of the pinion in a gap of the gear."""
    module = module_of(stage)
    assert module is not None and stage.pinion is not None and stage.gear is not None
    pinion = Gear(*at, stage.pinion, module, angle, shaft, True)
    gear = Gear(*to, stage.gear, module, angle + math.pi + math.pi / stage.gear, shaft + 1, False)
    return [pinion, gear]


def _front(inputs: Inputs, first: Stage | None) -> tuple[list[Gear], list[MotorSpot], bool]:
    """Motors with their pinions around the common gear, and that gear."""
    counts = [
        (group, k < group.count - group.dead) for group in inputs.motors for k in range(group.count)
    ]
    gears: list[Gear] = []
    motors: list[MotorSpot] = []
    module = module_of(first) if first is not None and _is_spur(first) else None
    if first is None or module is None or first.gear is None:
        reach = 0.0 if first is None else NOMINAL_STAGE
        sizes = [group.body_diameter or NOMINAL_MOTOR for group, _ in counts]
        y = -sum(sizes) / 2
        for (group, live), size in zip(counts, sizes, strict=True):
            motors.append(
                MotorSpot(-reach, y + size / 2, size, group.body_diameter is not None, live)
            )
            y += size
        return gears, motors, False
    pinions = [group.pinion or first.pinion or 0 for group, _ in counts]
    distances = [(teeth + first.gear) * module / 2 for teeth in pinions]
    bodies = [
        group.body_diameter or NOMINAL_BODY * teeth * module
        for (group, _), teeth in zip(counts, pinions, strict=True)
    ]
    angles, crowded = _around(
        distances, bodies, [group.body_diameter is not None for group, _ in counts]
    )
    for (group, live), teeth, distance, body, angle in zip(
        counts, pinions, distances, bodies, angles, strict=True
    ):
        x, y = distance * math.cos(angle), distance * math.sin(angle)
        gears.append(Gear(x, y, teeth, module, _meshing(first.gear, teeth, angle), -1, True))
        motors.append(MotorSpot(x, y, body, group.body_diameter is not None, live))
    gears.append(Gear(0.0, 0.0, first.gear, module, math.pi / first.gear, 0, False))
    return gears, motors, crowded


def _around(
    distances: Sequence[float], bodies: Sequence[float], known: Sequence[bool]
) -> tuple[list[float], bool]:
    """Angles of the motors around the common gear, centred on the side away from the train, and
    whether they are too many."""
    needs = [
        2 * math.asin(min(1.0, 1.06 * body / 2 / distance))
        for distance, body in zip(distances, bodies, strict=True)
    ]
    whole = sum(needs)
    crowded = whole * (1 / 1.06) > 2 * math.pi and all(known)
    squeeze = min(1.0, 2 * math.pi / whole) if whole > 0 else 1.0
    angles, at = [], math.pi - squeeze * whole / 2
    for need in needs:
        angles.append(at + squeeze * need / 2)
        at += squeeze * need
    return angles, crowded


def _meshing(gear_teeth: int, pinion_teeth: int, angle: float) -> float:
    """Turn of a pinion at an angle around a gear (whose gap lies at angle 0) such that the two
    mesh."""
    pitch = 2 * math.pi / gear_teeth
    ahead = (angle % pitch) / pitch  # part of a pitch from the gap to the line of centres
    return angle + math.pi + ahead * 2 * math.pi / pinion_teeth


def outline(gear: Gear) -> list[tuple[float, float]]:
    """Corners of a gear's outline, its teeth drawn with straight flanks. [m]"""
    pitch = 2 * math.pi / gear.teeth
    points = []
    for n in range(gear.teeth):
        middle = gear.turn + n * pitch
        for radius, share in (
            (gear.root, -0.36),
            (gear.tip, -0.14),
            (gear.tip, 0.14),
            (gear.root, 0.36),
        ):
            angle = middle + share * pitch
            points.append((gear.x + radius * math.cos(angle), gear.y + radius * math.sin(angle)))
    return points


# --- drum


@dataclass(frozen=True)
class Turn:
    """One turn of rope in a section along the drum's axis.

    Attributes
    ----------
    along : float
        From the left flange to the rope's middle. [m]
    radius : float
        From the drum's axis. [m]
    dead : bool
        Whether it stays on the drum.
    """

    along: float
    radius: float
    dead: bool


def turns_of(machine: Machine, inputs: Inputs) -> tuple[Turn, ...]:
    """Turns on the drum when the load is up, from the first dead one on.

    Parameters
    ----------
    machine : Machine
    inputs : Inputs

    Returns
    -------
    tuple of Turn
        The last may be a part of a turn.
    """
    d = inputs.rope.diameter
    last = machine.wound_at_start + machine.line.falls * (machine.top_travel - machine.start_travel)
    found: list[Turn] = []
    for j, layer in enumerate(machine.layers):
        if layer.start >= last:
            break
        per_layer = max(1, round((layer.end - layer.start) / (2 * math.pi * layer.radius)))
        here = math.ceil((min(last, layer.end) - layer.start) / (2 * math.pi * layer.radius) - 1e-6)
        for n in range(min(here, per_layer)):
            place = (n + 0.5) * d if j % 2 == 0 else inputs.drum.width - (n + 0.5) * d
            found.append(Turn(place, layer.radius, len(found) < inputs.drum.dead_turns))
    return tuple(found)
