"""The status of a value by its limits and its range."""

from typing import Any

import numpy as np

from winchsim.assessment.kinds import Side, Status

RANKS = {status: status.rank for status in Status}
"""Number of each status in arrays, 0 for the worst."""


def ranks_of(value: Any, low: Any, high: Any, side: Side, hard: Any, required: Any) -> np.ndarray:
    """Status of each of many values with their ranges, as a rank.

    Parameters
    ----------
    value, low, high : ndarray
        NaN for a value that is missing.
    side : Side
    hard, required : float or ndarray or None
        Limit that must not be missed, and value from which on it is ok; None or NaN for none.
    """
    sign = 1 if side is Side.LEAST else -1
    worst = low if side is Side.LEAST else high
    hard, required = (np.nan if limit is None else limit for limit in (hard, required))
    rank = np.full(np.shape(value), RANKS[Status.OK])
    rank[sign * worst < sign * np.where(np.isnan(hard), required, hard)] = RANKS[Status.THIN]
    rank[sign * value < sign * required] = RANKS[Status.THIN]
    rank[sign * value < sign * hard] = RANKS[Status.FAILS]
    rank[np.isnan(value)] = RANKS[Status.NOT_CHECKED]
    return rank


def grade(
    value: float | None,
    low: float | None,
    high: float | None,
    side: Side,
    hard: float | None,
    required: float | None,
) -> Status:
    """Status of one value as `ranks_of` has it; None for a value that is missing, or a range that
    was not computed."""
    if value is None:
        return Status.NOT_CHECKED
    least, most = (value if end is None else end for end in (low, high))
    return list(Status)[int(ranks_of(value, least, most, side, hard, required))]
