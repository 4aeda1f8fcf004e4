"""The rope: energies that belong to its forces, tackles reeved part by part, and what a sheave
keeps."""

import numpy as np
import pytest

from winchsim.physics.rope import (
    Line,
    bounce_period,
    critical_damping,
    edge_efficiency,
    elastic_tension,
    free_stretch_energy,
    moving_mass,
    span,
    tackle_efficiency,
    tackle_reverse_efficiency,
    take_up,
    unstretched_length,
    wound_stretch_power,
)

LINE = Line(stiffness=2e4, damping=3.0, falls=2, mass_per_length=0.01, lead=0.4)


def test_tension_is_the_slope_of_the_stretch_energy_for_floats_and_arrays():
    stretch, step, free = np.array([1e-3, 5e-3, 0.02]), 1e-7, 1.5
    slope = (
        free_stretch_energy(LINE, stretch + step, free)
        - free_stretch_energy(LINE, stretch - step, free)
    ) / (2 * step)
    np.testing.assert_allclose(elastic_tension(LINE, stretch, free), slope, rtol=1e-9)
    assert elastic_tension(LINE, 5e-3, free) == pytest.approx(slope[1])


def test_span_holds_the_unstretched_rope_and_its_stretch():
    far = np.array([0.2, 1.0, 3.0])
    np.testing.assert_allclose(span(LINE, far), [0.8, 2.4, 6.4])
    left = unstretched_length(LINE, span(LINE, far), 500.0)
    np.testing.assert_allclose(elastic_tension(LINE, span(LINE, far) - left, left), 500.0)


def test_bounce_period_is_that_of_the_slope_of_the_pull():
    left, mass, step = 1.5, 7.0, 1e-7
    per_travel = (
        LINE.falls
        * (elastic_tension(LINE, LINE.falls * step, left) - elastic_tension(LINE, 0.0, left))
        / step
    )
    assert bounce_period(LINE, left, mass) == pytest.approx(2 * np.pi * np.sqrt(mass / per_travel))
    assert bounce_period(LINE, np.array([left, 4 * left]), mass)[1] == pytest.approx(
        2 * bounce_period(LINE, left, mass)
    )


def test_what_the_drum_gives_is_what_is_stored_wound_on_and_damped():
    # A held load: all that the drum gives stretches rope, on the drum, off it, or in its damping.
    # Energies by difference.
    stretch, free, surface, step = 4e-3, 1.5, 0.02, 1e-6
    elastic = elastic_tension(LINE, stretch, free)
    taken = take_up(LINE, surface, elastic)
    tension = elastic + LINE.damping * taken
    stored = free_stretch_energy(
        LINE, stretch + taken * step, free - taken * step
    ) - free_stretch_energy(LINE, stretch - taken * step, free + taken * step)
    damped = (tension - elastic) * taken
    given = stored / (2 * step) + wound_stretch_power(LINE, tension, elastic, taken) + damped
    assert given == pytest.approx(tension * surface, rel=1e-9)
    assert taken < surface


@pytest.mark.parametrize(
    ("falls", "squares"),
    [(1, 1), (2, 0 + 4), (3, 1 + 1 + 9), (4, 0 + 4 + 4 + 16), (5, 1 + 1 + 9 + 9 + 25)],
)
def test_moving_mass_of_a_tackle_counts_each_part_with_its_speed_squared(falls, squares):
    line = Line(2e4, 3.0, falls, 0.01, 0.4)
    assert moving_mass(line, 1.5) == pytest.approx(0.01 * (1.5 * squares + 0.4 * falls**2))


@pytest.mark.parametrize("falls", [1, 2, 3, 6])
def test_tackle_passes_its_tension_on_from_part_to_part(falls):
    # Raising, the part at the drum carries most and each sheave keeps its share; lowering, the
    # other way round.
    parts = [100.0 * 0.96**k for k in range(falls)]
    assert tackle_efficiency(falls, 0.96) == pytest.approx(sum(parts) / (falls * parts[0]))
    back = [100.0 / 0.95**k for k in range(falls)]
    assert tackle_reverse_efficiency(falls, 0.95) == pytest.approx(falls * back[0] / sum(back))
    assert tackle_efficiency(falls, 1.0) == tackle_reverse_efficiency(falls, 1.0) == 1.0


def test_two_edges_are_one_of_both_angles():
    assert edge_efficiency(0.3, 1.0) * edge_efficiency(0.3, 0.5) == pytest.approx(
        edge_efficiency(0.3, 1.5)
    )
    assert edge_efficiency(0.0, 3.0) == 1.0


def test_at_critical_damping_the_bounce_has_one_double_root():
    # m y'' + n² c y' + n² (EA/l) y = 0: the discriminant of its roots is zero.
    stiffness, span, mass, falls = 2e4, 1.5, 8.0, 2
    damping = critical_damping(stiffness, span, mass, falls)
    assert (falls**2 * damping) ** 2 == pytest.approx(4 * mass * falls**2 * stiffness / span)
