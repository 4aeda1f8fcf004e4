"""Motors, shafts, turns and rotors worked by hand."""

import math
from dataclasses import replace

import pytest
from scipy.optimize import brentq

from winchsim.model import build
from winchsim.physics.chain import drum_inertia
from winchsim.physics.motor import constant_at, from_bench, no_load, operating_point, resistance_at
from winchsim.strength.line import capstan_ratio
from winchsim.strength.shafts import cross_pin_torque, torsion_strength

RPM = 2.0 * math.pi / 60.0


def test_motor_cold_and_hot():
    # Engineering examination problem on a permanent-magnet motor: 50 V, 1800 rpm at zero torque, 2
    # ohm, load 2.0 N·m. The statement was found; the answers are worked by hand from U = R i + k w.
    motor = from_bench(
        terminal_resistance=2.0, no_load_voltage=50.0, no_load_speed=1800 * RPM, no_load_current=0.0
    ).motor
    cold = operating_point(motor, 50.0, 2.0)
    assert motor.constant == pytest.approx(0.265258, rel=2e-6)
    assert cold.current == pytest.approx(7.53982, rel=1e-5)
    assert motor.constant * cold.speed == pytest.approx(34.9204, rel=1e-5)
    assert cold.speed / RPM == pytest.approx(1257.13, rel=1e-5)
    assert cold.torque * cold.speed == pytest.approx(263.293, rel=1e-5)
    assert 2.0 * cold.speed / (50.0 * cold.current) == pytest.approx(0.698407, rel=1e-5)
    winding = brentq(lambda t: resistance_at(1.0, t) - 1.25, 20.0, 200.0)
    weaker = constant_at(motor.constant, 45.0)  # 25 K at -0.2 %/K: five per cent
    hot_motor = replace(motor, resistance=resistance_at(motor.resistance, winding), constant=weaker)
    hot = operating_point(hot_motor, 50.0, 2.0)
    assert (hot.current, hot.speed / RPM) == pytest.approx((7.93666, 1142.84), rel=1e-5)
    assert hot.torque * hot.speed == pytest.approx(239.357, rel=1e-5)
    assert 2.0 * hot.speed / (50.0 * hot.current) == pytest.approx(0.603167, rel=1e-5)
    assert no_load(hot_motor, 50.0)[0] / RPM == pytest.approx(1894.74, rel=1e-5)


@pytest.mark.parametrize(
    ("shaft", "pin", "stress", "torque"),
    [(8, 2, 60, 1.507964), (10, 3, 60, 4.241150), (6, 2, 100, 1.884956)],
)
def test_cross_pin(shaft, pin, stress, torque):
    # Statics, worked by hand: two shear planes at half the shaft's diameter.
    assert cross_pin_torque(stress * 1e6, pin * 1e-3, shaft * 1e-3) == pytest.approx(
        torque, rel=1e-6
    )


@pytest.mark.parametrize(("diameter", "torque"), [(8, 4.021239), (5, 0.981748)])
def test_printed_shaft(diameter, torque):
    # Formula of Gere, Example 3-1, at 40 MPa.
    assert torsion_strength(40e6, diameter * 1e-3) == pytest.approx(torque, rel=1e-6)


@pytest.mark.parametrize(
    ("friction", "two", "three"),
    [(0.1, 3.5136, 6.5861), (0.15, 6.5861, 16.902), (0.2, 12.345, 43.376)],
)
def test_dead_turns(friction, two, three):
    # Identity exp(2 pi friction turns).
    assert capstan_ratio(friction, 4 * math.pi) == pytest.approx(two, rel=5e-5)
    assert capstan_ratio(friction, 6 * math.pi) == pytest.approx(three, rel=5e-5)


def test_rotor_behind_a_high_ratio_outweighs_the_load(ideal, make_motor, make_stage):
    # 8e-7 kg·m² behind 1000:1 on a radius of 6 mm moves like 22 t at the rope.
    machine = build(
        ideal(
            motors=make_motor(4.0, 0.005, rotor_inertia=8e-7),
            stages=(make_stage(1000.0),),
            radius=0.006,
            span=1.0,
            load={"mass": 25.0},
        )
    )
    assert drum_inertia(machine.chain) / 0.006**2 == pytest.approx(22222.0, rel=1e-4)
