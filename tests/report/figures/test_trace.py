"""What is drawn of a record: its samples, segments apart, thinned without losing a peak."""

from __future__ import annotations

import numpy as np
import pytest

from winchsim.report.figures import trace
from winchsim.report.figures.trace import Window, broken, drawn_samples, suits, whole, window


@pytest.mark.parametrize("name", ["height", "tension", "voltage"])
def test_every_sample_is_drawn_and_segments_stand_apart(lift, name):
    x, y = broken(lift, lift[name], whole(lift))
    kept = np.isfinite(y)
    assert np.array_equal(x[kept], lift.time) and np.array_equal(y[kept], lift[name])
    gaps = np.flatnonzero(~kept)
    assert len(gaps) == len(lift.segment_starts) - 1
    assert np.array_equal(gaps - np.arange(len(gaps)), lift.segment_starts[1:])
    assert np.all(np.isnan(x[gaps]))


def test_a_stretch_reaches_to_the_next_samples_and_not_across_a_switch(lift):
    middle = Window(1.0, 2.0)
    x, _ = broken(lift, lift["height"], middle)
    inside = lift.time[(lift.time >= 1.0) & (lift.time <= 2.0)]
    assert x[0] < 1.0 and x[-1] > 2.0 and np.array_equal(x[1:-1], inside)
    begins = float(lift.time[lift.segment_starts[3]])
    x, y = broken(lift, lift["height"], Window(begins, begins + 0.1))
    after = x[np.flatnonzero(np.isnan(y))[-1] + 1 :] if np.isnan(y).any() else x
    assert after[0] == begins


def test_what_is_left_out_leaves_a_gap(lift):
    x, y = broken(lift, lift["tension"], whole(lift), ~lift.bound)
    kept = np.isfinite(y)
    assert np.array_equal(x[kept], lift.time[~lift.bound])
    _, held = broken(lift, lift["tension"], whole(lift), lift.bound)
    assert np.isfinite(held).sum() == lift.bound.sum()


def test_thinning_keeps_ends_and_peaks_of_every_column(lift, monkeypatch):
    monkeypatch.setattr(trace, "MOST_SAMPLES", 300)
    monkeypatch.setattr(trace, "COLUMNS", 40)
    values = lift["tension"]
    index, cuts = drawn_samples(lift, whole(lift), (values,))
    assert 40 < len(index) < 0.6 * len(values)
    assert {0, len(values) - 1, int(np.argmax(values)), int(np.argmin(values))} <= set(
        index.tolist()
    )
    assert set(lift.segment_starts.tolist()) <= set(index.tolist())
    assert len(cuts) == len(lift.segment_starts) - 1
    column = np.minimum(lift.time / lift.time[-1] * 40, 39).astype(int)
    for number in range(40):
        assert values[column == number].max() == values[index][column[index] == number].max()


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
    assert suits("height", 0.5) == "m" and suits("height", [0.02, -0.03]) == "mm"
    assert (
        suits("speed", 0.02) == "mm/s"
        and suits("torque", 2.0) == "N·m"
        and suits("torque", 2e-3) == "mN·m"
    )
    assert (
        suits("tension", 2e4) == "kN"
        and suits("tension", np.nan) == "N"
        and suits("rotation", 1.0) == "rpm"
    )
