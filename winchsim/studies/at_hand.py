"""Builds that can be made of the parts at hand."""

import math
from collections.abc import Sequence
from itertools import combinations, product
from typing import Any

import numpy as np

from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import (
    Inputs,
    MotorGroup,
    PartDrum,
    PartGear,
    PartRope,
    Parts,
    Stage,
    specs,
)
from winchsim.model.build import free_speed
from winchsim.slow import vary_each
from winchsim.slow.lifts import starting_margins
from winchsim.studies.builds import Build, Fitted, Pair, unrolled, with_stages

MOST_PAIRS, MOST_TRAINS = 8, 3000
"""Pairs of a train from gears at hand, and trains of each number of pairs that are followed. [-]"""

PAIR_KEEPS = 0.88
"""Share of the torque that a pair of gears with its bearings passes on, for a first estimate. [-]
Own choice: printed gears keep 0.8 to 0.95."""

MARGINS = (0.7, 20.0)
"""Starting torque margins, estimated from the present train, outside which a build is not tried
where others are within. [-] Own choice."""

Fit = tuple[Fitted, PartDrum | None, PartRope | None]
Member = tuple[tuple[Pair, ...], Fit]


@dataclass(frozen=True)
class Family:
    """Builds that differ by numbers alone: the first of them, the columns of all, and of what parts
    each is made, which are rows of a table."""

    inputs: Inputs
    columns: dict[str, Any]
    members: tuple[Member, ...]
    rows: np.ndarray


def families(inputs: Inputs, most: int, *, fastest: bool = False) -> tuple[list[Family], int]:
    """Builds that can be made of the parts at hand and may start the load; and how many there are.

    Parameters
    ----------
    inputs : Inputs
        With parts; what is not listed there stays as it is.
    most : int
        Builds that are made. Of more, margin and speed are estimated from the present train, and
        the fastest of those that start the load are made.
    fastest : bool
        Else so many, spread evenly over the margins.

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
    fits = list(product(_motors(parts), parts.drums or (None,), parts.ropes or (None,)))
    owners = np.arange(len(fits))
    if not parts.gears:
        kept = owners[_spread(len(fits), most)]
        return _grouped(inputs, [], fits, _no_trains(len(kept)), kept), len(fits)
    if not _spur(inputs)[0]:
        raise DomainError("stage", "no spur stage", "one that says how gears at hand are borne")
    margins, speeds = _starts(_grouped(inputs, [], fits, _no_trains(len(fits)), owners))
    pairs = _pairs(inputs, parts.gears, fits)
    own = sum(group.count for group in inputs.motors)
    numbers = np.array([sum(n for _, n in fitted) or own for fitted, *_ in fits])
    known = margins[np.isfinite(margins) & (margins > 0)]
    present = [stage.speed_ratio() * PAIR_KEEPS for stage, _ in _spur(inputs)[0]]
    least = PAIR_KEEPS**MOST_PAIRS * min(known, default=1.0) / math.prod(present)
    trains, owners = _trains(parts.gears, pairs, numbers, MARGINS[1] / least)
    gains = np.append([b.teeth / a.teeth * PAIR_KEEPS for a, b in pairs], 1.0)
    margin = margins[owners] * gains[trains].prod(axis=1) / math.prod(present)
    near = np.flatnonzero((margin >= MARGINS[0]) & (margin <= MARGINS[1]))
    near = near if len(near) else np.arange(len(margin))
    speed = speeds[owners] / gains[trains].prod(axis=1) * (1 - 1 / margin)
    order = near[np.argsort(-speed[near] if fastest else margin[near], kind="stable")]
    kept = np.sort(order[:most] if fastest else order[_spread(len(order), most)])
    return _grouped(inputs, pairs, fits, trains[kept], owners[kept]), len(near)


def _no_trains(size: int) -> np.ndarray:
    return np.full((size, MOST_PAIRS), -1)


def _spread(size: int, most: int) -> np.ndarray:
    """Places of at most so many of a number of rows, evenly spread."""
    return np.unique(np.round(np.linspace(0, size - 1, min(most, size))).astype(int))


def make(inputs: Inputs, train: tuple[Pair, ...], fit: Fit) -> Build:
    """One build.

    Parameters
    ----------
    inputs : Inputs
    train : tuple of (PartGear, PartGear)
        Empty where it stays.
    fit : tuple
        Motors with their numbers, drum and rope; each empty or None where it stays.
    """
    fitted, drum, rope = fit
    made = _with_rope(_with_motors(_with_train(inputs, train), fitted), rope)
    if drum is not None:
        own = {key: size for key in specs(PartDrum) if (size := getattr(drum, key)) is not None}
        given = made.given | {f"drum.{key}" for key in own}
        made = replace(made, drum=replace(made.drum, **own), given=given)
    ratio = math.prod(gear.teeth / pinion.teeth for pinion, gear in train)
    return Build("parts", made, ratio, train=train, motors=fitted, drum=drum, rope=rope)


def _grouped(
    inputs: Inputs,
    pairs: Sequence[Pair],
    fits: Sequence[Fit],
    trains: np.ndarray,
    owners: np.ndarray,
) -> list[Family]:
    """Families of builds, each a row of pairs, filled up with -1, and a fit."""
    sorts = {fit: (tuple(m for m, _ in fit[0]), fit[2]) for fit in fits}
    numbers = {sort: n for n, sort in enumerate(dict.fromkeys(sorts.values()))}
    sort_of = np.array([numbers[sorts[fit]] for fit in fits])
    wide = all(stage.width is not None for stage in inputs.stage if stage.kind == "spur")
    made_of = [(wide or a.width is None, wide or b.width is None) for a, b in pairs]
    kinds = {kind: n for n, kind in enumerate(dict.fromkeys(made_of))}
    kind_of = np.array([*(kinds[kind] for kind in made_of), -1])
    keys = np.column_stack([sort_of[owners], kind_of[trains]])
    found = []
    _, group = np.unique(keys, axis=0, return_inverse=True)
    for number in range(group.max() + 1):
        at = np.flatnonzero(group.ravel() == number)
        members = tuple(
            (tuple(pairs[p] for p in train if p >= 0), fits[owner])
            for train, owner in zip(trains[at].tolist(), owners[at].tolist(), strict=True)
        )
        base = make(inputs, *members[0]).inputs
        columns = _columns(inputs, base, members)
        found.append(Family(_printed(base, columns), columns, members, at))
    return found


def _columns(inputs: Inputs, base: Inputs, members: Sequence[Any]) -> dict[str, Any]:
    """What differs within a family, by path."""
    columns: dict[str, Any] = {}
    spur = _spur(inputs)[0]
    for place in range(len(members[0][0])):
        stage, row = base.stage[place], [train[place] for train, _ in members]
        like = spur[min(place, len(spur) - 1)][0]
        values = {
            "pinion": [a.teeth for a, _ in row],
            "gear": [b.teeth for _, b in row],
            "module": [b.module for _, b in row],
            "width": [b.width or like.width for _, b in row],
            "pinion_width": [a.width or like.width for a, _ in row],
        }
        materials = [b.material or like.material for _, b in row]
        own = [
            a.material or like.pinion_material or name
            for (a, _), name in zip(row, materials, strict=True)
        ]
        if len({*materials, *own}) > 1:
            values |= {"material": materials, "pinion_material": own}
            stage = replace(stage, pinion_material=own[0])
        columns |= {
            f"stage.{place + 1}.{key}": column
            for key, column in values.items()
            if getattr(stage, key) is not None
        }
    fits = [fit for _, fit in members]
    for place in range(len(fits[0][0])):
        columns[f"motors.{place + 1}.count"] = [fitted[place][1] for fitted, *_ in fits]
    for key in specs(PartDrum) if fits[0][1] is not None else ():
        sizes = [getattr(drum, key) or getattr(inputs.drum, key) for _, drum, _ in fits]
        columns |= {} if all(size is None for size in sizes) else {f"drum.{key}": sizes}
    return columns


def _printed(base: Inputs, columns: dict[str, Any]) -> Inputs:
    """A scenario whose gears are printed wherever one of its family is, so that it has every part
    that one of them has."""
    stages = list(base.stage)
    for place, stage in enumerate(stages):
        names = columns.get(f"stage.{place + 1}.material", ())
        found = [name for name in names if base.materials[name].family == "printed polymer"]
        stages[place] = replace(stage, material=found[0]) if found else stage
    return replace(base, stage=tuple(stages))


# --- trains of gears at hand


def _starts(made: Sequence[Family]) -> tuple[np.ndarray, np.ndarray]:
    """Starting torque margin and speed of the load without losses, per fit, with the present
    train."""
    variants = vary_each([(family.inputs, family.columns) for family in made])
    margins, speeds = np.zeros(variants.size), np.zeros(variants.size)
    places = np.concatenate([family.rows for family in made])
    for own, batch in variants.batches:
        rows = places[own]
        margins[rows] = starting_margins(batch)[0]
        speeds[rows] = free_speed(variants.inputs, batch.machine.groups) * batch.radii[0]
    return margins, speeds


def _pairs(inputs: Inputs, gears: Sequence[PartGear], fits: Sequence[Fit]) -> list[Pair]:
    """Pairs of gears at hand that mesh, without those that cannot be made like the first stage."""
    pairs = [
        (pinion, gear)
        for pinion, gear in product(dict.fromkeys(gears), repeat=2)
        if abs(pinion.module / gear.module - 1) < 1e-6 and gear.teeth > pinion.teeth
    ]
    if not pairs:
        raise DomainError("parts.gears", "no two that mesh", "gears of one module, unlike in size")
    pairs.sort(key=lambda p: (p[0].module, min(p[0].width or 0, p[1].width or 0), p[0].teeth))
    alone = _no_trains(len(pairs))
    alone[:, 0] = np.arange(len(pairs))
    made = _grouped(inputs, pairs, fits, alone, np.zeros(len(pairs), dtype=int))
    problems = vary_each([(family.inputs, family.columns) for family in made]).problems
    rows = np.concatenate([family.rows for family in made])
    good = np.sort(np.delete(rows, list(problems)))
    return [pairs[row] for row in (good if len(good) else rows)]


def _trains(
    gears: Sequence[PartGear], pairs: Sequence[Pair], motors: np.ndarray, most: float
) -> tuple[np.ndarray, np.ndarray]:
    """Trains of gears at hand with a ratio of at most so much, each with every fit that there are
    pinions for: rows of pairs, filled up with -1, and which fit.

    Parameters
    ----------
    motors : ndarray of int
        Of each fit. [-]
    """
    distinct = list(dict.fromkeys(gears))
    stock = np.array([sum(g.count for g in gears if g == gear) for gear in distinct])
    pinions = np.array([distinct.index(a) for a, _ in pairs])
    each = np.array([[(a == g) + (b == g) for g in distinct] for a, b in pairs], dtype=int)
    steps = np.log([b.teeth / a.teeth for a, b in pairs])
    level, used, size = np.zeros((1, 0), dtype=int), np.zeros((1, len(stock)), dtype=int), [0.0]
    found = []
    for length in range(1, MOST_PAIRS + 1):
        last = level[:, -1] if length > 1 else np.zeros(1, dtype=int)
        row, pair = np.nonzero(last[:, None] <= np.arange(len(pairs)))
        taken, ratio = used[row] + each[pair], np.asarray(size)[row] + steps[pair]
        good = np.flatnonzero((taken <= stock).all(axis=1) & (ratio <= math.log(most)))
        good = good[np.argsort(ratio[good], kind="stable")]
        good = good[_spread(len(good), MOST_TRAINS)]
        level = np.column_stack([level[row[good]], pair[good]])
        used, size = taken[good], ratio[good]
        for number in np.unique(motors):
            first = pinions[level]
            enough = np.take_along_axis(used, first, axis=1) + number - 1 <= stock[first]
            front = np.argmax(enough, axis=1)[:, None]
            order = np.argsort(np.arange(length) != front, axis=1, kind="stable")
            trains = np.take_along_axis(level, order, axis=1)[enough.any(axis=1)]
            fits = np.flatnonzero(motors == number)
            trains = np.pad(trains, ((0, 0), (0, MOST_PAIRS - length)), constant_values=-1)
            found.append((np.repeat(trains, len(fits), axis=0), np.tile(fits, len(trains))))
    return np.concatenate([a for a, _ in found]), np.concatenate([b for _, b in found])


# --- parts put into a scenario


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


def _with_motors(inputs: Inputs, fitted: Fitted) -> Inputs:
    if not fitted:
        return inputs
    keys = [key for key in specs(MotorGroup) if key not in ("pinion", "count")]
    groups = tuple(
        MotorGroup(count=number, **{key: getattr(motor, key) for key in keys})
        for motor, number in fitted
    )
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
    pairs = unrolled(inputs)
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
