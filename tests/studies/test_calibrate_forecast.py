"""Forecasts with their slopes: one batch of lifts, within the bounds of the factors."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import InputError
from winchsim.face import read as load
from winchsim.scenario.starter import STARTER
from winchsim.studies.calibrate import calibrate
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


@pytest.fixture
def crate(tmp_path):
    (tmp_path / "crate.toml").write_text(STARTER)
    return load(str(tmp_path / "crate.toml"))


def test_currents_in_another_unit_or_over_the_limit_are_left_out_from_the_beginning(crate):
    wrong = LiftTest(number=1, mass=5.0, measured_time=16.8, measured_current=804.0)
    over = LiftTest(number=2, mass=10.0, measured_time=18.3, measured_current=8.9)
    found = calibrate(crate, [wrong, over], only=["mesh_friction"])
    assert [row.kind for row in found.residuals if row.far and row.is_outlier] == 2 * [Kind.CURRENT]
    with pytest.raises(InputError, match="no measurement is near"):
        calibrate(crate, [replace(wrong, measured_time=None)], only=["mesh_friction"])


def test_the_slope_at_a_derived_default_is_that_of_its_surroundings(crate):
    """Giving an assumed value that is else derived moves a lift a little; that is no slope."""
    heat = tuple(factor for factor in find_factors(crate) if factor.name == "heat_capacity")
    bench = Bench(crate, [MeasuredReading(LiftTest(number=1, mass=10.0), Kind.TIME, 0.0)], heat)
    _, slopes = forecast_with_slopes(bench, np.zeros(1))
    around = bench.forecast(np.array([[-0.2], [0.2]]))[:, 0]
    assert slopes[0, 0] == pytest.approx(float(np.diff(around)[0]) / 0.4, rel=0.2)
