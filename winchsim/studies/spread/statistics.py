"""Probabilities with confidence intervals, and rank correlations: statistics that know no winch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from winchsim.frozen import dataclass

Array = NDArray[np.float64]

NOISE_LEVEL = 0.01
"""Chance that an input without any influence passes for one that has some. [-] Own choice."""


@dataclass(frozen=True)
class Probability:
    """How often something happened, and between which bounds its probability lies.

    Attributes
    ----------
    count, of : int
        How often of how many.
    low, high : float
        Confidence interval. [-]
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """How often, as a share; 0 of none. [-]"""
        return self.count / self.of if self.of else 0.0


def probability(count: int, of: int, level: float) -> Probability:
    """Probability of an event that was counted, with the interval of Clopper and Pearson, which is
    never too narrow.

    Parameters
    ----------
    count, of : int
        How often of how many independent trials; of none: anything from 0 to 1.
    level : float
        Of the interval. [-]
    """
    if of == 0:
        return Probability(0, 0, 0.0, 1.0)
    found = stats.binomtest(count, of).proportion_ci(level)
    return Probability(count, of, float(found.low), float(found.high))


def rank_correlation(inputs: Sequence[Array], result: Array) -> tuple[Array, float]:
    """Rank correlation of a result with inputs that were drawn independently.

    Parameters
    ----------
    inputs : sequence of ndarray, each of shape (n, width)
        Of an input that every motor draws for itself the mean counts.
    result : ndarray, shape (n,)
        Rows without a result (NaN) are left out.

    Returns
    -------
    (ndarray, shape (inputs,), float)
        Spearman's coefficient, -1 to 1, and the largest that may be chance; 0 for an input or a
        result that does not vary. [-]
    """
    known = np.isfinite(result)
    count = int(known.sum())
    if count < 3:
        return np.zeros(len(inputs)), 1.0
    columns = [result[known], *(values[known].mean(axis=1) for values in inputs)]
    ranks = stats.rankdata(columns, axis=1) - (count + 1) / 2
    sizes = np.linalg.norm(ranks, axis=1)
    found = ranks[1:] @ ranks[0] / np.maximum(sizes[1:] * sizes[0], 1e-9)
    t = stats.t.ppf(1 - NOISE_LEVEL / 2, count - 2)
    return found, float(t / np.sqrt(count - 2 + t * t)) if sizes[0] > 0 else 1.0
