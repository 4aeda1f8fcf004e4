"""``winchsim drum``, ``gears``, ``motors``, ``voltage`` and ``heaviest``: text, JSON, files, options, exit codes."""

from __future__ import annotations

import csv
import io
import json
import math
import xml.etree.ElementTree as ET
from functools import cache

import pytest

from winchsim import cli
from winchsim.commands.env import Env, ExitCode
from winchsim.commands.progress import progress
from winchsim.commands.sizing import parse_span
from winchsim.errors import InputError
from winchsim.scenario.starter import STARTER

LIGHT = STARTER.replace('mass = "10 kg"', 'mass = "4 kg"')
COMMANDS = ("drum", "gears", "motors", "voltage", "heaviest")


class Screen:
    """A command line whose streams can be read afterwards."""

    def __init__(self, **options):
        self.env = Env(io.StringIO(), io.StringIO(), **options)

    def run(self, *arguments: str):
        self.code = cli.main(list(arguments), self.env)
        self.out, self.err = self.env.stdout.getvalue(), self.env.stderr.getvalue()
        return self


@pytest.fixture(scope="module")
def crate(tmp_path_factory):
    path = tmp_path_factory.mktemp("crate") / "crate.toml"
    path.write_text(LIGHT)
    return str(path)


@pytest.fixture(scope="module")
def written(crate, tmp_path_factory):
    """Each study run once with all its files: the screen and the folder."""

    @cache
    def made(command: str):
        folder = tmp_path_factory.mktemp("written") / "out"
        return Screen().run(command, crate, "--out", str(folder)), folder

    return made


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_report_begins_with_the_answer_and_ends_with_the_cautions(crate, written, command, units):
    done = written(command)[0] if units == "si" else Screen().run(command, crate, "--units", units)
    assert done.code == ExitCode.GOOD
    assert [line for line in done.err.splitlines() if not line.startswith("wrote ")] == []
    first = done.out.splitlines()[0]
    assert " work" in first or first.startswith("Lifts up to")
    assert "\nRun in full\n" in done.out and "largest difference in lift time" in done.out
    assert "\nCautions\n" in done.out and "competent person decides" in " ".join(done.out.split())
    assert max(len(line) for line in done.out.splitlines()) <= 100
    assert ("lb)" in done.out) == (units == "us")


@pytest.mark.parametrize("command", COMMANDS)
def test_json_is_one_document_in_si(written, command):
    done, folder = written(command)
    facts = json.loads((folder / f"{command}.json").read_text())
    assert done.code == ExitCode.GOOD
    assert facts["meta"]["scenario_hash"] and facts["verdict"] and facts["cautions"]
    assert len(facts["rows"]) > 5 and facts["full_runs"] and facts["required"] == {"margin": 1.2, "target_time_s": None}
    for row in facts["rows"]:
        assert {"works", "reason", "lift_time_s", "stall_margin_cold", "weakest", "holding", "last_pull_n"} <= set(row)
    assert facts["largest_difference"] < 0.01
    for run in facts["full_runs"]:
        assert run["sentence"] and run["sound"] in (True, False)


def test_json_on_the_screen_is_what_the_file_holds(crate, written):
    done = Screen().run("motors", crate, "--json")
    assert (done.code, done.err) == (ExitCode.GOOD, "")
    assert json.loads(done.out) == json.loads((written("motors")[1] / "motors.json").read_text())


def test_json_of_the_drum_names_the_band_and_the_recommended_size(written):
    facts = json.loads((written("drum")[1] / "drum.json").read_text())
    band, take = facts["band"], facts["recommended"]
    assert band["low"]["diameter_m"] < take["diameter_m"] < band["high"]["diameter_m"] < band["high"]["next_diameter_m"]
    assert facts["confirmed"] is True and facts["can_be_bought"] is True and take["reason"]
    chosen = next(row for row in facts["rows"] if row["diameter_m"] == take["diameter_m"])
    assert chosen["works"] and chosen["bend_ratio"] == pytest.approx(take["diameter_m"] / 0.003)


@pytest.mark.parametrize("command", COMMANDS)
def test_files_of_a_study(written, command):
    done, folder = written(command)
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted(f"{command}.{end}" for end in ("txt", "json", "csv", "svg", "png"))
    assert done.err.count("wrote ") == 5
    assert (folder / f"{command}.txt").read_text() == done.out
    head, *lines = (folder / f"{command}.csv").read_text().splitlines()
    assert head.startswith("# Tool chest onto the loft, scenario ")
    rows = list(csv.DictReader(lines))
    facts = json.loads((folder / f"{command}.json").read_text())
    assert len(rows) == len(facts["rows"]) and list(rows[0]) == list(facts["rows"][0])
    ET.fromstring((folder / f"{command}.svg").read_text())
    assert (folder / f"{command}.png").read_bytes().startswith(b"\x89PNG")


def test_files_are_not_replaced_unless_told_to(crate, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "motors.csv").write_text("mine")
    again = Screen().run("motors", crate, "--out", str(folder))
    assert again.code == ExitCode.MISUSE and "this file exists" in again.err and again.out == ""
    assert [(path.name, path.read_text()) for path in folder.iterdir()] == [("motors.csv", "mine")]
    assert Screen().run("motors", crate, "--out", str(folder), "--force").code == ExitCode.GOOD
    assert len(list(folder.iterdir())) == 5 and (folder / "motors.csv").read_text() != "mine"


def test_options_narrow_the_drums(crate):
    done = Screen().run("drum", crate, "--range", "8mm:14 mm", "--target-time", "20 s", "--margin", "1.5", "--json")
    facts = json.loads(done.out)
    diameters = [row["diameter_m"] for row in facts["rows"]]
    assert min(diameters) == pytest.approx(0.008) and max(diameters) == pytest.approx(0.014)
    assert facts["required"] == {"margin": 1.5, "target_time_s": 20.0}
    inches = Screen().run("drum", crate, "--units", "us", "--range", "1/4 in:1/2 in")
    assert "0.500 in" in inches.out


def test_nothing_found_ends_with_1(crate):
    done = Screen().run("drum", crate, "--set", "load.mass=200 kg")
    assert done.code == ExitCode.BAD and done.out.startswith("No drum between ")
    heavy = Screen().run("heaviest", crate, "--set", "load.mass=200 kg")
    assert heavy.code == ExitCode.BAD and heavy.out.startswith("Lifts up to ")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("drum", "--range", "8mm"), "write both ends with a colon"),
        (("drum", "--range", "20mm:8mm"), "a range that grows"),
        (("drum", "--range", "4 s:8 s"), ""),
        (("drum", "--margin", "0.8"), "at least 1"),
        (("voltage", "--target-time", "0 s"), "a time over 0"),
        (("motors", "--range", "3:3"), "a range that grows"),
        (("motors", "--range", "1.5:6.9"), "whole motors from 1"),
        (("motors", "--range", "0:6"), "whole motors from 1"),
        (("motors", "--group", "2"), "no motor group 2"),
        (("motors", "--group", "0"), "this scenario has 1 motor group"),
        (("gears", "--rang", "1:2"), 'did you mean "--range"?'),
    ],
)
def test_what_cannot_be_read_as_meant_ends_with_2(crate, arguments, words):
    command, *options = arguments
    done = Screen().run(command, crate, *options)
    assert done.code == ExitCode.MISUSE and words in done.err and done.out == ""


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        (None, "mm", (None, None)), ("4mm:30mm", "mm", (0.004, 0.03)), ("4:30 mm", "mm", (0.004, 0.03)),
        (":30mm", "mm", (None, 0.03)), ("1/4 in:", "mm", (0.00635, None)), ("150:600", "", (150.0, 600.0)),
        ("4V:9V", "V", (4.0, 9.0)),
    ],
)  # fmt: skip
def test_ranges(text, unit, expected):
    found = parse_span(text, unit)
    for value, wanted in zip(found, expected, strict=True):
        assert value == (None if wanted is None else pytest.approx(wanted))


def test_a_range_of_nothing_is_refused():
    for text in (":", "", "4mm"):
        with pytest.raises(InputError):
            parse_span(text, "mm")


# --- progress and interruption --------------------------------------------------------------------------------------


def test_progress_only_on_a_terminal_and_after_a_second():
    times = iter([0.0, 0.5, 2.0, 3.0])
    env = Env(io.StringIO(), io.StringIO(), stderr_is_terminal=True, clock=lambda: next(times))
    with progress(env, "full runs") as tell:
        tell(1, 4)
        assert env.stderr.getvalue() == ""
        tell(2, 4)
        tell(4, 4)
    shown = env.stderr.getvalue()
    assert "full runs: 2 of 4, about 2 s left" in shown and shown.endswith("\r")
    quiet = Env(io.StringIO(), io.StringIO(), clock=lambda: math.inf)
    with progress(quiet, "full runs") as tell:
        tell(1, 2)
    assert quiet.stderr.getvalue() == ""


@pytest.mark.parametrize("command", [*COMMANDS, "ladder"])
def test_interrupted_leaves_no_file_and_ends_with_130(crate, command, tmp_path, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    module = "winchsim.studies.ladder.plan" if command == "ladder" else "winchsim.verdict.crosscheck"
    monkeypatch.setattr(f"{module}.simulate", interrupt)
    folder = tmp_path / "out"
    done = Screen().run(command, crate, "--out", str(folder))
    assert done.code == ExitCode.INTERRUPTED and done.out == "" and not folder.exists()


def test_interrupted_while_writing_leaves_no_file(crate, tmp_path, monkeypatch):
    import os

    folder, written = tmp_path / "out", []
    real = os.fsync

    def interrupt(handle):
        if written:
            raise KeyboardInterrupt
        written.append(handle)
        real(handle)

    monkeypatch.setattr(os, "fsync", interrupt)
    done = Screen().run("motors", crate, "--out", str(folder))
    assert done.code == ExitCode.INTERRUPTED
    assert written and list(tmp_path.iterdir()) == []
