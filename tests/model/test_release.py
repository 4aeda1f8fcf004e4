"""A link that breaks and lets go: which part of the train stays on the drum, and what becomes of load, motors and energy."""

import math

import numpy as np
import pytest

from winchsim.model import Event

MASS, HEIGHT, GRAVITY, RADIUS, INERTIA = 8.0, 0.05, 9.80665, 0.006, 2e-3
"""A load that hangs from a drum heavy enough to be seen in how it comes down."""

PARTS = {
    "load": {"mass": MASS, "start_height": HEIGHT, "height": 0.1},
    "drum": {"inertia": INERTIA},
    "rope": {"damping_ratio": 1.0},
    "settings": {"after_overload": "release"},
}


def _broken(record):
    return record.machine.links[int(record.first(Event.OVERLOAD).detail)]


def _since(record, event):
    return record.time > record.first(event).time


def _comes_down_with(record, inertia):
    """Whether the load turns just this inertia on the drum's shaft on its way down. Own arithmetic: m g = (m + J/r²) a."""
    expected = math.sqrt(2 * HEIGHT / GRAVITY * (1 + inertia / (MASS * RADIUS**2)))
    down = _since(record, Event.OVERLOAD) & (record["height"] < 1e-3)
    return record.time[down][0] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("inductance", [None, 1e-3])
def test_behind_a_broken_stage_the_drum_turns_freely(lift, make_stage, make_motor, place, inductance):
    # Stages without loss or inertia, of which one bears half the torque that the hanging load asks of it.
    limits = [None] * 3
    limits[place] = 0.5 * MASS * GRAVITY * RADIUS / 5.0 ** (2 - place)
    stages = tuple(make_stage(5.0, 1.0, torque_limit=limit) for limit in limits)
    motor = make_motor(4.0, 0.005, idle_current=0.12, count=2, inductance=inductance)
    record = lift(motors=motor, stage=stages, **PARTS)
    assert (_broken(record).label, record.first(Event.OVERLOAD).time) == (f"reduction of stage {place + 1}", 0.0)
    assert _comes_down_with(record, INERTIA)
    gone = _since(record, Event.OVERLOAD)
    assert np.all(record["current"][gone] == 0.0) and np.all(record["motor_1_current"][gone] == 0.0)
    assert record.energy.source == 0.0


def test_an_inertia_behind_the_break_comes_down_with_the_load(lift, make_stage):
    wheel = 3e-3
    stages = (make_stage(5.0, 1.0, torque_limit=0.01), make_stage(5.0, 1.0, inertia=wheel), make_stage(1.0, 1.0))
    record = lift(stage=stages, **PARTS)
    assert _broken(record).label == "reduction of stage 1"
    assert _comes_down_with(record, INERTIA + wheel)


def test_a_broken_cross_pin_leaves_the_bare_drum(lift, make_stage):
    # A pin of a tenth of a millimetre: whatever hangs on the shaft in front of it stays where it is.
    stages = (make_stage(25.0, 1.0), make_stage(5.0, 1.0, inertia=0.05, shaft_diameter=0.004))
    record = lift(stage=stages, **{**PARTS, "drum": {**PARTS["drum"], "cross_pin_diameter": 1e-4}})
    assert _broken(record).label == "cross-pin of the drum"
    assert _comes_down_with(record, INERTIA)


def test_motors_that_were_running_lose_their_current_with_the_train(lift, make_stage, make_motor):
    # The last stage breaks as the motors spin the heavy drum up; what their inductance held is booked with the break.
    motor = make_motor(4.0, 0.005, idle_current=0.12, count=2, inductance=2e-3)
    parts = {**PARTS, "load": {"mass": MASS, "height": 0.1}}
    record = lift(motors=motor, stage=(make_stage(25.0, 0.9), make_stage(5.0, 0.9, torque_limit=0.48)), **parts)
    broke = record.first(Event.OVERLOAD)
    flowed = record["motor_1_current"][record.time < broke.time][-1]
    assert flowed > 0.1
    assert np.all(record["motor_1_current"][_since(record, Event.OVERLOAD)] == 0.0)
    assert broke.energy > 2 * 2e-3 * flowed**2 / 2
    assert record["height"][-1] == 0.0
