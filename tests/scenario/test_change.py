"""Scenarios changed without text: values set and taken back, tables added and removed."""

import json
from contextlib import suppress

import pytest
from hypothesis import given, settings, strategies as st
from shipped import SCENARIOS

from winchsim.errors import DomainError, InputError, UnknownPathError
from winchsim.face import parse as loads, read as load
from winchsim.inputs import Brake, Sheave, walk
from winchsim.scenario.change import (
    from_values,
    to_values,
    with_table,
    with_value,
    without_table,
)
from winchsim.scenario.starter import STARTER
from winchsim.scenario.values import known_paths


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_values_come_back(path):
    """A form holds the values as JSON; nothing is lost or rounded on the way."""
    inputs = load(str(path))
    again = from_values(json.loads(json.dumps(to_values(inputs))))
    assert list(walk(again)) == list(walk(inputs))
    assert again.given >= inputs.given
    assert again.materials == inputs.materials


def test_a_value_is_set_and_taken_back(good):
    inputs = loads(good)
    assert with_value(inputs, "load.mass", "55 lb").load.mass == pytest.approx(24.94758035)
    back = with_value(with_value(inputs, "stage.1.friction", 0.2), "stage.1.friction", None)
    assert back == inputs and "stage.1.friction" not in back.given
    with pytest.raises(InputError, match="mass is missing"):
        with_value(inputs, "load.mass", None)


def test_a_table_is_set_whole(good):
    inputs = with_value(loads(good), "brake", Brake(torque=2.0))
    assert inputs.brake == Brake(torque=2.0)
    inputs = with_value(inputs, "sheave", (Sheave(efficiency=0.9), Sheave()))
    assert inputs.sheave == (Sheave(efficiency=0.9), Sheave())
    assert with_value(inputs, "sheave.2.repeat", 3).sheave[1].repeat == 3


def test_the_last_table_of_a_list_is_repeated(good):
    inputs = with_table(loads(good), "motors")
    assert inputs.motors[0] == inputs.motors[1] and len(inputs.motors) == 2
    inputs = with_value(inputs, "motors.2.count", 1)
    assert without_table(inputs, "motors.1").motors == inputs.motors[1:]
    assert "motors.1.count" in without_table(inputs, "motors.1").given


@pytest.mark.parametrize("path", ["pawl", "brake", "motors.1.gearbox", "sheave", "edge"])
def test_a_first_table_starts_with_usual_values(good, path):
    inputs = loads(good)
    more = with_table(inputs, path)
    assert len(list(walk(more))) > len(list(walk(inputs)))
    gone = without_table(more, f"{path}.1" if path in ("sheave", "edge") else path)
    assert list(walk(gone)) == list(walk(inputs))


def test_a_table_with_values_of_its_own(good):
    inputs = with_table(loads(good), "phase", {"action": "raise", "until": "top"})
    assert inputs.phase[0].until == "top"


@pytest.mark.parametrize("path", ["motors.1", "load", "motors.3", "colour", "motors.9"])
def test_a_table_that_cannot_go(good, path):
    with pytest.raises((InputError, UnknownPathError)):
        without_table(loads(good), path)


def test_no_table_of_a_single_value(good):
    with pytest.raises(DomainError, match="a key that holds a table"):
        with_table(loads(good), "load.mass")


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.sampled_from(sorted(known_paths())),
    st.none() | st.floats() | st.integers() | st.text(max_size=9) | st.booleans() | st.just([{}]),
)
def test_any_value_at_any_path_gives_inputs_or_an_input_error(path, value):
    inputs = loads(STARTER)
    before = to_values(inputs)
    with suppress(InputError):
        assert list(walk(with_value(inputs, path, value)))
    assert to_values(inputs) == before
