"""Least squares with what it is worth: standard errors, correlation, outliers, and what the data cannot tell apart.

Knows no winch. Residuals come in units of their expected scatter, so that 1 is an ordinary one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Residuals = Callable[[Array], Array]

SOFT = 1.5
"""Residual from which the robust loss grows slower than a square. [-] Own choice."""

MOST_CALLS = 200

OUTLIER_LEVEL = 0.01
"""Chance of naming an outlier where there is none. [-] Own choice."""

LEAST_OUTLIER = 3.0
"""And no residual below so many of its expected scatters is one. [-] Own choice."""

STEP = 1e-4
"""Step of a derivative, as a share of a parameter's scale. [-]"""

FLAT = 1e-7
"""Singular value, against the largest, from which on a direction counts as one that nothing is known of. [-]"""


@dataclass(frozen=True)
class Fit:
    """Result of a least-squares fit of p values to n residuals.

    Attributes
    ----------
    values : ndarray, shape (p,)
    residuals : ndarray, shape (n,)
        At the fit. [expected scatters]
    jacobian : ndarray, shape (n, p)
        Change of the residuals with the values.
    free : ndarray of bool, shape (p,)
        Whether a value is inside its bounds; one on its bound counts as known.
    dof : int
        Residuals that count, less free values; at least 0.
    scatter : float
        Root of the sum of squares over `dof`; 1, as expected, where `dof` is 0. [-]
    inverse : ndarray, shape (p, p)
        Of J'J: covariance of the values at a scatter of 1; infinite where the data say nothing.
    """

    values: Array
    residuals: Array
    jacobian: Array
    free: NDArray[np.bool_]
    dof: int
    scatter: float
    inverse: Array

    @property
    def covariance(self) -> Array:
        """Covariance of the values, from `scatter`."""
        return np.where(np.isinf(self.inverse), np.inf, self.scatter**2 * self.inverse)

    @property
    def errors(self) -> Array:
        """Standard errors of the values."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> Array:
        """Correlation of the values; 0 beside one that is on its bound. [-]"""
        errors = self.errors
        with np.errstate(divide="ignore", invalid="ignore"):
            found = self.covariance / np.outer(errors, errors)
        found = np.where(np.isfinite(found), found, 0.0)
        np.fill_diagonal(found, 1.0)
        return np.clip(found, -1.0, 1.0)

    def quantile(self, level: float) -> float:
        """Standard errors on either side that hold the truth with a probability: by `interval_width`. [-]"""
        return interval_width(level, self.dof)


def interval_width(level: float, dof: int) -> float:
    """Half width, in standard errors, of a two-sided interval. [-]

    Parameters
    ----------
    level : float
        Probability, between 0 and 1. [-]
    dof : int
        Degrees of freedom of the standard error; 0 where the scatter is not from the data. [-]
    """
    tail = (1 + level) / 2
    return float(stats.t.ppf(tail, dof) if dof > 0 else stats.norm.ppf(tail))


def fit(
    residuals: Residuals,
    start: Sequence[float] | Array,
    *,
    low: Sequence[float] | Array | None = None,
    high: Sequence[float] | Array | None = None,
    scales: Sequence[float] | Array | None = None,
    jacobian: Callable[[Array], Array] | None = None,
    counted: NDArray[np.bool_] | None = None,
    robust: bool = False,
    tolerance: float = 1e-13,
) -> Fit:
    """Values that make the sum of squared residuals least.

    Parameters
    ----------
    residuals : callable
        Of the values. [expected scatters]
    start : array_like, shape (p,)
    low, high : array_like, shape (p,), optional
        Bounds.
    scales : array_like, shape (p,), optional
        Size of a change of each value that matters; left out: the size of the start.
    jacobian : callable, optional
        Of the values; left out: by differences.
    counted : ndarray of bool, shape (n,), optional
        Residuals that count as data; left out: all.
    robust : bool
        Whether large residuals weigh less. The covariance is then none to be relied on.
    tolerance : float
        Relative change at which the search ends. [-]

    Returns
    -------
    Fit
    """
    first = np.asarray(start, dtype=float)
    sizes = np.abs(first) + (first == 0) if scales is None else np.asarray(scales, dtype=float)
    bottom = np.full(first.shape, -np.inf) if low is None else np.asarray(low, dtype=float)
    top = np.full(first.shape, np.inf) if high is None else np.asarray(high, dtype=float)
    how: dict[str, Any] = {"loss": "soft_l1", "f_scale": SOFT} if robust else {}
    inside = np.clip(first, bottom + 1e-3 * sizes, top - 1e-3 * sizes)
    done = least_squares(
        residuals, inside, jac=jacobian or "3-point", bounds=(bottom, top), x_scale=sizes, xtol=tolerance, ftol=tolerance,
        gtol=tolerance, max_nfev=MOST_CALLS, **how,
    )  # fmt: skip
    values, left = done.x, residuals(done.x)
    slopes = jacobian(values) if jacobian is not None else done.jac
    free = (values - bottom > 1e-6 * sizes) & (top - values > 1e-6 * sizes)
    data = np.ones(left.shape, dtype=bool) if counted is None else counted
    dof = max(int(data.sum()) - int(free.sum()), 0)
    scatter = float(np.sqrt(np.sum(left**2) / dof)) if dof else 1.0
    return Fit(values, left, slopes, free, dof, scatter, _inverse(slopes, free, sizes))


def _inverse(slopes: Array, free: NDArray[np.bool_], scales: Array) -> Array:
    """Inverse of J'J over the free values, by singular values; infinite along what nothing is known of."""
    p = len(free)
    found = np.zeros((p, p))
    if not free.any():
        return found
    scaled = slopes[:, free] * scales[free]
    _, sizes, rows = np.linalg.svd(scaled, full_matrices=True)
    sizes = np.concatenate([sizes, np.zeros(rows.shape[0] - len(sizes))])
    known = sizes > FLAT * max(float(sizes.max()), 1e-300)
    inverse = (rows[known].T / sizes[known] ** 2) @ rows[known]
    unknown = np.any(np.abs(rows[~known]) > 1e-6, axis=0)
    inverse[np.ix_(unknown, unknown)] += np.diag(np.full(int(unknown.sum()), np.inf)) if unknown.any() else 0.0
    found[np.ix_(free, free)] = inverse * np.outer(scales[free], scales[free])
    return found


def with_slopes(many: Callable[[Array], Array], values: Array, scales: Array, high: Array) -> tuple[Array, Array]:
    """What a function of several values is, and how it changes with each, all of it asked for at once.

    Parameters
    ----------
    many : callable
        The function for several sets of values: (k, p) to (k, n).
    values, scales, high : ndarray, shape (p,)
        Where; sizes of changes that matter; upper bounds, from which the step is taken downwards.

    Returns
    -------
    (ndarray of shape (n,), ndarray of shape (n, p))
    """
    steps = np.where(values + STEP * scales > high, -STEP, STEP) * scales
    found = many(np.concatenate([values[None], values + np.diag(steps)]))
    return found[0], ((found[1:] - found[0]) / steps[:, None]).T


def outlier(robust: Fit, kept: NDArray[np.bool_], counted: NDArray[np.bool_]) -> int | None:
    """Place of the one residual that does not belong to the others; None where all do.

    Parameters
    ----------
    robust : Fit
        With a loss that an outlier cannot bend.
    kept : ndarray of bool, shape (n,)
        Residuals that have not been left out before.
    counted : ndarray of bool, shape (n,)
        Residuals that count as data.

    Returns
    -------
    int or None

    Notes
    -----
    The largest residual of the robust fit is left out and foretold from an ordinary fit of the others, which is one linear
    step away. Over the standard error of that forecast it follows Student's t; the level is divided by the number of
    residuals, any of which might have been the largest (Bonferroni).

    References
    ----------
    .. [1] R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, section 2.2.2, from memory.
    """
    place = int(np.argmax(np.where(kept, np.abs(robust.residuals), 0.0)))
    others = kept.copy()
    others[place] = False
    dof = int((others & counted).sum()) - int(robust.free.sum())
    if dof < 1:
        return None
    slopes = robust.jacobian[:, robust.free]
    step, _, rank, _ = np.linalg.lstsq(slopes[others], -robust.residuals[others], rcond=None)
    if rank < slopes.shape[1]:  # nothing but this residual tells one of the values
        return None
    left = robust.residuals + slopes @ step
    scatter = np.sqrt(np.sum(left[others] ** 2) / dof)
    inverse = np.linalg.inv(slopes[others].T @ slopes[others])
    error = scatter * np.sqrt(1 + slopes[place] @ inverse @ slopes[place])
    limit = stats.t.ppf(1 - OUTLIER_LEVEL / (2 * int(kept.sum())), dof)
    return place if abs(left[place]) > max(limit * error, LEAST_OUTLIER) else None


# --- what can be told ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Telling:
    """How well a set of values can be told from data.

    Attributes
    ----------
    least : float
        Smallest singular value of the scaled Jacobian: how many scatters a change moves the data by along the direction
        that they feel least. [-]
    direction : ndarray, shape (p,)
        That direction, of length 1.
    """

    least: float
    direction: Array


def telling(jacobian: Array, scales: Array) -> Telling:
    """How well values can be told from data whose residuals change like this.

    Parameters
    ----------
    jacobian : ndarray, shape (n, p)
    scales : ndarray, shape (p,)
        Uncertainty of each value without the data.
    """
    _, sizes, rows = np.linalg.svd(jacobian * scales, full_matrices=True)
    sizes = np.concatenate([sizes, np.zeros(rows.shape[0] - len(sizes))])
    place = int(np.argmin(sizes))
    return Telling(float(sizes[place]), rows[place])


def choose(jacobian: Array, scales: Array, threshold: float) -> list[int]:
    """Columns, taken in their order, that the data can tell all together.

    Parameters
    ----------
    jacobian : ndarray, shape (n, p)
    scales : ndarray, shape (p,)
    threshold : float
        Least singular value of the scaled Jacobian that is enough. [-]
    """
    chosen: list[int] = []
    for column in range(jacobian.shape[1]):
        trial = [*chosen, column]
        if len(trial) <= jacobian.shape[0] and telling(jacobian[:, trial], scales[trial]).least >= threshold:
            chosen = trial
    return chosen
