"""Remedies: each is the smallest of its kind, and each was run."""

from __future__ import annotations

from dataclasses import replace

import pytest

from winchsim.inputs import Pawl, with_value
from winchsim.model import build
from winchsim.simulation import simulate
from winchsim.verdict.finding import FindingKind
from winchsim.assessment.history import read_history
from winchsim.verdict.judge import judge
from winchsim.verdict.levers import STALL_LEVERS, lighter_load, more_motors

STALLS = {"load": {"mass": 17.0}, "pawl": Pawl(), "settings": {"watch": 0.5, "stall_watch": 0.5}}


@pytest.fixture(scope="module")
def stalled(small):
    """The stalling winch and its verdict with remedies."""
    inputs = small(**STALLS)
    return inputs, judge(simulate(inputs))


def test_a_stall_is_offered_one_remedy_of_each_kind(stalled):
    _, verdict = stalled
    paths = [remedy.path for remedy in verdict.remedies]
    assert len(set(paths)) == len(paths)
    assert {"load.mass", "motors.1.count", "drum.diameter", "stage.1.ratio"} <= set(paths)
    assert all(remedy.finding is FindingKind.STALLED for remedy in verdict.remedies)


def test_every_confirmed_remedy_lifts_when_it_is_run(stalled):
    inputs, verdict = stalled
    for remedy in verdict.remedies:
        assert remedy.confirmed
        history = read_history(simulate(with_value(inputs, remedy.path, remedy.after)))
        assert history.lifted, remedy.sentence
        assert history.lift_time == pytest.approx(remedy.lift_time)


def test_no_smaller_change_would_do(stalled):
    """A change that is a fifth smaller leaves the winch stalled (whole numbers: one less)."""
    inputs, verdict = stalled
    for remedy in verdict.remedies:
        less = remedy.after - 1 if isinstance(remedy.after, int) else remedy.after + 0.2 * (remedy.before - remedy.after)
        if less == remedy.before:
            continue
        assert not read_history(simulate(with_value(inputs, remedy.path, less))).lifted, remedy.sentence


def test_values_are_round_as_people_write_them(stalled):
    _, verdict = stalled
    mass = next(remedy for remedy in verdict.remedies if remedy.path == "load.mass")
    assert f"{mass.after:.3g}" == f"{mass.after:.10g}"
    assert mass.sentence.startswith(f"A load of {mass.after:.4g} kg instead of 17 kg: lifts it in ")


def test_a_drawback_stands_behind_the_remedies_that_have_none(small):
    """Without the pawl some of the remedies run back: they come last, and say so."""
    inputs = small(**{**STALLS, "pawl": None})
    remedies = judge(simulate(inputs)).remedies
    flawed = ["runs back" in remedy.sentence for remedy in remedies]
    assert flawed == sorted(flawed)


def test_a_run_back_is_remedied_by_what_holds(small, make_stage):
    inputs = small(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0})
    remedies = {remedy.path: remedy for remedy in judge(simulate(inputs)).remedies}
    assert {"pawl.fitted", "brake.torque", "stage.1.repeat"} <= set(remedies)
    for remedy in remedies.values():
        assert remedy.confirmed and remedy.finding is FindingKind.RAN_BACK and "the load stays up" in remedy.sentence
    brake = remedies["brake.torque"]
    assert brake.before is None and 0.05 < brake.after < 0.6
    pull = 3.0 * 9.80665 * build(inputs).layers[0].radius
    assert brake.after < pull, "friction helps it"


def test_a_remedy_that_breaks_a_link_is_not_confirmed(small):
    """A rope that bears the stalled motors' pull but not the load."""
    inputs = small(**STALLS, rope={"breaking_force": 380.0, "knot_efficiency": 0.45})
    remedies = {remedy.path: remedy for remedy in judge(simulate(inputs)).remedies}
    assert not remedies["motors.1.count"].confirmed
    assert "but then the rope at its knot breaks" in remedies["motors.1.count"].sentence
    assert remedies["motors.1.count"].lift_time is None


@pytest.mark.parametrize("parts", [{}, {"load": {"snag_height": 0.05}}, {"load": {"top_stop": 0.05}, "pawl": Pawl()}])
def test_nothing_to_remedy(small, parts):
    verdict = judge(simulate(small(**parts)))
    assert not [remedy for remedy in verdict.remedies if remedy.finding is FindingKind.STALLED]


def test_a_record_without_its_scenario_has_no_remedies(small):
    assert judge(simulate(build(small(**STALLS)))).remedies == ()


def test_remedies_may_be_left_out(small):
    assert judge(simulate(small(**STALLS)), remedies=False).remedies == ()


def test_a_lever_gives_up_when_nothing_is_enough(small):
    inputs = small(**STALLS)
    for lever in STALL_LEVERS:
        assert lever(inputs, build(inputs), lambda machine: False) is None


def test_a_lever_goes_no_further_than_it_must(small):
    inputs = small(**STALLS)
    machine = build(inputs)
    change = more_motors(inputs, machine, lambda trial: trial.groups[0].live >= 5)
    assert (change.before, change.after) == (2, 5) and change.words == "5 motors instead of 2"
    mass = lighter_load(inputs, machine, lambda trial: trial.body.mass <= 10.123)
    assert mass.after <= 10.123 and mass.after == pytest.approx(10.0, abs=0.11)


def test_a_quarter_of_the_load_is_another_lift(small):
    inputs = small(**STALLS)
    machine = build(inputs)
    assert lighter_load(inputs, machine, lambda trial: trial.body.mass <= 0.24 * 17.0) is None
    assert lighter_load(inputs, machine, lambda trial: trial.body.mass <= 0.27 * 17.0) is not None


def test_the_largest_group_gets_the_motors(small):
    base = small(**STALLS)
    motors = (replace(base.motors[0], count=1), replace(base.motors[0], count=2))
    inputs = replace(base, motors=motors)
    change = more_motors(inputs, build(inputs), lambda trial: sum(group.live for group in trial.groups) >= 5)
    assert change.path == "motors.2.count" and change.words == "4 motors in group 2 instead of 2"
