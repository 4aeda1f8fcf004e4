"""What a run hands back: how it ended, its segments with dense output, its transitions, its
counts."""

from collections.abc import Hashable
from enum import Enum
from functools import cache
from typing import Any

import numpy as np

from winchsim.frozen import dataclass
from winchsim.hybrid.trail import Trail

__all__ = ["Outcome", "Run", "Segment", "Stats", "Transition"]


class Outcome(Enum):
    """How a run ended; the value is the sentence to print."""

    FINISHED = "The run reached its end time."
    STOPPED = "The run was stopped by a switch."
    CHATTER = "The modes kept switching without any progress."
    TOO_MANY_SWITCHES = "The run used up its number of switches."
    BUDGET = "The run used up its number of steps or right-hand-side calls."
    NOT_FINITE = "The state or a guard is no longer a finite number."
    SOLVER_FAILED = "The integrator could not take another step."

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
    restarts : int
        Solver starts, at least one per segment.
    fallbacks : int
        Segments that LSODA could not do and that were done again with Radau.
    """

    rhs_calls: int = 0
    steps: int = 0
    switches: int = 0
    restarts: int = 0
    fallbacks: int = 0


@dataclass(frozen=True, eq=False)
class Transition:
    """One answered switch: when, from where to where, and the problem's own labels.

    Parameters
    ----------
    t : float
        Time of the switch.
    y_before, y_after : ndarray, shape (n,)
        State on its two sides.
    fired : tuple
        Names of the guards that fired, earliest first, or ``("until",)``.
    key_from : hashable
        Mode that it ended.
    events : tuple
        The labels that the problem gave.
    """

    t: float
    y_before: np.ndarray
    y_after: np.ndarray
    fired: tuple[Hashable, ...]
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
        times : array_like, shape (k,)
            Times between the segment's two ends, in any order.

        Returns
        -------
        ndarray, shape (n, k)
            States; at the segment's two ends exactly the recorded ones.

        Raises
        ------
        ValueError
            A time lies outside the segment, or `times` is not one-dimensional.
        """
        times = np.asarray(times, dtype=float)
        start, end = self.t[0], self.t[-1]
        if times.ndim != 1:
            raise ValueError(f"times must be one-dimensional, not of shape {times.shape}")
        if times.size and not (times.min() >= start and times.max() <= end):
            raise ValueError(
                f"times {times.min()!r}..{times.max()!r} leave the segment {start!r}..{end!r}"
            )
        steps = np.maximum(np.searchsorted(self.t, times, side="left") - 1, 0)
        y = self.trail.at(steps, times)
        y[:, times == start] = self.y[:, :1]
        y[:, times == end] = self.y[:, -1:]
        return y

    def gauss(self, points: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Gauss-Legendre nodes of every accepted step, for integrals along the segment.

        Parameters
        ----------
        points : int
            Nodes per step; exact for polynomials of degree ``2 points - 1`` in time.

        Returns
        -------
        times : ndarray, shape (k,)
            Nodes, ascending, ``k = points * steps``.
        weights : ndarray, shape (k,)
            Weights in the unit of time: their sum is the segment's length.
        y : ndarray, shape (n, k)
            States at the nodes.
        """
        nodes, weights = _nodes(points)
        start, span = self.t[:-1, None], np.diff(self.t)[:, None]
        times = start + span * (0.5 * (nodes + 1.0))
        y = self.trail.on_steps(0, times)
        return times.ravel(), (span * (0.5 * weights)).ravel(), y


_nodes = cache(np.polynomial.legendre.leggauss)


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
