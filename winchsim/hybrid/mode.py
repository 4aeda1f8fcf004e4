"""What the runner is told: smooth pieces of a problem (modes) and how they follow each other."""

import math
from collections.abc import Callable, Hashable, Sequence
from typing import Any, Protocol

import numpy as np

from winchsim.frozen import dataclass
from winchsim.hybrid.guard import Guard
from winchsim.hybrid.reset import Switch

__all__ = ["Mode", "Problem"]


@dataclass(frozen=True)
class Mode:
    """One smooth piece of a switched problem: its right-hand side and the guards that end it.

    Parameters
    ----------
    key : hashable
        Name of the mode; written on its segments.
    rhs : callable
        ``rhs(t, y) -> dy/dt`` with a scalar time and `y` an ndarray of shape (n,); smooth inside
        the mode. It must not keep or change `y`.
    guards : tuple of Guard
        Names and disarm bands, in the order of `guard_values`.
    guard_values : callable
        All guard values at once, a guard fires when its value rises through zero. Called with a
        float and a sequence of n floats it returns one float per guard; called with times of shape
        (k,) and states of shape (n, k) it returns one array (or one float) per guard.
    until : float
        The segment ends at this time at the latest (a jump known beforehand: a phase change, a
        ramp's corner); ``("until",)`` is then what has fired.
    """

    key: Any
    rhs: Callable[[float, np.ndarray], Sequence[float]]
    guards: tuple[Guard, ...]
    guard_values: Callable[[Any, Any], Sequence[Any]]
    until: float = math.inf


class Problem(Protocol):
    """A switched problem: its modes, its switches, and what counts as getting on."""

    def mode(self, key: Any) -> Mode:
        """The mode of a key."""
        ...

    def switch(self, key: Any, fired: tuple[Hashable, ...], t: float, y: np.ndarray) -> Switch:
        """What follows when guards have fired in a mode (earliest first), at this time and
        state."""
        ...

    def progress(self, t: float, y: np.ndarray) -> tuple[float, ...]:
        """Quantities whose change counts as progress, scaled so that 1.0 is a real advance; time is
        not one of them."""
        ...
