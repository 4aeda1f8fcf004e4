"""Arming and firing of guards."""

import math

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, integrate, run
from winchsim.hybrid.stepper import METHODS

TOLERANCES = {"rtol": 1e-8, "atol": 1e-10}
BAND = 0.01


def fired_at(make_problem, values, t_end=10.0, **options):
    """Time at which a guard that is a function of time alone stops a run; None when it does not."""
    problem = make_problem(lambda t, y: (0.0,), {Guard("g", BAND): lambda t, y: values(t)})
    result = run(problem, "go", [0.0], 0.0, t_end, **TOLERANCES, **options)
    return result.t if result.outcome is Outcome.STOPPED else None


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
@pytest.mark.parametrize(
    ("start", "slope", "expected"),
    [
        (-1.0, 0.5, 2.0),  # armed: fires at zero
        (-0.0101, 0.01, 1.01),  # just outside its band: armed, fires at zero
        (-0.01, 0.01, 2.0),  # on the band's edge: not armed, fires at +band
        (-0.005, 0.01, 1.5),
        (0.0, 0.01, 1.0),
        (0.01, 0.01, 0.0),  # on the band's upper edge and rising: at once
        (0.01, -0.01, None),  # on the band's upper edge and falling: armed later, never fires
        (0.02, 0.01, 0.0),  # above its band: at once
        (0.02, -0.01, 0.0),
        (0.005, 0.0, None),  # stays inside its band for ever
        (0.0, -0.01, None),  # falls: armed, never fires
        (-1.0, 0.09, None),  # does not get there
    ],
)
def test_guard_on_a_straight_line(make_problem, method, start, slope, expected):
    time = fired_at(make_problem, lambda t: start + slope * t, method=method)
    assert time == (None if expected is None else pytest.approx(expected, abs=1e-9))


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
def test_disarmed_guard_is_armed_on_its_way_down(make_problem, method):
    """Zero at the start, down past the band, and back up: fires at zero, not at plus the band."""
    assert fired_at(make_problem, lambda t: 0.1 * t * (t - 5.0), method=method) == pytest.approx(
        5.0, abs=1e-9
    )
    # A dip that stays inside the band does not arm it.
    assert fired_at(make_problem, lambda t: 1e-3 * t * (t - 5.0), method=method) == pytest.approx(
        2.5 + math.sqrt(2.5**2 + BAND / 1e-3), abs=1e-6
    )


def test_guards_that_cross_together_are_given_together(make_problem):
    guards = {
        "b": lambda t, y: y[0] - 1.0,
        "other": lambda t, y: y[0] - 1.5,
        "a": lambda t, y: 3.0 * (y[0] - 1.0),
    }
    problem = make_problem(lambda t, y: (1.0,), guards)
    run(problem, "go", [0.0], 0.0, 5.0, **TOLERANCES)
    assert problem.calls[0][1] == ("b", "a")


@pytest.mark.parametrize("slope", [0.7, 1.1, 1.3])
@pytest.mark.parametrize("method", sorted(METHODS))
def test_guards_whose_roots_differ_by_rounding_are_given_together(make_problem, method, slope):
    """Powers of the same rising state: their roots differ in the last digits, and so do their signs
    there."""
    guards = {f"power {p}": lambda t, y, p=p: y[0] ** p - 2.0**p for p in range(1, 9)}
    problem = make_problem(lambda t, y, slope=slope: (slope * math.exp(-0.1 * t),), guards)
    run(problem, "go", [0.1], 0.0, 50.0, method=method, **TOLERANCES)
    assert sorted(problem.calls[0][1]) == sorted(guards)


def test_earliest_of_two_crossings_in_one_step_counts(make_problem):
    guards = {"late": lambda t, y: y[0] - 1.001, "early": lambda t, y: y[0] - 1.0}
    problem = make_problem(lambda t, y: (1.0,), guards)
    result = run(problem, "go", [0.0], 0.0, 5.0, **TOLERANCES)
    assert problem.calls[0][1] == ("early",)
    assert result.t == pytest.approx(1.0, abs=1e-9)


def test_guards_above_their_band_at_the_start_fire_together(make_problem):
    guards = {"a": lambda t, y: 1.0, "b": lambda t, y: -1.0, "c": lambda t, y: 2.0}
    problem = make_problem(lambda t, y: (1.0,), guards)
    result = run(problem, "go", [0.0], 3.0, 5.0, **TOLERANCES)
    assert problem.calls == [("go", ("a", "c"), 3.0)]
    assert result.segments == ()


@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize(
    ("guard", "values"),
    [
        ("armed", lambda t, y: np.sin(t) - (1.0 + 1e-6)),
        (Guard("in its band", BAND), lambda t, y: 0.4 * BAND * (np.sin(t) - (1.0 - 1e-3))),
    ],
    ids=["armed", "disarmed"],
)
def test_many_peaks_that_just_do_not_reach(make_problem, method, guard, values):
    """Thirty swings whose tops stay a millionth below the guard, or above zero for short times but
    never below minus the band before: never fires, whatever the samples miss."""
    problem = make_problem(lambda t, y: (math.cos(t),), {guard: values})
    result = run(problem, "go", [0.0], 0.0, 60.0 * math.pi, method=method, rtol=1e-6, atol=1e-8)
    assert result.outcome is Outcome.FINISHED


@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize("swing", [0, 7, 20])
def test_one_peak_among_many_that_just_reaches(make_problem, method, swing):
    """Swings that grow; the guard is reached by the top of one of them, by a millionth part."""
    growth = 1e-3
    top = (
        math.pi - math.atan(1.0 / growth) + 2.0 * math.pi * swing
    )  # exp(growth t) sin t has its tops there
    level = math.exp(growth * top) * math.sin(top) * (1.0 - 1e-6)

    def guard(t, y):
        return np.exp(growth * t) * np.sin(t) - level

    def rhs(t, y):
        return (math.exp(growth * t) * math.cos(t),)

    problem = make_problem(rhs, {"g": guard})
    result = run(problem, "go", [0.0], 0.0, 150.0, method=method, rtol=1e-6, atol=1e-8)
    assert result.outcome is Outcome.STOPPED
    assert result.t == pytest.approx(top - math.sqrt(2e-6), abs=1e-5)


@pytest.mark.parametrize("phase", np.linspace(0.1, 6.1, 13))
def test_peak_at_the_seam_of_two_looks(make_problem, monkeypatch, phase):
    """Looked at after every step: each step's end is a seam, and the top may lie right on it."""
    monkeypatch.setattr(integrate, "_BATCH", 1)
    problem = make_problem(
        lambda t, y: (math.cos(t + phase),), {"g": lambda t, y: np.sin(t + phase) - (1.0 - 1e-9)}
    )
    result = run(problem, "go", [0.0], 0.0, 9.0, rtol=1e-6, atol=1e-8)
    assert result.outcome is Outcome.STOPPED
    top = (0.5 * math.pi - phase) % (2.0 * math.pi)
    assert result.t == pytest.approx(top - math.sqrt(2e-9), abs=1e-6)


def test_guard_may_return_floats_for_arrays(make_problem):
    """A guard that does not depend on time or state need not be broadcast by the problem."""
    problem = make_problem(
        lambda t, y: (1.0,), {"constant": lambda t, y: -1.0, "end": lambda t, y: y[0] - 2.0}
    )
    result = run(problem, "go", [0.0], 0.0, 5.0, **TOLERANCES)
    assert (result.outcome, result.t) == (Outcome.STOPPED, pytest.approx(2.0))


def test_number_of_guard_values_must_fit(make_problem):
    guards = (Guard("a", 0.0), Guard("b", 0.0))
    misfit = Mode("misfit", lambda t, y: (1.0,), guards, lambda t, y: (-1.0,))
    problem = make_problem(lambda t, y: (1.0,), modes=[misfit])
    with pytest.raises(ValueError, match="shorter"):
        run(problem, "misfit", [0.0], 0.0, 1.0, **TOLERANCES)


def test_scalar_and_array_calls_that_differ_by_rounding(make_problem):
    """The scalar call decides at the ends of steps, so the two calls cannot disagree into a lost
    event."""

    def guard(t, y):
        return t - 1.0 if isinstance(t, float) else t - (1.0 + 1e-9)

    result = run(
        make_problem(lambda t, y: (0.0,), {"g": guard}), "go", [0.0], 0.0, 1.0 + 5e-10, **TOLERANCES
    )
    assert (result.outcome, result.t) == (Outcome.STOPPED, pytest.approx(1.0, abs=1e-8))
