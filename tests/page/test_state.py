"""Undo, variants, the work file, and the command line of a changed build."""

import json
import shlex

import pytest

from winchsim.errors import InputError
from winchsim.page.state import (
    MOST_STEPS,
    MOST_VARIANTS,
    State,
    WorkFile,
    moved,
    with_text,
)
from winchsim.page.take_out import command_line
from winchsim.scenario.change import with_table, with_value, without_table
from winchsim.scenario.read import read_string
from winchsim.scenario.starter import STARTER


@pytest.fixture
def state():
    return State(read_string(STARTER, "winch.toml"))


def test_undo_and_redo(state):
    heavier = with_text(state.base, "load.mass", "31 kg")
    state.put(heavier, "load.mass")
    state.put(with_text(heavier, "load.height", "1 m"), "load.height")
    state.step(back=True)
    assert state.inputs == heavier
    state.step(back=True)
    assert state.inputs == state.base and not state.done
    state.step(back=False)
    assert state.inputs == heavier and state.undone
    state.put(state.base)
    assert not state.undone


def test_a_drag_is_one_step_and_steps_are_bounded(state):
    for mass in range(10, 20):
        state.put(with_text(state.base, "load.mass", f"{mass} kg"), "load.mass")
    state.step(back=True)
    assert state.inputs == state.base
    for mass in range(MOST_STEPS + 20):
        state.put(with_text(state.base, "load.mass", f"{mass / 10 + 1} kg"))
    taken = 0
    while state.done:
        state.step(back=True)
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
    assert again.restore(work.of_tab("tab")) and not other.restore(work.of_tab("another"))
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
    assert not state.restore(dumped) and state.inputs == state.base


@pytest.mark.parametrize(
    "changed",
    [
        {"load.mass": "66 lb", "drum.layering": "nested", "factors.rope": "5"},
        {"stage.1.greased": "true", "stage.1.infill": "30 %"},
        {"load.height": "1 m", "rope.material": None, "supply.current_limit": None},
    ],
)
def test_command_line_gives_the_same_inputs(state, changed):
    for key, text in changed.items():
        change = with_value if text is None else with_text
        state.put(change(state.inputs, key, text))
    words = shlex.split(command_line(state, "winch.toml"))
    assert words[:3] == ["winchsim", "lift", "winch.toml"] and set(words[3::2]) == {"--set"}
    again = read_string(STARTER, "winch.toml", words[4::2]).inputs
    assert again == state.inputs and again.given == state.inputs.given


def test_no_command_line_where_options_cannot_say_it(state):
    state.put(without_table(state.base, "stage.1"))
    assert command_line(state, "winch.toml") == ""
    state.put(with_table(state.base, "stage"))
    assert command_line(state, "winch.toml") == ""


def test_variants_need_a_name_and_are_bounded(state):
    assert state.keep("  ", {}) and not state.variants
    assert not any(state.keep(f"{n}", {}) for n in range(MOST_VARIANTS))
    assert state.keep("one more", {}) and not state.keep("3", {"status": ("ok", 0)})
    assert len(state.variants) == MOST_VARIANTS and state.variants[-1].numbers


def test_stages_are_moved(state):
    two = with_text(with_table(state.base, "stage"), "stage.2.gear", "40")
    there = moved(two, "stage", 0, 1)
    assert there.stage == two.stage[::-1] and moved(there, "stage", 1, -1) == two
