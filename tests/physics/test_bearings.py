"""Bearings: hand calculations of one shaft, of a ring of pinions with one dead, of a drum and of
planets."""

import itertools
import math

import numpy as np
import pytest

from winchsim.physics import bearings
from winchsim.physics.bearings import (
    ring_share,
    shaft_loss,
    tooth_load,
)
from winchsim.physics.chain import Chain, Element, GroupMesh, demand, reverse_of

ANGLE = math.radians(20)


def test_a_bush_between_gear_and_pinion_of_a_small_gearhead():
    # By hand: 0.1 x 1 mm x sqrt(1/6² + 1/2²)/mm / cos 20° = 0.1 x 0.52705/0.93969 = 0.05609.
    loss = shaft_loss(0.1, 1e-3, tooth_load(6e-3, ANGLE), tooth_load(2e-3, ANGLE))
    assert loss == pytest.approx(0.05609, abs=1e-5)
    worst = shaft_loss(0.1, 1e-3, tooth_load(6e-3, ANGLE), tooth_load(2e-3, ANGLE), aligned=True)
    assert worst == pytest.approx(
        0.1 * (1 / 6 + 1 / 2) / math.cos(ANGLE)
    )  # both forces in one direction


@pytest.mark.parametrize("greased", [False, True])
def test_printed_gears_on_a_steel_pin(greased):
    # By hand: 12:36, module 1 mm, behind it another 12 teeth; pin of 5 mm: 0.4674 x mu.
    mu = bearings.bearing_friction("polymer bore", greased).value
    loss = shaft_loss(mu, 2.5e-3, tooth_load(18e-3, ANGLE), tooth_load(6e-3, ANGLE))
    assert loss == pytest.approx(0.4674 * mu, rel=1e-4)
    assert 0.06 <= loss <= 0.13


def test_a_rod_that_is_its_own_drum():
    # By hand: rod of 8 mm in printed bores, rope of 4 mm: 1/(4 mm + 2 mm); last gear of 36 mm
    # radius.
    loss = shaft_loss(0.2, 4e-3, tooth_load(36e-3, ANGLE), 1 / 6e-3)
    assert loss == pytest.approx(0.2 * 4 * math.hypot(1 / 36 / math.cos(ANGLE), 1 / 6), rel=1e-12)
    assert loss == pytest.approx(0.13, abs=0.01)


@pytest.mark.parametrize(("live", "dead"), [(1, 0), (2, 0), (5, 0), (3, 1), (2, 2), (1, 3), (6, 2)])
def test_a_ring_of_pinions_against_adding_up_their_forces(live, dead):
    forces = [1.0] * live + [0.0] * dead
    resultant = sum(f * np.exp(2j * np.pi * k / len(forces)) for k, f in enumerate(forces))
    assert ring_share(live, dead) == pytest.approx(abs(resultant) / live, abs=1e-12)
    # No order of the same pinions leaves more.
    for order in itertools.permutations(forces) if len(forces) <= 6 else []:
        other = sum(f * np.exp(2j * np.pi * k / len(order)) for k, f in enumerate(order))
        assert abs(other) / live <= ring_share(live, dead) + 1e-9


def test_a_ring_of_four_with_one_dead():
    # By hand: three forces of 1 at right angles leave 1 of 3; all four, nothing.
    np.testing.assert_allclose(
        ring_share(np.array([1, 4, 3]), np.array([0, 0, 1])), [1, 0, 1 / 3], atol=1e-12
    )


@pytest.mark.parametrize("breakaway", [1.0, 1.3])
def test_bearings_take_the_same_torque_both_ways_and_grow_at_rest(breakaway):
    loss = 0.1
    e = bearings.efficiency(loss)
    assert reverse_of(e) == pytest.approx(1 - loss)
    alone = Chain((GroupMesh((), 1e-6),), 0.0, (Element("bearings", 1.0, e, reverse_of(e)),))
    assert demand(alone, 1, breakaway)(2.0) == pytest.approx(2.0 * (1 + breakaway * loss))
    assert demand(alone, -1, breakaway)(2.0) == pytest.approx(2.0 * (1 - breakaway * loss))


@pytest.mark.parametrize(("kind", "greased"), list(bearings.BEARINGS))
def test_every_kind_lies_in_its_range_and_has_a_source(kind, greased):
    row = bearings.BEARINGS[kind, greased]
    assert 0 < row.low < row.value < row.high and row.why
    assert bearings.bearing_friction(kind, greased) is row


def test_grease_helps_a_polymer_bore_and_is_no_news_for_the_others():
    assert (
        bearings.bearing_friction("polymer bore", True).value
        < bearings.bearing_friction("polymer bore", False).value
    )
    assert bearings.bearing_friction("ball", True) == bearings.bearing_friction("ball", False)
