"""Driving, regenerating, plugging and short-circuit braking: worked examples run as lifts of the whole winch.

Each test names its source. The motor's own law is checked against the same examples elsewhere; here the examples pass through
the scenario's values, the chain, the rope and the switching between phases. Recomputed values from the printed inputs.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from winchsim.inputs import Phase
from winchsim.model import Event
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference

RPM = 2 * math.pi / 60


def test_voltage_step_of_a_motor_with_inductance(ideal, make_motor):
    # Control Tutorials for MATLAB and Simulink (University of Michigan), "DC Motor Speed": J 0.01 kg·m², b 0.1 N·m·s, K
    # 0.01, R 1 ohm, L 0.5 H, 1 V step. Printed: gain 0.1, poles -2 and -10, settling 2.07 s. In time: recomputed by
    # matrix exponential. The drum turns while the rope is still slack, so that nothing but the motor moves.
    speed, current = 0.0999001, 0.999001
    inputs = ideal(
        motors=make_motor(
            1.0, 0.01, voltage=1.0, idle_current=1 / 1.001, drag_speed_share=1.0, inductance=0.5, rotor_inertia=0.01
        ),
        radius=0.05,
        span=1.0,
        rope={"slack": 0.05, "axial_stiffness": 1e6},
        load={"mass": 10.0},
        phase=(Phase(action="raise", until="time", time=3.0),),
    )
    times = np.array([0.1, 0.2, 0.5, 1.0, 2.0, 3.0])
    record = simulate(inputs, times=np.concatenate([times, np.linspace(0.01, 2.99, 299)]), rtol=1e-9)
    motor = record.machine.groups[0].motor
    assert (motor.resistance, motor.constant, motor.drag, motor.drag_slope) == pytest.approx((1.0, 0.01, 0.0, 0.1), rel=1e-6)
    found = [int(np.flatnonzero(record.time == t)[0]) for t in times]
    speeds = [0.006856, 0.019592, 0.054170, 0.083037, 0.097623, 0.099593]
    currents = [0.181264, 0.329652, 0.631926, 0.864130, 0.980794, 0.996543]
    assert record["motor_1_speed"][found] == pytest.approx(speeds, abs=1e-6)
    assert record["motor_1_current"][found] == pytest.approx(currents, abs=1e-6)
    settled = np.interp(0.98 * speed, record["motor_1_speed"], record.time)
    assert settled == pytest.approx(2.07, rel=0.005)
    assert record["motor_1_current"][-1] < current
    assert record.first(Event.TAUT) is None and record["height"].max() == 0.0
    assert record.energy.error <= 1e-4


class TestLinearMotor:
    """A. R. Hambley, Electrical Engineering, Ex. 16.2: linear motor, 2 V, 0.05 ohm, B·l 0.3 N/A.

    Printed: stalled 40 A and 12 N, unloaded 6.67 m/s; against 4 N 4.44 m/s, 26.67 W in, 17.78 W out, 66.67 %; pulled along with
    2 N 7.78 m/s, 15.56 W taken up, 13.33 W given back, 85.71 %. A drum of 1 m radius turns newton-metres into newtons.
    """

    @staticmethod
    def inputs(ideal, make_motor, force, action):
        return ideal(
            motors=make_motor(0.05, 0.3, voltage=2.0, rotor_inertia=0.01),
            radius=1.0,
            span=40.0,
            load={"mass": force / 9.81, "start_height": 30.0 if action == "lower" else 0.01, "height": 5.0},
            phase=(Phase(action=action, until="time", time=3.5 if action == "lower" else 4.0),),
        )

    def test_driving(self, ideal, make_motor):
        record = simulate(self.inputs(ideal, make_motor, 4.0, "raise"))
        assert record["current"][0] == pytest.approx(40.0)
        assert record["motor_1_torque"][0] == pytest.approx(12.0)
        assert record["speed"][-1] == pytest.approx(4.44, abs=0.005)
        power = record["voltage"][-1] * record["current"][-1]
        assert power == pytest.approx(26.67, abs=0.005)
        assert 4.0 * record["speed"][-1] == pytest.approx(17.78, abs=0.005)
        assert 4.0 * record["speed"][-1] / power == pytest.approx(2 / 3, rel=1e-4)

    def test_pulled_along(self, ideal, make_motor):
        record = simulate(self.inputs(ideal, make_motor, 2.0, "lower"))
        assert record["speed"][-1] == pytest.approx(-7.78, abs=0.005)
        given_back = -record["voltage"][-1] * record["current"][-1]
        assert given_back == pytest.approx(13.33, abs=0.005)
        assert 2.0 * abs(record["speed"][-1]) == pytest.approx(15.56, abs=0.005)
        assert given_back / (2.0 * abs(record["speed"][-1])) == pytest.approx(0.8571, abs=5e-5)
        assert record.energy.error <= 1e-4

    def test_unloaded(self, ideal, make_motor):
        record = simulate(self.inputs(ideal, make_motor, 1e-3, "raise"))
        assert record["speed"][-1] == pytest.approx(6.67, abs=0.005)


def test_regenerating_into_the_source(ideal, make_motor):
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.3: 220 V, 200 A, 0.06 ohm, 800 rpm; held by it at 600 rpm a
    # load makes it give 160 A back into a source of 0.04 ohm. Printed: the source's e.m.f. is 140 V. Lowering with that
    # source and the torque of 160 A must therefore end at 600 rpm and 160 A.
    k = (220 - 200 * 0.06) / (800 * RPM)
    radius = 0.05
    inputs = ideal(
        motors=make_motor(0.06, k, voltage=220.0, rotor_inertia=0.5),
        supply={"voltage": 140.0, "resistance": 0.04},
        radius=radius,
        span=60.0,
        load={"mass": k * 160 / radius / 9.81, "start_height": 50.0, "height": 1.0},
        phase=(Phase(action="lower", until="time", time=4.0),),
    )
    record = simulate(inputs)
    assert record["motor_1_speed"][-1] == pytest.approx(-600 * RPM, rel=0.5 / 140)
    assert record["motor_1_speed"][-1] == pytest.approx(-600 * RPM, rel=1e-5)
    assert record["current"][-1] == pytest.approx(160.0, rel=1e-5)  # reversed polarity: this flows into the source
    assert record.energy.source < 0
    assert record.energy.error <= 1e-4


def test_plugging(ideal, make_motor):
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.8: 220 V, 100 A, 0.05 ohm, 970 rpm; reversed at 1000 rpm
    # with so much resistance that 200 A flow. Printed: 2.16 ohm, 423.3 N·m, and 210.9 N·m at standstill (recomputed
    # 2.15825, 423.319, 210.869).
    k = (220 - 100 * 0.05) / (970 * RPM)
    added = (220 + k * 1000 * RPM) / 200 - 0.05
    assert added == pytest.approx(2.16, abs=0.005)
    assert added == pytest.approx(2.15825, abs=5e-6)
    radius, mass = 0.05, 50.0
    current = mass * 9.81 * radius / k
    running = k * 1000 * RPM + current * (0.05 + added)
    inputs = ideal(
        motors=make_motor(0.05, k, voltage=220.0, rotor_inertia=2.0),
        supply={"resistance": added},
        radius=radius,
        span=200.0,
        load={"mass": mass, "start_height": 0.01, "height": 150.0},
        phase=(
            Phase(action="raise", until="time", time=15.0, voltage=running),
            Phase(action="lower", until="time", time=2.0),
        ),
    )
    record = simulate(inputs)
    reversed_at = int(np.flatnonzero((record.time == 15.0) & (record.phase == 1))[0])
    stopped_at = int(np.flatnonzero((record["motor_1_speed"] == 0.0) & (record.phase == 1))[0])
    assert record["motor_1_speed"][reversed_at] == pytest.approx(1000 * RPM, rel=1e-5)
    assert record["current"][reversed_at] == pytest.approx(-200.0, rel=1e-5)
    assert record["motor_1_torque"][reversed_at] == pytest.approx(-423.3, abs=0.05)
    assert record["motor_1_torque"][stopped_at] == pytest.approx(-210.9, abs=0.05)
    assert record["motor_1_torque"][stopped_at] == pytest.approx(-210.869, abs=5e-4)
    # Nothing holds at standstill: load and motor pull the same way, and it runs on backwards.
    assert record["motor_1_speed"][-1] < 0
    assert record.energy.error <= 1e-4


def test_short_circuit_braking_with_inductance(ideal, make_motor):
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.9: 220 V, 1000 rpm, 175 A, 0.08 ohm, 0.12 H, 8 kg·m²; braked
    # from 1050 rpm on a resistor that limits the first current to 350 A, 15 % of rated torque keeps pulling. Printed:
    # 0.538 ohm, w = 151.5 exp(-0.963 t) - 33.3 exp(-4.19 t) - 8.247, i = 26.25 - 593.1 exp(-0.963 t) + 566.8 exp(-4.19
    # t), peak -272.23 A at 0.44 s; 0.2 %. Recomputed: w = 0 at 3.02362 s. The load hangs: in the end it runs back with
    # the terminals joined, at R T/k². Raised first, then the lead is opened for a moment (no current is left), then
    # shorted.
    k = (220 - 175 * 0.08) / (1000 * RPM)
    torque, radius = 0.15 * 175 * k, 0.02
    resistance = k * 1050 * RPM / 350
    mass = torque / radius / 9.81
    before, gap = 25.0, 1e-6
    inputs = ideal(
        motors=make_motor(resistance, k, voltage=220.0, inductance=0.12, rotor_inertia=8 - mass * radius**2),
        radius=radius,
        span=200.0,
        load={"mass": mass, "start_height": 0.01, "height": 120.0},
        phase=(
            Phase(action="raise", until="time", time=before, voltage=k * 1050 * RPM + resistance * torque / k),
            Phase(action="off", until="time", time=gap),
            Phase(action="short", until="time", time=12.0),
        ),
    )
    assert resistance - 0.08 == pytest.approx(0.538, abs=5e-4)
    start = before + gap
    times = start + np.array([0.5, 1.0, 2.0, 4.0])
    record = simulate(inputs, times=np.concatenate([times, start + np.linspace(0.3, 0.6, 301)]), rtol=1e-9)
    at = [int(np.flatnonzero(record.time == t)[0]) for t in times]
    t = times - start
    speed = 151.5 * np.exp(-0.963 * t) - 33.3 * np.exp(-4.19 * t) - 8.247
    current = 26.25 - 593.1 * np.exp(-0.963 * t) + 566.8 * np.exp(-4.19 * t)
    assert record["motor_1_speed"][at] == pytest.approx(speed, abs=0.002 * 1050 * RPM)
    assert record["motor_1_current"][at] == pytest.approx(current, abs=0.002 * 350)
    assert record["motor_1_speed"][at[1]] == pytest.approx(49.09782, rel=2e-3)
    assert record["motor_1_current"][at[1]] == pytest.approx(-191.6176, rel=2e-3)
    shorted = record.phase == 2
    lowest = int(np.argmin(np.where(shorted, record["motor_1_current"], 0.0)))
    assert record["motor_1_current"][lowest] == pytest.approx(-272.23, rel=2e-3)
    assert record.time[lowest] - start == pytest.approx(0.44, abs=0.005)
    stopped = next(e for e in record.events if e.event is Event.DRUM_STOPS and e.time > start)
    assert stopped.time - start == pytest.approx(3.02362, rel=2e-3)
    assert record["motor_1_speed"][-1] == pytest.approx(-8.247, rel=2e-3)
    assert record["motor_1_current"][-1] == pytest.approx(26.25, rel=2e-3)
    assert record.energy.error <= 1e-4
