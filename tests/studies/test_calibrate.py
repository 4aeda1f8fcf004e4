"""Calibration of a small winch: what it finds, what it refuses, what it says it cannot tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import DomainError, InputError
from winchsim.inputs import Gearbox, Pawl, Stage, with_value
from winchsim.model import build
from winchsim.model.estimate import pull
from winchsim.physics.chain import demand
from winchsim.slow import lift_batch, vary
from winchsim.studies.calibrate import Kind, LiftTest, Side, calibrate, look_into
from winchsim.studies.calibrate.evidence import gather
from winchsim.studies.calibrate.forecast import Bench
from winchsim.studies.calibrate.knobs import knobs, turned

TRUTH = {"mesh_loss": 1.5, "drag": 2.0}


@pytest.fixture(scope="module")
def winch(small, make_stage):
    return small(stage=make_stage(5.0, 0.8, shaft_drag=1e-3, repeat=3), load={"height": 0.4})


@pytest.fixture(scope="module")
def small_tests(winch, synthetic):
    return synthetic(winch, TRUTH, noise=0.01)


@pytest.fixture(scope="module")
def calibrated(winch, small_tests):
    return calibrate(winch, [*small_tests, LiftTest(number=7, mass=8.0)])


def factors(found):
    return {row.knob.name: row.factor for row in found.parameters if row.fitted}


# --- knobs ------------------------------------------------------------------------------------------------------------


def test_knobs_at_one_leave_the_losses_as_they_are(winch):
    available, missing = knobs(winch)
    assert not missing
    before, after = build(winch), build(turned(winch, {knob.name: 1.0 for knob in available}, available))
    assert [e.forward for e in after.chain.elements] == pytest.approx([e.forward for e in before.chain.elements])
    assert [e.drag for e in after.chain.elements] == pytest.approx([e.drag for e in before.chain.elements])
    motor, same = before.groups[0].motor, after.groups[0].motor
    assert (same.resistance, same.constant) == pytest.approx((motor.resistance, motor.constant))


@pytest.mark.parametrize(("constant", "resistance"), [(1.2, 1.0), (0.8, 1.5), (1.0, 0.7)])
@pytest.mark.parametrize(
    "more", [{}, {"brush_drop": 0.4, "drag_speed_share": 0.3}, {"gearbox": Gearbox(ratio=5.0, efficiency=0.8)}]
)
def test_a_motor_turned_has_exactly_the_constant_and_resistance_asked_for(small, make_motor, constant, resistance, more):
    own = make_motor(4.0, 0.005, idle_current=0.12, **{k: v for k, v in more.items() if k != "gearbox"})
    if "gearbox" in more:
        box = more["gearbox"]
        own = replace(own, gearbox=box, no_load_speed=own.no_load_speed / box.ratio,
                      stall_torque=own.stall_torque * box.ratio * box.efficiency)  # fmt: skip
    inputs = small(motors=own)
    available, _ = knobs(inputs)
    new = build(turned(inputs, {"motor_constant": constant, "motor_resistance": resistance}, available)).groups[0]
    old = build(inputs).groups[0]
    assert new.motor.constant == pytest.approx(constant * old.motor.constant, rel=1e-12)
    assert new.motor.resistance == pytest.approx(resistance * old.motor.resistance, rel=1e-12)
    assert new.fit.no_load_current == pytest.approx(old.fit.no_load_current, rel=1e-12)


def test_motors_known_otherwise_are_written_as_a_data_sheet(small):
    label = replace(small().motors[0], known_by="label", stall_torque=None)
    available, _ = knobs(small(motors=label))
    turned_once = turned(small(motors=label), {"motor_resistance": 1.1}, available)
    assert turned_once.motors[0].known_by == "data sheet"
    before, after = build(small(motors=label)).groups[0].motor, build(turned_once).groups[0].motor
    assert after.resistance == pytest.approx(1.1 * before.resistance)
    assert after.constant == pytest.approx(before.constant)


def test_a_given_efficiency_is_turned_by_its_loss_and_a_friction_as_it_is(small, make_stage):
    inputs = small(stage=(make_stage(5.0, 0.8, repeat=3, shaft_drag=1e-4),))
    available, _ = knobs(inputs)
    assert turned(inputs, {"mesh_loss": 2.0}, available).stage[0].efficiency == pytest.approx(1 / 1.5)


def test_an_assumed_drag_of_repeated_shafts_becomes_one_that_the_motors_feel_the_same(small, make_stage):
    inputs = small(stage=(make_stage(5.0, 1.0, repeat=3, shaft_drag=None),))
    available, _ = knobs(inputs)

    def at_motors(machine):
        return sum(e.drag / np.prod([x.ratio for x in machine.chain.elements[: i]] or [1.0])
                   for i, e in enumerate(machine.chain.elements))  # fmt: skip

    torque = 2 * 0.005 * 1.5  # of the stalled motors; at each of the three shafts 0.3 % of it is the most that is usual
    added = at_motors(build(turned(inputs, {"drag": 1.0}, available))) - at_motors(build(inputs))
    assert added == pytest.approx(0.003 * 3 * torque, rel=1e-9)


def test_a_scenario_without_a_loss_says_so(small, make_stage):
    _, missing = knobs(small(stage=(make_stage(125.0, 1.0),)))
    assert "no gear stage with a loss" in missing["mesh_loss"]
    assert "leave shaft_drag out" in missing["drag"]


# --- the fit ----------------------------------------------------------------------------------------------------------


def test_noisy_tests_give_the_truth_within_their_errors(calibrated):
    found = {row.knob.name: row for row in calibrated.parameters if row.fitted}
    for name, true in TRUTH.items():
        assert abs(found[name].factor - true) < 4 * found[name].error
        assert found[name].error < 0.3 * true
    assert calibrated.scatter < 2.0 and calibrated.dof == 12 - len(found)


def test_the_calibrated_scenario_says_what_was_fitted(winch, calibrated):
    available, _ = knobs(winch)
    assert calibrated.inputs == turned(winch, factors(calibrated), available)


def test_the_next_load_is_foretold_with_an_interval(winch, calibrated, synthetic):
    row = calibrated.predictions[0]
    real = synthetic(winch, TRUTH, [8.0])[0]
    assert row.time.low < real.time < row.time.high
    assert row.current.low < real.current < row.current.high
    assert row.time.high / row.time.low < 1.3
    assert row.in_full and row.stall_chance < 1e-3


def test_an_outlier_is_named_and_changes_little(winch, small_tests, calibrated):
    spoiled = [replace(test, time=1.6 * test.time) if test.number == 3 else test for test in small_tests]
    found = calibrate(winch, spoiled)
    assert [(row.test.number, row.kind) for row in found.outliers] == [(3, Kind.TIME)]
    assert "lift time of test 3 does not belong" in found.sentence
    assert factors(found)["mesh_loss"] == pytest.approx(factors(calibrated)["mesh_loss"], rel=0.2)


def test_a_stall_bounds_what_times_alone_would_allow(winch, synthetic):
    """Light loads say little of the loss; a stall under a load that the fit would just lift says that there is more of it."""
    light = synthetic(winch, {"mesh_loss": 1.5}, [1.0, 2.0], noise=0.02, current=False)
    without = calibrate(winch, light, only=["mesh_loss"])
    loads = [LiftTest(number=9, mass=float(mass), outcome="stalled") for mass in np.arange(5.0, 20.0, 0.25)]
    margins = Bench(winch, loads, knobs(winch)[0]).foretell([factors(without)]).margin[0]
    just = max(place for place, margin in enumerate(margins) if margin > 1.08)
    told = calibrate(winch, [*light, loads[just]], only=["mesh_loss"])
    assert factors(told)["mesh_loss"] > factors(without)["mesh_loss"] + 0.02
    assert told.dof == without.dof, "what tells from one side is no measurement"


def test_a_stall_that_contradicts_the_rest_does_not_bend_the_fit(winch, small_tests, calibrated):
    found = calibrate(winch, [*small_tests, LiftTest(number=9, mass=5.0, outcome="stalled")])
    assert factors(found)["mesh_loss"] == pytest.approx(factors(calibrated)["mesh_loss"], rel=0.05)
    assert [row.agrees for row in found.sides if row.side is Side.STALLED] == [False]


def test_holding_and_running_back_are_evidence(winch, small_tests):
    held = [replace(small_tests[0], held=True), replace(small_tests[5], held=False), *small_tests[1:5]]
    found = calibrate(winch, held)
    assert {(row.test.number, row.side, row.agrees) for row in found.sides} == {
        (1, Side.HELD, True), (6, Side.RAN_BACK, found.sides[1].share < 0)
    }  # fmt: skip


def test_a_load_that_ran_back_is_believed_against_the_model(winch, small_tests):
    """The answer says so, and no load as heavy is said to hold; a lighter one still is."""
    light, heavy = small_tests[0].mass / 2, small_tests[5].mass * 1.1
    seen = [*small_tests[1:], replace(small_tests[0], held=False)]
    to_come = [LiftTest(number=7, mass=light), LiftTest(number=8, mass=heavy)]
    found = calibrate(winch, [*seen, *to_come])
    assert [row.side for row in found.against] == [Side.RAN_BACK]
    assert "But test 1 ran back, and the calibrated model says otherwise" in found.sentence
    assert [row.holds for row in found.predictions] == [True, False]
    assert [row.holds for row in calibrate(winch, [*small_tests, *to_come]).predictions] == [True, True]


@pytest.mark.parametrize("load", [{}, {"guide_friction": 8.0}])
def test_what_holds_a_load_is_measured_by_that_load_whatever_else_was_tested(winch, load):
    """A run without a load among the tests: the share is that of the machine with this load, from its own chain."""
    guided = replace(winch, load=replace(winch.load, **load))
    machine = build(guided)
    bench = Bench(guided, (LiftTest(number=1, mass=0.001), LiftTest(number=2, mass=winch.load.mass)), knobs(guided)[0])
    spare = lift_batch(vary(guided, {"load.mass": np.array([winch.load.mass])}).batches[0][1]).hold_margin[0]
    raising = demand(machine.chain, 1)(pull(machine, machine.start_travel) * machine.layers[0].radius)
    assert bench.foretell([{}]).hold[0, 1] == pytest.approx(spare / raising, rel=1e-6)
    assert abs(spare / raising) > 0.01


def test_loads_that_ran_back_lower_a_friction_that_would_have_held_them(winch, synthetic):
    """Beside an unloaded run too."""
    tests = (LiftTest(number=1, mass=0.001, time=3.0), LiftTest(number=2, mass=8.0, held=False))
    bench = Bench(winch, tests, knobs(winch)[0])
    hold = bench.foretell([{"mesh_loss": 0.5}, {"mesh_loss": 1.0}, {"mesh_loss": 1.5}]).hold[:, 1]
    assert np.all(np.diff(hold) > 0.02)


def test_a_current_read_while_stalled_tells_the_resistance(winch, synthetic):
    truth = {"motor_resistance": 1.2}
    tests = synthetic(winch, truth, noise=0.005)
    available, _ = knobs(winch)
    bench = Bench(turned(winch, truth, available), [LiftTest(number=9, mass=40.0)], ())
    stalled = bench.foretell([{}]).standstill_current[0, 0]
    rows = [LiftTest(number=n, mass=40.0, outcome="stalled", current=float(stalled)) for n in range(9, 13)]
    found = calibrate(winch, [*tests, *rows], only=["motor_resistance"])
    assert factors(found)["motor_resistance"] == pytest.approx(1.2, rel=0.02)


def test_tests_at_other_voltages_and_heights_are_foretold_as_such(winch, synthetic):
    tests = synthetic(winch, TRUTH, [2.0, 4.0, 6.0], voltages=[5.0, 6.0, 7.0])
    found = calibrate(winch, tests, only=["mesh_loss", "drag"])
    assert factors(found) == pytest.approx(TRUTH, rel=0.02)


def test_a_losing_motor_is_told_from_losing_gears_by_the_current(winch, synthetic):
    """A weaker magnet draws more current and runs faster unloaded; gear loss only slows it down."""
    tests = synthetic(winch, {"motor_constant": 0.9}, noise=0.003, voltage=True)
    found = calibrate(winch, tests)
    assert factors(found)["motor_constant"] == pytest.approx(0.9, rel=0.02)


# --- what is refused, and what is said ----------------------------------------------------------------------------------


def test_nothing_measured_is_refused(winch):
    with pytest.raises(InputError, match="nothing to fit"):
        calibrate(winch, [LiftTest(number=1, mass=3.0), LiftTest(number=2, mass=5.0, held=True)])


def test_more_numbers_than_measurements_are_refused(winch, synthetic):
    with pytest.raises(InputError, match="1 measurement cannot tell 2 numbers"):
        calibrate(winch, synthetic(winch, {}, [4.0], current=False), only=["mesh_loss", "drag"])


def test_numbers_that_the_tests_cannot_tell_apart_are_refused_when_asked_for(winch, synthetic):
    same = synthetic(winch, {}, [5.0, 5.0, 5.0], current=False)
    with pytest.raises(InputError, match=r"cannot tell .* apart") as caught:
        calibrate(winch, same, only=["mesh_loss", "drag"])
    assert caught.value.faults[0].hint == "time a clearly lighter or heavier load as well"


def test_one_load_gives_one_number_and_says_what_it_stands_for(winch, synthetic):
    found = calibrate(winch, synthetic(winch, {"mesh_loss": 1.3}, [7.0, 7.0, 7.0], noise=0.01, current=False))
    assert set(factors(found)) == {"mesh_loss"}
    said = " ".join(found.sentences)
    assert "cannot tell the constant drag of the shafts from the loss in the gear meshes" in said
    assert found.predictions == ()


def test_an_interval_is_wider_where_the_tests_leave_something_open(winch, synthetic, calibrated):
    """One load only: for another load, drag and loss cannot be told apart, and the interval owns up to it."""
    same = synthetic(winch, TRUTH, [5.0] * 6, noise=0.01, current=False)
    found = calibrate(winch, [*same, LiftTest(number=9, mass=8.0)], only=["mesh_loss"])
    row, known = found.predictions[0], calibrated.predictions[0]
    assert row.time.untold > 0.3
    assert row.time.high - row.time.low > 2 * (known.time.high - known.time.low)


def test_names_of_knobs_are_checked(winch, small_tests, small, make_stage):
    with pytest.raises(DomainError, match="mesh_loss, drag"):
        calibrate(winch, small_tests, only=["grease"])
    with pytest.raises(InputError, match="leave shaft_drag out"):
        calibrate(small(stage=(make_stage(125.0, 0.5),)), small_tests, only=["drag"])
    with pytest.raises(DomainError, match="level"):
        calibrate(winch, small_tests, level=1.5)


def test_a_test_that_the_scenario_cannot_have_seen_is_refused(winch, small_tests):
    with pytest.raises(InputError, match="Test 9"):
        calibrate(with_value(winch, "load.top_stop", 0.45), [*small_tests, replace(small_tests[0], number=9, height=0.5)])


def test_an_interrupted_full_run_leaves_a_partial_result(winch, small_tests):
    def stop(done, total):
        if done == 2:
            raise KeyboardInterrupt

    found = calibrate(winch, small_tests, on_progress=stop)
    assert not found.complete
    assert factors(found)["mesh_loss"] == pytest.approx(1.5, rel=0.3)


def test_sorting_the_evidence():
    tests = [
        LiftTest(number=1, mass=1.0, time=3.0),
        LiftTest(number=2, mass=1.0, time=3.0, outcome="stalled"),
        LiftTest(number=3, mass=1.0, outcome="lifted", held=False),
        LiftTest(number=4, mass=1.0, time=3.0, outcome="broke", broke_link="rope"),
        LiftTest(number=5, mass=1.0),
        LiftTest(number=6, mass=1.0, time=2.0, outcome="stopped"),
    ]
    found = gather(tests)
    assert [(m.test, m.kind, m.value) for m in found.measurements] == [(0, Kind.TIME, 3.0)]
    assert [(s.test, s.side) for s in found.sides] == [(1, Side.STALLED), (2, Side.LIFTED), (2, Side.RAN_BACK)]
    assert [t.number for t in found.next_rungs] == [5] and [t.number for t in found.broken] == [4]
    assert [r.split(":")[0] for r in found.remarks] == [
        "Test 2 (1 kg) stalled", "Test 4 (1 kg) broke something", "Test 6 (1 kg) was stopped",
    ]  # fmt: skip


def test_what_a_pawl_held_tells_nothing_of_friction(winch, small_tests):
    pawled = replace(winch, pawl=Pawl())
    held = [*(replace(test, held=True) for test in small_tests), LiftTest(number=7, mass=40.0)]
    found, plain = calibrate(pawled, held), calibrate(winch, small_tests)
    assert not found.sides and any(sentence.startswith("The scenario has a pawl") for sentence in found.sentences)
    assert factors(found) == pytest.approx(factors(plain))
    assert [row.holds for row in found.predictions] == [True]
    assert [row.holds for row in calibrate(winch, held).predictions] == [False]


# --- breakages --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def geared(small):
    first = Stage(pinion=12, gear=60, module=1e-3, width=8e-3, material="PETG", friction=0.2, shaft_drag=2e-4)
    return small(stage=(first, replace(first, repeat=2, walls=3, infill=0.3)), load={"mass": 6.0})


@pytest.mark.parametrize(("words", "where", "kind"), [
    ("stage 2", "stage.2", "tooth_pinion"), ("gear of stage 1", "stage.1", "tooth_gear"), ("Rope", "rope", "rope_knot"),
    ("rope fixing on the drum", "drum", "rope_anchor"), ("stage.2 pinion teeth", "stage.2", "tooth_pinion"),
])  # fmt: skip
def test_what_broke_is_understood(geared, words, where, kind):
    found = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link=words))
    assert (found.broke.link.where, found.broke.link.kind.value) == (where, kind)


def test_a_breakage_bounds_the_strength_from_both_sides(geared):
    tests = [LiftTest(number=1, mass=3.0, time=5.0), LiftTest(number=2, mass=6.0, outcome="broke", broke_link="stage 2")]
    found = look_into(geared, tests[1], tests)
    assert found.survived_mass == 3.0
    assert found.survived / found.implied == pytest.approx(0.5, abs=0.06)
    estimate = found.broke.link.strength.value
    assert found.share_of_estimate == pytest.approx(found.implied / estimate)
    put_in = with_value(geared, found.set_path, found.set_value)
    links = [k for k in build(put_in).links if k.where == "stage.2" and k.kind.value == "tooth_pinion"]
    assert links[0].strength.value == pytest.approx(found.implied, rel=1e-6)


def test_the_next_link_is_the_weakest_of_the_others(geared):
    found = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link="rope"))
    assert found.next.link.where == "stage.2" and found.next.factor > 0
    other = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link="stage 2"))
    assert other.next.link.where == "stage.2", "the same part one shaft before is as strong as the one that broke"
    assert other.next.factor == pytest.approx(5 * 0.9, rel=0.15)


def test_a_breakage_of_nothing_known_is_refused(geared):
    with pytest.raises(InputError, match="not a link of this scenario") as caught:
        look_into(geared, LiftTest(number=4, mass=6.0, outcome="broke", broke_link="stage 7"))
    assert "stage 1" in caught.value.faults[0].expected
    with pytest.raises(InputError, match="what broke"):
        look_into(geared, LiftTest(number=4, mass=6.0, outcome="broke"))


def test_a_breakage_of_nothing_known_does_not_stop_a_calibration(winch, small_tests):
    found = calibrate(
        winch, [*small_tests[:3], LiftTest(number=9, mass=6.0, outcome="broke", broke_link="the bench")], only=["drag"]
    )
    assert not found.broken
    assert any("Test 9 (6 kg) broke, but not a link of this scenario; one of: rope" in sentence for sentence in found.sentences)
