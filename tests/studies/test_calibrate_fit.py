"""Prior-weighted least squares without a winch: errors, priors, bounds, outliers and intervals."""

import numpy as np
import pytest
from scipy import stats

from winchsim.studies.calibrate.calibration import (
    FitProblem,
    fit,
    interval_width,
    posterior,
    scatter_of,
    without_outliers,
)

X = np.linspace(0.0, 4.0, 12)
FAR = np.full(4, np.inf)


def line(measured, x=X, wide=1e4):
    """Residuals and slopes of a straight line, in values of which a unit is a change of `wide`."""
    rows = np.stack([np.ones_like(x), x], axis=1) * wide
    return lambda v: (measured - rows @ v, -rows)


def fitted(both, n, p=2, data=None):
    every = np.ones(n, dtype=bool)
    problem = FitProblem(both, -FAR[:p], FAR[:p], every if data is None else data)
    return fit(problem, np.zeros(p), every)


def test_errors_of_a_straight_line():
    """Against the closed form of a regression line, where the priors are too wide to matter.

    Source: the textbook formulas, as in D. C. Montgomery and G. C. Runger, *Applied Statistics and
    Probability for Engineers*, section 11-3 (from memory): s²/Sxx for the slope, s² (1/n + x̄²/Sxx)
    for the intercept.
    """
    done = fitted(line(2.0 + 0.7 * X + np.random.default_rng(4).normal(size=X.size)), X.size)
    n, sxx = X.size, np.sum((X - X.mean()) ** 2)
    s2 = np.sum(done.residuals**2) / (n - 2)
    errors = 1e4 * np.sqrt(np.diag(done.covariance))
    assert done.dof == pytest.approx(n - 2, abs=1e-6)
    assert errors == pytest.approx(
        [np.sqrt(s2 * (1 / n + X.mean() ** 2 / sxx)), np.sqrt(s2 / sxx)], rel=1e-5
    )


def test_a_prior_and_one_measurement_are_weighed_by_their_variances():
    """Normal prior of variance 1, one datum of variance 1/4 that says 2: mean 2 (4/5), variance 1/5
    (common practice)."""
    done = fitted(lambda v: (2.0 * (2.0 - v), np.array([[-2.0]])), 1, 1)
    assert done.values == pytest.approx([1.6])
    assert done.covariance == pytest.approx(np.array([[0.2]]))
    assert done.scatter == 1.0 and done.dof == pytest.approx(0.2)


def test_the_variance_of_a_quantity_parts_into_data_and_priors():
    slopes = np.array([[1.0, 1.0], [1.0, 1.0], [1.0, 1.1]])
    done = fitted(lambda v: (np.array([1.0, -1.0, 0.5]) - slopes @ v, -slopes), 3)
    for change in (np.array([1.0, 1.0]), np.array([1.0, -1.0])):
        data, prior = done.parts(change)
        assert data + prior == pytest.approx(change @ done.covariance @ change)
    assert done.parts(np.array([1.0, 1.0]))[1] < 0.2 < done.parts(np.array([1.0, -1.0]))[1]


def test_what_no_datum_feels_keeps_its_prior():
    done = fitted(lambda v: (np.array([1.0, 2.0, 3.0]) - v[0], np.array([[-1.0, 0.0]] * 3)), 3)
    assert done.values[1] == 0.0 and done.covariance[1, 1] == pytest.approx(1.0)
    every = np.ones(3, dtype=bool)
    assert scatter_of(done.residuals, done.slopes, every, 1.0)[1] == pytest.approx(2.25)


def test_the_scatter_is_that_of_the_data_whatever_was_expected():
    noise = 5.0 * np.random.default_rng(3).normal(size=200)
    x = np.linspace(0.0, 4.0, 200)
    assert fitted(line(noise, x), 200).scatter == pytest.approx(np.std(noise), rel=0.02)
    assert fitted(line(np.zeros(200), x), 200).scatter == 1e-3


def test_values_stay_within_their_bounds():
    every = np.ones(X.size, dtype=bool)
    problem = FitProblem(line(-1.0 + 0.5 * X, wide=1.0), np.zeros(2), FAR[:2], every)
    values = fit(problem, np.zeros(2), every).values
    assert values[0] == pytest.approx(0.0, abs=1e-4) and values[1] > 0


def test_a_value_that_stays_takes_no_degree_of_freedom():
    every, slope_stays = np.ones(X.size, dtype=bool), np.array([np.inf, 0.0])
    problem = FitProblem(line(scattered(1)), -slope_stays, slope_stays, every)
    assert fit(problem, np.zeros(2), every).dof == pytest.approx(X.size - 1, abs=1e-6)


def test_interval_width_is_of_students_t():
    """Source: table of Student's t, 0.95 quantile: 2.015 at 5 and 1.812 at 10 degrees of freedom
    (any statistics textbook)."""
    assert [interval_width(0.9, dof) for dof in (5, 10, 0.4)] == pytest.approx(
        [2.015, 1.812, 1.645], abs=5e-4
    )


def test_evidence_from_one_side_counts_only_while_it_disagrees():
    """A datum says 2 with a scatter of 1/10, a bound says at least 3 with the same scatter, another
    at most 9."""
    slopes = np.array([[-10.0], [-10.0], [10.0]])
    data = np.array([True, False, False])
    done = fitted(lambda v: (np.array([20.0, 30.0, -90.0]) + slopes @ v, slopes), 3, 1, data)
    assert done.values == pytest.approx([(200 + 300) / 201], rel=1e-3)
    assert done.residuals[2] == 0.0 and done.slopes[2, 0] == 0.0


def test_a_fit_that_overshoots_from_step_to_step_still_ends_at_the_best_values():
    """A residual with so much curvature that plain Gauss-Newton steps go back and forth for
    ever."""

    def both(v):
        return np.array([3.0 + 4.0 * v[0] + 2.0 * v[0] ** 2]), np.array([[4.0 + 4.0 * v[0]]])

    grid = np.linspace(-3.0, 1.0, 40001)
    best = grid[np.argmin((3.0 + 4.0 * grid + 2.0 * grid**2) ** 2 + grid**2)]
    assert fitted(both, 1, 1).values == pytest.approx([best], abs=0.05)


def scattered(seed, spoiled=None, by=0.0):
    measured = 2.0 + 0.7 * X + np.random.default_rng(seed).normal(size=X.size)
    if spoiled is not None:
        measured[spoiled] += by
    return measured


def found_in(measured, x=X):
    every = np.ones(x.size, dtype=bool)
    _, kept = without_outliers(FitProblem(line(measured, x), -FAR[:2], FAR[:2], every), np.zeros(2))
    return np.flatnonzero(~kept)


@pytest.mark.parametrize("place", [0, 5, 11])
def test_an_outlier_is_named(place):
    assert found_in(scattered(1, place, 12.0)).tolist() == [place]


@pytest.mark.parametrize(("by", "named"), [(6.0, []), (8.0, [12])])
def test_what_stands_apart_is_measured_by_the_error_of_its_forecast(by, named):
    """Twelve points from 0 to 4, alternately 1 above and below a line, scatter √(12/10): at 6 their
    line is off by √(1 + 1/12 + 4²/18.9) = 1.39 scatters, and Student's t at 1 %/26 and 10 degrees
    of freedom is 4.6: an outlier from 7.0 on; without the error of the line from 5.1 on."""
    assert found_in(np.append(np.tile([1.0, -1.0], 6), by), np.append(X, 6.0)).tolist() == named


def test_no_outlier_is_named_more_often_than_the_level_says():
    """At a level of 1 %, of 300 clean sets; 10 and more would be seen once in two thousand."""
    assert sum(len(found_in(scattered(seed))) > 0 for seed in range(300)) < 10


def test_intervals_of_a_line_hold_their_share():
    """Of 400 forecasts at a new place, 90 % intervals; the bounds are four binomial standard
    deviations apart."""
    generator = np.random.default_rng(8)
    new, held = 6.0, 0
    for _ in range(400):
        done = fitted(line(2.0 + 0.7 * X[:5] + generator.normal(size=5), X[:5]), 5)
        slope = 1e4 * np.array([1.0, new])
        half = interval_width(0.9, done.dof) * np.sqrt(
            slope @ done.covariance @ slope + done.scatter**2
        )
        held += abs(2.0 + 0.7 * new + generator.normal() - slope @ done.values) <= half
    assert stats.binom.ppf(1e-4, 400, 0.9) <= held <= stats.binom.ppf(1 - 1e-4, 400, 0.9)


def test_more_data_never_widen_a_posterior():
    rows = np.random.default_rng(2).normal(size=(9, 3))
    widths = [np.diag(posterior(rows[:n], 1.0)) for n in range(10)]
    assert np.all(np.diff(widths, axis=0) <= 1e-12) and widths[0] == pytest.approx(np.ones(3))


def test_values_that_stand_in_for_each_other_are_determined_only_together():
    """Two values of which the data see the sum share one direction, half each, however narrow their
    priors leave either; a third one is seen on its own, and a fourth hardly at all."""
    slopes = np.array([[9.0, 9.0, 0.0, 0.0], [0.0, 0.0, 9.0, 0.0], [0.0, 0.0, 0.0, 0.1]])
    done = fitted(lambda v: (slopes @ v, slopes), 3, 4)
    want = np.zeros((4, 4))
    want[:2, :2], want[2, 2] = 0.5, 1.0
    assert done.determined == pytest.approx(want, abs=1e-9)
    assert np.sqrt(done.covariance[0, 0]) < 0.72, "its width alone would pass it as determined"
