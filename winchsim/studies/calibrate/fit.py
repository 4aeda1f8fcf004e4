"""Prior-weighted least squares: estimates, their covariance, the scatter of the data and outliers.

Knows no winch. Residuals come in units of their expected scatter; every value has a prior of mean 0
and standard deviation 1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Both = Callable[[Array], tuple[Array, Array]]
"""Residuals (n,) and their change with the values (n, p)."""

SOFT = 1.5
"""Residual from which the robust loss grows slower than a square. [-] Own choice."""

MOST_CALLS = 100
MOST_ROUNDS = 8
"""Rounds in which fit and scatter are brought to agree, at most."""

LEAST_SCATTER = 1e-3
"""Data that agree better than this with the model, in expected scatters, count as if they agreed so. [-]"""

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
        Degrees of freedom of the standard error; under 1 where the scatter is not from the data. [-]
    """
    tail = (1 + level) / 2
    return float(stats.t.ppf(tail, dof) if dof >= 1 else stats.norm.ppf(tail))


def solve(
    both: Both, start: Array, bounds: tuple[Array, Array], kept: Mask, scatter: float, *, robust: bool = False
) -> Array:
    """Values of the largest posterior at one scatter of the data.

    Parameters
    ----------
    both : callable
    start : ndarray, shape (p,)
    bounds : (ndarray, ndarray)
    kept : ndarray of bool, shape (n,)
        Residuals that count.
    scatter : float
        [expected scatters]
    robust : bool
        Whether large residuals weigh less.
    """
    seen: dict[bytes, tuple[Array, Array]] = {}

    def whole(values: Array) -> tuple[Array, Array]:
        if values.tobytes() not in seen:
            left, slopes = both(values)
            weight = kept / scatter
            rows = np.concatenate([weight * left, values])
            seen[values.tobytes()] = rows, np.concatenate([weight[:, None] * slopes, np.eye(len(values))])
        return seen[values.tobytes()]

    if not len(start):
        return start
    done = least_squares(
        lambda x: whole(x)[0],
        np.clip(start, bounds[0] + 1e-4, bounds[1] - 1e-4),
        jac=lambda x: whole(x)[1],
        bounds=bounds,
        xtol=1e-3 if robust else 1e-5,
        ftol=1e-3 if robust else 1e-7,
        gtol=1e-12,
        max_nfev=MOST_CALLS,
        loss="soft_l1" if robust else "linear",
        f_scale=SOFT,
    )
    return done.x


def fit(
    both: Both, start: Array, bounds: tuple[Array, Array], kept: Mask, data: Mask, scatter: float = 1.0
) -> Fit:
    """Fit whose scatter is that of its residuals.

    Parameters
    ----------
    both, start, bounds, kept
        As of `solve`.
    data : ndarray of bool, shape (n,)
        Residuals that are measurements; the others are evidence from one side.
    scatter : float
        To begin with. [expected scatters]
    """
    values, counted = start, kept & data
    for _ in range(MOST_ROUNDS):
        values = solve(both, values, bounds, kept, scatter)
        left, slopes = both(values)
        slopes = slopes * kept[:, None]
        last = scatter
        scatter, dof = scatter_of(left, slopes, counted, last)
        if abs(np.log(scatter / last)) < 0.02:
            break
    return Fit(values, left, slopes, scatter, dof)


def scatter_of(left: Array, slopes: Array, counted: Mask, scatter: float) -> tuple[float, float]:
    """Scatter of the data and its degrees of freedom, from residuals that were fitted at a scatter."""
    dof = float(counted.sum()) - determined(slopes, scatter)
    if dof < 1:
        return 1.0, dof
    return max(float(np.sqrt(np.sum(left[counted] ** 2) / dof)), LEAST_SCATTER), dof


def with_slopes(
    many: Callable[[Array], Array], values: Array, high: Array, free: Mask | None = None
) -> tuple[Array, Array]:
    """What a function of several values is, and how it changes with each, all of it asked for at once.

    Parameters
    ----------
    many : callable
        The function for several sets of values: (k, p) to (k, n).
    values, high : ndarray, shape (p,)
        Where; upper bounds, from which the step is taken downwards.
    free : ndarray of bool, shape (p,), optional
        Values of which the slopes are asked for; left out: all.

    Returns
    -------
    (ndarray of shape (n,), ndarray of shape (n, free values))
    """
    steps = np.where(values + STEP > high, -STEP, STEP)
    rows = np.diag(steps) if free is None else np.diag(steps)[free]
    found = many(np.concatenate([values[None], values + rows]))
    return found[0], ((found[1:] - found[0]) / rows.sum(axis=1)[:, None]).T


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
