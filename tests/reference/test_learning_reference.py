"""Fits, intervals and indices behind calibrate and spread, against certified and published values."""

from __future__ import annotations

import numpy as np
import pytest

from winchsim.studies.calibrate import LiftTest, calibrate
from winchsim.studies.calibrate.fit import fit

pytestmark = pytest.mark.reference


# --- nonlinear least squares --------------------------------------------------------------------------------------------

# NIST, Statistical Reference Datasets, nonlinear regression, sets "Misra1a" and "BoxBOD", from memory: the data and the
# certified values were recalled, not read; the data reproduce the certified residual sums to all digits given here.
MISRA1A_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
MISRA1A_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
BOXBOD_Y = [109.0, 149.0, 149.0, 191.0, 213.0, 224.0]
BOXBOD_X = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0]

CERTIFIED = [
    # data, two starts, values, standard deviations, residual standard deviation
    (MISRA1A_X, MISRA1A_Y, ([500.0, 1e-4], [250.0, 5e-4]), (2.3894212918e2, 5.5015643181e-4),
     (2.7070075241e0, 7.2668688436e-6), 1.0187876330e-1),
    (BOXBOD_X, BOXBOD_Y, ([100.0, 0.75],), (2.1380940889e2, 5.4723748542e-1),
     (1.2354515176e1, 1.0455993237e-1), 1.7088072423e1),
]  # fmt: skip


@pytest.mark.parametrize(
    ("x", "y", "start", "values", "deviations", "scatter"),
    [(x, y, start, *rest) for x, y, starts, *rest in CERTIFIED for start in starts],
    ids=["Misra1a, start 1", "Misra1a, start 2", "BoxBOD, start 2"],
)
def test_certified_values_and_standard_deviations(x, y, start, values, deviations, scatter):
    """Model of both sets: y = b1 (1 - exp(-b2 x))."""
    x, y = np.array(x), np.array(y)

    def slopes(b):
        return -np.stack([1 - np.exp(-b[1] * x), b[0] * x * np.exp(-b[1] * x)], axis=1)

    done = fit(lambda b: y - b[0] * (1 - np.exp(-b[1] * x)), start, jacobian=slopes)
    assert done.values == pytest.approx(values, rel=1e-7)
    assert done.errors == pytest.approx(deviations, rel=1e-7)
    assert done.scatter == pytest.approx(scatter, rel=1e-9)


# --- law of the machine -------------------------------------------------------------------------------------------------


def test_law_of_a_machine_from_two_tests(ideal, make_motor, make_stage):
    """Source: S. S. Bhavikatti, *Engineering Mechanics*, example 6.2 (lifting machines).

    A machine of velocity ratio 30 lifts 2400 N with an effort of 150 N and 3000 N with 180 N: P = 0.05 W + 30. With an
    effort of 200 N it lifts 3400 N, with a mechanical advantage of 17, an efficiency of 56.67 % and a friction of
    86.67 N at the effort. Efficiency approaches 1/(m VR) = 66.67 % under large loads.

    Here the effort is the torque of a motor of 1 N·m/A at a lever of 1 m, so the current is the effort in newtons; a train
    of 3:1 and a drum of 0.1 m make the velocity ratio. Its loss and its drag are wrong at first.
    """
    gravity, lever, ratio, radius = 9.81, 1.0, 3.0, 0.1
    winch = ideal(
        motors=make_motor(0.01, 1.0, voltage=100.0, idle_current=0.0), radius=radius, span=100.0,
        load={"mass": 2700 / gravity}, stages=(make_stage(ratio, 0.8),), drum={"drag": 30.0},
    )  # fmt: skip
    assert lever * ratio / radius == pytest.approx(30.0)
    tests = [LiftTest(number=1, mass=2400 / gravity, current=150.0), LiftTest(number=2, mass=3000 / gravity, current=180.0)]
    coming = [LiftTest(number=3, mass=3400 / gravity), LiftTest(number=4, mass=1e-3)]
    found = calibrate(winch, [*tests, *coming], only=["mesh_loss", "drag"])

    efficiency, drag = found.inputs.stage[0].efficiency, found.inputs.drum.drag
    slope = radius / (ratio * efficiency)
    assert slope == pytest.approx(0.05, rel=1e-4)
    assert drag / (ratio * efficiency) == pytest.approx(30.0, rel=1e-3)
    assert 1 / (slope * 30) == pytest.approx(0.6667, abs=1e-4)
    assert found.dof == 0, "two tests give two numbers and no scatter"

    effort = found.predictions[0].current.value
    assert effort == pytest.approx(200.0, rel=1e-4)
    assert 3400 / effort == pytest.approx(17.0, rel=1e-4)
    assert 3400 / effort / 30 == pytest.approx(0.5667, abs=1e-4)
    assert effort - 3400 / 30 == pytest.approx(86.67, rel=1e-3)
    assert found.predictions[1].current.value == pytest.approx(30.0, rel=1e-3)
