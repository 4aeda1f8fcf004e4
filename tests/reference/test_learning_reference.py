"""Fits, intervals and indices behind calibrate and spread, against certified and published values."""

from __future__ import annotations

import numpy as np
import pytest

from winchsim.studies.calibrate import LiftTest, calibrate
from winchsim.studies.calibrate.fit import fit
from winchsim.studies.spread.statistics import probability, rank_correlation

pytestmark = pytest.mark.reference


# --- nonlinear least squares --------------------------------------------------------------------------------------------

# NIST, Statistical Reference Datasets, nonlinear regression, sets "Misra1a" and "BoxBOD", from memory: the data and the
# certified values were recalled, not read; the data reproduce the certified residual sums to all digits given here.
MISRA1A_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
MISRA1A_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
BOXBOD_Y = [109.0, 149.0, 149.0, 191.0, 213.0, 224.0]
BOXBOD_X = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0]

CERTIFIED = [
    # data, two starts, values, standard deviations, residual standard deviation
    (MISRA1A_X, MISRA1A_Y, ([500.0, 1e-4], [250.0, 5e-4]), (2.3894212918e2, 5.5015643181e-4),
     (2.7070075241e0, 7.2668688436e-6), 1.0187876330e-1),
    (BOXBOD_X, BOXBOD_Y, ([100.0, 0.75],), (2.1380940889e2, 5.4723748542e-1),
     (1.2354515176e1, 1.0455993237e-1), 1.7088072423e1),
]  # fmt: skip


@pytest.mark.memory
@pytest.mark.parametrize(
    ("x", "y", "start", "values", "deviations", "scatter"),
    [(x, y, start, *rest) for x, y, starts, *rest in CERTIFIED for start in starts],
    ids=["Misra1a, start 1", "Misra1a, start 2", "BoxBOD, start 2"],
)
def test_certified_values_and_standard_deviations(x, y, start, values, deviations, scatter):
    """Model of both sets: y = b1 (1 - exp(-b2 x))."""
    x, y = np.array(x), np.array(y)

    def slopes(b):
        return -np.stack([1 - np.exp(-b[1] * x), b[0] * x * np.exp(-b[1] * x)], axis=1)

    done = fit(lambda b: y - b[0] * (1 - np.exp(-b[1] * x)), start, jacobian=slopes)
    assert done.values == pytest.approx(values, rel=1e-7)
    assert done.errors == pytest.approx(deviations, rel=1e-7)
    assert done.scatter == pytest.approx(scatter, rel=1e-9)


# --- law of the machine -------------------------------------------------------------------------------------------------


def test_law_of_a_machine_from_two_tests(ideal, make_motor, make_stage):
    """Source: S. S. Bhavikatti, *Engineering Mechanics*, example 6.2 (lifting machines).

    A machine of velocity ratio 30 lifts 2400 N with an effort of 150 N and 3000 N with 180 N: P = 0.05 W + 30. With an
    effort of 200 N it lifts 3400 N, with a mechanical advantage of 17, an efficiency of 56.67 % and a friction of
    86.67 N at the effort. Efficiency approaches 1/(m VR) = 66.67 % under large loads.

    Here the effort is the torque of a motor of 1 N·m/A at a lever of 1 m, so the current is the effort in newtons; a train
    of 3:1 and a drum of 0.1 m make the velocity ratio. Its loss and its drag are wrong at first.
    """
    gravity, lever, ratio, radius = 9.81, 1.0, 3.0, 0.1
    winch = ideal(
        motors=make_motor(0.01, 1.0, voltage=100.0, idle_current=0.0), radius=radius, span=100.0,
        load={"mass": 2700 / gravity}, stages=(make_stage(ratio, 0.8),), drum={"drag": 30.0},
    )  # fmt: skip
    assert lever * ratio / radius == pytest.approx(30.0)
    tests = [LiftTest(number=1, mass=2400 / gravity, current=150.0), LiftTest(number=2, mass=3000 / gravity, current=180.0)]
    coming = [LiftTest(number=3, mass=3400 / gravity), LiftTest(number=4, mass=1e-3)]
    found = calibrate(winch, [*tests, *coming], only=["mesh_loss", "drag"])

    efficiency, drag = found.inputs.stage[0].efficiency, found.inputs.drum.drag
    slope = radius / (ratio * efficiency)
    assert slope == pytest.approx(0.05, rel=1e-4)
    assert drag / (ratio * efficiency) == pytest.approx(30.0, rel=1e-3)
    assert 1 / (slope * 30) == pytest.approx(0.6667, abs=1e-4)
    assert found.dof == 0, "two tests give two numbers and no scatter"

    effort = found.predictions[0].current.value
    assert effort == pytest.approx(200.0, rel=1e-4)
    assert 3400 / effort == pytest.approx(17.0, rel=1e-4)
    assert 3400 / effort / 30 == pytest.approx(0.5667, abs=1e-4)
    assert effort - 3400 / 30 == pytest.approx(86.67, rel=1e-3)
    assert found.predictions[1].current.value == pytest.approx(30.0, rel=1e-3)


# --- intervals of a probability -----------------------------------------------------------------------------------------

# R. G. Newcombe, "Two-sided confidence intervals for the single proportion: comparison of seven methods", *Statistics in
# Medicine* 17 (1998), table I, 95 % intervals of Wilson's score method and of Clopper and Pearson; from memory.
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0000, 0.1611), (0.0000, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]


@pytest.mark.memory
@pytest.mark.parametrize(("count", "of", "wilson", "exact"), NEWCOMBE)
def test_intervals_of_a_proportion(count, of, wilson, exact):
    for method, ends in (("wilson", wilson), ("exact", exact)):
        found = probability(count, of, 0.95, method)
        assert (found.low, found.high) == pytest.approx(ends, abs=6e-5)


@pytest.mark.memory
def test_rule_of_three():
    """Nothing seen in n trials: the one-sided 95 % bound is 3/n. Common practice; J. A. Hanley and A. Lippman-Hand, "If nothing
    goes wrong, is everything all right?", *JAMA* 249 (1983), from memory."""
    assert probability(0, 1000, 0.9).high == pytest.approx(3 / 1000, rel=0.01)


@pytest.mark.memory
def test_rank_correlation_of_a_worked_example():
    """Source: the example of ten pupils' IQ and hours of television in many introductions to Spearman's coefficient,
    from memory: -0.1758 (29/165)."""
    iq = np.array([106, 100, 86, 101, 99, 103, 97, 113, 112, 110], dtype=float)
    hours = np.array([7, 27, 2, 50, 28, 29, 20, 12, 6, 17], dtype=float)
    found = rank_correlation([iq[:, None]], hours)
    assert found.values[0] == pytest.approx(-29 / 165, abs=1e-9)
    assert found.noise > 0.5, "ten pupils say little"
