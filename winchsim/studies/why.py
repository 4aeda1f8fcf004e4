"""Why a test failed: causes of a breakage, a stall or a run-back, ranked by what simulation and
sheet say."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.special import ndtr

from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, Check, CheckKey, End
from winchsim.assessment.teeth import damage, tooth_warmth
from winchsim.errors import Code, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, with_values
from winchsim.model import LinkLimit, plain_raise
from winchsim.simulation import Record, simulate
from winchsim.strength.link import LinkKind
from winchsim.strength.printed import temperature_factor
from winchsim.studies.calibrate.evidence import LiftTest, Note, below, demands, look_into, same_part

SLACK = 0.1
"""Loose rope at the start that a jerk is simulated with, where the scenario has less. [m] Own
choice."""

SPREAD, EVIDENCE = 0.2, 4.0
"""How unsure a computed ratio of demand and capacity is, as a logarithm; by which factor a cause is
more or less likely for each thing that speaks for or against it. [-] Own choice."""

NO_MARGIN = 1e-3
"""Margins are taken as no smaller. [-]"""

SHORT_REST, NEAR_STALL = 300.0, 0.7
"""Pause under which the motors and teeth are still warm; share of the stalled motors' current from
which a reading is that of a stall. [s], [-] Own choice."""

ROPES = (LinkKind.ROPE_KNOT, LinkKind.ROPE, LinkKind.ROPE_ANCHOR)

Why = StrEnum(
    "Why",
    [
        "LOAD",
        "JAM",
        "SHOCK",
        "HEAT",
        "PRINT",
        "WEAR",
        "BAD_PART",
        "BAD_ROPE",
        "ASSUMED",
        "VOLTAGE",
        "WARM",
        "OBSTACLE",
        "KNOCK",
        "BRAKE",
        "SLIP",
    ],
)
"""What may have been the cause."""

PRIORS = {
    Why.LOAD: 1.0,
    Why.JAM: 0.3,
    Why.SHOCK: 0.2,
    Why.HEAT: 0.3,
    Why.PRINT: 0.5,
    Why.WEAR: 0.3,
    Why.BAD_PART: 0.1,
    Why.BAD_ROPE: 0.1,
    Why.ASSUMED: 0.4,
    Why.VOLTAGE: 0.3,
    Why.WARM: 0.3,
    Why.OBSTACLE: 0.1,
    Why.KNOCK: 0.2,
    Why.BRAKE: 0.4,
    Why.SLIP: 0.05,
}
"""How often such a cause is met before anything is known of the test. [-] Own choice."""


@dataclass(frozen=True)
class Clue:
    """One thing that speaks for a cause or against it: what it is, and its values in SI."""

    kind: str
    favours: bool
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Reason:
    """One cause.

    Attributes
    ----------
    cause : Why
    share : float
        Of all causes considered. [-]
    demand : float or None
        Of a breakage the demand that it would have made on the part; else what was needed over what
        was there. [unit of the capacity] or [-]
    clues : tuple of Clue
    group : str
        The group of assumed inputs, of `Why.ASSUMED`.
    above : bool
        Whether it is their values above the usual ones that explain it.
    """

    cause: Why
    share: float
    demand: float | None
    clues: tuple[Clue, ...]
    group: str = ""
    above: bool = False


@dataclass(frozen=True)
class Diagnosis:
    """Causes of one test's end, the likeliest first.

    Attributes
    ----------
    test : LiftTest
    end : End
        ``part_broke``, ``stalled`` or ``back_driven``.
    part : LinkLimit or None
        That broke.
    reasons : tuple of Reason
    found : Assessment
        Of the test as simulated.
    """

    test: LiftTest
    end: End
    part: LinkLimit | None
    reasons: tuple[Reason, ...]
    found: Assessment


def why(inputs: Inputs, tests: Sequence[LiftTest], row: int | None = None) -> Diagnosis | Note:
    """Causes of what happened in a test.

    Parameters
    ----------
    inputs : Inputs
    tests : sequence of LiftTest
        All of the sheet, in their order.
    row : int, optional
        Which one, from 1; left out, the last that broke, stalled or ran back.

    Returns
    -------
    Diagnosis or Note
        A note where it is not clear which part broke.

    Raises
    ------
    InputError
        No such test.
    """
    ended = [(test, end) for test in tests if (end := _end(test)) and row in (None, test.number)]
    if not ended:
        raise refused(
            "no test to explain",
            "outcome" if row is None else f"row {row}",
            expected="a row with outcome broke or stalled, or with held = no",
            code=Code.MISSING,
        )
    (test, end), part = ended[-1], None
    before = [other for other in tests if other.number < test.number and other.done]
    record = simulate(_as_tested(inputs, test))
    found = assess(record, actions=False)
    if end is End.PART_BROKE:
        at = look_into(inputs, test, before)
        if isinstance(at, Note):
            return at
        part = at.at.link
        rows = list(_broke(inputs, test, before, part, record))
    else:
        rows = list(
            _stalled(record, test, before, found)
            if end is End.STALLED
            else _ran_back(inputs, test, found)
        )
    whole = sum(reason.share for reason in rows) or 1.0
    shares = (replace(reason, share=reason.share / whole) for reason in rows)
    return Diagnosis(
        test, end, part, tuple(sorted(shares, key=lambda reason: -reason.share)), found
    )


def _as_tested(inputs: Inputs, test: LiftTest) -> Inputs:
    return with_values(plain_raise(inputs), test.values_in(inputs))


def _end(test: LiftTest) -> End | None:
    if test.broke or test.outcome == "stalled":
        return End.PART_BROKE if test.broke else End.STALLED
    return End.BACK_DRIVEN if test.held is False else None


def _reason(
    cause: Why, likelihood: float, demand: float | None, *clues: Clue | None, group: str = ""
) -> Reason:
    """A cause weighed: how usual it is, how well it fits, and what speaks for and against it."""
    known = tuple(clue for clue in clues if clue is not None)
    evidence = math.prod(EVIDENCE if clue.favours else 1 / EVIDENCE for clue in known)
    return Reason(cause, PRIORS[cause] * max(likelihood, 1e-3) * evidence, demand, known, group)


def _short(cause: Why, margin: float, *clues: Clue | None, group: str = "") -> Reason:
    """A cause by which so many times what was needed was there."""
    likelihood = float(ndtr(-math.log(margin) / SPREAD)) if margin > 0 else 1.0
    return _reason(cause, likelihood, 1 / max(margin, NO_MARGIN), *clues, group=group)


# --- a breakage


def _broke(
    inputs: Inputs, test: LiftTest, before: Sequence[LiftTest], part: LinkLimit, record: Record
) -> Iterator[Reason]:
    def at(**changed: Any) -> float:
        return next(
            row.demand
            for row in demands(replace(inputs, **changed), test)
            if same_part(row.link, part)
        )

    capacity, load, lifted = part.strength, inputs.load, at()
    middle = (load.start_height or 0.0) + (test.height or load.height) / 2
    jammed, hummed = at(load=replace(load, snag_height=middle)), _like_stall(test, record)
    stood = [other for other in before if other.outcome in ("stalled", "stopped")]
    stop = _clue(stood, "stood_before", **(_seen(stood[-1]) if stood else {}))
    usual = _clue(hummed is False and not stop, "usual_current", False, **_seen(test))
    more = _lifted_more("survived_more", False, test, before)
    over = _clue(lifted > capacity.value, "over_capacity", factor=capacity.value / lifted)
    low = capacity.low
    under = _clue(lifted < low, "under_capacity", False, factor=low / lifted)
    yield replace(_short(Why.LOAD, capacity.value / lifted, more, over or under), demand=lifted)
    yield _reason(
        Why.JAM,
        below(part, jammed),
        jammed,
        stop,
        _clue(hummed, "stall_current", **_seen(test)),
        usual,
        _clue(not (stop or hummed or usual), "no_stop", False),
    )
    if not load.start_height:
        jerk = at(rope=replace(inputs.rope, slack=max(SLACK, inputs.rope.slack)))
        yield _reason(
            Why.SHOCK,
            below(part, jerk),
            jerk,
            _clue(test.measured_time, "lifted_before", False, time=test.measured_time),
        )
    if part.material is not None and not part.material.is_metal:
        yield from _of_polymer(inputs, test, before, part, record, lifted)
    equal = _clue(_demand_of_equals(inputs, test, part) > 0.9 * lifted, "equal_parts")
    weak, held = under and replace(under, favours=True), stop and replace(stop, favours=False)
    bad = Why.BAD_ROPE if part.kind in ROPES else Why.BAD_PART
    yield _reason(bad, 1.0, lifted, equal, weak, held)


def _demand_of_equals(inputs: Inputs, test: LiftTest, part: LinkLimit) -> float:
    """Largest demand on another part of the same kind in the same place; 0 without one."""
    alike = (
        row.demand
        for row in demands(inputs, test)
        if (row.link.kind, row.link.where) == (part.kind, part.where)
        and not same_part(row.link, part)
    )
    return max(alike, default=0.0)


def _of_polymer(
    inputs: Inputs,
    test: LiftTest,
    before: Sequence[LiftTest],
    part: LinkLimit,
    record: Record,
    lifted: float,
) -> Iterator[Reason]:
    """Warmth, a weak print and wear of a part that carried this much."""
    material, capacity, ambient = part.material, part.strength, record.machine.ambient
    assert material is not None
    survived = [other for other in before if other.lifted]
    tooth = next((row for row in tooth_warmth(record) if row.label == part.label), None)
    warm, hot = (tooth.root, tooth.too_warm) if tooth else (ambient, False)
    cool, softer = (float(temperature_factor(t, material.softening)) for t in (ambient, warm))
    share = lifted * cool / max(softer, 1e-3)
    yield _reason(
        Why.HEAT,
        below(part, share),
        share,
        _clue(True, "warm_teeth" if hot else "cool_teeth", hot, root=warm),
        _rested(test, survived),
    )
    likely = below(part, lifted) if material.family == "printed polymer" else 0.0
    yield _reason(
        Why.PRINT,
        likely,
        lifted,
        _clue(capacity.low <= lifted < capacity.value, "in_range"),
        _lifted_more("survived_more", False, test, before),
    )
    runs = [record, *(simulate(_as_tested(inputs, other)) for other in survived)]
    worn = damage(runs).get(part.label)
    _, best, high = worn or (0.0, 0.0, 0.0)
    yield _reason(
        Why.WEAR,
        min(1.0, best),
        lifted,
        _clue(worn, "damage", best > 0.1, damage=best, high=high) or Clue("no_line", False),
        _lifted_more("survived_more", True, test, before),
    )


def _clue(seen: Any, kind: str, favours: bool = True, /, **values: Any) -> Clue | None:
    return Clue(kind, favours, values) if seen else None


def _lifted_more(
    kind: str, favours: bool, test: LiftTest, before: Sequence[LiftTest]
) -> Clue | None:
    """That a load as heavy was lifted before."""
    heavier = [other.mass for other in before if other.lifted and other.mass >= test.mass]
    return _clue(heavier, kind, favours, mass=heavier[-1] if heavier else 0.0)


def _rested(test: LiftTest, before: Sequence[LiftTest]) -> Clue | None:
    """That there was little time to cool since an earlier test."""
    return _clue(
        test.rest_before is not None and test.rest_before < SHORT_REST and before,
        "short_rest",
        rest=test.rest_before,
    )


def _value(check: Check | None, missing: float) -> float:
    return missing if check is None or check.value is None else check.value


def _seen(test: LiftTest) -> dict[str, Any]:
    return {"number": test.number, "mass": test.mass, "current": test.measured_current}


def _like_stall(test: LiftTest, record: Record) -> bool | None:
    """Whether the current of a test is that of stalled motors; None where it was not read."""
    if test.measured_current is None:
        return None
    supply = record["voltage"].max()
    stalled = sum(g.count * supply / g.motor.resistance for g in record.machine.groups)
    limit = record.machine.source.current_limit
    return bool(
        test.measured_current >= NEAR_STALL * min(stalled, math.inf if limit is None else limit)
    )


# --- a stall


def _stalled(
    record: Record, test: LiftTest, before: Sequence[LiftTest], found: Assessment
) -> Iterator[Reason]:
    margin = _value(found.check(CheckKey.START_COLD), 1.0)
    hot = _value(found.check(CheckKey.START_HOT), math.nan)
    more = _lifted_more("lifted_more", False, test, before)
    yield _short(
        Why.LOAD,
        margin,
        _clue(margin < 1, "stalls_in_simulation") or Clue("margin", False, {"margin": margin}),
        more,
    )
    yield from _assumed(found, CheckKey.START_COLD, margin, more)
    if test.measured_voltage:
        powered = record["voltage"][record["voltage"] > 0]
        share = test.measured_voltage / float(np.median(powered)) if powered.size else 1.0
        yield _short(
            Why.VOLTAGE,
            margin * share,
            Clue("voltage", share < 0.9, {"voltage": test.measured_voltage, "share": share}),
        )
    if not math.isnan(hot):
        yield _short(Why.WARM, hot, _rested(test, before) or Clue("rested", False))
    obstacle, ample = more and replace(more, favours=True), margin > 1.5
    yield _reason(Why.OBSTACLE, 1.0, None, obstacle, _clue(ample, "ample_margin", margin=margin))


def _assumed(
    found: Assessment, key: CheckKey, margin: float, *clues: Clue | None
) -> Iterator[Reason]:
    """Groups of assumed inputs that lower a margin."""
    for cause in found.causes:
        ends = cause.effects.get(key, (0.0, 0.0))
        left = margin * math.exp(min(ends))
        if min(ends) < -0.02:
            turns = _clue(left < 1 <= margin, "range_turns", margin=left)
            worse = _short(Why.ASSUMED, left, turns, *clues, group=cause.name)
            falls = cause.name.endswith("efficiency")  # the ends count by losses
            yield replace(worse, above=(ends[1] < ends[0]) is not falls)


# --- a run-back


def _ran_back(inputs: Inputs, test: LiftTest, found: Assessment) -> Iterator[Reason]:
    margin = _value(found.check(CheckKey.HOLD), 1.0)
    moving = _value(found.check(CheckKey.HOLD_DISTURBED), math.inf)
    runs = margin < 1 or found.target.end is End.BACK_DRIVEN
    kind = "runs_back_in_simulation" if runs else "holds_in_simulation"
    yield _short(Why.LOAD, margin, Clue(kind, runs, {"margin": margin}))
    if inputs.brake or inputs.pawl:
        bare = _as_tested(replace(inputs, brake=None, pawl=None), test)
        alone = _value(assess(simulate(bare), actions=False).check(CheckKey.HOLD), 1.0)
        yield _short(Why.BRAKE, alone, _clue(alone < 1, "friction_alone", margin=alone))
    yield _reason(Why.SLIP, 1.0, None)
    yield from _assumed(found, CheckKey.HOLD, margin)
    if math.isfinite(moving):
        yield _short(Why.KNOCK, moving, Clue("moving_margin", moving < 1, {"margin": moving}))
