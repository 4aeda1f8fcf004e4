"""The timeline: every event once, repeated ones shortened, each in words."""

from dataclasses import replace

import pytest

from winchsim.model import Action, AtGroup, AtLayer, AtLink, Event
from winchsim.physics.supply import Regime
from winchsim.report.render.options import sentence_text
from winchsim.report.words.details import MOST_OF_A_KIND, moment_text, timeline
from winchsim.simulation import RecordedEvent


def test_a_lift_in_its_order(lifted):
    """Without those of which nothing is said."""
    assert [sentence_text(moment[2]) for moment in timeline(lifted)] == [
        "power on, raising",
        "the drum starts",
        "the load lifts off",
        "the load is up",
        "power off",
        "the drum stops",
    ]
    times = [moment[0] for moment in timeline(lifted)]
    assert times == sorted(times)


def test_many_of_a_kind_become_the_first_two_and_the_last(lifted):
    slips = tuple(RecordedEvent(Event.SLIPS, 1.0 + k, 0.01 * k) for k in range(20))
    found = timeline(replace(lifted, events=slips))
    assert [moment[0] for moment in found] == [1.0, 2.0, None, 20.0]
    assert sentence_text(found[2][2]) == "(17 more times: the load slips in its guide)"


def test_a_few_of_a_kind_are_all_shown(lifted):
    slips = tuple(RecordedEvent(Event.SLIPS, 1.0 + k, 0.0) for k in range(MOST_OF_A_KIND))
    assert len(timeline(replace(lifted, events=slips))) == MOST_OF_A_KIND


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (RecordedEvent(Event.PHASE_STARTS, 0.0, 0.0, Action.SHORT), "power off, motors shorted"),
        (RecordedEvent(Event.LANDED, 1.0, 0.0, None, 0.5, 1.0), "the load lands at 0.5 m/s, 1 J"),
        (RecordedEvent(Event.HOT, 1.0, 0.0, AtGroup(0), 120.0), "a winding passes 120 °C"),
        (RecordedEvent(Event.OVERLOAD, 1.0, 0.0, AtLink(0), 1.0), "the rope at the drum breaks"),
        (RecordedEvent(Event.LAYER, 1.0, 0.0, AtLayer(1)), "layer 2 of rope begins"),
        (RecordedEvent(Event.SUPPLY, 1.0, 0.0, Regime.VOLTAGE), "the supply holds its voltage"),
        (RecordedEvent(Event.STALLED, 1.0, 0.0), "stalled"),
    ],
)
def test_words(lifted, event, text):
    assert sentence_text(moment_text(lifted, event)) == text
