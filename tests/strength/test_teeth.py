"""Tooth strength: the two paths, printed gears, tests that replace the estimate, warmth and fatigue."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.physics.gears.mesh import contact, loss_factor
from winchsim.strength.materials import Material, Origin
from winchsim.strength.printed import PrintedBody
from winchsim.strength.teeth import (
    FLANK_HEATING,
    ROOT_HEATING,
    FatigueLine,
    Tooth,
    contact_ratio_factor,
    dynamic_factor,
    friction_temperature,
    lifts_to_fatigue,
    mesh_cycles,
    tooth_force,
    tooth_strength,
    walls_needed,
)
from winchsim.strength.tooth_form import root_section, tip_load_factors

LINE = 0.45e-3
ORIGINS = {
    "tensile_strength": Origin("a paper", 40e6, 55e6),
    "softening": Origin("from memory"),
    "across_layers": Origin("from memory", 0.5, 0.7),
}
PRINT = Material("print", "printed polymer", 1270.0, 50e6, 2e9, softening=73.0, across_layers=0.6, origins=ORIGINS)
MOULDED = Material("moulded", "moulded polymer", 1410.0, 60e6, 2.8e9, softening=150.0, origins=ORIGINS)
BRASS = Material("brass", "metal", 8470.0, 400e6, 97e9, 220e6, origins={"yield_strength": Origin("a book")})
GEAR = Tooth(40, 1e-3, 8e-3, bore=5e-3)


def test_metal_tooth_is_lewis_beam():
    found = tooth_strength(Tooth(12, 1e-3, 6e-3, bore=2e-3), BRASS)
    assert found.force == pytest.approx(220e6 * 6e-3 * 1e-3 * root_section(12).form_factor)
    assert (found.path, found.basis, found.main_cause) == ("beam", "tabled", "size")
    assert found.rim_factor == 1.0


def test_thin_rim_weakens_a_metal_pinion_too():
    # 10 teeth, m 1: root 7.5 mm over a bore of 5 mm leaves 1.25 mm, 0.556 of the depth.
    found = tooth_strength(Tooth(10, 1e-3, 6e-3, bore=5e-3), BRASS)
    assert found.backup_ratio == pytest.approx(1.25 / 2.25)
    assert found.rim_factor == pytest.approx(1.6 * math.log(2.242 * 2.25 / 1.25))
    assert found.main_cause == "thin rim"
    assert any("above the bore" in note for note in found.notes)


def test_moulded_tooth_uses_the_root_stress_form():
    found = tooth_strength(GEAR, MOULDED, contact_ratio=1.6)
    tip = tip_load_factors(40)
    wanted = 60e6 * 8e-3 * 1e-3 / (tip.form * tip.stress * (0.25 + 0.75 / 1.6))
    assert found.force == pytest.approx(wanted)
    assert (found.path, found.basis) == ("root stress", "from memory")


def test_the_two_paths_agree_within_a_fifth():
    # Lewis has no notch and no sharing of load; the guideline form has both, and they nearly cancel.
    for teeth in (17, 30, 60):
        tooth = Tooth(teeth, 1e-3, 8e-3)
        beam = tooth_strength(tooth, PRINT).force / 50e6
        root = tooth_strength(tooth, MOULDED, contact_ratio=contact(17, 60).ratio).force / 60e6
        assert root == pytest.approx(beam, rel=0.2)


def test_contact_ratio_factor_is_held_outside_one_to_two():
    assert [contact_ratio_factor(e) for e in (0.8, 1.0, 1.5, 2.0, 2.4)] == pytest.approx([1.0, 1.0, 0.75, 0.625, 0.625])


# --- prints ------------------------------------------------------------------------------------------------------------


def _printed_force_by_hand(tooth, walls, infill, depth, root):
    """All steps written out again for a print at room temperature, printed lying, 0.45 mm lines."""
    wall, full = walls * 0.45e-3, 1.2 * depth
    rim = wall + (full - wall) * infill if wall < full else full
    backup = rim / depth
    factor = 1.6 * math.log(2.242 / backup) if backup < 1.2 - 1e-9 else 1.0
    core = max(0.0, root - 2 * wall)
    sandwich = 1 - (core / root) ** 3 * (1 - infill)
    return 50e6 * tooth.width * tooth.module * root_section(tooth.teeth).form_factor * sandwich / factor


@pytest.mark.parametrize("module", [1e-3, 2e-3])
def test_two_walls_and_ten_per_cent_against_six_walls_and_forty(module):
    tooth = replace(GEAR, module=module)
    root = tooth.root.thickness * module
    few = tooth_strength(tooth, PRINT, body=PrintedBody(2, LINE, 0.10))
    many = tooth_strength(tooth, PRINT, body=PrintedBody(6, LINE, 0.40))
    by_hand = [_printed_force_by_hand(tooth, w, i, 2.25 * module, root) for w, i in ((2, 0.1), (6, 0.4))]
    assert [few.force, many.force] == pytest.approx(by_hand)
    assert many.force / few.force == pytest.approx({1e-3: 2.47, 2e-3: 2.42}[module], abs=5e-3)
    assert few.outside_published_range
    assert not many.outside_published_range
    assert few.main_cause == "walls"
    assert few.low < few.force < few.high


def test_walls_that_would_do():
    body = PrintedBody(2, LINE, 0.10)
    few = tooth_strength(GEAR, PRINT, body=body)
    enough = walls_needed(GEAR, PRINT, body, 2 * few.force)
    assert enough is not None
    assert tooth_strength(GEAR, PRINT, body=replace(body, walls=enough)).force >= 2 * few.force
    assert tooth_strength(GEAR, PRINT, body=replace(body, walls=enough - 1)).force < 2 * few.force
    assert walls_needed(GEAR, PRINT, body, 0.0) == 1
    solid = tooth_strength(GEAR, PRINT)
    assert walls_needed(GEAR, PRINT, body, solid.force) is not None
    assert walls_needed(GEAR, PRINT, body, 1.01 * solid.force) is None


def test_a_full_print_is_as_strong_as_a_solid_one():
    solid = tooth_strength(GEAR, PRINT)
    for body in (PrintedBody(2, LINE, 1.0), PrintedBody(10, LINE, 0.0)):
        assert tooth_strength(GEAR, PRINT, body=body).force == pytest.approx(solid.force)


def test_the_answer_with_the_square_of_the_density_stands_beside():
    body = PrintedBody(3, LINE, 0.3)
    found = tooth_strength(GEAR, PRINT, body=body)
    squared = tooth_strength(GEAR, PRINT, body=replace(body, infill_exponent=2.0))
    assert found.cautious_force == pytest.approx(squared.force)
    assert found.cautious_force < found.force
    assert squared.cautious_force == squared.force
    assert any("square of its density" in note for note in found.notes)


def test_a_print_without_walls_and_infill_has_no_rim():
    with pytest.raises(DomainError, match="no rim"):
        tooth_strength(GEAR, PRINT, body=PrintedBody(0, LINE, 0.0))


def test_print_settings_of_a_moulded_gear_do_not_count():
    assert tooth_strength(GEAR, MOULDED, body=PrintedBody(1, LINE, 0.1)).force == tooth_strength(GEAR, MOULDED).force


def test_printed_standing_keeps_the_strength_between_layers():
    lying = tooth_strength(GEAR, PRINT)
    standing = tooth_strength(GEAR, PRINT, body=PrintedBody(9, LINE, 1.0, direction="standing"))
    assert standing.force == pytest.approx(0.6 * lying.force)
    assert standing.low == pytest.approx(0.5 * 0.8 * lying.force)
    assert (standing.basis, standing.main_cause) == ("from memory", "layers")
    unknown = replace(PRINT, across_layers=None)
    with pytest.raises(DomainError, match="print direction"):
        tooth_strength(GEAR, unknown, body=PrintedBody(9, LINE, 1.0, direction="standing"))


def test_warmth_weakens_and_is_named():
    cold, warm = tooth_strength(GEAR, PRINT), tooth_strength(GEAR, PRINT, temperature=48.0)
    assert warm.force == pytest.approx(0.55 * cold.force)
    assert (cold.basis, warm.basis) == ("tabled", "from memory")
    assert warm.main_cause == "warmth"
    assert any("48.0 °C" in note for note in warm.notes)


def test_range_of_the_material_is_the_range_of_the_force():
    found = tooth_strength(GEAR, PRINT)
    assert (found.low, found.high) == pytest.approx((0.8 * found.force, 1.1 * found.force))
    assert found.as_strength().unit == "N"
    assert found.as_strength().value == found.force


def test_given_stress_replaces_the_table():
    found = tooth_strength(GEAR, PRINT, breaking_stress=25e6)
    assert found.force == pytest.approx(0.5 * tooth_strength(GEAR, PRINT).force)
    assert (found.basis, found.low, found.high) == ("given", found.force, found.force)
    with pytest.raises(DomainError, match="tooth strength"):
        tooth_strength(GEAR, PRINT, breaking_stress=0.0)


def test_a_test_replaces_the_estimate_and_keeps_it_beside():
    body = PrintedBody(2, LINE, 0.10)
    estimate = tooth_strength(GEAR, PRINT, body=body).force
    found = tooth_strength(GEAR, PRINT, body=body, tested_force=90.0)
    assert (found.force, found.low, found.high, found.basis) == (90.0, 90.0, 90.0, "tested")
    assert found.estimate == estimate
    assert not found.outside_published_range
    assert found.notes[0].startswith("Tested: it broke at 90.0 N")
    with pytest.raises(DomainError, match="tested"):
        tooth_strength(GEAR, PRINT, tested_force=0.0)


def test_impossible_teeth_are_refused():
    with pytest.raises(DomainError, match="face width"):
        Tooth(20, 1e-3, 0.0)
    with pytest.raises(DomainError, match="bore"):
        Tooth(20, 1e-3, 5e-3, bore=-1.0)
    with pytest.raises(DomainError, match="bore"):
        tooth_strength(Tooth(10, 1e-3, 5e-3, bore=7.5e-3), BRASS)


# --- demand ------------------------------------------------------------------------------------------------------------


def test_pinions_share_the_force_of_a_common_gear():
    # 1 N·m on a 40 mm gear: 50 N, or 12.5 N at each of four pinions.
    assert tooth_force(-1.0, 40e-3) == pytest.approx(50.0)
    assert tooth_force(np.array([1.0, 2.0]), 40e-3, 4) == pytest.approx([12.5, 25.0])
    with pytest.raises(DomainError, match="sharing"):
        tooth_force(1.0, 40e-3, 0)
    with pytest.raises(DomainError, match="sharing"):
        tooth_force(1.0, 40e-3, np.array([2.0, 0.0]))


def test_only_metal_teeth_take_the_velocity_factor():
    assert dynamic_factor(BRASS, 6.1) == pytest.approx(2.0)
    assert dynamic_factor(BRASS, 6.1, 1.25) == pytest.approx(2.5)
    assert dynamic_factor(PRINT, np.array([0.0, 4.0]), 1.25) == pytest.approx([1.25, 1.25])
    with pytest.raises(DomainError, match="application"):
        dynamic_factor(BRASS, 1.0, 0.9)


# --- warmth from friction ----------------------------------------------------------------------------------------------


def test_friction_warms_a_running_tooth_only():
    pair = contact(20, 40)
    loss = loss_factor(20, 40, pair.e1, pair.e2)
    tooth = Tooth(20, 1e-3, 8e-3)
    # 10 W at 1 m/s: 10 · 0.3 · H_V · 2400 / (8 · 20 · 1^0.75) by hand.
    found = friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, ROOT_HEATING["polymer"])
    assert found == pytest.approx(20 + 10 * 0.3 * loss * 2400 / 160)
    assert friction_temperature(20.0, 0.0, 0.3, loss, tooth, 0.0, ROOT_HEATING["polymer"]) == 20.0
    flank = friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, FLANK_HEATING["polymer"])
    assert flank > found
    short = friction_temperature(20.0, np.array([10.0, 20.0]), 0.3, loss, tooth, 1.0, ROOT_HEATING["polymer"], duty=0.5)
    assert short - 20 == pytest.approx(np.array([1, 2]) * (found - 20) * 0.5**0.64)
    assert friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, 0.0) == 20.0
    with pytest.raises(DomainError, match="duty"):
        friction_temperature(20.0, 10.0, 0.3, loss, tooth, 1.0, 2400.0, duty=2.0)


# --- fatigue -----------------------------------------------------------------------------------------------------------


def test_mesh_cycles_of_pinion_and_common_gear():
    assert mesh_cycles(20 * math.pi) == pytest.approx(10)
    assert mesh_cycles(-20 * math.pi, meshes_per_turn=6) == pytest.approx(60)


def test_lifts_to_fatigue_along_a_line():
    line = FatigueLine(30e6, 1e7, 10.0, "a paper")
    assert lifts_to_fatigue(line, 30e6, 1e3) == pytest.approx(1e4)
    assert lifts_to_fatigue(line, 60e6, 1e3) == pytest.approx(1e4 / 2**10)
    assert lifts_to_fatigue(line, 0.0, 1e3) == math.inf
    assert lifts_to_fatigue(None, 30e6, 1e3) is None


def test_a_fatigue_line_needs_a_source():
    with pytest.raises(DomainError, match="source"):
        FatigueLine(30e6, 1e7, 10.0, "")
    with pytest.raises(DomainError, match="positive"):
        FatigueLine(30e6, 0.0, 10.0, "a paper")
