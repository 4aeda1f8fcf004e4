"""Printed gears: warmth, rim, sandwich and infill, each step on its own."""

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.strength.printed import (
    Layer,
    PrintedBody,
    effective_rim,
    fill_share,
    layered_bending,
    rim_factor,
    rim_factor_range,
    sandwich_share,
    solid_rim,
    temperature_factor,
)

LINE = 0.45e-3


def test_warmth_takes_strength_linearly_and_leaves_a_tenth():
    assert temperature_factor(20.0, 60.0) == 1.0
    assert temperature_factor(23.0, 63.0) == 1.0
    assert temperature_factor(43.0, 63.0) == pytest.approx(0.55)
    assert temperature_factor(63.0, 63.0) == pytest.approx(0.1)
    assert temperature_factor(200.0, 63.0) == pytest.approx(0.1)
    assert temperature_factor(np.array([0.0, 43.0]), 63.0) == pytest.approx([1.0, 0.55])


def test_metals_do_not_soften():
    assert temperature_factor(150.0, None) == 1.0
    assert temperature_factor(np.array([20.0, 300.0]), None) == pytest.approx([1.0, 1.0])
    with pytest.raises(DomainError, match="softening"):
        temperature_factor(20.0, 10.0)


def test_solid_rim_ends_at_the_bore_or_at_twelve_tenths_of_the_depth():
    assert solid_rim(37.5e-3, 5e-3, 2.25e-3) == pytest.approx(2.7e-3)
    assert solid_rim(7.5e-3, 5e-3, 2.25e-3) == pytest.approx(1.25e-3)
    with pytest.raises(DomainError, match="bore"):
        solid_rim(7.5e-3, 8e-3, 2.25e-3)


def test_rim_of_two_walls_and_a_tenth_infill():
    # 2 x 0.45 mm and a tenth of the 1.8 mm behind them: 1.08 mm.
    assert effective_rim(2.7e-3, PrintedBody(2, LINE, 0.1)) == pytest.approx(1.08e-3)
    assert effective_rim(2.7e-3, PrintedBody(2, LINE, 0.1, 2.0)) == pytest.approx(0.918e-3)
    assert effective_rim(2.7e-3, PrintedBody(9, LINE, 0.1)) == pytest.approx(2.7e-3)
    assert effective_rim(2.7e-3, PrintedBody(0, LINE, 1.0)) == pytest.approx(2.7e-3)


def test_rim_factor_is_continued_below_the_published_range_with_a_range_of_its_own():
    assert rim_factor(0.3) == pytest.approx(1.6 * np.log(2.242 / 0.3))
    assert rim_factor(np.array([0.5, 2.0])) == pytest.approx([2.40082, 1.0], abs=6e-6)
    least, most = rim_factor_range(0.25)
    assert least == pytest.approx(2.40082, abs=6e-6)
    assert most == pytest.approx(4 * 2.40082, abs=3e-5)
    assert least < rim_factor(0.25) < most
    assert rim_factor_range(0.8) == (rim_factor(0.8), rim_factor(0.8))
    with pytest.raises(DomainError, match="backup ratio"):
        rim_factor(0.0)


def test_sandwich_by_hand():
    # Core of 2 mm in a section of 4 mm with a tenth of the stiffness: 1 - (1/2)³ 0.9 of the solid section.
    body = PrintedBody(2, 0.5e-3, 0.1)
    assert sandwich_share(4e-3, body) == pytest.approx(1 - 0.125 * 0.9)
    assert sandwich_share(2e-3, body) == 1.0
    assert sandwich_share(4e-3, PrintedBody(2, 0.5e-3, 1.0)) == 1.0
    assert sandwich_share(4e-3, PrintedBody(0, 0.5e-3, 0.4)) == pytest.approx(0.4)


def test_core_of_a_sandwich_is_never_nearer_to_its_strength_than_the_walls():
    # Same share for modulus and strength: the core's stress over its strength is below the walls' at every infill.
    for infill in (0.05, 0.2, 0.6):
        face, core, _ = layered_bending(1.0, 1.0, (Layer(1.0, 1.0), Layer(4.0, infill), Layer(1.0, 1.0)))
        assert core[0] / infill < face[0]


def test_layers_of_one_material_bend_like_one_piece():
    one = layered_bending(2.0, 0.01, (Layer(4e-3, 2e9),))
    split = layered_bending(2.0, 0.01, (Layer(1e-3, 2e9), Layer(3e-3, 2e9)))
    assert one[0][0] == pytest.approx(6 * 2.0 / (0.01 * 16e-6))
    assert (split[0][0], split[1][1]) == pytest.approx(one[0])
    assert split[0][1] == pytest.approx(split[1][0])


def test_fill_of_a_printed_disc():
    # 40 mm with walls of 1 mm, 20 % infill: the ring outside 38 mm is solid.
    body = PrintedBody(2, 0.5e-3, 0.2)
    assert fill_share(40e-3, 0.0, body) == pytest.approx(1 - 0.8 * (38 / 40) ** 2)
    bored = 1 - 0.8 * (38**2 - 12**2) / (40**2 - 10**2)
    assert fill_share(40e-3, 10e-3, body) == pytest.approx(bored)
    assert fill_share(4e-3, 1e-3, body) == 1.0


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"walls": -1}, "walls"),
        ({"line_width": 0.0}, "line width"),
        ({"infill": 1.2}, "infill"),
        ({"infill_exponent": 0.0}, "exponent"),
        ({"direction": "leaning"}, "direction"),
    ],
)
def test_prints_that_cannot_be_are_refused(change, match):
    with pytest.raises(DomainError, match=match):
        PrintedBody(**({"walls": 3, "line_width": LINE, "infill": 0.2} | change))
