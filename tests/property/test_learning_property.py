"""What holds of calibrations and spreads whatever the numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from winchsim.studies.calibrate import LiftTest
from winchsim.studies.calibrate.evidence import gather
from winchsim.studies.calibrate.forecast import Bench
from winchsim.studies.calibrate.knobs import knobs
from winchsim.studies.calibrate.search import Search

MASSES = (1.0, 2.5, 4.0, 5.5, 7.0)
FITTED = ("mesh_loss", "drag", "motor_constant")


@pytest.fixture(scope="module")
def winch(small, make_stage):
    return small(stage=make_stage(5.0, 0.8, shaft_drag=1e-3, repeat=3), load={"height": 0.4})


@given(st.floats(0.4, 1.6), st.floats(0.3, 4.0), st.floats(0.9, 1.1))
@settings(max_examples=6, deadline=None, derandomize=True)
def test_exact_data_give_the_truth_back(winch, loss, drag, constant):
    truth = {"mesh_loss": loss, "drag": drag, "motor_constant": constant}
    available, _ = knobs(winch)
    tests = [LiftTest(number=i, mass=mass) for i, mass in enumerate(MASSES, start=1)]
    bench = Bench(winch, tests, available)
    said = bench.foretell([truth])
    exact = [
        replace(test, time=float(bench.heights[i] / said.speed[0, i]), current=float(said.current[0, i]))
        for i, test in enumerate(tests)
    ]
    evidence = gather(exact)
    search = Search(Bench(winch, evidence.tests, available), evidence)
    found = search.polish(search.settle(FITTED))
    assert found.kept.all()
    assert found.factors == pytest.approx(truth, rel=1e-4)
    assert np.max(np.abs(found.fit.residuals)) < 1e-4
