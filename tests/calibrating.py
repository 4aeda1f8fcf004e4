"""Helpers for tests of calibrations: multiples of losses and places of factors."""

import numpy as np
from scipy.optimize import brentq

from winchsim.assessment.history import read_history
from winchsim.frozen import replace
from winchsim.inputs import with_value, with_values
from winchsim.model import build
from winchsim.model.trial import plain_raise
from winchsim.simulation import simulate
from winchsim.studies.calibrate import MeasuredReading
from winchsim.studies.calibrate.forecast import Bench, ForecastRow, find_factors


def loss(path, value):
    """What is lost at a value: ``1/e - 1`` of an efficiency, the value itself otherwise."""
    return 1 / value - 1 if path.endswith("efficiency") else value


def place(row: ForecastRow, multiple: float) -> float:
    """Place of a factor at which a value's loss is a multiple of what it was."""
    return brentq(
        lambda z: loss(row.path, row.at(z)) / loss(row.path, row.value) - multiple,
        -6.0,
        6.0,
        xtol=1e-12,
    )


def places(inputs, truth):
    """Places of all factors of a scenario, from multiples by name."""
    found = find_factors(inputs)
    assert set(truth) <= {factor.name for factor in found}
    return np.array([place(f.rows[0], truth[f.name]) if f.name in truth else 0.0 for f in found])


def foreseen(inputs, tests, kind):
    """What the model says of a reading of each test, shape (n,)."""
    bench = Bench(inputs, [MeasuredReading(test, kind, 0.0) for test in tests], ())
    return bench.forecast(np.zeros((1, 0)))[0]


def lifted_in_full(inputs, test):
    """Lift time, steady current and voltage of a test by the full simulation, whatever breaks.
    [s], [A], [V]"""
    inputs = with_values(plain_raise(inputs), test.values_in(inputs))
    machine = build(with_value(inputs, "settings.watch", 0.0))
    unbroken = tuple(replace(link, scale=0.0) for link in machine.links)
    lift = read_history(simulate(replace(machine, links=unbroken)))
    return lift.lift_time, lift.steady("current"), lift.steady("voltage")


def multiples(found):
    """Fitted multiples by factor, of a calibration."""
    rows = {row.factor.name: row.values[0] for row in found.parameters}
    return {
        name: loss(v.path, v.after) / loss(v.path, v.before) for name, v in rows.items() if v.before
    }


def spans(found):
    """Intervals of the multiples by factor, of a calibration."""
    return {
        name: sorted(loss(v.path, end) / loss(v.path, v.before) for end in (v.low, v.high))
        for name, v in {row.factor.name: row.values[0] for row in found.parameters}.items()
        if v.before
    }
