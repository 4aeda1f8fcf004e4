"""A drum that runs on with the power off pulls a light load against its stop, in the quasi-static
model as in a full run."""

import math
from pathlib import Path

import pytest

from winchsim.face import read as load
from winchsim.inputs import with_value
from winchsim.model import Event
from winchsim.simulation import simulate
from winchsim.slow import lift_all

MASSES = [0.2, 0.57, 4.0]


@pytest.fixture(scope="module")
def fast():
    """A fast drum with a rotor of much inertia, 0.3 m below its sheave."""
    return load(Path(__file__).parents[2] / "scenarios" / "03-theatre-flat-runs-back.toml")


def test_the_break_at_the_stop_is_foreseen(fast):
    lifts = lift_all(fast, {"load.mass": MASSES})
    broken = []
    for mass in MASSES:
        record = simulate(with_value(fast, "load.mass", mass))
        assert record.first(Event.TOP) is not None
        broken.append(record.first(Event.OVERLOAD) is not None)
        assert broken[-1] is (record.first(Event.TOP_STOP) is not None)
    assert broken == [True, True, False]
    assert (lifts.factor < 1).tolist() == broken


def test_a_stalled_lift_has_no_time_of_spinning_up(fast):
    lifts = lift_all(fast, {"load.mass": [4.0, 30.0]})
    assert lifts.lifted.tolist() == [True, False]
    assert lifts.spin_up_time[0] > 0 and math.isnan(lifts.spin_up_time[1])
