"""The load on its path: weight along it, friction against it, and energies that belong to the
forces."""

import math

import pytest

from winchsim.physics.load import inertia, make_body, potential_energy, pull_needed

G = 9.81


@pytest.mark.parametrize("angle", [0.0, 10.0, 30.0, 89.0, 90.0])
def test_a_load_on_a_slope_rubs_with_what_it_presses_with(angle):
    slope = math.radians(angle)
    body = make_body(8.0, slope, 0.4, 2.0, G)
    assert pull_needed(body, 1.5) == pytest.approx(8.0 * G * math.sin(slope))
    assert body.friction == pytest.approx(2.0 + 0.4 * 8.0 * G * math.cos(slope))


@pytest.mark.parametrize(("angle", "rise"), [(90.0, 1.0), (30.0, 0.5)])
def test_rope_adds_its_weight_to_the_pull_and_its_mass_to_the_inertia(angle, rise):
    body = make_body(
        8.0, math.radians(angle), 0.0, 0.0, G, rope_mass=0.3, rope_mass_per_length=0.05, falls=2
    )
    assert inertia(body) == pytest.approx(8.3)
    assert pull_needed(body, 3.0) == pytest.approx((8.0 + 2 * 0.05 * 3.0) * G * rise)


@pytest.mark.parametrize("travel", [0.5, 1.0, 3.5])
@pytest.mark.parametrize("angle", [20.0, 90.0])
def test_the_pull_is_the_slope_of_the_potential_energy(angle, travel):
    body, top, step = (
        make_body(8.0, math.radians(angle), 0.0, 0.0, G, rope_mass_per_length=0.2, falls=2),
        4.0,
        1e-4,
    )
    above = potential_energy(body, travel + step, top - travel - step)
    below = potential_energy(body, travel - step, top - travel + step)
    assert (above - below) / (2 * step) == pytest.approx(pull_needed(body, top - travel))
