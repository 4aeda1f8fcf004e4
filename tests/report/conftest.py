"""One lift of the small winch for all reports, and one that stalls."""

from __future__ import annotations

import pytest

from winchsim.simulation import simulate
from winchsim.verdict.judge import judge


@pytest.fixture(scope="session")
def lifted(small):
    """Record and verdict of a lift that holds."""
    record = simulate(small(title="Small winch"))
    return record, judge(record)


@pytest.fixture(scope="session")
def stuck(small):
    """Record and verdict of a stall, with remedies."""
    record = simulate(small(load={"mass": 17.0}, settings={"stall_watch": 0.5}))
    return record, judge(record)
