"""A value that nobody gave and that was estimated instead."""

from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Assumption:
    """One estimated value with the range that it may really have.

    Attributes
    ----------
    path_tail : str
        Key that would have given it, relative to the table it belongs to (``rotor_inertia``).
    value : float
        What was taken, in the SI unit of that key (°C for temperatures).
    low, high : float
        Range for a spread: about nine parts in ten are expected inside.
    why : str
        One clause: what the estimate rests on.
    """

    path_tail: str
    value: float
    low: float
    high: float
    why: str
