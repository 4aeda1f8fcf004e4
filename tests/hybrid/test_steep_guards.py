"""Guards so steep that a crossing's last bit of time moves them by more than their band."""

import math

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
@pytest.mark.parametrize("level", [0.3, 1.7, math.pi])
def test_two_modes_that_watch_one_steep_value_from_both_sides(make_problem, method, level):
    """y' = cos t + 2; both modes watch 1e14 (y - level), one for its rise and one for its fall: it
    passes once."""

    def rhs(t, y):
        return (math.cos(t) + 2.0,)

    def height(t, y):
        return 1e14 * (y[0] - level)

    problem = make_problem(
        rhs,
        {"rises": height},
        modes=(Mode("above", rhs, (Guard("falls", 1e-9),), lambda t, y: (-height(t, y),)),),
        switch=lambda key, fired, t, y: Switch("above" if key == "go" else "go", y),
    )
    result = run(problem, "go", [0.0], 0.0, 3.0, rtol=1e-9, atol=1e-9, method=method)
    assert result.outcome is Outcome.FINISHED
    assert [fired for _, fired, _ in problem.calls] == [("rises",)]
    crossed = result.events[0]
    assert crossed.y_before[0] == pytest.approx(level, abs=1e-12)
    assert height(crossed.t, crossed.y_before) >= 0.0
    assert np.all(result.segments[1].y[0] >= level)
