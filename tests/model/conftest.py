"""Lifts of the small winch, each checked for what every record must keep."""

from collections.abc import Callable

import numpy as np
import pytest

from winchsim.model import Event
from winchsim.simulation import Record, simulate

QUIET = (Event.SUPPLY, Event.SETTLED, Event.PHASE_STARTS, Event.END)


def must_be_sound(record: Record) -> Record:
    """The record, after checking what holds for every one: it ended by itself, its books close, its
    arrays are whole."""
    assert record.outcome.ok, record.outcome
    assert record.energy.error <= 1e-4
    assert np.all(np.diff(record.time) >= 0)
    assert np.all(np.diff([e.time for e in record.events]) >= 0)
    for channel in record.channels.values():
        assert channel.values.shape == record.time.shape
        assert np.all(np.isfinite(channel.values)), channel.name
    assert np.all(record["tension"] >= 0)
    assert np.all(record["height"] >= -1e-9)
    held = record.bound
    assert np.all(record["drum_speed"][held] == 0)
    for start, end in zip(
        record.segment_starts, [*record.segment_starts[1:], record.time.size], strict=True
    ):
        if held[start]:
            assert np.ptp(record["rope_wound"][start:end]) == 0  # held means zero creep
    assert record.events[-1].event is Event.END
    return record


@pytest.fixture(scope="session")
def lift(small) -> Callable[..., Record]:
    """Runs the small winch with parts replaced or changed, and checks the record."""

    def run(**parts) -> Record:
        return must_be_sound(simulate(small(**parts)))

    return run


@pytest.fixture(scope="session")
def story() -> Callable[[Record], list[Event]]:
    """Events of a record in order, without those of supply and bounce."""
    return lambda record: [e.event for e in record.events if e.event not in QUIET]
