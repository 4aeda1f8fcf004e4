"""Shafts, drum rod and cross-pin as links."""

import math

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.strength.materials import Material, Origin
from winchsim.strength.shafts import (
    bending_strength,
    cross_pin_strength,
    drum_rod_moment,
    drum_rod_strength,
    equivalent_torque,
    shaft_strength,
    span_moment,
    torsion_strength,
)

STEEL = Material(
    "steel",
    "metal",
    7850.0,
    400e6,
    210e9,
    240e6,
    origins={"yield_strength": Origin("from memory", 216e6, 360e6)},
)


def test_bending_of_a_round_bar_by_hand():
    # 10 N·m on 10 mm: 32 M / (pi d³) = 101.86 MPa.
    assert bending_strength(101.859e6, 10e-3) == pytest.approx(10.0, rel=1e-5)


def test_moment_between_supports():
    assert span_moment(np.array([-100.0, 200.0]), 0.2) == pytest.approx([5.0, 10.0])


def test_twist_and_bend_together():
    # sigma = 32 M/(pi d³), tau = 16 T/(pi d³), joined by sqrt(sigma² + 3 tau²).
    sigma, tau = 3.0 / bending_strength(1.0, 8e-3), 4.0 / torsion_strength(1.0, 8e-3)
    alone = equivalent_torque(4.0, 3.0) / torsion_strength(1.0, 8e-3)
    assert math.sqrt(3) * alone == pytest.approx(math.sqrt(sigma**2 + 3 * tau**2))
    assert equivalent_torque(4.0, 0.0) == pytest.approx(4.0)


def test_shaft_link():
    found = shaft_strength(STEEL, 8e-3)
    assert found.value == pytest.approx(240e6 / math.sqrt(3) * math.pi * 8e-3**3 / 16)
    assert (found.low / found.value, found.high / found.value) == pytest.approx((0.9, 1.5))
    assert (found.unit, found.basis) == ("N·m", "from memory")


def test_drum_rod_gives_way_where_its_stress_reaches_yield():
    found, section = drum_rod_strength(STEEL, 10e-3), bending_strength(1.0, 10e-3)
    assert found.value == pytest.approx(240e6 * section)
    sigma, tau = 250.0 * 0.08 / 4 / section, 1.5 / torsion_strength(1.0, 10e-3)
    moment = drum_rod_moment(250.0, 1.5, 0.08)
    assert moment / section == pytest.approx(math.sqrt(sigma**2 + 3 * tau**2))


def test_cross_pin_link():
    found = cross_pin_strength(STEEL, 2e-3, 8e-3)
    assert found.value == pytest.approx(240e6 / math.sqrt(3) * math.pi / 4 * 2e-3**2 * 8e-3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: cross_pin_strength(STEEL, 8e-3, 8e-3),
        lambda: cross_pin_strength(STEEL, 0.0, 8e-3),
    ],
)
def test_impossible_sizes_are_refused(call):
    with pytest.raises(DomainError, match="diameter"):
        call()
