"""One lift of the small winch for all reports, and one that stalls."""

import pytest

from winchsim.simulation import simulate


@pytest.fixture(scope="session")
def lifted(small):
    """Record of a lift that holds."""
    return simulate(small(title="Small winch"))


@pytest.fixture(scope="session")
def stuck(small):
    """Record of a stall."""
    return simulate(small(load={"mass": 17.0}, settings={"stall_watch": 0.5}))
