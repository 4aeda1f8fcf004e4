"""Values changed by ``path=value`` options: read and checked like the file's own."""

import pytest

from winchsim.errors import InputError
from winchsim.face import parse as loads
from winchsim.inputs import value_at
from winchsim.scenario.values import MAX_OVERRIDE, known_paths


@pytest.mark.parametrize(
    ("override", "path", "value"),
    [
        ("load.mass=30 kg", "load.mass", 30.0),
        ('load.mass="30 kg"', "load.mass", 30.0),
        (" load.mass = 30 kg ", "load.mass", 30.0),
        ("motors.1.count=8", "motors.1.count", 8),
        ("stage.1.infill=0.25", "stage.1.infill", 0.25),
        ("stage.1.infill=.25", "stage.1.infill", 0.25),
        ("stage.1.infill=25 %", "stage.1.infill", 0.25),
        ("stage.1.greased=true", "stage.1.greased", True),
        ("stage.1.material=PLA", "stage.1.material", "PLA"),
        ("stage.1.material='PLA'", "stage.1.material", "PLA"),
        ("title=2026-01-02", "title", "2026-01-02"),
        ("title=a = b", "title", "a = b"),
        ("supply.kind=battery", "supply.kind", "battery"),
        ("settings.gravity=9.81 m/s²", "settings.gravity", 9.81),
        ("brake.torque=2 Nm", "brake.torque", 2.0),
        ("pawl.fitted=false", "pawl.fitted", False),
        ('brake={ torque = "3 Nm" }', "brake.torque", 3.0),
        ("motors.1.gearbox.ratio=20", "motors.1.gearbox.ratio", 20.0),
        ("sheave.1.efficiency=0.9", "sheave.1.efficiency", 0.9),
    ],
)
def test_is_read_like_the_file(good, override, path, value):
    inputs = loads(good, "x.toml", [override])
    assert value_at(inputs, path) == value
    assert path in inputs.given


def test_the_last_one_wins(good):
    assert loads(good, "x", ["load.mass=30 kg", "load.mass=31 kg"]).load.mass == 31.0


def test_a_table_may_be_built_by_several(good):
    inputs = loads(
        good,
        "x",
        [
            "edge.1.friction=0.2",
            "edge.1.angle=90 deg",
            "edge.2.friction=0.1",
            "edge.2.angle=45 deg",
        ],
    )
    assert [edge.friction for edge in inputs.edge] == [0.2, 0.1]


@pytest.mark.parametrize(
    ("override", "key", "code", "message", "hint"),
    [
        ("load.mas=30 kg", "load.mas", "unknown key", "unknown key", '"load.mass"'),
        ("mass=30 kg", "mass", "unknown key", "unknown key", "mass"),
        ("motors.count=8", "motors.count", "unknown key", "which of the motors", "motors.1.count"),
        ("motors.2.count=8", "motors.2.count", "unknown key", "no motors.2: there is 1", ""),
        ("stage.0.walls=8", "stage.0.walls", "unknown key", "no stage.0", ""),
        ("sheave.2.repeat=2", "sheave.2.repeat", "unknown key", "no sheave.2: there are none", ""),
        ("load.mass.x=8", "load.mass.x", "unknown key", "holds a single value", ".x"),
        ("title.of=3", "title.of", "unknown key", "holds a single value", ""),
        ("stage.1=8", "stage.1", "bad override", "a whole table", "stage.1.<key>"),
        ("load.mass", "load.mass", "bad override", "path=value", "load.mass=30 kg"),
        ("=30 kg", "", "bad override", "path=value", ""),
        ("load.mass=30", "load.mass", "wrong type", "the unit is missing", '"30 kg"'),
        ("load.mass=-3 kg", "load.mass", "out of bounds", "negative", ""),
        ("load.mass=", "load.mass", "not a number", "does not start with a number", ""),
        ("motors.1.count=8.5", "motors.1.count", "wrong type", "not a whole number", ""),
        ("motors.1.count=eight", "motors.1.count", "wrong type", "where a whole number", ""),
        ("stage.1.infill=1\nwalls=3", "stage.1.infill", "unknown unit", "", ""),
        ("load={}", "load.mass", "missing", "missing", ""),
        ("brake.place=motor", "brake.torque", "missing", "torque is missing", ""),
        ("rope.material=twine", "rope.material", "unknown name", 'no rope "twine"', ""),
        ("title=" + "x" * MAX_OVERRIDE, "title", "bad override", "path=value", ""),
        ("load." + "x." * 900 + "=1", None, "unknown key", "unknown key", ""),
    ],
)
def test_is_refused_like_the_file(good, faults_of, override, key, code, message, hint):
    faults = faults_of(good, override)
    fault = faults[key] if key is not None else next(iter(faults.values()))
    assert fault.code == code
    assert message in fault.message
    assert hint in fault.hint
    assert fault.file == "--set"
    assert fault.line is None
    assert fault.line_text.startswith(override[:50])


def test_a_fault_of_the_file_beside_one_of_an_option(good, faults_of):
    faults = faults_of(good.replace('"0.5 m"', '"0.5"'), "load.mass=30")
    assert (faults["load.mass"].file, faults["load.height"].file) == ("--set", "x.toml")


def test_a_table_of_the_wrong_kind_in_the_file(good, faults_of):
    faults = faults_of(good.replace("[[motors]]", "[motors]"), "motors.1.count=3")
    assert "not a list" in faults["motors.1.count"].message
    assert "double brackets" in faults["motors"].hint


def test_known_paths_cover_the_declarations():
    paths = list(known_paths())
    assert len(paths) == len(set(paths))
    assert {
        "title",
        "motors.1.count",
        "motors.1.points.1.torque",
        "motors.1.gearbox.ratio",
        "load.mass",
    } <= set(paths)


def test_what_the_file_gives_is_left_out_again(good):
    options = ["stage.1.infill=30 %", "brake.torque=2 Nm", "stage.1.infill=left out"]
    inputs = loads(good, "x.toml", [*options, "brake=left out"])
    assert "stage.1.infill" not in inputs.given and inputs.brake is None
    with pytest.raises(InputError, match="missing"):
        loads(good, "x.toml", ["load.mass=left out"])
