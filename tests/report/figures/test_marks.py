"""Events become marks: none is lost, crowds are merged, what recurs is one mark."""

from collections import Counter
from dataclasses import replace

import pytest

from winchsim.model import Action, Event
from winchsim.report.figures.frame import _SHORT, marks_of, named_events
from winchsim.report.words.details import SILENT
from winchsim.simulation import RecordedEvent


def _marks(record, most=12, nearest=0.01):
    return marks_of(record, 0.0, float(record.time[-1]), most=most, nearest=nearest)


def _names(mark):
    return ", ".join(name for name, _ in mark.names)


@pytest.mark.parametrize("name", ["lift", "stall", "break", "snag", "jerks"])
@pytest.mark.parametrize(("most", "nearest"), [(12, 0.01), (3, 0.01), (12, 0.0)])
def test_every_event_belongs_to_one_mark(records, name, most, nearest):
    record = records[name]
    found = Counter(
        (e.event, e.time) for mark in _marks(record, most, nearest) for e in mark.events
    )
    assert found == Counter((e.event, e.time) for e in record.events if e.event not in SILENT)


def test_marks_are_few_even_of_many_events(records):
    record = records["jerks"]
    assert len(record.events) > 40
    marks = _marks(record)
    assert len(marks) <= 12
    (spell,) = (mark for mark in marks if mark.repeated)
    sticks = [e for e in record.events if e.event in (Event.STICKS, Event.SLIPS)]
    assert spell.names[0][0] == f"sticks and slips ({len(sticks)} times)" and len(
        spell.events
    ) == len(sticks)
    assert (spell.start, spell.end) == (sticks[0].time, sticks[-1].time)


def test_neighbours_are_merged_and_the_gravest_leads(records):
    marks = _marks(records["stall"], nearest=0.5)
    assert marks[0].grave and "stall" in dict(marks[0].names)
    apart = _marks(records["lift"], nearest=0.0)
    assert [_names(mark) for mark in apart[:3]] == ["power on", "lift-off", "voltage held"]


def test_what_goes_without_saying_is_not_said(lift):
    names = [_names(mark) for mark in _marks(lift, nearest=0.1)]
    assert names == ["power on, lift-off", "layer 2", "up, power off"]


def test_a_drum_that_lowers_as_it_should_is_no_alarm(lift):
    events = (
        RecordedEvent(Event.PHASE_STARTS, 1.0, 0.2, Action.LOWER),
        RecordedEvent(Event.RUNS_BACK, 1.0, 0.2),
    )
    lowering = named_events(replace(lift, events=events))
    assert [(e.short, e.grave) for e in lowering] == [("lowering", False), ("drum lowers", False)]
    events = (
        RecordedEvent(Event.PHASE_STARTS, 1.0, 0.2, Action.OFF),
        RecordedEvent(Event.RUNS_BACK, 1.0, 0.2),
    )
    assert named_events(replace(lift, events=events))[1].grave


def test_every_kind_of_event_has_a_name_and_a_weight():
    assert set(_SHORT) == set(Event)
