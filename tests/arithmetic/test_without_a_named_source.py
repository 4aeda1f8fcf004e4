"""Checks without an outside source that can be named: school problems, common practice, and own
arithmetic from formulas as remembered."""

import math

import pytest
from scipy.optimize import minimize_scalar

from winchsim.physics import rope
from winchsim.physics.gears import contact, loss_factor, mesh_efficiency
from winchsim.physics.motor import (
    Motor,
    from_points,
    operating_point,
    stall,
    steady_current,
)
from winchsim.physics.worm import screw_efficiency
from winchsim.scenario.materials_table import load_materials, load_ropes
from winchsim.strength.line import breaking_force
from winchsim.strength.printed import temperature_factor

RPM = math.pi / 30


@pytest.mark.parametrize(
    ("idle", "stalled", "best_efficiency", "best_current"),
    [(0.1, 2.5, 0.640000, 0.5), (0.09, 1.4, 0.557193, 0.354965)],
)
def test_greatest_efficiency(idle, stalled, best_efficiency, best_current):
    # Lynch, Marchuk & Elwin, Embedded Computing and Mechatronics, ch. 25 (from memory): the
    # efficiency of a motor with constant drag is greatest at I = sqrt(I0 Is), where it is (1 -
    # sqrt(I0/Is))². Figures worked from that identity.
    voltage, k = 6.0, 0.005
    motor = Motor(voltage / stalled, k, drag=k * idle)

    def efficiency(torque):
        found = operating_point(motor, voltage, torque)
        return torque * found.speed / (voltage * found.current)

    best = minimize_scalar(
        lambda torque: -efficiency(torque),
        bounds=(0.0, k * (stalled - idle)),
        method="bounded",
        options={"xatol": 1e-12},
    )
    point = operating_point(motor, voltage, best.x)
    assert efficiency(best.x) == pytest.approx(best_efficiency, rel=1e-6)
    assert point.current == pytest.approx(best_current, rel=1e-4)


def test_resistance_from_the_fall_of_speed():
    # Examination problem of the GATE kind, separately excited motor: 200 V, 1500 rpm unloaded, 1400
    # rpm at 5 N·m. Printed 3.4 ohm (0.2 %).
    k = 200.0 / (1500 * RPM)
    fit = from_points(200.0, [0.0, 5.0], [1500 * RPM, 1400 * RPM], [0.0, 5.0 / k])
    assert fit.motor.resistance == pytest.approx(3.4, rel=2e-3)
    current = operating_point(fit.motor, 200.0, 5.0).current
    assert (fit.motor.resistance, fit.motor.constant, current) == pytest.approx(
        (3.395305, 1.273240, 3.926991), rel=1e-6
    )


def test_voltage_for_half_the_speed_of_a_fan():
    # Examination problem of the GATE kind, load with the square of the speed: 100 V, 1000 rpm, 10
    # A, 1 ohm; 500 rpm needs 47.5 V.
    motor = Motor(resistance=1.0, constant=(100.0 - 10.0) / (1000 * RPM), drag=0.0)
    load = 10.0 * motor.constant / 4.0
    assert operating_point(motor, 47.5, load).speed / RPM == pytest.approx(500.0, rel=1e-12)


def test_currents_of_school_problems():
    # Common college-physics problems, as printed there: running and starting current against back
    # e.m.f. and resistance.
    assert steady_current(Motor(115.0 / 21.5, 1.0, 0.0), 115.0, 80.23) == pytest.approx(
        6.5, abs=0.005
    )
    assert steady_current(Motor(0.5, 1.0, 0.0), 6.0, 4.5) == pytest.approx(3.0)
    assert stall(Motor(0.5, 1.0, 0.0), 6.0)[1] == pytest.approx(12.0)
    assert stall(Motor(13.0, 1.0, 0.0), 120.0)[1] == pytest.approx(9.23, abs=0.005)
    assert steady_current(Motor(13.0, 1.0, 0.0), 120.0, 66.0) == pytest.approx(4.15, abs=0.005)
    assert steady_current(Motor(0.15, 1.0, 0.0), 460.0, 442.0) == pytest.approx(120.0)
    assert steady_current(Motor(0.15, 1.0, 0.0), 460.0, 447.4) == pytest.approx(84.0)


def test_path_of_contact_of_a_20_60_pair():
    # Published multiple-choice question: module 8 mm, addendum of one module, 39.458 mm.
    pair = contact(20, 60, module=8e-3)
    assert (1e3 * pair.path, pair.ratio) == pytest.approx((39.4588, 1.6708), abs=5e-5)


# Sliding-loss factor pi (u+1)/(z1 u) (1 - e + e1² + e2²): G. Niemann and H. Ohlendorf, as used by
# B.-R. Höhn, K. Michaelis and M. Hinterstoißer, Goriva i maziva 48 (2009) 441 (formula from memory;
# confirmed by integrating sliding over a base pitch).
LOSSES = [
    (20, 20, 0.7784, 0.7784, 1.5568, 0.20579, (0.9897, 0.9794, 0.9588, 0.9383)),
    (20, 40, 0.7784, 0.8568, 1.6352, 0.16606, (0.9917, 0.9834, 0.9668, 0.9502)),
    (20, 60, 0.7784, 0.8924, 1.6708, 0.15320, (0.9923, 0.9847, 0.9694, 0.9540)),
    (17, 51, 0.7574, 0.8790, 1.6364, 0.17493, (0.9913, 0.9825, 0.9650, 0.9475)),
    (15, 45, 0.7407, 0.8679, 1.6086, 0.19361, (0.9903, 0.9806, 0.9613, 0.9419)),
    (12, 48, 0.7102, 0.8738, 1.5839, 0.22379, (0.9888, 0.9776, 0.9552, 0.9329)),
    (12, 36, 0.7102, 0.8462, 1.5564, 0.23179, (0.9884, 0.9768, 0.9536, 0.9305)),
    (10, 40, 0.6847, 0.8568, 1.5415, 0.25974, (0.9870, 0.9740, 0.9481, 0.9221)),
]


@pytest.mark.parametrize(("z1", "z2", "e1", "e2", "ratio", "loss", "efficiencies"), LOSSES)
def test_loss_factor_with_the_whole_path(z1, z2, e1, e2, ratio, loss, efficiencies):
    pair = contact(z1, z2)
    if not pair.cut_pinion:
        assert (pair.e1, pair.e2, pair.ratio) == pytest.approx((e1, e2, ratio), abs=6e-5)
    found = loss_factor(z1, z2, e1, e2)
    assert found == pytest.approx(loss, rel=3e-4)
    assert [1 - f * found for f in (0.05, 0.1, 0.2, 0.3)] == pytest.approx(efficiencies, abs=6e-5)


@pytest.mark.parametrize(
    ("z1", "z2", "ratio", "loss"),
    [(12, 48, 1.4053, 0.1905), (12, 36, 1.4053, 0.2032), (10, 40, 1.2640, 0.2122)],
)
def test_loss_factor_of_undercut_pinions_with_the_path_cut_at_the_base_point(z1, z2, ratio, loss):
    # Same formula; the path of contact ends where the line of action touches the pinion's base
    # circle.
    pair = contact(z1, z2)
    assert pair.cut_pinion
    assert pair.ratio == pytest.approx(ratio, abs=6e-5)
    assert loss_factor(z1, z2, pair.e1, pair.e2) == pytest.approx(loss, abs=6e-5)
    assert mesh_efficiency(z1, z2, 0.2) == pytest.approx(1 - 0.2 * loss, abs=2e-5)


def test_efficiencies_stay_within_what_handbooks_give_for_spur_gears():
    # One general handbook table: spur gears 94 to 98 % per mesh; well-lubricated steel sets 98 to
    # 99 %.
    assert 0.98 < mesh_efficiency(20, 60, 0.08) < 0.995
    assert 0.94 < mesh_efficiency(20, 60, 0.3) < 0.98


FRICTIONS = (0.044, 0.08, 0.12, 0.2, 0.3)


BOTH_WAYS = {
    3: ((0.527, 0.106), (0.379, -0.62), (0.289, -1.43), (0.195, -3.03), (0.139, -5.0)),
    5: ((0.649, 0.463), (0.503, 0.027), (0.402, -0.455), (0.286, -1.41), (0.209, -2.58)),
    10: ((0.784, 0.728), (0.664, 0.510), (0.567, 0.270), (0.436, -0.200), (0.336, -0.767)),
    20: ((0.871, 0.857), (0.785, 0.743), (0.706, 0.620), (0.582, 0.385), (0.471, 0.110)),
    30: ((0.900, 0.895), (0.829, 0.813), (0.759, 0.725), (0.641, 0.562), (0.525, 0.377)),
}
"""Recomputed from (cos a - mu tan l)/(cos a + mu cot l) and, back, (cos a - mu cot l)/(cos a + mu
tan l), a = 20°."""


@pytest.mark.parametrize(("degrees", "row"), BOTH_WAYS.items())
def test_worm_forward_and_back(degrees, row):
    # J. E. Shigley, Mechanical Engineering Design, efficiency of worm gears (formula from memory).
    for friction, (forward, back) in zip(FRICTIONS, row, strict=True):
        found = screw_efficiency(math.radians(degrees), friction)
        assert found.forward == pytest.approx(forward, abs=6e-4)
        assert found.reverse == pytest.approx(back, abs=1e-2 if back < -0.6 else 6e-4)


@pytest.mark.parametrize(
    ("sheave", "two", "four"),
    [(0.98, 0.9900, 0.9704), (0.96, 0.9800, 0.9416), (0.917, 0.9585, 0.8822)],
)
def test_efficiency_without_a_lead_sheave(sheave, two, four):
    # (1 - E^n)/(n (1 - E)), the formula of DIN 15020 as remembered (from memory); values
    # recomputed.
    assert (rope.tackle_efficiency(2, sheave), rope.tackle_efficiency(4, sheave)) == pytest.approx(
        (two, four), abs=6e-5
    )


# Public table of three- and eight-strand rope: breaking force kN and kg/m. Its labels of 5, 6, 8
# and 10 mm are rounded from 3/16, 1/4, 5/16 and 3/8 in, which is what its forces fit.
FIBRE = [
    ("nylon", 3 / 16, 3.91, 0.013),
    ("nylon", 1 / 4, 6.61, 0.023),
    ("nylon", 5 / 16, 10.2, 0.036),
    ("nylon", 3 / 8, 14.4, None),
    ("polyester", 3 / 16, 3.40, 0.016),
    ("polyester", 1 / 4, 5.85, 0.029),
    ("polyester", 5 / 16, 9.10, 0.045),
    ("polyester", 3 / 8, 12.9, None),
    ("polypropylene", 1 / 4, 5.00, 0.020),
    ("polypropylene", 5 / 16, 7.61, 0.030),
    ("polypropylene", 3 / 8, 10.8, None),
]


@pytest.mark.parametrize(("name", "inches", "force", "mass"), FIBRE)
def test_fibre_rope_strength_and_mass(name, inches, force, mass):
    row, diameter = load_ropes()[name], inches * 0.0254
    assert breaking_force(row, diameter) / 1e3 == pytest.approx(force, rel=0.15)
    if mass is not None:
        assert row.mass_per_volume * diameter**2 == pytest.approx(mass, rel=0.15)


def test_manila_rule():
    # Rule of thumb: 900 lbf times the circumference in inches squared; 1.5 in gives 2025 lbf = 9007
    # N.
    row = load_ropes()["manila"]
    assert breaking_force(row, 1.5 * 0.0254 / math.pi) == pytest.approx(9007, rel=0.01)


@pytest.mark.parametrize(
    ("name", "service"), [("PLA", 50), ("PETG", 60), ("ABS", 80), ("ASA", 85), ("PA12", 90)]
)
def test_service_limits_of_printed_polymers(name, service):
    # Public filament wiki, App. A.1 (excerpt): at its service limit a part still carries a load,
    # but no longer what it carries at 23 °C.
    assert 0.1 < temperature_factor(float(service), load_materials()[name].softening) < 0.75
