"""What to change: at most three changes, each tried in full, the best first."""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain

import numpy as np

from winchsim.assessment import proposals
from winchsim.assessment.candidates import HELD, CheckColumn
from winchsim.assessment.checks import BRAKE_REQUIRED
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
    Status,
)
from winchsim.assessment.parts import grade, worst_part
from winchsim.assessment.proposals import Goal, Proposal
from winchsim.errors import WinchsimError
from winchsim.frozen import replace
from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.simulation import Record, simulate
from winchsim.slow import Lifts, lift_machine
from winchsim.strength.link import LinkKind

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
    return replace(found, actions=tuple(sorted(done, key=lambda a: _rank(a, found.target.reached))))


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
        change.kind, change.changes, (*aimed, *changed), after.status, after.counts,
        after.target.reached, None if time is None else time.value,
    )  # fmt: skip


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
            changes = proposals.smallest(kind, inputs, machine, goals)
            yield from {change.changes: change for change in changes}.values()

    if end in (End.STALLED, End.STALLED_AT_LAYER_END):
        goals = (_raises, _starts_hot(RESERVE), _starts_hot(AMPLE_RESERVE))
        yield (CheckKey.TARGET,), made(proposals.TO_RAISE, *goals)
    elif end is End.LATE:
        yield (CheckKey.TARGET,), made(proposals.TO_BE_FASTER, lambda lifts, _: lifts.lifted)
    if found.target.reached and checks[CheckKey.WINDING].status is Status.FAILS:
        yield (CheckKey.WINDING,), made(proposals.TO_COOL, _raises)
    if found.held in (Holding.NONE, Holding.FRICTION, Holding.LOCKED_TRAIN):
        brakes = made((ActionKind.BRAKE,), _holds(1.0), _holds(AMPLE_HOLD))
        yield HELD, chain([proposals.a_pawl(inputs)], brakes)
    thin = [checks[k] for k in STARTING if k in checks and checks[k].status is Status.THIN]
    if found.target.reached and thin:
        last = thin[-1]  # its low end lies so far below its value
        spread = last.value / last.low if last.value and last.low else 1.0
        reserve = 1.5 if last.key is CheckKey.TARGET else RESERVE * spread
        yield tuple(check.key for check in thin), made(proposals.TO_RAISE, _starts_hot(reserve))
    yield (CheckKey.PARTS, CheckKey.TARGET), _stronger(found, inputs, machine)
    if jam is not None and jam.breaks and jam.limit is not None:
        lower = proposals.to_people(jam.limit, "A", up=False)
        kind, path = ActionKind.LOWER_CURRENT_LIMIT, "supply.current_limit"
        yield (CheckKey.JAM,), proposals.proposal(kind, inputs, path, lower)
    dragged = found.finding(FindingKind.DRAGGED_GROUP)
    if dragged and len(inputs.motors) > 1:
        change = proposals.without_group(inputs, int(dragged.values["group"]))
        yield tuple(CheckKey), iter((change,))


STARTING = (CheckKey.TARGET, CheckKey.START_COLD, CheckKey.START_HOT)
"""Checks of whether the motors start the load."""


def _raises(lifts: Lifts, _: Checks) -> np.ndarray:
    """Lifted with a reserve at rest and on the way, and no winding too hot."""
    margin = np.fmin(lifts.stall_margin_cold, lifts.least_margin)
    return lifts.lifted & (margin >= RESERVE) & (lifts.tight_winding <= lifts.tight_limit)


def _starts_hot(reserve: float) -> Goal:
    return lambda lifts, checks: lifts.stall_margin_hot >= reserve


def _holds(reserve: float) -> Goal:
    """Whether a brake's required margin is kept, with a reserve, also after a disturbance."""
    least = reserve * BRAKE_REQUIRED
    return lambda lifts, checks: np.min([checks[key].value for key in HELD], axis=0) >= least


def _stronger(found: Assessment, inputs: Inputs, machine: Machine) -> Iterator[Proposal]:
    """The weakest part made as strong as is required; where that is too much, so that it lasts;
    at last a lighter load."""
    row = worst_part(found.parts)
    if row is None or row.status is Status.OK or not 0 < row.factor < math.inf:
        return
    factors, kind = [row.factor], LinkKind(row.kind)
    if row.status is Status.FAILS:  # a run that breaks does not show what the whole lift asks for
        factors.append(lift_machine(machine)["kind_factors"][list(LinkKind).index(kind)])
        if found.jam and found.has(FindingKind.SNAGGED):
            factors += [part.dynamic for part in found.jam.parts if part.label == row.label]
    factor = min(factors)
    for gain in (
        row.required / factor,
        max(1.0, row.factor / max(row.low, 1e-9)) / factor,
        RESERVE / factor,
    ):
        yield from proposals.stronger_part(inputs, kind, row.path, gain)
    for reserve in (AMPLE_RESERVE, LIGHTER) if row.status is Status.THIN else ():
        mass = inputs.load.mass * min(1.0, row.factor / row.required) / reserve
        mass = proposals.to_people(mass, "kg", up=False)
        yield from proposals.proposal(ActionKind.LESS_LOAD, inputs, "load.mass", mass)
