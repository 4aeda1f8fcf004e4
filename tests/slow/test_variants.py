"""Variants put in as arrays are the variants built one by one."""

import dataclasses
from dataclasses import replace

import numpy as np
import pytest

from winchsim.assessment.margins import hardest_margins
from winchsim.errors import DomainError
from winchsim.inputs import Controller, Phase, Stage, with_value
from winchsim.model import build, steady_speed
from winchsim.slow import SlowEnd, lift_all, lift_machine, vary, vary_each
from winchsim.slow.stacking import shape_of


def assert_same(found: np.record, expected: dict) -> None:
    for name, value in expected.items():
        if np.asarray(value).dtype.kind in "Oib" or isinstance(value, str):
            assert np.array_equal(found[name], value), name
        else:
            np.testing.assert_allclose(found[name], value, rtol=1e-9, atol=1e-12, err_msg=name)


COLUMNS = {
    "load.mass": [2.0, 8.0, 14.0, 30.0],
    "load.guide_friction": [0.0, 3.0, 0.5, 9.0],
    "drum.diameter": [0.006, 0.010, 0.0123, 0.020],
    "motors.1.count": [1, 2, 3, 5],
    "motors.1.winding_start": [10.0, 20.0, 60.0, 90.0],
    "supply.voltage": [4.0, 6.0, 7.0, 3.0],
    "supply.resistance": [0.0, 0.2, 0.5, 1.0],
    "supply.current_limit": [1.0, 2.0, 3.0, 0.5],
    "stage.1.efficiency": [0.7, 0.8, 0.9, 0.95],
    "load.height": [0.1, 0.2, 0.3, 0.1],
    "rope.falls": [1, 2, 1, 2],
}


@pytest.fixture
def toothed(small):
    """A winch with steel teeth (their strength depends on speed), a drum rod and a cross-pin."""
    from winchsim.inputs import Stage

    steel = Stage(
        pinion=12,
        gear=48,
        module=0.001,
        width=0.008,
        material="steel",
        repeat=3,
        shaft_diameter=0.004,
    )
    return small(
        stage=steel,
        drum={"support_span": 0.06, "cross_pin_diameter": 0.002, "inertia": None},
        load={"mass": 3.0},
    )


@pytest.mark.parametrize("path", COLUMNS)
def test_one_column_is_as_if_built(small, path):
    variants = vary(small(), {path: COLUMNS[path]})
    lifts = lift_all(variants)
    for i in range(variants.size):
        assert_same(lifts[i], lift_machine(build(variants.one(i))))


def test_all_columns_together_are_as_if_built(toothed):
    columns = {**COLUMNS, "stage.1.gear": [48, 50, 60, 45]}
    del columns["stage.1.efficiency"]
    variants = vary(toothed, columns)
    lifts = lift_all(variants)
    assert not variants.problems
    for i in range(variants.size):
        assert_same(lifts[i], lift_machine(build(variants.one(i))))


def test_hanging_load_and_brake_keep_their_meaning(small):
    from winchsim.inputs import Brake

    inputs = small(load={"start_height": 0.2}, brake=Brake(torque=0.5))
    lifts = lift_all(inputs, {"load.mass": [2.0, 10.0], "motors.1.count": [2, 3]})
    for i, (mass, count) in enumerate(((2.0, 2), (10.0, 3))):
        one = with_value(with_value(inputs, "load.mass", mass), "motors.1.count", count)
        assert_same(lifts[i], lift_machine(build(one)))


SUPPLIES = [
    {"controller": Controller(duty=0.6)},
    {"controller": Controller(duty=0.9)},
    {"controller": Controller(duty=0.9, limit=1.5)},
    {"controller": Controller(limit=1.5, limit_side="battery")},
    {"current_limit": 2.5},
    {"current_limit": 2.5, "over_current": "foldback", "fold_current": 0.3},
    {"current_limit": 2.5, "over_current": "foldback", "controller": Controller(duty=0.8)},
    {"current_limit": 1.0, "over_current": "trip"},
    {"current_limit": 1.2, "over_current": "trip", "trip_delay": 0.5},
]


def test_supplies_of_every_kind_stand_beside_each_other(small):
    builds = [small(supply=supply) for supply in SUPPLIES]
    found = lift_all(vary_each([(inputs, {}) for inputs in builds]))
    for index, inputs in enumerate(builds):
        assert_same(found[index], lift_machine(build(inputs)))


@pytest.mark.parametrize("own", [None, 1.6])
def test_a_limit_of_the_phase_stands_whatever_the_supplys_is(small, own):
    inputs = small(phase=Phase(action="raise", until="top", current_limit=own))
    lifts = lift_all(inputs, {"supply.current_limit": [1.8, 2.2]})
    for i, limit in enumerate((1.8, 2.2)):
        one = with_value(inputs, "supply.current_limit", limit)
        assert_same(lifts[i], lift_machine(build(one)))


def test_several_groups_and_a_dead_motor(small, make_motor):
    groups = (
        make_motor(4.0, 0.005, idle_current=0.12, count=3, dead=1),
        make_motor(3.0, 0.006, idle_current=0.1, count=2),
    )
    variants = vary(
        small(motors=groups), {"motors.2.count": [1, 2, 4], "load.mass": [4.0, 8.0, 12.0]}
    )
    lifts = lift_all(variants)
    for i in range(3):
        assert_same(lifts[i], lift_machine(build(variants.one(i))))


def test_a_changed_structure_goes_into_a_batch_of_its_own(small):
    variants = vary(small(), {"stage.1.repeat": [2, 3, 2, 3]})
    assert sorted(len(rows) for rows, _ in variants.batches) == [2, 2]
    assert len({shape_of(build(variants.one(i))) for i in range(4)}) == 2
    lifts = lift_all(variants)
    assert lifts.lift_time[1] == lifts.lift_time[3] != lifts.lift_time[0]


def test_free_scenarios_keep_their_order(small):
    two_stages = small(stage=dataclasses.replace(small().stage[0], repeat=2))
    scenarios = [small(), two_stages, small(load={"mass": 3.0}), small(load={"drum_height": 0.01})]
    variants = vary_each([(scenario, {}) for scenario in scenarios])
    lifts = lift_all(variants)
    assert list(variants.problems) == [3] and lifts.end[3] == SlowEnd.CANNOT_BE_BUILT
    assert variants.one(2) is scenarios[2]
    for i in range(3):
        assert_same(lifts[i], lift_machine(build(scenarios[i])))


def test_what_cannot_be_built_is_said_and_left_out(small):
    inputs = small(drum={"cross_pin_diameter": 0.004})
    variants = vary(inputs, {"drum.diameter": [0.003, 0.010, -1.0]})
    assert set(variants.problems) == {0, 2}
    assert "drum.cross_pin_diameter" in variants.problems[0] and "over 0 mm" in variants.problems[2]
    lifts = lift_all(variants)
    assert [SlowEnd(e) for e in lifts.end] == [
        SlowEnd.CANNOT_BE_BUILT,
        SlowEnd.LIFTED,
        SlowEnd.CANNOT_BE_BUILT,
    ]
    assert np.isnan(lifts.lift_time[0]) and lifts.lift_time[1] > 0


def test_nothing_that_can_be_built_is_a_result_too(small):
    lifts = lift_all(small(), {"drum.diameter": [-1.0, np.nan]})
    assert lifts.end.tolist() == [SlowEnd.CANNOT_BE_BUILT] * 2
    assert not lifts.lifted.any() and len(lifts) == 2


def test_refused_columns(small):
    with pytest.raises(DomainError, match=r"load\.masss"):
        vary(small(), {"load.masss": [1.0]})
    with pytest.raises(DomainError, match="2 values"):
        vary(small(), {"load.mass": [1.0, 2.0], "drum.diameter": [0.01]})
    lowered = small(load={"start_height": 0.1}, phase=Phase(action="lower", until="floor"))
    for refused in (
        lambda: vary(lowered, {"load.mass": [1.0]}),
        lambda: vary_each([(lowered, {})]),
    ):
        with pytest.raises(DomainError, match="the load is raised"):
            refused()


def test_no_columns_are_one_variant(small):
    assert_same(lift_all(small())[0], lift_machine(build(small())))


def test_agrees_with_the_closed_form_balance(small):
    """Margins and speeds are those that the time limits and the verdict of a full run are made
    with, guide friction too."""
    variants = vary(
        small(), {"load.mass": [2.0, 8.0, 12.0], "load.guide_friction": [0.0, 5.0, 9.0]}
    )
    lifts = lift_all(variants)
    for i in range(3):
        machine = build(variants.one(i))
        assert lifts.stall_margin_cold[i] == pytest.approx(
            hardest_margins(machine).resting, rel=1e-12
        )
        assert lifts.stall_margin_hot[i] == pytest.approx(
            hardest_margins(machine, hot=True).resting, rel=1e-12
        )
        pull = machine.body.mass * 9.80665 + machine.body.friction
        speed = steady_speed(machine, pull * machine.layers[0].radius)
        assert lifts.last_speed[i] == pytest.approx(
            speed * machine.layers[0].radius, rel=2e-4
        )  # hardly warmer


def test_drums_of_a_train_with_assumed_bearings_vary_in_one_batch(small):
    """Range of the drum bearing's friction depends on the diameter: an array of them is no
    fault."""
    stages = (Stage(pinion=12, gear=48, module=0.001, width=0.01, material="steel", repeat=3),)
    inputs = small(stage=stages, load={"mass": 5.0}, drum={"bearing_efficiency": None})
    diameters = np.array([0.006, 0.012])
    several = lift_all(inputs, {"drum.diameter": diameters})
    for row, diameter in enumerate(diameters.tolist()):
        one = lift_machine(build(with_value(inputs, "drum.diameter", diameter)))
        assert several.stall_margin_cold[row] == pytest.approx(one["stall_margin_cold"], rel=1e-9)


def test_trains_without_a_brake_have_none_when_they_are_stacked(small):
    """What holds a stacked winch is what holds it alone, the swing after the stop included."""
    scenarios = [small(stage=replace(small().stage[0], efficiency=e)) for e in (0.6, 0.9)]
    variants = vary_each([(scenario, {}) for scenario in scenarios])
    (_, batch), *_ = variants.batches
    assert batch.machine.braked_chain is batch.machine.chain
    found = lift_all(variants)
    for row, scenario in enumerate(scenarios):
        assert found.holding[row] == lift_machine(build(scenario))["holding"]


def test_drums_that_differ_in_width_and_flanges_vary_in_one_batch(small):
    """Layers and what is wound of each are those of its own drum; one that is narrower than the
    rope cannot be built."""
    columns = {
        "drum.diameter": [0.008, 0.012, 0.008, 0.010],
        "drum.width": [0.02, 0.01, 0.006, 0.0001],
        "drum.flange_diameter": [0.05, 0.05, 0.02, 0.05],
    }
    variants = vary(small(drum={"flange_diameter": 0.05, "bearing_efficiency": None}), columns)
    lifts = lift_all(variants)
    assert len(variants.batches) == 1 and list(variants.problems) == [3]
    assert len(set(lifts.layers[:3].tolist())) > 1
    for row in range(3):
        assert_same(lifts[row], lift_machine(build(variants.one(row))))


def test_teeth_modules_and_widths_vary_in_one_batch(toothed):
    """Losses, inertias, velocity factors and strengths of teeth, bodies and bent shafts."""
    first = replace(toothed.stage[0], repeat=1, shaft_span=0.03, width=0.008, pinion_width=0.01)
    second = replace(first, material="PLA", walls=3, infill=0.4, shaft_span=None)
    motors = (*toothed.motors, replace(toothed.motors[0], no_load_speed=900.0))
    winch = replace(toothed, stage=(first, second, second), motors=motors)
    columns = {
        "stage.1.pinion": [12, 16, 20, 12],
        "stage.1.module": [0.001, 0.0008, 0.002, 0.001],
        "stage.2.pinion": [14, 12, 12, 30],
        "stage.2.gear": [40, 60, 44, 31],
        "stage.3.width": [0.01, 0.02, 0.005, 0.008],
        "stage.3.pinion_width": [0.012, 0.008, 0.03, 0.004],
        "stage.2.material": ["PLA", "steel", "PETG", "steel"],
        "stage.3.pinion_material": ["steel", "steel", "PLA", "ABS"],
        "motors.1.count": [1, 3, 2, 1],
        "drum.diameter": [0.008, 0.008, 0.012, 0.01],
    }
    variants = vary(winch, columns)
    lifts = lift_all(variants)
    assert len(variants.batches) == 1
    for i in range(variants.size):
        assert_same(lifts[i], lift_machine(build(variants.one(i))))


def test_of_teeth_only_those_that_cannot_be_made_are_left_out(toothed):
    winch = replace(toothed, stage=(replace(toothed.stage[0], repeat=1),))
    columns = {
        "stage.1.gear": [48, 12, 60, 20, 72],
        "stage.1.module": [1e-3, 3e-4, 1e-3, 1e-4, 1e-3],
    }
    variants = vary(winch, columns)
    assert set(variants.problems) == {1, 3} and "bore" in variants.problems[1]
    assert (lift_all(variants).end == SlowEnd.CANNOT_BE_BUILT).tolist() == [
        False,
        True,
        False,
        True,
        False,
    ]


def test_a_printed_gear_among_cut_ones_has_its_body(toothed):
    """Its body is a part that the others have not."""
    winch = replace(toothed, stage=(replace(toothed.stage[0], repeat=1, walls=2, infill=0.1),))
    variants = vary(winch, {"stage.1.material": ["steel", "PLA"], "load.mass": [0.3, 0.3]})
    lifts = lift_all(variants)
    for i in range(2):
        assert_same(lifts[i], lift_machine(build(variants.one(i))))
