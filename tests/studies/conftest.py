"""Synthetic tests: what a winch with other losses than the scenario's would have shown."""

from dataclasses import replace

import numpy as np
import pytest
from calibrating import lifted_in_full, places

from winchsim.model import build
from winchsim.studies.calibrate import LiftTest
from winchsim.studies.calibrate.forecast import find_factors, moved

MASSES = (1.0, 2.2, 3.4, 4.6, 5.8, 7.0)


def lift_tests(
    inputs, truth, masses=MASSES, *, noise=0.0, seed=1, current=True, voltage=False, voltages=()
):
    """Tests of a winch whose losses are really others, as the full simulation lifts it.

    Parameters
    ----------
    inputs : Inputs
    truth : dict of str to float
        Multiples by factor.
    masses, voltages : sequence of float
        Loads and, where given, supply voltages. [kg], [V]
    noise : float
        Relative scatter of times; currents have twice that. [-]
    seed : int
        Of the scatter.
    current, voltage : bool
        Whether they were measured.
    """
    asked = [LiftTest(number=i, mass=m) for i, m in enumerate(masses, start=1)]
    if voltages:
        asked = [replace(test, voltage=v) for test, v in zip(asked, voltages, strict=True)]
    real = moved(inputs, build(inputs), find_factors(inputs), places(inputs, truth))
    generator = np.random.default_rng(seed)
    found = []
    for test in asked:
        time, amps, volts = lifted_in_full(real, test)
        time *= 1 + noise * generator.normal()
        amps *= 1 + 2 * noise * generator.normal()
        found.append(
            replace(
                test,
                measured_time=time,
                measured_current=amps if current else None,
                measured_voltage=volts if voltage else None,
            )
        )
    return found


@pytest.fixture(scope="session")
def synthetic():
    """Maker of tests, see `lift_tests`."""
    return lift_tests
