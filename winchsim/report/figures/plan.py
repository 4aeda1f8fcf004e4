"""Where the parts of a build stand when it is drawn: gears in mesh, motors around their common
gear, drum and its layers.

Geometry only, in metres, seen along the shafts. The first shaft is that of the gear the motors
drive; the train runs to the right of it, up and down in turn so that its gears can be told apart.
"""

import math

import numpy as np

from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Stage
from winchsim.model import Machine, module_of

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
    start: tuple[float, float]
    end: tuple[float, float]
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
    stages = [(n, each) for n, each in enumerate(inputs.stage, start=1) for _ in range(each.repeat)]
    gears, motors, crowded = _front(inputs, stages[0][1] if stages else None)
    others, shafts = [], [(0.0, 0.0)]
    if stages and not gears:
        stage, at = stages[0][1], (motors[0].x, motors[0].y)
        others.append(OtherStage(1, at, shafts[0], stage.kind, stage.speed_ratio()))
    for i, (number, stage) in enumerate(stages[1:]):
        (pinion, gear, module), (x, y) = _teeth(stage), shafts[-1]
        distance, angle = (pinion + gear) * module / 2 or NOMINAL_STAGE, -TILT if i % 2 else TILT
        at = x + distance * math.cos(angle), y + distance * math.sin(angle)
        shafts.append(at)
        if module:  # a tooth of the pinion stands in a gap of the gear
            gears.append(Gear(x, y, pinion, module, angle, i, True))
            gears.append(Gear(*at, gear, module, angle + math.pi + math.pi / gear, i + 1, False))
        else:
            others.append(OtherStage(number, (x, y), at, stage.kind, stage.speed_ratio()))
    return Plan(tuple(gears), tuple(motors), tuple(others), tuple(shafts), crowded)


def _teeth(stage: Stage | None) -> tuple[int, int, float]:
    """Teeth of pinion and gear, and their module [m]; zeros of a stage that is no spur pair."""
    return (
        (0, 0, 0.0)
        if stage is None or stage.kind != "spur"
        else (stage.pinion or 0, stage.gear or 0, module_of(stage) or 0.0)
    )


def _front(inputs: Inputs, first: Stage | None) -> tuple[list[Gear], list[MotorSpot], bool]:
    """Motors with their pinions around the common gear, and that gear; where there is none, the
    motors in a column."""
    units = [
        (group, k < group.count - group.dead) for group in inputs.motors for k in range(group.count)
    ]
    known = [group.body_diameter is not None for group, _ in units]
    pinion, gear, module = _teeth(first)
    pinions = [group.pinion or pinion for group, _ in units]
    nominal = [NOMINAL_BODY * own * module if module else NOMINAL_MOTOR for own in pinions]
    bodies = np.array(
        [group.body_diameter or n for (group, _), n in zip(units, nominal, strict=True)]
    )
    gears, crowded = [], False
    xs = np.full(len(units), -NOMINAL_STAGE if first else 0.0)
    ys = np.cumsum(bodies) - (bodies + bodies.sum()) / 2
    if module:
        distances = (np.array(pinions) + gear) * module / 2
        needs = 2 * np.arcsin(np.minimum(1.0, 1.06 * bodies / 2 / distances))
        crowded = bool(needs.sum() > 1.06 * 2 * math.pi) and all(known)
        squeeze = min(1.0, 2 * math.pi / needs.sum())
        angles = math.pi + squeeze * (np.cumsum(needs) - (needs + needs.sum()) / 2)
        xs, ys = distances * np.cos(angles), distances * np.sin(angles)
        turns = angles + math.pi + (angles * gear % (2 * math.pi)) / pinions  # each meshes
        gears = [
            Gear(x, y, own, module, turn, -1, True)
            for x, y, own, turn in zip(
                xs.tolist(), ys.tolist(), pinions, turns.tolist(), strict=True
            )
        ]
        gears.append(Gear(0.0, 0.0, gear, module, math.pi / gear, 0, False))
    spots = zip(xs.tolist(), ys.tolist(), bodies.tolist(), known, units, strict=True)
    motors = [MotorSpot(x, y, size, is_known, live) for x, y, size, is_known, (_, live) in spots]
    return gears, motors, crowded


def gear_turns(plan: Plan, inputs: Inputs) -> list[float]:
    """Turns of each gear of a plan for one turn of the drum, against it where negative.

    Parameters
    ----------
    plan : Plan
        That of `inputs`.
    inputs : Inputs
    """
    stages = [stage.speed_ratio() for stage in inputs.stage for _ in range(stage.repeat)]
    behind = [math.prod(-ratio for ratio in stages[shaft + 1 :]) for shaft in range(len(stages))]
    common = next((gear for gear in plan.gears if gear.shaft == 0), None)
    return [
        behind[gear.shaft]
        if gear.shaft >= 0 or common is None
        else -behind[0] * common.teeth / gear.teeth
        for gear in plan.gears
    ]


def outline(gear: Gear) -> np.ndarray:
    """Corners of a gear's outline, its teeth drawn with straight flanks: rows of x and y. [m]"""
    pitches = np.arange(gear.teeth)[:, None] + (-0.36, -0.14, 0.14, 0.36)
    angles = (gear.turn + 2 * math.pi / gear.teeth * pitches).ravel()
    radii = np.tile([gear.root, gear.tip, gear.tip, gear.root], gear.teeth)
    return np.column_stack([gear.x + radii * np.cos(angles), gear.y + radii * np.sin(angles)])


# --- drum


Turn = tuple[float, float, bool]
"""One turn of rope in a section along the drum's axis: distance of the rope's middle from the left
flange [m], its radius from the axis [m], and whether it is dead: it stays on the drum."""


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
    found: list[Turn] = []
    last = machine.wound_at_start + machine.line.falls * (machine.top_travel - machine.start_travel)
    for j, layer in enumerate(machine.layers):
        around = 2 * math.pi * layer.radius
        fit = max(1, round((layer.end - layer.start) / around))
        for n in range(min(fit, math.ceil((min(last, layer.end) - layer.start) / around - 1e-6))):
            along = (n + 0.5) * inputs.rope.diameter
            along = inputs.drum.width - along if j % 2 else along
            found.append((along, layer.radius, len(found) < inputs.drum.dead_turns))
    return tuple(found)
