"""Shafts and pins against worked examples of textbooks. Inch examples are left in inches: the formulas have no unit."""

from __future__ import annotations

import math

import pytest

from winchsim.strength.shafts import (
    SHEAR_SHARE,
    code_shear_stress,
    cross_pin_torque,
    diameter_for_torque,
    double_shear_stress,
    torsion_strength,
    torsion_stress,
    twist,
)

pytestmark = pytest.mark.reference


def test_torsion_of_a_bar():
    # J. M. Gere, Mechanics of Materials, Example 3-1: 1.5 in, 54 in long, 11.5e6 psi, 250 lb·ft; allowed 6 ksi and 2.5°.
    assert torsion_stress(250 * 12, 1.5) == pytest.approx(4527.074, rel=1e-6)
    assert math.degrees(twist(250 * 12, 54, 1.5, 11.5e6)) == pytest.approx(1.623958, rel=1e-6)
    by_stress = torsion_strength(6000, 1.5) / 12
    by_twist = math.radians(2.5) / twist(12, 54, 1.5, 11.5e6)
    assert min(by_stress, by_twist) == pytest.approx(331.340, rel=2e-6)


def test_diameter_for_a_torque():
    # Gere, Mechanics of Materials, Example 3-2: 1200 N·m at 40 MPa.
    assert 1e3 * diameter_for_torque(1200, 40e6) == pytest.approx(53.46018, rel=1e-6)


@pytest.mark.parametrize(("torque", "stress"), [(175, 33.00991), (275, 51.87272)])
def test_stress_of_a_30_mm_shaft(torque, stress):
    # Gere, Mechanics of Materials, Example 3-4.
    assert torsion_stress(torque, 30e-3) / 1e6 == pytest.approx(stress, rel=1e-6)


def test_stress_of_a_tube():
    # Gere, Mechanics of Materials, Example 3-6: 80/60 mm, 4000 N·m.
    assert torsion_stress(4000, 80e-3, 60e-3) / 1e6 == pytest.approx(58.20524, rel=1e-6)


@pytest.mark.parametrize(("rpm", "diameter"), [(500, 1.623585), (3000, 0.893492)])
def test_diameter_for_40_horsepower(rpm, diameter):
    # Gere, Mechanics of Materials, Example 3-7: 6 ksi, 33 000 ft·lbf/min a horsepower.
    torque = 40 * 33000 * 12 / (2 * math.pi * rpm)
    assert diameter_for_torque(torque, 6000) == pytest.approx(diameter, rel=1e-6)


def test_motor_shaft():
    # Wentzell, Machine Design, Example 17.1: 5 hp at 1750 rpm on 0.75 in, torque by 63 000 hp/rpm.
    assert torsion_stress(63000 * 5 / 1750, 0.75) == pytest.approx(2172.995, rel=1e-6)


def test_pin_in_double_shear():
    # Gere, Mechanics of Materials, Example 1-5: 12 kip on 0.75 in.
    assert double_shear_stress(12.0, 0.75) == pytest.approx(13.58122, rel=1e-6)


def test_pin_diameter_in_double_shear():
    # Philpot, Mechanics of Materials, exercise: 88.46 kN at 50 MPa need 33.6 mm.
    assert double_shear_stress(88.46e3, 33.56051e-3) / 1e6 == pytest.approx(50.0, rel=1e-6)


def test_one_plane_bears_half_of_two():
    # Hibbeler, Mechanics of Materials, Problem 1-61: an 18 mm pin at 60 MPa bears 15.268 kN at one plane.
    assert double_shear_stress(2 * 15.26814e3, 18e-3) / 1e6 == pytest.approx(60.0, rel=1e-6)


@pytest.mark.parametrize(
    ("shaft", "pin", "stress", "torque"), [(8, 2, 60, 1.507964), (10, 3, 60, 4.241150), (6, 2, 100, 1.884956)]
)
def test_cross_pin(shaft, pin, stress, torque):
    # Statics, worked by hand: two shear planes at half the shaft's diameter.
    assert cross_pin_torque(stress * 1e6, pin * 1e-3, shaft * 1e-3) == pytest.approx(torque, rel=1e-6)
    pull = torque / (shaft * 1e-3)
    assert double_shear_stress(2 * pull, pin * 1e-3) / 1e6 == pytest.approx(stress, rel=1e-6)


def test_yield_in_shear():
    # Distortion energy; J. E. Shigley, Mechanical Engineering Design, §5-5 prints 0.577.
    assert pytest.approx(0.577, abs=5e-4) == SHEAR_SHARE


def test_allowed_shear_of_the_shaft_code():
    # ASME code as given by Sadhu Singh, Machine Design I, chapter 6: min(0.30 yield, 0.18 tensile), 0.75 with a keyway.
    assert code_shear_stress(300e6, 600e6) == pytest.approx(90e6)
    assert code_shear_stress(400e6, 600e6) == pytest.approx(108e6)
    assert code_shear_stress(400e6, 600e6, keyway=True) == pytest.approx(81e6)


@pytest.mark.parametrize(("diameter", "torque"), [(8, 4.021239), (5, 0.981748)])
def test_printed_shaft(diameter, torque):
    # Formula of Gere, Example 3-1, at 40 MPa.
    assert torsion_strength(40e6, diameter * 1e-3) == pytest.approx(torque, rel=1e-6)
