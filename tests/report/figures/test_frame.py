"""What is drawn of a record: its samples, segments apart; numbered marks above the panels, with
their key below."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from winchsim.model import AtLink, Event
from winchsim.report.figures.frame import (
    Window,
    broken,
    marks_and_key,
    suits,
    when_text,
    whole,
    window,
)
from winchsim.report.figures.look import COLUMN, columns
from winchsim.simulation import RecordedEvent

KINDS = (
    Event.LIFT_OFF,
    Event.TOP,
    Event.SUPPLY,
    Event.OVERLOAD,
    Event.RUNS_BACK,
    Event.DRUM_STOPS,
    Event.LAYER,
)


@settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, len(KINDS) - 1)), min_size=1, max_size=20)
)
def test_numbers_never_touch_and_the_key_explains_each(lift, places):
    end = float(lift.time[-1])
    events = [
        RecordedEvent(
            KINDS[kind], share * end, 0.1, AtLink(0) if KINDS[kind] is Event.OVERLOAD else None
        )
        for share, kind in sorted(places)
    ]
    record = replace(lift, events=tuple(events))
    marks, lines = marks_and_key(record, COLUMN, whole(record))
    firsts = [mark.events[0].time / end * COLUMN.width for mark in marks if not mark.repeated]
    assert np.all(np.diff(firsts) >= 1.9 * COLUMN.em) and len(firsts) <= COLUMN.most_marks
    assert all(f"{n} " in " ".join(lines) for n in range(1, len(marks) + 1))
    assert all(len(line) <= columns(COLUMN, line) for line in lines)


def test_times_in_a_key_are_told_apart():
    late = Window(73.0, 73.2)
    assert when_text(73.0265, late) != when_text(73.0365, late)
    assert when_text(0.057, Window(0.0, 6.0)) == "0.057 s"
    assert (
        when_text(0.0, Window(0.0, 60.0)) == "0 s"
        and when_text(0.0123, Window(0.0, 0.2, 0.0, "ms")) == "12.3 ms"
    )
    assert when_text(1234.0, Window(0.0, 3000.0, 0.0, "min")) == "20.57 min"


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
    assert window(0.0, 0.0).span > 0


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
