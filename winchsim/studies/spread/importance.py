"""Which of the uncertain inputs move a result, by rank correlation or by their share of its variance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.stats import qmc

from winchsim.errors import DomainError

Array = NDArray[np.float64]

NOISE_LEVEL = 0.01
"""Chance that an input without any influence passes for one that has some. [-] Own choice."""


@dataclass(frozen=True)
class RankCorrelation:
    """How strongly a result goes with each input.

    Attributes
    ----------
    values : ndarray, shape (inputs,)
        Spearman's coefficient, -1 to 1. [-]
    noise : float
        Coefficients no larger than this may be chance. [-]
    """

    values: Array
    noise: float


def rank_correlation(inputs: Sequence[Array], result: Array) -> RankCorrelation:
    """Rank correlation of a result with inputs that were drawn independently.

    Parameters
    ----------
    inputs : sequence of ndarray, each of shape (n, width)
        Of an input that every motor draws for itself the mean counts.
    result : ndarray, shape (n,)
        Rows without a result (NaN) are left out.

    Returns
    -------
    RankCorrelation
        0 for an input or a result that does not vary.
    """
    known = np.isfinite(result)
    count = int(known.sum())
    found = np.zeros(len(inputs))
    if count < 3 or np.ptp(result[known]) == 0:
        return RankCorrelation(found, 1.0)
    ranked = stats.rankdata(result[known])
    for place, values in enumerate(inputs):
        mean = values[known].mean(axis=1)
        if np.ptp(mean) > 0:
            found[place] = np.corrcoef(stats.rankdata(mean), ranked)[0, 1]
    t = stats.t.ppf(1 - NOISE_LEVEL / 2, count - 2)
    return RankCorrelation(found, float(t / np.sqrt(count - 2 + t * t)))


@dataclass(frozen=True)
class VarianceShares:
    """Shares of a result's variance that are due to each input.

    Attributes
    ----------
    first : ndarray, shape (results, inputs)
        To the input alone. [-]
    total : ndarray, shape (results, inputs)
        To the input and all that it does together with others. [-]
    runs : int
        Evaluations that it took.
    """

    first: Array
    total: Array
    runs: int


@dataclass(frozen=True)
class VarianceDesign:
    """Points at which variance shares are found: two independent sets, and one for each input that is taken from the second.

    Attributes
    ----------
    points : ndarray, shape ((inputs + 2) n, dimensions)
        Between 0 and 1. [-]
    count : int
        n, a power of 2.
    inputs : int
    """

    points: Array
    count: int
    inputs: int


def variance_design(widths: Sequence[int], count: int, random_seed: int) -> VarianceDesign:
    """Points for variance shares.

    Parameters
    ----------
    widths : sequence of int
        Numbers between 0 and 1 that each input takes: those of one input are exchanged together.
    count : int
        Points of each set, a power of 2.
    random_seed : int

    Raises
    ------
    DomainError
        The count is no power of 2.

    References
    ----------
    .. [1] A. Saltelli et al., "Variance based sensitivity analysis of model output. Design and estimator for the total
       sensitivity index", *Computer Physics Communications* 181 (2010), 259-270, as scipy.stats.sobol_indices has it.
    """
    if count < 2 or count & (count - 1):
        raise DomainError("count", count, "a power of 2")
    dimensions = sum(widths)
    both = qmc.Sobol(2 * dimensions, seed=np.random.default_rng(random_seed)).random(count)
    first, second = both[:, :dimensions], both[:, dimensions:]
    sets, start = [first, second], 0
    for width in widths:
        mixed = first.copy()
        mixed[:, start : start + width] = second[:, start : start + width]
        sets.append(mixed)
        start += width
    return VarianceDesign(np.concatenate(sets), count, len(widths))


def variance_shares(design: VarianceDesign, results: Array) -> VarianceShares:
    """Shares of variance from the results at the points of a design.

    Parameters
    ----------
    design : VarianceDesign
    results : ndarray, shape (results, points)

    Returns
    -------
    VarianceShares
        0 for a result that does not vary.
    """
    s, n, d = results.shape[0], design.count, design.inputs
    blocks = results.reshape(s, d + 2, n)
    first, total = np.zeros((s, d)), np.zeros((s, d))
    varies = np.ptp(blocks[:, :2].reshape(s, -1), axis=1) > 0
    if varies.any():
        part = blocks[varies]
        found = stats.sobol_indices(func={"f_A": part[:, 0], "f_B": part[:, 1], "f_AB": np.moveaxis(part[:, 2:], 1, 0)}, n=n)
        first[varies] = np.reshape(found.first_order, (-1, d))
        total[varies] = np.reshape(found.total_order, (-1, d))
    return VarianceShares(first, total, (d + 2) * n)


def shares_of_function(
    function: Callable[[Array], Array], widths: Sequence[int], count: int, random_seed: int
) -> VarianceShares:
    """Variance shares of a function of numbers between 0 and 1.

    Parameters
    ----------
    function : callable
        Of points, shape (n, dimensions), to results, shape (results, n).
    widths, count, random_seed
        As for `variance_design`.
    """
    design = variance_design(widths, count, random_seed)
    return variance_shares(design, function(design.points))
