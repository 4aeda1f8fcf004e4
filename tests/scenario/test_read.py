"""The scenario reader: what is read, and one clear message for each thing that can be wrong."""

import dataclasses
import math
import pickle
from typing import get_args

import pytest

from winchsim.errors import InputError
from winchsim.face import parse as loads, read as load
from winchsim.inputs import REMOVED, OwnMaterial, Tolerance, spec_at, specs, walk
from winchsim.quantity_text import in_unit
from winchsim.scenario import read as reader
from winchsim.scenario.read import read, read_string, tolerance_width
from winchsim.strength.materials import Family, Material, own_material, sourced_values


@pytest.fixture
def inputs(good):
    """The small scenario as it is read."""
    return loads(good)


def test_values_are_si(inputs):
    group, stage = inputs.motors[0], inputs.stage[0]
    assert inputs.title == "Clay crate onto the wheel bench"
    assert (group.count, group.voltage, group.stall_current) == (6, 6.0, 1.4)
    assert (group.no_load_speed, group.stall_torque) == pytest.approx(
        (11500 * math.pi / 30, 0.0061)
    )
    assert (stage.repeat, stage.pinion, stage.gear, stage.module, stage.infill) == (
        5,
        10,
        40,
        0.001,
        0.4,
    )
    assert (inputs.load.mass, inputs.load.height) == (25.0, 0.5)


def test_given_holds_exactly_the_paths_of_the_file(good):
    given = loads(good).given
    assert {"title", "motors.1.count", "stage.1.infill", "rope.material", "load.mass"} <= given
    assert len(given) == 24
    assert "stage.1.efficiency" not in given
    assert given <= {path for path, _, _ in walk(loads(good))}


def test_defaults_are_the_declared_ones(inputs):
    assert (inputs.drum.dead_turns, inputs.settings.ambient) == (3.0, 20.0)
    assert inputs.brake is None


def test_a_whole_number_will_do_where_a_number_is_wanted(good):
    text = good.replace('infill = "40 %"', "infill = 1")
    value = loads(text).stage[0].infill
    assert value == 1.0
    assert isinstance(value, float)


def test_tables_inside_lists(good):
    text = good + '[motors.gearbox]\nratio = 20\n[[edge]]\nfriction = 0.2\nangle = "90 deg"\n'
    inputs = loads(text)
    assert inputs.motors[0].gearbox.ratio == 20.0
    assert inputs.edge[0].angle == pytest.approx(math.pi / 2)
    assert "motors.1.gearbox.ratio" in inputs.given


def test_points_as_inline_tables(good):
    rows = 'known_by = "points"\npoints = [\n { torque = "1 mNm", speed = "9000 rpm", current = "0.2 A" },\n'
    rows += ' { torque = "3 mNm", speed = "6000 rpm", current = "0.7 A" },\n]\n[supply]'
    points = loads(good.replace("[supply]", rows)).motors[0].points
    assert [point.current for point in points] == [0.2, 0.7]


def test_own_material_replaces_and_adds(good):
    own = '[[material]]\nname = "PETG"\nfamily = "printed polymer"\ntensile_strength = "31 MPa"\nfriction = 0.21\n'
    inputs = loads(good + own)
    assert inputs.materials["PETG"].tensile_strength == 31e6
    assert inputs.materials["PLA"].tensile_strength > 31e6
    assert (inputs.friction_pairs[0].first, inputs.friction_pairs[0].friction) == ("PETG", 0.21)
    assert "polyester" in inputs.ropes


def test_own_material_says_all_that_the_table_says(good):
    own = '[[material]]\nname = "axle steel"\nfamily = "metal"\ntensile_strength = "600 MPa"\nyield_strength = "450 MPa"\n'
    inputs = loads(
        good
        + own
        + 'elastic_modulus = "205 GPa"\ndensity = "7.8 g/cm^3"\nservice_limit = "300 degC"\n'
    )
    row = inputs.materials["axle steel"]
    assert (row.family, row.bearing_strength, row.service_limit) == ("metal", 450e6, 300.0)
    assert (row.elastic_modulus, row.density) == pytest.approx((205e9, 7800.0))
    layers = '[[material]]\nname = "mine"\nfamily = "printed polymer"\ntensile_strength = "40 MPa"\nacross_layers = 0.7\n'
    assert loads(good + layers).materials["mine"].across_layers == 0.7


def test_families_of_own_materials_are_those_of_the_table():
    assert specs(OwnMaterial)["family"].choices == get_args(Family)
    assert {*sourced_values(Material)} <= {*specs(OwnMaterial)}


@pytest.mark.parametrize("key", ["density", "elastic_modulus", "softening", "across_layers"])
def test_what_is_taken_of_own_materials_is_what_the_key_reference_says(key):
    spec = specs(OwnMaterial)[key]
    for family in get_args(Family):
        value = getattr(own_material("x", family, {"tensile_strength": 50e6}), key)
        if value is not None:
            assert f"{in_unit(value, spec.unit):g} {spec.unit}".strip() in spec.left_out
    printed, _, metal = (
        own_material("x", each, {"tensile_strength": 50e6}) for each in get_args(Family)
    )
    assert printed.span("flexural_strength") == pytest.approx((67.5e6, 85e6))
    assert (
        metal.yield_strength == 25e6
        and "half the tensile strength" in specs(OwnMaterial)["yield_strength"].left_out
    )


def test_every_material_named_by_default_is_in_the_table(good):
    inputs = loads(good.replace('material = "PETG"\n', ""))
    assert inputs.stage[0].material in inputs.materials
    assert inputs.drum.material in inputs.materials


def test_file_with_a_byte_order_mark_and_crlf(tmp_path, good):
    path = tmp_path / "lift.toml"
    path.write_bytes(b"\xef\xbb\xbf" + good.replace("\n", "\r\n").encode())
    assert load(str(path)).load.mass == 25.0


def test_inputs_go_to_worker_processes(inputs):
    again = pickle.loads(pickle.dumps(inputs))
    assert again == inputs
    assert again.materials["PLA"].origins == inputs.materials["PLA"].origins


def test_digest_tells_calculations_apart(good, tmp_path):
    path = tmp_path / "lift.toml"
    path.write_text(good)
    plain = read(str(path))
    assert (plain.text, plain.name) == (good, str(path))
    assert plain.digest == read_string(good, "other name").digest
    assert plain.digest != read(str(path), ["load.mass=26 kg"]).digest
    assert plain.digest != read_string(good + "# remark\n", "lift").digest


# --- one message for each fault

WRONG = [
    # what is replaced, by what, key of the fault, code, part of the message, part of the hint, line
    (
        'mass = "25 kg"',
        "mass = 25",
        "load.mass",
        "wrong type",
        "the unit is missing",
        '"25 kg"',
        35,
    ),
    ('mass = "25 kg"', 'mass = "25"', "load.mass", "no unit", "the unit is missing", '"25 kg"', 35),
    (
        'mass = "25 kg"',
        'mass = "25 m"',
        "load.mass",
        "wrong dimension",
        "a length, where a mass",
        "kg",
        35,
    ),
    ('mass = "25 kg"', 'mass = "-25 kg"', "load.mass", "out of bounds", "negative", "", 35),
    ('mass = "25 kg"', 'mass = "0 kg"', "load.mass", "out of bounds", "zero", "", 35),
    ('mass = "25 kg"', 'mass = "1e30 kg"', "load.mass", "out of bounds", "too large", "", 35),
    ('mass = "25 kg"', "mass = nan", "load.mass", "out of bounds", "not a finite number", "", 35),
    ('mass = "25 kg"', "mass = inf", "load.mass", "out of bounds", "not a finite number", "", 35),
    (
        'mass = "25 kg"',
        'mass = "nan kg"',
        "load.mass",
        "not a number",
        "not a finite number",
        "",
        35,
    ),
    (
        'mass = "25 kg"',
        'mass = "inf kg"',
        "load.mass",
        "not a number",
        "not a finite number",
        "",
        35,
    ),
    (
        'mass = "25 kg"',
        'mass = "(20+5) kg"',
        "load.mass",
        "not a number",
        "does not start with a number",
        "kg",
        35,
    ),
    ('mass = "25 kg"', 'mass = "5*5 kg"', "load.mass", "not a number", "arithmetic", "kg", 35),
    ('mass = "25 kg"', "mass = true", "load.mass", "wrong type", "true, where a mass", "", 35),
    ('mass = "25 kg"', "mass = [25]", "load.mass", "wrong type", "a list, where a mass", "", 35),
    (
        'mass = "25 kg"',
        "mass = { kg = 25 }",
        "load.mass",
        "wrong type",
        "a table, where a mass",
        "",
        35,
    ),
    (
        'mass = "25 kg"',
        "mass = 2026-01-02",
        "load.mass",
        "wrong type",
        "a date or time, where a mass",
        "",
        35,
    ),
    (
        'mass = "25 kg"',
        'mas = "25 kg"',
        "load.mas",
        "unknown key",
        "unknown key in [load]",
        '"mass"',
        35,
    ),
    ('mass = "25 kg"\n', "", "load.mass", "missing", "mass is missing", "", 34),
    ("[load]", "[laod]", "laod", "unknown key", "unknown table or key", '"load"', 34),
    ("repeat = 5", "repeat = 2.5", "stage.1.repeat", "wrong type", "not a whole number", "", 17),
    (
        "repeat = 5",
        'repeat = "5"',
        "stage.1.repeat",
        "wrong type",
        "where a whole number",
        "without quotes",
        17,
    ),
    ("repeat = 5", "repeat = 0", "stage.1.repeat", "out of bounds", "too small", "", 17),
    (
        "repeat = 5",
        "repeat = " + "9" * 400,
        "stage.1.repeat",
        "out of bounds",
        "not a finite number",
        "",
        17,
    ),
    (
        'infill = "40 %"',
        "infill = 40",
        "stage.1.infill",
        "out of bounds",
        "too large",
        '"40 %"',
        24,
    ),
    (
        'infill = "40 %"',
        'infill = "0.4"',
        "stage.1.infill",
        "wrong type",
        "a number in quotes",
        "0.4",
        24,
    ),
    (
        'infill = "40 %"',
        "greased = 1",
        "stage.1.greased",
        "wrong type",
        "where true or false",
        "true",
        24,
    ),
    (
        'infill = "40 %"',
        'kind = "Spur"',
        "stage.1.kind",
        "no such choice",
        "no choice",
        '"spur"',
        24,
    ),
    ('infill = "40 %"', "kind = 3", "stage.1.kind", "wrong type", "where a word", "", 24),
    (
        'infill = "40 %"',
        'mass = "3 kg"',
        "stage.1.mass",
        "unknown key",
        "unknown key in [stage]",
        "or in [load]",
        24,
    ),
    (
        'material = "PETG"',
        "material = 3",
        "stage.1.material",
        "wrong type",
        "where text",
        '"3"',
        22,
    ),
    (
        'material = "PETG"',
        'material = "petg"',
        "stage.1.material",
        "unknown name",
        "no material",
        '"PETG"',
        22,
    ),
    (
        'material = "PETG"',
        'material = "oak"',
        "stage.1.material",
        "unknown name",
        "no material",
        "[[material]]",
        22,
    ),
    (
        'material = "polyester"',
        'material = "poliester"',
        "rope.material",
        "unknown name",
        "no rope",
        '"polyester"',
        31,
    ),
    ("title = ", 'title = "\\u0007"\nnote = ', "title", "wrong type", "control characters", "", 1),
    ('title = "Clay crate', 'title = "' + "x" * 3000, "title", "too much", "characters", "", 1),
    ("[[motors]]", "[motors]", "motors", "wrong type", "where a list of tables", "[[motors]]", 3),
    ("[supply]", "[[supply]]", "supply", "wrong type", "where a table", "[supply]", 11),
    ("[load]", "[drum.load]", "drum.load", "unknown key", "unknown key in [drum]", "", 34),
    (
        'width = "40 mm"',
        'width = "2 mm"',
        "drum.width",
        "contradiction",
        "narrower than the rope",
        "",
        28,
    ),
]


@pytest.mark.parametrize(("old", "new", "key", "code", "message", "hint", "line"), WRONG)
def test_one_clear_message(good, faults_of, old, new, key, code, message, hint, line):
    fault = faults_of(good.replace(old, new, 1))[key]
    assert fault.code == code
    assert message in fault.message
    assert hint in fault.hint
    assert (fault.file, fault.line) == ("x.toml", line)
    assert (
        good.replace(old, new, 1)
        .split("\n")[line - 1]
        .startswith(fault.line_text.removesuffix("..."))
    )


@pytest.mark.parametrize("table", ["motors", "supply", "stage", "drum", "rope", "load"])
def test_missing_table(good, faults_of, table):
    blocks = good.split("\n\n")
    fault = faults_of("\n\n".join(b for b in blocks if f"[{table}]" not in b.partition("\n")[0]))[
        table
    ]
    assert fault.code == "missing"
    assert f"[{table}]" in fault.expected


def test_all_faults_come_at_once_in_the_order_of_the_lines(good):
    text = (
        good.replace('"6.1 mN*m"', '"6.1 mN"')
        .replace('"10 mm"', '"10 kg"')
        .replace("repeat", "repaet")
    )
    with pytest.raises(InputError) as caught:
        loads(text.replace('"0.5 m"', '"0.5"'), "x.toml", ["load.mas=3 kg"])
    keys = [fault.key for fault in caught.value.faults]
    assert keys == [
        "motors.1.stall_torque",
        "stage.1.repaet",
        "drum.diameter",
        "load.height",
        "load.mas",
    ]


def test_contradictions_are_told_beside_faults_in_other_tables(good, faults_of):
    faults = faults_of(
        good.replace('width = "40 mm"', 'width = "2 mm"').replace("count = 6", "count = 0")
    )
    assert faults["motors.1.count"].code == "out of bounds"
    assert faults["drum.width"].code == "contradiction"


def test_a_misspelt_required_key_is_told_once(good, faults_of):
    faults = faults_of(good.replace("mass = ", "masss = "))
    assert list(faults) == ["load.masss"]


def test_inch_values_out_of_bounds_are_shown_in_the_declared_unit(good, faults_of):
    fault = faults_of(good.replace('"10 mm"', '"10000 in"'))["drum.diameter"]
    assert (fault.got, fault.expected) == ('"10000 in" = 254000 mm', "over 0 mm, at most 10000 mm")


def test_tolerances_must_name_a_number_and_a_width(good, faults_of):
    text = good + '[[tolerance]]\npath = "load.mass"\nby = "5 %"\n'
    text += '[[tolerance]]\npath = "load.mss"\nby = "5 %"\n[[tolerance]]\npath = "drum.diameter"\nby = "5 kg"\n'
    faults = faults_of(text + '[[tolerance]]\npath = "rope.material"\nby = "5 %"\n')
    assert 'did you mean "load.mass"?' in faults["tolerance.2.path"].expected
    assert faults["tolerance.3.by"].code == "wrong dimension"
    assert faults["tolerance.4.path"].code == "unknown name"
    assert "tolerance.1.path" not in faults


@pytest.mark.parametrize(
    ("path", "by"), [("load.mass", "1e9 kg"), ("load.mass", "100 %"), ("stage.1.infill", "1.5")]
)
def test_a_tolerance_leaves_its_value_within_the_bounds(good, faults_of, path, by):
    fault = faults_of(f'{good}[[tolerance]]\npath = "{path}"\nby = "{by}"\n')["tolerance.1.by"]
    assert fault.code == "out of bounds" and "less than" in fault.expected


@pytest.mark.parametrize(
    ("path", "by", "width"),
    [
        ("load.mass", "10 %", 2.5),
        ("load.mass", "1 lb", 0.45359237),
        ("settings.ambient", "9 °F", 5.0),
        ("stage.1.infill", "0.05", 0.05),
    ],
)
def test_tolerance_width_in_si(inputs, path, by, width):
    assert tolerance_width(inputs, Tolerance(path=path, by=by)) == pytest.approx(width)
    assert spec_at(inputs, path).kind in ("quantity", "number")


# --- files that are no scenarios


@pytest.fixture
def refused(within):
    """Faults of a text, which are to be found within two seconds."""

    def faults(text: str):
        with within(2.0), pytest.raises(InputError) as caught:
            loads(text, "x.toml")
        return caught.value.faults

    return faults


@pytest.mark.parametrize("text", ["", "\n\n", "# only a remark\n"])
def test_empty_file(text, refused):
    (fault,) = refused(text)
    assert (fault.code, fault.message) == ("empty", "the file is empty")
    assert "winchsim new" in fault.hint


@pytest.mark.parametrize(
    ("text", "line", "message", "hint"),
    [
        ("[supply]\nvoltage = 6 V\n", 2, "more on this line", '"6 V"'),
        ("[rope]\nmaterial = polyester\n", 2, "cannot be read", '"polyester"'),
        ("mass: 3\n", 1, "key = value", "key = value"),
        ("[supply\n", 1, "closing bracket", ""),
        ("a = 1\na = 2\n", 2, "stands in its table twice", ""),
        ('title = "no end\n', 1, "closing quote", ""),
        ("note = '''no end\n\n", 1, "ends too early", ""),
    ],
)
def test_broken_toml_says_where(text, line, message, hint, refused):
    (fault,) = refused(text)
    assert (fault.code, fault.line) == ("broken TOML", line)
    assert message in fault.message
    assert hint in fault.hint


ABSURD = {
    "nested arrays": "a = " + "[" * 400_000,
    "nested inline tables": "a = " + "{a=" * 300_000,
    "a key of very many parts": ".".join("a" * 400_000) + " = 1",
    "a table of very many parts": "[" + ".".join("a" * 400_000) + "]",
    "many keys": "\n".join(f"a{i} = 1" for i in range(80_000)),
    "many tables": "[[sheave]]\n" * 90_000,
    "a long list": "a = [" + "1," * 490_000 + "]",
    "a long number": "a = " + "9" * 900_000,
    "escaped quotes": 'a = "' + '\\"' * 450_000,
    "open texts": "a = '''" + "x" * 900_000,
    "brackets that do not match": "a = [ }\n" * 100_000,
    "signs only": "= [\n" * 200_000,
    "blank lines": "\n" * 900_000,
}


@pytest.mark.parametrize("text", ABSURD.values(), ids=ABSURD.keys())
def test_absurd_text_is_refused_within_two_seconds(text, refused):
    faults = refused(text)
    assert all(len(fault.line_text) <= 160 for fault in faults)
    assert len(faults) <= 101


def test_more_tables_than_any_build_has(good, faults_of):
    fault = faults_of(good + "[[sheave]]\n" * 300)["sheave"]
    assert (fault.code, "at most 200" in fault.message) == ("too much", True)


def test_very_many_faults_are_cut_short(refused):
    text = "\n".join(f"wrong_{i} = 1" for i in range(5000))
    faults = refused(text)
    assert (len(faults), faults[-1].code) == (101, "more faults")


def test_a_file_of_ten_megabytes_is_refused_at_once(tmp_path, within):
    path = tmp_path / "big.toml"
    path.write_text("# " + "x" * (10 * reader.MAX_BYTES))
    with within(1.0), pytest.raises(InputError) as caught:
        load(str(path))
    (fault,) = caught.value.faults
    assert fault.code == "too large"
    assert "10.0 MB" in fault.message
    assert "at most 1 MB" in fault.expected


def test_faults_survive_pickling(good):
    with pytest.raises(InputError) as caught:
        loads(good.replace('"25 kg"', '"25"'), "x.toml")
    again = pickle.loads(pickle.dumps(caught.value))
    assert [dataclasses.astuple(f) for f in again.faults] == [
        dataclasses.astuple(f) for f in caught.value.faults
    ]


def test_a_removed_key_is_read_without_effect(good, monkeypatch):
    monkeypatch.setitem(REMOVED, "motors.colour", "colour has no effect")
    inputs = loads(
        good.replace("count = 6", 'count = 6\ncolour = "red"'), "x", ["motors.1.colour=blue"]
    )
    assert inputs.unused == ("motors.1.colour",)
    assert inputs.motors == loads(good).motors
    assert "motors.1.colour" not in inputs.given


def test_faults_of_every_kind_are_told_in_one_round(good, faults_of):
    """A wrong unit does not hide an unknown material, nor a misspelt table what is wrong in it."""
    text = good.replace('diameter = "3 mm"', 'diameter = "3 kg"').replace("PETG", "PETGG")
    text = text.replace("[load]", "[laod]").replace('height = "0.5 m"', 'hight = "0.5 m"')
    faults = faults_of(text.replace("count = 6", "count = 6\ndead = 7"))
    assert set(faults) == {
        "motors.1.dead",
        "stage.1.material",
        "rope.diameter",
        "laod",
        "laod.hight",
    }


def test_a_missing_table_hides_nothing_else(good, faults_of):
    faults = faults_of(good[: good.index("[load]")].replace('"0.15 ohm"', '"0.15 V"'))
    assert set(faults) == {"supply.resistance", "load"}
