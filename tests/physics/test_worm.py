"""Worms: the friction by speed, what an efficiency leaves open, and where driving ends."""

import math

import numpy as np
import pytest

from winchsim.physics import worm
from winchsim.physics.worm import Locking, largest_reverse, locking, screw_efficiency, screw_reverse


def test_without_friction_nothing_is_lost():
    assert screw_efficiency(0.1, 0.0) == pytest.approx((1.0, 1.0))


def test_a_collar_takes_its_torque_both_ways():
    # By hand: square thread, tan(lead) = 0.1, no friction but a collar of 0.02 of the pitch radius.
    assert screw_efficiency(math.atan(0.1), 0.0, flank=0.0, collar=0.02) == pytest.approx(
        (0.1 / 0.12, 0.8)
    )


def test_a_thread_too_rough_for_its_angle_cannot_drive():
    assert screw_efficiency(math.radians(60), 1.0, flank=0.0).forward == 0.0


@pytest.mark.parametrize("forward", [0.3, 0.449, 0.5, 0.525, 0.6, 0.8, 0.95])
def test_largest_reverse_is_the_largest_of_all_worms_of_that_efficiency(forward):
    """Against trying every lead angle and friction within the bounds."""
    best = -math.inf
    for lead in np.radians(np.linspace(0.05, 30, 3000)):
        phi = math.atan(math.tan(lead) / forward) - lead
        if math.tan(phi) * math.cos(worm.DEFAULT_FLANK) <= worm.LARGEST_FRICTION:
            best = max(best, screw_reverse(lead, forward))
    assert largest_reverse(forward) == pytest.approx(best, abs=2e-3)
    assert largest_reverse(forward) >= 2 - 1 / forward - 1e-12


def test_no_worm_below_the_uncertain_band_drives_back():
    assert largest_reverse(0.4485) < 0.0 < largest_reverse(0.45)
    assert [locking(e) for e in (0.44, 0.45, 0.5, 0.55, 0.56)] == [
        Locking.LOCKS,
        Locking.UNCERTAIN,
        Locking.UNCERTAIN,
        Locking.UNCERTAIN,
        Locking.DRIVES_BACK,
    ]


def test_sliding_speed_of_a_worm():
    # By hand: 20 mm at 100 rad/s is 1 m/s around, more along the thread.
    assert worm.sliding_speed(0.02, -100.0, math.radians(10)) == pytest.approx(
        1 / math.cos(math.radians(10))
    )


def test_friction_falls_with_the_speed_without_a_step_of_note():
    found = np.array([worm.running_friction(v) for v in np.geomspace(1e-4, 20, 400)])
    assert np.all(np.diff(found) < 0)
    assert np.max(-np.diff(found) / found[:-1]) < 0.05
