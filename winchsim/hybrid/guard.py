"""Guards: values whose rise through zero ends a segment, their arming, and the search for their
first crossing."""

from collections.abc import Callable, Hashable, Sequence
from typing import Any

import numpy as np
from scipy.optimize import brentq

from winchsim.hybrid.problem import Guard
from winchsim.hybrid.stepper import BrokenError, Trail

# A bracket is narrowed to this part of itself, or to the spacing of floats where that is wider.
_ROOT_PART = 1e-12
_ROOT_RTOL = 4.0 * float(np.finfo(float).eps)
# Looks for the far side of a root, each twice as far on: enough to pass any bracket.
_PAST_ROUNDS = 60
# A peak between samples is looked at again when four times its parabola's rise above the sample
# would reach zero: a kinked top, as of the smaller of two values, rises up to that much.
_PEAK_DOUBT = 4.0
_PEAK_ROUNDS = 8
_PEAK_PARTS = 10


_Bracket = tuple[float, int, float, float]
"""Start of a stretch in which a guard rises through a level, the guard's place, the stretch's end,
and the level."""


class Watch:
    """Watches the guards of one segment.

    Parameters
    ----------
    guards : tuple of Guard
        Guards of the mode.
    guard_values : callable
        All their values at once, for floats and for arrays.
    t : float
        Start of the segment.
    values : sequence of float
        Guard values there.
    samples : int
        Points per step at which the guards are looked at, the step's end included.

    Notes
    -----
    After each step only the values at its end are looked at (`is_hot`). What happens between the
    ends of steps is looked at for many steps in one call (`search`): the values at `samples` points
    per step, and a closer look at every peak that a parabola cannot rule out.
    """

    def __init__(
        self,
        guards: tuple[Guard, ...],
        guard_values: Callable[[Any, Any], Sequence[Any]],
        t: float,
        values: Sequence[float],
        samples: int,
    ) -> None:
        self._names = tuple(guard.name for guard in guards)
        self._bands = [guard.band for guard in guards]
        self._guard_values = guard_values
        self._fractions = np.arange(1, samples + 1) / samples
        self.disarmed = {j for j, v in enumerate(values) if not v < -self._bands[j]}
        # The arming at the last sample that `search` has seen, which lags behind `disarmed`.
        self._armed = np.array([j not in self.disarmed for j in range(len(guards))], dtype=bool)
        self._tail_t = np.array([t])
        self._tail_values = np.array(values, dtype=float)[:, None]

    def is_hot(self, values: Sequence[float]) -> bool:
        """True when the values at a step's end show a crossing (or are not numbers); arms what has
        come clear."""
        disarmed, bands = self.disarmed, self._bands
        for j in tuple(disarmed):
            if values[j] < -bands[j]:
                disarmed.discard(j)
        return any(
            not v < 0.0 and (j not in disarmed or not v <= bands[j]) for j, v in enumerate(values)
        )

    def search(
        self, times: np.ndarray, trail: Trail, first: int, last_values: Sequence[float]
    ) -> tuple[int, float, np.ndarray, tuple[Hashable, ...]] | None:
        """The first crossing in the steps from `first` on: the step that holds it, its time and
        state, and the guards that fired; None where there is none.

        Parameters
        ----------
        times : ndarray, shape (steps + 1,)
            Ends of all steps of the segment, its start first.
        trail : Trail
            Interpolants of the steps.
        first : int
            The first step not searched before.
        last_values : sequence of float
            Guard values at the last time, from the scalar call, so that both calls see the same
            sign there.

        Raises
        ------
        BrokenError
            A guard value is not a number.
        """
        starts, ends = times[first:-1, None], times[first + 1 :, None]
        grid = starts + self._fractions * (ends - starts)
        grid[:, -1:] = ends
        values = self._values(grid.ravel(), trail.on_steps(first, grid))
        values[:, -1] = last_values
        t = np.concatenate([self._tail_t, grid.ravel()])
        values = np.concatenate([self._tail_values, values], axis=1)

        armed_from, brackets = self._rises(t, values)
        horizon = min((end for _, _, end, _ in brackets), default=np.inf)
        brackets += self._peaks(trail, times, t, values, armed_from, horizon)
        # Beyond a crossing a guard may leave its domain; before one it must not.
        lost = np.isnan(values).any(axis=0)
        if lost.any() and not any(end <= t[lost.argmax()] for _, _, end, _ in brackets):
            raise BrokenError
        if brackets:
            return self._locate(trail, times, brackets)
        self._armed = armed_from < t.size
        self._tail_t, self._tail_values = t[-2:], values[:, -2:]
        return None

    def _values(self, t: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Guard values of shape (guards, k)."""
        out = np.empty((len(self._names), t.size))
        for row, value in zip(out, self._guard_values(t, y), strict=True):
            row[:] = value
        return out

    def _rises(self, t: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, list[_Bracket]]:
        """From which sample on each guard is armed, and the first crossing of each that the samples
        show."""
        old = self._tail_t.size - 1
        armed_from = np.where(self._armed, 0, t.size)
        brackets: list[_Bracket] = []
        for j in np.flatnonzero((values[:, old + 1 :] >= 0.0).any(axis=1) | ~self._armed).tolist():
            v, band, start = values[j], self._bands[j], old + 1
            if not self._armed[j]:
                above, below = _first(v > band, start), _first(v < -band, start)
                if above < below:
                    brackets.append((t[above - 1], j, t[above], band))
                    continue
                armed_from[j] = start = below
            k = _first(v >= 0.0, start)
            if k < t.size:
                brackets.append((t[k - 1], j, t[k], 0.0))
        return armed_from, brackets

    def _peaks(
        self,
        trail: Trail,
        times: np.ndarray,
        t: np.ndarray,
        values: np.ndarray,
        armed_from: np.ndarray,
        horizon: float,
    ) -> list[_Bracket]:
        """Crossings hidden between two samples below zero: a guard that rises through zero and
        falls back."""
        found: list[_Bracket] = []
        rising = values[:, 1:] > values[:, :-1]
        guards, k = np.nonzero(rising[:, :-1] & ~rising[:, 1:] & (values[:, 1:-1] < 0.0))
        keep = (armed_from[guards] <= k) & (t[k] < horizon)
        guards, k = guards[keep], k[keep]
        if not guards.size:
            return found
        rows = k + np.arange(3)[:, None]
        t, v = t[rows], values[guards, rows]
        inner = np.arange(1, _PEAK_PARTS)[:, None] / _PEAK_PARTS
        for _ in range(_PEAK_ROUNDS):
            near = v[1] + _PEAK_DOUBT * _parabola_rise(t, v) >= 0.0
            guards, t, v = guards[near], t[:, near], v[:, near]
            if not guards.size:
                break
            # A finer grid over each bracket, then the bracket around its best point.
            fine_t = np.concatenate([t[:1], t[:1] + inner * (t[2] - t[0]), t[2:]])
            flat = fine_t[1:-1].ravel()
            steps = np.maximum(np.searchsorted(times, flat, side="left") - 1, 0)
            all_values = self._values(flat, trail.at(steps, flat)).reshape(
                -1, _PEAK_PARTS - 1, guards.size
            )
            columns = np.arange(guards.size)
            fine_v = np.concatenate([v[:1], all_values[guards, :, columns].T, v[2:]])
            up = fine_v[1:-1] >= 0.0
            for c in np.flatnonzero(up.any(axis=0)).tolist():
                row = 1 + int(np.argmax(up[:, c]))
                found.append((fine_t[row - 1, c], int(guards[c]), fine_t[row, c], 0.0))
            best = 1 + np.argmax(fine_v[1:-1], axis=0)
            open_ = ~up.any(axis=0)
            rows = np.stack([best - 1, best, best + 1])[:, open_]
            guards, columns = guards[open_], columns[open_]
            t, v = fine_t[rows, columns], fine_v[rows, columns]
        return found

    def _locate(
        self, trail: Trail, times: np.ndarray, brackets: list[_Bracket]
    ) -> tuple[int, float, np.ndarray, tuple[Hashable, ...]]:
        """The earliest root of the brackets, with all guards that have crossed there."""
        roots: list[tuple[float, int]] = []
        earliest, slack = np.inf, 0.0
        for start, guard, end, level in sorted(brackets):
            if start > earliest + slack:
                break
            root = self._root(trail, times, guard, (float(start), float(end)), level)
            roots.append((root, guard))
            if root < earliest:
                earliest = root
                slack = 4.0 * (_ROOT_PART * (end - start) + _ROOT_RTOL * abs(root))
        step = int(np.searchsorted(times, earliest, side="left")) - 1
        # A guard may have several brackets (rise and hidden peak); its first root counts.
        fired = dict.fromkeys(guard for root, guard in sorted(roots) if root <= earliest + slack)
        y = trail.point(max(step, 0), earliest)
        return step, earliest, y, tuple(self._names[guard] for guard in fired)

    def _root(
        self, trail: Trail, times: np.ndarray, guard: int, ends: tuple[float, float], level: float
    ) -> float:
        """Time at or just beyond which one guard has risen through its level; the bracket's own end
        where rounding hides the change of sign."""

        def excess(t: float) -> float:
            step = max(int(np.searchsorted(times, t, side="left")) - 1, 0)
            value = float(self._guard_values(t, trail.point(step, t).tolist())[guard])
            if value != value:
                raise BrokenError
            return value - level

        start, end = ends
        if excess(start) >= 0.0:
            return start
        if excess(end) <= 0.0:
            return end
        near = _ROOT_PART * (end - start)
        root = float(brentq(excess, start, end, xtol=near, rtol=_ROOT_RTOL, maxiter=2000))
        # On the near side of the root a steep guard may be further from zero than its band: a mode
        # that watches the same value from its other side would then switch back at once.
        step = near + _ROOT_RTOL * abs(root)
        for _ in range(_PAST_ROUNDS):
            if root >= end or excess(root) >= 0.0:
                break
            root, step = root + step, 2.0 * step
        return min(root, end)


def _first(mask: np.ndarray, start: int) -> int:
    """Index of the first true element from `start` on; the length when there is none."""
    places = np.flatnonzero(mask[start:])
    return start + int(places[0]) if places.size else mask.size


def _parabola_rise(t: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Most that a parabola through three samples, the middle one highest, can rise above it; shapes
    (3, c)."""
    before, after = t[1] - t[0], t[2] - t[1]
    curvature = ((v[1] - v[0]) / before - (v[2] - v[1]) / after) / (before + after)
    return 0.25 * curvature * np.maximum(before, after) ** 2
