"""``winchsim drum``, ``gears``, ``motors``, ``voltage`` and ``heaviest``: text, JSON, files,
options, exit codes."""

import csv
import io
import json
import math
import xml.etree.ElementTree as ET
from functools import cache

import pytest

from tests.screen import Screen
from winchsim.commands.call import Env, ExitCode
from winchsim.commands.sizing import parse_span
from winchsim.scenario.starter import STARTER

pytestmark = pytest.mark.slow

CRATE = STARTER.replace('mass = "10 kg"', 'mass = "4 kg"')
COMMANDS = ("drum", "gears", "motors", "voltage", "heaviest")


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
def test_the_first_screen_begins_with_the_answer_and_ends_with_the_cautions(
    crate, written, command, units
):
    done = written(command)[0] if units == "si" else Screen().run(command, crate, "--units", units)
    assert done.code == ExitCode.GOOD
    assert [line for line in done.err.splitlines() if not line.startswith("wrote ")] == []
    lines = done.out.splitlines()
    assert lines[0].split()[0] in ("OK", "THIN", "NOT") and "competent person decides" in " ".join(
        done.out.split()
    )
    assert len(lines) <= (26 if units == "si" else 28) and max(map(len, lines)) <= 80
    assert ("lb]" in done.out) == (units == "us")


@pytest.mark.parametrize("command", COMMANDS)
def test_files_of_a_study_and_its_one_document_in_si(written, command):
    done, folder = written(command)
    facts = json.loads((folder / f"{command}.json").read_text())
    assert done.code == ExitCode.GOOD
    assert (
        facts["meta"]["scenario_hash"]
        and facts["verdict"]
        and facts["cautions"]
        and facts["command"] == command
    )
    assert len(facts["rows"]) > 5 and facts["full_runs"] and facts["wanted"]["margin"] is None
    for row in facts["rows"]:
        assert {
            "status",
            "binding",
            "lift_time_s",
            "starting_margin_hot",
            "part",
            "meets_every_limit",
        } <= set(row)
    assert facts["largest_difference"] < 0.01
    checks = {check["key"]: check for check in facts["checks"]}
    assert checks["target"]["status"] != "fails" and facts["recommended"]
    names = {path.name for path in folder.iterdir()}
    assert {f"{command}.{end}" for end in ("txt", "html", "json", "csv", "svg", "png")} <= names
    assert (folder / f"{command}.txt").read_text().startswith(done.out.splitlines()[0])
    rows = list(csv.DictReader((folder / f"{command}.csv").read_text().splitlines()))
    assert len(rows) == len(facts["rows"]) and list(rows[0]) == list(facts["rows"][0])
    ET.fromstring((folder / f"{command}.svg").read_text())
    assert (folder / f"{command}.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in (folder / f"{command}.html").read_text()


# --- sweep

VARY = ("--vary", "drum.diameter=8mm,10mm,12mm", "--vary", "supply.voltage=6V,7V")


def test_a_sweep_is_a_table_by_status_with_the_scenario_first(crate):
    done = Screen().run("sweep", crate, *VARY)
    assert done.code == ExitCode.GOOD and done.err == ""
    lines = done.out.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("diameter"))
    assert lines[at + 1].startswith("as it is") and max(map(len, lines)) <= 80
    facts = json.loads(Screen().run("sweep", crate, *VARY, "--json").out)
    assert len(facts["rows"]) == 6 and facts["base"][0]["status"] and not facts["simulated"]
    named = " ".join(done.out.split()).partition("nearest to its required one: ")[2]
    assert all(row["part"] in named for row in facts["rows"] if row["end"] == "reached")
    statuses = [row["status"] for row in facts["rows"]]
    shown = [
        word
        for line in lines[at + 2 :]
        for word in ("fails", "thin", "ok")
        if f"  {word}  " in f"{line}  "
    ]
    assert sorted(shown, key=["ok", "thin", "fails"].index) == shown and len(shown) == len(statuses)


def test_files_of_a_sweep_and_several_scenarios(crate, tmp_path):
    done = Screen().run("sweep", crate, *VARY, "--out", str(tmp_path / "out"))
    assert done.code == ExitCode.GOOD
    rows = list(csv.DictReader((tmp_path / "out" / "sweep.csv").read_text().splitlines()))
    assert [float(row["drum.diameter_m"]) for row in rows] == [
        0.008,
        0.008,
        0.01,
        0.01,
        0.012,
        0.012,
    ]
    assert (tmp_path / "out" / "sweep.png").exists()
    both = json.loads(
        Screen().run("sweep", crate, crate, "--vary", "load.mass=4kg,5kg", "--json").out
    )
    assert len(both["rows"]) == 4 and {row["file"] for row in both["rows"]} == {crate}


def test_a_sweep_in_full_says_so(crate):
    facts = json.loads(
        Screen().run("sweep", crate, "--vary", "load.mass=3kg,4kg", "--simulate", "--json").out
    )
    assert facts["simulated"] and all(row["energy_balance_status"] == "ok" for row in facts["rows"])


def test_a_sweep_says_whether_its_lifts_are_those_that_the_programme_asks_for(tmp_path):
    path = tmp_path / "short.toml"
    path.write_text(CRATE + '[[phase]]\naction = "raise"\nuntil = "time"\ntime = "1 s"\n')
    whole, asked = (
        Screen().run("sweep", str(path), "--vary", "load.mass=3kg,4kg", *full)
        for full in ((), ("--simulate",))
    )
    assert "Whole lifts; with --simulate as the programme asks." in whole.out
    assert "Whole lifts" not in asked.out and "done" in asked.out
    assert "nearest to its required one: rope at its knot." in " ".join(asked.out.split())


@pytest.mark.parametrize("full", [(), ("--simulate",)])
def test_a_sweep_of_what_cannot_be_built_says_why(crate, full):
    done = Screen().run("sweep", crate, "--vary", "drum.width=0.1mm,0.2mm", *full)
    assert done.code == ExitCode.GOOD and done.out.count("cannot be built") == 2
    assert "at least one rope diameter" in " ".join(done.out.split())


def test_where_no_build_is_lifted_no_weakest_part_is_announced(crate):
    done = Screen().run(
        "sweep", crate, "--vary", "load.mass=200kg,300kg", "--set", "load.mass=100kg"
    )
    assert done.out.count("stalls") == 3 and "nearest to its required one" not in done.out


def test_options_narrow_the_drums(crate):
    done = Screen().run(
        "drum", crate, "--range", "8mm:14 mm", "--target-time", "20 s", "--margin", "1.5", "--json"
    )
    facts = json.loads(done.out)
    diameters = [row["drum.diameter_m"] for row in facts["rows"]]
    assert min(diameters) == pytest.approx(0.008) and max(diameters) == pytest.approx(0.014)
    assert (facts["wanted"]["margin"], facts["wanted"]["target_time"]) == (1.5, 20.0)
    inches = Screen().run("drum", crate, "--units", "us", "--range", "1/4 in:1/2 in")
    assert "0.5 in" in inches.out


def test_nothing_found_ends_with_1(crate):
    done = Screen().run("drum", crate, "--set", "load.mass=200 kg")
    assert done.code == ExitCode.BAD and done.out.startswith("NONE. No drum from ")


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
        (("motors", "--range", "1:1e9"), "from 1 to 1000"),
        (("voltage", "--range", "1e50V:1e59V"), "at most 1000 V"),
        (("voltage", "--range", "0V:0V"), "over 0 V"),
        (("heaviest", "--range", "5kg:1e59kg"), "at most 100000 kg"),
        (("drum", "--parts", ""), "no such file"),
        (("motors", "--group", "2"), "no motor group 2"),
        (("motors", "--group", "0"), "this scenario has 1 motor group"),
        (("drum", "--range", ""), "write both ends with a colon"),
        (("drum", "--range", ":"), "write both ends with a colon"),
        (("sweep", "--vary", "drum.diameter"), "write a path and values"),
        (("sweep", "--vary", "drum.diametre=8mm"), "drum.diameter"),
        (("sweep", "--vary", "drum.diameter=8 kg"), "drum.diameter"),
        (
            ("sweep", "--list", "--vary", "drum.diameter=8mm,9mm", "--vary", "load.mass=1kg"),
            "values, as in the other columns",
        ),
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
    assert list(found) == pytest.approx(list(expected))


# --- progress and interruption


def test_progress_only_on_a_terminal_and_after_a_second():
    times = iter([0.0, 0.5, 2.0, 3.0])
    env = Env(io.StringIO(), io.StringIO(), stderr_is_terminal=True, clock=lambda: next(times))
    with env.progress("full runs") as tell:
        tell(1, 4)
        assert env.stderr.getvalue() == ""
        tell(2, 4)
        tell(4, 4)
    shown = env.stderr.getvalue()
    assert "full runs: 2 of 4, about 2 s left" in shown and shown.endswith("\r")
    quiet = Env(io.StringIO(), io.StringIO(), clock=lambda: math.inf)
    with quiet.progress("full runs") as tell:
        tell(1, 2)
    assert quiet.stderr.getvalue() == ""


@pytest.mark.parametrize("command", [*COMMANDS, "ladder"])
def test_interrupted_leaves_no_file_and_ends_with_130(crate, command, tmp_path, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    module = "winchsim.studies.ladder" if command == "ladder" else "winchsim.studies.sizing"
    monkeypatch.setattr(f"{module}.simulate", interrupt)
    folder = tmp_path / "out"
    done = Screen().run(command, crate, "--out", str(folder))
    assert done.code == ExitCode.INTERRUPTED and done.out == "" and not folder.exists()
