"""Spur gear geometry: limits, round trips and what must hold for any gear."""

import math

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.physics import gears
from winchsim.physics.gears import (
    ISO_RACK,
    Rack,
    contact,
    diameters,
    disc_inertia,
    gear_inertia,
    inverse_involute,
    involute,
    loss_factor,
    mesh_efficiency,
    tip_thickness,
    undercut_limit,
)
from winchsim.strength import tooth_form
from winchsim.strength.tooth_form import form_factor, tip_load, tip_load_factors

DEG = math.pi / 180


def lewis(*gear, **more):
    """Lewis form factor of a gear."""
    return form_factor(*gear, **more)


def test_circles_of_a_standard_gear():
    found = diameters(20, 2e-3)
    assert (found.base, found.tip, found.root, found.whole_depth) == pytest.approx(
        (40e-3 * math.cos(20 * DEG), 44e-3, 35e-3, 4.5e-3)
    )


def test_shift_moves_tip_and_root_alike():
    plain, shifted = diameters(12, 1e-3), diameters(12, 1e-3, shift=0.3)
    assert (shifted.tip - plain.tip, shifted.root - plain.root) == pytest.approx((0.6e-3, 0.6e-3))
    assert shifted.base == plain.base


@pytest.mark.parametrize("degrees", [1, 10, 20, 35, 60])
def test_inverse_involute_undoes_the_involute(degrees):
    assert inverse_involute(involute(degrees * DEG)) == pytest.approx(degrees * DEG, rel=1e-9)


def test_tooth_is_half_a_pitch_thick_at_the_pitch_line_of_a_large_gear():
    # On a rack the tip is half a pitch less two addenda times the tangent of the pressure angle.
    assert tip_thickness(10**6) == pytest.approx(math.pi / 2 - 2 * math.tan(20 * DEG), rel=1e-4)


def test_undercut_limit_of_both_racks():
    # A rack whose straight flank ends one module below the pitch line: 2/sin² of the pressure
    # angle.
    sharp = Rack(1.0, 1.0, 0.0)
    assert undercut_limit(rack=sharp) == pytest.approx(17.0973, abs=5e-5)
    assert undercut_limit(25 * DEG, rack=sharp) == pytest.approx(11.198, abs=5e-4)
    assert undercut_limit(rack=Rack(1.0, 1.157, 0.3)) < undercut_limit(rack=ISO_RACK)
    assert undercut_limit(shift=0.3) < undercut_limit()
    assert undercut_limit(shift=2.0) == 0.0


def test_fillet_runs_from_the_root_circle_to_the_end_of_the_straight_flank():
    low, high = tooth_form._fillet_range(0.0, 20 * DEG, ISO_RACK)
    x, y = tooth_form._fillet(np.array([low, high]), 30, 0.0, 20 * DEG, ISO_RACK)
    assert math.hypot(x[0], y[0]) == pytest.approx(15 - 1.25, rel=1e-12)
    # Where the straight flank takes over, the point lies on the involute: angle from the tooth's
    # centre line at that radius.
    angle_there = math.acos(15 * math.cos(20 * DEG) / math.hypot(x[1], y[1]))
    half = math.pi / 60 + involute(20 * DEG) - involute(angle_there)
    assert math.atan2(x[1], y[1]) == pytest.approx(half, rel=1e-9)


def test_hardest_section_is_the_hardest_of_the_whole_fillet():
    places = np.linspace(*tooth_form._fillet_range(0.0, 20 * DEG, ISO_RACK), 20001)
    x, y = tooth_form._fillet(places, 17, 0.0, 20 * DEG, ISO_RACK)
    _, apex = tip_load(17, 0.0, 20 * DEG, ISO_RACK)
    inside = y < apex
    assert form_factor(17) == pytest.approx(
        np.min((2 * x[inside]) ** 2 / (6 * (apex - y[inside]))), rel=1e-6
    )


@pytest.mark.parametrize("angle", [14.5, 20, 25])
def test_form_factor_grows_with_teeth_and_with_shift(angle):
    found = [lewis(z, angle * DEG, 0.0 if z > 12 else 0.3) for z in (14, 20, 40, 100, 1000)]
    assert found == sorted(found)
    assert lewis(12, 20 * DEG, 0.3) > lewis(12, 20 * DEG, 0.0)


def test_small_undercut_pinions_have_a_weak_but_real_tooth():
    # Own computation for a rack of 1.25 m and 0.3 m: 8 teeth 0.155, 9: 0.177, 10: 0.197, 11: 0.214,
    # 12: 0.230.
    rack = Rack(1.0, 1.25, 0.3)
    found = [lewis(z, rack=rack) for z in (8, 9, 10, 11, 12)]
    assert found == pytest.approx([0.155, 0.177, 0.197, 0.214, 0.230], abs=6e-4)
    assert 0.05 < lewis(5) < lewis(6)


def test_tip_load_factors_weaken_small_gears():
    found = [tip_load_factors(z)[0] for z in (8, 12, 17, 30, 100)]
    assert found == sorted(found, reverse=True)
    assert tip_load_factors(12, shift=0.4)[0] < tip_load_factors(12)[0]


def test_equal_and_opposite_shifts_keep_the_centre_distance():
    pair = contact(12, 36, shift1=0.4, shift2=-0.4)
    assert pair.centre_distance == pytest.approx(24.0)
    # Tip circles 7.4 and 18.6, base circles 6 and 18 times cos 20°: √(7.4² - 5.638²) - 6 sin 20°
    # beyond the pitch point, √(18.6² - 16.914²) - 18 sin 20° before it.
    assert (pair.recess, pair.approach) == pytest.approx((2.7407, 1.5806), abs=1e-4)
    assert not pair.cut_pinion
    assert contact(12, 36).cut_pinion


def test_both_gears_of_an_equal_pair_are_alike():
    pair = contact(25, 25)
    assert pair.e1 == pytest.approx(pair.e2)
    assert (pair.clearance1, pair.clearance2) == pytest.approx((0.25, 0.25))
    swapped, straight = contact(60, 20), contact(20, 60)
    assert (swapped.e1, swapped.e2) == pytest.approx((straight.e2, straight.e1))


def _integrated_loss(z1, z2, e1, e2):
    """Sliding loss by stepping through one base pitch with the force shared equally by the pairs in
    contact."""
    phases = (np.arange(20000) + 0.5) / 20000
    pairs = np.stack([phases - e2 + k for k in range(math.ceil(e1 + e2))])
    touching = pairs < e1
    lost = np.sum(np.abs(pairs) * touching, axis=0) / np.maximum(touching.sum(axis=0), 1)
    return 2 * math.pi * (1 / z1 + 1 / z2) * lost.mean()


@pytest.mark.parametrize(("z1", "z2", "angle"), [(20, 40, 20), (60, 200, 14.5), (18, 60, 25)])
def test_loss_factor_against_stepping_through_the_mesh(z1, z2, angle):
    pair = contact(z1, z2, pressure_angle=angle * DEG)
    found = loss_factor(z1, z2, pair.e1, pair.e2)
    assert found == pytest.approx(_integrated_loss(z1, z2, pair.e1, pair.e2), rel=1e-3)


def test_more_than_two_pairs_in_contact_are_counted():
    pair = contact(60, 200, pressure_angle=14.5 * DEG)
    assert pair.ratio > 2
    two_pairs_only = math.pi * (1 / 60 + 1 / 200) * (1 - pair.ratio + pair.e1**2 + pair.e2**2)
    assert loss_factor(60, 200, pair.e1, pair.e2) != pytest.approx(two_pairs_only, rel=0.05)


def test_lost_contact_is_referred_to_the_time_in_contact():
    assert loss_factor(20, 20, 0.4, 0.4) == pytest.approx(2 * math.pi * 0.1 * 0.16 / 0.8)


def test_efficiency_falls_with_friction_and_takes_arrays():
    found = mesh_efficiency(20, 60, np.array([0.0, 0.1, 0.2]))
    assert found[0] == 1.0
    assert found[1] - found[2] == pytest.approx(found[0] - found[1])


def test_bodies():
    # Steel disc 100 mm x 10 mm, no bore: 0.6165 kg, m D²/8.
    assert gear_inertia(50, 2e-3, 10e-3, 7850.0) == pytest.approx(0.616538 * 0.1**2 / 8, rel=1e-5)
    core = 1e3 * math.pi * 0.02**2 * 0.01 * 0.02**2 / 2
    assert disc_inertia(0.04, 0.0, 0.01, 1e3) == pytest.approx(core)
    hollow = disc_inertia(0.1, 0.0, 0.01, 1e3) - core
    assert disc_inertia(0.1, 0.04, 0.01, 1e3) == pytest.approx(hollow)
    assert gear_inertia(50, 2e-3, 10e-3, 7850.0, fill=0.5) == pytest.approx(
        0.5 * gear_inertia(50, 2e-3, 10e-3, 7850.0)
    )
    with pytest.raises(DomainError, match="bore"):
        gear_inertia(50, 2e-3, 10e-3, 7850.0, bore=0.1)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: lewis(6, shift=0.8), "come to a point"),
        (lambda: tip_load_factors(6, shift=0.8), "come to a point"),
        (lambda: lewis(40, shift=0.9), "profile shift"),
        (lambda: lewis(5, shift=-0.9), "undercut cuts this tooth off"),
        (lambda: tip_load_factors(5, shift=-0.9), "undercut cuts this tooth off"),
        (
            lambda: lewis(5, 10 * DEG, shift=-1.0, rack=Rack(0.8, 1.0, 0.3)),
            "outside the base circle",
        ),
        (
            lambda: tip_load_factors(5, 10 * DEG, shift=-1.0, rack=Rack(0.8, 1.0, 0.3)),
            "outside the base circle",
        ),
    ],
)
def test_what_is_not_meant_is_refused(call, match):
    with pytest.raises(DomainError, match=match):
        call()


def test_rack_tip_radius_is_cut_down_to_what_fits():
    generous, full = Rack(1.0, 1.25, 0.8), Rack(1.0, 1.25, 0.4)
    room = (math.pi / 4 - 1.25 * math.tan(20 * DEG)) * math.cos(20 * DEG) / (1 - math.sin(20 * DEG))
    assert gears.rack_tip(20 * DEG, generous)[1] == pytest.approx(room)
    assert gears.rack_tip(20 * DEG, full)[1] == pytest.approx(0.4)
    assert lewis(20, rack=generous) >= lewis(20, rack=full)


@pytest.mark.parametrize(("teeth", "share"), [(5, 0.80), (17, 0.945), (30, 0.96)])
def test_how_far_the_tangent_section_falls_short_of_the_hardest_one(teeth, share):
    # Own comparison of the two constructions; the shares are stated where the tip-load factors are
    # documented.
    load_angle, _ = tip_load(teeth, 0.0, 20 * DEG, ISO_RACK)
    stress_there = math.cos(load_angle) / (form_factor(teeth) * math.cos(20 * DEG))
    assert tip_load_factors(teeth)[0] / stress_there == pytest.approx(share, abs=6e-3)
