"""A value that nobody gave and that is estimated instead."""

from typing import NamedTuple

from winchsim.frozen import dataclass


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


@dataclass(frozen=True)
class Assumed:
    """A value that a scenario did not give.

    Attributes
    ----------
    path : str
        Path that would have given it.
    value : float, int or str
        What was taken: SI (°C for temperatures), a whole number or text.
    unit : str
        Unit to print it in, empty where there is none.
    low, high : float or None
        Range that it may really have. SI
    source : str
        One clause: what it rests on.
    """

    path: str
    value: float | int | str
    unit: str
    low: float | None
    high: float | None
    source: str

    @property
    def off(self) -> tuple[float, float]:
        """By how much it may be less, and more, than what was taken; 0 without a range."""
        low, high = (self.value if end is None else end for end in (self.low, self.high))
        return float(self.value) - float(low), float(high) - float(self.value)
