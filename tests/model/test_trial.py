"""A scenario as it is tried: its first raise alone, with what a test changes."""

from dataclasses import replace

import pytest

from winchsim.errors import DomainError
from winchsim.inputs import Phase, value_at, with_values
from winchsim.model.trial import first_raise, plain_raise, trial_values


def test_only_the_first_raise_of_a_programme_counts(small):
    first = Phase(action="raise", until="top", voltage=5.0, current_limit=2.0)
    winch = small(
        phase=(
            Phase(action="off", time=1.0),
            first,
            Phase(action="lower", until="floor", voltage=3.0),
        )
    )
    assert first_raise(winch) is first
    plain = plain_raise(winch)
    assert plain.phase == () and plain.supply.voltage == 5.0 and plain.supply.current_limit == 2.0
    assert plain_raise(replace(winch, phase=())).supply == winch.supply
    assert first_raise(small()).until == "top"


def test_a_test_changes_what_it_gives_and_nothing_else(small):
    winch = small()
    values = trial_values(winch, mass=3.0, voltage=5.5)
    assert values == {"load.mass": 3.0, "supply.voltage": 5.5}
    changed = with_values(winch, values)
    assert replace(changed.load, mass=8.0) == winch.load and changed.supply.voltage == 5.5
    assert with_values(winch, trial_values(winch)) == winch


def test_windings_are_all_as_warm_or_each_as_its_group(small):
    winch = small(motors=(small().motors[0], small().motors[0]))
    paths = [f"motors.{number}.winding_start" for number in (1, 2)]
    alike = with_values(winch, trial_values(winch, winding_start=40.0))
    assert [value_at(alike, path) for path in paths] == [40.0, 40.0]
    each = with_values(winch, trial_values(winch, winding_start={2: 33.0}))
    assert [value_at(each, path) for path in paths] == [None, 33.0]


def test_a_value_out_of_bounds_is_refused(small):
    with pytest.raises(DomainError, match=r"load\.height"):
        with_values(small(), trial_values(small(), height=-1.0))
