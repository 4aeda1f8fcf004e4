"""Every command and format of a result names local codes and who decides."""

import contextlib
import io

import pytest
from shipped import FOLDER

from winchsim.cli import main

QUICK = str(FOLDER / "03-theatre-flat-runs-back.toml")

COMMANDS = {
    "lift": [QUICK],
    "drum": [QUICK, "--range", "30mm:40mm"],
    "gears": [QUICK, "--range", "4:8"],
    "motors": [QUICK, "--range", "1:2"],
    "voltage": [QUICK, "--range", "22V:24V"],
    "heaviest": [QUICK, "--range", "4kg:8kg"],
    "sweep": [QUICK, "--vary", "drum.diameter=38mm,40mm"],
    "ladder": [QUICK, "--rungs", "1"],
    "spread": [QUICK, "--builds", "20"],
    "curves": [QUICK],
    "choose": [str(FOLDER / "12-sail-from-parts.toml")],
    "why": [str(FOLDER / "13-gate-tooth.toml"), str(FOLDER / "13-gate-rungs.csv")],
    "calibrate": [
        str(FOLDER / "08-bell-into-its-frame.toml"),
        str(FOLDER / "08-bell-tested.csv"),
        "--fit",
        "bearings",
    ],
}

TABLES = {".csv": ".about.json"}
"""Files that hold nothing but numbers, and what stands beside them."""


def _printed(*arguments):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(list(arguments))
    assert code in (0, 1), err.getvalue()
    return out.getvalue(), err.getvalue()


def _warns(text):
    words = " ".join(text.replace("\\", "").split()).lower()
    return "local codes" in words and "competent person" in words


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_text_json_and_files_of_a_command_carry_the_cautions(command, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # figures go into the present folder where none is named
    arguments = COMMANDS[command]
    folder = tmp_path / "out"
    text, _err = _printed(command, *arguments, "--out", str(folder))
    assert _warns(text)
    assert _warns(_printed(command, *arguments, "--json")[0])
    for path in folder.iterdir():
        if path.suffix in (".html", ".md", ".json", ".txt", ".toml"):
            assert _warns(path.read_text(encoding="utf-8")), path.name
        if path.suffix == ".csv":
            assert _warns(path.with_suffix(TABLES[".csv"]).read_text(encoding="utf-8"))


def test_a_table_on_standard_output_has_the_cautions_beside_it():
    assert _warns(_printed("lift", QUICK, "--csv", "-")[1])


def test_a_starter_file_has_the_cautions(tmp_path):
    _printed("new", str(tmp_path / "crate.toml"))
    assert _warns((tmp_path / "crate.toml").read_text(encoding="utf-8"))
