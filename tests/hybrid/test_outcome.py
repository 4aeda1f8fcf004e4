"""Results: outcome sentences, segments with dense output, Gauss nodes."""

import math

import numpy as np
import pytest

from winchsim.hybrid import Outcome, run
from winchsim.hybrid.stepper import METHODS

TOLERANCES = {"rtol": 1e-8, "atol": 1e-10}
END = 7.3


@pytest.fixture(params=sorted(METHODS))
def segment(request, make_problem):
    """A segment of y = (cos t, -sin t) that a crossing has cut in the middle of a step."""
    problem = make_problem(lambda t, y: (y[1], -y[0]), {"end": lambda t, y: t - END})
    result = run(problem, "go", [1.0, 0.0], 0.0, 20.0, method=request.param, **TOLERANCES)
    assert result.outcome is Outcome.STOPPED
    return result.segments[0]


def test_every_outcome_is_a_sentence():
    assert len({outcome.value for outcome in Outcome}) == 6
    for outcome in Outcome:
        assert outcome.value[0].isupper()
        assert outcome.value.endswith(".")
    assert [outcome.name for outcome in Outcome if outcome.ok] == ["FINISHED", "STOPPED"]


def test_segment_between_its_steps(segment):
    times = np.random.default_rng(3).uniform(0.0, segment.t[-1], 400)
    y = segment.at(times)
    assert y.shape == (2, 400)
    assert np.max(np.abs(y - [np.cos(times), -np.sin(times)])) < 3e-6


def test_segment_at_its_steps(segment):
    assert np.max(np.abs(segment.at(segment.t) - segment.y)) < 1e-14
    assert np.array_equal(segment.at(segment.t[[0, -1]]), segment.y[:, [0, -1]])


def test_gauss_nodes(segment):
    times, weights, y = segment.gauss()
    assert times.shape == weights.shape == (3 * (segment.t.size - 1),)
    assert y.shape == (2, times.size)
    assert np.all(np.diff(times) > 0.0)
    assert np.all(weights > 0.0)
    assert weights.sum() == pytest.approx(segment.t[-1] - segment.t[0], rel=1e-14)
    # Any polynomial of degree five in time is integrated exactly, whatever the steps.
    assert np.sum(weights * times**5) == pytest.approx(segment.t[-1] ** 6 / 6.0, rel=1e-13)
    assert np.max(np.abs(y - segment.at(times))) < 1e-14


def test_gauss_integral_of_the_state(segment):
    _, weights, y = segment.gauss()
    exact = END / 2.0 - math.sin(2.0 * END) / 4.0
    assert np.sum(weights * y[1] ** 2) == pytest.approx(exact, abs=1e-5)
