"""Readings of a run against its record and hand calculation."""

import math

import numpy as np
import pytest

from winchsim.assessment.kinds import FindingKind, ReadingKey
from winchsim.assessment.readings import find_readings
from winchsim.inputs import Phase


def _values(run):
    return {reading.key: reading.value for reading in find_readings(run.history, None)}


def test_readings_of_a_lift(ran):
    run = ran()
    found, record = _values(run), run.record
    assert found[ReadingKey.PEAK_CURRENT] == record["current"].max()
    assert found[ReadingKey.PEAK_TENSION] == record["tension"].max()
    assert found[ReadingKey.ENERGY_IN] == record.energy.source
    assert found[ReadingKey.MEAN_CURRENT] == pytest.approx(
        record["charge"][-1] / run.history.lift_time, rel=1e-9
    )
    useful = 8.0 * 9.80665 * 0.1
    assert found[ReadingKey.EFFICIENCY] == pytest.approx(useful / record.energy.source, rel=1e-6), (
        "no power after the lift"
    )


def test_mean_current_is_that_of_the_lift_alone(ran):
    """What comes before the raise and after the top, here a letting down and a pause, does not
    dilute it."""
    phases = (
        Phase(action="raise", until="time", time=1.0),
        Phase(action="lower", until="floor"),
        Phase(action="raise", until="top"),
        Phase(action="lower", until="floor"),
    )
    run = ran(phase=phases)
    mean, record = _values(run)[ReadingKey.MEAN_CURRENT], run.record
    began, up = run.history.lifting
    lift = (record.time >= began) & (record.time <= up)
    over = np.trapezoid(record["current"][lift], record.time[lift]) / run.history.lift_time
    assert mean == pytest.approx(over, rel=2e-3)
    assert mean == pytest.approx(_values(ran())[ReadingKey.MEAN_CURRENT], rel=0.01)
    powered = sum(span.end - span.start for span in run.history.spans if span.step.powered)
    assert record["charge"][-1] / powered < 0.95 * mean


def test_mean_current_of_a_load_that_is_not_lifted_is_that_of_all_time_under_power(ran):
    run = ran(load={"mass": 80.0})
    mean = _values(run)[ReadingKey.MEAN_CURRENT]
    powered = sum(span.end - span.start for span in run.history.spans if span.step.powered)
    assert run.history.up is None
    assert mean == pytest.approx(run.record["charge"][-1] / powered, rel=1e-9) and mean > 0.0


def test_speed_is_that_of_the_middle(ran):
    run = ran()
    height, time = run.record["height"], run.record.time
    raising = run.history.spans[0].samples
    t = np.interp([0.025, 0.075], height[raising], time[raising])
    assert _values(run)[ReadingKey.SPEED] == pytest.approx(0.05 / (t[1] - t[0]), rel=1e-3)


def test_on_a_slope_every_speed_is_along_the_path(ran):
    """As in the channel of the record; the height alone rises with half of it."""
    run = ran(load={"slope": math.radians(30), "height": 0.1})
    speed = _values(run)[ReadingKey.SPEED]
    assert speed == pytest.approx(np.median(run.record["speed"][run.record.phase == 0]), rel=0.01)
    assert speed == pytest.approx(2 * 0.1 / run.history.lift_time, rel=0.1)


def test_a_load_that_stays_down_has_neither_speed_nor_efficiency(ran):
    found = _values(ran(load={"mass": 80.0}))
    assert ReadingKey.SPEED not in found and ReadingKey.EFFICIENCY not in found
    assert found[ReadingKey.HEIGHT] == pytest.approx(0.0, abs=1e-9)


def test_efficiency_with_a_ramp(ran):
    """Energy of the source over a ramp, from voltage and current: the energy balance has the
    same."""
    run = ran(
        phase=(
            Phase(action="raise", until="top", ramp=1.0),
            Phase(action="off", until="time", time=1.0),
        )
    )
    gained = 8.0 * 9.80665 * 0.1
    assert _values(run)[ReadingKey.EFFICIENCY] == pytest.approx(
        gained / run.record.energy.source, rel=2e-3
    )


def test_lowering_time_is_from_its_phase_to_the_floor(ran):
    run = ran(phase=(Phase(action="raise", until="top"), Phase(action="lower", until="floor")))
    landed = run.one(FindingKind.LANDED_HARD)
    assert landed.values["asked"]
    assert _values(run)[ReadingKey.LOWERING_TIME] == pytest.approx(
        landed.time - run.history.spans[1].start
    )
