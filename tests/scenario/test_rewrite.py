"""A scenario rewritten: what was meant is read back, and what did not change stands as it stood."""

import dataclasses
import difflib

import pytest
from hypothesis import assume, given, settings, strategies as st

from winchsim.errors import InputError
from winchsim.face import parse as loads
from winchsim.inputs import Brake, Gearbox, Sheave, Tolerance, specs, value_at, walk, with_value
from winchsim.scenario.change import quantity_text, rewrite, rounded
from winchsim.scenario.read import read_string
from winchsim.scenario.starter import STARTER
from winchsim.units import parse_quantity

STARTED = loads(STARTER)


@pytest.fixture(scope="module")
def scenario():
    """The starter as it was read."""
    return read_string(STARTER, "x.toml")


def changed_lines(before: str, after: str) -> list[str]:
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[:1] in "+-"]


def same_values(first, second) -> bool:
    return [(path, value) for path, value, _ in walk(first)] == [
        (path, value) for path, value, _ in walk(second)
    ]


def test_nothing_intended_changes_nothing(scenario):
    assert rewrite(scenario, scenario.inputs).text == STARTER


def test_a_value_changes_in_its_line_and_keeps_remark_column_and_unit():
    scenario = read_string(
        STARTER.replace('mass = "10 kg"', 'mass = "22 lb"   # with its box'), "x.toml"
    )
    done = rewrite(
        scenario, with_value(scenario.inputs, "load.mass", parse_quantity("33 lb", "kg"))
    )
    assert changed_lines(scenario.text, done.text) == [
        '- mass = "22 lb"   # with its box',
        '+ mass = "33 lb"   # with its box',
    ]


def test_a_missing_key_goes_behind_the_last_one_of_its_table(scenario):
    done = rewrite(
        scenario,
        with_value(scenario.inputs, "stage.1.friction", 0.41),
        {"stage.1.friction": "calibrated"},
    )
    assert changed_lines(STARTER, done.text) == ["+ friction = 0.41 # calibrated"]
    lines = done.text.splitlines()
    assert lines[lines.index("friction = 0.41 # calibrated") - 1].startswith("infill")


def test_a_remark_that_stands_there_is_not_replaced(scenario):
    done = rewrite(
        scenario,
        with_value(scenario.inputs, "supply.resistance", 0.25),
        {"supply.resistance": "calibrated"},
    )
    assert "inside the supply and in the wires" in done.text and "calibrated" not in done.text


def test_missing_tables_are_added_and_the_rest_stays(scenario):
    intended = with_value(scenario.inputs, "settings.ambient", 25.0)
    intended = with_value(intended, "brake", Brake(torque=1.5))
    intended = with_value(intended, "motors.1.gearbox", Gearbox(ratio=3.0, efficiency=0.8))
    intended = with_value(intended, "tolerance", (Tolerance(path="load.mass", by="3 %"),))
    intended = with_value(intended, "sheave", (Sheave(efficiency=0.9), Sheave(repeat=2)))
    done = rewrite(scenario, intended)
    assert same_values(done.inputs, intended)
    assert not [line for line in changed_lines(STARTER, done.text) if line.startswith("-")]


def test_entries_of_a_list_are_added_and_taken_off_at_its_end(scenario):
    first = scenario.inputs.motors[0]
    more = dataclasses.replace(
        scenario.inputs, motors=(first, dataclasses.replace(first, count=2, brush_drop=0.5))
    )
    grown = rewrite(scenario, more)
    assert same_values(grown.inputs, more)
    back = rewrite(grown, dataclasses.replace(grown.inputs, motors=(first,)))
    assert same_values(back.inputs, scenario.inputs)


def test_a_value_that_is_taken_back_leaves_the_text(scenario):
    done = rewrite(scenario, with_value(scenario.inputs, "supply.current_limit", None))
    assert "current_limit" not in done.text and done.inputs.supply.current_limit is None


def test_options_go_into_the_text():
    scenario = read_string(STARTER, "x.toml", ["load.mass=12 kg", "stage.1.greased=true"])
    done = rewrite(scenario, scenario.inputs)
    assert 'mass = "12 kg"' in done.text and same_values(done.inputs, scenario.inputs)


@pytest.mark.parametrize(
    "spelling",
    [
        "load = { mass = '10 kg', height = '0.6 m' } # inline",
        "load.mass = '10 kg'\nload.height = '0.6 m'",
        "[load]\nmass = '10 kg'\nheight = '0.6 m'",
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_every_spelling_of_a_table(spelling, end):
    head = STARTER.partition("[load]")[0]
    text = f"{spelling}\n{head}" if not spelling.startswith("[") else f"{head}{spelling}"
    scenario = read_string(text.replace("\n", end), "x.toml")
    intended = with_value(
        with_value(scenario.inputs, "load.mass", 11.0), "load.guide_friction", 3.0
    )
    done = rewrite(scenario, intended)
    assert same_values(done.inputs, intended)
    assert ("\r\n" in done.text) == (end == "\r\n") and "\n" not in done.text.replace(
        "\r\n", ""
    ) * (end == "\r\n")


def test_motors_in_one_line():
    row = '{ voltage = "6 V", no_load_speed = "9000 rpm", no_load_current = "0.1 A", '
    row += 'stall_torque = "9 mN*m", stall_current = "1 A" }'
    text = (
        f"motors = [{row}, {row}]\n"
        + STARTER.partition("# --- what feeds them")[2].partition("\n")[2]
    )
    scenario = read_string(text, "x.toml")
    intended = with_value(scenario.inputs, "motors.2.stall_torque", 0.010)
    done = rewrite(scenario, intended)
    assert same_values(done.inputs, intended)
    assert done.text.count("\n") == text.count("\n")


def test_a_text_that_cannot_take_the_change_is_refused(monkeypatch, scenario):
    """Whatever the text library makes of a file, a scenario that says something else is never
    handed back."""
    monkeypatch.setattr("winchsim.scenario.change.tomlkit.dumps", lambda document: STARTER)
    with pytest.raises(InputError) as caught:
        rewrite(scenario, with_value(scenario.inputs, "load.mass", 11.0))
    assert caught.value.faults[0].key == "load.mass"


QUANTITIES = [path for path, value, spec in walk(STARTED) if spec.kind == "quantity" and value]


@given(st.sampled_from(QUANTITIES), st.floats(0.5, 2.0))
@settings(max_examples=50, deadline=None)
def test_any_number_is_read_back(scenario, path, factor):
    value = value_at(STARTED, path) * factor
    spec = next(s for p, _, s in walk(STARTED) if p == path)
    assume(spec.low <= value <= spec.high)
    done = rewrite(scenario, with_value(scenario.inputs, path, value))
    assert value_at(done.inputs, path) == pytest.approx(value, rel=1e-15, abs=0)


@pytest.mark.parametrize(
    ("value", "like", "text"),
    [
        (0.013, "13 mN*m", "13 mN*m"),
        (0.01 * 25.4e-3, "1/4 in", "0.01 in"),
        (0.30480, "", "304.8 mm"),
        (1e-7, "", "0.0001 mm"),
    ],
)
def test_spelling_of_a_quantity(value, like, text):
    table, key = (
        (STARTED.drum, "diameter") if "mN" not in like else (STARTED.motors[0], "stall_torque")
    )
    assert quantity_text(specs(type(table))[key], value, like) == text


def test_rounded_values_need_few_digits():
    spec = specs(type(STARTED.motors[0]))["no_load_speed"]
    value = rounded(spec, 1234.567, 4)
    assert quantity_text(spec, value) == "11790 rpm"
    assert value == pytest.approx(1234.567, rel=5e-4)
