"""Where the parts of a build stand when it is drawn: gears in mesh, motors around their common
gear, drum and its layers.

Geometry only, in metres, seen along the shafts. The first shaft is that of the gear the motors
drive; the train runs to the right of it, up and down in turn so that its gears can be told apart.
"""

import math

import numpy as np

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
    stages = [(n, each) for n, each in enumerate(inputs.stage, start=1) for _ in range(each.repeat)]
    first = stages[0][1] if stages else None
    gears, motors, crowded = _front(inputs, first)
    others, shafts = [], [(0.0, 0.0)]
    if first is not None and _teeth(first) is None:
        others.append(_other(1, first, (motors[0].x, motors[0].y), shafts[0]))
    for i, (number, stage) in enumerate(stages[1:]):
        teeth, (x, y), angle = _teeth(stage), shafts[-1], -TILT if i % 2 else TILT
        distance = (teeth[0] + teeth[1]) * teeth[2] / 2 if teeth else NOMINAL_STAGE
        shafts.append((x + distance * math.cos(angle), y + distance * math.sin(angle)))
        if teeth is None:
            others.append(_other(number, stage, (x, y), shafts[-1]))
            continue
        pinion, gear, module = teeth  # a tooth of the pinion stands in a gap of the gear
        gears.append(Gear(x, y, pinion, module, angle, i, True))
        turn = angle + math.pi + math.pi / gear
        gears.append(Gear(*shafts[-1], gear, module, turn, i + 1, False))
    return Plan(tuple(gears), tuple(motors), tuple(others), tuple(shafts), crowded)


def _other(
    number: int, stage: Stage, at: tuple[float, float], to: tuple[float, float]
) -> OtherStage:
    return OtherStage(number, *at, *to, stage.kind, stage.speed_ratio())


def _teeth(stage: Stage) -> tuple[int, int, float] | None:
    """Teeth of pinion and gear, and their module [m]; None of a stage that is no spur pair."""
    found = stage.pinion, stage.gear, module_of(stage)
    return found if stage.kind == "spur" and None not in found else None  # type: ignore[return-value]


def _front(inputs: Inputs, first: Stage | None) -> tuple[list[Gear], list[MotorSpot], bool]:
    """Motors with their pinions around the common gear, and that gear; where there is none, the
    motors in a column."""
    units = [(group, k < group.count - group.dead) for group in inputs.motors
             for k in range(group.count)]  # fmt: skip
    known = [group.body_diameter is not None for group, _ in units]
    teeth = _teeth(first) if first is not None else None
    pinion, gear, module = teeth or (0, 0, 0.0)
    pinions = [group.pinion or pinion for group, _ in units]
    nominal = [NOMINAL_BODY * own * module if teeth else NOMINAL_MOTOR for own in pinions]
    bodies = np.array(
        [group.body_diameter or n for (group, _), n in zip(units, nominal, strict=True)]
    )
    if teeth is None:
        ys = np.cumsum(bodies) - (bodies + bodies.sum()) / 2
        xs, crowded = np.full(len(units), -NOMINAL_STAGE if first else 0.0), False
        gears = []
    else:
        distances = (np.array(pinions) + gear) * module / 2
        needs = 2 * np.arcsin(np.minimum(1.0, 1.06 * bodies / 2 / distances))
        crowded = bool(needs.sum() > 1.06 * 2 * math.pi) and all(known)
        squeeze = min(1.0, 2 * math.pi / needs.sum())
        angles = math.pi + squeeze * (np.cumsum(needs) - (needs + needs.sum()) / 2)
        xs, ys = distances * np.cos(angles), distances * np.sin(angles)
        turns = angles + math.pi + (angles * gear % (2 * math.pi)) / pinions  # each meshes
        places = zip(xs.tolist(), ys.tolist(), pinions, turns.tolist(), strict=True)
        gears = [Gear(x, y, own, module, turn, -1, True) for x, y, own, turn in places]
        gears.append(Gear(0.0, 0.0, gear, module, math.pi / gear, 0, False))
    spots = zip(xs.tolist(), ys.tolist(), bodies.tolist(), known, units, strict=True)
    return (
        gears,
        [MotorSpot(x, y, size, is_known, live) for x, y, size, is_known, (_, live) in spots],
        crowded,
    )


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
    angles = gear.turn + 2 * math.pi / gear.teeth * pitches
    radii = np.array([gear.root, gear.tip, gear.tip, gear.root])
    places = gear.x + radii * np.cos(angles), gear.y + radii * np.sin(angles)
    return np.stack(places, axis=-1).reshape(-1, 2)


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
    found: list[Turn] = []
    last = machine.wound_at_start + machine.line.falls * (machine.top_travel - machine.start_travel)
    for j, layer in enumerate(machine.layers):
        around = 2 * math.pi * layer.radius
        fit = max(1, round((layer.end - layer.start) / around))
        for n in range(min(fit, math.ceil((min(last, layer.end) - layer.start) / around - 1e-6))):
            place = (n + 0.5) * d if j % 2 == 0 else inputs.drum.width - (n + 0.5) * d
            found.append(Turn(place, layer.radius, len(found) < inputs.drum.dead_turns))
    return tuple(found)
