"""Two-node heat: exact steps, steady states, times to a limit, and the estimate from size."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from winchsim.physics.heat import HeatPath, estimate, rates, step_exact, time_to_limit

PATH = HeatPath(winding_capacity=3.0, case_capacity=20.0, winding_to_case=5.0, case_to_ambient=20.0)


def test_rates_balance_heat():
    winding, case = rates(PATH, 2.0, 60.0, 40.0, 20.0)
    assert 3.0 * winding + 20.0 * case == pytest.approx(2.0 - (40.0 - 20.0) / 20.0)
    assert winding == pytest.approx((2.0 - 4.0) / 3.0)


@pytest.mark.parametrize("feedback", [0.0, 0.01, 0.2])
def test_step_equals_integration(feedback):
    start = (80.0, 30.0)

    def rhs(t, y):
        return rates(PATH, 2.0 + feedback * (y[0] - start[0]), y[0], y[1], 20.0)

    assert step_exact(PATH, 2.0, *start, 20.0, 50.0, feedback) == pytest.approx(
        tuple(solve_ivp(rhs, (0.0, 50.0), start, rtol=1e-11, atol=1e-11).y[:, -1]), rel=1e-8
    )


def test_steps_take_arrays():
    times = np.array([0.0, 10.0, 100.0])
    winding, case = step_exact(PATH, 2.0, 20.0, 20.0, 20.0, times)
    for n, time in enumerate(times.tolist()):
        assert (winding[n], case[n]) == pytest.approx(step_exact(PATH, 2.0, 20.0, 20.0, 20.0, time))
    assert step_exact(PATH, np.array([1.0, 2.0, 4.0]), 20.0, 20.0, 20.0, 10.0)[0].shape == (3,)


@pytest.mark.parametrize(
    ("power", "winding", "case", "limit", "time"),
    [
        (2.0, 90.0, 40.0, 90.0, 0.0),
        (2.0, 20.0, 20.0, 70.1, math.inf),
        (0.0, 60.0, 20.0, 61.0, math.inf),
    ],
)
def test_a_limit_is_reached_already_or_never(power, winding, case, limit, time):
    assert time_to_limit(PATH, power, winding, case, 20.0, limit) == time


def test_limit_of_a_runaway_is_always_reached():
    power = 20.0
    time = time_to_limit(PATH, power, 20.0, 20.0, 20.0, 500.0, 0.00393 * power)
    assert math.isfinite(time)
    assert step_exact(PATH, power, 20.0, 20.0, 20.0, time, 0.00393 * power)[0] == pytest.approx(
        500.0
    )


def test_limit_passed_on_the_way_to_a_lower_steady_state():
    # A case hotter than the steady state heats the winding past a limit that it later leaves again.
    time = time_to_limit(PATH, 0.1, 20.0, 90.0, 20.0, 60.0)
    assert 0.0 < time < 30.0
    assert step_exact(PATH, 0.1, 20.0, 90.0, 20.0, 1e6)[0] < 60.0
    assert step_exact(PATH, 0.1, 20.0, 90.0, 20.0, time)[0] == pytest.approx(60.0)


def test_limit_passed_after_cooling_first():
    # A winding hotter than what its loss holds over the case: it falls, then follows the case up.
    time = time_to_limit(PATH, 4.0, 50.0, 20.0, 20.0, 55.0)
    assert step_exact(PATH, 4.0, 50.0, 20.0, 20.0, 10.0)[0] < 50.0
    assert step_exact(PATH, 4.0, 50.0, 20.0, 20.0, time)[0] == pytest.approx(55.0)


def test_stalled_hobby_motor_is_at_its_limit_within_a_minute():
    # 6 V, 1.4 A stalled, 17 g: about 8 W into less than 1 J/K. Common practice, no published
    # source: seconds, not minutes.
    path, _ = estimate(0.017, 0.0)
    assert 3.0 < time_to_limit(path, 8.4, 20.0, 20.0, 20.0, 120.0) < 60.0


# --- estimate


def test_estimate_lists_what_it_assumed():
    path, assumed = estimate(0.05, 0.0)
    keys = ["winding_heat_capacity", "case_heat_capacity", "winding_to_case", "case_to_ambient"]
    assert list(assumed) == keys
    assert [row.value for row in assumed.values()] == [
        path.winding_capacity,
        path.case_capacity,
        path.winding_to_case,
        path.case_to_ambient,
    ]
    assert all(row.low < row.value < row.high for row in assumed.values())


def test_estimate_without_a_mass_is_less_sure():
    weighed, guessed = estimate(0.05, 0.0), estimate(None, (0.05 / 31.0) ** (1 / 0.6))
    assert guessed[0].winding_capacity == pytest.approx(weighed[0].winding_capacity)
    assert list(weighed[1]) == list(guessed[1])
    for key, sure in weighed[1].items():
        unsure = guessed[1][key]
        assert unsure.high / unsure.low > sure.high / sure.low
    assert "estimated from torque and speed" in guessed[1]["winding_heat_capacity"].why


def test_friction_warms_the_case_and_through_it_the_winding():
    """Without current: the case ends at friction x resistance to the air, and the winding with
    it."""
    winding, case = step_exact(PATH, 0.0, 20.0, 20.0, 20.0, 1e6, 0.0, 1.5)
    assert winding == pytest.approx(20.0 + 1.5 * PATH.case_to_ambient) == pytest.approx(case)
    early = step_exact(PATH, 0.0, 20.0, 20.0, 20.0, 1.0, 0.0, 1.5)
    assert (
        early[1] - 20.0 == pytest.approx(1.5 / PATH.case_capacity, rel=0.05) and early[0] < early[1]
    )


def test_known_values_are_kept():
    path, assumed = estimate(0.05, 0.0, case_to_ambient=12.0, winding_capacity=2.5)
    assert (path.case_to_ambient, path.winding_capacity) == (12.0, 2.5)
    assert path.winding_to_case == pytest.approx(0.7 * 0.05 ** (-2 / 3))
    assert list(assumed) == [
        "case_heat_capacity",
        "winding_to_case",
    ]


def test_larger_motors_are_slower_and_cool_better():
    small, large = estimate(0.02, 0.0)[0], estimate(0.2, 0.0)[0]
    assert large.winding_capacity > small.winding_capacity
    assert large.case_to_ambient < small.case_to_ambient
    assert large.case_capacity * large.case_to_ambient > small.case_capacity * small.case_to_ambient
