"""The runner's contract: time span, known jumps, switches, arguments, determinism, cost."""

import math
from dataclasses import astuple

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run
from winchsim.hybrid.stepper import METHODS

TOLERANCES = {"rtol": 1e-7, "atol": 1e-10}


def test_end_time_and_final_state(make_problem):
    result = run(make_problem(lambda t, y: (-y[0],)), "go", [1.0], 1.0, 3.0, **TOLERANCES)
    assert result.outcome is Outcome.FINISHED
    assert result.t == 3.0
    assert result.y == pytest.approx([math.exp(-2.0)], rel=1e-6)
    (segment,) = result.segments
    assert (segment.key, segment.t[0], segment.t[-1]) == ("go", 1.0, 3.0)
    assert segment.y.shape == (1, segment.t.size)
    assert np.array_equal(segment.y[:, -1], result.y)
    assert result.events == ()


def test_empty_time_span(make_problem):
    result = run(
        make_problem(lambda t, y: (1.0,), {"g": lambda t, y: 1.0}),
        "go",
        [2.0],
        1.0,
        1.0,
        **TOLERANCES,
    )
    assert (result.outcome, result.t, result.segments, result.events) == (
        Outcome.FINISHED,
        1.0,
        (),
        (),
    )
    assert result.y.tolist() == [2.0]


@pytest.mark.parametrize("method", sorted(METHODS))
def test_known_jumps_are_met_exactly(make_problem, method):
    """y' is 1, then 2, then 4, changed at 0.1 and at 0.7: neither time is overstepped."""
    modes = [Mode("two", lambda t, y: (2.0,), (), lambda t, y: (), 0.7)]
    modes.append(Mode("four", lambda t, y: (4.0,), (), lambda t, y: ()))
    following = {"go": "two", "two": "four"}
    problem = make_problem(
        lambda t, y: (1.0,),
        until=0.1,
        switch=lambda key, fired, t, y: Switch(following[key], y, fired),
        modes=modes,
    )
    result = run(problem, "go", [0.0], 0.0, 1.0, method=method, **TOLERANCES)
    assert [event.t for event in result.events] == [0.1, 0.7]
    assert [fired for _, fired, _ in problem.calls] == [("until",)] * 2
    assert [segment.t[-1] for segment in result.segments] == [0.1, 0.7, 1.0]
    assert result.y == pytest.approx([0.1 + 1.2 + 1.2], rel=1e-12)


@pytest.mark.parametrize(
    ("until", "span"), [(1.0, (0.0, 1.0)), (0.5, (2.0, 3.0))], ids=["at the end", "in the past"]
)
def test_known_jump_at_the_end_or_in_the_past_is_still_answered(make_problem, until, span):
    problem = make_problem(lambda t, y: (1.0,), until=until)
    result = run(problem, "go", [0.0], *span, **TOLERANCES)
    at = max(until, span[0])
    assert problem.calls == [("go", ("until",), at)]
    assert (result.outcome, result.t) == (Outcome.STOPPED, at)
    assert (result.segments == ()) is (until < span[0])


@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize("t0", [1e-3, 1e6])
@pytest.mark.parametrize("spacings", [1, 3, 8, 9, 40])
def test_span_of_a_few_float_spacings(make_problem, method, t0, spacings):
    """What no solver can step is stepped over; never a failure, never a time that does not grow."""
    t_end = t0
    for _ in range(spacings):
        t_end = float(np.nextafter(t_end, math.inf))
    result = run(
        make_problem(lambda t, y: (-y[0],)), "go", [1.0], t0, t_end, method=method, **TOLERANCES
    )
    assert (result.outcome, result.t) == (Outcome.FINISHED, t_end)
    assert result.y == pytest.approx([1.0])


def test_guard_at_a_known_jump_comes_first(make_problem):
    problem = make_problem(
        lambda t, y: (1.0,),
        {"g": lambda t, y: t - 0.5},
        until=0.5,
        switch=lambda key, fired, t, y: Switch("next", y),
        modes=[Mode("next", lambda t, y: (1.0,), (), lambda t, y: (), 0.5)],
    )
    result = run(problem, "go", [0.0], 0.0, 1.0, max_switches=2, **TOLERANCES)
    assert [call[1] for call in problem.calls] == [("g",), ("until",)]
    assert result.outcome is Outcome.TOO_MANY_SWITCHES


def test_switch_gets_its_own_copy_of_the_state(make_problem):
    """A problem may change the state in place; the record keeps what was before."""

    def double(key, fired, t, y):
        y *= 2.0
        return Switch("last", y)

    last = Mode("last", lambda t, y: (0.0,), (), lambda t, y: ())
    problem = make_problem(lambda t, y: (1.0,), until=0.5, switch=double, modes=[last])
    result = run(problem, "go", [0.0], 0.0, 1.0, **TOLERANCES)
    assert result.events[0].y_before == pytest.approx([0.5])
    assert result.segments[0].y[:, -1] == pytest.approx([0.5])
    assert result.y == pytest.approx([1.0])


def test_start_state_is_not_changed(make_problem):
    y0 = np.array([1.0])
    result = run(make_problem(lambda t, y: (1.0,)), "go", y0, 0.0, 1.0, **TOLERANCES)
    assert y0.tolist() == [1.0]
    assert result.segments[0].y[0, 0] == 1.0


def test_absolute_tolerance_for_each_state(make_problem):
    """A state that need not be right does not cost steps."""

    def rhs(t, y):
        return (-y[0], 1000.0 * math.cos(100.0 * t))

    loose = run(make_problem(rhs), "go", [1.0, 0.0], 0.0, 5.0, rtol=1e-7, atol=[1e-9, 1e6])
    tight = run(make_problem(rhs), "go", [1.0, 0.0], 0.0, 5.0, rtol=1e-7, atol=[1e-9, 1e-9])
    assert loose.stats.rhs_calls < tight.stats.rhs_calls / 10


@pytest.mark.parametrize("method", sorted(METHODS))
def test_same_run_twice_gives_the_same_bits(make_problem, method):
    """An oscillator of another stiffness on either side: many segments, no damping."""
    other, guard = {"go": "left", "left": "go"}, (Guard("middle", 1e-9),)
    problem = make_problem(
        lambda t, y: (y[1], -y[0]),
        {"middle": lambda t, y: -y[0]},
        switch=lambda key, fired, t, y: Switch(other[key], y),
        progress=lambda t, y: (y[0] * 100.0,),
        modes=[Mode("left", lambda t, y: (y[1], -4.0 * y[0]), guard, lambda t, y: (y[0],))],
    )
    runs = [
        run(problem, "go", [1.0, 0.0], 0.0, 30.0, method=method, **TOLERANCES) for _ in range(2)
    ]
    assert astuple(runs[0].stats) == astuple(runs[1].stats)
    assert len(runs[0].segments) == len(runs[1].segments) > 10
    for one, two in zip(runs[0].segments, runs[1].segments, strict=True):
        assert np.array_equal(one.t, two.t)
        assert np.array_equal(one.y, two.y)
        times = np.linspace(one.t[0], one.t[-1], 17)
        assert np.array_equal(one.at(times), two.at(times))


def test_what_lsoda_needs_and_no_more(make_problem):
    """The runner's steps are scipy's steps, bit for bit; only the looking on is its own."""
    from scipy.integrate import solve_ivp

    def rhs(t, y):
        return (y[1], -400.0 * y[0] - y[1])

    theirs = solve_ivp(rhs, (0.0, 5.0), [1.0, 0.0], method="LSODA", **TOLERANCES)
    problem = make_problem(rhs, {"never": lambda t, y: y[0] - 2.0})
    ours = run(problem, "go", [1.0, 0.0], 0.0, 5.0, **TOLERANCES)
    assert np.array_equal(ours.segments[0].t, theirs.t)
    assert np.array_equal(ours.segments[0].y, theirs.y)
    assert ours.stats.rhs_calls == theirs.nfev
