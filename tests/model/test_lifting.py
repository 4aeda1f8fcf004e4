"""Lifting, stalling, holding and running back: what happens in which order, and where it ends."""

import numpy as np
import pytest

from winchsim.inputs import Phase
from winchsim.model import Event, steady_speed


def test_lifts_and_holds(lift, story):
    record = lift()
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    after = record.time > record.first(Event.DRUM_STOPS).time
    assert np.all(record["drum_speed"][after] == 0.0) and np.ptp(record["rope_wound"][after]) == 0.0
    assert record["height"][-1] == pytest.approx(0.1, abs=5e-4)
    assert record["tension"][-1] == pytest.approx(8 * 9.80665, rel=2e-3)
    assert record["current"][-1] == 0.0
    machine = record.machine
    speed = steady_speed(machine, 8 * 9.80665 * machine.layers[0].radius) * machine.layers[0].radius
    assert record.first(Event.TOP).time == pytest.approx(0.1 / speed, rel=0.02)


def test_stalls_at_the_start(lift, story):
    record = lift(load={"mass": 30.0}, settings={"watch": 0.0, "stall_watch": 2.0})
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.DRUM_STOPS, Event.STALLED]
    assert record.first(Event.LIFT_OFF) is None and record["height"].max() == 0.0
    stalled = record.first(Event.STALLED)
    assert stalled.time == record.first(Event.DRUM_STOPS).time
    assert stalled.value > 0  # torque that is missing at the common gear
    powered = (record.phase == 0) & (record.time > stalled.time)
    assert record["motor_1_speed"][powered] == pytest.approx(0.0, abs=0.0)
    assert record["current"][powered].max() == pytest.approx(2 * 6 / 4.4, rel=1e-3)
    assert record.first(Event.PHASE_STARTS).target == "raise"
    off = [e.time for e in record.events if e.event is Event.PHASE_STARTS][1]
    assert off == pytest.approx(stalled.time + 2.0)


def test_fast_motors_that_hardly_stretch_their_rope_stall(lift, story):
    """All that moves is the drum, by a ten-thousandth of what the load would stretch the rope, and
    far slower than the motors turn by themselves."""
    record = lift(
        stage=(),
        load={"mass": 5000.0},
        rope={"axial_stiffness": 5e9, "breaking_force": 1e9},
        settings={"watch": 0.0, "stall_watch": 2.0},
    )
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.DRUM_STOPS, Event.STALLED]
    assert record["rope_wound"].max() < 1e-4 * record.machine.scales.stretch
    assert record.first(Event.STALLED).time < 0.1


def test_stalls_midway_as_a_new_layer_begins(lift, story):
    record = lift(load={"mass": 11.0}, drum={"width": 0.008})
    assert story(record)[:5] == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        Event.LAYER,
        Event.DRUM_STOPS,
        Event.STALLED,
    ]
    wound = np.interp(record.first(Event.LAYER).time, record.time, record["rope_wound"])
    assert wound == pytest.approx(
        2 * np.pi * 0.006
    )  # three of the layer's four turns are dead ones
    assert 0.03 < record.first(Event.STALLED).height < 0.05


def test_stalls_as_its_winding_heats(lift, story, make_motor):
    warm = make_motor(
        4.0,
        0.005,
        idle_current=0.12,
        count=2,
        winding_heat_capacity=0.5,
        case_heat_capacity=50.0,
        winding_to_case=60.0,
        winding_limit=140.0,
    )
    record = lift(motors=warm, load={"mass": 11.0, "height": 0.3}, settings={"stall_watch": 30.0})
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        Event.DRUM_STOPS,
        Event.STALLED,
        Event.HOT,
    ]
    assert 0.01 < record.first(Event.STALLED).height < 0.3
    # The power goes off when the winding passes its limit, well before the stall watch is over.
    hot = record.first(Event.HOT)
    assert [e.time for e in record.events if e.event is Event.PHASE_STARTS][1] == hot.time
    assert hot.time < record.first(Event.STALLED).time + 30.0
    assert record["motor_1_winding"].max() == pytest.approx(140.0, abs=1e-6)
    assert record["motor_1_case"].max() < 60.0


def test_a_drum_is_held_at_the_end_of_a_layer_between_two_that_drive_it_there(
    lift, make_motor, make_stage
):
    """The motors can raise the load on the lower layer and not hold it on the upper one; each side
    drives the drum towards the other."""
    record = lift(
        motors=make_motor(4.0, 0.005, idle_current=0.005, count=2),
        stage=make_stage(5.0, 0.99, repeat=3),
        load={"mass": 25.0},
        drum={"width": 0.008},
        settings={"stall_watch": 3.0, "watch": 0.1},
    )
    end = record.machine.layers[0].end - record.machine.wound_at_start
    stalled = record.first(Event.STALLED)
    held = (record.time > stalled.time) & (record.phase == 0)
    assert record["rope_wound"][held] == pytest.approx(end, abs=1e-8)
    assert np.all(record["drum_speed"][held] == 0.0)
    assert stalled.height == pytest.approx(end, abs=6e-3)  # less the stretch of the rope
    # It swings less and less before.
    crossings = [e.time for e in record.events if e.event is Event.LAYER]
    assert 4 <= len(crossings) <= 60
    gaps = np.diff(crossings[1:])
    assert gaps[-1] < 0.2 * gaps[0]
    # Either side alone would move: more than the motors can raise on the upper layer, less on the
    # lower one, and friction too small to hold.
    lower, upper = (layer.radius for layer in record.machine.layers[:2])
    assert steady_speed(record.machine, 25 * 9.80665 * lower) > 0
    assert steady_speed(record.machine, 25 * 9.80665 * upper) == 0


def test_runs_back_and_lands_with_slack_rope(lift, story, sliding):
    record = lift(**sliding)
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        Event.TOP,
        Event.DRUM_STOPS,
        Event.RUNS_BACK,
        Event.LANDED,
        Event.SLACK,
        Event.PAID_OUT,
    ]
    landed = record.first(Event.LANDED)
    assert landed.value > 0.3 and landed.energy == pytest.approx(6 * landed.value**2 / 2)
    assert record["height"][-1] == 0.0 and record["tension"][-1] == 0.0
    assert record["rope_wound"][-1] == pytest.approx(0.0, abs=1e-9)
    assert record.energy.spent["impacts"] == pytest.approx(landed.energy)


def test_pays_out_to_the_dead_turns(lift, story, sliding):
    parts = {
        **sliding,
        "load": {"mass": 6.0, "start_height": 0.05, "height": 0.02},
        "rope": {"axial_stiffness": 2e3},
    }
    record = lift(**parts, phase=(Phase(action="off", until="time", time=5.0),))
    assert story(record)[0] is Event.RUNS_BACK and story(record)[-1] is Event.PAID_OUT
    assert record["rope_wound"][-1] == pytest.approx(record.machine.lowest_wound, abs=1e-9) == -0.05


def test_hanging_start_moves_at_once(lift, story):
    record = lift(load={"start_height": 0.05})
    assert story(record) == [Event.DRUM_STARTS, Event.TOP, Event.DRUM_STOPS]
    assert record["tension"][0] == pytest.approx(8 * 9.80665)
    assert record["height"][0] == 0.05
    assert record["height"][-1] == pytest.approx(0.15, abs=5e-4)


def test_slack_start_takes_up_first(lift, story):
    record = lift(rope={"slack": 0.02})
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.TAUT,
        Event.LIFT_OFF,
        Event.TOP,
        Event.DRUM_STOPS,
    ]
    taut = record.first(Event.TAUT)
    assert np.interp(taut.time, record.time, record["rope_wound"]) == pytest.approx(0.02, rel=1e-3)
    assert np.all(record["tension"][record.time < taut.time] == 0.0)
    # The drum is at its no-load speed by then: lift-off is rougher than from a taut rope.
    assert record["tension"].max() > lift()["tension"].max()


def test_time_is_up_before_the_top(lift, story):
    record = lift(phase=(Phase(action="raise", until="top", time=1.0),))
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TIME_UP]
    assert record.first(Event.TIME_UP).time == pytest.approx(1.0)
    assert record["height"][-1] < 0.05
    assert record.time[-1] == pytest.approx(2.0)  # the watch follows


@pytest.mark.parametrize("stiffness", [2e7, 2e3, 500.0])
def test_stiff_and_soft_ropes(lift, story, stiffness):
    record = lift(rope={"axial_stiffness": stiffness})
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    stretch = 8 * 9.80665 / stiffness * 0.4
    lifted = record.first(Event.LIFT_OFF)
    assert np.interp(lifted.time, record.time, record["rope_wound"]) == pytest.approx(
        stretch, rel=0.3
    )
    assert record.stats.steps < 5000


def test_critically_damped_rope_does_not_bounce(lift, story):
    record = lift(rope={"damping_ratio": 1.0, "slack": 0.01})
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.TAUT,
        Event.LIFT_OFF,
        Event.TOP,
        Event.DRUM_STOPS,
    ]
    wild = lift(rope={"damping_ratio": 0.01, "slack": 0.01})
    late = record.first(Event.LIFT_OFF).time + 0.3
    swing = [np.ptp(r["tension"][(r.time > late) & (r.time < late + 0.3)]) for r in (record, wild)]
    assert swing[0] < 0.05 * swing[1]


def test_no_creep_over_a_long_watch(lift):
    record = lift(settings={"watch": 600.0})
    stopped = record.first(Event.DRUM_STOPS).time
    assert record.time[-1] - record.first(Event.TOP).time == pytest.approx(600.0)
    assert np.ptp(record["rope_wound"][record.time > stopped]) == 0.0
    assert record["height"][-1] == pytest.approx(
        record["height"][record.time > stopped + 2.0][0], abs=1e-6
    )
    assert record.stats.steps < 5000


def test_direct_drive_without_a_stage(lift, make_motor):
    motors = make_motor(2.0, 0.3, idle_current=0.05, voltage=12.0, rotor_inertia=1e-4)
    parts = {"motors": motors, "supply": {"voltage": 12.0}, "stage": (), "load": {"mass": 5.0}}
    heavy, light = (lift(**parts, drum={"inertia": inertia}) for inertia in (5e-3, 1e-5))
    assert heavy.first(Event.TOP) is not None
    # A heavier drum takes longer to get up to speed, without a stage before it as with one.
    early = [np.interp(0.02, r.time, r["drum_speed"]) for r in (heavy, light)]
    assert early[0] < 0.5 * early[1]


def test_tension_of_an_accelerating_load_counts_its_inertia(lift, sliding):
    """Running back faster and faster, the rope carries the weight less what speeds the load up, to
    the end."""
    record = lift(**{**sliding, "load": {"mass": 6.0, "height": 0.3}, "drum": {"width": 0.2}})
    back = record.first(Event.RUNS_BACK).time
    landed = record.first(Event.LANDED).time
    late = (record.time > back + 0.6 * (landed - back)) & (record.time < landed)
    gain = np.polyfit(record.time[late], record["speed"][late], 1)[0]
    assert gain < -0.5
    assert record["tension"][late].mean() == pytest.approx(6 * (9.80665 + gain), rel=0.02)
