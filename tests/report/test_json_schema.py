"""The JSON Schema of every document, held against what the commands print."""

import copy
import io
import json

import pytest
from shipped import FOLDER

from winchsim import cli
from winchsim.commands.call import Env
from winchsim.report.json_schema import DOCUMENTS, schema

jsonschema = pytest.importorskip("jsonschema")
HOIST = str(FOLDER / "01-workshop-hoist.toml")
BELL = [str(FOLDER / name) for name in ("08-bell-into-its-frame.toml", "08-bell-rungs.csv")]


def _printed(*arguments: str):
    env = Env(io.StringIO(), io.StringIO())
    cli.main([*arguments, "--json"], env)
    return json.loads(env.stdout.getvalue())


def _check(command, found):
    jsonschema.Draft202012Validator(schema(command)).validate(found)


@pytest.fixture(scope="module")
def lifted():
    return _printed("lift", HOIST, "--snag")


def test_the_document_of_a_lift(lifted):
    _check("lift", lifted)
    assert lifted["snag"] and lifted["rows"] and lifted["events"]


@pytest.mark.parametrize(
    "name", ["02-tender-stalls", "04-greenhouse-vent-strips-a-tooth", "11-aquarium-lid-on-a-worm"]
)
def test_a_lift_that_ends_otherwise(name):
    _check("lift", _printed("lift", str(FOLDER / f"{name}.toml")))


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("drum", [HOIST]),
        ("gears", [HOIST]),
        ("motors", [HOIST]),
        ("voltage", [HOIST]),
        ("heaviest", [HOIST]),
        ("choose", [str(FOLDER / "12-sail-from-parts.toml")]),
        ("sweep", [HOIST, "--vary", "load.mass=8kg,400kg"]),
        ("ladder", [HOIST, "--rungs", "1"]),
        ("spread", [HOIST, "--builds", "20"]),
        ("calibrate", BELL),
    ],
)
def test_the_documents_of_the_studies(command, more):
    _check(command, _printed(command, *more))


def test_the_document_of_figures(tmp_path):
    _check("curves", _printed("curves", HOIST, "--out", str(tmp_path), "--format", "svg"))


@pytest.mark.parametrize(
    "arguments", [["lift", "nowhere.toml"], ["lift"], ["new", "no/such/folder/x.toml"]]
)
def test_the_document_of_an_error(arguments):
    _check("error", _printed(*arguments))


@pytest.mark.parametrize(
    ("place", "key"),
    [((), "status"), (("checks", 0), "low"), (("target",), "height_m"), (("rows", 0), "factor")],
)
def test_a_document_without_a_key_or_with_another_one_is_not_valid(lifted, place, key):
    for change in (lambda part: part.pop(key), lambda part: part.update({f"{key}_mm": 1.0})):
        changed = copy.deepcopy(lifted)
        part = changed
        for step in place:
            part = part[step]
        change(part)
        with pytest.raises(jsonschema.ValidationError):
            _check("lift", changed)


def test_every_schema_is_printed_and_is_one():
    assert {command.name for command in cli.COMMANDS} - {"new", "materials", "keys", "try"} <= set(
        DOCUMENTS
    )
    for command in DOCUMENTS:
        found = schema(command)
        jsonschema.Draft202012Validator.check_schema(found)
        assert "raises meta.format" in found["description"]
    assert _printed("keys", "--schema", "lift") == schema("lift")
    assert "choose" in _printed("keys", "--schema", "lifts")["error"]["faults"][0]["hint"]
