"""The key reference and the starter scenario, both held to the declarations."""

import re
from dataclasses import replace

import pytest

from winchsim.errors import InputError
from winchsim.face import parse as loads
from winchsim.inputs import check, walk
from winchsim.scenario.keys import key_tables, keys_markdown, keys_text
from winchsim.scenario.starter import STARTER
from winchsim.scenario.values import known_paths

ROWS = {row["path"]: row for table in key_tables() for row in table.rows}
STARTED = loads(STARTER, "starter.toml")


def test_every_key_stands_in_the_reference_once():
    rows = [row["path"] for table in key_tables() for row in table.rows]
    assert sorted(rows) == sorted(known_paths())


def test_a_row_tells_unit_bounds_default_and_meaning():
    mass = ROWS["load.mass"]
    assert (mass["takes"], mass["bounds"], mass["required"]) == (
        "a mass, printed in kg",
        "over 0 kg, at most 100000 kg",
        True,
    )
    assert mass["meaning"] == "mass to lift"
    assert ROWS["stage.1.pressure_angle"]["default"] == "20 deg"
    assert ROWS["rope.breaking_force"]["default"] == "from the rope table"
    assert ROWS["supply.kind"]["bounds"] == '"bench" or "battery"'


KINDS = ("data sheet", "points", "bench", "label")


@pytest.mark.parametrize(
    "key",
    ["no_load_speed", "no_load_current", "stall_torque", "stall_current", "terminal_resistance"],
)
def test_the_reference_tells_which_motor_data_are_needed(key):
    """As the check of a scenario asks for them."""
    told = set(re.findall('"([^"]+)"', ROWS[f"motors.1.{key}"]["default"]))
    if "except" in ROWS[f"motors.1.{key}"]["default"]:
        told = set(KINDS) - told
    for kind in KINDS:
        group = replace(STARTED.motors[0], known_by=kind, **{key: None})
        asked = {fault.key for fault in check(replace(STARTED, motors=(group,)))}
        assert (f"motors.1.{key}" in asked) == (kind in told), kind


@pytest.mark.parametrize("tried", ["spur", "planetary"])
@pytest.mark.parametrize(("key", "kind"), [("pinion", "spur"), ("gear", "spur"), ("width", "spur"), ("module", "spur"),
                                           ("ratio", "planetary")])  # fmt: skip
def test_the_reference_tells_what_a_stage_needs(key, kind, tried):
    assert ROWS[f"stage.1.{key}"]["default"].startswith("needed")
    stage = replace(STARTED.stage[0], kind=tried, **{key: None})
    asked = {fault.key for fault in check(replace(STARTED, stage=(stage,)))}
    assert (f"stage.1.{key}" in asked) == (tried == kind)


def test_only_what_is_measured_is_called_not_known():
    """Everything else says what is taken, or that nothing is."""
    left = {path for path, row in ROWS.items() if row["default"] == "not known"}
    assert {path.rpartition(".")[0] for path in left} <= {
        "motors.1",
        "parts.motors.1",
        "material.1",
        "settings",
    }


def test_every_meaning_is_one_clause():
    meanings = [row["meaning"] for row in ROWS.values()]
    assert len(meanings) > 100 and all(meanings)
    assert not [text for text in meanings if text.endswith(".")]


def test_one_table_with_those_inside_it():
    assert [table.name for table in key_tables("motors")] == [
        "motors",
        "motors.points",
        "motors.gearbox",
    ]
    assert [table.heading for table in key_tables("[rope]")] == ["[rope]"]


@pytest.mark.parametrize(("name", "hint"), [("rop", '"rope"'), ("", ""), ("x" * 500, "")])
def test_no_such_table(name, hint):
    with pytest.raises(InputError) as caught:
        key_tables(name)
    assert hint in caught.value.faults[0].hint


def test_text_fits_its_columns_and_names_every_key():
    text = keys_text(key_tables(), width=60)
    assert max(map(len, text.splitlines())) <= 60
    assert [p for p in known_paths() if f"  {p.rpartition('.')[2]} " not in text] == []


def test_markdown_has_a_row_for_every_key():
    text = keys_markdown(key_tables())
    assert sum(line.startswith("| `") for line in text.splitlines()) == len(list(known_paths()))
    assert all(line.count(" | ") == 3 for line in text.splitlines() if line.startswith("| `"))


def test_starter_is_a_scenario_without_faults():
    assert STARTED.load.mass == 10.0
    assert len(STARTED.given) > 20
    assert STARTED.given <= {path for path, _, _ in walk(STARTED)}


def test_starter_keeps_to_the_width_of_a_page():
    assert max(map(len, STARTER.splitlines())) <= 100


SUGGESTIONS = [
    line
    for line in STARTER.splitlines()
    if line.startswith("# ") and " = " in line and "known_by" not in line
]
"""Lines that can be switched on alone (the other forms of motor data ask for more than one)."""


@pytest.mark.parametrize("line", SUGGESTIONS)
def test_every_suggestion_in_the_starter_can_be_switched_on(line):
    text = STARTER.replace(line, line.removeprefix("# "))
    assert loads(text).given - STARTED.given
