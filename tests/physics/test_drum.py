"""Layers on the drum: counted turn by turn, dead turns that fill more than one, and drums that
cannot be."""

import math

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.physics.drum import (
    dead_length,
    layers,
    outermost_radius,
    turns_per_layer,
)

CORE, WIDTH, ROPE = 0.020, 0.0301, 0.003
"""Ten turns of 3 mm rope between the flanges of a 20 mm drum. [m]"""


def _by_turns(turns, nested):
    """Rope in the first so many turns, laid one by one."""
    rise = ROPE * (math.sqrt(3) / 2 if nested else 1.0)
    return sum(math.pi * (CORE + ROPE + 2 * (turn // 10) * rise) for turn in range(turns))


@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize("turns", [1, 10, 11, 34])
def test_layers_are_what_laying_turn_by_turn_gives(nested, turns):
    stack = layers(CORE, WIDTH, ROPE, _by_turns(turns, nested) - 1e-9, nested=nested)
    assert len(stack) == math.ceil(turns / 10)
    assert [layer.end for layer in stack] == pytest.approx(
        [_by_turns(10 * (k + 1), nested) for k in range(len(stack))]
    )
    assert [layer.start for layer in stack[1:]] == [layer.end for layer in stack[:-1]]


@pytest.mark.parametrize("dead", [0.0, 2.5, 10.0, 23.0])
def test_dead_turns_fill_the_first_layers_and_push_the_rope_up(dead):
    length = 0.5
    stack = layers(CORE, WIDTH, ROPE, length, dead_turns=dead)
    held = _by_turns(int(dead), False) + (dead % 1) * 2 * math.pi * stack[int(dead) // 10].radius
    assert dead_length(stack, dead, WIDTH, ROPE) == pytest.approx(held)
    assert stack[-1].start < held + length <= stack[-1].end
    assert stack[0].radius == pytest.approx((CORE + ROPE) / 2)


def test_a_turn_that_just_fits_is_not_lost_to_rounding():
    assert (turns_per_layer(0.03, 0.003), turns_per_layer(3 * 0.1, 0.1)) == (10, 3)
    assert turns_per_layer(0.0299, 0.003) == 9


@pytest.mark.parametrize(
    "call", [lambda: turns_per_layer(0.002, 0.003), lambda: layers(CORE, 0.002, ROPE, 1.0)]
)
def test_a_rope_wider_than_the_drum_is_refused(call):
    with pytest.raises(DomainError, match=r"^drum\.width is"):
        call()


def test_a_reel_instead_of_a_drum_is_refused():
    with pytest.raises(DomainError, match="200 layers"):
        layers(CORE, ROPE, ROPE, 1000.0)
    with pytest.raises(DomainError, match="200 layers"):
        layers(CORE, ROPE, ROPE, 1.0, dead_turns=1000.0)


@pytest.mark.parametrize("turns", [1e9, 1e308, math.inf])
def test_absurd_numbers_of_dead_turns_end_in_an_error(turns):
    with pytest.raises(DomainError, match="200 layers"):
        layers(0.01, 0.04, 0.002, 5.0, dead_turns=turns)


@pytest.mark.parametrize("length", [0.01, 0.3, 0.6, 1.5, 4.0])
@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize("dead", [0.0, 3.0])
def test_outermost_radius_is_that_of_the_last_layer(length, nested, dead):
    stack = layers(0.01, 0.02, 0.002, length, nested=nested, dead_turns=dead)
    kinds = {"nested": nested, "dead_turns": dead}
    found = outermost_radius(0.006, 0.02, 0.002, length, **kinds)
    assert found == pytest.approx(stack[-1].radius, rel=1e-12)
    assert outermost_radius(np.array([0.006, 0.02]), 0.02, 0.002, length, **kinds)[0] == found
