"""Interpolants of accepted steps against scipy's own."""

import numpy as np
import pytest
from scipy.integrate import LSODA

from winchsim.hybrid import integrate, stepper
from winchsim.hybrid.stepper import METHODS, LsodaStepper, ScipyStepper, lsoda_is_as_known

SETTINGS = {"rtol": 1e-7, "atol": 1e-10}


def stiffening(t, y):
    """Van der Pol's oscillator: LSODA changes order and method several times."""
    return (y[1], 30.0 * (1.0 - y[0] * y[0]) * y[1] - y[0])


START = np.array([2.0, 0.0])


@pytest.fixture
def lsoda():
    """Our LSODA and scipy's own interpolants of the same steps; looked at every 50 steps, as the
    runner does."""
    ours = LsodaStepper(stiffening, 0.0, START, 60.0, **SETTINGS)
    theirs = LSODA(stiffening, 0.0, START, 60.0, rtol=1e-7, atol=1e-10)
    outputs = []
    while theirs.status == "running":
        theirs.step()
        outputs.append(theirs.dense_output())
        ours.advance()
        if ours.count % 50 == 0:
            ours.record()
    return ours, outputs


def test_lsoda_changes_order_and_method_here(lsoda):
    """Else the comparison would say little: orders above 5 are Adams orders only."""
    _, outputs = lsoda
    assert {1, 2, 3, 4, 5} < {output.p.size - 1 for output in outputs}
    assert len(outputs) > 500


def test_lsoda_interpolants_are_scipys(lsoda):
    ours, outputs = lsoda
    times, trail = ours.record()
    grid = times[:-1, None] + np.array([0.0, 0.1, 0.5, 0.9, 1.0]) * np.diff(times)[:, None]
    expected = np.concatenate(
        [output(row) for output, row in zip(outputs, grid, strict=True)], axis=1
    )
    scale = np.max(np.abs(expected), axis=1, keepdims=True)
    assert np.max(np.abs(trail.on_steps(0, grid) - expected) / scale) < 1e-13
    steps = np.repeat(np.arange(len(outputs)), 5)
    assert np.max(np.abs(trail.at(steps, grid.ravel()) - expected) / scale) < 1e-13
    for step in (0, 17, len(outputs) - 1):
        assert np.max(np.abs(trail.point(step, grid[step, 2]) - expected[:, 5 * step + 2])) < 1e-13


def test_lsoda_steps_that_are_kept_are_not_changed_by_later_ones():
    solver = LsodaStepper(stiffening, 0.0, START, 60.0, **SETTINGS)
    for _ in range(40):
        solver.advance()
    times, y, trail = solver.keep(30)
    middle = 0.5 * (times[1:] + times[:-1])
    before = trail.at(np.arange(30), middle)
    for _ in range(200):
        solver.advance()
    solver.record()
    assert (times.shape, y.shape) == ((31,), (2, 31))
    assert np.array_equal(trail.at(np.arange(30), middle), before)


def test_lsoda_is_where_it_is_looked_for():
    assert lsoda_is_as_known()


@pytest.mark.parametrize("moved", ["_NEXT_SIZE", "_HISTORY", "_CALLS", "_LAST_ORDER"])
def test_lsoda_that_has_moved_is_noticed(monkeypatch, moved):
    """As a later scipy might lay out its arrays; the same problem then goes through the public
    interface."""
    monkeypatch.setattr(stepper, moved, getattr(stepper, moved) + 1)
    assert not lsoda_is_as_known.__wrapped__()


def test_lsoda_without_its_inner_parts_is_noticed(monkeypatch):
    class Opaque:
        def __init__(self, *args, **options):
            pass

    monkeypatch.setattr(stepper, "LSODA", Opaque)
    assert not lsoda_is_as_known.__wrapped__()


def test_lsoda_through_the_public_interface_gives_the_same(make_problem, monkeypatch):
    runs = []
    for known in (True, False):
        monkeypatch.setattr(integrate, "lsoda_is_as_known", lambda known=known: known)
        problem = make_problem(stiffening, {"low": lambda t, y: -1.9 - y[0]})
        runs.append(integrate.run(problem, "go", START, 0.0, 60.0, rtol=1e-7, atol=1e-10))
    assert runs[0].t == pytest.approx(runs[1].t, abs=1e-9)
    assert runs[0].stats.steps == pytest.approx(runs[1].stats.steps, abs=100)
    assert np.array_equal(runs[0].segments[0].t[:-1], runs[1].segments[0].t[:-1])


@pytest.mark.parametrize("method", sorted(METHODS))
def test_generic_stepper(method):
    """Every scipy method, LSODA through its public interface too."""
    solver = ScipyStepper(method, stiffening, 0.0, START, 0.5, **SETTINGS)
    while solver.t < 0.5:
        solver.advance()
    times, y, trail = solver.keep(solver.count)
    assert y[:, -1].tolist() == solver.y
    grid = times[:-1, None] + np.array([0.25, 1.0]) * np.diff(times)[:, None]
    on_steps = trail.on_steps(0, grid)
    assert np.max(np.abs(on_steps[:, 1::2] - y[:, 1:])) < 1e-12
    # Scattered, in any order and with repeats.
    pick = np.random.default_rng(1).integers(0, solver.count, 25)
    at = trail.at(pick, grid[pick, 0])
    assert np.max(np.abs(at - on_steps[:, 0::2][:, pick])) < 1e-14
    assert np.max(np.abs(trail.point(pick[0], grid[pick[0], 0]) - at[:, 0])) < 1e-14
