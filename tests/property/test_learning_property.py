"""What holds of calibrations and spreads whatever the numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from winchsim.model import build
from winchsim.studies.calibrate import Kind, LiftTest, MeasuredReading
from winchsim.studies.calibrate.calibration import Case, fit, without_outliers
from winchsim.studies.calibrate.evidence import gather
from winchsim.studies.calibrate.forecast import Bench, find_factors
from winchsim.studies.spread.builds import Uncertain, plan, uncertain
from winchsim.studies.spread.outcomes import lift_builds

pytestmark = pytest.mark.slow

MASSES = (1.0, 2.5, 4.0, 5.5, 7.0)
FITTED = ("efficiency", "shaft_drag", "motor_constant")


@pytest.fixture(scope="module")
def winch(small, make_stage):
    return small(stage=make_stage(5.0, 0.8, shaft_drag=1e-3, repeat=3), load={"height": 0.4})


@given(st.floats(-1.5, 1.0), st.floats(-1.5, 1.5), st.floats(-1.5, 1.5))
@settings(max_examples=4, deadline=None, derandomize=True)
def test_exact_data_give_the_truth_back(winch, loss, drag, constant):
    """Data that agree with the model overrule the priors, wherever the truth lies."""
    factors = [factor for factor in find_factors(winch) if factor.name in FITTED]
    truth = np.array(
        [
            {"efficiency": loss, "shaft_drag": drag, "motor_constant": constant}[f.name]
            for f in factors
        ]
    )
    tests = [LiftTest(number=i, mass=mass) for i, mass in enumerate(MASSES, start=1)]
    asked = [
        MeasuredReading(test, kind, 0.0) for kind in (Kind.TIME, Kind.CURRENT) for test in tests
    ]
    bench = Bench(winch, asked, factors)
    speeds, currents = bench.forecast(truth[None]).reshape(2, -1).tolist()
    exact = [
        replace(test, measured_time=height / speed, measured_current=current)
        for test, height, speed, current in zip(
            tests, bench.heights[: len(tests)], speeds, currents, strict=True
        )
    ]
    readings, _ = gather(exact)
    case = Case(Bench(winch, readings, factors))
    found, kept = without_outliers(case.problem, np.zeros(len(factors)))
    found = fit(case.problem, found.values, kept)
    assert kept.all()
    assert found.values == pytest.approx(truth, abs=1e-3)
    assert np.max(np.abs(found.residuals)) < 1e-2


@given(st.permutations(range(3)), st.integers(0, 2**31))
@settings(max_examples=6, deadline=None, derandomize=True)
def test_permuting_motors_changes_nothing(small, make_motor, order, seed):
    """Which of the motors is the weak one does not matter: only the motors' own rows change their
    places."""
    inputs = small(motors=make_motor(4.0, 0.005, idle_current=0.12, count=3), load={"mass": 6.0})
    made = plan(inputs, uncertain(inputs, build(inputs), ()))
    shares = np.random.default_rng(seed).random((4, len(made.draws)))
    swapped = shares.copy()
    for row in made.rows:
        own = [place for place, (drawn_for, _) in enumerate(made.draws) if drawn_for is row]
        if row.each:
            swapped[:, own] = shares[:, own][:, order]
    first, second = lift_builds(made, shares), lift_builds(made, swapped)
    for name in ("time", "current", "factor"):
        assert getattr(second, name) == pytest.approx(getattr(first, name), rel=1e-9)
    assert second.torques == pytest.approx(first.torques[:, order], rel=1e-7, abs=1e-12)


@given(
    st.floats(-5, 5),
    st.floats(0.01, 3),
    st.floats(0.01, 3),
    st.sampled_from(["uniform", "normal", "triangular"]),
)
@settings(max_examples=40, deadline=None)
def test_draws_rise_with_their_share_and_stay_near_their_interval(center, below, above, shape):
    low, high = (
        (center - below, center + above)
        if shape == "triangular"
        else (center - above, center + above)
    )
    drawn = Uncertain("", center, low, high, shape, "", False).quantile(np.linspace(0, 1, 41))
    assert np.all(np.diff(drawn) >= 0)
    reach = 1.5 if shape == "normal" else 1.0
    assert (
        center - reach * (center - low) - 1e-9 <= drawn[0]
        and drawn[-1] <= center + reach * (high - center) + 1e-9
    )
