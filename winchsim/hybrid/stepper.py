"""Scipy's solvers taken one accepted step at a time, with the interpolant of each step kept."""

from collections.abc import Callable, Sequence
from functools import cache
from math import isfinite

import numpy as np
from scipy.integrate import BDF, DOP853, LSODA, RK23, RK45, OdeSolver, Radau

from winchsim.hybrid.trail import NordsieckTrail, ScipyTrail, Trail

__all__ = ["METHODS", "LsodaStepper", "ScipyStepper", "StepError", "Stepper", "lsoda_is_as_known"]

METHODS: dict[str, type[OdeSolver]] = {
    "BDF": BDF,
    "DOP853": DOP853,
    "LSODA": LSODA,
    "RK23": RK23,
    "RK45": RK45,
    "Radau": Radau,
}

_LSODA_MAX_ORDER = 12
# Where LSODA's real work array holds the last and the next step size and, from 20 on, the history
# array.
_LAST_SIZE, _NEXT_SIZE, _HISTORY = 10, 11, 20
# Where its integer work array holds the number of calls, the last order and the next order.
_CALLS, _LAST_ORDER, _NEXT_ORDER = 11, 13, 14

# Calls within one step after which it is given up: shrinking a step to nothing takes under a third
# of it, but a step size that is not a number is never small enough for the explicit methods to
# stop.
_CALLS_PER_STEP = 20_000

Rhs = Callable[[float, np.ndarray], Sequence[float]]


class StepError(ArithmeticError):
    """A step that could not be taken.

    Parameters
    ----------
    not_finite : bool
        True where a value was not a finite number, False where the solver gave up.
    """

    def __init__(self, not_finite: bool) -> None:
        super().__init__("not finite" if not_finite else "solver failed")
        self.not_finite = not_finite


class LsodaStepper:
    """LSODA, its history array copied after each step instead of one interpolant object per step.

    Parameters
    ----------
    rhs : callable
        Right-hand side.
    t, t_bound : float
        Start and end of the segment, not to be overstepped.
    y : ndarray, shape (n,)
        State at the start.
    rtol, atol : float or ndarray
        Tolerances.

    Notes
    -----
    scipy's LSODA is set up as usual and stepped as its own `step` does it, only without the
    wrapping of each call: a third of the time of a step goes into that. The parts of scipy used for
    it are not public; `lsoda_is_as_known` tells whether they are where they are looked for, else
    `ScipyStepper` does the same work more slowly.
    """

    samples = 4

    def __init__(
        self,
        rhs: Rhs,
        t: float,
        y: np.ndarray,
        t_bound: float,
        *,
        rtol: float,
        atol: float | np.ndarray,
    ) -> None:
        solver = LSODA(rhs, t, y, t_bound, rtol=rtol, atol=atol)
        self._ode = solver._lsoda_solver
        integrator = self._ode._integrator
        integrator.call_args[2] = 5  # one step, not past t_bound
        self._integrator = integrator
        self._run = integrator.run
        self._rhs = rhs
        self._state = self._ode._y
        self.t = float(t)
        self.y = y.tolist()
        self._start = y
        self._t_bound = float(t_bound)
        self.count = 0
        self._settled = 0
        self._width = (_LSODA_MAX_ORDER + 1) * y.size
        self._sources = (
            integrator.rwork[_LAST_SIZE : _HISTORY + self._width],
            integrator.iwork[_LAST_ORDER:15],
        )
        self._iwork = integrator.iwork
        self._times = [self.t]
        self._reals = np.empty((128, self._sources[0].size))
        self._orders = np.empty((128, 2), dtype=np.intp)

    @property
    def rhs_calls(self) -> int:
        """Right-hand-side calls so far."""
        return int(self._iwork[_CALLS])

    def advance(self) -> None:
        """Take one step; raises StepError, and the last state stays as it was."""
        state, t = self._run(self._rhs, _no_jacobian, self._state, self.t, self._t_bound, (), ())
        if self._integrator.success != 1 or not t > self.t:
            raise StepError(not np.isfinite(state).all())
        y = state.tolist()
        if not isfinite(sum(y)) and not all(map(isfinite, y)):
            raise StepError(True)
        k = self.count
        if k == self._orders.shape[0]:
            self._reals = np.concatenate([self._reals, np.empty_like(self._reals)])
            self._orders = np.concatenate([self._orders, np.empty_like(self._orders)])
        self._reals[k], self._orders[k] = self._sources
        self._times.append(t)
        self._state, self.t, self.y = state, t, y
        self.count = k + 1

    def record(self) -> tuple[np.ndarray, Trail]:
        """Times and interpolants of the steps so far; valid until the next step."""
        self._settle()
        times = np.array(self._times)
        coefficients = self._coefficients(self.count)
        return times, NordsieckTrail(times[1:], self._scales(self.count), coefficients)

    def keep(self, count: int) -> tuple[np.ndarray, np.ndarray, Trail]:
        """Times, states and interpolants of the first steps, for good."""
        self._settle()
        times = np.array(self._times[: count + 1])
        # Copies, so that a record holds what it needs and not the wide buffers.
        coefficients = self._coefficients(count).copy()
        y = np.empty((self._start.size, count + 1))
        y[:, 0] = self._start
        y[:, 1:] = coefficients[:, 0].T
        return times, y, NordsieckTrail(times[1:].copy(), self._scales(count).copy(), coefficients)

    def _scales(self, count: int) -> np.ndarray:
        return self._reals[:count, _NEXT_SIZE - _LAST_SIZE]

    def _coefficients(self, count: int) -> np.ndarray:
        """View of the history arrays of the first steps, shape (count, orders, n), cut to the
        highest order used."""
        shape = (count, _LSODA_MAX_ORDER + 1, self._start.size)
        used = int(self._orders[:count, 0].max(initial=0)) + 1
        return self._reals[:count, _HISTORY - _LAST_SIZE :].reshape(shape)[:, :used]

    def _settle(self) -> None:
        """Make the copied history arrays of the new steps fit for evaluation."""
        a, b = self._settled, self.count
        if a == b:
            return
        self._settled = b
        reals, last, following = self._reals[a:b], self._orders[a:b, 0], self._orders[a:b, 1]
        history = reals[:, _HISTORY - _LAST_SIZE :].reshape(
            b - a, _LSODA_MAX_ORDER + 1, self._start.size
        )
        history[np.arange(_LSODA_MAX_ORDER + 1) > last[:, None]] = 0.0
        # Where the order is about to fall, the highest column still has the scale of the last step
        # size.
        k = np.flatnonzero(following < last)
        history[k, last[k]] *= ((reals[k, 1] / reals[k, 0]) ** last[k])[:, None]


class ScipyStepper:
    """Any of scipy's solvers through its public interface.

    Parameters
    ----------
    method : str
        A key of `METHODS`.
    rhs, t, y, t_bound, rtol, atol
        As for `LsodaStepper`.
    """

    samples = 8

    def __init__(
        self,
        method: str,
        rhs: Rhs,
        t: float,
        y: np.ndarray,
        t_bound: float,
        *,
        rtol: float,
        atol: float | np.ndarray,
    ) -> None:
        self.rhs_calls = 0
        self._rhs = rhs
        self._rhs_raised = False
        self._rhs_finite = True
        self._calls_allowed = _CALLS_PER_STEP
        self.t = float(t)
        self.y = y.tolist()
        self.count = 0
        self._times = [self.t]
        self._states = [y]
        self._outputs: list = []
        self._solver = METHODS[method](self._counted, t, y, t_bound, rtol=rtol, atol=atol)

    def _counted(self, t: float, y: np.ndarray) -> np.ndarray:
        """The right-hand side, counted, with its own exceptions and its own bad values told apart
        from the solver's."""
        if self.rhs_calls >= self._calls_allowed:
            raise StepError(not self._rhs_finite)
        self.rhs_calls += 1
        try:
            slope = np.asarray(self._rhs(float(t), y), dtype=float)
        except Exception:
            self._rhs_raised = True
            raise
        if slope.shape != y.shape:
            self._rhs_raised = True
            raise ValueError(
                f"rhs gave a derivative of shape {slope.shape} for a state of shape {y.shape}"
            )
        if self._rhs_finite and not np.isfinite(slope).all():
            self._rhs_finite = False
        return slope

    def advance(self) -> None:
        """Take one step; raises StepError, and the last state stays as it was."""
        solver = self._solver
        self._rhs_finite = True
        self._calls_allowed = self.rhs_calls + _CALLS_PER_STEP
        try:
            solver.step()
        except StepError:
            raise
        except (ValueError, ArithmeticError, np.linalg.LinAlgError) as error:
            # The implicit solvers raise on values that are not finite.
            if self._rhs_raised:
                raise
            raise StepError(True) from error
        if solver.status == "failed" or not solver.t > self.t:
            raise StepError(not self._rhs_finite)
        y = np.array(solver.y, dtype=float)
        if not np.isfinite(y).all():
            raise StepError(True)
        self._outputs.append(solver.dense_output())
        self._times.append(float(solver.t))
        self._states.append(y)
        self.t, self.y = float(solver.t), y.tolist()
        self.count += 1

    def record(self) -> tuple[np.ndarray, Trail]:
        """Times and interpolants of the steps so far; valid until the next step."""
        return np.array(self._times), ScipyTrail(self._outputs)

    def keep(self, count: int) -> tuple[np.ndarray, np.ndarray, Trail]:
        """Times, states and interpolants of the first steps, for good."""
        y = np.ascontiguousarray(np.array(self._states[: count + 1]).T)
        return np.array(self._times[: count + 1]), y, ScipyTrail(self._outputs[:count])


Stepper = LsodaStepper | ScipyStepper
"""A solver on its way through one segment: time `t` and state `y` reached in `count` steps, and at
how many points a step (`samples`) every swing of its interpolant shows."""


@cache
def lsoda_is_as_known() -> bool:
    """True where `LsodaStepper` does the same steps with the same interpolants as scipy's public
    interface.

    A trial of some tenths of a millisecond, once per process.
    """

    def rhs(_: float, y: np.ndarray) -> tuple[float, float]:
        return (float(y[1]), -float(y[0]))

    start = np.array([1.0, 0.0])
    try:
        ours = LsodaStepper(rhs, 0.0, start, 9.0, rtol=1e-6, atol=1e-8)
        theirs = ScipyStepper("LSODA", rhs, 0.0, start, 9.0, rtol=1e-6, atol=1e-8)
        for _ in range(40):
            ours.advance()
            theirs.advance()
        times, y, trail = ours.keep(40)
        expected_times, expected_y, expected_trail = theirs.keep(40)
        inside = times[:-1, None] + np.array([0.3, 0.8]) * np.diff(times)[:, None]
        return (
            np.array_equal(times, expected_times)
            and np.array_equal(y, expected_y)
            and np.allclose(
                trail.on_steps(0, inside), expected_trail.on_steps(0, inside), rtol=0.0, atol=1e-12
            )
            and ours.rhs_calls == theirs.rhs_calls
        )
    except (AttributeError, IndexError, TypeError, ValueError, StepError):
        return False


def _no_jacobian() -> None:
    """Stands for a Jacobian that LSODA is to find by differences."""
