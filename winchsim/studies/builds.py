"""Builds that differ by more than single values: one change of the train, or other parts at
hand."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations, product
from typing import Any, TypeVar

import numpy as np

from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import (
    Inputs,
    MotorGroup,
    PartDrum,
    PartGear,
    PartMotor,
    PartRope,
    Parts,
    Stage,
    specs,
    with_value,
)
from winchsim.model import Machine
from winchsim.slow import lift_all, vary_each

SIZES = 22
"""Tooth counts tried for one gear. [-]"""

SMALLEST, LARGEST = 0.5, 2.0
"""Range of the driven gear's teeth, as shares of the present number. [-]"""

MOST_PAIRS, MOST_TRAINS = 8, 500
"""Pairs of a train from gears at hand, and trains of each number of pairs that are followed. [-]"""

NEAR = 0.06
"""Share by which ratios differ of which, where there are too many trains, only the one with the
fewest pairs is tried. [-]"""

MARGINS = (0.7, 20.0)
"""Starting torque margins, estimated from the present train, outside which a build is not tried.
[-] Own choice."""

T = TypeVar("T")
Pair = tuple[PartGear, PartGear]
Fitted = tuple[tuple[PartMotor, int], ...]
Member = tuple[Fitted, PartDrum | None]
Row = tuple[tuple[Pair, ...], PartRope | None, Sequence[Member]]


@dataclass(frozen=True)
class Build:
    """One build.

    Attributes
    ----------
    kind : str
        ``none``, ``teeth``, ``more``, ``fewer``: one change of the train; ``parts``: of parts at
        hand; ``present``: as it is, beside these.
    inputs : Inputs
    value : float
        By which it stands among others: ratio, number of motors, diameter. [-] or [m]
    stage : int
        Which stage a change is in, from 1; 0 for none.
    pinion, gear, before : int or None
        Teeth of the changed or added pair, and of its gear before; None without teeth.
    train : tuple of (PartGear, PartGear)
        Pairs from the motors on; empty where the train stays.
    motors : tuple of (PartMotor, int)
        Which, and how many; empty where they stay.
    drum, rope : PartDrum, PartRope or None
        None where it stays.
    """

    kind: str
    inputs: Inputs
    value: float
    stage: int = 0
    pinion: int | None = None
    gear: int | None = None
    before: int | None = None
    train: tuple[Pair, ...] = ()
    motors: Fitted = ()
    drum: PartDrum | None = None
    rope: PartRope | None = None


def with_stages(inputs: Inputs, stages: Sequence[tuple[Stage, int]]) -> Inputs:
    """Scenario with other stages, each with the place, from 1, of the one that it is made from."""
    given = {path for path in inputs.given if not path.startswith("stage.")}
    for place, (_, origin) in enumerate(stages, start=1):
        head = f"stage.{origin}."
        own = [path[len(head) :] for path in inputs.given if path.startswith(head)]
        given |= {f"stage.{place}.{key}" for key in own}
    return replace(inputs, stage=tuple(stage for stage, _ in stages), given=frozenset(given))


# --- single changes of a train


def gear_changes(inputs: Inputs, machine: Machine) -> Iterator[Build]:
    """One pair with other teeth, one pair more, one pair fewer; the train as it is first.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    """
    present = machine.groups[0].ratio
    yield Build("none", inputs, present)
    for place, stage in enumerate(inputs.stage):
        at = place + 1
        if stage.repeat > 1 or place > 0:
            ratio = present / stage.speed_ratio()
            yield Build("fewer", _with(inputs, place), ratio, at, stage.pinion, None, stage.gear)
        for teeth in _teeth(stage):
            added = stage if teeth is None else replace(stage, gear=teeth)
            if teeth is not None and teeth != stage.gear:
                own = inputs.motors[0].pinion if place == 0 and stage.repeat == 1 else None
                changed, ratio = _with(inputs, place, added), present * teeth / (stage.gear or 1)
                yield Build("teeth", changed, ratio, at, own or stage.pinion, teeth, stage.gear)
            longer, ratio = _with(inputs, place, stage, added), present * added.speed_ratio()
            yield Build("more", longer, ratio, at, stage.pinion, teeth)


def _teeth(stage: Stage) -> list[int | None]:
    """Teeth of the driven gear that are tried, evenly spread in ratio, the present number among
    them."""
    if stage.kind != "spur" or stage.gear is None or stage.pinion is None:
        return [None]
    low = max(stage.pinion, math.ceil(SMALLEST * stage.gear))
    high = math.floor(LARGEST * stage.gear)
    spread = np.round(np.geomspace(low, max(high, low + 1), SIZES)).astype(int)
    return sorted({*spread.tolist(), stage.gear})


def _with(inputs: Inputs, place: int, *last: Stage) -> Inputs:
    """Scenario whose last pair of a stage is replaced by others, or by none."""
    pairs = _unrolled(inputs)
    at = sum(stage.repeat for stage in inputs.stage[: place + 1]) - 1
    pairs[at : at + 1] = [(replace(pair, repeat=1), place + 1) for pair in last]
    merged: list[tuple[Stage, int]] = []
    for pair, origin in pairs:
        if merged and merged[-1][1] == origin and replace(merged[-1][0], repeat=1) == pair:
            merged[-1] = replace(pair, repeat=merged[-1][0].repeat + 1), origin
        else:
            merged.append((pair, origin))
    return with_stages(inputs, merged)


def _unrolled(inputs: Inputs) -> list[tuple[Stage, int]]:
    """Every pair of the train with the place of its stage, from 1."""
    return [
        (replace(stage, repeat=1), place)
        for place, stage in enumerate(inputs.stage, start=1)
        for _ in range(stage.repeat)
    ]


# --- builds from parts at hand


@dataclass(frozen=True)
class Family:
    """Builds of one train, rope and sort of motors: what they have in common, what differs, and
    which motors and drum each has."""

    inputs: Inputs
    columns: dict[str, list[Any]]
    train: tuple[Pair, ...]
    rope: PartRope | None
    members: tuple[Member, ...]


def families(inputs: Inputs, most: int, most_builds: int) -> tuple[list[Family], int]:
    """Builds that can be made of the parts at hand and may start the load, by ratio; and how many
    there are.

    Parameters
    ----------
    inputs : Inputs
        With parts; what is not listed there stays as it is.
    most, most_builds : int
        Families and builds that are made; of more, those with the fewest pairs and the most members
        of nearly equal ratios, then so many, spread evenly over the ratios.

    Raises
    ------
    DomainError
        Gears are at hand, and the scenario has no spur stage.

    Notes
    -----
    A gear is used as often as it is there, the first pinion once for each motor. Gears mesh where
    their modules are equal. In a train the pair with the largest module, then the widest, then the
    one with the largest pinion is the last. At most two sorts of motors are fitted together.
    """
    parts = inputs.parts or Parts()
    if parts.gears and not _spur(inputs)[0]:
        raise DomainError("stage", "no spur stage", "one that says how gears at hand are borne")
    kept: dict[tuple[Any, ...], list[Member]] = {}
    for fitted, rope in product(_motors(parts), parts.ropes or (None,)):
        key = tuple(motor for motor, _ in fitted), rope
        kept.setdefault(key, []).extend((fitted, drum) for drum in parts.drums or (None,))
    starts = [_family(inputs, (), rope, members) for (_, rope), members in kept.items()]
    rows: list[Row] = [((), family.rope, family.members) for family in starts]
    possible = sum(len(members) for *_, members in rows)
    if parts.gears:
        margins = lift_all(vary_each([(f.inputs, f.columns) for f in starts])).stall_margin_cold
        rows = _geared(inputs, parts.gears, rows, margins, *MARGINS)
        rows = rows or _geared(inputs, parts.gears, rows, margins, 0.0, math.inf)
        possible = sum(len(members) for *_, members in rows)
        if len(rows) > most:
            rows.sort(key=lambda row: (-len(row[0]), len(row[2])))  # the last of a sort stays
            rows = list({_alike(row): row for row in rows}.values())
        rows.sort(key=lambda row: _ratio(row[0]))
    size = max(len(members) for *_, members in rows) if rows else 1
    rows = thinned(rows, min(most, max(1, most_builds // size)))
    return [_family(inputs, *row) for row in rows], possible


def _alike(row: Row) -> tuple[Any, ...]:
    """What rows have in common of which one is enough: nearly the ratio, sort of motors, rope."""
    train, rope, members = row
    near = round(math.log(_ratio(train)) / NEAR)
    return near, rope, tuple(motor for motor, _ in members[0][0])


def _geared(
    inputs: Inputs,
    gears: Sequence[PartGear],
    rows: Sequence[Row],
    margins: np.ndarray,
    least: float,
    most: float,
) -> list[Row]:
    """Rows with every train of gears at hand whose starting margin, taken from that with the
    present train, is within bounds."""
    present = math.prod(stage.speed_ratio() for stage, _ in _spur(inputs)[0])
    known = margins[np.isfinite(margins) & (margins > 0)]
    ends = (least / known.max(), most / known.min()) if len(known) else (0.0, math.inf)
    own = sum(group.count for group in inputs.motors)
    found: list[Row] = []
    for train in _trains(gears, ends[0] * present, ends[1] * present):
        expected = margins * _ratio(train) / present
        fits, start = (expected >= least) & (expected <= most), 0
        driven: dict[int, tuple[Pair, ...]] = {}
        for _, rope, members in rows:
            by_train: dict[tuple[Pair, ...], list[Member]] = {}
            for place in np.flatnonzero(fits[start : start + len(members)]).tolist():
                motors = sum(n for _, n in members[place][0]) or own
                if motors not in driven:
                    driven[motors] = _driven(train, gears, motors)
                by_train.setdefault(driven[motors], []).append(members[place])
            start += len(members)
            found += [(ordered, rope, some) for ordered, some in by_train.items() if ordered]
    return found


def member_of(family: Family, place: int) -> Build:
    """One build of a family."""
    inputs = family.inputs
    for path, values in family.columns.items():
        inputs = with_value(inputs, path, values[place])
    ratio, (fitted, drum) = _ratio(family.train), family.members[place]
    return Build("parts", inputs, ratio, train=family.train, motors=fitted, drum=drum,
                 rope=family.rope)  # fmt: skip


def thinned(rows: Sequence[T], most: int) -> list[T]:
    """At most so many of some rows, evenly spread."""
    at = np.unique(np.round(np.linspace(0, len(rows) - 1, min(most, len(rows)))).astype(int))
    return [rows[place] for place in at] if rows else []


def _motors(parts: Parts) -> list[Fitted]:
    """Every number of every motor, and of every two sorts together."""
    if not parts.motors:
        return [()]
    sorts = [*combinations(parts.motors, 1), *combinations(parts.motors, 2)]
    return [
        tuple(zip(some, numbers, strict=True))
        for some in sorts
        for numbers in product(*(range(1, motor.count + 1) for motor in some))
    ]


def _family(
    inputs: Inputs, train: tuple[Pair, ...], rope: PartRope | None, members: Sequence[Any]
) -> Family:
    fitted = members[0][0]
    made = _with_rope(_with_motors(_with_train(inputs, train), fitted), rope)
    columns: dict[str, list[Any]] = {
        f"motors.{place + 1}.count": [row[0][place][1] for row in members]
        for place in range(len(fitted))
    }
    if members[0][1] is not None:
        for key in specs(PartDrum):
            sizes = [getattr(row[1], key) or getattr(inputs.drum, key) for row in members]
            columns |= {} if all(size is None for size in sizes) else {f"drum.{key}": sizes}
    return Family(made, columns, train, rope, tuple(members))


def _with_motors(inputs: Inputs, fitted: Fitted) -> Inputs:
    if not fitted:
        return inputs
    keys = [key for key in specs(MotorGroup) if key != "pinion"]
    groups = tuple(MotorGroup(**{key: getattr(motor, key) for key in keys}) for motor, _ in fitted)
    given = {path for path in inputs.given if not path.startswith("motors.")}
    assert inputs.parts is not None
    for place, (motor, _) in enumerate(fitted, start=1):
        head = f"parts.motors.{inputs.parts.motors.index(motor) + 1}."
        given |= {f"motors.{place}.{p[len(head) :]}" for p in inputs.given if p.startswith(head)}
    return replace(inputs, motors=groups, given=frozenset(given))


def _with_rope(inputs: Inputs, rope: PartRope | None) -> Inputs:
    if rope is None:
        return inputs
    own: dict[str, Any] = dict(knot_efficiency=None, axial_stiffness=None, mass_per_length=None)
    own |= {key: getattr(rope, key) for key in specs(PartRope)}
    given = {path for path in inputs.given if path.removeprefix("rope.") not in own}
    given |= {f"rope.{key}" for key, value in own.items() if value is not None}
    return replace(inputs, rope=replace(inputs.rope, **own), given=frozenset(given))


def _spur(inputs: Inputs) -> tuple[list[tuple[Stage, int]], list[tuple[Stage, int]]]:
    """Pairs of spur gears of a train, and its other stages."""
    pairs = _unrolled(inputs)
    return [row for row in pairs if row[0].kind == "spur"], [
        row for row in pairs if row[0].kind != "spur"
    ]


def _with_train(inputs: Inputs, train: tuple[Pair, ...]) -> Inputs:
    """Scenario with other pairs in front of the stages that are no spur gears; each is borne and
    made as the one at its place."""
    if not train:
        return inputs
    spur, others = _spur(inputs)
    stages = []
    for place, (pinion, gear) in enumerate(train):
        like, origin = spur[min(place, len(spur) - 1)]
        stage = replace(
            like, pinion=pinion.teeth, gear=gear.teeth, module=gear.module, diametral_pitch=None,
            width=gear.width or like.width, pinion_width=pinion.width or like.width,
            material=gear.material or like.material,
            pinion_material=pinion.material or like.pinion_material,
            pinion_shift=0.0, gear_shift=0.0, inertia=None, tested_tooth_force=None,
        )  # fmt: skip
        stages.append((stage, origin))
    motors = tuple(replace(group, pinion=None) for group in inputs.motors)
    return replace(with_stages(inputs, [*stages, *others]), motors=motors)


def _ratio(train: tuple[Pair, ...]) -> float:
    return math.prod(gear.teeth / pinion.teeth for pinion, gear in train)


def _trains(gears: Sequence[PartGear], low: float, high: float) -> list[tuple[Pair, ...]]:
    """Trains of gears at hand with ratios within bounds, few pairs first."""
    pairs = [
        (pinion, gear)
        for pinion, gear in product(dict.fromkeys(gears), repeat=2)
        if abs(pinion.module / gear.module - 1) < 1e-6 and gear.teeth > pinion.teeth
    ]
    pairs.sort(key=lambda p: (p[0].module, min(p[0].width or 0, p[1].width or 0), p[0].teeth))
    found: list[tuple[Pair, ...]] = []
    level: list[tuple[tuple[Pair, ...], int]] = [((), 0)]
    for _ in range(MOST_PAIRS):
        longer = [
            ((*train, pairs[place]), place)
            for train, start in level
            for place in range(start, len(pairs))
        ]
        level = [row for row in longer if _ratio(row[0]) <= high and _enough(row[0], gears)]
        level = thinned(sorted(level, key=lambda row: _ratio(row[0])), MOST_TRAINS)
        found += [train for train, _ in level if _ratio(train) >= low]
    return found


def _enough(train: tuple[Pair, ...], gears: Sequence[PartGear], pinions: int = 1) -> bool:
    """Whether there are gears for a train whose first pinion is needed so often."""
    used = Counter(gear for pair in train for gear in pair)
    used[train[0][0]] += pinions - 1
    return all(sum(g.count for g in gears if g == gear) >= n for gear, n in used.items())


def _driven(train: tuple[Pair, ...], gears: Sequence[PartGear], motors: int) -> tuple[Pair, ...]:
    """A train that begins with a pair whose pinion is there for every motor; empty for none."""
    for place, pair in enumerate(train):
        ordered = (pair, *train[:place], *train[place + 1 :])
        if _enough(ordered, gears, motors):
            return ordered
    return ()
