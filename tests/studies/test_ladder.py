"""The ladder of test loads: rungs, limits, waits, and how each load comes down."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from winchsim.inputs import Load, Pawl, Phase, with_value
from winchsim.model import Event, build
from winchsim.physics import heat
from winchsim.report.ladder import held_text
from winchsim.simulation import simulate
from winchsim.slow import End, lift_all
from winchsim.studies.calibrate import Kind, LiftTest
from winchsim.studies.calibrate.forecast import Bench
from winchsim.studies.ladder import Descent, plan_ladder
from winchsim.studies.ladder.plan import COOL, ENDS, STOP_AT, STOP_UNLOADED
from winchsim.verdict.finding import FindingKind, Severity


@pytest.fixture(scope="module")
def ladder(small):
    return plan_ladder(small(title="Small winch"))


def test_from_an_unloaded_run_to_the_target(ladder):
    masses = [rung.mass for rung in ladder.rungs]
    assert masses[0] == 0 and masses[-1] == 8.0 and masses == sorted(masses)
    assert [rung.number for rung in ladder.rungs] == [1, 2, 3, 4, 5, 6]
    assert all(float(f"{mass:.2g}") == mass for mass in masses)  # what people can weigh
    assert ladder.good and ladder.sentence.startswith("6 rungs from an unloaded run to 8 kg")


def test_the_unloaded_run_measures_drag(ladder, small):
    first = ladder.rungs[0]
    idle = lift_all(small(), {"load.mass": [1e-6]})
    assert first.lift_time == pytest.approx(idle.lift_time[0], rel=1e-3)
    assert first.current == pytest.approx(idle.last_current[0], rel=1e-2)
    assert first.weakest == "" and first.held is None and first.lowering.descent is Descent.NOTHING
    assert first.stop_time == pytest.approx(STOP_UNLOADED * first.lift_time)


@pytest.mark.parametrize(
    ("parts", "cause"),
    [
        ({}, None),
        ({"supply": {"voltage": 0.3}}, FindingKind.STALLED),
        ({"supply": {"kind": "battery", "capacity": 0.3}}, FindingKind.BATTERY_EMPTY),
        ({"drum": {"width": 0.01, "flange_diameter": 0.016}, "load": {"height": 0.5}}, FindingKind.DRUM_OVERFLOW),
        ({"load": {"top_stop": 0.05}}, FindingKind.HIT_TOP_STOP),
        ({"phase": Phase(action="raise", until="top", time=1.0)}, FindingKind.NOT_UP_IN_TIME),
    ],
)
def test_what_keeps_the_unloaded_drum_from_winding_is_its_cause(small, parts, cause):
    first, *_, last = plan_ladder(small(**parts), rungs=1).rungs
    assert first.cause is cause and first.up is (cause is None)
    assert last.cause is cause, "the target, in full, is kept down by the same"


def test_every_end_of_a_slow_lift_but_up_is_a_cause():
    assert set(ENDS) == set(End) - {End.LIFTED}


def test_rungs_climb_in_time_current_and_stop_before_much_more(ladder):
    for name in ("lift_time", "current", "winding_end", "fall_energy"):
        values = [getattr(rung, name) for rung in ladder.rungs]
        assert values == sorted(values), name
    for rung in ladder.rungs[1:]:
        assert rung.stop_time == pytest.approx(STOP_AT * rung.lift_time)
        assert rung.stop_current == pytest.approx(STOP_AT * rung.current)
        assert rung.voltage == pytest.approx(6.0 - 0.2 * rung.current, rel=1e-3)
        assert 0 < rung.cut <= 3.0
        assert rung.catch_energy == pytest.approx(rung.mass * 9.80665 * rung.catch_gap)
    assert ladder.largest_difference < 0.01


def test_the_power_goes_off_within_a_third_of_what_the_windings_bear(small, make_motor):
    """As the full run of a load that cannot be moved shows it: the resistance grows as they warm, and the current falls."""
    light = {"winding_heat_capacity": 0.3, "case_heat_capacity": 6.0, "winding_to_case": 40.0, "case_to_ambient": 40.0}
    inputs = small(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, **light), settings={"stall_watch": 30.0})
    stuck = simulate(build(with_value(inputs, "load.mass", 80.0)))
    bears = stuck.first(Event.HOT).time - stuck.first(Event.STALLED).time
    for rung in plan_ladder(inputs, rungs=1).rungs:
        assert rung.cut == pytest.approx(bears / 3, rel=0.1) and rung.cut < 3.0


def test_what_a_rung_predicts_is_what_its_measurement_is_compared_with(ladder, small):
    rungs = ladder.rungs[1:]
    bench = Bench(small(), [LiftTest(number=rung.number, mass=rung.mass) for rung in rungs], ())
    for place, rung in ((0, rungs[0]), (len(rungs) - 1, rungs[-1])):
        full = bench.in_full({}, place)
        assert rung.lift_time == pytest.approx(0.1 / full[Kind.TIME], rel=2e-3)  # windings that have cooled to the air again
        assert rung.current == pytest.approx(full[Kind.CURRENT], rel=2e-3)
        assert rung.voltage == pytest.approx(full[Kind.VOLTAGE], rel=2e-3)


def test_powered_lowering(ladder):
    light = ladder.rungs[1].lowering
    assert light.descent is Descent.POWERED and light.time > 0 and light.current > 0
    assert light.words.startswith("Reverse the polarity")
    for rung in ladder.rungs[2:]:  # a heavier load needs less pushing down
        assert rung.held is True and rung.lowering.time < light.time
        assert rung.lowering.descent is not Descent.POWERED or rung.lowering.current < light.current


def test_the_wait_lets_the_windings_cool(small, make_motor):
    warm = {"winding_heat_capacity": 1.0, "case_heat_capacity": 20.0, "winding_to_case": 5.0, "case_to_ambient": 20.0}
    inputs = small(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, **warm), load={"height": 0.4})
    ladder = plan_ladder(inputs, rungs=3)
    assert ladder.rungs[-1].rest_before >= 60 and ladder.rungs[1].rest_before == 0
    group = ladder.machine.groups[0]
    for rung in ladder.rungs[2:]:
        assert rung.rest_before % 60 == 0
        assert rung.winding_start <= 20 + COOL or rung.rest_before == 120 * 60
    cooled = heat.step_exact(group.heat, 0.0, 60.0, 40.0, 20.0, 1e5)[0]
    assert cooled == pytest.approx(20.0, abs=0.1)


def test_it_ends_at_the_first_load_that_does_not_come_up(small):
    ladder = plan_ladder(small(load={"mass": 24.0}))
    assert not ladder.rungs[-1].up and all(rung.up for rung in ladder.rungs[:-1])
    assert ladder.rungs[-1].mass < 24.0 and not ladder.good
    assert ladder.rungs[-1].current is None, "a lift that ends early has no steady current"
    assert ladder.sentence.startswith(f"Climb to {ladder.rungs[-2].mass:g} kg only. At ")
    assert ladder.rungs[-1].verdict == "no go"
    danger = next(f for f in ladder.findings if f.severity is Severity.DANGER)
    assert danger.kind is FindingKind.STALLED


def test_a_link_that_breaks_ends_it_too(small):
    ladder = plan_ladder(small(rope={"breaking_force": 60.0, "knot_efficiency": 1.0}))
    danger = next(f for f in ladder.findings if f.severity is Severity.DANGER)
    assert danger.kind is FindingKind.ROPE_BROKE and "rope" in danger.sentence


def test_a_battery_that_runs_empty_is_told_as_that(small):
    """Not as a break: whoever reads the finding's kind must get the same answer as whoever reads its sentence."""
    ladder = plan_ladder(small(supply={"kind": "battery", "capacity": 2.0}), rungs=1)
    danger = next(f for f in ladder.findings if f.severity is Severity.DANGER)
    assert danger.kind is FindingKind.BATTERY_EMPTY and "battery is empty" in danger.sentence


def test_coasting_past_the_mark_is_no_stop_that_was_hit(small):
    fast = small(stage=dataclasses.replace(small().stage[0], repeat=1, inertia=2e-3), load={"mass": 0.3})
    ladder = plan_ladder(fast, rungs=1)
    assert ladder.rungs[-1].coast > 0.01
    kinds = {f.kind for f in ladder.findings}
    assert FindingKind.COASTS_PAST in kinds and FindingKind.HIT_TOP_STOP not in kinds


def test_a_load_that_drives_its_motors_is_not_lowered_under_power(small):
    loose = dataclasses.replace(small().stage[0], efficiency=0.97, reverse_efficiency=0.97, shaft_drag=0.0)
    ladder = plan_ladder(small(stage=loose, load={"mass": 6.0}), rungs=2)
    last = ladder.rungs[-1]
    assert last.held is False
    assert last.lowering.descent in (Descent.OVERHAULS, Descent.SHORTED)
    assert "runs back" in ladder.sentence
    assert any(f.kind is FindingKind.RAN_BACK for f in ladder.findings)


def test_a_load_that_friction_holds_at_rest_only_is_told_before_it_is_tested(small):
    """From the first rung on where a knock would do; a pawl takes the doubt away."""
    inputs = small(stage=dataclasses.replace(small().stage[0], efficiency=0.84, shaft_drag=0.0), load={"mass": 8.0})
    ladder = plan_ladder(inputs, rungs=4)
    proof = [rung.knock_proof for rung in ladder.rungs[1:] if rung.held]
    assert True in proof and False in proof and proof == sorted(proof, reverse=True)
    first = next(rung for rung in ladder.rungs if rung.knock_proof is False)
    (told,) = [finding for finding in ladder.findings if finding.kind is FindingKind.HELD_BY_FRICTION_ONLY]
    assert told.value == first.mass and "once knocked it runs back" in told.sentence
    assert held_text(first) == "at rest" and held_text(ladder.rungs[1]) == "holds" and held_text(ladder.rungs[0]) == ""
    pawled = plan_ladder(dataclasses.replace(inputs, pawl=Pawl()), rungs=4)
    assert all(rung.knock_proof for rung in pawled.rungs[1:])
    assert FindingKind.HELD_BY_FRICTION_ONLY not in {finding.kind for finding in pawled.findings}


def test_a_train_that_locks_is_lowered_under_power_and_a_pawl_does_not_hinder_it(small):
    locks = dataclasses.replace(small().stage[0], reverse_efficiency=-0.1)
    for more in ({}, {"pawl": Pawl()}):
        rung = plan_ladder(small(stage=locks, **more), rungs=1).rungs[-1]
        assert rung.held is True and rung.lowering.descent is Descent.POWERED


def test_motors_too_weak_to_lower_it_need_a_prop(small):
    stuck = dataclasses.replace(small().stage[0], reverse_efficiency=-3.0)
    inputs = small(stage=stuck, phase=(Phase(action="raise", until="top"), Phase(action="lower", until="floor", voltage=0.5)))
    rung = plan_ladder(inputs, rungs=1).rungs[-1]
    assert rung.lowering.descent is Descent.NOT_DOWN and "prop" in rung.lowering.words


def test_another_target_and_other_rungs(small):
    ladder = plan_ladder(small(), target=4.0, rungs=2)
    assert [rung.mass for rung in ladder.rungs] == [0.0, 2.0, 4.0]
    assert [rung.mass for rung in plan_ladder(small(), rungs=1).rungs] == [0.0, 8.0]
    seven = [rung.mass for rung in plan_ladder(small(), rungs=7).rungs]
    assert len(seven) == 8 and np.all(np.diff(seven) > 0)


def test_progress_counts_rungs(small):
    told = []
    plan_ladder(small(), rungs=2, on_progress=lambda *step: told.append(step))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_what_to_measure_and_how_it_was_printed(small):
    from winchsim.inputs import Stage

    printed = Stage(pinion=12, gear=60, module=0.001, width=0.01, material="PETG", walls=4, infill=0.4, repeat=3)
    ladder = plan_ladder(small(stage=printed, load=Load(mass=2.0, height=0.1)), rungs=1)
    (line,) = ladder.prints
    for part in ("12:60", "3 pairs", "PETG", "4 walls", "40 % infill", "0.45 mm lines", "lying", "10 mm wide"):
        assert part in line
    assert any("on a scale" in text for text in ladder.measure_first)
    assert any(text.startswith("stage.1.friction: assumed") for text in ladder.measure_first)


def test_the_snag_of_a_scenario_is_not_planned_for(small):
    ladder = plan_ladder(small(load={"snag_height": 0.05}), rungs=1)
    assert ladder.rungs[-1].up and any(f.kind is FindingKind.SNAGGED for f in ladder.findings)


def test_a_load_that_coasts_past_the_mark_is_a_caution(small, make_motor):
    heavy = make_motor(4.0, 0.005, idle_current=0.005, count=2, rotor_inertia=3e-6)
    free = dataclasses.replace(small().stage[0], efficiency=0.98, repeat=2, shaft_drag=0.0)
    ladder = plan_ladder(small(motors=heavy, stage=free, load={"mass": 1.0, "height": 0.5}), rungs=1)
    assert ladder.rungs[-1].coast > 0.01
    assert any("past the mark" in f.sentence for f in ladder.findings)
