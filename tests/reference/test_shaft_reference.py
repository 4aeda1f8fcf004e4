"""Shafts and pins against worked examples of textbooks. Inch examples are left in inches: the
formulas have no unit.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math

import pytest

from winchsim.strength.shafts import (
    SHEAR_SHARE,
    bending_strength,
    cross_pin_torque,
    torsion_strength,
)

pytestmark = pytest.mark.reference


def torsion_stress(torque: float, diameter: float) -> float:
    """Shear stress at the surface of a round bar."""
    return torque / torsion_strength(1.0, diameter)


def double_shear_stress(force: float, diameter: float) -> float:
    """Shear stress of a pin under a force at two planes, half of it at each side of a shaft."""
    return force / 2 / cross_pin_torque(1.0, diameter, 1.0)


def test_torsion_of_a_bar():
    # J. M. Gere, Mechanics of Materials, Example 3-1: 1.5 in, 250 lb·ft, allowed 6 ksi.
    assert torsion_stress(250 * 12, 1.5) == pytest.approx(4527.074, rel=1e-6)
    assert torsion_strength(6000, 1.5) / 12 == pytest.approx(331.340, rel=2e-6)


def test_diameter_for_a_torque():
    # Gere, Mechanics of Materials, Example 3-2: 1200 N·m at 40 MPa.
    assert torsion_strength(40e6, 53.46018e-3) == pytest.approx(1200, rel=1e-6)


@pytest.mark.parametrize(("torque", "stress"), [(175, 33.00991), (275, 51.87272)])
def test_stress_of_a_30_mm_shaft(torque, stress):
    # Gere, Mechanics of Materials, Example 3-4.
    assert torsion_stress(torque, 30e-3) / 1e6 == pytest.approx(stress, rel=1e-6)


@pytest.mark.parametrize(("rpm", "diameter"), [(500, 1.623585), (3000, 0.893492)])
def test_diameter_for_40_horsepower(rpm, diameter):
    # Gere, Mechanics of Materials, Example 3-7: 6 ksi, 33 000 ft·lbf/min a horsepower.
    torque = 40 * 33000 * 12 / (2 * math.pi * rpm)
    assert torsion_strength(6000, diameter) == pytest.approx(torque, rel=3e-6)


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
    # Hibbeler, Mechanics of Materials, Problem 1-61: an 18 mm pin at 60 MPa bears 15.268 kN at one
    # plane.
    assert double_shear_stress(2 * 15.26814e3, 18e-3) / 1e6 == pytest.approx(60.0, rel=1e-6)


@pytest.mark.parametrize(
    ("diameter", "stress", "width", "crush", "thickness", "length"),
    [
        # Sadhu Singh, Machine Design I, Ex. 7.4 and 7.7 (published companion): key as strong as its
        # shaft, by shear of its width and crushing of half its height. Printed 26.67 by 110.4 mm,
        # 17.5 by 65.45 mm.
        (0.075, 50e6, 0.020, 75e6, 26.67e-3, 110.4e-3),
        (0.050, 42e6, 0.015, 72e6, 17.5e-3, 65.45e-3),
    ],
)
def test_key_as_strong_as_its_shaft(diameter, stress, width, crush, thickness, length):
    force = torsion_strength(stress, diameter) / (diameter / 2)
    assert (force / (stress * width), 2 * force / (crush * length)) == pytest.approx(
        (length, thickness), rel=1e-3
    )


@pytest.mark.parametrize(
    ("diameter", "torque", "printed"),
    [
        # B. K. Sarkar, Strength of Materials, Ex. 7.14, p. 194 (published companion): 100 kW at 120
        # rpm: 40.53 MPa.
        (0.100, 100e3 / (120 * math.pi / 30), 40.53e6),
        # U. C. Jindal, Machine Design, Ex. 15-7, p. 424 (published companion): 47 N·m on 20 mm:
        # 29.921 MPa.
        (0.020, 47.0, 29.921e6),
    ],
)
def test_torsion_of_printed_examples(diameter, torque, printed):
    assert torsion_stress(torque, diameter) == pytest.approx(printed, rel=3e-4)


def test_bending_of_the_same_shaft():
    # U. C. Jindal, Machine Design, Ex. 15-7: 32 N·m on 20 mm; with endurance 75 and yield in shear
    # 165 MPa printed 1.75.
    bent, twisted = 32.0 / bending_strength(1.0, 0.020), torsion_stress(47.0, 0.020)
    assert 1 / math.hypot(bent / 75e6, twisted / 165e6) == pytest.approx(1.75, abs=5e-3)


@pytest.mark.memory
def test_yield_in_shear():
    # Distortion energy; J. E. Shigley, Mechanical Engineering Design, §5-5 prints 0.577.
    assert pytest.approx(0.577, abs=5e-4) == SHEAR_SHARE
