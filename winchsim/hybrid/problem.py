"""What the runner is given and what it hands back.

A problem has smooth pieces (modes), guards that end them, and says how they follow each other. A
run has an outcome, segments with dense output, transitions, and counts.
"""

import math
from collections.abc import Callable, Hashable, Sequence
from enum import Enum
from typing import Any, Protocol

import numpy as np

from winchsim.frozen import dataclass
from winchsim.hybrid.stepper import Trail

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)


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

    def switch(self, key: Any, fired: tuple[Hashable, ...], t: float, y: np.ndarray) -> Switch:
        """What follows when guards have fired in a mode (earliest first), at this time and
        state, which it may change."""

    def progress(self, t: float, y: np.ndarray) -> tuple[float, ...]:
        """Quantities whose change counts as progress, scaled so that 1.0 is a real advance; time is
        not one of them."""


# --- what comes back


class Outcome(Enum):
    """How a run ended; the value is the sentence to print."""

    FINISHED = "The run reached its end time."
    STOPPED = "The run was stopped by a switch."
    CHATTER = "The modes kept switching without any progress."
    TOO_MANY_SWITCHES = "The run used up its number of switches."
    BUDGET = "The run used up its number of steps or right-hand-side calls."
    SOLVER_FAILED = (
        "The integrator could not take another step, or the state or a guard is no longer a finite "
        "number."
    )

    @property
    def ok(self) -> bool:
        """True where the run came to its own end: it reached its end time or was stopped by a
        switch."""
        return self in (Outcome.FINISHED, Outcome.STOPPED)


@dataclass
class Stats:
    """Counts of a run.

    Parameters
    ----------
    rhs_calls, steps : int
        Right-hand-side calls (those for difference Jacobians included) and accepted steps, of
        abandoned attempts too.
    switches : int
        Answered calls of the problem's `switch`.
    """

    rhs_calls: int = 0
    steps: int = 0
    switches: int = 0


@dataclass(frozen=True, eq=False)
class Transition:
    """One answered switch: when, from where to where, and the problem's own labels.

    Parameters
    ----------
    t : float
        Time of the switch.
    y_before : ndarray, shape (n,)
        State before it.
    key_from : hashable
        Mode that it ended.
    events : tuple
        The labels that the problem gave.
    """

    t: float
    y_before: np.ndarray
    key_from: Any
    events: tuple[Any, ...]


@dataclass(frozen=True, eq=False)
class Segment:
    """One mode's stretch of time: accepted steps and the solver's own interpolant between them.

    Parameters
    ----------
    key : hashable
        Mode of the segment.
    t : ndarray, shape (m,)
        Times of the accepted steps, strictly ascending, both ends included; the last one is the
        event itself.
    y : ndarray, shape (n, m)
        States at these times.
    trail : Trail
        Interpolants of the m - 1 steps.
    """

    key: Any
    t: np.ndarray
    y: np.ndarray
    trail: Trail

    def at(self, times: np.ndarray) -> np.ndarray:
        """States at any times of the segment, from the solver's interpolant.

        Parameters
        ----------
        times : ndarray, shape (k,)
            Times between the segment's two ends, in any order.

        Returns
        -------
        ndarray, shape (n, k)
            States; at the segment's two ends exactly the recorded ones.
        """
        steps = np.maximum(np.searchsorted(self.t, times, side="left") - 1, 0)
        y = self.trail.at(steps, times)
        y[:, times == self.t[0]] = self.y[:, :1]
        y[:, times == self.t[-1]] = self.y[:, -1:]
        return y

    def gauss(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Three Gauss-Legendre nodes of every accepted step, for integrals along the segment; exact
        for polynomials of the fifth degree in time.

        Returns
        -------
        times : ndarray, shape (k,)
            Nodes, ascending, three a step.
        weights : ndarray, shape (k,)
            Weights in the unit of time: their sum is the segment's length.
        y : ndarray, shape (n, k)
            States at the nodes.
        """
        span = np.diff(self.t)[:, None]
        times = self.t[:-1, None] + span * (0.5 * (_NODES + 1.0))
        weights = span * (0.5 * _WEIGHTS)
        return times.ravel(), weights.ravel(), self.trail.on_steps(0, times)


@dataclass(frozen=True, eq=False)
class Run:
    """Result of a run, of the same shape however it ended.

    Parameters
    ----------
    outcome : Outcome
        How it ended.
    segments : tuple of Segment
        Stretches of positive length, in time order; a stretch that broke off is kept as far as it
        is sound.
    events : tuple of Transition
        Every answered switch, those of zero-length stretches too.
    t : float
        Time reached.
    y : ndarray, shape (n,)
        State there, after the last switch.
    stats : Stats
        Counts.
    """

    outcome: Outcome
    segments: tuple[Segment, ...]
    events: tuple[Transition, ...]
    t: float
    y: np.ndarray
    stats: Stats
