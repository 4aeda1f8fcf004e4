"""README: its commands run, what it shows is what they print, its other numbers are compared."""

import json
import os
import re
import shutil
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from xml.dom.minidom import parse

import pytest
import story
from refresh_readme import NUMBER, Results, blocks, commands, rendered, results, run

import winchsim
from winchsim import cli
from winchsim.commands.call import ExitCode
from winchsim.scenario.sheet import SheetRow, read_sheet
from winchsim.units import parse_quantity

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
ENDS = {"winchsim lift tuned/calibrated.toml": ExitCode.BAD}
"""Commands that do not end with 0, because of what they found."""


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Iterator[Path]:
    """A folder with a copy of the scenarios, where the README's commands are run."""
    folder, before = tmp_path_factory.mktemp("readme"), Path.cwd()
    shutil.copytree(ROOT / "scenarios", folder / "scenarios")
    os.chdir(folder)
    yield folder
    os.chdir(before)


@pytest.fixture(scope="module")
def found(place) -> Results:
    """What the README's commands give, each run once."""
    return results(README, commands(README))


def prose(text: str) -> str:
    """What no command prints and no code shows, on one line."""
    text = re.sub(r"^```.*?^```$", " ", text, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"^\| `\d\d-.*$|`[^`\n]*`|\]\([^)]*\)", " ", text, flags=re.MULTILINE)
    return " ".join(text.split())


def test_two_commands_install_run_and_test():
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    assert all(".venv/bin/pip install -q" in line for line in lines)
    assert lines[0].endswith("winchsim lift scenarios/01-workshop-hoist.toml")
    assert lines[1].endswith(".venv/bin/python -m pytest -n auto")


def test_every_command_is_shown_and_every_line_of_a_shell_is_run():
    lines = [
        line for _, body in blocks(README, "sh") for line in body if ".venv/bin/pip" not in line
    ]
    lines += [
        line[2:] for _, body in blocks(README, "console") for line in body if line[:2] == "$ "
    ]
    called = commands(README)
    assert [
        line for line in lines if line.partition("  #")[0].strip() not in {*called, "winchsim try"}
    ] == []
    assert {command.split()[1] for command in called} == {
        command.name for command in cli.COMMANDS
    } - {"try"}


@pytest.mark.slow
def test_every_command_runs(found):
    for command, ran in found.ran.items():
        assert ran.code == ENDS.get(command, ExitCode.GOOD), f"{command}: {ran.out}{ran.err}"


@pytest.mark.slow
def test_what_is_shown_is_what_comes_out(found):
    again = rendered(README, found)
    assert README.splitlines() == again.splitlines(), "run python tests/refresh_readme.py"


@pytest.mark.slow
def test_every_number_in_the_prose_is_compared(found):
    text = prose(README)
    for claim in found.claims:
        assert claim in text
        text = text.replace(claim, "")
    assert NUMBER.findall(text) == []


@pytest.mark.slow
def test_a_changed_digit_is_noticed(found):
    """In a printed line, in the table of scenarios, in a passage, and in the example's output."""
    for shown in ("THIN 1 of", "Lifts 12 kg by 1.2 m in", "| lift time | ", "```text\n1"):
        digit = re.compile(r"\d").search(README, README.index(shown) + len(shown) - 1).start()
        other = README[:digit] + str((int(README[digit]) + 1) % 10) + README[digit + 1 :]
        assert rendered(other, found) != other, shown


@pytest.mark.slow
def test_files_that_are_named_exist(place, found):
    named = set(re.findall(r"`((?:scenarios|tests|plots)/[^`\s]*)`|\]\((plots/[^)]+)\)", README))
    assert [path for path in map("".join, named) if not (ROOT / path).exists()] == []
    written = set(re.findall(r"`((?:plan|tuned|report)\b[^`]*)`", README))
    assert {"plan/ladder.html", "plan/ladder.csv"} <= written
    assert [path for path in written if not (place / path).exists()] == []
    assert {
        "report.html",
        "report.md",
        "record.csv",
        "measured-lifts.png",
        "tooth-factor.png",
    } <= {path.name for path in (place / "report").iterdir()}


def test_examples_of_values_are_read():
    passage = README[
        README.index("A value with a dimension") : README.index("All faults of a file")
    ]
    units = {"kg": "kg", "lb": "kg", "in": "mm", "Nm": "N·m", "kg*cm": "N·m", "rpm": "rpm"}
    examples = re.findall(r'`"([^"]+)"`', passage)
    assert len(examples) == len(units)
    assert min(parse_quantity(example, units[example.split()[-1]]) for example in examples) > 0


def test_motor_keys_that_are_named_are_keys():
    known = {
        word
        for line in run("winchsim keys --markdown").out.splitlines()
        for word in re.findall(r"`([a-z_]+)`", line)
    }
    passage = README[README.index("### Motor and gearbox data") : README.index("## Commands")]
    named = set(re.findall(r"`([a-z_]+)(?: = [^`]*)?`", passage))
    assert len(named) > 12 and named <= known


def test_options_of_lift_that_are_named_exist():
    offered = set(re.findall(r"(--[\w-]+)", run("winchsim lift -h").out))
    passage = README[README.index("`winchsim lift -h`") : README.index("The exit code is")]
    named = set(re.findall(r"`(--[\w-]+)", passage))
    assert len(named) > 5 and named <= offered


def test_the_lines_that_the_package_shows_run():
    lines = (winchsim.__doc__ or "").splitlines()
    shown = textwrap.dedent("\n".join(line for line in lines if line.startswith("    ")))
    code = (
        shown.replace('savefig("energy.png")', "clear()") + "\nassert height.shape == tension.shape"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "Lifts 15 kg by 1.2 m in " in done.stdout and "competent" in done.stdout


@pytest.mark.slow
def test_the_sheets_are_what_the_second_winch_gives(place, found):
    """Within the last digit of a reading: other machines may round otherwise."""
    scatter = {"measured_time": 0.1, "measured_current": 0.01, "measured_voltage": 0.01}
    for text, kept in zip(
        story.sheets(place / "plan" / "ladder.csv"), (story.RUNGS, story.TESTED), strict=True
    ):
        (place / "again.csv").write_text(text, encoding="utf-8")
        assert kept.read_text(encoding="utf-8").startswith("# invented: ")
        for now, row in zip(read_sheet("again.csv"), read_sheet(str(kept)), strict=True):
            for field in fields(SheetRow):
                expected = getattr(now, field.name)
                if isinstance(expected, float):
                    expected = pytest.approx(
                        expected, rel=1e-3, abs=1.01 * scatter.get(field.name, 0.0)
                    )
                assert getattr(row, field.name) == expected, f"{kept.name}: {field.name}"


@pytest.mark.slow
def test_the_story_goes_as_it_is_told(place, found):
    """Held on every rung, predicted to run back at the target, tested there on a pawl."""
    (coming,) = json.loads((place / "tuned" / "calibration.json").read_text(encoding="utf-8"))[
        "predictions"
    ]
    *rungs, tested = read_sheet(str(story.TESTED))
    assert all(row.held for row in rungs if row.mass)
    assert tested.outcome == "lifted" and tested.note == "pawl fitted" and coming["holds"] is False
    assert coming["lift_time_low_s"] < tested.measured_time < coming["lift_time_high_s"]
    assert coming["current_low_a"] < tested.measured_current < coming["current_high_a"]


@pytest.mark.slow
def test_the_figure_of_the_story_is_the_one_that_is_drawn_now(place, found):
    """Its words and digits; the bytes depend on the versions of the libraries."""
    kept, now = (
        [
            node.firstChild.data
            for node in parse(str(path)).getElementsByTagName("text")
            if node.firstChild
        ]
        for path in (
            ROOT / "plots" / "measured-predicted.svg",
            place / "tuned" / "measured-predicted.svg",
        )
    )
    assert kept == now


def test_it_can_be_read_in_ten_minutes():
    assert len(README.encode()) <= 16_000
