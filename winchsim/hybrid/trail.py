"""Interpolants of accepted steps, evaluated for many steps in one call."""

import numpy as np
from scipy.integrate import DenseOutput

__all__ = ["NordsieckTrail", "ScipyTrail", "Trail"]


class NordsieckTrail:
    """Interpolants of LSODA: per step the scaled derivatives at its end, ``y = sum_j c_j ((t -
    t_end)/h)^j``.

    Parameters
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

    __slots__ = ("coefficients", "ends", "scales")

    def __init__(self, ends: np.ndarray, scales: np.ndarray, coefficients: np.ndarray) -> None:
        self.ends = ends
        self.scales = scales
        self.coefficients = coefficients

    def at(self, steps: np.ndarray, times: np.ndarray) -> np.ndarray:
        """States, shape (n, k), at `times` (k,), each by the interpolant of its step in `steps`
        (k,)."""
        x = (times - self.ends[steps]) / self.scales[steps]
        powers = self._powers(x)
        return np.einsum("kp,kpn->nk", powers, self.coefficients[steps])

    def point(self, step: int, t: float) -> np.ndarray:
        """State at one time, by the interpolant of one step."""
        x = (t - self.ends[step]) / self.scales[step]
        return np.dot(x ** np.arange(self.coefficients.shape[1]), self.coefficients[step])

    def on_steps(self, first: int, times: np.ndarray) -> np.ndarray:
        """States, shape (n, s q), at `times` (s, q): row i by the interpolant of step ``first +
        i``."""
        count, per_step = times.shape
        rows = slice(first, first + count)
        x = (times - self.ends[rows, None]) / self.scales[rows, None]
        y = np.matmul(self._powers(x), self.coefficients[rows])
        return np.ascontiguousarray(y.reshape(count * per_step, -1).T)

    def _powers(self, x: np.ndarray) -> np.ndarray:
        """Powers 0 to p - 1 of `x` along a new last axis, by repeated products (far cheaper than
        `**`)."""
        powers = np.empty((*x.shape, self.coefficients.shape[1]))
        powers[..., 0] = 1.0
        powers[..., 1:] = x[..., None]
        return np.multiply.accumulate(powers, axis=-1, out=powers)


class ScipyTrail:
    """Interpolants of any scipy solver, one object per step."""

    __slots__ = ("outputs",)

    def __init__(self, outputs: list[DenseOutput]) -> None:
        self.outputs = outputs

    def at(self, steps: np.ndarray, times: np.ndarray) -> np.ndarray:
        """States at scattered times, each by the interpolant of its step."""
        order = np.argsort(steps, kind="stable")
        used, first = np.unique(steps[order], return_index=True)
        columns = np.split(order, first[1:])
        out: np.ndarray | None = None
        for step, column in zip(used.tolist(), columns, strict=False):
            y = self.outputs[step](times[column])
            if out is None:
                out = np.empty((y.shape[0], times.size))
            out[:, column] = y
        return out if out is not None else self.outputs[0](times)

    def point(self, step: int, t: float) -> np.ndarray:
        """State at one time, by the interpolant of one step."""
        return self.outputs[step](t)

    def on_steps(self, first: int, times: np.ndarray) -> np.ndarray:
        """States at the same number of times in each of some consecutive steps."""
        outputs = self.outputs[first : first + times.shape[0]]
        return np.concatenate(
            [output(row) for output, row in zip(outputs, times, strict=True)], axis=1
        )


Trail = NordsieckTrail | ScipyTrail
"""Interpolants of consecutive steps."""
