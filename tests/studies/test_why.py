"""Why a test failed: the causes of worked examples, and what turns them."""

import math
from dataclasses import replace

import pytest
from scipy.special import ndtr
from shipped import FOLDER

import winchsim
from winchsim import assess, simulate
from winchsim.assessment.kinds import End
from winchsim.errors import InputError
from winchsim.inputs import Brake, with_value
from winchsim.model import build
from winchsim.report.measured import lift_tests
from winchsim.scenario.sheet import read_sheet
from winchsim.studies.calibrate.evidence import LiftTest, Note, below
from winchsim.studies.why import PRIORS, SPREAD, Why, why


def example(number: str):
    """Scenario and tests of a worked example."""
    inputs = winchsim.read(next(FOLDER.glob(f"{number}-*.toml")))
    return inputs, lift_tests(inputs, read_sheet(str(next(FOLDER.glob(f"{number}-*.csv")))))


def reason(found, cause: Why):
    return next(row for row in found.reasons if row.cause is cause)


@pytest.fixture(scope="module")
def gate():
    return example("13")


@pytest.fixture(scope="module")
def curtain():
    return example("14")


def test_a_stall_before_it_explains_a_tooth_that_broke_under_less(gate):
    found = why(*gate)
    assert found.end is End.PART_BROKE and found.part.kind.is_tooth
    assert found.reasons[0].cause is Why.JAM
    assert sum(row.share for row in found.reasons) == pytest.approx(1.0)
    assert reason(found, Why.JAM).demand > 3 * reason(found, Why.LOAD).demand


def test_without_the_stall_the_jam_is_less_likely(gate):
    inputs, tests = gate
    without = tuple(test for test in tests if test.outcome != "stopped")
    before, after = (reason(why(inputs, rows), Why.JAM) for rows in (tests, without))
    assert after.share < before.share / 4
    assert {clue.kind for clue in after.clues if not clue.favours} == {"usual_current"}


def test_many_lifts_wear_the_teeth(gate):
    """Damage of all lifts adds: a thousand of them take a thousand times as much of the life."""
    inputs, tests = gate
    few, many = (
        reason(why(inputs, [*[tests[1]] * n, tests[-1]]), Why.WEAR).clues[0].values["damage"]
        for n in (1, 3)
    )
    one = reason(why(inputs, tests[-1:]), Why.WEAR).clues[0].values["damage"]
    assert (many - one) == pytest.approx(3 * (few - one), rel=1e-6) and few > one


def test_the_demand_of_the_lift_is_that_of_its_assessment(gate):
    """Capacity over the factor that the lift of the same load shows."""
    inputs, tests = gate
    found = why(inputs, tests)
    parts = assess(simulate(with_value(inputs, "load.mass", 6.0)), actions=False).parts
    row = next(row for row in parts if row.label == found.part.label)
    expected = found.part.strength.value / row.factor
    assert reason(found, Why.LOAD).demand == pytest.approx(expected, rel=1e-3)


def test_a_load_that_breaks_the_tooth_in_the_simulation_too_is_its_cause():
    inputs = winchsim.read(next(FOLDER.glob("04-*.toml")))
    broke = LiftTest(number=1, mass=inputs.load.mass, outcome="broke", broke_link="stage 2 pinion")
    found = why(inputs, [broke])
    assert found.reasons[0].cause is Why.LOAD
    lighter = LiftTest(number=1, mass=inputs.load.mass, outcome="lifted", measured_time=5.0)
    again = why(inputs, [lighter, replace(broke, number=2)])
    assert reason(again, Why.LOAD).share < reason(found, Why.LOAD).share
    worn = reason(found, Why.WEAR)
    assert worn.clues[0].kind == "no_line" and worn.share < 1e-4


def test_warm_teeth_lose_to_a_cool_metal_gear(gate):
    """Metal neither softens nor is printed."""
    inputs, tests = gate
    stage = replace(inputs.stage[0], material="steel", walls=None, infill=None)
    found = why(replace(inputs, stage=(stage,)), tests)
    assert not {Why.HEAT, Why.PRINT, Why.WEAR} & {row.cause for row in found.reasons}


def test_a_low_voltage_at_the_motors_explains_a_stall(curtain):
    inputs, tests = curtain
    found = why(inputs, tests)
    assert found.end is End.STALLED and found.reasons[0].cause is Why.VOLTAGE
    unread = [replace(test, measured_voltage=None) for test in tests]
    assert Why.VOLTAGE not in {row.cause for row in why(inputs, unread).reasons}


def test_what_lifted_more_before_was_held_by_something(curtain):
    inputs, tests = curtain
    unread = [replace(test, measured_voltage=None) for test in tests]
    found = why(inputs, [replace(unread[0], mass=12.0), *unread[1:]])
    assert found.reasons[0].cause is Why.OBSTACLE


def test_a_stall_of_the_simulation_is_the_load(curtain):
    inputs, _ = curtain
    found = why(inputs, [LiftTest(number=1, mass=40.0, outcome="stalled")])
    assert found.reasons[0].cause is Why.LOAD and found.reasons[0].demand > 1


def test_a_load_that_runs_back():
    """Where it does so in the simulation friction is too small; where only what moves runs on, a
    knock or an assumed friction is named."""
    inputs = winchsim.read(next(FOLDER.glob("03-*.toml")))
    back = LiftTest(
        number=1, mass=inputs.load.mass, outcome="lifted", measured_time=2.0, held=False
    )
    found = why(inputs, [back])
    assert found.end is End.BACK_DRIVEN and found.reasons[0].cause is Why.LOAD
    bell = winchsim.read(next(FOLDER.glob("08-*.toml")))
    other = why(bell, [replace(back, mass=bell.load.mass)])
    first = other.reasons[0]
    assert first.cause in (Why.ASSUMED, Why.KNOCK) and first.demand > 0.8
    # Both have one clue for them: their shares are as their usual ones times P(demand > capacity).
    knock = reason(other, Why.KNOCK)
    weights = [PRIORS[r.cause] * ndtr(math.log(r.demand) / SPREAD) for r in (knock, first)]
    assert knock.share / first.share == pytest.approx(weights[0] / weights[1], rel=1e-6)
    kinds = [reason(row, Why.LOAD).clues[0].kind for row in (found, other)]
    assert kinds == ["runs_back_in_simulation", "holds_in_simulation"]


def test_a_brake_is_the_first_cause_of_a_run_back_that_friction_alone_does_not_stop():
    inputs = winchsim.read(next(FOLDER.glob("03-*.toml")))
    back = LiftTest(
        number=1, mass=inputs.load.mass, outcome="lifted", measured_time=2.0, held=False
    )
    found = why(replace(inputs, brake=Brake(torque=50.0)), [back])
    assert found.reasons[0].cause is Why.BRAKE and found.reasons[0].demand > 1
    assert Why.BRAKE not in {row.cause for row in why(inputs, [back]).reasons}


def test_a_train_without_friction_holds_nothing(linear):
    found = why(linear(mass=1.0), [LiftTest(number=1, mass=1.0, held=False)])
    assert found.reasons[0].cause is Why.LOAD and found.reasons[0].demand > 100


def test_the_way_that_an_assumed_value_explains_a_run_back():
    """Less friction, but faster motors: their constant is smaller, and so is their drag."""
    bell = winchsim.read(next(FOLDER.glob("08-*.toml")))
    found = why(bell, [LiftTest(number=1, mass=bell.load.mass, outcome="lifted", held=False)])
    above = {row.group: row.above for row in found.reasons if row.cause is Why.ASSUMED}
    assert above["mesh_friction"] is False and above["no_load_speed"] is True


def test_a_rope_that_should_carry_many_times_the_load_was_bad(gate):
    inputs, tests = gate
    found = why(inputs, [*tests[:-1], replace(tests[-1], broke_link="rope")])
    assert reason(found, Why.LOAD).share < 0.1 and found.reasons[0].cause is Why.BAD_ROPE


def test_an_unclear_part_is_asked_for_and_a_sheet_without_failure_refused(gate):
    inputs, tests = gate
    assert isinstance(why(inputs, [replace(tests[-1], broke_link="whatsit")]), Note)
    with pytest.raises(InputError, match="no test to explain"):
        why(inputs, tests[:3])
    with pytest.raises(InputError):
        why(inputs, tests, row=1)


def test_a_capacity_lies_below_the_ends_of_its_range_in_one_part_of_twenty(gate):
    link = build(gate[0]).links[0]
    s = link.strength
    assert [below(link, demand) for demand in (s.low, s.value, s.high)] == pytest.approx(
        [0.05, 0.5, 0.95], abs=1e-4
    )
