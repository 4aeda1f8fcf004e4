"""Levers one by one: each turns what it is for, no further than it must, and knows when it has nothing to turn."""

from dataclasses import replace

import pytest

from winchsim.inputs import Brake, Pawl
from winchsim.model import build
from winchsim.simulation import simulate
from winchsim.verdict.judge import judge
from winchsim.verdict.levers import RUN_BACK_LEVERS, a_brake, a_locking_stage, a_pawl, more_current, more_voltage
from winchsim.assessment.margins import holding, hot_margins


def _holds(machine):
    return holding(machine, machine.top_travel, 0).moving >= 1.0


def _starts(machine):
    return hot_margins(machine).resting >= 1.0


def _always(machine):
    return True


def _never(machine):
    return False


@pytest.fixture(scope="module")
def sliding(small, make_stage):
    """A winch that runs back, with two stages that may be replaced."""
    return small(stage=(make_stage(5.0, 0.97), make_stage(5.0, 0.97)), load={"mass": 3.0})


def test_a_stage_is_made_to_lock_no_more_than_it_must(sliding):
    assert not _holds(build(sliding))
    change = a_locking_stage(sliding, build(sliding), _holds)
    assert change.path == "stage.2.reverse_efficiency"
    assert change.before == pytest.approx(2 - 1 / 0.97)
    assert _holds(build(change.inputs))
    stage = replace(sliding.stage[1], reverse_efficiency=change.after + 0.05)
    assert not _holds(build(replace(sliding, stage=(sliding.stage[0], stage))))
    assert f"passes {100 * change.after:.0f} % of the load's torque back, such as a worm" in change.words


def test_a_stage_that_locks_is_confirmed_by_a_full_run(sliding):
    remedies = {remedy.path: remedy for remedy in judge(simulate(sliding)).remedies}
    remedy = remedies["stage.2.reverse_efficiency"]
    assert remedy.confirmed and "the load stays up" in remedy.sentence


def test_a_stage_that_passes_nothing_back(sliding):
    everything = a_locking_stage(sliding, build(sliding), lambda machine: machine.chain.elements[1].reverse <= 0)
    assert everything.after == 0.0 and "passes nothing of the load's torque back" in everything.words


def test_repeated_stages_and_those_that_lock_already_are_left_alone(small, make_stage):
    for stage in (make_stage(5.0, 0.97, repeat=2), make_stage(25.0, 0.45)):
        inputs = small(stage=stage, load={"mass": 3.0})
        assert a_locking_stage(inputs, build(inputs), _always) is None


def test_no_second_pawl(small):
    inputs = small(pawl=Pawl())
    assert a_pawl(inputs, build(inputs), _holds) is None


@pytest.mark.parametrize("place", ["drum", "motor"])
def test_a_brake_holds_with_what_it_adds(sliding, place):
    weak = replace(sliding, brake=Brake(torque=1e-6, place=place))
    change = a_brake(weak, build(weak), _holds)
    assert change.before == 1e-6 and _holds(build(change.inputs))
    lighter = replace(weak, brake=Brake(torque=0.95 * change.after, place=place))
    assert not _holds(build(lighter))
    assert ("on the drum" if place == "drum" else "on the motor shaft") in change.words


def test_more_current_where_the_limit_is_what_stalls_it(small):
    inputs = small(supply={"current_limit": 0.5}, load={"mass": 5.0})
    assert not _starts(build(inputs))
    change = more_current(inputs, build(inputs), _starts)
    assert change.path == "supply.current_limit" and change.before == 0.5
    assert _starts(build(change.inputs))
    assert not _starts(build(small(supply={"current_limit": 0.95 * change.after}, load={"mass": 5.0})))
    assert change.words == f"A current limit of {change.after:.3g} A instead of 0.5 A"
    for free in (small(), small(supply={"current_limit": 100.0})):
        assert more_current(free, build(free), _always) is None


def test_a_voltage_that_is_high_already_is_not_raised(small):
    inputs = small(supply={"voltage": 9.0})
    assert more_voltage(inputs, build(inputs), _always) is None
    allowed = more_voltage(small(), build(small()), lambda machine: machine.phases[0].voltage >= 7.0)
    assert 7.0 <= allowed.after <= 7.2 and "above the motors' nominal 6 V" in allowed.words


def test_levers_of_a_run_back_give_up_when_nothing_is_enough(sliding):
    found = {lever: lever(sliding, build(sliding), _never) for lever in RUN_BACK_LEVERS}
    assert [lever for lever, change in found.items() if change] == [a_pawl]
