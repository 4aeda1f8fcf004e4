"""Studies of motors, voltage, gears and the heaviest load."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.inputs import Phase, Stage
from winchsim.model import build
from winchsim.quantity_text import quantity, rounded
from winchsim.report.sizing_text import heaviest_text
from winchsim.scenario.read import loads
from winchsim.scenario.starter import STARTER
from winchsim.slow import Hold, lift_all
from winchsim.studies.drum import study_drum
from winchsim.studies.gears import rows_to_show, study_gears
from winchsim.studies.heaviest import study_heaviest
from winchsim.studies.motors import study_motors
from winchsim.studies.voltage import study_voltage
from winchsim.verdict.candidates import Wanted
from winchsim.verdict.finding import FindingKind, Severity

PAIR = Stage(pinion=12, gear=48, module=0.001, width=0.01, material="steel", repeat=3, friction=0.1)


@pytest.fixture
def toothed(small):
    return small(stage=PAIR, load={"mass": 5.0})


# --- motors ---------------------------------------------------------------------------------------------------------


def test_fewest_motors_that_keep_every_limit(small):
    study = study_motors(small())
    counts, judged = study.choice.values, study.choice.judged
    taken = study.choice.recommended
    good = judged.keeps_every_limit if judged.keeps_every_limit.any() else judged.works
    assert counts[taken] == counts[good].min() and study.choice.good
    assert counts[0] == 1 and not judged.works[0]
    assert f"take {counts[taken]} motor" in study.sentence and "one fewer" in study.reason


def test_a_range_of_counts_and_a_group(small, make_motor):
    groups = (make_motor(4.0, 0.005, idle_current=0.12, count=2), make_motor(4.0, 0.005, idle_current=0.12))
    study = study_motors(small(motors=groups), group=2, low=1, high=3)
    assert study.choice.values.tolist() == [1, 2, 3] and study.group == 2
    assert study.choice.variants.one(2).motors[1].count == 3
    with pytest.raises(DomainError):
        study_motors(small(), low=4, high=4)
    with pytest.raises(DomainError, match="motors"):
        study_motors(small(), group=3)


def test_dead_motors_are_kept_dead(small, make_motor):
    study = study_motors(small(motors=make_motor(4.0, 0.005, idle_current=0.12, count=4, dead=1)), low=1, high=5)
    assert study.choice.values[0] == 2  # one live beside the dead one


def test_motors_that_can_break_a_link_before_they_stall_are_told_as_that_and_not_as_a_break(small):
    study = study_motors(small(rope={"breaking_force": 130.0, "knot_efficiency": 1.0}), high=4)
    kinds = {finding.kind: finding for finding in study.choice.findings}
    assert study.choice.good and FindingKind.OVERLOAD not in kinds
    found = kinds[FindingKind.BREAKS_BEFORE_STALL]
    assert "can break the rope at its knot before they stall" in found.sentence and found.value < 1


def test_no_number_of_motors(small):
    study = study_motors(small(load={"mass": 300.0}), high=4)
    assert study.sentence.startswith("No number of motors from 1 to 4 works") and not study.choice.good
    assert study.reason == ""


# --- voltage --------------------------------------------------------------------------------------------------------


def test_the_voltage_nearest_to_the_motors_own(small):
    study = study_voltage(small())
    taken = float(study.choice.values[study.choice.recommended])
    assert study.nominal == 6.0 and taken * 2 == round(taken * 2)
    assert study.choice.good and "6.00 V" in study.reason
    judged = study.choice.judged
    halves = np.abs(study.choice.values * 2 - np.round(study.choice.values * 2)) < 1e-9
    kept = judged.keeps_every_limit & halves if (judged.keeps_every_limit & halves).any() else judged.works & halves
    assert abs(np.log(taken / 6.0)) == pytest.approx(np.abs(np.log(study.choice.values[kept] / 6.0)).min())


def test_over_voltage_is_a_caution_and_no_obstacle(small):
    study = study_voltage(small(), low=6.0, high=12.0)
    judged = study.choice.judged
    assert judged.works[-1] and not judged.keeps_every_limit[-1]
    assert "times the 6.00 V" in judged.reason(len(study.choice.values) - 1)


def test_a_phase_with_its_own_voltage_is_refused(small):
    with pytest.raises(DomainError, match=r"phase.1.voltage"):
        study_voltage(small(phase=Phase(action="raise", until="top", voltage=5.0)))


def test_no_voltage(small):
    study = study_voltage(small(load={"mass": 300.0}))
    assert study.sentence.startswith("No voltage from ") and study.choice.recommended is None


@pytest.mark.parametrize("study", [study_drum, study_motors, study_voltage, study_gears])
def test_a_danger_of_the_recommended_build_s_full_run_is_a_danger_of_the_study(small, study):
    """A stop half a millimetre above the height: slow lifts end at the height, the full run coasts on."""
    found = study(small(load={"mass": 5.0, "top_stop": 0.1005}))
    choice = found.choice
    own = choice.confirmation.verdict
    dangers = [finding for finding in own.findings if finding.severity is Severity.DANGER]
    assert FindingKind.HIT_TOP_STOP in {finding.kind for finding in dangers}
    carried = [finding for finding in choice.findings if finding.severity is Severity.DANGER]
    assert [(f.kind, f.value, f.unit) for f in carried] == [(f.kind, f.value, f.unit) for f in dangers]
    for told, full in zip(carried, dangers, strict=True):
        assert told.sentence.startswith("As recommended (") and told.sentence.endswith(f"): {full.sentence}")
    assert choice.good and not choice.safe and not choice.passes
    assert found.sentence.endswith(f", but not without danger. {dangers[0].sentence}")


def test_a_recommended_build_that_runs_back_is_a_danger_told_once(small):
    study = study_voltage(small(stage=dataclasses.replace(small().stage[0], efficiency=0.95)))
    (found,) = (finding for finding in study.choice.findings if finding.kind is FindingKind.RAN_BACK)
    assert found.severity is Severity.DANGER and found.sentence.startswith("As recommended (6.00 V): With the power off ")
    assert study.choice.good and not study.choice.passes
    assert ", but not without danger. With the power off the load runs back from " in study.sentence


def test_without_a_danger_a_study_passes(small):
    study = study_voltage(small())
    assert study.choice.passes and study.choice.safe and ": up in " in study.sentence


# --- gears ----------------------------------------------------------------------------------------------------------


def test_every_option_has_the_ratio_that_its_build_has(toothed):
    study = study_gears(toothed)
    for option in study.options[::6]:
        assert build(option.inputs).groups[0].ratio == pytest.approx(option.ratio, rel=1e-12)
    assert [o.ratio for o in study.options] == sorted(o.ratio for o in study.options)
    kinds = {option.kind for option in study.options}
    assert kinds == {"as it is", "other teeth", "one more", "one fewer"}


def test_other_teeth_change_one_pair_alone(toothed):
    study = study_gears(toothed)
    option = next(o for o in study.options if o.kind == "other teeth")
    assert [stage.repeat for stage in option.inputs.stage] == [2, 1]
    assert option.inputs.stage[0].gear == 48 and option.inputs.stage[1].gear != 48
    assert "the last pair of stage 1" in option.words


def test_gears_that_do_are_left_as_they_are(toothed):
    study = study_gears(toothed)
    taken = study.options[study.choice.recommended]
    if study.choice.judged.keeps_every_limit[[o.kind == "as it is" for o in study.options]].any():
        assert taken.kind == "as it is" and "leave them as they are" in study.sentence


def test_gears_that_are_too_fast_are_changed(small):
    study = study_gears(small(stage=dataclasses.replace(PAIR, repeat=2), load={"mass": 9.0}))
    taken = study.options[study.choice.recommended]
    assert taken.kind != "as it is" and taken.ratio > 16.0
    assert study.choice.good and f"take {taken.words}" in study.sentence


def test_a_range_of_ratios(toothed):
    study = study_gears(toothed, low=60.0, high=100.0)
    assert all(60.0 <= option.ratio <= 100.0 for option in study.options)
    with pytest.raises(DomainError, match="one change of the gears"):
        study_gears(toothed, low=1e6)


def test_stages_that_are_no_gear_pairs_can_be_added_and_left_out(small):
    study = study_gears(small())
    assert {option.kind for option in study.options} == {"as it is", "one more", "one fewer"}
    assert sorted(round(option.ratio) for option in study.options) == [25, 125, 625]


def test_a_stage_cannot_be_left_out_where_it_is_the_only_one(small):
    study = study_gears(small(stage=dataclasses.replace(PAIR, repeat=1)))
    assert all(option.kind != "one fewer" for option in study.options)


def test_rows_in_print_hold_the_best_and_the_present(toothed):
    study = study_gears(toothed)
    kinds = {study.options[i].kind for i in rows_to_show(study)}
    assert "as it is" in kinds and len(rows_to_show(study)) < len(study.options)


# --- heaviest -------------------------------------------------------------------------------------------------------


def test_every_limit_has_its_load(small):
    study = study_heaviest(small(rope={"breaking_force": 900.0}))
    masses = [reach.mass for reach in study.reaches if reach.mass is not None]
    assert masses == sorted(masses)
    by_name = {reach.name: reach for reach in study.reaches}
    rope = by_name["required factor of the rope"]
    beyond = lift_all(small(rope={"breaking_force": 900.0}), {"load.mass": [rope.mass, rope.mass * 1.01]})
    place = 6  # of the rope's knot among the kinds of link
    assert beyond.kind_factors_over_required[place][0] >= 1 > beyond.kind_factors_over_required[place][1]
    assert not rope.hard and by_name["margin to stall"].hard


def test_the_heaviest_load_is_run_in_full(small):
    study = study_heaviest(small(load={"mass": 7.0}))
    assert study.good and study.works_up_to > 7.0
    ran = [float(study.masses[run.index]) for run in study.runs]
    assert rounded(study.works_up_to, 3) in ran and 7.0 in ran and all(run.sound for run in study.runs)
    assert study.sentence.startswith("Lifts up to ") and study.largest_difference < 0.02


def test_required_factors_count(small):
    weak = {"breaking_force": 400.0}
    strict = study_heaviest(small(rope=weak, factors=dataclasses.replace(small().factors, rope=14.0)))
    usual = study_heaviest(small(rope=weak))
    assert strict.keeps_every_limit_up_to == pytest.approx(usual.keeps_every_limit_up_to / 2, rel=0.15)
    assert "keeps every required factor up to" in strict.sentence


def test_the_own_load_may_be_too_heavy(small):
    study = study_heaviest(small(load={"mass": 30.0}))
    assert not study.good and study.works_up_to < 30.0


def test_not_even_a_little(small):
    study = study_heaviest(small(), Wanted(target_time=1e-3))
    assert study.works_up_to is None and study.sentence.startswith("Not even ") and not study.good


def test_the_load_that_is_told_is_one_that_was_run(small):
    """Not a heavier one, and no digits that were not tried: 8.43 kg is 8.43 kg in the full run too."""
    study = study_heaviest(small(load={"mass": 7.0}))
    told = float(re.match(r"Lifts up to ([\d.]+) kg", study.sentence)[1])
    assert told <= study.works_up_to < told * 1.01
    assert any(told == float(study.masses[run.index]) for run in study.runs)
    text = heaviest_text(study)
    assert f"- {quantity(told, 'kg')}: Lifts {told:g} kg" in text


def test_a_danger_of_a_heaviest_load_is_told_with_the_lightest_load_that_shows_it(small):
    study = study_heaviest(small(stage=dataclasses.replace(small().stage[0], efficiency=0.95)))
    assert len(study.runs) == 2 and all(run.sound and run.held is False for run in study.runs)
    (found,) = (finding for finding in study.findings if finding.severity is Severity.DANGER)
    assert found.kind is FindingKind.RAN_BACK and found.sentence.startswith("At 8.00 kg: With the power off the load runs back")
    assert study.works_up_to > 8.0 and not study.good
    assert study.sentence.endswith(f", but not without danger. {found.sentence}")


def test_of_motors_that_lift_those_that_also_hold_are_taken():
    """One motor lifts the starter's chest and lets it run back; the fewest that hold it are more."""
    study = study_motors(loads(STARTER))
    holding = study.choice.lifts.holding
    assert study.choice.judged.works[0] and holding[0] == Hold.RUNS_BACK
    taken = study.choice.recommended
    assert holding[taken] != Hold.RUNS_BACK and all(holding[i] == Hold.RUNS_BACK for i in range(taken))
    assert study.choice.confirmation.held and study.choice.passes
    assert "hold the load with the power off" in study.reason
