"""A given key that means nothing with the kind of its table: refused where it was typed, told where
a change of the kind left it behind; and never of any effect."""

from dataclasses import replace

import pytest

from winchsim.face import parse, with_value as changed
from winchsim.inputs import idle, walk, with_value
from winchsim.model import build
from winchsim.report.words.details import idle_keys
from winchsim.scenario.change import quantity_text, rewrite
from winchsim.scenario.read import read_string

SPUR = "\n".join(("pinion = 10", "gear = 40", 'module = "1 mm"', 'width = "8 mm"'))
SHEET = 'no_load_speed = "11500 rpm"\nno_load_current = "90 mA"\nstall_torque = "6.1 mN*m"\nstall_current = "1.4 A"'
POINTS = "\n".join(
    f'[[motors.points]]\ntorque = "{torque} mN*m"\nspeed = "{speed} rpm"\ncurrent = "{current} A"'
    for torque, speed, current in ((0.5, 10500, 0.2), (3, 5600, 0.75))
)
BENCH = 'no_load_speed = "11500 rpm"\nno_load_current = "90 mA"\nterminal_resistance = "4.3 ohm"'
LABEL = 'no_load_speed = "11500 rpm"\nstall_current = "1.4 A"'
OWN = 'name = "mine"\ntensile_strength = "40 MPa"'
KINDS = {
    "stage": {
        'kind = "spur"': SPUR, 'kind = "belt"': "pinion = 10\ngear = 40", 'kind = "chain"': "ratio = 4",
        'kind = "worm"': "gear = 20", 'kind = "planetary"': "ratio = 4", 'kind = "other"': "ratio = 4\nefficiency = 0.9",
    },
    "motors": {
        'known_by = "data sheet"': SHEET, 'known_by = "points"': POINTS, 'known_by = "bench"': BENCH,
        'known_by = "label"': LABEL,
    },
    "supply": dict.fromkeys(
        ['kind = "bench"', 'kind = "battery"', 'over_current = "foldback"', 'over_current = "trip"'],
        'current_limit = "6 A"',
    ),
    "phase": {'action = "raise"': 'until = "top"'} | dict.fromkeys(
        ['action = "lower"', 'action = "off"', 'action = "short"'], 'time = "5 s"'
    ),
    "material": dict.fromkeys(
        ['family = "printed polymer"', 'family = "moulded polymer"', 'family = "metal"'], OWN
    ),
}  # fmt: skip


def scenario(table: str = "", kind: str = "") -> str:
    """A scenario with one of its tables of another kind."""
    tables = {"motors": SHEET, "supply": "", "stage": SPUR, "phase": "", "material": OWN}
    tables |= {table: f"{kind}\n{KINDS[table][kind]}"} if table else {}
    return f"""
[[motors]]
count = 6
voltage = "6 V"
{tables["motors"]}
[supply]
voltage = "6 V"
{tables["supply"]}
[[stage]]
repeat = 4
{SPUR}
[[stage]]
{tables["stage"]}
shaft_diameter = "5 mm"
[drum]
diameter = "10 mm"
width = "40 mm"
[rope]
diameter = "3 mm"
[load]
mass = "5 kg"
height = "0.5 m"
{"[[phase]]" * (table == "phase")}
{tables["phase"] * (table == "phase")}
{"[[material]]" * (table == "material")}
{tables["material"] * (table == "material")}
"""


def built(inputs):
    return replace(build(inputs), assumed=(), notes=())


@pytest.mark.parametrize(
    ("table", "kind"), [(table, kind) for table, kinds in KINDS.items() for kind in kinds]
)
def test_a_key_of_another_kind_is_refused_and_has_no_effect(table, kind, faults_of):
    text = scenario(table, kind)
    inputs = parse(text)
    machine, tried = built(inputs), 0
    for path, value, spec in walk(inputs):
        owner = inputs
        for part in path.split(".")[:-1]:
            owner = owner[int(part) - 1] if part.isdecimal() else getattr(owner, part)
        if spec.applies_to(owner) or not path.startswith(table):
            continue
        other = {"flag": not value, "text": "steel", "choice": spec.choices[-1:]}.get(spec.kind)
        other = spec.usual[1] if other is None else other[0] if spec.kind == "choice" else other
        shown = quantity_text(spec, other) if spec.kind in ("quantity", "number") else str(other)
        fault = faults_of(text, f"{path}={shown.lower() if spec.kind == 'flag' else shown}")[path]
        key = path.rpartition(".")[2]
        present = f'{spec.condition[0]} = "{getattr(owner, spec.condition[0])}"'
        assert fault.message == f"{key} does not apply with {present}"
        assert fault.expected.startswith(f"no {key} here, or {spec.condition[0]} = ")
        assert built(with_value(inputs, path, other)) == machine, path
        tried += 1
    assert tried > 0 or kind in ('action = "raise"', 'action = "lower"')


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [
        (
            scenario("stage", 'kind = "belt"').replace(
                "gear = 40\nshaft", 'gear = 40\nwidth = "9 mm"\nshaft'
            ),
            "stage.2.width",
            'width = "9 mm"',
        ),
        (
            scenario().replace("[supply]", '[supply]\ncapacity = "2 A*h"'),
            "supply.capacity",
            'capacity = "2 A*h"',
        ),
        (
            scenario().replace("[supply]", '[supply]\ntrip_delay = "1 s"'),
            "supply.trip_delay",
            'trip_delay = "1 s"',
        ),
    ],
)
def test_it_is_refused_at_its_line(text, key, line, faults_of):
    fault = faults_of(text)[key]
    assert (fault.file, fault.line_text) == ("x.toml", line)
    assert text.split("\n")[fault.line - 1] == line


def test_all_of_a_table_are_told_at_once(faults_of):
    text = scenario("stage", 'kind = "belt"').replace(
        "gear = 40\nshaft", "gear = 40\nwalls = 3\ngreased = true\nshaft"
    )
    assert set(faults_of(text)) == {"stage.2.walls", "stage.2.greased"}


def test_what_a_change_of_the_kind_leaves_behind_is_told(faults_of):
    left = ["width", "module", "shaft_span"]
    text = scenario().replace("shaft_diameter", 'shaft_span = "40 mm"\nshaft_diameter')
    option = 'stage.2.kind="belt"'
    found = parse(text, "x", [option])
    (sentence,) = idle_keys(found)
    assert sentence == ('Not used with stage.2.kind = "belt": module, width, shaft_span.',)
    without = parse(text, "x", [option, *(f"stage.2.{key}=left out" for key in left)])
    assert built(found) == built(without) and not idle_keys(without)
    assert "stage.2.walls" in faults_of(text, option, "stage.2.walls=4")
    there_and_back = changed(changed(found, "load.mass", 6.0), "stage.2.kind", "spur")
    assert there_and_back.stage == parse(text).stage


def test_a_ratio_left_behind_does_not_replace_the_teeth():
    text = scenario("stage", 'kind = "chain"')
    teeth = [f"stage.2.{row.replace(' ', '')}" for row in SPUR.split("\n")]
    found = parse(text, "x", ["stage.2.ratio=2.5", "stage.2.kind=spur", *teeth][1:])
    assert found.stage[1].ratio == 4 and found.stage[1].speed_ratio() == 4.0
    assert (
        parse(text.replace("ratio = 4", "ratio = 3"), "x", ["stage.2.kind=spur", *teeth])
        .stage[1]
        .speed_ratio()
        == 4.0
    )


def test_descriptions_of_a_motor_may_stand_side_by_side():
    text = scenario("motors", 'known_by = "label"').replace(LABEL, f"{SHEET}\n{POINTS}")
    found = parse(text)
    (sentence,) = idle_keys(found)
    assert sentence == ('Not used with motors.1.known_by = "label": stall_torque, points.',)
    assert parse(text, "x", ["motors.1.known_by=points"]).motors[0].points


def test_a_file_that_is_written_anew_is_read_again():
    """What a changed kind left behind is not written; other descriptions of a motor are."""
    before = read_string(scenario(), "x.toml", ["stage.2.kind=belt", "motors.1.known_by=label"])
    after = rewrite(before, before.inputs)
    assert before.text.count("width") == 3 and after.text.count("width") == 2
    assert "stall_torque" in after.text
    assert [path for path, *_ in idle(after.inputs)] == ["motors.1.stall_torque"]
    assert built(after.inputs) == built(before.inputs)
