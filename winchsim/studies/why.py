"""Why a test failed: causes of a breakage, a stall or a run-back, ranked by what simulation and
sheet say."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.special import ndtr

from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, End
from winchsim.assessment.life import damage
from winchsim.assessment.warmth import tooth_warmth
from winchsim.errors import Code, Fault, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs
from winchsim.model.machine import LinkLimit
from winchsim.model.trial import plain_raise, under_test
from winchsim.simulation import Record, simulate
from winchsim.strength.printed import temperature_factor
from winchsim.studies.calibrate.breakage import below, demands, look_into, same_part
from winchsim.studies.calibrate.evidence import LiftTest, Note

SLACK = 0.1
"""Loose rope at the start that a jerk is simulated with, where the scenario has less. [m] Own
choice."""

SPREAD, EVIDENCE = 0.2, 4.0
"""How unsure a computed ratio of demand and capacity is, as a logarithm; by which factor a cause is
more or less likely for each thing that speaks for or against it. [-] Own choice."""

SHORT_REST, NEAR_STALL = 300.0, 0.7
"""Pause under which the motors and teeth are still warm; share of the stalled motors' current from
which a reading is that of a stall. [s], [-] Own choice."""


class Why(StrEnum):
    """What may have been the cause."""

    LOAD = "load"
    JAM = "jam"
    SHOCK = "shock"
    HEAT = "heat"
    PRINT = "print"
    WEAR = "wear"
    BAD_PART = "bad_part"
    ASSUMED = "assumed"
    VOLTAGE = "voltage"
    WARM = "warm"
    OBSTACLE = "obstacle"
    KNOCK = "knock"


PRIORS = {
    Why.LOAD: 1.0, Why.JAM: 0.3, Why.SHOCK: 0.2, Why.HEAT: 0.3, Why.PRINT: 0.5, Why.WEAR: 0.3,
    Why.BAD_PART: 0.1, Why.ASSUMED: 0.4, Why.VOLTAGE: 0.3, Why.WARM: 0.3, Why.OBSTACLE: 0.1,
    Why.KNOCK: 0.2,
}  # fmt: skip
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
    """

    cause: Why
    share: float
    demand: float | None
    clues: tuple[Clue, ...]
    group: str = ""


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
    ended = [test for test in tests if _end(test) and row in (None, test.number)]
    end = _end(ended[-1]) if ended else None
    if end is None:
        raise InputError(
            (
                Fault(
                    "no test to explain",
                    "outcome" if row is None else f"row {row}",
                    expected="a row with outcome broke or stalled, or with held = no",
                    code=Code.MISSING,
                ),
            )
        )
    test = ended[-1]
    before = [other for other in tests if other.number < test.number and other.done]
    own = under_test(plain_raise(inputs), test.values_in(inputs))
    record = simulate(own)
    found, part = assess(record, actions=False), None
    if end is End.PART_BROKE:
        at = look_into(inputs, test, before)
        if isinstance(at, Note):
            return at
        part, rows = at.at.link, list(_broke(inputs, test, before, at.at.link, record))
    elif end is End.STALLED:
        rows = list(_stalled(record, test, before, found))
    else:
        rows = list(_ran_back(found))
    whole = sum(reason.share for reason in rows) or 1.0
    ranked = sorted(rows, key=lambda reason: -reason.share)
    reasons = tuple(replace(reason, share=reason.share / whole) for reason in ranked)
    return Diagnosis(test, end, part, reasons, found)


def _end(test: LiftTest) -> End | None:
    if test.broke:
        return End.PART_BROKE
    if test.outcome == "stalled":
        return End.STALLED
    return End.BACK_DRIVEN if test.held is False else None


def _reason(
    cause: Why, likelihood: float, demand: float | None, *clues: Clue | None, group: str = ""
) -> Reason:
    """A cause weighed: how usual it is, how well it fits, and what speaks for and against it."""
    known = tuple(clue for clue in clues if clue is not None)
    weight = PRIORS[cause] * max(likelihood, 1e-3)
    for clue in known:
        weight *= EVIDENCE if clue.favours else 1 / EVIDENCE
    return Reason(cause, weight, demand, known, group)


def _over(ratio: float) -> float:
    """Probability that a computed ratio is really over 1."""
    return float(ndtr(math.log(ratio) / SPREAD)) if ratio > 0 else 0.0


# --- a breakage


def _broke(
    inputs: Inputs, test: LiftTest, before: Sequence[LiftTest], part: LinkLimit, record: Record
) -> Iterator[Reason]:
    def at(scenario: Inputs, of: LiftTest = test) -> float:
        rows = demands(scenario, of)
        return next(row.demand for row in rows if same_part(row.link, part))

    capacity, load = part.strength, inputs.load
    lifted = at(inputs)
    middle = (load.start_height or 0.0) + (test.height or load.height) / 2
    jammed = at(replace(inputs, load=replace(load, snag_height=middle)))
    heavier = [other for other in before if other.lifted and other.mass >= test.mass]
    survived = [other for other in before if other.lifted]
    stood = [other for other in before if other.outcome in ("stalled", "stopped")]
    hummed = _like_stall(test, record)
    more = Clue("survived_more", False, {"mass": heavier[-1].mass}) if heavier else None
    weakened = Clue("survived_more", True, more.values) if more else None
    stop = Clue("stood_before", True, _seen(stood[-1])) if stood else None
    over = Clue("over_capacity", True, {"factor": capacity.value / lifted})
    under = Clue("under_capacity", False, {"factor": capacity.low / lifted})
    yield _reason(
        Why.LOAD, _over(lifted / capacity.value), lifted, more,
        over if lifted > capacity.value else under if lifted < capacity.low else None,
    )  # fmt: skip
    current = Clue("stall_current", True, _seen(test)) if hummed else None
    usual = Clue("usual_current", False, _seen(test)) if hummed is False and not stop else None
    none = None if stop or current or usual else Clue("no_stop", False)
    yield _reason(Why.JAM, below(part, jammed), jammed, stop, current, usual, none)
    if not load.start_height:
        slack = max(SLACK, inputs.rope.slack)
        jerk = at(replace(inputs, rope=replace(inputs.rope, slack=slack)))
        late = Clue("lifted_before", False, {"time": test.time}) if test.time else None
        yield _reason(Why.SHOCK, below(part, jerk), jerk, late)
    if part.material is None:
        return
    polymer = not part.material.is_metal
    if polymer:
        warmth = [tooth for tooth in tooth_warmth(record) if tooth.label == part.label]
        warm = warmth[0].root if warmth else record.machine.ambient
        softer = float(temperature_factor(warm, part.material.softening))
        cool = float(temperature_factor(record.machine.ambient, part.material.softening))
        rest = test.rest is not None and test.rest < SHORT_REST and bool(survived)
        hot = Clue("warm_teeth", True, {"root": warm}) if warmth and warmth[0].too_warm else None
        mild = None if hot else Clue("cool_teeth", False, {"root": warm})
        pause = Clue("short_rest", True, {"rest": test.rest}) if rest else None
        share = lifted * cool / max(softer, 1e-3)
        yield _reason(Why.HEAT, below(part, share), share, hot, mild, pause)
        printed = part.material.family == "printed polymer"
        weak = Clue("in_range", True) if capacity.low <= lifted < capacity.value else None
        likely = below(part, lifted) if printed else 0.0
        yield _reason(Why.PRINT, likely, lifted, weak, more)
        ran = [simulate(under_test(plain_raise(inputs), t.values_in(inputs))) for t in survived]
        worn = damage([record, *ran]).get(part.label)
        _, best, high = worn or (0.0, 0.0, 0.0)
        clue = Clue("damage", best > 0.1, {"damage": best, "high": high})
        clue = clue if worn else Clue("no_line", False)
        yield _reason(Why.WEAR, min(1.0, best), lifted, clue, weakened)
    alike = [
        row.demand
        for row in demands(inputs, test)
        if (row.link.kind, row.link.where) == (part.kind, part.where)
        and not same_part(row.link, part)
    ]
    equal = max(alike, default=0.0) > 0.9 * lifted
    sound = Clue("equal_parts", True) if equal else None
    small = replace(under, favours=True) if lifted < capacity.low else None
    other = replace(stop, favours=False) if stop else None
    yield _reason(Why.BAD_PART, 1.0, lifted, sound, small, other)


def _seen(test: LiftTest) -> dict[str, Any]:
    return {"number": test.number, "mass": test.mass, "current": test.current}


def _like_stall(test: LiftTest, record: Record) -> bool | None:
    """Whether the current of a test is that of stalled motors; None where it was not read."""
    if test.current is None:
        return None
    supply = record["voltage"].max()
    stalled = sum(g.live * supply / g.motor.resistance for g in record.machine.groups)
    limit = record.machine.source.current_limit
    return bool(test.current >= NEAR_STALL * min(stalled, math.inf if limit is None else limit))


# --- a stall


def _stalled(
    record: Record, test: LiftTest, before: Sequence[LiftTest], found: Assessment
) -> Iterator[Reason]:
    hot, cold = found.check(CheckKey.START_HOT), found.check(CheckKey.START_COLD)
    margin = 1.0 if cold is None or cold.value is None else cold.value
    heavier = [other for other in before if other.lifted and other.mass >= test.mass]
    more = Clue("lifted_more", False, {"mass": heavier[-1].mass}) if heavier else None
    stalls = Clue("stalls_in_simulation", True)
    simulated = stalls if margin < 1 else Clue("margin", False, {"margin": margin})
    yield _reason(Why.LOAD, _over(1 / margin), 1 / margin, simulated, more)
    for name, low in _moves(found, CheckKey.START_COLD):
        yield _reason(
            Why.ASSUMED, _over(1 / (margin * low)), 1 / (margin * low),
            Clue("range_turns", True, {"margin": margin * low}) if margin * low < 1 <= margin
            else None, more, group=name,
        )  # fmt: skip
    if test.motor_voltage:
        powered = record["voltage"][record["voltage"] > 0]
        share = test.motor_voltage / float(np.median(powered)) if powered.size else 1.0
        low_voltage = Clue("voltage", share < 0.9, {"voltage": test.motor_voltage, "share": share})
        yield _reason(Why.VOLTAGE, _over(1 / (margin * share)), 1 / (margin * share), low_voltage)
    if hot is not None and hot.value is not None:
        warm = test.rest is not None and test.rest < SHORT_REST and bool(before)
        pause = Clue("short_rest", True, {"rest": test.rest}) if warm else Clue("rested", False)
        yield _reason(Why.WARM, _over(1 / hot.value), 1 / hot.value, pause)
    obstacle = Clue("lifted_more", True, more.values) if more else None
    ample = Clue("ample_margin", True, {"margin": margin}) if margin > 1.5 else None
    yield _reason(Why.OBSTACLE, 1.0, None, obstacle, ample)


def _moves(found: Assessment, key: CheckKey) -> Iterator[tuple[str, float]]:
    """Groups of assumed inputs that lower a margin, and the factor that each leaves of it."""
    for cause in found.causes:
        low = min(cause.effects.get(key, (0.0, 0.0)))
        if low < -0.02:
            yield cause.name, math.exp(low)


# --- a run-back


def _ran_back(found: Assessment) -> Iterator[Reason]:
    rest, moving = found.check(CheckKey.HOLD), found.check(CheckKey.HOLD_DISTURBED)
    margin = 1.0 if rest is None or rest.value is None else rest.value
    runs = margin < 1 or found.target.end is End.BACK_DRIVEN
    kind = "runs_back_in_simulation" if runs else "holds_in_simulation"
    yield _reason(Why.LOAD, _over(1 / margin), 1 / margin, Clue(kind, runs, {"margin": margin}))
    for name, low in _moves(found, CheckKey.HOLD):
        left = margin * low
        turned = Clue("range_turns", True, {"margin": left}) if left < 1 <= margin else None
        yield _reason(Why.ASSUMED, _over(1 / left), 1 / left, turned, group=name)
    if moving is not None and moving.value is not None and math.isfinite(moving.value):
        clue = Clue("moving_margin", moving.value < 1, {"margin": moving.value})
        yield _reason(Why.KNOCK, _over(1 / moving.value), 1 / moving.value, clue)
