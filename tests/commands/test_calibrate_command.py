"""``winchsim calibrate``: report, JSON, files, and what happens when it is cut short."""

import json
import re

import pytest

from tests.screen import Screen
from winchsim.commands.call import ExitCode
from winchsim.face import read as load
from winchsim.report.calibration import with_cautions
from winchsim.scenario.starter import STARTER

pytestmark = pytest.mark.slow

SHEET = """\
rung,mass_kg,measured_time_s,measured_current_a,held,outcome,broke_link,note
1,2,17.0,0.88,yes,lifted,,
2,5,17.5,1.06,yes,lifted,,
3,8,18.3,1.19,yes,lifted,,jammed for a while
4,11,18.8,1.33,yes,lifted,,
5,14,19.9,1.48,yes,lifted,,
,48,,,,stalled,,
,16,,,,broke,stage 1 pinion,
6,18,,,,,,
"""


@pytest.fixture(scope="module")
def sheet(folder):
    (folder / "tests.csv").write_text(SHEET)
    return str(folder / "tests.csv")


@pytest.fixture(scope="module")
def done(folder, crate, sheet):
    """One run that writes everything."""
    return Screen().run(
        "calibrate",
        crate,
        sheet,
        "--out",
        str(folder / "out"),
    )


def test_the_next_rung_waits_for_the_broken_part(done):
    coming = done.out.partition("next test")[2].splitlines()
    assert any(line.startswith("18 kg ") for line in coming)
    assert re.search("18 kg only .* the part that broke in test 7", done.out)


def test_the_calibrated_scenario_keeps_the_users_text(done, folder, crate):
    text = (folder / "out" / "calibrated.toml").read_text()
    kept = [line for line in STARTER.splitlines() if line.startswith("#")]
    comments = [line for line in text.splitlines() if line.startswith("#")]
    assert comments[: len(kept)] == kept and "Local codes apply" in comments[-1]
    assert with_cautions(text) == text
    assert "# calibrated with 5 tests" in text and "# lower bound: the part broke at" in text
    before, after = load(crate), load(str(folder / "out" / "calibrated.toml"))
    assert after.motors[0].no_load_current > 1.5 * before.motors[0].no_load_current
    assert after.stage[0].tested_tooth_force < 86
    assert after.load == before.load and after.rope == before.rope


def test_the_numbers_are_the_same_in_the_file_and_on_the_screen(done, folder):
    facts = json.loads((folder / "out" / "calibration.json").read_text())
    assert facts["meta"]["format"] >= 1
    current = next(row for row in facts["changes"] if row["path"] == "motors.1.no_load_current")
    assert (
        current["after_a"]
        == load(str(folder / "out" / "calibrated.toml")).motors[0].no_load_current
    )
    assert {row["kind"] for row in facts["rows"]} == {"time", "current"}
    assert facts["predictions"][0]["mass_kg"] == 18.0
    assert facts["predictions"][0]["lift_time_low_s"] < facts["predictions"][0]["lift_time_s"]
    assert facts["broken"][0]["set_path"] == "stage.1.tested_tooth_force"
    assert len(facts["correlation"]["of"]) == len(facts["correlation"]["matrix"])


def test_json_and_a_load_to_predict(crate, sheet):
    arguments = [
        "calibrate",
        crate,
        sheet,
        "--json",
        "--next",
        "44 lb",
        "--next",
        "18 kg",
        "--fit",
        "mesh_friction",
    ]
    facts = json.loads(Screen().run(*arguments, "--level", "95 %").out)
    assert [row["name"] for row in facts["parameters"]] == ["mesh_friction"]
    assert facts["level"] == 0.95 and facts["files"] == []
    predicted = [row["mass_kg"] for row in facts["predictions"]]
    assert predicted == pytest.approx([18.0, 19.958], abs=1e-3), "the sheet has 18 kg to come"


def test_the_report_tells_what_was_assumed_what_was_not_loaded_and_what_will_run_back(
    folder, crate
):
    (folder / "bare.csv").write_text(
        "mass_kg,measured_time_s,measured_current_a,held\n0,15.7,0.59,\n2,15.9,0.66,yes\n10,17.3,0.98,yes\n30,,,\n"
    )
    sheet = [crate, str(folder / "bare.csv")]
    text = Screen().run("calibrate", *sheet, "--full").out
    assert ", assumed" in text.partition("In the calibrated scenario")[2]
    measured = text.partition("\nMeasured and predicted")[2]
    assert measured.splitlines()[2].split()[:2] == ["1", "unloaded"]
    assert "of the lifting torque in reserve" in text.partition("Stalls and holds")[2]
    assert (
        "With the power off 30 kg may run back. Action: Fit a pawl or a brake first."
        in " ".join(text.split())
    )
    assert "may run back" not in Screen().run("calibrate", *sheet, "--set", "pawl.fitted=true").out


def test_a_sheet_that_was_planned_for_another_version_is_told_and_taken_as_measured(folder, crate):
    """People edit their scenario between: a caution, no error, and nothing where the version is the
    same."""
    Screen().run("ladder", crate, "--out", str(folder / "plan"), "--rungs", "2")
    blank = (folder / "plan" / "ladder.csv").read_text().splitlines()
    heads = blank[3].split(",")
    times = ["16.1", "17.0", "18.4"]
    filled = [
        ",".join(
            time if head == "measured_time_s" else cell
            for head, cell in zip(heads, row.split(","), strict=True)
        )
        for row, time in zip(blank[4:], times, strict=True)
    ]
    (folder / "plan" / "filled.csv").write_text("\n".join([blank[0] + ",,,", *blank[1:4], *filled]))
    arguments = (str(folder / "plan" / "filled.csv"), "--fit", "bearings")
    same = Screen().run("calibrate", crate, *arguments)
    assert same.code == ExitCode.GOOD and "another version" not in same.out
    lower = Screen().run(
        "calibrate", crate, *arguments, "--set", "load.height=0.5 m", "--set", "title=Other crate"
    )
    said = " ".join(lower.out.split())
    assert (
        lower.code == ExitCode.GOOD
        and "caution The sheet was planned for another version (hash " in said
    )
    assert 'instead of "Other crate"' in said and "0.6 m instead of 0.5 m" in said
    facts = json.loads(
        Screen().run("calibrate", crate, *arguments, "--set", "rope.diameter=2.1 mm", "--json").out
    )
    (finding,) = facts["findings"]
    assert finding["kind"] == "other_version" and finding["severity"] == "caution"
    planned, now = re.search(r"hash (\w+), now (\w+)", finding["sentence"]).groups()
    assert planned in blank[0] and facts["meta"]["scenario_hash"].startswith(now)


def test_a_factor_that_does_not_exist_is_an_error_that_lists_them(folder, crate):
    (folder / "one.csv").write_text("mass_kg,measured_time_s\n8,18.3\n")
    empty = Screen().run(
        "calibrate",
        crate,
        str(folder / "one.csv"),
        "--json",
        "--fit",
        "grease",
    )
    assert (
        empty.code == ExitCode.MISUSE and json.loads(empty.out)["error"]["code"] == "out of range"
    )
    assert "mesh_friction" in empty.out


def test_a_log_of_several_lifts_is_calibrated_with_and_says_how_it_was_read(folder, crate):
    rows = [(t / 10, 1.2 if 10 < t % 200 < 190 else 0.0) for t in range(400)]
    text = "t ms;Motor current (A);x\n" + "".join(f"{1000 * t:.0f};{i};7\n" for t, i in rows)
    (folder / "log.csv").write_text(text.replace(".", ","))
    arguments = ("calibrate", crate, str(folder / "log.csv"))
    screen = Screen().run(*arguments, "--log=loads=8/10 kg", "--json")
    document = json.loads(screen.out)
    assert screen.code == ExitCode.GOOD
    assert [finding["kind"] for finding in document["findings"]] == ["log"]
    measured = {(r["mass_kg"], r["kind"]): r for r in document["rows"]}
    assert set(measured) == {(m, kind) for m in (8.0, 10.0) for kind in ("time", "current")}
    assert measured[8.0, "time"]["measured_lift_time_s"] == pytest.approx(17.9, abs=0.11)
    plain = " ".join(Screen().run(*arguments, "--log=loads=8/10 kg").out.split())
    assert "motor current" in plain and "not used: x" in plain and "lift 2 at 21" in plain
    assert Screen().run(*arguments).code == ExitCode.MISUSE
