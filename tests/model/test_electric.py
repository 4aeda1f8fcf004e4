"""Supply and motors in whole lifts: limits, batteries, several groups, dead motors, brush drop,
gearboxes."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Controller, Gearbox, MotorGroup, Phase, Stage
from winchsim.model import Event, build
from winchsim.physics.supply import Regime
from winchsim.slow import lift_machine

UP = Phase(action="raise", until="top")


def supply_events(record):
    return [e.target.value for e in record.events if e.event is Event.SUPPLY]


# --- a supply that limits its current


def test_a_current_limit_limits_the_start_then_holds_voltage(lift):
    record = lift(supply={"current_limit": 1.9})
    assert supply_events(record) == ["holding voltage"]
    early = record.time < record.first(Event.SUPPLY).time
    assert record["current"][early] == pytest.approx(1.9)
    assert record["current"].max() <= 1.9 + 1e-9
    assert np.all(record["voltage"][early] <= 6.0 - 0.2 * 1.9 + 1e-9)
    assert record.energy.spent["supply limiter"] > 0


def test_too_low_a_current_limit_stalls_the_lift(lift, story):
    record = lift(supply={"current_limit": 1.0})
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.DRUM_STOPS, Event.STALLED]
    assert record["height"].max() == 0.0
    assert record["motor_1_torque"].max() == pytest.approx(0.5 * 0.005, rel=1e-9)


# --- a speed controller between supply and motors, and supplies that do not hold their limit


def test_half_the_duty_is_half_the_voltage(lift):
    halved = lift(supply={"resistance": 0.0, "voltage": 12.0, "controller": Controller(duty=0.5)})
    plain = lift(supply={"resistance": 0.0})
    assert (halved.first(Event.TOP).time, halved.machine.scales.drum_speed) == pytest.approx(
        (plain.first(Event.TOP).time, plain.machine.scales.drum_speed), rel=1e-4
    )
    raising = (halved.phase == 0) & (halved.time > 0.1)
    assert halved["current"][raising] == pytest.approx(
        halved["motor_1_current"][raising], rel=1e-6
    )  # half of both


def test_a_limit_at_the_battery_lets_a_stalled_motor_take_more(lift):
    heavy = {"load": {"mass": 30.0}, "settings": {"watch": 0.0, "stall_watch": 1.0}}
    reached = {}
    for side in ("motor", "battery"):
        controller = Controller(limit=0.8, limit_side=side)
        record = lift(**heavy, supply={"resistance": 0.0, "controller": controller})
        stalled = (record.phase == 0) & (record.time > record.first(Event.STALLED).time)
        reached[side] = 2 * record["motor_1_current"][stalled].max()
    assert reached["motor"] == pytest.approx(0.8)
    assert reached["battery"] == pytest.approx(
        (6.0 * 0.8 / 2.0) ** 0.5, rel=1e-6
    )  # two of 4 ohm take 4.8 W


def test_slow_and_full_model_agree(lift, small):
    folding = {"current_limit": 2.2, "over_current": "foldback"}
    for supply in (
        {"controller": Controller(duty=0.8)},
        {"controller": Controller(limit=1.2, limit_side="battery")},
        {**folding, "fold_current": 1.5},
        {**folding, "fold_current": 1.5, "controller": Controller(duty=0.9)},
    ):
        found = lift_machine(build(small(supply=supply)))
        record = lift(supply=supply)
        assert found["lift_time"] == pytest.approx(record.first(Event.TOP).time, rel=5e-3)


def test_a_supply_that_trips_switches_off_after_its_delay(lift):
    record = lift(supply={"current_limit": 1.0, "over_current": "trip"})
    assert supply_events(record)[-1] == Regime.TRIPPED.value
    tripped = [e for e in record.events if e.event is Event.SUPPLY][-1]
    assert tripped.time == pytest.approx(0.1)  # the delay that is assumed
    assert np.all(record["current"][record.time > tripped.time] == 0.0)
    brief = lift(supply={"current_limit": 1.9, "over_current": "trip", "trip_delay": 1.0})
    assert brief.first(Event.TOP) is not None, "an inrush shorter than the delay is let through"


def test_a_supply_that_folds_back_latches_at_a_stall(lift):
    hanging = {"load": {"start_height": 0.05}}
    held = lift(**hanging, supply={"current_limit": 2.4})
    folded = lift(
        **hanging,
        supply={"current_limit": 2.4, "over_current": "foldback", "fold_current": 0.1},
    )
    assert held.first(Event.TOP) is not None
    assert folded.first(Event.TOP) is None and folded.first(Event.STALLED) is not None
    running = np.median(held["current"][held.phase == 0])
    assert running < 2.3, "running it would need less than the limit"


# --- a battery of a given charge


def test_a_battery_runs_empty_midway(lift, story):
    record = lift(supply={"kind": "battery", "capacity": 3.0})
    assert story(record)[:4] == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.EMPTY, Event.DRUM_STOPS]
    empty = record.first(Event.EMPTY)
    assert np.interp(empty.time, record.time, record["charge"]) == pytest.approx(3.0, rel=1e-6)
    assert np.all(record["current"][record.time > empty.time] == 0.0)
    assert record["charge"].max() == pytest.approx(3.0, rel=1e-6)
    assert record.first(Event.TOP) is None


def test_charge_is_the_integral_of_the_current(lift):
    record = lift(supply={"kind": "battery", "capacity": 1e4})
    assert record.first(Event.EMPTY) is None
    t, current = record.time, record["current"]
    assert record["charge"][-1] == pytest.approx(np.trapezoid(current, t), rel=2e-3)


def test_bench_supply_takes_nothing_back(lift, make_motor, make_stage):
    """An overhauling load drives the motors faster than the supply would: the current stops at
    zero."""
    record = lift(
        stage=make_stage(4.0, 0.98, repeat=3),
        motors=make_motor(1.0, 0.01, count=1),
        load={"mass": 6.0},
        phase=(UP, Phase(action="lower", until="floor")),
    )
    assert supply_events(record)[-1] == "taking nothing back"
    down = (record.phase == 1) & (record.time > record.events[-3].time)
    assert np.abs(record["current"][down]).max() < 1e-6
    assert (
        np.abs(record["voltage"][down]).max() > 6.0
    )  # the motors' own e.m.f. is above the supply's voltage


# --- groups of unlike motors on the common gear


@pytest.fixture
def two(make_motor):
    def make(**more):
        return (
            make_motor(4.0, 0.005, idle_current=0.12, **more),
            make_motor(5.0, 0.006, idle_current=0.1, **more),
        )

    return make


def test_unlike_motors_share_the_load(lift, story, two):
    record = lift(motors=two())
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    assert record["motor_1_speed"] == pytest.approx(record["motor_2_speed"])
    total = record["motor_1_current"] + record["motor_2_current"]
    assert record["current"] == pytest.approx(total, abs=1e-9)
    powered = record.phase == 0
    for i, (r, k) in enumerate(((4.0, 0.005), (5.0, 0.006)), start=1):
        drawn = (record["voltage"] - k * record[f"motor_{i}_speed"]) / r
        assert record[f"motor_{i}_current"][powered] == pytest.approx(drawn[powered], rel=1e-6)


def test_an_open_lead_lets_unlike_motors_exchange_current(lift, two):
    """Joined in parallel with the lead open, unlike motors drive each other as they coast;
    opened at each, not."""
    joined = lift(motors=two())
    apart = lift(motors=two(), supply={"off": "each motor"})
    for record, flows in ((joined, True), (apart, False)):
        coasting = (record.phase == 1) & (record["drum_speed"] > 0)
        assert np.all(record["current"][coasting] == 0.0)
        assert bool(np.abs(record["motor_1_current"][coasting]).max() > 1e-3) is flows


def test_unlike_motors_run_back_with_joined_terminals(lift, story, two, sliding):
    record = lift(
        **sliding, motors=two(), phase=(UP, Phase(action="short", until="floor", time=30.0))
    )
    assert story(record)[-2:] == [Event.RUNS_BACK, Event.LANDED]
    assert record["motor_1_current"][-1] > 0 and record["motor_2_current"][-1] > 0
    assert record["current"][-1] == 0.0


def test_a_pinion_of_its_own_changes_its_ratio(lift, make_motor):
    spur = Stage(
        pinion=12,
        gear=60,
        module=1e-3,
        width=8e-3,
        efficiency=0.9,
        shaft_drag=2e-4,
        tooth_strength=1e9,
    )
    stages = (spur, Stage(kind="other", ratio=25.0, efficiency=0.8, shaft_drag=2e-4))
    motors = (
        make_motor(4.0, 0.005, idle_current=0.12),
        make_motor(4.0, 0.005, idle_current=0.12, pinion=15),
    )
    record = lift(motors=motors, stage=stages)
    assert record.machine.groups[0].ratio == pytest.approx(125.0)
    assert record.machine.groups[1].ratio == pytest.approx(100.0)
    assert record["motor_1_speed"] == pytest.approx(1.25 * record["motor_2_speed"])
    assert record.first(Event.TOP) is not None


# --- motors that only drag


def test_slower_with_one_dead_of_three(lift, make_motor):
    whole, hurt = (
        lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=3)),
        lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=3, dead=1)),
    )
    two = lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2))
    tops = [r.first(Event.TOP).time for r in (whole, two, hurt)]
    assert tops[0] < tops[1] < tops[2]  # the dead one drags besides
    assert hurt.machine.dragged[0].count == 1 and hurt.machine.groups[0].count == 2
    assert hurt["current"] == pytest.approx(2 * hurt["motor_1_current"], abs=1e-9)


def test_drag_of_dead_motors_helps_to_hold(lift, make_motor, sliding):
    drag = {"idle_current": 0.45}
    one = lift(**sliding, motors=make_motor(4.0, 0.005, idle_current=0.12, count=2))
    assert one.first(Event.RUNS_BACK) is not None
    more = lift(
        **sliding,
        motors=make_motor(4.0, 0.005, count=4, dead=2, **drag),
        supply={"voltage": 9.0},
    )
    assert more.first(Event.TOP) is not None and more.first(Event.RUNS_BACK) is None


# --- through every regime of the supply


PHASES = (
    UP,
    Phase(action="off", until="time", time=0.05),
    Phase(action="short", until="time", time=0.3),
    Phase(action="raise", until="time", time=0.5),
    Phase(action="lower", until="floor"),
)


def test_a_programme_through_all_regimes(lift, make_motor, sliding):
    motors = make_motor(4.0, 0.005, idle_current=0.12, count=2)
    record = lift(**sliding, motors=motors, supply={"current_limit": 1.9}, phase=PHASES)
    assert {"holding voltage", "taking nothing back"} <= set(supply_events(record))
    assert np.abs(record["current"]).max() == pytest.approx(1.9)
    assert record.events[-2].event is Event.LANDED
    assert record["motor_1_current"][record.phase == 1] == pytest.approx(0.0, abs=1e-12)
    shorted = record.phase == 2
    assert np.all(record["voltage"][shorted] == 0.0)
    assert record["motor_1_current"][shorted][-1] > 0.05  # it brakes the descent


# --- voltage lost at the brushes


def test_brush_drop_slows_the_lift(lift, make_motor):
    plain = lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2))
    record = lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, brush_drop=0.5))
    assert record.first(Event.TOP).time > plain.first(Event.TOP).time
    assert record.energy.spent["brushes"] == pytest.approx(0.5 * record["charge"][-1], rel=1e-3)


def test_a_slow_descent_makes_no_current_against_brush_drop(lift, make_motor, sliding):
    """Terminals joined, motors dragged so slowly that their e.m.f. stays below the brush drop:
    nothing brakes."""
    motors = make_motor(
        4.0, 0.005, idle_current=0.30, count=2, brush_drop=1.0, drag_speed_share=0.2
    )
    record = lift(
        **{**sliding, "load": {"mass": 8.0, "height": 0.1}},
        motors=motors,
        supply={"voltage": 9.0},
        phase=(UP, Phase(action="short", until="floor", time=60.0)),
    )
    down = (record.phase == 1) & (record["drum_speed"] < 0)
    assert down.any()
    idle = 0.005 * np.abs(record["motor_1_speed"][down]) < 1.0
    assert idle.any()
    assert np.all(record["motor_1_current"][down][idle] == 0.0)


def test_drag_that_grows_with_speed(lift, make_motor):
    """The same no-load current, half of it growing with speed: less drag when loaded, so a quicker
    lift that holds less."""
    constant = lift()
    growing = lift(motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, drag_speed_share=0.5))
    assert growing.first(Event.TOP).time < constant.first(Event.TOP).time
    assert constant.first(Event.RUNS_BACK) is None
    assert growing.first(Event.RUNS_BACK) is not None


# --- motors bought with a gearbox: their data hold at its output


GEARMOTOR = {
    "voltage": 6.0,
    "no_load_speed": 30.0,
    "no_load_current": 0.1,
    "stall_torque": 0.2527,
    "stall_current": 2.0,
}


def test_data_at_the_output_of_a_gearmotor_come_back(lift, make_stage):
    group = MotorGroup(
        **GEARMOTOR, gearbox=Gearbox(ratio=40.0, efficiency=0.7), winding_heat_capacity=1e6
    )
    record = lift(
        motors=group,
        stage=make_stage(3.0, 0.95),
        load={"mass": 5.0},
        supply={"resistance": 0.0},
    )
    assert record.machine.groups[0].ratio == pytest.approx(120.0)
    top = record.first(Event.TOP)
    # Torque at the output: what the stage passes on; speed on the line between no load and
    # stall.
    torque = 5 * 9.80665 * 0.006 / 3 / 0.95
    speed = np.median(record["drum_speed"][record.phase == 0]) * 3
    assert speed == pytest.approx(30.0 * (1 - torque / 0.2527), rel=0.01)
    assert top is not None


def test_several_gearmotors_on_the_drum_itself(lift):
    group = MotorGroup(**GEARMOTOR, count=2, gearbox=Gearbox(ratio=40.0, efficiency=0.7))
    record = lift(motors=group, stage=(), load={"mass": 5.0})
    assert record.first(Event.TOP) is not None
    assert record.machine.groups[0].ratio == pytest.approx(40.0)
    assert record.energy.spent["motor and gearbox"] > 0


@pytest.mark.parametrize(("reverse", "holds"), [(-0.5, True), (None, False)])
def test_a_gearbox_holds_because_it_is_known_to_lock_not_because_it_is_lossy(
    lift, make_stage, reverse, holds
):
    data = {**GEARMOTOR, "stall_torque": 0.144}
    record = lift(
        motors=MotorGroup(**data, gearbox=Gearbox(ratio=40.0, reverse_efficiency=reverse)),
        stage=make_stage(3.0, 0.98),
        load={"mass": 5.0},
    )
    assert record.first(Event.TOP) is not None
    assert (record.first(Event.RUNS_BACK) is None) is holds


# --- windings warm up, which weakens the motors


def test_hot_motors_are_slower(lift, make_motor):
    data = {"idle_current": 0.12, "count": 2}
    cold = lift(motors=make_motor(4.0, 0.005, **data))
    hot = lift(motors=make_motor(4.0, 0.005, winding_start=100.0, **data))
    assert hot.first(Event.TOP).time > 1.1 * cold.first(Event.TOP).time


def test_winding_takes_the_copper_heat(lift, make_motor):
    motors = make_motor(
        4.0,
        0.005,
        idle_current=0.12,
        count=2,
        winding_heat_capacity=2.0,
        case_heat_capacity=1e6,
        winding_to_case=1e4,
    )
    record = lift(motors=motors)
    warmed = 2 * 2.0 * (record["motor_1_winding"][-1] - 20.0)
    assert warmed == pytest.approx(record.energy.spent["copper"], rel=1e-3)
    assert record["motor_1_case"].max() < 20.01


def test_the_case_takes_the_heat_of_friction(lift, make_motor):
    """Of drag, and of what the torque loses in the motor: its case warms by that energy over
    its capacity."""
    data = make_motor(
        4.0,
        0.005,
        idle_current=0.12,
        count=2,
        winding_to_case=1e4,
        case_heat_capacity=0.5,
        case_to_ambient=1e4,
    )
    record = lift(motors=replace(data, stall_torque=0.85 * data.stall_torque))
    spent = record.energy.spent["motor drag"] + record.energy.spent["motor friction"]
    assert 2 * 0.5 * (record["motor_1_case"][-1] - 20.0) == pytest.approx(spent, rel=0.01)


def test_passing_the_limit_is_marked_once(lift, make_motor):
    motors = make_motor(
        4.0,
        0.005,
        idle_current=0.12,
        count=2,
        winding_heat_capacity=0.3,
        winding_limit=30.0,
        winding_to_case=100.0,
    )
    record = lift(motors=motors)
    hot = [e for e in record.events if e.event is Event.HOT]
    assert len(hot) == 1 and hot[0].value == 30.0
    assert np.interp(hot[0].time, record.time, record["motor_1_winding"]) == pytest.approx(
        30.0, abs=1e-4
    )
