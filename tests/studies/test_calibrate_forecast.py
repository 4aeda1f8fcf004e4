"""Forecasts with their slopes: one batch of lifts, within the bounds of the factors."""

import numpy as np
import pytest

from winchsim.face import read as load
from winchsim.scenario.starter import STARTER
from winchsim.studies.calibrate.evidence import Kind, LiftTest, MeasuredReading
from winchsim.studies.calibrate.forecast import Bench, Factor, find_factors, forecast_with_slopes


class Squares:
    """A bench whose speed is the sum of the squares of two factors."""

    factors = (Factor("one", (), -1.0, 3.0), Factor("two", (), -1.0, 2.0))

    def __init__(self):
        self.asked = []

    def forecast(self, places):
        self.asked.append(places.copy())
        return np.sum(places**2, axis=1)[:, None]


def test_slopes_come_from_one_batch_within_the_bounds():
    bench = Squares()
    _, slopes = forecast_with_slopes(bench, np.array([1.0, 2.0]))
    assert len(bench.asked) == 1 and len(bench.asked[0]) == 3
    assert np.all(bench.asked[0] <= [3.0, 2.0])
    assert slopes[:, 0] == pytest.approx([2.0, 4.0], rel=1e-3)


def test_the_slope_at_a_derived_default_is_that_of_its_surroundings(tmp_path):
    """Giving an assumed value that is else derived moves a lift a little; that is no slope."""
    (tmp_path / "crate.toml").write_text(STARTER)
    inputs = load(str(tmp_path / "crate.toml"))
    heat = tuple(factor for factor in find_factors(inputs) if factor.name == "heat_capacity")
    bench = Bench(inputs, [MeasuredReading(LiftTest(number=1, mass=10.0), Kind.TIME, 0.0)], heat)
    _, slopes = forecast_with_slopes(bench, np.zeros(1))
    around = bench.forecast(np.array([[-0.2], [0.2]]))[:, 0]
    assert slopes[0, 0] == pytest.approx(float(np.diff(around)[0]) / 0.4, rel=0.2)
