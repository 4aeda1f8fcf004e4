"""The ladder of test loads: rungs, limits, waits, and how each load comes down."""

import dataclasses

import numpy as np
import pytest
from calibrating import foreseen
from shipped import FOLDER

from winchsim import assess
from winchsim.assessment.kinds import CheckKey, End, FindingKind, Holding, Status
from winchsim.errors import DomainError
from winchsim.inputs import Pawl, Phase, with_value
from winchsim.model import Event, build
from winchsim.scenario.read import read
from winchsim.simulation import simulate
from winchsim.slow import lift_all
from winchsim.studies.calibrate import Kind, LiftTest
from winchsim.studies.ladder import (
    STOP_AT,
    STOP_UNLOADED,
    Descent,
    Lowering,
    lowered,
    plan_ladder,
)


@pytest.fixture(scope="module")
def ladder(small):
    return plan_ladder(small(title="Small winch"))


def test_from_an_unloaded_run_to_the_target(ladder):
    masses = [rung.mass for rung in ladder.rungs]
    assert masses[0] == 0 and masses[-1] == 8.0 and masses == sorted(masses)
    assert [rung.number for rung in ladder.rungs] == [1, 2, 3, 4, 5, 6]
    assert all(float(f"{mass:.2g}") == mass for mass in masses)  # what people can weigh
    assert ladder.status is Status.THIN and ladder.exit_code == 0 and ladder.failing is None, (
        "held by friction"
    )


def test_the_unloaded_run_measures_drag(ladder, small):
    first = ladder.rungs[0]
    idle = lift_all(small(), {"load.mass": [1e-6]})
    assert first.lift_time == pytest.approx(idle.lift_time[0], rel=1e-3)
    assert first.current == pytest.approx(idle.last_current[0], rel=1e-2)
    assert first.assessment is None and first.lowering is None
    assert first.stop_time == pytest.approx(STOP_UNLOADED * first.lift_time)


@pytest.mark.parametrize(
    ("parts", "end"),
    [
        ({}, End.REACHED),
        ({"supply": {"voltage": 0.3}}, End.STALLED),
        ({"supply": {"kind": "battery", "capacity": 0.3}}, End.BATTERY_EMPTY),
        (
            {"drum": {"width": 0.01, "flange_diameter": 0.016}, "load": {"height": 0.5}},
            End.DRUM_OVERFLOW,
        ),
        ({"load": {"top_stop": 0.05}}, End.TOP_STOP),
        ({"phase": Phase(action="raise", until="top", time=1.0)}, End.LATE),
    ],
)
def test_what_keeps_the_unloaded_drum_from_winding_keeps_the_target_down(small, parts, end):
    ladder = plan_ladder(small(**parts), rungs=1)
    first, last = ladder.rungs
    assert (first.lift_time is None) is (first.status is Status.FAILS) is (end is not End.REACHED)
    assert last.assessment.target.end is end and ladder.exit_code == (end is not End.REACHED)


def test_rungs_climb_in_time_current_and_stop_before_much_more(ladder):
    for name in ("lift_time", "current", "winding_end"):
        values = [getattr(rung, name) for rung in ladder.rungs]
        assert values == sorted(values), name
    for rung in ladder.rungs[1:]:
        assert (rung.stop_time, rung.stop_current) == pytest.approx(
            (STOP_AT * rung.lift_time, STOP_AT * rung.current)
        )
        assert rung.voltage == pytest.approx(6.0 - 0.2 * rung.current, rel=1e-3)
        assert 0 < rung.cut <= 3.0
        assert rung.assessment.drop_energy == pytest.approx(rung.mass * 9.80665 * 0.1)


def test_each_rung_is_the_assessment_of_a_full_run(small):
    """The same status, checks and exit code as the lift of that load."""
    inputs = small()
    rungs = plan_ladder(inputs, rungs=2).rungs[1:]
    assert len(rungs) == 2
    for rung in rungs:
        own = assess(simulate(with_value(inputs, "load.mass", rung.mass)), actions=False)
        assert [check.key for check in rung.assessment.checks] == [
            check.key for check in own.checks
        ]
        assert (rung.status, rung.exit_code, rung.assessment.held) == (
            own.status,
            own.exit_code,
            own.held,
        )
        assert rung.assessment.parts[0].factor == pytest.approx(own.parts[0].factor, rel=0.02)


def test_the_power_goes_off_within_a_third_of_what_the_windings_bear(small, make_motor):
    """As the full run of a load that cannot be moved shows it: the resistance grows as they warm,
    and the current falls."""
    light = {
        "winding_heat_capacity": 0.3,
        "case_heat_capacity": 6.0,
        "winding_to_case": 40.0,
        "case_to_ambient": 40.0,
    }
    inputs = small(
        motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, **light),
        settings={"stall_watch": 30.0},
    )
    stuck = simulate(build(with_value(inputs, "load.mass", 80.0)))
    bears = stuck.first(Event.HOT).time - stuck.first(Event.STALLED).time
    rungs = plan_ladder(inputs, rungs=1).rungs
    assert len(rungs) == 2
    for rung in rungs:
        assert rung.cut == pytest.approx(bears / 3, rel=0.1) and rung.cut < 3.0


def test_what_a_rung_predicts_is_what_its_measurement_is_compared_with(small):
    inputs = small(drum={"width": 0.02}, load={"height": 0.8, "mass": 4.0})
    rungs = plan_ladder(inputs, rungs=3).rungs
    tests = [
        LiftTest(number=r.number, mass=r.mass or 4e-4, winding_start=r.winding_start) for r in rungs
    ]
    speed, current, voltage = (
        foreseen(inputs, tests, kind) for kind in (Kind.TIME, Kind.CURRENT, Kind.VOLTAGE)
    )
    assert lift_all(inputs, {}).layers[0] == 3
    for place, rung in enumerate(rungs):
        assert rung.lift_time == pytest.approx(0.8 / speed[place], rel=5e-3)
        assert (rung.current, rung.voltage) == pytest.approx(
            (current[place], voltage[place]), rel=2e-3
        )


def test_powered_lowering(ladder):
    light = ladder.rungs[1].lowering
    assert light.descent is Descent.POWERED and light.time > 0 and light.current > 0
    for rung in ladder.rungs[2:]:  # a heavier load needs less pushing down
        assert rung.assessment.held is Holding.FRICTION and rung.lowering.time < light.time
        assert rung.lowering.descent is not Descent.POWERED or rung.lowering.current < light.current


def test_the_wait_lets_the_windings_cool(small, make_motor):
    warm = {
        "winding_heat_capacity": 1.0,
        "case_heat_capacity": 20.0,
        "winding_to_case": 5.0,
        "case_to_ambient": 20.0,
    }
    inputs = small(
        motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, **warm), load={"height": 0.4}
    )
    ladder = plan_ladder(inputs, rungs=3)
    assert ladder.rungs[-1].rest >= 60 and ladder.rungs[1].rest == 0


def test_it_ends_at_the_first_load_that_does_not_come_up(small):
    ladder = plan_ladder(small(load={"mass": 24.0}))
    last = ladder.rungs[-1]
    assert last.lift_time is None and all(rung.lift_time is not None for rung in ladder.rungs[:-1])
    assert last.mass < 24.0 and ladder.exit_code == 1 and ladder.status is Status.FAILS
    assert last.current is None, "a lift that ends early has no steady current"
    with pytest.raises(DomainError, match="rungs is 0"):
        plan_ladder(small(), rungs=0)
    assert ladder.failing.number <= last.number and last.assessment.target.end is End.STALLED


def test_a_part_that_breaks_ends_it_too(small):
    ladder = plan_ladder(small(rope={"breaking_force": 60.0, "knot_efficiency": 1.0}))
    target = ladder.rungs[-1].assessment.target
    assert (
        target.end is End.PART_BROKE and "rope" in target.part and ladder.rungs[-1].lowering is None
    )


def test_coasting_past_the_mark_is_no_stop_that_was_hit(small):
    fast = small(
        stage=dataclasses.replace(small().stage[0], repeat=1, inertia=2e-3), load={"mass": 0.3}
    )
    last = plan_ladder(fast, rungs=1).rungs[-1]
    assert last.coast > 0.01 and not last.assessment.has(FindingKind.TOP_STOP)


def test_a_load_that_drives_its_motors_is_not_lowered_under_power(small):
    loose = dataclasses.replace(
        small().stage[0], efficiency=0.97, reverse_efficiency=0.97, shaft_drag=0.0
    )
    ladder = plan_ladder(small(stage=loose, load={"mass": 6.0}), rungs=2)
    last = ladder.rungs[-1]
    assert last.assessment.held is Holding.NONE and last.assessment.has(FindingKind.BACK_DRIVEN)
    assert last.lowering.descent in (Descent.OVERHAULS, Descent.SHORTED)
    assert ladder.failing is not None and ladder.exit_code == 1, (
        "running back is as bad as in a lift"
    )


def test_joined_leads_are_advised_only_where_they_brake(small, make_stage):
    """A descent in less than half the time of the lift is none to advise."""
    braked, fast = (
        small(stage=make_stage(ratio, 0.95, repeat=repeat), load={"mass": mass})
        for ratio, repeat, mass in ((4.0, 3, 6.0), (5.0, 2, 4.0))
    )
    assert lowered(braked, held=False)[0].descent is Descent.SHORTED
    assert lowered(fast, held=False)[0].descent is Descent.OVERHAULS


def test_a_pawl_takes_the_doubt_of_friction_away(small):
    inputs = small(
        stage=dataclasses.replace(small().stage[0], efficiency=0.84, shaft_drag=0.0),
        load={"mass": 8.0},
    )
    keys = (CheckKey.HOLD, CheckKey.HOLD_DISTURBED)
    for build_, good in ((inputs, False), (dataclasses.replace(inputs, pawl=Pawl()), True)):
        found = [
            rung.assessment.check(key)
            for rung in plan_ladder(build_, rungs=2).rungs[1:]
            for key in keys
        ]
        assert all((check.status is Status.OK) is good for check in found)


def test_a_pawl_does_not_change_how_a_load_comes_down_once_it_is_held_open(small):
    loose = dataclasses.replace(
        small().stage[0], efficiency=0.9, reverse_efficiency=0.9, shaft_drag=0.0
    )
    lowering = (Phase(action="raise", until="top"), Phase(action="lower", until="floor"))
    bare = small(stage=loose, load={"mass": 6.0}, phase=lowering)
    ways = []
    for inputs in (bare, dataclasses.replace(bare, pawl=Pawl())):
        ways.append(plan_ladder(inputs, rungs=1).rungs[-1].lowering)
    assert ways[0].descent is ways[1].descent and ways[0].time is not None
    assert ways[0].time == pytest.approx(ways[1].time, rel=0.3)


def test_a_reversal_at_full_speed_that_breaks_a_part_is_no_way_down():
    """Weak teeth bear the lift and the lowering after a pause, but not the reversal under full
    speed."""
    vent = read(str(FOLDER / "04-greenhouse-vent-strips-a-tooth.toml"), []).inputs
    light = with_value(vent, "load.mass", 2.0)
    broken, whole = (lowered(light, held=held)[0] for held in (False, True))
    assert broken.descent is Descent.BREAKS and "tooth" in broken.part and broken.time is None
    assert whole.descent is Descent.POWERED and whole.part == ""


@pytest.mark.parametrize(
    ("more", "held"), [({}, Holding.LOCKED_TRAIN), ({"pawl": Pawl()}, Holding.PAWL)]
)
def test_a_train_that_locks_is_lowered_under_power_and_a_pawl_does_not_hinder_it(small, more, held):
    locks = dataclasses.replace(small().stage[0], reverse_efficiency=-0.1)
    rung = plan_ladder(small(stage=locks, **more), rungs=1).rungs[-1]
    assert (rung.assessment.held, rung.lowering.descent) == (held, Descent.POWERED)


def test_motors_too_weak_to_lower_it_need_a_prop(small):
    inputs = small(
        stage=dataclasses.replace(small().stage[0], reverse_efficiency=-3.0),
        phase=(
            Phase(action="raise", until="top"),
            Phase(action="lower", until="floor", voltage=0.5),
        ),
    )
    assert plan_ladder(inputs, rungs=1).rungs[-1].lowering == Lowering(Descent.NOT_DOWN)


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


def test_the_snag_of_a_scenario_is_not_planned_for(small):
    assert plan_ladder(small(load={"snag_height": 0.05}), rungs=1).rungs[-1].lift_time is not None
