"""Checks of many candidates at once say what the assessment of one full run says."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim import assess, simulate
from winchsim.assessment.candidates import capacities, check_columns
from winchsim.assessment.kinds import CheckKey
from winchsim.assessment.margins import hardest_margins
from winchsim.assessment.ranges import find_ranges
from winchsim.inputs import Brake, Pawl, with_value
from winchsim.model import build
from winchsim.slow import lift_all, vary


def _columns(inputs, **values):
    path, candidates = next(iter(values.items()))
    variants = vary(inputs, {path.replace("__", "."): candidates})
    machine = build(inputs)
    known = find_ranges(inputs, machine)
    return {
        column.key: column
        for column in check_columns(variants, lift_all(variants), capacities(machine), known)
    }


@pytest.mark.parametrize("part", [{}, {"pawl": Pawl()}, {"brake": Brake(torque=0.6)}])
def test_statuses_of_candidates_are_those_of_full_runs(small, part):
    """Values within the accuracy of the quasi-static model, and the same statuses away from
    limits."""
    inputs = small(**part)
    margins = hardest_margins(build(inputs))
    run_up = 8.0 * float(
        np.sqrt(margins.resting * margins.moving)
    )  # lifted from the floor, not started hanging
    masses = [4.0, 8.0, 12.0, run_up, 40.0]
    columns = _columns(inputs, load__mass=masses)
    for row, mass in enumerate(masses):
        found = assess(simulate(with_value(inputs, "load.mass", mass)), actions=False)
        for key in (
            CheckKey.TARGET,
            CheckKey.START_COLD,
            CheckKey.HOLD,
            CheckKey.HOLD_DISTURBED,
            CheckKey.JAM,
        ):
            assert found.check(key).status.rank == columns[key].rank[row], (mass, key)
        for key in (CheckKey.START_COLD, CheckKey.HOLD, CheckKey.JAM):
            assert columns[key].value[row] == pytest.approx(found.check(key).value, rel=1e-6)
        if found.target.reached:
            load = found.check(CheckKey.CONTINUOUS_CURRENT).value
            assert columns[CheckKey.CONTINUOUS_CURRENT].value[row] == pytest.approx(load, rel=0.03)


def test_of_unlike_motors_the_most_loaded_one_counts_as_in_full_runs(small):
    """The slower sort takes most of the load; the mean of both would be half of it."""
    motor = small().motors[0]
    inputs = small(motors=(motor, replace(motor, no_load_speed=0.6 * motor.no_load_speed, count=1)))
    value = _columns(inputs, load__mass=[4.0, 6.0])[CheckKey.CONTINUOUS_CURRENT].value
    for row, mass in enumerate((4.0, 6.0)):
        found = assess(simulate(with_value(inputs, "load.mass", mass)), actions=False, ranges=False)
        assert value[row] == pytest.approx(found.check(CheckKey.CONTINUOUS_CURRENT).value, rel=0.03)
