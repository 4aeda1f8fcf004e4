"""Measured beside simulated: differences against worked numbers."""

import numpy as np
import pytest

from winchsim.assessment.history import read_history
from winchsim.report.measured import (
    compared,
    mean_difference,
    row_sentence,
    trace_differences,
)
from winchsim.report.render.options import sentence_text
from winchsim.report.words.values import signed
from winchsim.scenario.sheet import SheetRow
from winchsim.scenario.trace import MeasuredTrace


def test_difference_of_a_trace_is_measured_less_simulated(lifted):
    time = np.array([0.5, 1.0, 1.5, 2.0, 1e6])
    true = np.interp(time, lifted.time, lifted["height"])
    trace = MeasuredTrace(time, height=true + np.array([0.001, 0.002, -0.006, np.nan, 0.0]))
    (found,) = trace_differences(lifted, trace)
    assert (found.name, found.unit, len(found.time)) == (
        "height",
        "m",
        3,
    )  # one blank, one after the run's end
    assert found.difference == pytest.approx([0.001, 0.002, -0.006])
    assert found.mean == pytest.approx(-0.001) and found.largest == (pytest.approx(-0.006), 1.5)
    assert found.printed_unit == "mm"


def test_every_quantity_of_a_trace_counts(lifted):
    time = np.linspace(0.1, 1.0, 5)
    trace = MeasuredTrace(time, current=np.ones(5), voltage=np.full(5, 6.0))
    assert [d.name for d in trace_differences(lifted, trace)] == ["current", "voltage"]
    assert trace_differences(lifted, MeasuredTrace(time + 1e6, current=np.ones(5))) == ()


def test_a_row_beside_its_simulation(lifted, stuck):
    history = read_history(lifted)
    time = history.lift_time
    row = compared(
        SheetRow(mass=8.0, measured_time=1.02 * time, measured_current=0.5, outcome="lifted"),
        lifted,
    )
    assert row.time.difference == pytest.approx(0.02)
    assert row.current.difference == pytest.approx(0.5 / history.steady("current") - 1)
    assert "+2 %" in sentence_text(row_sentence(row))
    other = compared(SheetRow(mass=17.0, measured_time=9.0, outcome="lifted"), stuck)
    assert other.time.difference is None
    assert "not lifted in the simulation" in sentence_text(row_sentence(other))
    assert "nothing measured" in sentence_text(row_sentence(compared(SheetRow(mass=8.0), lifted)))
    assert mean_difference([row.time, other.time]) == pytest.approx(0.02)
    assert mean_difference([row.current, other.current]) == row.current.difference
    assert mean_difference([other.time]) is None


def test_signs_are_written():
    assert (
        sentence_text(signed(0.02, "%")) == "+2 %" and sentence_text(signed(-0.5, "A")) == "−0.5 A"
    )
