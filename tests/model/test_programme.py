"""Phases of the programme: lowering, off, short, ramps, limits; and the parts that hold: pawl and
brake."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Brake, Pawl, Phase
from winchsim.model import Event, WinchProblem, build
from winchsim.model.keys import Trip

UP = Phase(action="raise", until="top")


def starts(record):
    """When each phase starts."""
    return [e.time for e in record.events if e.event is Event.PHASE_STARTS]


def test_lowers_under_power_to_the_floor(lift, story):
    record = lift(phase=(UP, Phase(action="lower", until="floor")))
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        Event.TOP,
        Event.DRUM_STOPS,
        Event.RUNS_BACK,
        Event.LANDED,
    ]
    down = record.phase == 1
    assert record["voltage"][down].min() < -5.0
    assert record["height"][-1] == pytest.approx(0.0, abs=1e-12)
    assert record.first(Event.LANDED).value < 0.2
    # A bench supply takes nothing back from a load that drives the motors.
    assert np.all(record["current"][down] <= 1e-6)


@pytest.mark.parametrize(
    ("fired", "events"),
    [
        ((Trip.FLOOR, Trip.PAID_OUT), [Event.LANDED, Event.PAID_OUT, Event.END]),
        ((Trip.PAID_OUT, Trip.FLOOR), [Event.PAID_OUT, Event.END]),
    ],
)
def test_what_ends_the_run_as_the_load_lands_ends_it(small, fired, events):
    """Neither the next phase nor another event follows."""
    machine = build(small(phase=(Phase(action="lower", until="floor"), UP)))
    key, state, _ = WinchProblem(machine).begin()
    found = WinchProblem(machine).switch(replace(key, phase=0), fired, 1.0, state)
    assert found.key is None and [mark.event for mark in found.events] == events


def test_a_raise_follows_where_the_drum_has_run_on_after_a_landing(lift):
    """It takes up again what came off the dead turns meanwhile."""
    off, up = Phase(action="off", time=1.0), Phase(action="raise", time=1.0)
    record = lift(phase=(UP, Phase(action="lower", until="floor"), off, up))
    assert record["rope_wound"].min() < record.machine.lowest_wound
    assert record["height"][-1] == record["height"][record.phase == 3].max() > 0.005
    assert record["rope_wound"][-1] > record["height"][-1]


def test_a_lowering_of_a_load_on_the_floor_is_over_at_once(lift):
    record = lift(phase=(Phase(action="lower", until="floor"), UP))
    assert starts(record) == [0.0, 0.0] and record.first(Event.TOP) is not None
    waits = lift(phase=(Phase(action="off", until="floor", time=1.0),))
    assert starts(waits) == [0.0] and waits.first(Event.TIME_UP) is None


@pytest.mark.parametrize("layer", [0, 1])
def test_a_drum_that_stops_where_two_layers_meet_is_on_both(small, layer):
    """Whichever layer it comes from: raising it would wind on the upper one, running back pay out
    from the lower one; half a volt moves it neither way."""
    machine = build(small(drum={"width": 0.006}, load={"height": 0.6}, supply={"voltage": 0.5}))
    key, state, _ = WinchProblem(machine).begin()
    state[0] = machine.layers[0].end - machine.wound_at_start
    key = replace(key, drum=2 * layer - 1, layer=layer, layer_below=layer)
    stopped = WinchProblem(machine).switch(key, (Trip.DRUM_STOPS,), 1.0, state).key
    assert (stopped.drum, stopped.layer, stopped.layer_below) == (0, 1, 0)


def test_lowering_into_a_battery_gives_energy_back(lift, make_motor, make_stage):
    parts = {
        "stage": make_stage(3.0, 0.98, repeat=3),
        "load": {"mass": 6.0},
        "motors": make_motor(1.0, 0.01, count=1),
    }
    phases = (Phase(action="raise", until="top"), Phase(action="lower", until="floor"))
    given = {}
    for kind in ("battery", "bench"):
        record = lift(**parts, supply={"kind": kind, "resistance": 0.1}, phase=phases)
        down = record.phase == 1
        t, power = record.time[down], (record["voltage"] * record["current"])[down]
        given[kind] = float(np.sum(np.diff(t) * (power[1:] + power[:-1]) / 2))
    assert given["battery"] < -0.2
    assert given["bench"] > given["battery"] + 0.2


def test_off_from_the_start_leaves_it_hanging(lift, story):
    record = lift(load={"start_height": 0.1}, phase=(Phase(action="off", until="time", time=3.0),))
    assert story(record) == []
    assert np.all(record["rope_wound"] == 0.0) and record["height"] == pytest.approx(0.1, abs=1e-9)
    assert record["tension"] == pytest.approx(8 * 9.80665)
    assert record.energy.source == 0.0


def test_short_circuit_slows_the_descent_but_does_not_hold(lift, story, sliding):
    shorted = lift(**sliding, phase=(UP, Phase(action="short", until="floor", time=30.0)))
    free = lift(**sliding, phase=(UP, Phase(action="off", until="floor", time=30.0)))
    for record in (shorted, free):
        assert story(record)[:6] == [
            Event.DRUM_STARTS,
            Event.LIFT_OFF,
            Event.TOP,
            Event.DRUM_STOPS,
            Event.RUNS_BACK,
            Event.LANDED,
        ]
    assert shorted.first(Event.LANDED).value < 0.1 * free.first(Event.LANDED).value
    # Steady at last: the torque that comes through equals k² w/R and the drag.
    motor, n = shorted.machine.groups[0].motor, 2
    torque = 6 * 9.80665 * 0.006
    for _ in range(3):
        torque = torque / 4.0 * (2 - 1 / 0.95)
    speed = (torque - n * motor.drag) * motor.resistance / (n * motor.constant**2) / 64
    assert abs(shorted["drum_speed"][-1]) == pytest.approx(speed, rel=0.01)
    assert np.all(shorted["voltage"][shorted.phase == 1] == 0.0)


def test_voltage_ramp(lift, story):
    record = lift(phase=(Phase(action="raise", until="top", ramp=2.0),))
    assert story(record)[:2] == [Event.DRUM_STARTS, Event.LIFT_OFF]
    at_rest = record["drum_speed"] == 0.0
    assert record.first(Event.DRUM_STARTS).time > 0.1
    t = record.time[(record.time < 2.0) & ~at_rest]
    open_circuit = (record["voltage"] + 0.2 * record["current"])[(record.time < 2.0) & ~at_rest]
    assert open_circuit == pytest.approx(3.0 * t, rel=1e-6)
    assert record["tension"].max() < lift()["tension"].max()  # a soft start


def test_a_bounce_that_has_died_down_is_not_followed_under_a_rising_voltage(lift):
    """The load rides with the drum long before the voltage is full, as it would be followed."""
    phase = (Phase(action="raise", until="top", ramp=60.0),)
    record, close = lift(phase=phase), lift(phase=phase, settings={"relative_tolerance": 1e-8})
    rides = [e.time for e in record.events if e.event is Event.SETTLED]
    assert record.first(Event.LIFT_OFF).time < rides[0] < record.first(Event.TOP).time < 60.0
    assert record.first(Event.TOP).time == pytest.approx(close.first(Event.TOP).time, rel=1e-4)


def test_ramp_goes_on_from_the_phase_before(lift):
    phases = (
        Phase(action="raise", until="time", time=1.0, voltage=4.0),
        Phase(action="raise", until="time", time=1.0, voltage=6.0, ramp=0.5),
    )
    record = lift(phase=phases)
    second = (record.phase == 1) & (record.time < 1.5)
    open_circuit = (record["voltage"] + 0.2 * record["current"])[second]
    assert open_circuit == pytest.approx(4.0 + 4.0 * (record.time[second] - 1.0), rel=1e-9)


def test_current_limit_of_a_phase(lift):
    phases = (
        Phase(action="raise", until="time", time=0.5),
        Phase(action="raise", until="time", time=0.5, current_limit=1.3),
    )
    record = lift(phase=phases)
    assert record["current"][record.phase == 0].max() > 2.0
    assert record["current"][record.phase == 1].max() <= 1.3 + 1e-9


def test_lift_ends_at_the_top_and_the_next_phase_begins(lift):
    record = lift(
        phase=(
            UP,
            Phase(action="off", until="time", time=0.5),
            Phase(action="raise", until="time", time=0.2),
        )
    )
    top = record.first(Event.TOP).time
    assert starts(record) == pytest.approx([0.0, top, top + 0.5])
    assert record["height"][-1] > 0.1


def test_pawl_never_lets_it_back(lift, story, sliding):
    record = lift(**sliding, pawl=Pawl())
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    assert np.ptp(record["rope_wound"][record.time > record.first(Event.DRUM_STOPS).time]) == 0.0
    assert lift(**sliding, pawl=Pawl(fitted=False)).first(Event.RUNS_BACK) is not None


def test_pawl_is_lifted_while_the_motors_lower(lift, story, sliding):
    record = lift(
        **sliding,
        pawl=Pawl(),
        phase=(UP, Phase(action="lower", until="time", time=0.2), Phase(action="off", time=1.0)),
    )
    assert Event.RUNS_BACK in story(record)
    off = starts(record)[2]
    stopped = [e for e in record.events if e.event is Event.DRUM_STOPS and e.time >= off]
    assert stopped[0].time == pytest.approx(
        off
    )  # it drops in at once, and what turned is stopped with a jerk
    assert stopped[0].energy > 0
    assert record.energy.spent["brake and pawl"] == pytest.approx(stopped[0].energy)
    after = record.time > off
    assert np.ptp(record["rope_wound"][after]) == 0.0
    assert record["tension"][after].max() > 1.5 * 6 * 9.80665


@pytest.mark.parametrize(("place", "torque"), [("drum", 1.0), ("motor", 0.02)])
def test_brake_holds(lift, story, sliding, place, torque):
    record = lift(**sliding, brake=Brake(torque=torque, place=place))
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    stopped = record.first(Event.DRUM_STOPS).time
    assert stopped - record.first(Event.TOP).time < 0.006
    assert np.ptp(record["rope_wound"][record.time > stopped]) == 0.0
    # Motor drag and mesh losses are booked where they arise, whatever stands before them.
    free = lift(**sliding, phase=(UP,))
    for head in ("motor drag", "mesh of stage 1 (1st of 3)"):
        assert record.energy.spent[head] == pytest.approx(free.energy.spent[head], rel=0.01)


def test_brake_on_the_motor_takes_up_what_turns(lift, sliding):
    """Its heat is its torque times the angle that the motors still turn."""
    record = lift(**sliding, brake=Brake(torque=0.02, place="motor"))
    top, stopped = record.first(Event.TOP).time, record.first(Event.DRUM_STOPS).time
    coasting = (record.time >= top) & (record.time <= stopped)
    turned = np.trapezoid(record["motor_1_speed"][coasting], record.time[coasting])
    assert record.energy.spent["brake and pawl"] == pytest.approx(0.02 * turned, rel=0.02)


def test_brake_that_is_too_weak_slips(lift, story, sliding):
    record = lift(**sliding, brake=Brake(torque=0.2))
    seen = story(record)
    assert seen.index(Event.TOP) < seen.index(Event.RUNS_BACK) < seen.index(Event.LANDED)
    assert record.first(Event.LANDED).value < 0.8 * lift(**sliding).first(Event.LANDED).value
    assert record.energy.spent["brake and pawl"] > 1.0


def test_brake_lets_go_under_power(lift, sliding):
    braked = lift(**sliding, brake=Brake(torque=5.0))
    free = lift(**sliding)
    assert braked.first(Event.TOP).time == pytest.approx(free.first(Event.TOP).time, rel=1e-6)
