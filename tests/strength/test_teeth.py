"""Tooth strength: metal, moulded and printed, tests that replace the estimate, warmth and load
cycles."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.physics.gears import ISO_RACK, contact, loss_factor
from winchsim.strength.materials import Material, Origin
from winchsim.strength.printed import PrintedBody
from winchsim.strength.teeth import (
    FLANK_HEATING,
    ROOT_HEATING,
    Tooth,
    dynamic_factor,
    friction_temperature,
    tooth_force,
    tooth_strength,
)
from winchsim.strength.tooth_form import form_factor, tip_load, tip_load_factors

LINE = 0.45e-3
ORIGINS = {
    "tensile_strength": Origin("a paper", 40e6, 55e6),
    "flexural_strength": Origin("a paper", 60e6, 90e6),
    "softening": Origin("from memory"),
    "across_layers": Origin("from memory", 0.5, 0.7),
}
MOULDED_ORIGINS = {
    "tensile_strength": Origin("a paper", 40e6, 60e6),
    "softening": Origin("from memory"),
}
PRINT = Material(
    "print",
    "printed polymer",
    1270.0,
    50e6,
    2e9,
    flexural_strength=80e6,
    softening=73.0,
    across_layers=0.6,
    origins=ORIGINS,
)
MOULDED = Material(
    "moulded", "moulded polymer", 1410.0, 60e6, 2.8e9, softening=150.0, origins=MOULDED_ORIGINS
)
BRASS = Material(
    "brass",
    "metal",
    8470.0,
    400e6,
    97e9,
    yield_strength=220e6,
    origins={"yield_strength": Origin("a book")},
)
GEAR = Tooth(40, 1e-3, 8e-3, bore=5e-3)


def test_metal_tooth_is_lewis_beam():
    found = tooth_strength(Tooth(12, 1e-3, 6e-3, bore=2e-3), BRASS)
    assert found.value == pytest.approx(220e6 * 6e-3 * 1e-3 * form_factor(12))
    assert found.basis == "tabled"
    assert (
        tooth_strength(Tooth(12, 1e-3, 6e-3), BRASS, contact_ratio=1.6).value == found.value
    )  # the load stays at the tip


def test_thin_rim_weakens_a_metal_pinion_too():
    # 10 teeth, m 1: root 7.5 mm over a bore of 5 mm leaves 1.25 mm, 0.556 of the depth.
    found = tooth_strength(Tooth(10, 1e-3, 6e-3, bore=5e-3), BRASS)
    assert found.backup_ratio == pytest.approx(1.25 / 2.25)
    thick = tooth_strength(Tooth(10, 1e-3, 6e-3), BRASS)
    assert thick.value / found.value == pytest.approx(1.6 * math.log(2.242 * 2.25 / 1.25))
    assert not found.outside_published_range
    thinner = tooth_strength(Tooth(10, 1e-3, 6e-3, bore=5.6e-3), BRASS)
    assert thinner.outside_published_range and thinner.low < thinner.value < thinner.high


def test_moulded_tooth_uses_the_root_stress_form():
    found = tooth_strength(GEAR, MOULDED, contact_ratio=1.6)
    form, stress = tip_load_factors(40)
    wanted = 60e6 * 8e-3 * 1e-3 / (form * stress * (0.25 + 0.75 / 1.6))
    assert found.value == pytest.approx(wanted)
    assert (found.basis, found.low, found.high) == (
        "from memory",
        pytest.approx(wanted * 40 / 60),
        pytest.approx(wanted),
    )


@pytest.mark.parametrize("teeth", [17, 30, 60])
def test_the_guideline_form_lies_within_a_fifth_of_lewis_beam(teeth):
    # Lewis has no notch and no sharing of load; the guideline form has both, and they nearly
    # cancel.
    tooth = Tooth(teeth, 1e-3, 8e-3)
    beam = tooth_strength(tooth, BRASS).value / 220e6
    root = tooth_strength(tooth, MOULDED, contact_ratio=contact(17, 60).ratio).value / 60e6
    assert root == pytest.approx(beam, rel=0.2)


# --- prints ---------------------------------------------------------------------------------------


def test_a_printed_tooth_bends_under_the_load_that_it_carries_alone():
    pair = contact(20, 40)
    found = tooth_strength(GEAR, PRINT, contact_ratio=pair.ratio)
    form = form_factor(40, contact_ratio=pair.ratio)
    assert found.value == pytest.approx(1.1 * 80e6 * 8e-3 * 1e-3 * form)
    assert (found.low, found.high) == pytest.approx((found.value / 2, 2 * found.value))
    assert found.value > 1.3 * tooth_strength(GEAR, PRINT).value  # against the load at the tip


def test_the_highest_point_of_single_contact_lies_one_base_pitch_from_the_start():
    # By hand, 20 and 40 teeth, in modules: the pinion's contact ends at its tip and starts a path
    # before it.
    pair, base = contact(20, 40), 10 * math.cos(math.radians(20))
    along = math.sqrt(11**2 - base**2) - pair.path + 2 * math.pi * base / 20
    flank = math.atan(along / base)
    half = (
        math.pi / 40 + (math.tan(math.radians(20)) - math.radians(20)) - (math.tan(flank) - flank)
    )
    load_angle, _ = tip_load(20, 0.0, math.radians(20), ISO_RACK, pair.ratio)
    assert load_angle == pytest.approx(flank - half, abs=1e-9)
    assert form_factor(20, contact_ratio=2.5) == form_factor(20, contact_ratio=2.0)
    assert form_factor(20, contact_ratio=0.9) == form_factor(20)


@pytest.mark.parametrize("material", [PRINT, MOULDED])
def test_walls_and_infill_do_not_weaken_a_tooth_nor_count_in_a_moulded_one(material):
    hollow = tooth_strength(GEAR, material, body=PrintedBody(1, LINE, 0.10))
    assert hollow.value == tooth_strength(GEAR, material).value


def test_printed_standing_keeps_the_strength_between_layers():
    lying = tooth_strength(GEAR, PRINT)
    standing = tooth_strength(GEAR, PRINT, body=PrintedBody(9, LINE, 1.0, direction="standing"))
    assert standing.value == pytest.approx(0.6 * lying.value)
    spread = math.hypot(math.log(2), math.log(0.6 / 0.5))
    assert standing.low == pytest.approx(standing.value * math.exp(-spread))
    assert standing.basis == "from memory"
    unknown = replace(PRINT, across_layers=None)
    with pytest.raises(DomainError, match="print direction"):
        tooth_strength(GEAR, unknown, body=PrintedBody(9, LINE, 1.0, direction="standing"))


def test_warmth_weakens_and_is_named():
    cold, warm = tooth_strength(GEAR, PRINT), tooth_strength(GEAR, PRINT, temperature=48.0)
    assert warm.value == pytest.approx(0.55 * cold.value)
    assert (cold.basis, warm.basis) == ("tabled", "from memory")


def test_given_stress_replaces_the_table_but_not_the_range_of_the_formula():
    found = tooth_strength(GEAR, PRINT, breaking_stress=40e6)
    assert found.value == pytest.approx(0.5 * tooth_strength(GEAR, PRINT).value)
    assert (found.basis, found.low, found.high) == (
        "given",
        pytest.approx(found.value / 2),
        pytest.approx(2 * found.value),
    )
    metal = tooth_strength(GEAR, BRASS, breaking_stress=110e6)
    assert (metal.basis, metal.low, metal.high) == ("given", metal.value, metal.value)


def test_a_test_replaces_estimate_and_range():
    found = tooth_strength(GEAR, PRINT, temperature=48.0, tested_force=90.0)
    assert (found.value, found.low, found.high, found.basis) == (90.0, 90.0, 90.0, "tested")


def test_impossible_teeth_are_refused():
    with pytest.raises(DomainError, match="bore"):
        tooth_strength(Tooth(10, 1e-3, 5e-3, bore=7.5e-3), BRASS)


# --- demand ---------------------------------------------------------------------------------------


def test_pinions_share_the_force_of_a_common_gear():
    # 1 N·m on a 40 mm gear: 50 N, or 12.5 N at each of four pinions.
    assert tooth_force(-1.0, 40e-3) == pytest.approx(50.0)
    assert tooth_force(np.array([1.0, 2.0]), 40e-3, 4) == pytest.approx([12.5, 25.0])


def test_only_metal_teeth_take_the_velocity_factor():
    assert dynamic_factor(BRASS, 6.1) == pytest.approx(2.0)
    assert dynamic_factor(BRASS, 6.1, 1.25) == pytest.approx(2.5)
    assert dynamic_factor(PRINT, 4.0, 1.25) == 1.25


# --- warmth from friction -------------------------------------------------------------------------


def test_friction_warms_a_running_tooth_only():
    pair = contact(20, 40)
    loss = loss_factor(20, 40, pair.e1, pair.e2)
    tooth = Tooth(20, 1e-3, 8e-3)
    # 10 W at 1 m/s: 10 · 0.3 · H_V · 2400 / (8 · 20 · 1^0.75) by hand.
    found = friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, ROOT_HEATING["polymer"])
    assert found == pytest.approx(20 + 10 * 0.3 * loss * 2400 / 160)
    assert friction_temperature(20.0, 0.0, 0.3, loss, tooth, 0.0, ROOT_HEATING["polymer"]) == 20.0
    assert friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, FLANK_HEATING["polymer"]) > found
    both = friction_temperature(
        20.0, np.array([10.0, 20.0]), 0.3, loss, tooth, 1.0, ROOT_HEATING["polymer"]
    )
    assert both - 20 == pytest.approx(np.array([1, 2]) * (found - 20))
    assert friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, 0.0) == 20.0
