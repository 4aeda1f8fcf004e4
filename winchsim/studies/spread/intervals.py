"""Probabilities from counts, with their own confidence intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scipy.stats import binomtest

from winchsim.errors import DomainError
from winchsim.quantity_text import number
from winchsim.verdict.words import percent

Method = Literal["exact", "wilson"]


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


def share_text(p: Probability) -> str:
    """A probability as a percentage, two digits below 10 %; 0 and 1 in words: "none", "7.0 %", "99.2 %", "all"."""
    return {0.0: "none", 1.0: "all"}.get(p.share, percent(p.share, _digits(p.share)))


def interval_text(p: Probability) -> str:
    """Confidence interval of a probability, with as many digits: "5.4 to 12.3 %"."""
    return f"{number(100 * p.low, _digits(p.low))} to {percent(p.high, _digits(p.high))}"


def _digits(share: float) -> int:
    return 2 if share < 0.1 else 3


def probability(count: int, of: int, level: float = 0.95, method: Method = "exact") -> Probability:
    """Probability of an event that was counted.

    Parameters
    ----------
    count, of : int
        How often of how many independent trials.
    level : float
        Of the interval. [-]
    method : str
        ``exact`` (Clopper and Pearson: never too narrow) or ``wilson`` (right on average).

    Returns
    -------
    Probability
        Of no trials: anything from 0 to 1.

    Raises
    ------
    DomainError
        More events than trials, or a negative number of them.
    """
    if not 0 <= count <= of:
        raise DomainError("count", count, f"from 0 to {of}")
    if of == 0:
        return Probability(0, 0, 0.0, 1.0)
    found = binomtest(count, of).proportion_ci(confidence_level=level, method=method)
    return Probability(count, of, float(found.low), float(found.high))
