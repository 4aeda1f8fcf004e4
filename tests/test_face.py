"""The Python face: load, change, lift, read arrays with and without units, judge."""

import doctest
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import winchsim
from winchsim.errors import DomainError, InputError, WinchsimError

SCENARIO = Path(__file__).parent.parent / "scenarios" / "01-workshop-hoist.toml"


@pytest.fixture(scope="module")
def crate():
    """The workshop hoist."""
    return winchsim.read(str(SCENARIO))


@pytest.fixture(scope="module")
def record(crate):
    """Its lift with 10 kg."""
    return winchsim.simulate(winchsim.with_value(crate, "load.mass", "10 kg"))


def test_arrays_without_units(record):
    assert record["height"].shape == record.time.shape
    assert record["height"].max() == pytest.approx(1.2, abs=0.03)


def test_arrays_with_units(record):
    tension = winchsim.with_units(record, "tension")
    np.testing.assert_allclose(
        tension.to("lbf").magnitude * 4.4482216152605, record["tension"], rtol=1e-12
    )
    assert str(winchsim.with_units(record, "time").units) == "second"
    winding = winchsim.with_units(record, "motor_1_winding")
    assert winding[0].to("degF").magnitude == pytest.approx(68.0)
    assert winchsim.with_units(record, "layer").dimensionless
    with pytest.raises(KeyError):
        winchsim.with_units(record, "torque")


def test_an_assessment_prints_as_its_first_screen(record):
    found = winchsim.assess(record, actions=False)
    assert "Lifts 10 kg by 1.2 m in " in str(found) and "local codes" in " ".join(
        str(found).split()
    )
    assert "Lifts 10" in found._repr_html_() and len(repr(found)) < 100
    shown = record._repr_html_()
    assert "Lifts 10" in shown and "lift time" in shown and "</svg>" in shown


def test_a_record_is_read_by_name_and_stays_as_it_is(record):
    assert record["time"] is record.time and len(repr(record)) < 120
    with pytest.raises(ValueError, match="read-only"):
        record["height"][0] = 1.0
    with pytest.raises(KeyError, match="height"):
        record["heigth"]
    frame = pytest.importorskip("pandas") and record.to_frame()
    assert list(frame.columns) == list(record.channels) and frame.index.name == "time"


def test_a_file_is_simulated_directly():
    assert winchsim.simulate(SCENARIO)["height"].max() == pytest.approx(1.2, abs=0.03)
    with pytest.raises(InputError):
        winchsim.simulate("no-such-file.toml")


def test_a_figure_is_one_of_matplotlib(record):
    assert winchsim.figure(record, "energy").axes
    with pytest.raises(WinchsimError, match="energy"):
        winchsim.figure(record, "no-such-figure")


def test_a_change_leaves_the_scenario_alone(crate):
    changed = winchsim.with_value(crate, "stage.1.walls", 6)
    assert changed.stage[0].walls == 6 and crate.stage[0].walls == 5
    assert "stage.1.walls" in changed.given


def test_a_change_in_si_or_in_words(crate):
    by_text = winchsim.with_value(crate, "load.mass", "44 lb")
    by_number = winchsim.with_value(crate, "load.mass", 44 * 0.45359237)
    assert by_text.load.mass == pytest.approx(by_number.load.mass, rel=1e-15)
    assert winchsim.with_value(crate, "stage.1.infill", "25 %").stage[0].infill == 0.25


@pytest.mark.parametrize(
    ("path", "value", "code", "says"),
    [
        ("load.mas", "3 kg", "unknown key", 'did you mean "load.mass"?'),
        ("load.mass", "3 m", "wrong dimension", "a length, where a mass is expected"),
        ("load.mass", -1.0, "out of bounds", "over 0 kg"),
        ("load.mass", None, "missing", "mass is missing"),
        ("stage.9.gear", 40, "unknown key", "no stage.9"),
        ("motors.1.count", 2.5, "wrong type", "a whole number"),
        ("rope.material", "tin", "unknown name", 'no rope "tin"'),
        ("motors.1.dead", 99, "contradiction", "more dead motors than motors"),
    ],
)
def test_a_change_that_cannot_be(crate, path, value, code, says):
    with pytest.raises(InputError) as caught:
        winchsim.with_value(crate, path, value)
    fault = caught.value.faults[0]
    assert says in f"{fault.message} {fault.expected} {fault.hint}"
    assert (fault.key, fault.code) == (path, code)


def test_what_is_offered_is_there_and_sorted():
    assert winchsim.__all__ == sorted(winchsim.__all__)
    assert None not in [getattr(winchsim, name) for name in winchsim.__all__]
    assert set(winchsim.__all__) <= set(dir(winchsim))


@pytest.mark.parametrize("name", [n for n in winchsim.__all__ if n != "__version__"])
def test_its_example_runs(name, monkeypatch):
    monkeypatch.chdir(SCENARIO.parents[1])
    function = getattr(winchsim, name)
    (test,) = doctest.DocTestFinder(recurse=False).find(function, name) or [None]
    assert function.__doc__ and (test is None or doctest.DocTestRunner().run(test).failed == 0)
    assert (test and test.examples) or name == "parse"


@pytest.mark.slow
def test_a_strict_type_checker_accepts_a_program_that_uses_every_name(tmp_path):
    api = pytest.importorskip("mypy.api")
    program = Path(__file__).with_name("typed_program.py")
    assert all(f"winchsim.{name}" in program.read_text("utf-8") for name in winchsim.__all__)
    options = ["--strict", "--follow-imports=silent", "--cache-dir", str(tmp_path)]
    out, _, code = api.run([*options, "--config-file=", str(program)])
    assert code == 0, out


def test_what_is_no_scenario_says_what_is_wanted():
    with pytest.raises(DomainError, match="the name of a file, or what winchsim"):
        winchsim.simulate(3)


def test_what_is_not_offered_is_an_attribute_error():
    with pytest.raises(AttributeError, match="winch"):
        winchsim.winch  # noqa: B018


def test_nothing_heavy_is_imported_before_it_is_used():
    code = "import sys, winchsim; assert not {'numpy', 'scipy', 'pint', 'matplotlib'} & set(sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_no_module_takes_the_place_of_a_public_name():
    code = (
        "import importlib, pkgutil, types, winchsim\n"
        "for module in pkgutil.walk_packages(winchsim.__path__, 'winchsim.'):\n"
        "    if not module.name.endswith('__main__'):\n"
        "        importlib.import_module(module.name)\n"
        "for name in winchsim.__all__:\n"
        "    assert not isinstance(getattr(winchsim, name), types.ModuleType), name\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
