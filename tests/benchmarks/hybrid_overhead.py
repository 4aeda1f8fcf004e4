"""Cost of the runner per step, as ratios to scipy's own driver on the same problem in the same
process.

Run as ``python tests/benchmarks/hybrid_overhead.py``. Both drive LSODA over the same accepted steps
with six guards; what differs is the looking on: root search, dense output, record.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

from scipy.integrate import solve_ivp

from winchsim.hybrid import Guard, Mode, Switch, run

SPAN, REPEATS = 3.0, 9
START = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
TOLERANCES: dict[str, Any] = {"rtol": 1e-7, "atol": 1e-9}


def rhs(t, y):
    a, b, c, d, e, _ = y.tolist()
    return (b, -400.0 * a - b, d, -90000.0 * c - 30.0 * d + 100.0 * a, a - e, 0.1)


def guard_values(t, y):
    return (y[0] - 10.0, -10.0 - y[0], y[1] - 100.0, -100.0 - y[1], y[4] - 50.0, y[5] - 100.0)


def single_guards():
    """The same six guards one by one, as scipy's driver wants them."""
    events = [
        lambda t, y: y[0] - 10.0,
        lambda t, y: -10.0 - y[0],
        lambda t, y: y[1] - 100.0,
        lambda t, y: -100.0 - y[1],
        lambda t, y: y[4] - 50.0,
        lambda t, y: y[5] - 100.0,
    ]
    for event in events:
        event.terminal, event.direction = True, 1.0
    return events


class Quiet:
    """One mode; with a jump every `piece` seconds when that is given."""

    def __init__(self, guarded: bool, piece: float = float("inf")) -> None:
        self.guards = tuple(Guard(f"g{k}", 1e-6) for k in range(6)) if guarded else ()
        self.values = guard_values if guarded else lambda t, y: ()
        self.piece = piece

    def mode(self, key):
        return Mode(key, rhs, self.guards, self.values, (key + 1) * self.piece)

    def switch(self, key, fired, t, y):
        return Switch(key + 1, y)

    def progress(self, t, y):
        return (1000.0 * t,)


def best(work: Callable[[], Any]) -> tuple[float, Any]:
    """Shortest of some runs [s], and the last result."""
    shortest, result = float("inf"), None
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = work()
        shortest = min(shortest, time.perf_counter() - start)
    return shortest, result


def main() -> int:
    bare, solution = best(lambda: solve_ivp(rhs, (0.0, SPAN), START, method="LSODA", **TOLERANCES))
    full, _ = best(
        lambda: solve_ivp(
            rhs,
            (0.0, SPAN),
            START,
            method="LSODA",
            dense_output=True,
            events=single_guards(),
            **TOLERANCES,
        )
    )
    steps = solution.t.size - 1
    unguarded, _ = best(lambda: run(Quiet(False), 0, START, 0.0, SPAN, **TOLERANCES))
    guarded, result = best(lambda: run(Quiet(True), 0, START, 0.0, SPAN, **TOLERANCES))
    whole, pieces = best(lambda: run(Quiet(True, 0.02), 0, START, 0.0, SPAN, **TOLERANCES))
    per_step = 1e6 / steps
    print(f"{steps} steps, {result.stats.rhs_calls} right-hand sides")
    print(f"solve_ivp without events or dense output  {bare * per_step:6.2f} us/step   1.00")
    print(
        f"solve_ivp with both                       {full * per_step:6.2f} us/step  {full / bare:5.2f}"
    )
    print(
        f"runner without guards                     {unguarded * per_step:6.2f} us/step  {unguarded / bare:5.2f}"
    )
    print(
        f"runner with six guards                    {guarded * per_step:6.2f} us/step  {guarded / bare:5.2f}"
    )
    print(
        f"runner in {len(pieces.segments)} segments of {pieces.stats.steps / len(pieces.segments):.0f} steps         "
        f"{whole * 1e6 / pieces.stats.steps:6.2f} us/step"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
