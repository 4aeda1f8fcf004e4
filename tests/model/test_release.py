"""The fall of the load after a break, in closed form, and keys of older files."""

import math

import pytest

from winchsim.physics.load import fall, make_body

GRAVITY = 9.80665


def test_free_fall_is_that_of_any_textbook():
    found = fall(make_body(5.0, math.pi / 2, 0.0, 0.0, GRAVITY), 0.8)
    assert (found.time, found.speed, found.energy) == pytest.approx(
        (math.sqrt(2 * 0.8 / GRAVITY), math.sqrt(2 * GRAVITY * 0.8), 5.0 * GRAVITY * 0.8)
    )


@pytest.mark.parametrize("speed", [0.3, -0.3])
def test_a_load_that_moves_when_it_is_let_go(speed):
    """0.8 + v t - g t²/2 = 0, and the energy of its motion comes to that of its height."""
    found = fall(make_body(5.0, math.pi / 2, 0.0, 0.0, GRAVITY), 0.8, speed)
    assert 0.8 + speed * found.time - GRAVITY * found.time**2 / 2 == pytest.approx(0.0, abs=1e-12)
    assert found.energy == pytest.approx(5.0 * (GRAVITY * 0.8 + speed**2 / 2))


def test_friction_of_a_slope_slows_the_fall_or_holds_the_load():
    slope = math.radians(30)
    slides = fall(make_body(5.0, slope, 0.2, 0.0, GRAVITY), 0.8)
    assert slides.energy == pytest.approx(5.0 * GRAVITY * 0.8 * (0.5 - 0.2 * math.cos(slope)))
    held = fall(make_body(5.0, slope, 0.7, 0.0, GRAVITY), 0.8)
    assert math.isinf(held.time) and held.energy == 0.0


def test_on_the_floor_there_is_nothing_to_fall():
    found = fall(make_body(5.0, math.pi / 2, 0.0, 0.0, GRAVITY), 0.0)
    assert (found.time, found.speed, found.energy) == (0.0, 0.0, 0.0)
