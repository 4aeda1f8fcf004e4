"""Defaults and their ranges against published tables: friction, bearings, stages, temperatures,
supplies, ropes; and motors of which only lifts were measured."""

import math

import pytest

from winchsim.inputs.supply import Supply
from winchsim.model.reductions import USUAL_EFFICIENCY
from winchsim.physics import motor
from winchsim.physics.bearings import bearing_friction
from winchsim.physics.supply import LimitSide, Regime, Source, balance
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes
from winchsim.strength.line import winding_cautions
from winchsim.strength.materials import find_friction
from winchsim.strength.printed import temperature_factor

pytestmark = pytest.mark.reference

RPM = 2 * math.pi / 60
G = 9.80665

# --- friction and bearings ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "greased", "low", "high"),
    [
        # Covestro, Snap-Fit Joints for Plastics, Table 3 (second hand): plastic on steel, and the
        # factor it gives for a plastic on itself.
        ("POM", "steel", False, 0.20, 0.35),
        ("PA66", "steel", False, 0.30, 0.40),
        ("PA12", "steel", False, 0.30, 0.40),
        ("PBT", "steel", False, 0.35, 0.40),
        ("PC", "steel", False, 0.45, 0.55),
        ("ABS", "steel", False, 0.50, 0.65),
        ("POM", "POM", False, 0.30, 0.525),
        ("PA66", "PA66", False, 0.45, 0.60),
        ("PC", "PC", False, 0.54, 0.66),
        ("ABS", "ABS", False, 0.60, 0.78),
        # Shackelford and Alexander, CRC Materials Science and Engineering Handbook, 2001, Table
        # 399 (excerpt): polycarbonate on itself. (Its 0.04 to 0.13 for PA66 on itself contradict
        # the row above and are not used.)
        ("PC", "PC", False, 0.52, 0.52),
        # Materials Science-Poland 2025, 10.2478/msp-2025-0039 (excerpt; the other face not seen).
        ("PLA", "PLA", False, 0.62, 0.76),
        # Polymers 15 (2023) 4112, abstract (excerpt): printed ABS, PC and PLA, dry, oiled, greased.
        ("PLA", "PLA", True, 0.04, 0.20),
        ("ABS", "ABS", True, 0.04, 0.20),
        ("PC", "PC", True, 0.04, 0.20),
    ],
)
def test_friction_of_flanks(first, second, greased, low, high):
    rows = load_materials()
    least, most = find_friction(load_friction_pairs(), rows[first], rows[second], greased).span(
        "friction"
    )
    assert least <= math.sqrt(low * high) <= most


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        # Koyo (JTEKT), Table 8-1 (excerpt), M = mu P d/2; start up to twice: roymech (excerpt).
        ("ball", 0.0010, 0.0015),
        ("ball", 0.0020, 0.0030),
        ("metal bush", 0.10, 0.20),
        # Covestro, Table 3 (second hand): POM and PA on steel.
        ("polymer bore", 0.20, 0.40),
        # igus data sheets (excerpt), dry on steel: J, B and the mean of J200.
        ("polymer bore", 0.06, 0.18),
        ("polymer bore", 0.18, 0.28),
        ("polymer bore", 0.11, 0.11),
        # Simonović and others (excerpt): sintered PA12 journal, dry, run in.
        ("polymer bore", 0.10, 0.10),
    ],
)
def test_friction_of_bearings(kind, low, high):
    found = bearing_friction(kind, False)
    assert found.low <= math.sqrt(low * high) <= found.high


@pytest.mark.parametrize(
    ("kind", "efficiencies"),
    [
        # US DOE, motor tip sheet on belts (excerpt): V-belt new, slack, toothed; 0.92 typical, WVU.
        ("belt", (0.95, 0.98, 0.93, 0.92)),
        # Citizen Micro, technical notes on geared motors (excerpt).
        ("planetary", (0.81,)),
    ],
)
def test_usual_efficiency_of_a_stage(kind, efficiencies):
    usual = USUAL_EFFICIENCY[kind]
    assert all(usual.low <= e <= usual.high for e in efficiencies)
    assert usual.value == pytest.approx(sorted(efficiencies)[len(efficiencies) // 2], abs=0.011)


# --- temperatures ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "glass", "vicat", "deflection"),
    [
        # Data sheets of Polymaker, printed (second hand): glass transition, Vicat, deflection at
        # 1.8 MPa. Of nylon PA6/66, dry.
        ("PLA", 61, 63, 58), ("PETG", 81, 84, 75), ("ABS", 101, 104, 98), ("ASA", 98, 105, 100),
        ("PC", 113, 117, 99), ("PA", 66, None, 70),
        # PolyTerra PLA, data sheet V5.3 (excerpt).
        ("PLA", 60.6, 62.7, 52),
    ],
)  # fmt: skip
def test_softening_of_printed_polymers(name, glass, vicat, deflection):
    low, high = load_materials()[name].span("softening")
    assert all(low <= t <= high for t in (glass, vicat, deflection) if t is not None)


@pytest.mark.parametrize(
    ("name", "gone"), [("PLA", True), ("PETG", True), ("ABS", False), ("ASA", False), ("PC", False)]
)
def test_what_a_parked_car_leaves(name, gone):
    # Aljubury and others, J. Engineering 21(3) 2015 (second hand): air of 70 °C in a parked car,
    # which printed PLA does not survive and PETG hardly.
    assert (temperature_factor(70.0, load_materials()[name].softening) < 0.25) is gone


@pytest.mark.parametrize(("name", "factor"), [("PA66", 0.8621), ("POM", 0.7143)])
def test_what_warmth_leaves_of_moulded_teeth(name, factor):
    # sendima.com, plastic gears (excerpt, formula only): 1/(1 + a (T - 100 °F)) with a 0.004 for
    # nylon 101 and 0.010 for acetal, here at 140 °F.
    softening = load_materials()[name].softening
    assert temperature_factor(60.0, softening) == pytest.approx(factor, rel=0.08)


# --- supplies -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "resistance",
    [
        # NP125 data sheet, 12 V 5 Ah lead (excerpt); Panasonic LC-X1228, 28 Ah (excerpt).
        0.027, 0.006,
        # Three 18650 cells, at most 20, 30 and 90 mΩ each (makers' sheets, excerpt).
        3 * 0.020, 3 * 0.030, 3 * 0.090,
        # Three lithium-polymer cells, good and aged (uavmodel.com, excerpt).
        3 * 0.008, 3 * 0.012,
        # One AAA alkaline cell, fresh (Energizer E92, second hand); pulse of 5 to 505 mA: 0.214
        # ohm.
        0.150, 0.300, (1.485 - 1.378) / 0.5,
    ],
)  # fmt: skip
def test_resistance_of_batteries_lies_in_the_range_of_one_that_is_left_out(resistance):
    low, high, _ = Supply.__dataclass_fields__["resistance"].metadata["spec"].assumed
    assert low <= resistance <= high


def test_controller_at_a_stall():
    # Team test, 2018, public forum thread "stall testing 775 pro" (excerpt): 12 V and about 10 A
    # in, 3.3 V and 36 A in the stalled motor.
    source = Source(0.0, 10.0, duty=1.0, limit_side=LimitSide.BATTERY)
    voltage, (current,), drawn = balance(
        Regime.CURRENT, 12.0, source, (1,), (3.3 / 36,), (0.0,), (0.0,), 10.0
    )
    assert (voltage, current, drawn) == pytest.approx((3.3, 36.0, 10.0), rel=0.01)


# --- ropes ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "ratio"),
    [
        # Samson (second hand): synthetic rope on a sheave, at least. Exsil, usage notes (excerpt):
        # running rope 5 to 20.
        ("polyester", 8), ("nylon", 8), ("HMPE", 8), ("polyester", 5), ("polyester", 20),
    ],
)  # fmt: skip
def test_bend_ratio_of_fibre_rope(name, ratio):
    low, high = load_ropes()[name].span("bend_ratio")
    assert low <= ratio <= high


@pytest.mark.parametrize(
    ("name", "layers", "turns", "cautions"),
    [
        # Exsil, usage notes (excerpt): at most 3 layers, at least 8 turns on a flat drum.
        ("polyester", 3, 8.0, set()),
        ("polyester", 4, 8.0, {"layers"}),
        ("polyester", 3, 7.0, {"dead_turns"}),
        ("steel wire 6x7", 4, 3.0, set()),
    ],
)
def test_windings_of_fibre_rope(name, layers, turns, cautions):
    assert {key for key, *_ in winding_cautions(load_ropes()[name], layers, turns)} == cautions


# --- measured lifts -------------------------------------------------------------------------------

LIFTED = {0.08: 123.17, 0.10: 121.37, 0.12: 119.68, 0.14: 120.88, 0.16: 118.82}
"""E. Welenc, lab of 19 September 2014, sites.suffolk.edu (excerpt): mass [kg] and speed [rpm] of
one motor of a kit at full power. Current was not measured: any will do here."""


@pytest.mark.parametrize("mass", [0.10, 0.12, 0.14])
def test_speed_under_a_mass_between_two_others(mass):
    radius = 0.0132
    (m0, n0), (m1, n1) = ((m, LIFTED[m] * RPM) for m in (0.08, 0.16))
    slope = (n0 - n1) / (m1 - m0)
    free = n0 + slope * m0
    found = motor.from_data_sheet(9.0, free, 0.1, free / slope * G * radius, 1.0, strict=False)
    assert found.operating_point(9.0, mass * G * radius).speed / RPM == pytest.approx(
        LIFTED[mass], rel=0.02
    )


@pytest.mark.parametrize(
    ("percent", "rpm"), [(60.0, 70.14), (70.0, 81.52), (80.0, 93.05), (90.0, 104.82)]
)
def test_speed_of_the_same_lift_at_a_lower_voltage(percent, rpm):
    # The same lab, 0.10 kg: 55.38 rpm at half the power, 121.28 at the whole, the rest within 4 %.
    volts = (0.09 * 50.0, 9.0)
    slope = (121.28 - 55.38) * RPM / (volts[1] - volts[0])
    drag = volts[1] - 121.28 * RPM / slope
    rotor = motor.Motor(resistance=1.0, constant=1 / slope, drag=0.0)
    found = motor.operating_point(rotor, 0.09 * percent, drag / slope)
    assert found.speed / RPM == pytest.approx(rpm, rel=0.04)


def test_current_grows_with_the_mass():
    # School laboratory, 6 V, thread on the axle, markedbyteachers.com (excerpt): 1.03 A with 0.40
    # kg, 1.12 A with 0.45 kg, 1.20 A stalled by 0.50 kg.
    radius = 2e-3
    idle = 1.03 - 0.40 * ((1.20 - 1.03) / 0.10)
    found = motor.from_data_sheet(6.0, 1000 * RPM, idle, 0.50 * G * radius, 1.20, strict=False)
    assert found.operating_point(6.0, 0.45 * G * radius).current == pytest.approx(1.12, abs=0.01)
