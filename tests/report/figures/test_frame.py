"""Numbered marks above the panels, with their key below."""

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, given, settings, strategies as st

from winchsim.model import AtLink, Event
from winchsim.report.figures.frame import marks_and_key, when_text
from winchsim.report.figures.look import COLUMN, columns
from winchsim.report.figures.trace import Window, whole
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
