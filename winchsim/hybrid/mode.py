"""What the runner is given: smooth pieces of a problem (modes), the guards that end them, and how
they follow each other."""

import math
from collections.abc import Callable, Hashable, Sequence
from typing import Any, Protocol

import numpy as np

from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Guard:
    """A named guard; it fires when its value rises through zero.

    Parameters
    ----------
    name : hashable
        Given to the problem's `switch`.
    band : float
        Disarm band, at least 0, in the guard's own unit: a guard that starts within plus or minus
        this is not armed until its value is below ``-band``, and fires unarmed only above
        ``+band``.
    """

    name: Hashable
    band: float


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


@dataclass(frozen=True)
class Switch:
    """Answer of a problem to fired guards: the next mode and the state that it starts from.

    Parameters
    ----------
    key : hashable or None
        Key of the next mode; None ends the run here.
    y : ndarray or sequence of float, shape (n,)
        State after the switch, in the problem's own units. The same as before where nothing jumps.
    events : tuple
        Labels or objects for the record; they are kept with the time and the two states.
    """

    key: Any
    y: np.ndarray | Sequence[float]
    events: tuple[Any, ...] = ()


class Problem(Protocol):
    """A switched problem: its modes, its switches, and what counts as getting on."""

    def mode(self, key: Any) -> Mode:
        """The mode of a key."""
        ...

    def switch(self, key: Any, fired: tuple[Hashable, ...], t: float, y: np.ndarray) -> Switch:
        """What follows when guards have fired in a mode (earliest first), at this time and
        state, which it may change."""
        ...

    def progress(self, t: float, y: np.ndarray) -> tuple[float, ...]:
        """Quantities whose change counts as progress, scaled so that 1.0 is a real advance; time is
        not one of them."""
        ...
