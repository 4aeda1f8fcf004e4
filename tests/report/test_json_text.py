"""JSON documents."""

import json
import math

import numpy as np
import pytest

from winchsim.errors import Fault, InputError, OutputError, TrustError
from winchsim.report.json_text import document, error_facts
from winchsim.version import __version__


def test_every_document_has_the_same_parts():
    data = json.loads(
        document(
            digest="abc", random_seed=3, verdict="lifted", rows=[{"mass_kg": 5.0}], summary={"a": 1}
        )
    )
    assert list(data) == ["meta", "verdict", "findings", "cautions", "rows", "summary"]
    assert data["meta"] == {
        "format": 1,
        "version": __version__,
        "scenario_hash": "abc",
        "random_seed": 3,
    }


def test_what_is_not_finite_is_null_and_arrays_are_lists():
    row = {
        "x": math.nan,
        "y": np.float64("inf"),
        "z": np.array([1.0, math.nan]),
        "n": np.int64(3),
        "s": {"b", "a"},
    }
    assert json.loads(document(rows=[row]))["rows"] == [
        {"x": None, "y": None, "z": [1.0, None], "n": 3, "s": ["a", "b"]}
    ]


def test_other_objects_are_refused():
    with pytest.raises(TypeError):
        document(rows=[object()])


def test_error_with_all_faults():
    faults = (
        Fault("bad", "load.mass", "x.toml", 3, 'mass = "x"', '"x"', "a mass", "kg", "not a number"),
        Fault("worse"),
    )
    error = json.loads(document(error=error_facts(InputError(faults))))["error"]
    assert (error["code"], error["file"], error["line"], error["key"]) == (
        "not a number",
        "x.toml",
        3,
        "load.mass",
    )
    assert [fault["message"] for fault in error["faults"]] == ["bad", "worse"]
    assert error["faults"][1]["file"] is None


@pytest.mark.parametrize(
    ("raised", "code"),
    [(OutputError("a", "exists"), "not written"), (TrustError("no"), "not trusted")],
)
def test_other_errors(raised, code):
    error = json.loads(document(error=error_facts(raised)))["error"]
    assert (error["code"], error["message"]) == (code, str(raised))
