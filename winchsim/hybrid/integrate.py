"""The runner: integrates one mode after the other and switches between them where guards fire."""

import warnings
from collections.abc import Hashable, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from winchsim.frozen import dataclass
from winchsim.hybrid.guard import Watch
from winchsim.hybrid.problem import Mode, Outcome, Problem, Run, Segment, Stats, Transition
from winchsim.hybrid.stepper import (
    BrokenError,
    LsodaStepper,
    ScipyStepper,
    Stepper,
    lsoda_is_as_known,
)

UNTIL = "until"
_FALLBACK = "Radau"
# Steps between two looks at the inside of steps: many, for cheap array calls; few, as steps past a
# crossing are waste.
_BATCH = 96
# Steps between two looks at the guards at a step's end. A guard that rises unseen in between is
# found when the insides are searched; the steps past it are waste, a look at every step costs more.
_LOOK = 4
# A stretch this many float spacings long cannot be stepped and is taken as nothing.
_ULPS = 8
# Switches in a row without progress after which the run ends as CHATTER. A row starts anew as soon
# as one component of `problem.progress` differs by 1 or more from its value at the row's start.
_CHATTER_SWITCHES = 50


def run(
    problem: Problem,
    key: Any,
    y0: np.ndarray | Sequence[float],
    t0: float,
    t_end: float,
    *,
    rtol: float,
    atol: float | np.ndarray,
    method: str = "LSODA",
    max_switches: int = 20_000,
    max_rhs_calls: int = 2_000_000,
    max_steps: int = 250_000,
) -> Run:
    """A switched problem integrated from `t0` to `t_end`, or to the switch that stops it.

    Parameters
    ----------
    problem : Problem
        Modes, switches and the measure of progress.
    key : hashable
        Mode at the start.
    y0 : array_like, shape (n,)
        State at the start.
    t0, t_end : float
        Time span, ``t_end >= t0``.
    rtol : float
        Relative tolerance of the solver.
    atol : float or ndarray, shape (n,)
        Absolute tolerance, for all or for each state in its own unit.
    method : str
        LSODA, or Radau, which also does what LSODA cannot do.
    max_switches : int
        Switches after which the run ends as TOO_MANY_SWITCHES.
    max_rhs_calls, max_steps : int
        Work after which the run ends as BUDGET.

    Returns
    -------
    Run
        Of the same shape however the run ended; the outcome says how.
    """
    with warnings.catch_warnings(), np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        # What LSODA warns of ends up in the outcome.
        warnings.filterwarnings("ignore", message="lsoda: ")
        return _Runner(problem, method, rtol, atol, max_rhs_calls, max_steps).run(
            key, np.array(y0, dtype=float), float(t0), float(t_end), max_switches
        )


_Leg = tuple[Segment | None, tuple[Hashable, ...], Outcome | None]
"""One attempt at a segment: the segment where it has a length, what fired (nothing when the end
time was reached or it broke off), and what broke it off."""


@dataclass
class _Runner:
    """Settings and counts of one run."""

    problem: Problem
    method: str
    rtol: float
    atol: float | np.ndarray
    max_rhs_calls: int
    max_steps: int
    stats: Stats = field(default_factory=Stats)

    def run(self, key: Any, y: np.ndarray, t: float, t_end: float, max_switches: int) -> Run:
        """All segments, until something ends the run."""
        segments: list[Segment] = []
        transitions: list[Transition] = []
        outcome: Outcome | None = None
        base, without_progress = self.problem.progress(t, y), 0
        while t < t_end and outcome is None:
            mode = self.problem.mode(key)
            segment, fired, outcome = self._segment(mode, t, y, t_end)
            if segment is not None:
                segments.append(segment)
                t, y = float(segment.t[-1]), segment.y[:, -1].copy()
            elif UNTIL in fired or (not fired and outcome is None):
                t = max(t, min(mode.until, t_end))  # too short a stretch to be stepped
            if outcome is not None or not fired:
                break
            if self.stats.switches >= max_switches:
                outcome = Outcome.TOO_MANY_SWITCHES
                break
            switch = self.problem.switch(key, fired, t, y.copy())
            self.stats.switches += 1
            transitions.append(Transition(t, y, key, tuple(switch.events)))
            key, y = switch.key, np.array(switch.y, dtype=float)
            if key is None:
                outcome = Outcome.STOPPED
                break
            progress = self.problem.progress(t, y)
            without_progress += 1
            if any(abs(now - then) >= 1.0 for now, then in zip(progress, base, strict=True)):
                base, without_progress = progress, 0
            if without_progress > _CHATTER_SWITCHES:
                outcome = Outcome.CHATTER
        outcome = outcome or Outcome.FINISHED
        return Run(outcome, tuple(segments), tuple(transitions), t, y, self.stats)

    def _segment(self, mode: Mode, t: float, y: np.ndarray, t_end: float) -> _Leg:
        """One segment; what LSODA cannot do is done again with the fallback method."""
        values = mode.guard_values(t, y.tolist())
        if not np.isfinite(y).all() or any(value != value for value in values):
            return None, (), Outcome.SOLVER_FAILED
        rows = zip(mode.guards, values, strict=True)
        fired = tuple(guard.name for guard, value in rows if value > guard.band)
        bound = min(mode.until, t_end)
        on_bound = (UNTIL,) if mode.until <= t_end else ()
        if fired or bound - t <= _ULPS * np.spacing(max(abs(t), abs(bound))):
            return None, fired or on_bound, None
        segment, fired, broke = self._attempt(self.method, mode, t, y, bound, values)
        if broke is Outcome.SOLVER_FAILED and self.method != _FALLBACK:
            segment, fired, broke = self._attempt(_FALLBACK, mode, t, y, bound, values)
        return segment, fired if fired or broke else on_bound, broke

    def _attempt(
        self,
        method: str,
        mode: Mode,
        t: float,
        y: np.ndarray,
        bound: float,
        values: Sequence[float],
    ) -> _Leg:
        """One segment with one method: to its first crossing, to its bound, or until it breaks
        off."""
        start = (mode.rhs, t, y, bound)
        stepper: Stepper
        if method == "LSODA" and lsoda_is_as_known():
            stepper = LsodaStepper(*start, rtol=self.rtol, atol=self.atol)
        else:
            stepper = ScipyStepper(method, *start, rtol=self.rtol, atol=self.atol)
        watch = Watch(mode.guards, mode.guard_values, t, values, stepper.samples)
        broke, crossing = self._march(stepper, watch, mode, bound)
        self.stats.rhs_calls += stepper.rhs_calls
        self.stats.steps += stepper.count
        if crossing is None:
            segment = Segment(mode.key, *stepper.keep(stepper.count)) if stepper.count else None
            return segment, (), broke
        step, time, state, fired = crossing
        if time <= t:
            return None, fired, None
        times, states, trail = stepper.keep(step + 1)
        if time < times[-1]:
            times[-1], states[:, -1] = time, state
        return Segment(mode.key, times, states, trail), fired, None

    def _march(
        self, stepper: Stepper, watch: Watch, mode: Mode, bound: float
    ) -> tuple[Outcome | None, tuple[int, float, np.ndarray, tuple[Hashable, ...]] | None]:
        """Step until a crossing, the bound, the budget or a failure."""
        advance, guard_values, disarmed = stepper.advance, mode.guard_values, watch.disarmed
        calls_left = self.max_rhs_calls - self.stats.rhs_calls
        steps_left = self.max_steps - self.stats.steps
        searched = 0
        broke: Outcome | None = None
        at_end = False
        while not (at_end or broke):
            try:
                advance()
                at_end = stepper.t >= bound
                if not at_end and (stepper.count >= steps_left or stepper.rhs_calls >= calls_left):
                    broke = Outcome.BUDGET
            except BrokenError:
                broke = Outcome.SOLVER_FAILED
                if stepper.count == searched:
                    break
            if stepper.count % _LOOK and not at_end and not broke:
                continue
            values = guard_values(stepper.t, stepper.y)
            hot = (disarmed or not max(values, default=-1.0) < 0.0) and watch.is_hot(values)
            if not hot and not at_end and not broke and stepper.count - searched < _BATCH:
                continue
            try:
                times, trail = stepper.record()
                crossing = watch.search(times, trail, searched, values)
            except BrokenError:
                return Outcome.SOLVER_FAILED, None
            if crossing is not None:
                return None, crossing
            searched = stepper.count
        return broke, None
