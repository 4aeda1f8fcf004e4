"""Each kind of finding, on a run that must show it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from winchsim.assessment.history import read_history
from winchsim.hybrid import Outcome
from winchsim.inputs import Brake, Pawl, Phase
from winchsim.model import Event
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.verdict.case import Case
from winchsim.verdict.finding import FindingKind, Severity
from winchsim.verdict.findings import RULES, find

WEAK_ROPE = {"rope": {"breaking_force": 140.0, "knot_efficiency": 0.5}}
TOUGH_ROPE = {"breaking_force": 1e8, "knot_efficiency": 1.0}


def _hot(small, **changes):
    heat = {"winding_heat_capacity": 0.05, "case_heat_capacity": 1.0, "winding_to_case": 20.0, "case_to_ambient": 40.0}
    return replace(small().motors[0], **{**heat, **changes})


def test_lifted_and_held(ran):
    run = ran()
    up = run.one(FindingKind.LIFTED)
    assert up.severity is Severity.NOTE and up.value == run.history.lift_time
    held = run.one(FindingKind.HELD_BY_FRICTION_ONLY)
    assert held.severity is Severity.CAUTION
    assert "Friction is not a brake" in held.sentence and "pawl" in held.help


def test_a_train_that_a_knock_sets_going_is_named(ran, make_stage):
    """At rest it holds, with the losses of motion it does not."""
    run = ran(stage=make_stage(5.0, 0.95, repeat=2), load={"mass": 0.9}, settings={"breakaway": 2.0, "watch": 1.0})
    held = run.one(FindingKind.HELD_BY_FRICTION_ONLY)
    assert held.value < 1 < run.verdict.summary.stall_margin_cold
    assert "once set going by a knock it runs back" in held.sentence


@pytest.mark.parametrize(("part", "word"), [({"pawl": Pawl()}, "pawl"), ({"brake": Brake(torque=1.0)}, "brake")])
def test_held_by_a_part(ran, part, word):
    held = ran(**part).one(FindingKind.HELD)
    assert held.severity is Severity.NOTE and f"The {word} holds the load" in held.sentence


def test_stall_names_the_shortfall_and_the_time_to_the_limit(ran, small):
    run = ran(load={"mass": 80.0}, motors=_hot(small), settings={"stall_watch": 30.0})
    stalled = run.one(FindingKind.STALLED)
    assert stalled.severity is Severity.CAUTION and 0 < stalled.value < 1 == stalled.limit
    assert "of the torque that raising the load takes" in stalled.sentence
    assert stalled.height == pytest.approx(0.0, abs=1e-9)
    hot = run.one(FindingKind.MOTOR_OVERHEATED)
    assert hot.severity is Severity.DANGER
    said = float(stalled.sentence.split(" after ")[2].split(" ")[0])
    assert said == pytest.approx(hot.time - stalled.time, abs=0.01)


@pytest.mark.parametrize("limit", [None, 1.8])
def test_time_to_the_limit_in_closed_form(ran, small, limit):
    """A power that goes off before: the closed form against a run that is watched for longer."""
    motors = _hot(small, winding_heat_capacity=1.0, winding_to_case=60.0)
    parts = {"load": {"mass": 80.0}, "motors": motors, "supply": {"current_limit": limit}}
    short = ran(**parts, settings={"stall_watch": 0.5})
    long = ran(**parts, settings={"stall_watch": 200.0})
    said = float(short.one(FindingKind.STALLED).sentence.split("after about ")[1].split(" ")[0])
    seen = long.record.first(Event.HOT).time - long.one(FindingKind.STALLED).time
    assert said == pytest.approx(seen, rel=0.25 if limit is None else 0.02)
    assert f"passes 120 °C after {seen:.1f} s" in long.one(FindingKind.STALLED).sentence


def test_stall_of_cool_windings_says_so(ran):
    assert "stay below 120 °C" in ran(load={"mass": 80.0}).one(FindingKind.STALLED).sentence


def test_stall_at_the_end_of_a_layer(ran):
    """A load that the first layer still carries and the second does not."""
    run = ran(load={"mass": 12.0, "height": 0.3}, drum={"width": 0.012}, rope={"diameter": 0.002, **TOUGH_ROPE})
    stalled = run.one(FindingKind.STALLED_AT_LAYER_END)
    assert stalled.height > 0.01 and stalled.value < 1
    assert "end of a layer" in run.verdict.sentence


def test_not_up_in_time(ran):
    finding = ran(phase=(Phase(action="raise", until="top", time=0.5),)).one(FindingKind.NOT_UP_IN_TIME)
    assert (finding.severity, finding.limit, finding.unit) == (Severity.CAUTION, 0.5, "s")


def test_ran_back_with_speed_and_energy(ran, make_stage):
    run = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0})
    back = run.one(FindingKind.RAN_BACK)
    assert back.severity is Severity.DANGER and back.unit == "m/s"
    landed = run.history.run_backs()[0].landed
    assert landed.energy == pytest.approx(3.0 * landed.value**2 / 2)
    assert "hits the floor at" in back.sentence and "pawl" in back.help


@pytest.fixture(scope="module")
def stuck(ran, make_stage, make_motor):
    """A load of 100 N whose guide rubs with 80 N, 104 N at rest, on a drum that turns back freely."""
    motors = make_motor(4.0, 0.005, idle_current=0.05, count=12)
    load = {"mass": 100.0 / 9.80665, "height": 0.2, "guide_friction": 80.0}
    return ran(motors=motors, stage=make_stage(5.0, 0.97, repeat=2), load=load)


def test_a_drum_that_pays_out_while_the_guide_holds_the_load(stuck):
    (back,) = stuck.history.run_backs()
    assert back.in_guide and back.landed is None
    assert stuck.record["rope_wound"].max() - stuck.record["rope_wound"][-1] > 2 * stuck.history.allowed_sag
    assert stuck.record["height"][-1] >= back.from_height > 0.2
    finding = stuck.one(FindingKind.RAN_BACK)
    assert finding.severity is Severity.DANGER
    assert finding.sentence == (
        "With the power off the drum pays out its rope while the load hangs in its guide, 0.200 m up; "
        "it falls when the guide lets go."
    )
    assert stuck.verdict.sentence.endswith(", but pays out its rope while the load hangs in its guide when the power goes off.")
    assert not stuck.verdict.passes


def test_a_load_that_comes_down_does_not_hang_in_its_guide(ran, make_stage):
    run = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0})
    assert [back.in_guide for back in run.history.run_backs()] == [False]


def test_a_load_that_still_creeps_when_the_watch_ends(ran, make_stage):
    """Too slow to come back by 5 mm within the watch: not held, though it is no run-back yet."""
    run = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0}, settings={"watch": 0.02})
    assert run.history.held is False and not run.history.run_backs()
    finding = run.one(FindingKind.RAN_BACK)
    assert finding.severity is Severity.DANGER and "the drum still turns back after 20.0 ms" in finding.sentence
    assert not run.verdict.passes


def test_a_broken_link_is_a_danger_with_its_force(ran):
    finding = ran(**WEAK_ROPE).one(FindingKind.ROPE_BROKE)
    assert finding.severity is Severity.DANGER
    assert finding.limit == pytest.approx(70.0) and finding.value == pytest.approx(70.0)
    assert finding.unit == "N" and finding.time > 0


def test_links_below_their_factor_once_for_each_sort(ran):
    run = ran(rope={"breaking_force": 400.0, "knot_efficiency": 0.5})
    finding = run.one(FindingKind.LINK_BELOW_REQUIRED)
    assert finding.severity is Severity.CAUTION and 1 < finding.value < finding.limit == 7.0
    assert finding.about == "rope"


def test_a_broken_link_is_not_also_below_its_factor(ran):
    assert not ran(**WEAK_ROPE).verdict.has(FindingKind.LINK_BELOW_REQUIRED)


def test_snag_and_the_pull_it_makes(ran):
    run = ran(load={"snag_height": 0.05})
    snag = run.one(FindingKind.SNAGGED)
    assert snag.height == pytest.approx(0.05)
    assert snag.value == pytest.approx(run.record["tension"].max()) and snag.limit == pytest.approx(8.0 * 9.80665)
    assert "because the load has snagged" in run.one(FindingKind.STALLED).sentence


def test_top_stop_is_a_danger(ran):
    finding = ran(load={"top_stop": 0.05}).one(FindingKind.HIT_TOP_STOP)
    assert finding.severity is Severity.DANGER and finding.value > 0


def test_jerks_are_counted_and_spanned(ran, make_stage):
    run = ran(
        load={"guide_friction": 60.0}, rope={"axial_stiffness": 300.0, "damping_ratio": 0.01},
        stage=make_stage(12.0, 0.8, shaft_drag=2e-4, repeat=3),
    )  # fmt: skip
    finding = run.one(FindingKind.JERKS_IN_GUIDE)
    assert finding.unit == "Hz" and 0.01 < finding.value < 100
    assert "swinging from" in finding.sentence


def test_slack_rope_while_hanging(ran, make_stage):
    """A pawl that catches a fast drum throws the load up into slack rope."""
    run = ran(
        stage=make_stage(5.0, 0.97, repeat=1), load={"mass": 0.5, "height": 0.5}, pawl=Pawl(),
        rope={"axial_stiffness": 5e4, "damping_ratio": 0.02},
    )  # fmt: skip
    assert run.one(FindingKind.ROPE_WENT_SLACK).severity is Severity.CAUTION


def test_supply_at_its_limit(ran):
    short = ran(supply={"current_limit": 2.0}).one(FindingKind.SUPPLY_LIMITED)
    assert short.severity is Severity.NOTE
    long = ran(supply={"current_limit": 1.75}, load={"mass": 8.5}).one(FindingKind.SUPPLY_LIMITED)
    assert long.severity is Severity.CAUTION and long.value > short.value


def test_battery_empty(ran):
    run = ran(supply={"kind": "battery", "capacity": 1.0})
    finding = run.one(FindingKind.BATTERY_EMPTY)
    assert finding.value == pytest.approx(1.0) and finding.unit == "C"
    assert "because the battery is empty" in run.one(FindingKind.STALLED).sentence


def test_bend_is_a_caution_at_most(ran):
    tight = ran(rope={"diameter": 0.004, **TOUGH_ROPE}).one(FindingKind.ROPE_BEND_TIGHT)
    assert tight.severity is Severity.CAUTION and tight.value == pytest.approx(2.5)
    within = ran().one(FindingKind.ROPE_BEND_TIGHT)
    assert within.severity is Severity.NOTE
    assert not ran(rope={"diameter": 0.0004, **TOUGH_ROPE}).verdict.has(FindingKind.ROPE_BEND_TIGHT)


def test_drum_overflow(ran):
    run = ran(drum={"width": 0.006, "flange_diameter": 0.020}, load={"height": 0.4})
    finding = run.one(FindingKind.DRUM_OVERFLOW)
    assert finding.severity is Severity.DANGER and 0 < finding.height < 0.4


def test_landing_fast_where_it_was_not_meant(ran):
    run = ran(phase=(Phase(action="raise", until="top"), Phase(action="lower", until="floor")))
    finding = run.one(FindingKind.LANDED_HARD)
    assert finding.severity is Severity.CAUTION, "it was meant to come down"
    assert run.one(FindingKind.LOWERED).value == pytest.approx(finding.time - run.history.spans[1].start)


def test_far_below_nominal_voltage(ran):
    finding = ran(supply={"voltage": 2.5}).one(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE)
    assert finding.limit == pytest.approx(3.0) and "42 %" in finding.sentence
    assert not ran(supply={"voltage": 3.5}).verdict.has(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE)


def test_assumed_counts_and_names_the_worst(ran):
    run = ran()
    finding = run.one(FindingKind.ASSUMED)
    assert finding.value == len(run.record.machine.assumed)
    assert finding.severity is Severity.NOTE


@pytest.mark.parametrize("outcome", [outcome for outcome in Outcome if not outcome.ok])
def test_a_run_that_broke_off_is_told_as_nothing_else(ran, outcome):
    record = replace(ran().record, outcome=outcome)
    (finding,) = find(Case(read_history(record)))
    assert finding.severity is Severity.DANGER
    assert finding.kind is (FindingKind.CHATTER if outcome is Outcome.CHATTER else FindingKind.NO_TRUST)


def test_books_that_do_not_close_are_not_trusted(ran):
    record = ran().record
    record = replace(record, energy=replace(record.energy, residual=0.01 * record.energy.scale))
    (finding,) = find(Case(read_history(record)))
    assert finding.kind is FindingKind.NO_TRUST and "1.0 %" in finding.sentence


def test_worst_first_then_in_time(ran):
    findings = ran(load={"top_stop": 0.05}).verdict.findings
    ranks = [finding.severity.rank for finding in findings]
    assert ranks == sorted(ranks, reverse=True)
    for rank in set(ranks):
        times = [math.inf if f.time is None else f.time for f in findings if f.severity.rank == rank]
        assert times == sorted(times)


def test_every_finding_is_a_sentence_with_a_printed_unit(ran, make_stage):
    runs = [ran(), ran(load={"mass": 80.0}), ran(load={"top_stop": 0.05}), ran(**WEAK_ROPE)]
    for run in runs:
        for finding in run.verdict.findings:
            assert not finding.sentence[0].islower() and finding.sentence.endswith(".")
            assert not finding.help or finding.help.endswith(".")
            assert finding.unit in PRINTED_UNITS
            assert "nan" not in finding.sentence and "None" not in finding.sentence


def test_every_rule_stands_once_in_the_list():
    assert len(set(RULES)) == len(RULES)
