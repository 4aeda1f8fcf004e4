"""Scipy's solvers taken one accepted step at a time, with the interpolant of each step kept."""

from collections.abc import Callable, Sequence
from functools import cache
from math import isfinite
from typing import NamedTuple

import numpy as np
from scipy.integrate import LSODA, DenseOutput, Radau

METHODS = {"LSODA": LSODA, "Radau": Radau}

_LSODA_MAX_ORDER = 12
# Where LSODA's real work array holds the last and the next step size and, from 20 on, the history
# array.
_LAST_SIZE, _NEXT_SIZE, _HISTORY = 10, 11, 20
# Where its integer work array holds the number of calls, the last order and the next order.
_CALLS, _LAST_ORDER, _NEXT_ORDER = 11, 13, 14

Rhs = Callable[[float, np.ndarray], Sequence[float]]


class BrokenError(ArithmeticError):
    """The integration cannot go on: a number that is not finite, or a solver that gave up."""


class NordsieckTrail(NamedTuple):
    """Interpolants of LSODA: per step the scaled derivatives at its end, ``y = sum_j c_j ((t -
    t_end)/h)^j``.

    Attributes
    ----------
    ends, scales : ndarray, shape (s,)
        Step ends as the solver took them and step sizes h that the derivatives are scaled with.
    coefficients : ndarray, shape (s, p, n)
        Scaled derivatives, zero above each step's own order.

    Notes
    -----
    A. C. Hindmarsh, "ODEPACK, a systematized collection of ODE solvers", in *Scientific Computing*,
    North-Holland, 1983, describes the history array; the interpolant is the one of scipy's
    `LsodaDenseOutput`.
    """

    ends: np.ndarray
    scales: np.ndarray
    coefficients: np.ndarray

    def at(self, steps: np.ndarray, times: np.ndarray) -> np.ndarray:
        """States, shape (n, k), at `times` (k,), each by the interpolant of its step in `steps`
        (k,)."""
        powers = self._powers((times - self.ends[steps]) / self.scales[steps])
        return np.einsum("kp,kpn->nk", powers, self.coefficients[steps])

    def point(self, step: int, t: float) -> np.ndarray:
        """State at one time, by the interpolant of one step."""
        x = (t - self.ends[step]) / self.scales[step]
        return np.dot(x ** np.arange(self.coefficients.shape[1]), self.coefficients[step])

    def on_steps(self, first: int, times: np.ndarray) -> np.ndarray:
        """States, shape (n, s q), at `times` (s, q): row i by the interpolant of step ``first +
        i``."""
        rows = slice(first, first + times.shape[0])
        powers = self._powers((times - self.ends[rows, None]) / self.scales[rows, None])
        y = np.matmul(powers, self.coefficients[rows])
        return np.ascontiguousarray(y.reshape(times.size, -1).T)

    def _powers(self, x: np.ndarray) -> np.ndarray:
        """Powers 0 to p - 1 of `x` along a new last axis, by repeated products (far cheaper than
        `**`)."""
        powers = np.empty((*x.shape, self.coefficients.shape[1]))
        powers[..., 0] = 1.0
        powers[..., 1:] = x[..., None]
        return np.multiply.accumulate(powers, axis=-1, out=powers)


class ScipyTrail(NamedTuple):
    """Interpolants of any scipy solver, one object per step."""

    outputs: list[DenseOutput]

    def at(self, steps: np.ndarray, times: np.ndarray) -> np.ndarray:
        """States at scattered times, each by the interpolant of its step."""
        return np.array([self.point(*at) for at in zip(steps, times, strict=True)]).T

    def point(self, step: int, t: float) -> np.ndarray:
        """State at one time, by the interpolant of one step."""
        return self.outputs[step](t)

    def on_steps(self, first: int, times: np.ndarray) -> np.ndarray:
        """States at the same number of times in each of some consecutive steps."""
        rows = zip(self.outputs[first : first + times.shape[0]], times, strict=True)
        return np.concatenate([output(row) for output, row in rows], axis=1)


Trail = NordsieckTrail | ScipyTrail
"""Interpolants of consecutive steps, evaluated for many steps in one call."""


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
        self._integrator = integrator = solver._lsoda_solver._integrator
        integrator.call_args[2] = 5  # one step, not past t_bound
        self._rhs = rhs
        self._state = solver._lsoda_solver._y
        self.t, self.y = float(t), y.tolist()
        self._start, self._t_bound = y, float(t_bound)
        self.count = self._settled = 0
        self._sources = (
            integrator.rwork[_LAST_SIZE : _HISTORY + (_LSODA_MAX_ORDER + 1) * y.size],
            integrator.iwork[_LAST_ORDER : _NEXT_ORDER + 1],
        )
        self._times = [self.t]
        self._reals = np.empty((128, self._sources[0].size))
        self._orders = np.empty((128, 2), dtype=np.intp)

    @property
    def rhs_calls(self) -> int:
        """Right-hand-side calls so far."""
        return int(self._integrator.iwork[_CALLS])

    def advance(self) -> None:
        """Take one step; raises BrokenError, and the last state stays as it was."""
        state, t = self._integrator.run(
            self._rhs, _no_jacobian, self._state, self.t, self._t_bound, (), ()
        )
        y, k = state.tolist(), self.count
        finite = isfinite(sum(y)) or all(map(isfinite, y))
        if self._integrator.success != 1 or not t > self.t or not finite:
            raise BrokenError
        if k == self._orders.shape[0]:
            self._reals = np.concatenate([self._reals, np.empty_like(self._reals)])
            self._orders = np.concatenate([self._orders, np.empty_like(self._orders)])
        self._reals[k], self._orders[k] = self._sources
        self._times.append(t)
        self._state, self.t, self.y = state, t, y
        self.count = k + 1

    def record(self) -> tuple[np.ndarray, NordsieckTrail]:
        """Times and interpolants of the steps so far; valid until the next step."""
        if self._settled < self.count:
            # Make the copied history arrays of the new steps fit for evaluation.
            new = slice(self._settled, self.count)
            self._settled = self.count
            reals, (last, following) = self._reals[new], self._orders[new].T
            history = self._histories(reals)
            history[np.arange(_LSODA_MAX_ORDER + 1) > last[:, None]] = 0.0
            # Where the order is about to fall, the highest column still has the scale of the last
            # step size.
            k = np.flatnonzero(following < last)
            history[k, last[k]] *= ((reals[k, 1] / reals[k, 0]) ** last[k])[:, None]
        times, reals = np.array(self._times), self._reals[: self.count]
        used = int(self._orders[: self.count, 0].max(initial=0)) + 1
        scales, history = reals[:, _NEXT_SIZE - _LAST_SIZE], self._histories(reals)[:, :used]
        return times, NordsieckTrail(times[1:], scales, history)

    def keep(self, count: int) -> tuple[np.ndarray, np.ndarray, NordsieckTrail]:
        """Times, states and interpolants of the first steps, for good."""
        times, trail = self.record()
        # Copies, so that a record holds what it needs and not the wide buffers.
        ends, scales, history = (part[:count].copy() for part in trail)
        y = np.column_stack([self._start, history[:, 0].T])
        return times[: count + 1].copy(), y, NordsieckTrail(ends, scales, history)

    def _histories(self, reals: np.ndarray) -> np.ndarray:
        """View of the history arrays of some steps, shape (count, orders, n)."""
        shape = (len(reals), _LSODA_MAX_ORDER + 1, self._start.size)
        return reals[:, _HISTORY - _LAST_SIZE :].reshape(shape)


class ScipyStepper:
    """One of scipy's solvers through its public interface.

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
        self.rhs_calls = self.count = 0
        self._rhs, self._rhs_raised = rhs, False
        self.t, self.y = float(t), y.tolist()
        self._times, self._states = [self.t], [y]
        self._outputs: list[DenseOutput] = []
        self._solver = METHODS[method](self._counted, t, y, t_bound, rtol=rtol, atol=atol)

    def _counted(self, t: float, y: np.ndarray) -> Sequence[float]:
        """The right-hand side, counted, with its own exceptions told apart from the solver's."""
        self.rhs_calls += 1
        self._rhs_raised = True
        slope = self._rhs(float(t), y)
        self._rhs_raised = False
        return slope

    def advance(self) -> None:
        """Take one step; raises BrokenError, and the last state stays as it was."""
        solver = self._solver
        try:
            solver.step()
        except (ValueError, ArithmeticError, np.linalg.LinAlgError) as error:
            # The implicit solvers raise on values that are not finite.
            if self._rhs_raised:
                raise
            raise BrokenError from error
        if solver.status == "failed" or not solver.t > self.t or not np.isfinite(solver.y).all():
            raise BrokenError
        self.t, self.y = float(solver.t), solver.y.tolist()
        self._outputs.append(solver.dense_output())
        self._times.append(self.t)
        self._states.append(solver.y.copy())
        self.count += 1

    def record(self) -> tuple[np.ndarray, ScipyTrail]:
        """Times and interpolants of the steps so far; valid until the next step."""
        return np.array(self._times), ScipyTrail(self._outputs)

    def keep(self, count: int) -> tuple[np.ndarray, np.ndarray, ScipyTrail]:
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
    except (AttributeError, IndexError, TypeError, ValueError, BrokenError):
        return False


def _no_jacobian() -> None:
    """Stands for a Jacobian that LSODA is to find by differences."""
