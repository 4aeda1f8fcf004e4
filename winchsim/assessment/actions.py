"""What to change: at most three changes, each tried in full, the best first.

Of each kind the smallest change is proposed that the quasi-static model calls enough.
"""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import chain
from typing import Any

import numpy as np

from winchsim.assessment.candidates import HELD, CheckColumn, capacities, check_columns
from winchsim.assessment.kinds import (
    Action,
    ActionKind,
    Assessment,
    Check,
    CheckKey,
    Effect,
    End,
    FindingKind,
    Holding,
    Setting,
    Status,
)
from winchsim.assessment.margins import BRAKE_REQUIRED, brake_margin
from winchsim.assessment.readings import grade, worst_part
from winchsim.errors import UnknownPathError, WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Brake, Inputs, Pawl, spec_at, value_at, with_value
from winchsim.model import Machine, build
from winchsim.quantity_text import PRINTED_UNITS, in_unit, rounded
from winchsim.simulation import Record, simulate
from winchsim.slow import Lifts, lift_all, lift_machine, vary
from winchsim.strength.link import LinkKind

MOST_MOTORS, SMALLEST, MOST_TEETH, MOST_VOLTAGE = 4, 0.25, 1.6, 1.5
"""How many times as many motors are tried at most; to what share load and drum are reduced; by how
much gears and ratios grow; and voltage over the nominal one. [-] Own choices."""

STEPS = 40
"""Steps in equal ratios between the present value and the farthest. [-]"""

MOST_STRONGER = 10.0
"""How many times as large a part is made at most. [-] Own choice."""

Goal = Callable[[Lifts, Mapping[CheckKey, CheckColumn]], np.ndarray]
"""Which candidates are good enough, from their quasi-static lifts and checks."""


@dataclass(frozen=True)
class Proposal:
    """A changed scenario, and what was changed in it."""

    kind: ActionKind
    changes: tuple[Setting, ...]
    inputs: Inputs


Option = tuple[ActionKind, Inputs, str, float]
"""Something to change: its kind, the scenario to vary, the path, and the farthest value. SI"""


def proposal(
    kind: ActionKind, inputs: Inputs, path: str, after: Any, trial: Inputs | None = None
) -> Iterator[Proposal]:
    """One changed value; nothing where it is out of bounds.

    Parameters
    ----------
    kind : ActionKind
    inputs : Inputs
    path : str
    after : object
        SI.
    trial : Inputs, optional
        With the part that the path leads to, where the scenario has none.
    """
    before = None
    with suppress(WinchsimError):
        changed = with_value(replace(trial or inputs, phase=inputs.phase), path, after)
        with suppress(UnknownPathError):
            before = value_at(inputs, path)
        yield Proposal(kind, (Setting(path, before, after, spec_at(changed, path).unit),), changed)


def to_people(value: float, unit: str, *, up: bool) -> float:
    """Positive value rounded in its printed unit to two digits, three where two move it by 3 %."""
    shown = in_unit(value, unit)
    found = rounded(shown, 2, up=up)
    if abs(found - shown) > 0.03 * shown:
        found = rounded(shown, 3, up=up)
    return found / PRINTED_UNITS[unit].factor


def _towards(inputs: Inputs, path: str, limit: float) -> np.ndarray:
    """Values from the present one to a limit, nearest first: whole or round numbers. SI"""
    now, spec = value_at(inputs, path), spec_at(inputs, path)
    if spec.kind == "integer":
        return np.arange(now + 1, int(limit) + 1)
    steps = now * (limit / now) ** (np.arange(1, STEPS + 1) / STEPS)
    tried = dict.fromkeys(to_people(step, spec.unit, up=limit > now) for step in steps)
    return np.array([value for value in tried if min(now, limit) <= value <= max(now, limit)])


def smallest(
    kind: ActionKind, inputs: Inputs, machine: Machine, goals: Sequence[Goal]
) -> Iterator[Proposal]:
    """For each goal the smallest change of a kind: with the fewest motors, then the least ratio.

    Parameters
    ----------
    kind : ActionKind
    inputs : Inputs
    machine : Machine
        Built from it.
    goals : sequence of Goal
    """
    found: list[list[tuple[tuple[int, float], Option]]] = [[] for _ in goals]
    for own, trial, path, limit in _options(kind, inputs, machine):
        with suppress(WinchsimError):
            values = _towards(trial, path, limit)
            variants = vary(trial, {path: values})
            lifts = lift_all(variants, coarse=True)
            checks = {
                column.key: column
                for column in check_columns(variants, lifts, capacities(machine), None)
            }
            for row, goal in zip(found, goals, strict=True):
                for after in values[goal(lifts, checks)][:1].tolist():
                    groups = build(with_value(trial, path, after), linked=False).groups
                    size = sum(group.count for group in groups), groups[0].ratio
                    row.append((size, (own, trial, path, after)))
    for row in found:
        for _, (own, trial, path, after) in sorted(row, key=lambda each: each[0])[:1]:
            yield from proposal(own, inputs, path, after, trial)


def _options(kind: ActionKind, inputs: Inputs, m: Machine) -> Iterator[Option]:
    """What there is to change of a kind."""
    supply = inputs.supply
    match kind:
        case ActionKind.LESS_LOAD:
            yield kind, inputs, "load.mass", SMALLEST * inputs.load.mass
        case ActionKind.THINNER_DRUM:
            yield (
                kind,
                inputs,
                "drum.diameter",
                max(SMALLEST * inputs.drum.diameter, inputs.rope.diameter),
            )
        case ActionKind.MORE_VOLTAGE:
            most = MOST_VOLTAGE * min(group.fit.voltage for group in m.groups)
            yield kind, inputs, "supply.voltage", max(most, supply.voltage)
        case ActionKind.HIGHER_CURRENT_LIMIT if supply.current_limit is not None:
            stalled = sum(g.count * g.fit.stall_current / g.fit.voltage for g in m.groups)
            most = max(stalled * supply.voltage, supply.current_limit)
            yield kind, inputs, "supply.current_limit", most
        case ActionKind.MORE_MOTORS:
            for path in (f"motors.{group.number}.count" for group in m.groups):
                yield kind, inputs, path, MOST_MOTORS * value_at(inputs, path)
        case ActionKind.MORE_RATIO:  # larger gears on one stage, or one or two stages more
            for number, stage in enumerate(inputs.stage, start=1):
                key = "gear" if stage.kind == "spur" and stage.gear is not None else "ratio"
                now, path = getattr(stage, key), f"stage.{number}"
                if now is not None:
                    yield kind, inputs, f"{path}.{key}", MOST_TEETH * now
                yield ActionKind.ONE_MORE_STAGE, inputs, f"{path}.repeat", stage.repeat + 2


def a_pawl(inputs: Inputs) -> Proposal:
    """The scenario with a pawl on the drum."""
    return Proposal(
        ActionKind.PAWL,
        (Setting("pawl.fitted", False, True, ""),),
        replace(inputs, pawl=Pawl(), given=inputs.given | {"pawl.fitted"}),
    )


def _brakes(inputs: Inputs) -> Iterator[Proposal]:
    """A brake on the drum that carries the load by itself, or a stronger one; then one with a
    further reserve, where that did not stop the load's momentum."""
    base = inputs.brake or Brake(torque=1.0)
    fitted = build(replace(inputs, brake=replace(base, torque=1.0)), linked=False)
    for reserve in (1.0, AMPLE_HOLD):
        torque = to_people(reserve * BRAKE_REQUIRED / brake_margin(fitted), "N·m", up=True)
        if inputs.brake is None or torque > inputs.brake.torque:
            trial = replace(inputs, brake=base)
            yield from proposal(ActionKind.BRAKE, inputs, "brake.torque", torque, trial)


TO_RAISE = (
    ActionKind.MORE_RATIO,
    ActionKind.MORE_MOTORS,
    ActionKind.THINNER_DRUM,
    ActionKind.MORE_VOLTAGE,
    ActionKind.HIGHER_CURRENT_LIMIT,
    ActionKind.LESS_LOAD,
)
TO_COOL = (ActionKind.MORE_MOTORS, ActionKind.MORE_RATIO, ActionKind.LESS_LOAD)
TO_BE_FASTER = (ActionKind.MORE_VOLTAGE, ActionKind.HIGHER_CURRENT_LIMIT, ActionKind.LESS_LOAD)
"""Kinds of changes, in the order in which they are tried."""


STRONGER: Mapping[LinkKind, tuple[tuple[str, float], ...]] = {
    LinkKind.TOOTH_PINION: (("{where}.pinion_width", 1.0), ("{where}.width", 1.0)),
    LinkKind.TOOTH_GEAR: (("{where}.width", 1.0),),
    LinkKind.GEAR_BODY: (("{where}.width", 1.0),),
    LinkKind.SHAFT: (("{where}.shaft_diameter", 1 / 3),),
    LinkKind.CROSS_PIN: (("drum.cross_pin_diameter", 0.5),),
    LinkKind.DRUM_BENDING: (("drum.support_span", -1.0),),
    LinkKind.ROPE_KNOT: (("rope.breaking_force", 1.0), ("rope.diameter", 0.5)),
    LinkKind.ROPE: (("rope.breaking_force", 1.0), ("rope.diameter", 0.5)),
}
"""Values that make a kind of part stronger, the first that is given, and the exponent with which
the needed gain of its factor changes it."""


def stronger_part(inputs: Inputs, kind: LinkKind, where: str, gain: float) -> Iterator[Proposal]:
    """The part of a path made stronger by a gain of its factor, where a given value does it.

    Parameters
    ----------
    inputs : Inputs
    kind : LinkKind
    where : str
    gain : float
        Of at most 1 none is needed. [-]
    """
    for pattern, exponent in STRONGER.get(kind, ()):
        path = pattern.format(where=where)
        before = value_at(inputs, path)
        if before is not None and 1 < gain <= MOST_STRONGER:
            yield from proposal(
                ActionKind.STRONGER_PART,
                inputs,
                path,
                to_people(before * gain**exponent, spec_at(inputs, path).unit, up=exponent > 0),
            )
            return


def without_group(inputs: Inputs, number: int) -> Proposal:
    """The scenario without one group of motors.

    Parameters
    ----------
    inputs : Inputs
    number : int
        From 1.
    """
    left = tuple(group for i, group in enumerate(inputs.motors, start=1) if i != number)
    given = frozenset(
        re.sub(r"^motors\.(\d+)", lambda m: f"motors.{int(m[1]) - (int(m[1]) > number)}", path)
        for path in inputs.given
        if not path.startswith(f"motors.{number}.")
    )
    return Proposal(
        ActionKind.LEAVE_OUT_GROUP,
        (Setting(f"motors.{number}.count", inputs.motors[number - 1].count, 0, ""),),
        replace(
            inputs,
            motors=left,
            given=given,
        ),
    )


# --- trying -----------------------------------------------------------------------------------

MOST_ACTIONS = 3
"""Actions of an assessment. [-]"""

MOST_TRIES = 8
"""Full runs that are made in search of them. [-]"""

RESERVE = 1.01
"""How much more than the balance a proposal keeps in reserve. [-] Own choice."""

AMPLE_HOLD = 2.0
"""Further reserve of a second brake, where the first did not stop the load's momentum. [-]"""

AMPLE_RESERVE = 1.06
"""Reserve of a second proposal of a kind, where the first did not do. [-] Own choice."""

LIGHTER = 1.3
"""The same for a second, lighter load: the jerk of lift-off does not shrink with the load. [-] Own
choice."""

Checks = Mapping[CheckKey, CheckColumn]

Aim = tuple[tuple[CheckKey, ...], Iterator[Proposal]]
"""The checks that proposals are meant for, and the proposals."""


def with_actions(found: Assessment, record: Record) -> Assessment:
    """An assessment with what to change.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of; from a scenario.
    """
    if record.inputs is None:
        return found
    aims = list(_aims(found, record.inputs, record.machine))
    done: list[Action] = []
    left = MOST_TRIES
    while aims and left > 0 and len(done) < MOST_ACTIONS:
        keys, changes = aims.pop(0)
        for change in changes:
            if any(action.kind is change.kind for action in done):
                continue
            left, action = left - 1, _tried(change, keys, found)
            if action is not None:
                done.append(action)
                aims.append((keys, changes))
            if action is not None or left <= 0:
                break
    done.sort(key=lambda action: _rank(action, found.target.as_asked))
    return replace(found, actions=tuple(done), tried=True)


def _rank(action: Action, lifted: bool) -> tuple[int, ...]:
    """Order of actions: those that raise the load first, of a load that is lifted those that hold
    it; then fewest failing and thin checks."""
    holds = lifted and action.kind in (ActionKind.PAWL, ActionKind.BRAKE)
    return not action.reached, not holds, *_missed(action.counts)


def _missed(counts: Mapping[Status, int]) -> tuple[int, int]:
    """Failing and thin checks."""
    return counts[Status.FAILS], counts[Status.THIN]


def _tried(change: Proposal, keys: tuple[CheckKey, ...], before: Assessment) -> Action | None:
    """A proposal tried in full; None where it does not help, makes another check fail, or leaves
    more checks thin and none fewer failing."""
    from winchsim.assessment.evaluate import add_ranges, assess

    try:
        record = simulate(change.inputs)
        after = assess(record, actions=False, ranges=False)
    except WinchsimError:
        return None
    for look in range(2):  # the second with ranges: much of the work, and no status gets better
        after = add_ranges(after, record) if look else after
        effects = [Effect(a, b) for a in before.checks for b in after.checks if a.key is b.key]
        aimed = [effect for effect in effects if effect.before.key in keys]
        worse = _missed(after.counts) > _missed(before.counts) or any(
            effect.after.status is Status.FAILS and effect.before.status is not Status.FAILS
            for effect in effects
        )
        standings = [(_standing(effect.before), _standing(effect.after)) for effect in aimed]
        better = bool(aimed) and min(b for _, b in standings) > min(a for a, _ in standings)
        if not after.trusted or worse or not better:
            return None
    changed = [e for e in effects if e not in aimed and e.before.status is not e.after.status]
    time = after.check(CheckKey.LIFT_TIME)
    return Action(
        kind=change.kind,
        changes=change.changes,
        effects=(*aimed, *changed),
        status=after.status,
        counts=after.counts,
        reached=after.target.reached,
        lift_time=None if time is None else time.value,
    )


def _standing(check: Check) -> tuple[int, bool]:
    """Status of a check, and whether its value alone meets what is required."""
    alone = grade(check.value, None, None, check.side, check.hard, check.required)
    return check.status.rank, alone is Status.OK and check.status is not Status.FAILS


# --- aims -------------------------------------------------------------------------------------


def _aims(found: Assessment, inputs: Inputs, machine: Machine) -> Iterator[Aim]:
    """What there is to improve, most urgent first, each with its proposals."""
    end, checks, jam = found.target.end, {check.key: check for check in found.checks}, found.jam

    def made(kinds: Sequence[ActionKind], *goals: Goal) -> Iterator[Proposal]:
        """Proposals of each kind in turn, that of the next goal only where the one before did not
        do."""
        for kind in kinds:
            yield from {
                change.changes: change for change in smallest(kind, inputs, machine, goals)
            }.values()

    if end in (End.STALLED, End.STALLED_AT_LAYER_END):
        goals = (_raises, _starts_hot(RESERVE), _starts_hot(AMPLE_RESERVE))
        yield CARRIED_OUT, made(TO_RAISE, *goals)
    elif end is End.LATE:
        yield CARRIED_OUT, made(TO_BE_FASTER, lambda lifts, _: lifts.lifted)
    if found.target.as_asked and checks[CheckKey.WINDING].status is Status.FAILS:
        yield (CheckKey.WINDING,), made(TO_COOL, _raises)
    if found.held not in (Holding.PAWL, Holding.BRAKE):
        yield HELD, chain([a_pawl(inputs)], _brakes(inputs))
    starting = STARTING if found.target.reached else STARTING[1:]
    thin = [checks[k] for k in starting if k in checks and checks[k].status is Status.THIN]
    if found.target.as_asked and thin:
        last = thin[-1]  # its low end lies so far below its value
        spread = last.value / last.low if last.value and last.low else 1.0
        reserve = 1.5 if last.key is CheckKey.TARGET else RESERVE * spread
        yield tuple(check.key for check in thin), made(TO_RAISE, _starts_hot(reserve))
    yield (CheckKey.PARTS, CheckKey.TARGET), _stronger(found, inputs, machine)
    if jam is not None and jam.breaks and jam.limit is not None:
        lower = to_people(jam.limit, "A", up=False)
        kind, path = ActionKind.LOWER_CURRENT_LIMIT, "supply.current_limit"
        yield (CheckKey.JAM,), proposal(kind, inputs, path, lower)
    dragged = found.finding(FindingKind.DRAGGED_GROUP)
    if dragged and len(inputs.motors) > 1:
        change = without_group(inputs, int(dragged.values["group"]))
        yield tuple(CheckKey), iter((change,))


CARRIED_OUT = (CheckKey.TARGET, CheckKey.PROGRAMME)
"""Checks of whether the load was raised, and the programme went on."""

STARTING = (CheckKey.TARGET, CheckKey.START_COLD, CheckKey.START_HOT)
"""Checks of whether the motors start the load."""


def _raises(lifts: Lifts, _: Checks) -> np.ndarray:
    """Lifted with a reserve at rest and on the way, and no winding too hot."""
    return (
        lifts.lifted
        & (np.fmin(lifts.stall_margin_cold, lifts.least_margin) >= RESERVE)
        & (lifts.tight_winding <= lifts.tight_limit)
    )


def _starts_hot(reserve: float) -> Goal:
    return lambda lifts, checks: lifts.stall_margin_hot >= reserve


def _stronger(found: Assessment, inputs: Inputs, machine: Machine) -> Iterator[Proposal]:
    """The weakest part made as strong as is required; where that is too much, so that it lasts;
    at last a lighter load."""
    row = worst_part(found.parts)
    if row is None or row.status is Status.OK or not 0 < row.factor < math.inf:
        return
    factors, kind = [row.factor], LinkKind(row.kind)
    if row.status is Status.FAILS and found.check(CheckKey.TARGET):
        # A run that breaks does not show what the whole lift asks for.
        factors.append(lift_machine(machine)["kind_factors"][list(LinkKind).index(kind)])
        if found.jam and found.has(FindingKind.SNAGGED):
            factors += [part.dynamic for part in found.jam.parts if part.label == row.label]
    factor = min(factors)
    for gain in (
        row.required / factor,
        max(1.0, row.factor / max(row.low, 1e-9)) / factor,
        RESERVE / factor,
    ):
        yield from stronger_part(inputs, kind, row.path, gain)
    for reserve in (AMPLE_RESERVE, LIGHTER) if row.status is Status.THIN else ():
        mass = inputs.load.mass * min(1.0, row.factor / row.required) / reserve
        mass = to_people(mass, "kg", up=False)
        yield from proposal(ActionKind.LESS_LOAD, inputs, "load.mass", mass)
