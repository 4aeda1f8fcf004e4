"""Printed gears: warmth, layers, rim, body and infill, each step on its own."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.strength.materials import Material, Origin
from winchsim.strength.printed import (
    PrintedBody,
    body_strength,
    fill_share,
    rim_factor,
    rim_shares,
    solid_rim,
    temperature_factor,
    warmth_factors,
)

LINE = 0.45e-3
ORIGINS = {
    "tensile_strength": Origin("a paper", 45e6, 60e6),
    "softening": Origin("a paper", 53.0, 83.0),
    "across_layers": Origin("from memory", 0.4, 0.9),
}
PRINT = Material(
    "print",
    "printed polymer",
    1250.0,
    50e6,
    3e9,
    softening=63.0,
    across_layers=0.6,
    origins=ORIGINS,
)


def test_warmth_takes_strength_linearly_and_leaves_a_tenth():
    assert (temperature_factor(20.0, 60.0), temperature_factor(23.0, 63.0)) == (1.0, 1.0)
    assert [temperature_factor(t, 63.0) for t in (43.0, 63.0, 200.0)] == pytest.approx(
        [0.55, 0.1, 0.1]
    )
    assert temperature_factor(np.array([0.0, 43.0]), 63.0) == pytest.approx([1.0, 0.55])


def test_the_range_of_the_softening_temperature_is_one_of_the_strength():
    # 20 K above the test temperature, softening 30, 40 or 60 K above it.
    assert warmth_factors(PRINT, 43.0) == pytest.approx((0.4, 0.55, 0.7))
    lasting = replace(PRINT, softening=None)
    assert warmth_factors(PRINT, 20.0) == warmth_factors(lasting, 90.0) == (1.0, 1.0, 1.0)


def test_metals_do_not_soften():
    assert temperature_factor(150.0, None) == 1.0
    assert temperature_factor(np.array([20.0, 300.0]), None) == pytest.approx([1.0, 1.0])
    with pytest.raises(DomainError, match="softening"):
        temperature_factor(20.0, 10.0)


def test_body_by_hand():
    # Hub of 4 mm bore radius and 4 walls of 0.45 mm: 5.8 mm, 10 mm wide, 20 % infill.
    found = body_strength(PRINT, PrintedBody(4, LINE, 0.2), 10e-3, 8e-3, 40e-3)
    torque = 2 * math.pi * 5.8e-3**2 * 10e-3 * 0.34 * 50e6 * 0.2**0.26
    assert found.value == pytest.approx(torque)
    assert (found.low, found.high) == pytest.approx((torque / 2.5, torque * 2.5))
    assert (found.unit, found.basis) == ("N·m", "from memory")


def test_walls_that_meet_make_a_solid_body():
    # Rim from 4 to 7 mm radius: four walls at each outline meet, three leave 0.3 mm of infill.
    strength = {
        walls: body_strength(PRINT, PrintedBody(walls, LINE, 0.1), 10e-3, 8e-3, 14e-3).value
        for walls in (3, 4)
    }
    assert strength[3] / strength[4] == pytest.approx((5.35 / 5.8) ** 2 * 0.1**0.26)
    full = [
        body_strength(PRINT, PrintedBody(walls, LINE, 1.0), 10e-3, 8e-3, 14e-3).value
        for walls in (7, 30)
    ]
    assert full[0] == pytest.approx(full[1])  # the hub ends at the root circle


def test_body_weakens_with_warmth_and_layers_and_keeps_all_ranges():
    body = PrintedBody(4, LINE, 0.2, "standing")
    cold = body_strength(PRINT, replace(body, direction="lying"), 10e-3, 8e-3, 40e-3)
    warm = body_strength(PRINT, body, 10e-3, 8e-3, 40e-3, 43.0)
    assert warm.value == pytest.approx(0.55 * 0.6 * cold.value)
    spread = math.exp(
        math.sqrt(math.log(2.5) ** 2 + math.log(0.55 / 0.4) ** 2 + math.log(1.5) ** 2)
    )
    assert warm.low == pytest.approx(warm.value / spread)
    assert warm.high < warm.value * spread
    with pytest.raises(DomainError, match="print direction"):
        body_strength(replace(PRINT, across_layers=None), body, 10e-3, 8e-3, 40e-3)


def test_solid_rim_ends_at_the_bore_or_at_twelve_tenths_of_the_depth():
    assert [solid_rim(radius, 5e-3, 2.25e-3) for radius in (37.5e-3, 7.5e-3)] == pytest.approx(
        [2.7e-3, 1.25e-3]
    )
    with pytest.raises(DomainError, match="bore"):
        solid_rim(7.5e-3, 8e-3, 2.25e-3)


def test_rim_factor_is_continued_below_the_published_range_with_a_range_of_its_own():
    assert rim_factor(0.3) == pytest.approx(1.6 * np.log(2.242 / 0.3))
    assert rim_factor(np.array([0.5, 2.0])) == pytest.approx([2.40082, 1.0], abs=6e-6)
    low, best, high = rim_shares(0.25)
    assert 1 / high == pytest.approx(2.40082, abs=6e-6)
    assert 1 / low == pytest.approx(4 * 2.40082, abs=3e-5)
    assert low < best < high
    assert rim_shares(0.8) == pytest.approx([1 / rim_factor(0.8)] * 3)


def test_fill_of_a_printed_disc():
    # 40 mm with walls of 1 mm, 20 % infill: the ring outside 38 mm is solid.
    body = PrintedBody(2, 0.5e-3, 0.2)
    assert fill_share(40e-3, 0.0, body) == pytest.approx(1 - 0.8 * (38 / 40) ** 2)
    bored = 1 - 0.8 * (38**2 - 12**2) / (40**2 - 10**2)
    assert fill_share(40e-3, 10e-3, body) == pytest.approx(bored)
    assert fill_share(4e-3, 1e-3, body) == 1.0
