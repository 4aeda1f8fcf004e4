"""Heating of winding and case against closed forms, worked out here."""

import math

import numpy as np
import pytest
from scipy.linalg import expm

from winchsim.physics.heat import HeatPath, step_exact, time_to_limit

# --- winding and case


class TestTwoNodeStep:
    """The general two-time-constant form, solved by matrix exponential: 3 and 20 J/K, 5 and 20 K/W,
    2 W from ambient.

    Time constants 12.98664 s and 462.01336 s, steady rises 50 K and 40 K.
    """

    path = HeatPath(3.0, 20.0, 5.0, 20.0)
    rises = (
        (10.0, 4.917925, 0.260008),
        (100.0, 15.737522, 6.853700),
        (1000.0, 45.116039, 35.274604),
    )

    @pytest.mark.parametrize(("time", "winding", "case"), rises)
    def test_exact_step(self, time, winding, case):
        got = step_exact(self.path, 2.0, 20.0, 20.0, 20.0, time)
        assert got == pytest.approx((20.0 + winding, 20.0 + case), abs=1e-5)

    def test_steady_rise(self):
        assert step_exact(self.path, 2.0, 20.0, 20.0, 20.0, 1e9) == pytest.approx(
            (70.0, 60.0), rel=1e-12
        )

    def test_time_constants(self):
        # From the decay alone, without power: once the fast part has died the rest falls with the
        # slow time constant.
        early, late = (
            step_exact(self.path, 0.0, 50.0, 40.0, 0.0, t)[0] for t in (1000.0, 1462.01336)
        )
        assert early / late == pytest.approx(math.e, rel=1e-6)
        matrix = np.array([[-1 / 15.0, 1 / 15.0], [1 / 100.0, -1 / 100.0 - 1 / 400.0]])
        assert np.sort(-1.0 / np.linalg.eigvals(matrix)) == pytest.approx(
            [12.98664, 462.01336], rel=1e-6
        )
        assert step_exact(self.path, 0.0, 50.0, 10.0, 0.0, 30.0) == pytest.approx(
            tuple(expm(matrix * 30.0) @ [50.0, 10.0]), rel=1e-12
        )

    @pytest.mark.parametrize(("time", "winding", "case"), rises)
    def test_time_until_a_limit(self, time, winding, case):
        found = time_to_limit(self.path, 2.0, 20.0, 20.0, 20.0, 20.0 + winding)
        assert found == pytest.approx(time, rel=1e-5)


def test_copper_feedback_at_constant_current():
    # Closed form: rise = P0 Rth / (1 - alpha P0 Rth) with alpha referred to ambient. 2 W, 25 K/W,
    # 0.00393/K: 62.22775 K; no steady state from 10.17812 W on.
    path = HeatPath(3.0, 20.0, 5.0, 20.0)
    below, above = 10.17812 * (1 - 1e-6), 10.17812 * (1 + 1e-6)
    for power, limited in ((below, True), (above, False)):
        time = time_to_limit(path, power, 20.0, 20.0, 20.0, 1e9, power * 0.00393)
        assert math.isinf(time) is limited
    settled = step_exact(path, 2.0, 20.0, 20.0, 20.0, 2e4, feedback=2.0 * 0.00393)
    assert settled[0] == pytest.approx(82.22775, rel=1e-6)
