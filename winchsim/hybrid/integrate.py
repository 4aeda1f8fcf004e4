"""The runner: integrates one mode after the other and switches between them where guards fire."""

import warnings
from collections.abc import Hashable, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from winchsim.frozen import dataclass
from winchsim.hybrid.guard import Crossing, GuardNotFiniteError, Watch, fired_at_start
from winchsim.hybrid.mode import Mode, Problem
from winchsim.hybrid.outcome import Outcome, Run, Segment, Stats, Transition
from winchsim.hybrid.reset import Switch
from winchsim.hybrid.stepper import (
    METHODS,
    LsodaStepper,
    ScipyStepper,
    StepError,
    Stepper,
    lsoda_is_as_known,
)

__all__ = ["run"]

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
# The solvers do not go below this.
_MIN_RTOL = 100.0 * float(np.finfo(float).eps)


def run(
    problem: Problem,
    key: Any,
    y0: np.ndarray | Sequence[float],
    t0: float,
    t_end: float,
    *,
    rtol: float,
    atol: float | np.ndarray | Sequence[float],
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
    atol : float or array_like, shape (n,)
        Absolute tolerance, for all or for each state in its own unit.
    method : str
        A scipy method: BDF, DOP853, LSODA, RK23, RK45 or Radau.
    max_switches : int
        Switches after which the run ends as TOO_MANY_SWITCHES.
    max_rhs_calls, max_steps : int
        Work after which the run ends as BUDGET.

    Returns
    -------
    Run
        Of the same shape however the run ended; the outcome says how.

    Raises
    ------
    ValueError
        An argument is out of its range, or a switch changes the number of states.
    """
    if method not in METHODS:
        raise ValueError(f"method must be one of {', '.join(METHODS)}, not {method!r}")
    if not rtol >= _MIN_RTOL:
        raise ValueError(f"rtol must be at least {_MIN_RTOL:.3g}, not {rtol!r}")
    if not t_end >= t0:
        raise ValueError(f"t_end must not be before t0: {t_end!r} < {t0!r}")
    y = np.array(y0, dtype=float)
    if y.ndim != 1:
        raise ValueError(f"y0 must be one-dimensional, not of shape {y.shape}")
    atol = atol if isinstance(atol, int | float) else np.asarray(atol, dtype=float)
    runner = _Runner(problem, method, rtol, atol, max_rhs_calls, max_steps)
    with warnings.catch_warnings(), np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        # What LSODA warns of ends up in the outcome.
        warnings.filterwarnings("ignore", message="lsoda: ")
        return runner.run(key, y, float(t0), float(t_end), max_switches)


@dataclass
class _Leg:
    """How one attempt at a segment ended."""

    fired: tuple[Hashable, ...]  # empty when the end time was reached or the attempt broke off
    t: float
    y: np.ndarray
    segment: Segment | None
    broke: Outcome | None = None


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
    segments: list[Segment] = field(default_factory=list)
    transitions: list[Transition] = field(default_factory=list)

    def run(
        self,
        key: Any,
        y: np.ndarray,
        t: float,
        t_end: float,
        max_switches: int,
    ) -> Run:
        """All segments, until something ends the run."""
        if not np.isfinite(y).all():
            return self._finish(Outcome.NOT_FINITE, t, y)
        base, without_progress = self.problem.progress(t, y), 0
        while t < t_end:
            leg = self._segment(self.problem.mode(key), t, y, t_end)
            t, y = leg.t, leg.y
            if leg.segment is not None:
                self.segments.append(leg.segment)
            if leg.broke is not None:
                return self._finish(leg.broke, t, y)
            if not leg.fired:
                break
            if self.stats.switches >= max_switches:
                return self._finish(Outcome.TOO_MANY_SWITCHES, t, y)
            switch = self.problem.switch(key, leg.fired, t, y.copy())
            self.stats.switches += 1
            key, y = self._apply(key, leg, switch)
            if key is None:
                return self._finish(Outcome.STOPPED, t, y)
            if not np.isfinite(y).all():
                return self._finish(Outcome.NOT_FINITE, t, y)
            progress = self.problem.progress(t, y)
            without_progress += 1
            if any(abs(now - then) >= 1.0 for now, then in zip(progress, base, strict=True)):
                base, without_progress = progress, 0
            if without_progress > _CHATTER_SWITCHES:
                return self._finish(Outcome.CHATTER, t, y)
        return self._finish(Outcome.FINISHED, t, y)

    def _apply(self, key: Any, leg: _Leg, switch: Switch) -> tuple[Any, np.ndarray]:
        """Record a switch; the next key and state."""
        after = np.array(switch.y, dtype=float)
        if after.shape != leg.y.shape:
            raise ValueError(
                f"switch of {key!r} by {leg.fired} gave a state of shape "
                f"{after.shape}, not {leg.y.shape}"
            )
        self.transitions.append(
            Transition(leg.t, leg.y, after, leg.fired, key, tuple(switch.events))
        )
        return switch.key, after

    def _finish(self, outcome: Outcome, t: float, y: np.ndarray) -> Run:
        return Run(outcome, tuple(self.segments), tuple(self.transitions), t, y, self.stats)

    def _segment(self, mode: Mode, t: float, y: np.ndarray, t_end: float) -> _Leg:
        """One segment; what LSODA cannot do is done again with the fallback method."""
        values = mode.guard_values(t, y.tolist())
        try:
            fired = fired_at_start(mode.guards, values)
        except GuardNotFiniteError:
            return _Leg((), t, y, None, Outcome.NOT_FINITE)
        if fired:
            return _Leg(fired, t, y, None)
        bound = min(mode.until, t_end)
        on_bound = (UNTIL,) if mode.until <= t_end else ()
        if bound - t <= _ULPS * np.spacing(max(abs(t), abs(bound))):
            return _Leg(on_bound, max(t, bound), y, None)
        leg = self._attempt(self.method, mode, t, y, bound, values)
        if self.method == "LSODA" and leg.broke in (Outcome.NOT_FINITE, Outcome.SOLVER_FAILED):
            self.stats.fallbacks += 1
            leg = self._attempt(_FALLBACK, mode, t, y, bound, values)
        if leg.broke is None and not leg.fired:
            leg.fired = on_bound
        return leg

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
        stepper = self._start(method, mode, t, y, bound)
        watch = Watch(mode.guards, mode.guard_values, t, values, stepper.samples)
        self.stats.restarts += 1
        broke, crossing = self._march(stepper, watch, mode, bound)
        self.stats.rhs_calls += stepper.rhs_calls
        self.stats.steps += stepper.count
        if crossing is not None:
            return _cut(mode.key, stepper, crossing, t, y)
        if not stepper.count:
            return _Leg((), t, y, None, broke)
        segment = Segment(mode.key, *stepper.keep(stepper.count))
        return _Leg((), stepper.t, np.array(stepper.y), segment, broke)

    def _start(self, method: str, mode: Mode, t: float, y: np.ndarray, bound: float) -> Stepper:
        """A solver at the start of a segment."""
        if method == "LSODA" and lsoda_is_as_known():
            return LsodaStepper(mode.rhs, t, y, bound, rtol=self.rtol, atol=self.atol)
        return ScipyStepper(method, mode.rhs, t, y, bound, rtol=self.rtol, atol=self.atol)

    def _march(
        self, stepper: Stepper, watch: Watch, mode: Mode, bound: float
    ) -> tuple[Outcome | None, Crossing | None]:
        """Step until a crossing, the bound, the budget or a failure."""
        advance, guard_values, disarmed = stepper.advance, mode.guard_values, watch.disarmed
        guarded = bool(mode.guards)
        calls_left = self.max_rhs_calls - self.stats.rhs_calls
        steps_left = self.max_steps - self.stats.steps
        searched = 0
        values: Sequence[float] = ()
        broke: Outcome | None = None
        at_end = False
        while not (at_end or broke):
            try:
                advance()
            except StepError as failure:
                broke = Outcome.NOT_FINITE if failure.not_finite else Outcome.SOLVER_FAILED
                if stepper.count == searched:
                    break
            else:
                at_end = stepper.t >= bound
                if not at_end and (stepper.count >= steps_left or stepper.rhs_calls >= calls_left):
                    broke = Outcome.BUDGET
                if guarded:
                    if stepper.count % _LOOK and not at_end and not broke:
                        continue
                    values = guard_values(stepper.t, stepper.y)
                    hot = (disarmed or not max(values) < 0.0) and watch.is_hot(values)
                    if not hot and not at_end and not broke and stepper.count - searched < _BATCH:
                        continue
            if guarded:
                try:
                    times, trail = stepper.record()
                    crossing = watch.search(trail, times, searched, values)
                except GuardNotFiniteError:
                    return Outcome.NOT_FINITE, None
                if crossing is not None:
                    return None, crossing
                searched = stepper.count
        return broke, None


def _cut(key: Any, stepper: Stepper, crossing: Crossing, t: float, y: np.ndarray) -> _Leg:
    """The segment up to a crossing, which becomes its last point."""
    if crossing.t <= t:
        return _Leg(crossing.fired, t, y, None)
    times, states, trail = stepper.keep(crossing.step + 1)
    if crossing.t < times[-1]:
        times[-1] = crossing.t
        states[:, -1] = crossing.y
    return _Leg(
        crossing.fired, crossing.t, states[:, -1].copy(), Segment(key, times, states, trail)
    )
