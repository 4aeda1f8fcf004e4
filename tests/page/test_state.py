"""Undo, variants, the work file, and the command line of a changed build."""

from __future__ import annotations

import json
import shlex

import pytest

from winchsim.errors import InputError
from winchsim.page.state import MOST_STEPS, State, WorkFile, changes, moved, restored, with_text
from winchsim.scenario.change import with_table, without_table
from winchsim.scenario.read import read, read_string
from winchsim.scenario.starter import STARTER


@pytest.fixture
def state():
    return State(read_string(STARTER, "winch.toml"))


def test_undo_and_redo(state):
    heavier = with_text(state.base, "load.mass", "31 kg")
    state.put(heavier, "load.mass")
    state.put(with_text(heavier, "load.height", "1 m"), "load.height")
    state.undo()
    assert state.inputs == heavier
    state.undo()
    assert state.inputs == state.base and not state.can_undo
    state.redo()
    assert state.inputs == heavier and state.can_redo
    state.put(state.base)
    assert not state.can_redo


def test_a_drag_is_one_step_and_steps_are_bounded(state):
    for mass in range(10, 20):
        state.put(with_text(state.base, "load.mass", f"{mass} kg"), "load.mass")
    state.undo()
    assert state.inputs == state.base
    for mass in range(MOST_STEPS + 20):
        state.put(with_text(state.base, "load.mass", f"{mass / 10 + 1} kg"))
    taken = 0
    while state.can_undo:
        state.undo()
        taken += 1
    assert taken == MOST_STEPS


def test_a_wrong_value_has_the_faults_of_the_command_line(state):
    with pytest.raises(InputError) as there:
        read_string(STARTER, "winch.toml", ["load.mass=12 furlongs"])
    with pytest.raises(InputError) as here:
        with_text(state.base, "load.mass", "12 furlongs")
    assert here.value.faults == there.value.faults


def test_work_of_a_tab_comes_back(state, tmp_path):
    path = str(tmp_path / "winch.toml")
    state.put(with_text(state.base, "load.mass", "31 kg"))
    state.keep("one", {"status": ("thin 3", 1)})
    WorkFile(path).keep("tab", state)
    again, other = State(state.scenario), State(state.scenario)
    work = WorkFile(path)
    assert restored(again, work.of_tab("tab")) and not restored(other, work.of_tab("another"))
    assert again.inputs == state.inputs
    assert [(v.name, v.inputs, v.numbers["status"][0]) for v in again.variants] == [
        ("one", state.inputs, "thin 3")
    ]
    assert work.latest()[1] == work.of_tab("tab")


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"format": 99, "tabs": {}}', '{"format": 1, "tabs": [1]}']
)
def test_a_work_file_that_is_not_ours_is_left_alone(state, tmp_path, text):
    path = tmp_path / "winch.work.json"
    path.write_text(text)
    work = WorkFile(str(tmp_path / "winch.toml"))
    state.put(with_text(state.base, "load.mass", "31 kg"))
    work.keep("tab", state)
    assert work.trouble and path.read_text() == text


def test_a_damaged_state_is_not_taken_over(state, tmp_path):
    dumped = json.loads(json.dumps(state.dump()))
    dumped["values"]["load"]["mass"] = -1
    assert not restored(state, dumped) and state.inputs == state.base


def test_command_line_gives_the_same_inputs(state, tmp_path):
    from winchsim.page.take_out import command_line

    path = tmp_path / "winch.toml"
    path.write_text(STARTER)
    for key, text in (
        ("load.mass", "66 lb"),
        ("drum.layering", "nested"),
        ("stage.1.greased", "true"),
        ("factors.rope", "5"),
    ):
        state.put(with_text(state.inputs, key, text))
    words = shlex.split(command_line(state, str(path)))
    assert words[:3] == ["winchsim", "lift", str(path)]
    overrides = words[4::2]
    assert changes(read(str(path), overrides).inputs, state.inputs) == []
    state.put(without_table(state.inputs, "stage.1"))
    assert command_line(state, str(path)) == "", "no option removes a table"


def test_stages_are_moved(state):
    two = with_text(with_table(state.base, "stage"), "stage.2.gear", "40")
    there = moved(two, "stage", 0, 1)
    assert there.stage == two.stage[::-1] and moved(there, "stage", 1, -1) == two
    assert moved(state.base, "stage", 0, -1) == state.base
