"""What is drawn of a record: its samples, segments apart."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.report.figures.look import COLUMN
from winchsim.report.figures.trace import broken, suits, window


@pytest.mark.parametrize("name", ["height", "tension", "voltage"])
def test_every_sample_is_drawn_and_segments_stand_apart(lift, name):
    x, y = broken(lift, lift[name])
    kept = np.isfinite(y)
    assert np.array_equal(x[kept], lift.time) and np.array_equal(y[kept], lift[name])
    gaps = np.flatnonzero(~kept)
    assert len(gaps) == len(lift.segment_starts) - 1
    assert np.array_equal(gaps - np.arange(len(gaps)), lift.segment_starts[1:])
    assert np.all(np.isnan(x[gaps]))


def test_units_of_time_suit_the_stretch():
    assert (window(0.0, 60.0).unit, window(0.0, 0.2).unit, window(0.0, 3000.0).unit) == (
        "s",
        "ms",
        "min",
    )
    late = window(73.4, 73.6, 73.4265)
    assert (late.origin, late.label) == (73.4265, "Time after 73.427 s (ms)")
    assert late.shown(73.5265) == pytest.approx(100.0)
    nothing = window(0.0, 0.0)
    assert nothing.span > 0


def test_units_suit_the_size():
    for name, values, unit in (
        ("height", 0.5, "m"),
        ("height", [0.02, -0.03], "mm"),
        ("speed", 0.02, "mm/s"),
        ("torque", 2.0, "N·m"),
        ("torque", 2e-3, "mN·m"),
        ("tension", 2e4, "kN"),
        ("tension", np.nan, "N"),
        ("current", 1e3, "A"),
    ):
        assert suits(name, values, COLUMN) == unit
    assert suits("height", 0.5, replace(COLUMN, us=True)) == "ft"
