"""Driving, regenerating, plugging and short-circuit braking: worked examples run as lifts of the
whole winch.

Each test names its source. The motor's own law is checked against the same examples elsewhere; here
the examples pass through the scenario's values, the chain, the rope and the switching between
phases. Recomputed values from the printed inputs.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math

import numpy as np
import pytest

from winchsim.inputs import Phase
from winchsim.model import Event
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference

RPM = 2 * math.pi / 60


class TestLinearMotor:
    """A. R. Hambley, Electrical Engineering, Ex. 16.2: linear motor, 2 V, 0.05 ohm, B·l 0.3 N/A.

    Printed: stalled 40 A and 12 N, unloaded 6.67 m/s; against 4 N 4.44 m/s, 26.67 W in, 17.78 W
    out, 66.67 %; pulled along with 2 N 7.78 m/s, 15.56 W taken up, 13.33 W given back, 85.71 %. A
    drum of 1 m radius turns newton-metres into newtons.
    """

    @staticmethod
    def inputs(ideal, make_motor, force, action):
        return ideal(
            motors=make_motor(0.05, 0.3, voltage=2.0, rotor_inertia=0.01),
            radius=1.0,
            span=40.0,
            load={
                "mass": force / 9.81,
                "start_height": 30.0 if action == "lower" else 0.01,
                "height": 5.0,
            },
            phase=(Phase(action=action, until="time", time=3.5 if action == "lower" else 4.0),),
        )

    def test_driving(self, ideal, make_motor):
        record = simulate(self.inputs(ideal, make_motor, 4.0, "raise"))
        assert (record["current"][0], record["motor_1_torque"][0]) == pytest.approx((40.0, 12.0))
        assert record["speed"][-1] == pytest.approx(4.44, abs=0.005)
        power = record["voltage"][-1] * record["current"][-1]
        assert (power, 4.0 * record["speed"][-1]) == pytest.approx((26.67, 17.78), abs=0.005)
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
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.3: 220 V, 200 A, 0.06 ohm, 800 rpm; held
    # by it at 600 rpm a load makes it give 160 A back into a source of 0.04 ohm. Printed: the
    # source's e.m.f. is 140 V. Lowering with that source and the torque of 160 A must therefore end
    # at 600 rpm and 160 A.
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
    assert record["current"][-1] == pytest.approx(
        160.0, rel=1e-5
    )  # reversed polarity: this flows into the source
    assert record.energy.source < 0
    assert record.energy.error <= 1e-4


def test_plugging(ideal, make_motor):
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.8: 220 V, 100 A, 0.05 ohm, 970 rpm;
    # reversed at 1000 rpm with so much resistance that 200 A flow. Printed: 2.16 ohm, 423.3 N·m,
    # and 210.9 N·m at standstill (recomputed 2.15825, 423.319, 210.869).
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


def test_short_circuit_braking_of_a_hanging_load(ideal, make_motor):
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 5.9: 220 V, 1000 rpm, 175 A, 0.08 ohm, 8
    # kg·m²; braked from 1050 rpm on a resistor of 0.538 ohm that limits the first current to 350 A,
    # 15 % of rated torque keeps pulling. Printed for the end, when the load runs the motor
    # backwards with the terminals joined: 8.247 rad/s and 26.25 A. The printed way there has an
    # inductance of 0.12 H in it, which the law here has not.
    k = (220 - 175 * 0.08) / (1000 * RPM)
    torque, radius = 0.15 * 175 * k, 0.02
    resistance = k * 1050 * RPM / 350
    mass = torque / radius / 9.81
    before = 25.0
    inputs = ideal(
        motors=make_motor(resistance, k, voltage=220.0, rotor_inertia=8 - mass * radius**2),
        radius=radius,
        span=200.0,
        load={"mass": mass, "start_height": 0.01, "height": 120.0},
        phase=(
            Phase(
                action="raise",
                until="time",
                time=before,
                voltage=k * 1050 * RPM + resistance * torque / k,
            ),
            Phase(action="short", until="time", time=12.0),
        ),
    )
    assert resistance - 0.08 == pytest.approx(0.538, abs=5e-4)
    record = simulate(inputs, rtol=1e-9)
    assert record["motor_1_current"].min() == pytest.approx(-350, rel=2e-3)
    assert any(e.event is Event.DRUM_STOPS and e.time > before for e in record.events)
    assert record["motor_1_speed"][-1] == pytest.approx(-8.247, rel=2e-3)
    assert record["motor_1_current"][-1] == pytest.approx(26.25, rel=2e-3)
    assert record.energy.error <= 1e-4
