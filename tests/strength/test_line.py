"""The rope as a link: knot, bend and anchor."""

import math
from dataclasses import replace

import pytest

from winchsim.strength.line import (
    anchor_strength,
    bend,
    bend_shares,
    breaking_force,
    drum_strength,
    end_strength,
    winding_cautions,
)
from winchsim.strength.materials import Origin, RopeMaterial

ROPE = RopeMaterial(
    "cord", 150e6, 8.0, 700.0, 0.5, 0.9, 8.0,
    origins={
        "strength_per_area": Origin("a table", 135e6, 165e6),
        "stiffness_ratio": Origin("from memory"),
        "mass_per_volume": Origin("a table"),
        "knot_efficiency": Origin("knot tables", 0.4, 0.7),
        "splice_efficiency": Origin("from memory"),
        "bend_ratio": Origin("trade notes", 5.0, 20.0),
    },
)  # fmt: skip


def test_rope_scales_with_the_square_of_its_diameter():
    assert breaking_force(ROPE, 4e-3) == pytest.approx(2400.0)


def test_knot_takes_its_share_and_keeps_both_ranges():
    found = end_strength(ROPE, 4e-3)
    low, high = math.hypot(math.log(0.9), math.log(0.8)), math.hypot(math.log(1.1), math.log(1.4))
    assert (found.value, found.low, found.high) == pytest.approx(
        (1200.0, 1200 * math.exp(-low), 1200 * math.exp(high))
    )
    assert (found.basis, found.unit) == ("tabled", "N")


def test_given_values_replace_the_table():
    found = end_strength(ROPE, 4e-3, given_breaking_force=3000.0, given_efficiency=0.6)
    assert (found.value, found.low, found.high, found.basis) == pytest.approx(
        (1800.0, 1800.0, 1800.0, "given")
    )
    half = end_strength(ROPE, 4e-3, given_breaking_force=3000.0)
    assert (half.value, half.basis) == (1500.0, "tabled")
    assert end_strength(ROPE, 4e-3, end="splice").basis == "from memory"


def test_bend_of_a_drum_beside_what_the_sources_want():
    found = bend(ROPE, 20e-3, 4e-3)
    assert (found.ratio, found.wanted, found.low, found.high) == pytest.approx((5, 8, 5, 20))


def test_anchor_by_dead_turns():
    found = anchor_strength(ROPE, 4e-3, 0.1, 3.0, hold=20.0)
    assert found.value == pytest.approx(20.0 * math.exp(0.1 * 6 * math.pi))
    assert found.basis == "given" and found.low == found.value == found.high
    unsure = anchor_strength(ROPE, 4e-3, 0.1, 3.0, friction_range=(0.07, 0.2), hold=20.0)
    ends = [20.0 * math.exp(friction * 6 * math.pi) for friction in (0.07, 0.1, 0.2)]
    assert (unsure.low, unsure.value, unsure.high) == pytest.approx(tuple(ends))


def test_an_undescribed_fixing_is_assumed_and_says_so():
    found = anchor_strength(ROPE, 4e-3, 0.1, 0.0)
    assert (found.value, found.low, found.high) == pytest.approx((240.0, 72.0, 1200.0))
    assert found.basis == "from memory"
    assert anchor_strength(
        ROPE, 4e-3, 0.1, 0.0, given_breaking_force=1000.0
    ).value == pytest.approx(100.0)


def test_absurd_turns_do_not_overflow():
    assert 1e12 < anchor_strength(ROPE, 4e-3, 1.0, 1e6, hold=1.0).value < 1e14


WIRE = replace(ROPE, construction="wire")


def test_a_bend_over_the_drum_leaves_a_share():
    assert bend_shares(WIRE, 7.0) == pytest.approx((0.81 / 1.05, 0.81, 0.81 * 1.05))
    assert bend_shares(ROPE, 7.0) == pytest.approx((0.81**2, 0.81, 1.0))
    assert bend_shares(WIRE, 0.5)[1] == pytest.approx(0.25)
    assert bend_shares(WIRE, 500.0)[1:] == pytest.approx((0.95, 0.9975))
    found = drum_strength(ROPE, 4e-3, 16e-3, given_breaking_force=1000.0)
    assert (found.low, found.value, found.high) == pytest.approx((562.5, 750.0, 1000.0))
    assert (found.basis, drum_strength(WIRE, 4e-3, 16e-3).basis) == ("from memory", "tabled")


def test_windings_of_fibre_rope_have_their_cautions():
    assert winding_cautions(ROPE, 3, 8.0) == ()
    assert winding_cautions(ROPE, 4, 2.0) == (("layers", 4.0, 3.0), ("dead_turns", 2.0, 8.0))
    assert winding_cautions(WIRE, 9, 0.0) == ()
