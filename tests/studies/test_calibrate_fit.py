"""Least squares without a winch: errors, bounds, outliers, and what data cannot tell apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from winchsim.studies.calibrate.fit import choose, fit, interval_width, outlier, telling, with_slopes

X = np.linspace(0.0, 4.0, 12)


def line(values, x=X):
    return values[0] + values[1] * x


def test_errors_and_correlation_of_a_straight_line():
    """Against the closed form of a regression line.

    Source: the textbook formulas, as in D. C. Montgomery and G. C. Runger, *Applied Statistics and Probability for
    Engineers*, section 11-3 (from memory): s²/Sxx for the slope, s² (1/n + x̄²/Sxx) for the intercept.
    """
    noise = np.random.default_rng(4).normal(size=X.size)
    done = fit(lambda v: 2.0 + 0.7 * X + noise - line(v), [0.0, 0.0])
    n, sxx = X.size, np.sum((X - X.mean()) ** 2)
    s2 = np.sum(done.residuals**2) / (n - 2)
    assert done.dof == n - 2
    assert done.errors == pytest.approx([np.sqrt(s2 * (1 / n + X.mean() ** 2 / sxx)), np.sqrt(s2 / sxx)], rel=1e-6)
    assert done.correlation[0, 1] == pytest.approx(-X.mean() / np.sqrt(sxx / n + X.mean() ** 2), rel=1e-6)


def test_as_many_values_as_data_leave_the_expected_scatter():
    done = fit(lambda v: np.array([3.0, 5.0]) - line(v, np.array([1.0, 2.0])), [0.0, 0.0])
    assert done.values == pytest.approx([1.0, 2.0])
    assert done.dof == 0 and done.scatter == 1.0
    assert done.errors == pytest.approx([np.sqrt(5), np.sqrt(2)], rel=1e-6)
    assert done.quantile(0.9) == pytest.approx(1.6449, abs=1e-4)


def test_interval_width_is_of_students_t():
    """Source: table of Student's t, 0.95 quantile: 2.015 at 5 and 1.812 at 10 degrees of freedom (any statistics textbook)."""
    assert interval_width(0.9, 5) == pytest.approx(2.015, abs=5e-4)
    assert interval_width(0.9, 10) == pytest.approx(1.812, abs=5e-4)


def test_a_value_on_its_bound_counts_as_known():
    done = fit(lambda v: -1.0 + 0.5 * X - line(v), [0.5, 0.5], low=[0.0, 0.0])
    assert done.values[0] == pytest.approx(0.0, abs=1e-6)
    assert done.free.tolist() == [False, True]
    assert done.errors[0] == 0.0 and done.correlation[0, 1] == 0.0


def test_a_value_that_nothing_tells_has_no_end_of_an_error():
    done = fit(lambda v: np.array([1.0, 2.0, 3.0]) - v[0], [0.0, 0.0])
    assert np.isinf(done.errors[1]) and np.isfinite(done.errors[0])


def test_slopes_stay_within_the_bounds():
    asked = []

    def many(sets):
        asked.append(sets.copy())
        return sets**2

    value, slopes = with_slopes(many, np.array([1.0, 2.0]), np.ones(2), np.array([3.0, 2.0]))
    assert np.all(asked[0] <= [3.0, 2.0]) and len(asked) == 1
    assert value.tolist() == [1.0, 4.0]
    assert np.diag(slopes) == pytest.approx([2.0, 4.0], rel=1e-3)
    assert slopes[0, 1] == slopes[1, 0] == 0.0


def scattered(seed, spoiled=None, by=0.0):
    measured = 2.0 + 0.7 * X + np.random.default_rng(seed).normal(size=X.size)
    if spoiled is not None:
        measured[spoiled] += by
    return measured


def found_in(measured):
    every = np.ones(X.size, dtype=bool)
    return outlier(fit(lambda v: measured - line(v), [0.0, 0.0], robust=True), every, every)


@pytest.mark.parametrize("place", [0, 5, 11])
def test_an_outlier_is_named(place):
    assert found_in(scattered(1, place, 12.0)) == place


def test_no_outlier_is_named_more_often_than_the_level_says():
    """At a level of 1 %, of 300 clean sets; 10 and more would be seen once in two thousand."""
    assert sum(found_in(scattered(seed)) is not None for seed in range(300)) < 10


def test_what_cannot_be_told_apart_is_named():
    slopes = np.stack([X, 2 * X, np.ones_like(X)], axis=1)
    told = telling(slopes, np.ones(3))
    assert told.least == pytest.approx(0.0, abs=1e-12)
    assert np.abs(told.direction) == pytest.approx([2 / np.sqrt(5), 1 / np.sqrt(5), 0.0], abs=1e-9)


def test_columns_are_taken_in_their_order_as_far_as_they_are_told():
    slopes = np.stack([X, 2 * X, np.ones_like(X), 1e-3 * X**2], axis=1)
    assert choose(slopes, np.ones(4), 1.0) == [0, 2]
    assert choose(slopes[:1], np.ones(4), 0.1) == [2]


def test_intervals_of_a_line_hold_their_share():
    """Of 400 forecasts at a new place, 90 % intervals; the bounds are four binomial standard deviations apart."""
    generator = np.random.default_rng(8)
    new, held = 6.0, 0
    for _ in range(400):
        measured = 2.0 + 0.7 * X[:5] + generator.normal(size=5)
        done = fit(lambda v, measured=measured: measured - line(v, X[:5]), [2.0, 0.7])
        slope = np.array([1.0, new])
        half = done.quantile(0.9) * np.sqrt(slope @ done.covariance @ slope + done.scatter**2)
        held += abs(2.0 + 0.7 * new + generator.normal() - slope @ done.values) <= half
    assert stats.binom.ppf(1e-4, 400, 0.9) <= held <= stats.binom.ppf(1 - 1e-4, 400, 0.9)
