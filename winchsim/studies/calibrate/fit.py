"""Prior-weighted least squares: estimates, their covariance, the scatter of the data and outliers.

Knows no winch. Residuals come in units of their expected scatter; every value has a prior of mean 0
and standard deviation 1.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import stdtrit

from winchsim.frozen import dataclass, replace

Array = NDArray[Any]
Mask = NDArray[np.bool_]

SOFT = 1.5
"""Residual from which the robust loss grows slower than a square. [-] Own choice."""

MOST_FORECASTS = 25
"""Forecasts of one search for the best values, at most. [-]"""

MOST_ROUNDS = 12
"""Rounds in which scatter and values are found in turn, at most. [-]"""

SETTLED_SCATTER = 0.02
"""The rounds end where the logarithm of the scatter changes by less. [-]"""

LEAST_SCATTER = 1e-3
"""Data that agree better than this with the model, in expected scatters, count as if they agreed
so. [-]"""

OUTLIER_LEVEL = 0.01
"""Chance of naming an outlier where there is none. [-] Own choice."""

LEAST_OUTLIER = 3.0
"""And no residual below so many of its expected scatters is one. [-] Own choice."""

DETERMINED = 0.7
"""A direction is determined where the data narrow it to this share of its prior's width. [-] Own
choice."""


@dataclass(frozen=True)
class Problem:
    """Residuals that values of unit priors are to make small.

    Attributes
    ----------
    both : callable
        Residuals (n,) at values (p,), and their change with the values (n, p). [expected scatters]
    low, high : ndarray, shape (p,)
        Bounds of the values; equal where one stays. [standard deviations of the prior]
    data : ndarray of bool, shape (n,)
        Residuals that are measurements; the others are evidence from one side, which counts while
        it is positive.
    settled : float
        A search ends where a step gains a smaller share of the loss. [-]
    """

    both: Callable[[Array], tuple[Array, Array]]
    low: Array
    high: Array
    data: Mask
    settled: float = 1e-3

    @property
    def free(self) -> Mask:
        """Values that may move, shape (p,)."""
        return self.low < self.high


@dataclass(frozen=True)
class Fit:
    """Values at the maximum of the posterior, and what is known of them.

    Attributes
    ----------
    values : ndarray, shape (p,)
        [standard deviations of the prior]
    residuals : ndarray, shape (n,)
        0 for evidence from one side that agrees. [expected scatters]
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

    @property
    def determined(self) -> Array:
        """Projection onto the directions that the data determine, shape (p, p).

        Notes
        -----
        The singular vectors of the slopes are the directions that the data see one by one; a
        singular value s narrows its direction to 1/√(1 + s²) of the prior's width. On the diagonal
        stands the share of each value that is determined by the data alone: values that stand in
        for each other share one direction, however narrow their prior makes either. (Resolution
        matrix of a damped inverse problem: W. Menke, *Geophysical Data Analysis: Discrete Inverse
        Theory*, chapter 4, from memory.)
        """
        _, sizes, rows = np.linalg.svd(self.slopes / self.scatter, full_matrices=False)
        seen = rows[1 / np.hypot(1.0, sizes) <= DETERMINED]
        return np.asarray(seen.T @ seen)

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


def posterior(slopes: Array, scatter: float) -> Array:
    """Covariance of values with unit priors after data of this scatter. shape (p, p)"""
    return np.linalg.inv(slopes.T @ slopes / scatter**2 + np.eye(slopes.shape[1]))


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
    return float(stdtrit(dof if dof >= 1 else np.inf, (1 + level) / 2))


def fit(problem: Problem, start: Array, kept: Mask, scatter: float = 1.0) -> Fit:
    """Values of the largest posterior, with the scatter of the data that the residuals show.

    Parameters
    ----------
    problem : Problem
    start : ndarray, shape (p,)
        Near enough for its slopes to show the scatter.
    kept : ndarray of bool, shape (n,)
        Residuals that count.
    scatter : float
        To begin with. [expected scatters]
    """
    found, counted = solve(problem, start, kept, scatter), kept & problem.data
    for _ in range(MOST_ROUNDS):
        last, moving = scatter, found.slopes[:, problem.free]
        scatter, dof = scatter_of(found.residuals, moving, counted, last)
        found = solve(problem, found.values, kept, scatter)
        if abs(np.log(scatter / last)) < SETTLED_SCATTER:
            break
    return replace(found, dof=dof)


def solve(
    problem: Problem, start: Array, kept: Mask, scatter: float = 1.0, *, robust: bool = False
) -> Fit:
    """Values of the largest posterior at a scatter.

    Parameters
    ----------
    problem, start, kept
        As for `fit`.
    scatter : float
        [expected scatters]
    robust : bool
        Whether large residuals weigh less (pseudo-Huber loss).
    """
    values, free = start.copy(), problem.free

    def at(moving: Array) -> tuple[Array, Array]:
        """Residuals with the priors behind them, and their slopes."""
        values[free] = moving
        left, slopes = problem.both(values)
        share = kept * (problem.data | (left > 0)) / scatter
        size = share * left
        if robust:
            root = np.hypot(1.0, size / SOFT)
            share = share * np.sqrt((1 + root) / 2) / root
            size = np.sign(size) * SOFT * np.sqrt(2 * (root - 1))
        return (
            np.concatenate([size, moving]),
            np.concatenate([share[:, None] * slopes[:, free], np.eye(len(moving))]),
        )

    low, high = problem.low[free], problem.high[free]
    values[free] = least_squares(
        lambda moving: at(moving)[0],
        np.clip(start[free], low, high),
        lambda moving: at(moving)[1],
        bounds=(low, high),
        method="dogbox",
        ftol=problem.settled,
        xtol=problem.settled,
        max_nfev=MOST_FORECASTS,
    ).x
    left, slopes = problem.both(values)
    counts = problem.data | (left > 0)
    counted = slopes * (kept & counts)[:, None]
    return Fit(values, np.where(counts, left, 0.0), counted, scatter, 0.0)


def scatter_of(left: Array, slopes: Array, counted: Mask, scatter: float) -> tuple[float, float]:
    """Scatter of the data and its degrees of freedom, from residuals that were fitted at a
    scatter: data less the trace of the hat matrix."""
    dof = float(counted.sum()) - float(np.sum(1 - np.diag(posterior(slopes, scatter))))
    if dof < 1:
        return 1.0, dof
    return max(float(np.sqrt(np.sum(left[counted] ** 2) / dof)), LEAST_SCATTER), dof


def without_outliers(problem: Problem, start: Array) -> tuple[Fit, Mask]:
    """A robust fit, and the residuals that belong together: outliers are found one by one and left
    out.

    Parameters
    ----------
    problem : Problem
    start : ndarray, shape (p,)
    """
    kept, values = np.ones(len(problem.data), dtype=bool), start
    for _ in range(max(int(problem.data.sum()) // 2, 1)):
        found = solve(problem, values, kept, robust=True)
        values, worst = found.values, outlier(found, kept, problem.data)
        if worst is None:
            break
        kept[worst] = False
    scatter, dof = scatter_of(found.residuals, found.slopes, kept & problem.data, 1.0)
    return replace(found, scatter=scatter, dof=dof), kept


def outlier(found: Fit, kept: Mask, data: Mask) -> int | None:
    """Place of the one residual that does not belong to the others; None where all do.

    Parameters
    ----------
    found : Fit
        A robust one, which an outlier cannot bend.
    kept, data : ndarray of bool, shape (n,)
        Residuals that have not been left out before; those that are measurements.

    Notes
    -----
    The largest residual is left out and predicted from a fit of the others and the priors, which is
    one linear step away. Over the standard error of that prediction it follows Student's t; the
    level is divided by the number of residuals, any of which might have been the largest
    (Bonferroni).

    References
    ----------
    .. [1] R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, section 2.2.2,
       from memory.
    """
    left, slopes = found.residuals, found.slopes
    place = int(np.argmax(np.where(kept, np.abs(left), 0.0)))
    others = kept.copy()
    others[place] = False
    scatter = 1.0
    for _ in range(3):  # the scatter weighs the priors, which shape the scatter
        inverse = posterior(slopes[others], scatter)
        pull = slopes[others].T @ left[others] / scatter**2 + found.values
        after = left - slopes @ (inverse @ pull)
        scatter, dof = scatter_of(after, slopes * others[:, None], others & data, scatter)
    if dof < 1:
        return None
    error = float(np.sqrt(scatter**2 + slopes[place] @ inverse @ slopes[place]))
    limit = stdtrit(dof, 1 - OUTLIER_LEVEL / (2 * int(kept.sum())))
    return place if abs(after[place]) > max(limit * error, LEAST_OUTLIER) else None
