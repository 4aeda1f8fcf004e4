"""Switched problems with closed solutions: errors in units of tolerance, and a ceiling on
right-hand-side calls.

All closed solutions are own derivations from the equations in each problem's docstring.
"""

import math

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run

RTOL = 1e-7


def tolerance_units(got, expected, atol):
    """Largest error as a multiple of what one step may do wrong."""
    return float(np.max(np.abs(got - expected) / (atol + RTOL * np.abs(expected))))


class CoilOnASupply:
    """R-L circuit, L di/dt = u - R i - k w: voltage on at a known time, shorted at a current,
    opened at a low current."""

    R, L, U = 2.0, 0.004, 12.0
    ON, HIGH, LOW = 0.01, 4.5, 0.25
    voltages = {"waiting": 0.0, "on": U, "shorted": 0.0}

    def mode(self, key):
        u = self.voltages[key]

        def rhs(t, y):
            return ((u - self.R * y[0]) / self.L,)

        if key == "waiting":
            return Mode(key, rhs, (), lambda t, y: (), until=self.ON)
        if key == "on":
            return Mode(key, rhs, (Guard("high", 1e-9),), lambda t, y: (y[0] - self.HIGH,))
        return Mode(key, rhs, (Guard("low", 1e-9),), lambda t, y: (self.LOW - y[0],))

    def switch(self, key, fired, t, y):
        following = {"waiting": "on", "on": "shorted", "shorted": None}[key]
        assert fired == {"waiting": ("until",), "on": ("high",), "shorted": ("low",)}[key]
        return Switch(following, y)

    def progress(self, t, y):
        return (y[0],)


@pytest.mark.parametrize(("method", "calls"), [("LSODA", 220), ("Radau", 900)])
def test_coil_on_a_supply(method, calls):
    problem = CoilOnASupply()
    atol = 1e-9
    result = run(problem, "waiting", [0.0], 0.0, 1.0, rtol=RTOL, atol=atol, method=method)
    assert result.outcome is Outcome.STOPPED
    tau, final = problem.L / problem.R, problem.U / problem.R
    high = problem.ON - tau * math.log(1.0 - problem.HIGH / final)
    low = high + tau * math.log(problem.HIGH / problem.LOW)
    times = np.array([event.t for event in result.events])
    # An error of the current moves a crossing by error / slope, at the low end by far the most.
    slope_low = problem.LOW / tau
    assert times[0] == problem.ON
    assert abs(times[1] - high) < 5 * (atol + RTOL * problem.HIGH) / ((final - problem.HIGH) / tau)
    assert abs(times[2] - low) < 5 * (atol + RTOL * problem.HIGH) / slope_low
    rise = result.segments[1]
    expected = final * (1.0 - np.exp(-(rise.t - problem.ON) / tau))
    assert tolerance_units(rise.y[0], expected, atol) < 5
    assert result.stats.rhs_calls < calls


@pytest.mark.parametrize("method", ["LSODA", "Radau"])
def test_copper_heat_by_gauss_nodes(method):
    problem = CoilOnASupply()
    result = run(problem, "waiting", [0.0], 0.0, 1.0, rtol=RTOL, atol=1e-9, method=method)
    _, weights, y = result.segments[2].gauss()
    assert float(np.sum(weights * problem.R * y[0] ** 2)) == pytest.approx(
        0.5 * problem.L * (problem.HIGH**2 - problem.LOW**2), rel=10 * RTOL
    )


class BlockOnABelt:
    """m x'' = -k x + friction on a belt of constant speed: sticks up to the static force, slides at
    the kinetic one."""

    M, K, SPEED, STATIC, KINETIC = 2.0, 50.0, 0.3, 12.0, 7.0

    def mode(self, key):
        if key == "sticks":
            return Mode(
                key,
                lambda t, y: (self.SPEED, 0.0),
                (Guard("slips", 1e-9),),
                lambda t, y: (self.K * y[0] - self.STATIC,),
            )

        def slide(t, y):
            return (y[1], (self.KINETIC - self.K * y[0]) / self.M)

        return Mode(key, slide, (Guard("grips", 1e-9),), lambda t, y: (y[1] - self.SPEED,))

    def switch(self, key, fired, t, y):
        if key == "sticks":
            return Switch("slides", y, ("slips",))
        y[1] = self.SPEED
        return Switch("sticks", y, ("grips",))

    def progress(self, t, y):
        return (y[0] / 0.1,)

    def exact_times(self, count):
        """Times of slipping and gripping: a harmonic slide from (static/k, speed) back to the
        belt's speed."""
        w, a = math.sqrt(self.K / self.M), (self.STATIC - self.KINETIC) / self.K
        slide = 2.0 * (math.pi - math.atan(a * w / self.SPEED)) / w
        stick = 2.0 * a / self.SPEED
        times = [self.STATIC / self.K / self.SPEED]
        while len(times) < count:
            times.append(times[-1] + (slide if len(times) % 2 else stick))
        return np.array(times)


@pytest.mark.parametrize(("method", "calls"), [("LSODA", 1600), ("Radau", 6500)])
def test_block_on_a_belt(method, calls):
    problem = BlockOnABelt()
    result = run(
        problem, "sticks", [0.0, problem.SPEED], 0.0, 12.0, rtol=RTOL, atol=1e-9, method=method
    )
    assert result.outcome is Outcome.FINISHED
    times = np.array([event.t for event in result.events])
    assert times.size >= 12
    labels = [event.events[0] for event in result.events]
    assert labels == ["slips" if k % 2 == 0 else "grips" for k in range(times.size)]
    # Every cycle starts afresh from the static force: the errors add up linearly, a few tolerances
    # a cycle.
    assert np.max(np.abs(times - problem.exact_times(times.size))) < RTOL * times.size
    for segment in result.segments:
        if segment.key == "sticks":
            assert np.all(segment.y[1] == problem.SPEED)
    assert result.stats.rhs_calls < calls
