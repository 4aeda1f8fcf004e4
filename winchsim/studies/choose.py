"""Builds that can be made of the parts at hand, and the best of them."""

import math
from collections.abc import Callable, Sequence
from itertools import combinations, product
from typing import Any

import numpy as np

from winchsim.assessment.actions import with_actions
from winchsim.assessment.candidates import capacities, check_columns, measured
from winchsim.assessment.evaluate import add_ranges, assess
from winchsim.assessment.kinds import Assessment
from winchsim.assessment.ranges import HoldShare, Ranges, find_each
from winchsim.errors import Code, WinchsimError, refuse_if, refused
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
)
from winchsim.model.build import build, free_speed
from winchsim.simulation import Record, simulate
from winchsim.slow import Variants, vary_each
from winchsim.slow.lifts import starting_margins
from winchsim.strength.link import LinkKind
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments

MOST_BUILDS = 10_000
"""Builds screened at most. [-]"""

CLOSER, AT_ONCE, SHOWN, TRIES = 20, 7, 5, 6
"""Builds that get ranges of their own, how many of them at a time, that are shown, and that are
simulated in full for them. [-]"""

TINY = 1e-6
"""Starting torque margin that a smaller one counts as. [-]"""

MOST_PAIRS, MOST_TRAINS = 8, 3000
"""Pairs of a train from gears at hand, and trains of each number of pairs that are followed. [-]"""

PAIR_KEEPS = 0.88
"""Share of the torque that a pair of gears with its bearings passes on, for a first estimate. [-]
Own choice: printed gears keep 0.8 to 0.95."""

MARGINS = (0.7, 20.0)
"""Starting torque margins, estimated from the present train, outside which a build is not tried
where others are within. [-] Own choice."""

NOT_OF_ANOTHER_ROPE = ("knot_efficiency", "axial_stiffness", "mass_per_length")
"""Values of a rope that another one does not have."""

Pair = tuple[PartGear, PartGear]
Fitted = tuple[tuple[PartMotor, int], ...]
Fit = tuple[Fitted, PartDrum | None, PartRope | None]
Member = tuple[tuple[Pair, ...], Fit]


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
    given = _given(inputs, "stage", [f"stage.{origin}." for _, origin in stages])
    return replace(inputs, stage=tuple(stage for stage, _ in stages), given=given)


def _given(inputs: Inputs, table: str, heads: Sequence[str]) -> frozenset[str]:
    """Given paths of a scenario whose tables of one list are made from others, by how the paths of
    these begin."""
    kept = {path for path in inputs.given if not path.startswith(f"{table}.")}
    return frozenset(kept).union(
        f"{table}.{place}.{path.removeprefix(head)}"
        for place, head in enumerate(heads, start=1)
        for path in inputs.given
        if path.startswith(head)
    )


def unrolled(inputs: Inputs) -> list[tuple[Stage, int]]:
    """Every pair of the train with the place of its stage, from 1."""
    return [
        (replace(stage, repeat=1), place)
        for place, stage in enumerate(inputs.stage, start=1)
        for _ in range(stage.repeat)
    ]


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
    refuse_if(
        not _spur(inputs), "stage", "no spur stage", "one that says how gears at hand are borne"
    )
    margins, speeds = _starts(_grouped(inputs, [], fits, _no_trains(len(fits)), owners))
    pairs = _pairs(inputs, parts.gears, fits)
    own = sum(group.count for group in inputs.motors)
    numbers = np.array([sum(n for _, n in fitted) or own for fitted, *_ in fits])
    known = margins[np.isfinite(margins) & (margins > 0)]
    present = math.prod(stage.speed_ratio() * PAIR_KEEPS for stage, _ in _spur(inputs))
    least = PAIR_KEEPS**MOST_PAIRS * min(known, default=1.0) / present
    trains, owners = _trains(parts.gears, pairs, numbers, MARGINS[1] / least)
    gains = np.append([b.teeth / a.teeth * PAIR_KEEPS for a, b in pairs], 1.0)[trains].prod(axis=1)
    margin = margins[owners] * gains / present
    near = np.flatnonzero((margin >= MARGINS[0]) & (margin <= MARGINS[1]))
    near = near if len(near) else np.arange(len(margin))
    lowest = -speeds[owners] / gains * (1 - 1 / margin) if fastest else margin
    order = near[np.argsort(lowest[near], kind="stable")]
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
    made = _with_motors(_with_train(inputs, train), fitted)
    if drum is not None:
        sizes = {key: getattr(drum, key) for key in specs(PartDrum)}
        made = _with_part(made, "drum", {k: size for k, size in sizes.items() if size is not None})
    if rope is not None:
        own = {key: getattr(rope, key) for key in specs(PartRope)}
        made = _with_part(made, "rope", dict.fromkeys(NOT_OF_ANOTHER_ROPE) | own)
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
    sorts = _numbered([(tuple(m for m, _ in fitted), rope) for fitted, _, rope in fits])
    wide = all(stage.width is not None for stage in inputs.stage if stage.kind == "spur")
    kinds = _numbered([(wide or a.width is None, wide or b.width is None) for a, b in pairs])
    keys = np.column_stack([sorts[owners], np.append(kinds, -1)[trains]])
    _, group = np.unique(keys, axis=0, return_inverse=True)
    rows = [np.flatnonzero(group.ravel() == number) for number in range(group.max() + 1)]
    return [_family(inputs, pairs, fits, trains[at], owners[at], at) for at in rows]


def _numbered(keys: Sequence[Any]) -> np.ndarray:
    """Number of each key, equal for equal ones."""
    numbers = {key: n for n, key in enumerate(dict.fromkeys(keys))}
    return np.array([numbers[key] for key in keys], dtype=int)


def _family(
    inputs: Inputs,
    pairs: Sequence[Pair],
    fits: Sequence[Fit],
    trains: np.ndarray,
    owners: np.ndarray,
    rows: np.ndarray,
) -> Family:
    """Builds with one set of sorts of parts. Their common scenario has printed gears wherever one
    of them has, so that it has every part that one of them has."""
    members = tuple(
        (tuple(pairs[p] for p in train if p >= 0), fits[owner])
        for train, owner in zip(trains.tolist(), owners.tolist(), strict=True)
    )
    base = make(inputs, *members[0]).inputs
    stages, columns = list(base.stage), dict[str, Any]()
    for place in range(len(members[0][0])):
        used, which = np.unique(trains[:, place], return_inverse=True)
        made = [_stage(inputs, place, pairs[p])[0] for p in used]
        made = [replace(s, pinion_material=s.pinion_material or s.material) for s in made]
        keys = ["pinion", "gear", "module", "width", "pinion_width"]
        if len({name for s in made for name in (s.material, s.pinion_material)}) > 1:
            keys += ["material", "pinion_material"]
            printed = [s for s in made if inputs.materials[s.material].family == "printed polymer"]
            stages[place] = replace(stages[place], material=(printed or stages)[0].material)
        columns |= {
            f"stage.{place + 1}.{key}": np.array([getattr(s, key) for s in made])[which.ravel()]
            for key in keys
            if getattr(made[0], key) is not None
        }
    own = [fit for _, fit in members]
    for place in range(len(own[0][0])):
        columns[f"motors.{place + 1}.count"] = [fitted[place][1] for fitted, *_ in own]
    for key in specs(PartDrum) if own[0][1] is not None else ():
        sizes = [getattr(drum, key) or getattr(inputs.drum, key) for _, drum, _ in own]
        columns |= {} if all(size is None for size in sizes) else {f"drum.{key}": sizes}
    return Family(replace(base, stage=tuple(stages)), columns, members, rows)


# --- trains of gears at hand


def as_variants(made: Sequence[Family]) -> tuple[Variants, np.ndarray]:
    """Variants of families, and the row of each."""
    rows = np.concatenate([family.rows for family in made])
    return vary_each([(family.inputs, family.columns) for family in made]), rows


def _starts(made: Sequence[Family]) -> tuple[np.ndarray, np.ndarray]:
    """Starting torque margin and speed of the load without losses, per fit, with the present
    train."""
    variants, places = as_variants(made)
    margins, speeds = np.zeros(variants.size), np.zeros(variants.size)
    for own, batch in variants.batches:
        margins[places[own]] = starting_margins(batch)[0]
        speeds[places[own]] = free_speed(variants.inputs, batch.machine.groups) * batch.radii[0]
    return margins, speeds


def _pairs(inputs: Inputs, gears: Sequence[PartGear], fits: Sequence[Fit]) -> list[Pair]:
    """Pairs of gears at hand that mesh, without those that cannot be made like the first stage."""
    pairs = [
        (pinion, gear)
        for pinion, gear in product(dict.fromkeys(gears), repeat=2)
        if abs(pinion.module / gear.module - 1) < 1e-6 and gear.teeth > pinion.teeth
    ]
    refuse_if(not pairs, "parts.gears", "no two that mesh", "gears of one module, unlike in size")
    pairs.sort(key=lambda p: (p[0].module, min(p[0].width or 0, p[1].width or 0), p[0].teeth))
    alone = _no_trains(len(pairs))
    alone[:, 0] = np.arange(len(pairs))
    made = _grouped(inputs, pairs, fits, alone, np.zeros(len(pairs), dtype=int))
    variants, rows = as_variants(made)
    good = np.sort(np.delete(rows, list(variants.problems)))
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
    level, used, size = np.zeros((1, 0), int), np.zeros((1, len(stock)), int), np.zeros(1)
    found = []
    for length in range(1, MOST_PAIRS + 1):
        last = level[:, -1:] if length > 1 else np.zeros((1, 1))
        row, pair = np.nonzero(last <= np.arange(len(pairs)))
        taken, ratio = used[row] + each[pair], size[row] + steps[pair]
        good = np.flatnonzero((taken <= stock).all(axis=1) & (ratio <= math.log(most)))
        good = good[np.argsort(ratio[good], kind="stable")]
        good = good[_spread(len(good), MOST_TRAINS)]
        level = np.column_stack([level[row[good]], pair[good]])
        used, size = taken[good], ratio[good]
        first = pinions[level]
        for number in np.unique(motors):
            enough = np.take_along_axis(used, first, axis=1) + number - 1 <= stock[first]
            front = np.argmax(enough, axis=1)[:, None]
            order = np.argsort(np.arange(length) != front, axis=1, kind="stable")
            trains = np.take_along_axis(level, order, axis=1)[enough.any(axis=1)]
            trains = np.pad(trains, ((0, 0), (0, MOST_PAIRS - length)), constant_values=-1)
            fits = np.flatnonzero(motors == number)
            found.append((np.repeat(trains, len(fits), axis=0), np.tile(fits, len(trains))))
    return np.concatenate([a for a, _ in found]), np.concatenate([b for _, b in found])


# --- parts put into a scenario


def _motors(parts: Parts) -> list[Fitted]:
    """Every number of every motor, and of every two sorts together."""
    if not parts.motors:
        return [()]
    return [
        tuple(zip(some, numbers, strict=True))
        for some in (*combinations(parts.motors, 1), *combinations(parts.motors, 2))
        for numbers in product(*(range(1, motor.count + 1) for motor in some))
    ]


def _with_motors(inputs: Inputs, fitted: Fitted) -> Inputs:
    if not fitted or inputs.parts is None:
        return inputs
    keys = [key for key in specs(MotorGroup) if key not in ("pinion", "count")]
    groups = tuple(
        MotorGroup(count=number, **{key: getattr(motor, key) for key in keys})
        for motor, number in fitted
    )
    places = [inputs.parts.motors.index(motor) + 1 for motor, _ in fitted]
    given = _given(inputs, "motors", [f"parts.motors.{place}." for place in places])
    return replace(inputs, motors=groups, given=given)


def _with_part(inputs: Inputs, table: str, own: dict[str, Any]) -> Inputs:
    """Scenario with other values in a table, which count as given where they are not None."""
    paths = {f"{table}.{key}": value for key, value in own.items()}
    given = {path for path, value in paths.items() if value is not None}
    given |= inputs.given - paths.keys()
    return replace(
        inputs, given=frozenset(given), **{table: replace(getattr(inputs, table), **own)}
    )


def _spur(inputs: Inputs) -> list[tuple[Stage, int]]:
    """Pairs of spur gears of a train, each with the place of its stage."""
    return [row for row in unrolled(inputs) if row[0].kind == "spur"]


def _stage(inputs: Inputs, place: int, pair: Pair) -> tuple[Stage, int]:
    """A pair of gears, borne and made as the one at a place, and the place of that one's stage."""
    (pinion, gear), spur = pair, _spur(inputs)
    like, origin = spur[min(place, len(spur) - 1)]
    stage = replace(
        like,
        pinion=pinion.teeth,
        gear=gear.teeth,
        module=gear.module,
        diametral_pitch=None,
        width=gear.width or like.width,
        pinion_width=pinion.width or like.width,
        material=gear.material or like.material,
        pinion_material=pinion.material or like.pinion_material,
        pinion_shift=0.0,
        gear_shift=0.0,
        inertia=None,
        tested_tooth_force=None,
    )
    return stage, origin


def _with_train(inputs: Inputs, train: tuple[Pair, ...]) -> Inputs:
    """Scenario with other pairs in front of the stages that are no spur gears."""
    if not train:
        return inputs
    stages = [_stage(inputs, place, pair) for place, pair in enumerate(train)]
    stages += [row for row in unrolled(inputs) if row[0].kind != "spur"]
    motors = tuple(replace(group, pinion=None) for group in inputs.motors)
    return replace(with_stages(inputs, stages), motors=motors)


# --- the best of them


@dataclass(frozen=True)
class Choice:
    """The best builds, the best first.

    Attributes
    ----------
    builds : tuple of Build
    found : tuple of Assessment
        Of each, simulated in full.
    full : Sweep
        The same as a table.
    tried, possible : int
        Builds screened, and that the parts allow and that may start the load.
    sound : int
        Builds screened without a failing check.
    fastest : bool
    """

    builds: tuple[Build, ...]
    found: tuple[Assessment, ...]
    full: Sweep
    tried: int
    possible: int
    sound: int
    fastest: bool

    @property
    def exit_code(self) -> int:
        """That of the best build; 1 without one."""
        return self.found[0].exit_code if self.found else 1


def choose(
    inputs: Inputs,
    *,
    fastest: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
) -> Choice:
    """The best builds that the parts of a scenario allow.

    Parameters
    ----------
    inputs : Inputs
        With parts at hand; what is not listed stays as it is.
    fastest : bool
        Whether of builds that are otherwise equal the fastest is taken, instead of the one with the
        most to spare to its nearest limit.
    on_progress : callable, optional
        Called with the full simulations done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, no parts are listed, or none of them fit together.

    Notes
    -----
    The rule is that of `Sweep.order`. All builds are screened by the quasi-static model without
    ranges. A few of the best get ranges of their own, which the builds like them borrow; then a few
    of those that are best now, and so on. The best of them are simulated in full, and changes are
    looked for that help the first.
    """
    listed = inputs.parts not in (None, Parts())
    made, possible = families(inputs, MOST_BUILDS, fastest=fastest) if listed else ([], 0)
    if not made:
        raise refused(
            "no build can be made of the parts" if listed else "no parts are listed",
            "parts",
            code=Code.NO_BUILD,
            expected="[[parts.gears]], [[parts.motors]], [[parts.drums]] or [[parts.ropes]]",
            hint="" if listed else "name a file that has them: --parts FILE",
        )

    def order(found: Sweep) -> list[int]:
        aim = found.results["lift_time"] if fastest else -found.least_share()
        return [int(i) for i in found.order(aim)]

    screened, looked_at = _screened(inputs, made, order)
    kept = _in_full(looked_at, on_progress or (lambda *_: None))
    if kept:
        full = of_assessments(inputs, {}, [found for _, found, _ in kept])
        kept = [kept[i] for i in order(full)[:SHOWN]]
    best = [
        found if place else with_actions(found, record)
        for place, (_, found, record) in enumerate(kept)
    ]
    return Choice(
        builds=tuple(one for one, *_ in kept),
        found=tuple(best),
        full=of_assessments(inputs, {}, best),
        tried=len(screened),
        possible=possible,
        sound=int(screened.sound.sum()),
        fastest=fastest,
    )


def _in_full(
    looked_at: Sequence[tuple[Build, Ranges]], on_progress: Callable[[int, int], None]
) -> list[tuple[Build, Assessment, Record]]:
    """Full simulations of the first builds, until enough of them meet the limits."""
    kept: list[tuple[Build, Assessment, Record]] = []
    for done, (one, known) in enumerate(looked_at[:TRIES], start=1):
        try:
            record = simulate(one.inputs)
        except WinchsimError:
            continue
        found = assess(record, actions=False, ranges=False)
        found = add_ranges(found, record, known if found.target.reached else None)
        kept.append((one, found, record))
        on_progress(done, TRIES)
        if sum(found.exit_code == 0 for _, found, _ in kept) == SHOWN:
            break
    return kept


def _screened(
    inputs: Inputs, made: Sequence[Family], order: Callable[[Sweep], list[int]]
) -> tuple[Sweep, list[tuple[Build, Ranges]]]:
    """All builds without ranges; and those that were looked at with ranges, the best first."""
    members = [member for family in made for member in family.members]
    variants, _ = as_variants(made)
    coarse = ((rows, replace(batch, coarse=True)) for rows, batch in variants.batches)
    variants = replace(variants, batches=tuple(coarse))
    more = measured(variants)
    screened = now = by_slow_model(variants, ranges=False, more=more)
    lifts = screened.lifts
    assert lifts is not None
    shapes = [(len(t), len(family.inputs.motors) / 2) for family in made for t, _ in family.members]
    alike = np.column_stack([shapes, np.log(np.maximum(lifts.stall_margin_cold, TINY)) / 9])
    looked_at: dict[int, tuple[Build, Ranges]] = {}
    spreads: list[dict[LinkKind, tuple[float, float]]] = []
    while True:
        best = [i for i in order(now) if i not in screened.problems]
        new = [i for i in best if i not in looked_at][: min(AT_ONCE, CLOSER - len(looked_at))]
        if not looked_at:  # one with each number of pairs
            new = [best[i] for i in np.sort(np.unique(alike[best, 0], return_index=True)[1])]
        if not new:
            return screened, [looked_at[i] for i in best if i in looked_at]
        builds = [make(inputs, *members[i]) for i in new]
        machines = [build(one.inputs, strict=False) for one in builds]
        known = find_each([(b.inputs, m) for b, m in zip(builds, machines, strict=True)])
        looked_at |= dict(zip(new, zip(builds, known, strict=True), strict=True))
        spreads += [capacities(machine) for machine in machines]
        at = list(looked_at)
        like = np.argmin(np.abs(alike[:, None] - alike[at]).sum(axis=2), axis=1)
        like[at] = np.arange(len(at))
        spread = {
            kind: _taken([own.get(kind, (1.0, 1.0)) for own in spreads], like)
            for kind in set().union(*spreads)
        }
        ranges = _borrowed([known for _, known in looked_at.values()], like)
        now = replace(screened, checks=check_columns(variants, lifts, spread, ranges, more))


def _taken(rows: Sequence[Sequence[float]], like: np.ndarray) -> Any:
    """Columns of some rows, for builds each of which is like one of them."""
    return tuple(np.array(rows, dtype=float)[like].T)


def _borrowed(found: Sequence[Ranges], like: np.ndarray) -> Ranges:
    """Ranges of builds each of which is like one of some."""
    keys = {key for known in found for key in known.spans}
    spans = {key: _taken([known.span(key) for known in found], like) for key in keys}
    hold: Any = {
        key: tuple(
            HoldShare(*_taken([(end.net, end.slope) for end in ends], like))
            for ends in zip(*(known.hold[key] for known in found), strict=True)
        )
        for key in found[0].hold
    }
    return replace(found[0], spans=spans, hold=hold)
