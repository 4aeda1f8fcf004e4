"""Names above the panels: written out where they fit, never one over another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from winchsim.model import AtLink, Event
from winchsim.report.figures.bands import Band, Panel, axis_text, compose, when_text
from winchsim.report.figures.look import COLUMN, SLIDE, drawing, text_width
from winchsim.report.figures.trace import Window, whole
from winchsim.simulation import RecordedEvent

KINDS = (Event.LIFT_OFF, Event.TOP, Event.SUPPLY, Event.OVERLOAD, Event.RUNS_BACK, Event.DRUM_STOPS, Event.LAYER)


def _band(lift, events, look=COLUMN):
    record = replace(lift, events=tuple(events))
    with drawing(look):
        return Band(record, look, whole(record), [Panel("Height", "m")])


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.floats(0, 1), st.integers(0, len(KINDS) - 1)), min_size=1, max_size=9))
def test_names_cover_neither_names_nor_lines(lift, places):
    end = float(lift.time[-1])
    events = [RecordedEvent(KINDS[kind], share * end, 0.1, AtLink(0) if KINDS[kind] is Event.OVERLOAD else None)
              for share, kind in sorted(places)]  # fmt: skip
    band = _band(lift, events)
    assert band.labels.rows <= COLUMN.label_rows
    if not band.labels.direct:
        centres = [label.text_at for label in band.labels.items]
        assert np.all(np.diff(centres) >= 1.9 * COLUMN.em) and min(centres) >= -1e-9 and max(centres) <= band.width + 1e-9
        assert len(band.key) >= len(band.labels.items)
        return
    spans = []
    for label in band.labels.items:
        wide = text_width(label.text, COLUMN)
        spans.append((label.at, label.at + wide) if label.side == "left" else (label.at - wide, label.at))
    for i, (label, (low, high)) in enumerate(zip(band.labels.items, spans, strict=True)):
        assert high <= band.width + band.right + 1e-6
        for j, (other, (other_low, other_high)) in enumerate(zip(band.labels.items, spans, strict=True)):
            if i != j:
                assert not (other.row >= label.row and low < other.at < high), "a line runs through a name"
                assert label.row != other.row or high <= other_low + 1e-6 or other_high <= low + 1e-6


def test_a_crowd_is_numbered_and_explained(lift):
    end = float(lift.time[-1])
    shares = np.linspace(0.30, 0.60, 8)
    kinds = (Event.LIFT_OFF, Event.LANDED, Event.SNAGGED, Event.CAME_OFF, Event.SLACK, Event.TAUT, Event.TOP, Event.EMPTY)
    band = _band(lift, [RecordedEvent(kind, float(s) * end, 0.1) for kind, s in zip(kinds, shares, strict=True)])
    assert not band.labels.direct
    assert [label.text for label in band.labels.items] == [str(n) for n in range(1, len(band.marks) + 1)]
    assert band.key[0].startswith("1: ") and "the load lifts off" in band.key[0]
    assert all(text_width(line, COLUMN) <= COLUMN.width for line in band.key)


def test_a_figure_keeps_to_the_height_of_its_look(lift):
    with drawing(SLIDE):
        rows = [[Band(lift, SLIDE, whole(lift), [Panel("A", ""), Panel("B", ""), Panel("C", "")])]]
        figure = compose(SLIDE, rows)
    assert 25.4 * figure.get_size_inches()[1] == pytest.approx(SLIDE.most_height)


def test_axis_text_goes_into_two_lines_where_one_is_too_long():
    assert axis_text("Rope tension", "N", 40.0, COLUMN) == "Rope tension (N)"
    assert axis_text("Rope tension", "N", 12.0, COLUMN) == "Rope tension\n(N)"


def test_times_in_a_key_are_told_apart():
    late = Window(73.0, 73.2)
    assert when_text(73.0265, late) != when_text(73.0365, late)
    assert when_text(0.0, Window(0.0, 60.0)) == "0 s" and when_text(0.0123, Window(0.0, 0.2, 0.0, "ms")) == "12.3 ms"
    assert when_text(1234.0, Window(0.0, 3000.0, 0.0, "min")) == "20.57 min"
