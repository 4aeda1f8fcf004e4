"""A value that nobody gave and that is estimated instead."""

from typing import NamedTuple


class Estimate(NamedTuple):
    """One estimated value with the range that it may really have.

    Attributes
    ----------
    value : float
        What is taken, in SI (°C for temperatures).
    low, high : float
        Range for a spread: about nine parts in ten are expected inside.
    why : str
        One clause: what the estimate rests on.
    """

    value: float
    low: float
    high: float
    why: str
