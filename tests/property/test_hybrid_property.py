"""Properties of the runner over many switched problems."""

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run

from ..hybrid.conftest import TableProblem

RTOL, ATOL = 1e-8, 1e-10


def one_mode(rhs, guard_values, names):
    """One mode, stopped by its first guard."""
    only = Mode("only", rhs, tuple(Guard(name, 1e-12) for name in names), guard_values)
    return TableProblem({"only": only}, lambda key, fired, t, y: Switch(None, y))


@settings(max_examples=40, deadline=None)
@given(
    w=st.floats(0.1, 100.0),
    phase=st.floats(0.0, 2.0 * math.pi),
    short=st.floats(1e-5, 1.5),
    method=st.sampled_from(["LSODA", "Radau"]),
)
def test_first_crossing_of_a_swing_is_found(w, phase, short, method):
    """cos(w t + phase) rises through a level below its top by `short`, for however short a part of
    a step."""
    level = 1.0 - short

    def rhs(t, y):
        return (y[1], -w * w * y[0])

    if math.cos(phase) > level - 1e-6:
        phase = math.pi  # above the level at the start is another matter
    problem = one_mode(rhs, lambda t, y: (y[0] - level,), ["level"])
    start = [math.cos(phase), -w * math.sin(phase)]
    result = run(problem, "only", start, 0.0, 8.0 / w, rtol=RTOL, atol=ATOL, method=method)
    assert result.outcome is Outcome.STOPPED
    expected = ((-math.acos(level) - phase) % (2.0 * math.pi)) / w
    # An error of the state moves a flat crossing by error / slope.
    assert result.t == pytest.approx(expected, abs=1e-6 / (w * math.sqrt(1.0 - level * level)))


@settings(max_examples=25, deadline=None)
@given(
    rates=st.lists(st.floats(0.05, 20.0), min_size=1, max_size=6),
    levels=st.lists(st.floats(0.01, 0.99), min_size=6, max_size=6),
    method=st.sampled_from(["LSODA", "Radau"]),
)
def test_earliest_of_several_guards_fires(rates, levels, method):
    """Independent decays, each with its own level: the one that gets there first, and all states at
    that time."""
    r = np.array(rates)
    levels = levels[: len(rates)]
    names = [f"state {k}" for k in range(len(rates))]
    problem = one_mode(
        lambda t, y: -r * y,
        lambda t, y: [level - v for level, v in zip(levels, y, strict=True)],
        names,
    )
    result = run(problem, "only", np.ones(r.size), 0.0, 1000.0, rtol=RTOL, atol=ATOL, method=method)
    times = -np.log(levels) / r
    assert result.t == pytest.approx(times.min(), rel=1e-5)
    first = {names[k] for k in np.flatnonzero(times <= times.min() * (1.0 + 1e-5))}
    assert set(problem.calls[0][1]) <= first
    assert result.y == pytest.approx(np.exp(-r * result.t), abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    left=st.floats(0.5, 50.0),
    right=st.floats(0.5, 50.0),
    damping=st.floats(0.0, 0.5),
    method=st.sampled_from(["LSODA", "Radau"]),
)
def test_segments_join_and_energy_only_falls(left, right, damping, method):
    """A mass between two different springs: ordered record, no gap, and no energy out of nothing at
    a switch."""
    stiffness = {-1: left, 1: right}

    class Springs:
        def mode(self, side):
            def rhs(t, y):
                return (y[1], -stiffness[side] * y[0] - damping * y[1])

            return Mode(side, rhs, (Guard("middle", 1e-12),), lambda t, y: (-side * y[0],))

        def switch(self, side, fired, t, y):
            return Switch(-side, y)

        def progress(self, t, y):
            return (math.floor(t),)

    result = run(Springs(), 1, [1.0, 0.0], 0.0, 12.0, rtol=RTOL, atol=ATOL, method=method)
    assert result.outcome is Outcome.FINISHED
    energy = []
    for segment, following in zip(result.segments, [*result.segments[1:], None], strict=True):
        assert np.all(np.diff(segment.t) > 0.0)
        assert np.all(segment.key * segment.y[0] >= -1e-9)
        energy += (
            0.5 * stiffness[segment.key] * segment.y[0] ** 2 + 0.5 * segment.y[1] ** 2
        ).tolist()
        if following is not None:
            assert (segment.t[-1], segment.key) == (following.t[0], -following.key)
    assert max(np.diff(energy)) < 1e-5 * energy[0]
    if damping == 0.0:
        assert energy[-1] == pytest.approx(energy[0], rel=1e-4)
