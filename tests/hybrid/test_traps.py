"""Each known trap of switched integration has its own test."""

import math

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run
from winchsim.hybrid.stepper import METHODS, BrokenError, LsodaStepper

TOLERANCES = {"rtol": 1e-6, "atol": 1e-9}


def oscillator(t, y):
    return (y[1], -y[0])


def swings(make_problem, **options):
    """An oscillator in two modes, right and left of its middle: every restart stands exactly on the
    guard that fired."""
    left = Mode("left", oscillator, (Guard("up", 1e-9),), lambda t, y: (y[0],))
    other = {"go": "left", "left": "go"}
    return make_problem(
        oscillator,
        {"down": lambda t, y: -y[0]},
        switch=lambda key, fired, t, y: Switch(other[key], (0.0, y[1])),
        progress=lambda t, y: (math.floor(t),),
        modes=(left,),
        **options,
    )


@pytest.mark.parametrize("method", sorted(METHODS))
def test_guard_that_is_zero_at_the_restart_does_not_fire_there(make_problem, method):
    problem = swings(make_problem)
    result = run(problem, "go", [0.0, 1.0], 0.0, 20.0, method=method, **TOLERANCES)
    assert result.outcome is Outcome.FINISHED
    assert [fired for _, fired, _ in problem.calls] == [("down",), ("up",)] * 3
    # From exactly zero the guard falls, is armed, and rises through zero half a swing later.
    assert [event.t for event in result.events] == pytest.approx(
        math.pi * np.arange(1, 7), abs=1e-3
    )


@pytest.mark.parametrize("method", sorted(METHODS))
def test_crossing_hidden_in_a_step_before_one_that_shows(make_problem, method):
    """The hidden one comes first, so it is the one that counts; what was stepped past it is thrown
    away."""
    top = 1.0 - 1e-6

    def rhs(t, y):
        return (y[1], -1.0)

    problem = make_problem(
        rhs, {"top": lambda t, y: y[0] - 0.5 * top, "far": lambda t, y: -0.2 - y[0]}
    )
    result = run(problem, "go", [0.0, 1.0], 0.0, 4.0, method=method, **TOLERANCES)
    assert problem.calls[0][1] == ("top",)
    assert result.t == pytest.approx(1.0 - 1e-3, abs=1e-5)
    assert result.segments[-1].t[-1] == result.t


@pytest.mark.parametrize("method", sorted(METHODS))
def test_event_point_is_in_the_record(make_problem, method):
    problem = make_problem(
        oscillator,
        {"down": lambda t, y: -y[0]},
        switch=lambda key, fired, t, y: Switch("go", (0.25, -0.5 * y[1]), ("kick",)),
    )
    result = run(problem, "go", [1.0, 0.0], 0.0, 9.0, method=method, **TOLERANCES)
    assert len(result.events) >= 3
    for before, event, after in zip(
        result.segments, result.events, result.segments[1:], strict=False
    ):
        assert before.t[-1] == event.t == after.t[0]
        assert np.array_equal(before.y[:, -1], event.y_before)
        kicked = [0.25, -0.5 * event.y_before[1]]
        assert np.array_equal(after.y[:, 0], kicked)
        assert np.array_equal(before.at(np.array([event.t]))[:, 0], event.y_before)
        assert np.array_equal(after.at(np.array([event.t]))[:, 0], kicked)
        assert abs(event.y_before[0]) < 1e-9
        assert event.events == ("kick",)
    assert all(np.all(np.diff(segment.t) > 0.0) for segment in result.segments)
    assert result.segments[-1].t[-1] == 9.0


def test_zero_length_segment_leaves_its_event_only(make_problem):
    """A switch into a mode whose guard is already well above its band."""
    passing = Mode("passing", oscillator, (Guard("gone", 1e-3),), lambda t, y: (t * 0.0 + 1.0,))
    following = {"go": "passing", "passing": "last"}
    problem = make_problem(
        oscillator,
        {"down": lambda t, y: -y[0]},
        switch=lambda key, fired, t, y: Switch(following[key], y),
        modes=(passing, Mode("last", oscillator, (), lambda t, y: ())),
    )
    result = run(problem, "go", [1.0, 0.0], 0.0, 3.0, **TOLERANCES)
    assert [segment.key for segment in result.segments] == ["go", "last"]
    assert [call[:2] for call in problem.calls] == [("go", ("down",)), ("passing", ("gone",))]
    assert [event.key_from for event in result.events] == ["go", "passing"]
    assert result.events[0].t == result.events[1].t == result.segments[1].t[0]


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("method", sorted(METHODS))
def test_right_hand_side_that_is_not_finite(make_problem, method, bad, capfd):
    """No success with NaN in the state, no warning (they are errors here), nothing printed by the
    solver."""
    result = run(
        make_problem(lambda t, y: (bad if t > 0.5 else 1.0,)),
        "go",
        [0.0],
        0.0,
        1.0,
        method=method,
        **TOLERANCES,
    )
    assert result.outcome is Outcome.SOLVER_FAILED
    assert result.t <= 0.5
    assert np.isfinite(result.y).all()
    assert all(np.isfinite(segment.y).all() for segment in result.segments)
    assert result.segments[-1].t[-1] == result.t
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("method", sorted(METHODS))
def test_right_hand_side_that_is_never_finite(make_problem, method, bad, capfd):
    """A solver whose first step size is not a number must not shrink it for ever."""
    result = run(
        make_problem(lambda t, y: (bad,)), "go", [2.0], 1.0, 3.0, method=method, **TOLERANCES
    )
    assert (result.outcome, result.t, result.y.tolist()) == (Outcome.SOLVER_FAILED, 1.0, [2.0])
    assert result.segments == result.events == ()
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("method", sorted(METHODS))
def test_solution_that_runs_off_to_infinity(make_problem, method, capfd):
    """y' = y^2 from 1 has no solution beyond t = 1."""
    result = run(
        make_problem(lambda t, y: (y[0] * y[0],)),
        "go",
        [1.0],
        0.0,
        2.0,
        method=method,
        **TOLERANCES,
    )
    assert result.outcome is Outcome.SOLVER_FAILED
    assert result.t == pytest.approx(1.0, abs=1e-4)
    assert np.isfinite(result.y).all()
    assert capfd.readouterr() == ("", "")


def test_not_finite_from_the_problem_itself(make_problem):
    steady = lambda t, y: (1.0,)  # noqa: E731
    assert (
        run(make_problem(steady), "go", [math.nan], 0.0, 1.0, **TOLERANCES).outcome
        is Outcome.SOLVER_FAILED
    )
    jump = make_problem(steady, until=0.5, switch=lambda key, fired, t, y: Switch("go", [math.nan]))
    result = run(jump, "go", [0.0], 0.0, 1.0, **TOLERANCES)
    assert (result.outcome, result.t) == (Outcome.SOLVER_FAILED, 0.5)


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
def test_guard_that_is_not_a_number(make_problem, method):
    """It could hide a crossing, so it ends the run; beyond a crossing it does no harm."""
    steady = lambda t, y: (1.0,)  # noqa: E731
    lost = {
        "never": lambda t, y: t * 0.0 - 1.0,
        "lost": lambda t, y: np.where(np.asarray(t) < 0.5, -1.0, math.nan),
    }
    result = run(make_problem(steady, lost), "go", [0.0], 0.0, 1.0, method=method, **TOLERANCES)
    assert result.outcome is Outcome.SOLVER_FAILED
    at_once = {"lost": lambda t, y: math.nan}
    assert (
        run(make_problem(steady, at_once), "go", [0.0], 0.0, 1.0, **TOLERANCES).outcome
        is Outcome.SOLVER_FAILED
    )
    late = {"first": lambda t, y: t - 0.25, **lost}
    result = run(make_problem(steady, late), "go", [0.0], 0.0, 1.0, method=method, **TOLERANCES)
    assert (result.outcome, result.t) == (Outcome.STOPPED, pytest.approx(0.25))


def test_guard_that_is_not_a_number_at_its_own_crossing(make_problem):
    """Its sign changes between two samples, but in between it is not a number: no time can be
    given."""

    def guard(t, y):
        return np.where(np.abs(np.asarray(t) - 0.5) < 1e-4, math.nan, np.asarray(t) - 0.5)

    result = run(
        make_problem(lambda t, y: (1.0,), {"g": guard}),
        "go",
        [0.0],
        0.0,
        1.0,
        method="Radau",
        **TOLERANCES,
    )
    assert result.outcome is Outcome.SOLVER_FAILED


@pytest.mark.parametrize("method", sorted(METHODS))
def test_exception_of_the_problem_is_not_swallowed(make_problem, method):
    problem = make_problem(lambda t, y: (math.sqrt(0.5 - t),))
    with pytest.raises(ValueError, match="math domain error"):
        run(problem, "go", [0.0], 0.0, 1.0, method=method, **TOLERANCES)


def test_segment_that_lsoda_gives_up_is_done_again_with_radau(make_problem, monkeypatch):
    """From its start, with the guards armed anew; the other segments stay LSODA's."""
    advance = LsodaStepper.advance

    def fails_at_times(self):
        if 2.0 < self.t < 3.0:
            raise BrokenError
        advance(self)

    monkeypatch.setattr(LsodaStepper, "advance", fails_at_times)
    result = run(swings(make_problem), "go", [1.0, 0.0], 0.0, 10.0, rtol=1e-8, atol=1e-10)
    assert result.outcome is Outcome.FINISHED
    assert [event.t for event in result.events] == pytest.approx(
        math.pi * (np.arange(3) + 0.5), abs=1e-6
    )


def toggling(make_problem, progress):
    """Two modes that hand over to each other at once, for ever."""
    guard = (Guard("on", 1e-9),)
    modes = [Mode(key, lambda t, y: (0.0,), guard, lambda t, y: (1.0,)) for key in ("a", "b")]
    other = {"a": "b", "b": "a", "go": "a"}
    return make_problem(
        lambda t, y: (0.0,),
        until=0.1,
        switch=lambda key, *_: Switch(other[key], [0.0]),
        modes=modes,
        progress=progress,
    )


def test_endless_switching_without_progress_is_chatter(make_problem):
    result = run(toggling(make_problem, None), "go", [0.0], 0.0, 1.0, **TOLERANCES)
    assert result.outcome is Outcome.CHATTER
    assert result.stats.switches == len(result.events) == 51
    assert result.t == pytest.approx(0.1)


def test_endless_switching_with_apparent_progress_has_a_cap(make_problem):
    count = iter(range(1_000_000))
    problem = toggling(make_problem, lambda t, y: (float(next(count)),))
    result = run(problem, "go", [0.0], 0.0, 1.0, max_switches=700, **TOLERANCES)
    assert result.outcome is Outcome.TOO_MANY_SWITCHES
    assert result.stats.switches == len(result.events) == 700


def test_chatter_counts_from_the_last_real_progress(make_problem):
    """Forty idle switches, one advance by 1, forty more: no row is longer than fifty."""
    calls = iter(range(1_000_000))
    problem = toggling(make_problem, lambda t, y: (math.floor(next(calls) / 41.0),))
    result = run(problem, "go", [0.0], 0.0, 1.0, max_switches=400, **TOLERANCES)
    assert result.outcome is Outcome.TOO_MANY_SWITCHES
    creeping = iter(range(1_000_000))
    problem = toggling(make_problem, lambda t, y: (next(creeping) / 60.0,))
    assert run(problem, "go", [0.0], 0.0, 1.0, **TOLERANCES).outcome is Outcome.CHATTER


def test_ever_shorter_bounces_end_as_chatter(make_problem):
    """A bouncing mass without a resting mode: infinitely many bounces before a finite time."""
    problem = make_problem(
        lambda t, y: (y[1], -9.81),
        {"floor": lambda t, y: -y[0]},
        band=1e-12,
        switch=lambda key, fired, t, y: Switch("go", (0.0, -0.5 * y[1])),
        progress=lambda t, y: (y[0] / 1e-3,),
    )
    result = run(problem, "go", [1.0, 0.0], 0.0, 10.0, **TOLERANCES)
    assert result.outcome is Outcome.CHATTER
    assert len(result.events) <= 52
    limit = math.sqrt(2.0 / 9.81) * (1.0 + 2.0 * 0.5 / (1.0 - 0.5))
    assert result.t == pytest.approx(limit, rel=1e-4)


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
def test_friction_by_sign_runs_into_the_budget(make_problem, method):
    """What a switched mode should have been: the runner cannot remedy it, but it ends."""
    rhs = lambda t, y: (0.3 - math.copysign(1.0, y[0]),)  # noqa: E731
    result = run(
        make_problem(rhs), "go", [1.0], 0.0, 3.0, method=method, max_rhs_calls=5000, **TOLERANCES
    )
    # Some versions of Radau give up before the budget is spent.
    assert result.outcome is Outcome.BUDGET or (
        method == "Radau" and result.outcome is Outcome.SOLVER_FAILED
    )
    assert result.stats.rhs_calls < 5300
    assert result.segments[-1].t[-1] == result.t
    assert result.t == pytest.approx(1.0 / 0.7, abs=0.01)


def test_budget_of_steps_holds_across_segments(make_problem):
    result = run(swings(make_problem), "go", [1.0, 0.0], 0.0, 1e6, max_steps=200, **TOLERANCES)
    assert result.outcome is Outcome.BUDGET
    assert result.stats.steps == 200
    assert sum(segment.t.size - 1 for segment in result.segments) <= 200
    assert len(result.segments) > 2
