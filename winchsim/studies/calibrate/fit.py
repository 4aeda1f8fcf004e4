"""Prior-weighted least squares: estimates, their covariance, the scatter of the data and outliers.

Knows no winch. Residuals come in units of their expected scatter; every value has a prior of mean 0
and standard deviation 1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import lsq_linear

Array = NDArray[Any]
Mask = NDArray[np.bool_]
Both = Callable[[Array], tuple[Array, Array]]
"""Residuals (n,) and their change with the values (n, p)."""

SOFT = 1.5
"""Residual from which the robust loss grows slower than a square. [-] Own choice."""

MOST_ROUNDS = 25
"""Rounds of a fit, at most."""

MOST_HALVINGS = 6
"""Halvings of a step that raises the loss, at most."""

SETTLED, SETTLED_ROBUST = 5e-3, 0.1
"""A fit ends where a round gains less. [twice the logarithm of the posterior]"""

NEAR = 0.5
"""Gain from which on the scatter is taken from the residuals. [as `SETTLED`] Farther from the
solution they would show a scatter so large that the data no longer count."""

SETTLED_SCATTER = 0.02
"""And where the logarithm of the scatter changes by less. [-]"""

LEAST_SCATTER = 1e-3
"""Data that agree better than this with the model, in expected scatters, count as if they agreed
so. [-]"""

OUTLIER_LEVEL = 0.01
"""Chance of naming an outlier where there is none. [-] Own choice."""

LEAST_OUTLIER = 3.0
"""And no residual below so many of its expected scatters is one. [-] Own choice."""

STEP = 1e-4
"""Step of a derivative, in standard deviations of the prior. [-]"""


@dataclass(frozen=True)
class Fit:
    """Values at the maximum of the posterior, and what is known of them.

    Attributes
    ----------
    values : ndarray, shape (p,)
        [standard deviations of the prior]
    residuals : ndarray, shape (n,)
        [expected scatters]
    slopes : ndarray, shape (n, p)
        Change of the residuals with the values; 0 for those that do not count.
    scatter : float
        Scatter of the data over what was expected of it; 1 where they do not tell. [-]
    dof : float
        Data, less the values that they determine; under 1 they do not tell the scatter. [-]
    """

    values: Array
    residuals: Array
    slopes: Array
    scatter: float
    dof: float

    @property
    def covariance(self) -> Array:
        """Covariance of the values, prior included."""
        return posterior(self.slopes, self.scatter)

    def parts(self, change: Array) -> tuple[float, float]:
        """Variance of a quantity from the scatter of the data, and from what the priors leave open.

        Parameters
        ----------
        change : ndarray, shape (p,)
            Of the quantity with the values.
        """
        whole = self.covariance @ change
        prior = float(whole @ whole)
        return max(float(change @ whole) - prior, 0.0), prior

    def quantile(self, level: float) -> float:
        """Half width of an interval that comes from the data, in standard errors. [-]"""
        return interval_width(level, self.dof)


def posterior(slopes: Array, scatter: float) -> Array:
    """Covariance of values with unit priors after data of this scatter. shape (p, p)"""
    return np.linalg.inv(slopes.T @ slopes / scatter**2 + np.eye(slopes.shape[1]))


def determined(slopes: Array, scatter: float) -> float:
    """Number of values that the data determine: the trace of the hat matrix. [-]"""
    return float(slopes.shape[1] - np.trace(posterior(slopes, scatter)))


def interval_width(level: float, dof: float) -> float:
    """Half width, in standard errors, of a two-sided interval. [-]

    Parameters
    ----------
    level : float
        Probability, between 0 and 1. [-]
    dof : float
        Degrees of freedom of the standard error; under 1 where the scatter is not from the data.
        [-]
    """
    tail = (1 + level) / 2
    return float(stats.t.ppf(tail, dof) if dof >= 1 else stats.norm.ppf(tail))


def fit(
    both: Both,
    start: Array,
    bounds: tuple[Array, Array],
    kept: Mask,
    data: Mask,
    *,
    scatter: float = 1.0,
    free: Mask | None = None,
    robust: bool = False,
    settled: float | None = None,
) -> Fit:
    """Values of the largest posterior, with the scatter of the data that the residuals show.

    Parameters
    ----------
    both : callable
    start : ndarray, shape (p,)
    bounds : (ndarray, ndarray)
    kept : ndarray of bool, shape (n,)
        Residuals that count.
    data : ndarray of bool, shape (n,)
        Residuals that are measurements; the others are evidence from one side, which counts while
        it is positive.
    scatter : float
        To begin with. [expected scatters]
    free : ndarray of bool, shape (p,), optional
        Values that are moved; left out: all.
    robust : bool
        Whether large residuals weigh less; the scatter then stays.
    settled : float, optional
        Gain of a round at which it ends; left out: that of a calibration. [-]

    Notes
    -----
    Gauss-Newton with step halving: each round solves the linearised problem within the bounds and
    takes the scatter from its residuals, so that a round costs one set of slopes.
    """
    free = np.ones(len(start), dtype=bool) if free is None else free
    values, dof, gain = np.clip(start, *bounds), 0.0, np.inf
    move = np.zeros(len(start))
    left, slopes = both(values)
    if settled is None:
        settled = SETTLED_ROBUST if robust else SETTLED
    for turn in range(MOST_ROUNDS):
        last, near = scatter, gain < NEAR or turn == MOST_ROUNDS - 1
        if near and not robust:
            seen, rows = _counted(left, slopes[:, free], kept, data)
            scatter, dof = scatter_of(seen, rows, kept & data, last)
        before = _loss(left, values, kept, data, scatter, robust)
        ahead = _step(left, slopes, values, bounds, kept, data, scatter, free, robust)
        gain = before - _loss(left + slopes @ ahead, values + ahead, kept, data, scatter, robust)
        if (near or robust) and gain < settled and abs(np.log(scatter / last)) < SETTLED_SCATTER:
            break
        back = -(ahead @ move) / max(float(move @ move), 1e-12)
        move = ahead / (1 + np.clip(back, 0.0, 2.0))  # steps that go back and forth meet in between
        for _ in range(MOST_HALVINGS):
            left, slopes = both(values + move)
            if (
                _loss(left, values + move, kept, data, scatter, robust)
                <= before * (1 + 1e-6) + 1e-9
            ):
                break
            move = move / 2
        values = values + move
    return Fit(values, *_counted(left, slopes, kept, data), scatter, dof)


def _counted(left: Array, slopes: Array, kept: Mask, data: Mask) -> tuple[Array, Array]:
    """Residuals, 0 for evidence from one side that agrees, and the slopes of those that count."""
    agrees = ~data & (left <= 0)
    return np.where(agrees, 0.0, left), slopes * (kept & ~agrees)[:, None]


def _loss(
    left: Array, values: Array, kept: Mask, data: Mask, scatter: float, robust: bool
) -> float:
    sizes = kept * np.where(data, left, np.maximum(left, 0.0)) / scatter
    if robust:
        sizes = SOFT * np.sqrt(2 * (np.sqrt(1 + (sizes / SOFT) ** 2) - 1))
    return float(sizes @ sizes + values @ values)


def _step(
    left: Array, slopes: Array, values: Array, bounds: tuple[Array, Array], kept: Mask, data: Mask,
    scatter: float, free: Mask, robust: bool,
) -> Array:  # fmt: skip
    """Step to the best values of the linearised problem; evidence from one side may come and go on
    the way."""
    weight = kept / scatter
    if robust:
        weight = weight * (1 + (left * weight / SOFT) ** 2) ** -0.25
    move, counts = np.zeros(len(values)), data | (left > 0)
    for _ in range(MOST_ROUNDS):
        rows = np.concatenate(
            [(weight * counts)[:, None] * slopes[:, free], np.eye(int(free.sum()))]
        )
        goal = -np.concatenate([weight * counts * left, values[free]])
        room = (bounds[0] - values)[free] - 1e-9, (bounds[1] - values)[free] + 1e-9
        move[free] = lsq_linear(rows, goal, room).x
        last, counts = counts, data | (left + slopes @ move > 0)
        if np.array_equal(counts, last):
            break
    return np.clip(values + move, *bounds) - values


def scatter_of(left: Array, slopes: Array, counted: Mask, scatter: float) -> tuple[float, float]:
    """Scatter of the data and its degrees of freedom, from residuals that were fitted at a
    scatter."""
    dof = float(counted.sum()) - determined(slopes, scatter)
    if dof < 1:
        return 1.0, dof
    return max(float(np.sqrt(np.sum(left[counted] ** 2) / dof)), LEAST_SCATTER), dof


def outlier(left: Array, slopes: Array, values: Array, kept: Mask, data: Mask) -> int | None:
    """Place of the one residual that does not belong to the others; None where all do.

    Parameters
    ----------
    left, slopes, values : ndarray
        Residuals, their changes and the values of a robust fit, which an outlier cannot bend.
    kept, data : ndarray of bool, shape (n,)
        Residuals that have not been left out before; those that are measurements.

    Notes
    -----
    The largest residual of the robust fit is left out and foretold from a fit of the others and the
    priors, which is one linear step away. Over the standard error of that forecast it follows
    Student's t; the level is divided by the number of residuals, any of which might have been the
    largest (Bonferroni).

    References
    ----------
    .. [1] R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, section 2.2.2,
       from memory.
    """
    place = int(np.argmax(np.where(kept, np.abs(left), 0.0)))
    others = kept.copy()
    others[place] = False
    scatter = 1.0
    for _ in range(3):  # the scatter weighs the priors, which shape the scatter
        inverse = posterior(slopes[others], scatter)
        step = -inverse @ (slopes[others].T @ left[others] / scatter**2 + values)
        after = left + slopes @ step
        scatter, dof = scatter_of(after, slopes * others[:, None], others & data, scatter)
    if dof < 1:
        return None
    error = float(np.sqrt(scatter**2 + slopes[place] @ inverse @ slopes[place]))
    limit = stats.t.ppf(1 - OUTLIER_LEVEL / (2 * int(kept.sum())), dof)
    return place if abs(after[place]) > max(limit * error, LEAST_OUTLIER) else None
