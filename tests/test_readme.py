"""What the README says holds: its commands in their order, what they print, and every number in its prose."""

from __future__ import annotations

import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import textwrap
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from xml.dom.minidom import parse

import numpy as np
import pytest

import winchsim
from winchsim import cli
from winchsim.commands.env import Env, ExitCode
from winchsim.inputs import Inputs, Rope
from winchsim.quantity_text import quantity
from winchsim.scenario.read import load
from winchsim.scenario.sheet import SheetRow, read_sheet
from winchsim.simulation import simulate
from winchsim.units import parse_quantity

sys.path.insert(0, str(Path(__file__).parent))
from story import RUNGS, SCENARIO, TESTED, TRUTH, sheets

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
HOIST = "scenarios/01-workshop-hoist.toml"
STORY = f"scenarios/{SCENARIO.name}"
CALIBRATE = f"winchsim calibrate {STORY} scenarios/{RUNGS.name} --out tuned"
LEFT_OUT = "…"

ENDS = {"winchsim lift tuned/calibrated.toml": ExitCode.BAD}
"""Commands that do not end with 0, because of what they found."""


# --- the README taken apart -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Call:
    """A command of the README, and the lines that are shown of what it prints; empty where none are."""

    command: str
    shown: tuple[str, ...] = ()


def blocks(text: str, kind: str = r"\w+") -> list[tuple[str, list[str]]]:
    """Kind and lines of every fenced block."""
    return [(k, body.splitlines()) for k, body in re.findall(rf"^```({kind})\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


def calls(text: str) -> list[Call]:
    """Every call of winchsim, in the README's order: without comments, and without the path of a virtual environment."""
    found: list[Call] = []
    for kind, lines in blocks(text, "sh|console"):
        for line in lines:
            prompt = line.startswith("$ ")
            if kind == "console" and not prompt:
                found[-1] = Call(found[-1].command, (*found[-1].shown, line))
                continue
            match = re.search(r"(?:^|[/ ])(winchsim [^#&]*)", line)
            if match:
                found.append(Call(match[1].strip()))
    return found


def prose(text: str) -> str:
    """What is neither a block nor a row of the options, of the scenarios or of a picture; on one line."""
    text = re.sub(r"^```.*?^```$", " ", text, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"^\| `.*$|!\[[^\]]*\]\([^)]*\)|\]\([^)]*\)", " ", text, flags=re.MULTILINE)
    return " ".join(text.split())


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """Of the standard output."""
        return self.out.splitlines()


def run(command: str) -> Ran:
    """A command line of winchsim, in this process; its output goes into a file where it says so."""
    line, _, file = command.partition(" > ")
    env = Env(io.StringIO(), io.StringIO())
    code = cli.main(shlex.split(line)[1:], env)
    if file:
        Path(file).write_text(env.stdout.getvalue(), encoding="utf-8")
    return Ran(code, env.stdout.getvalue(), env.stderr.getvalue())


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Iterator[Path]:
    """A folder with a copy of the scenarios, where the README's commands are run."""
    folder, before = tmp_path_factory.mktemp("readme"), Path.cwd()
    shutil.copytree(ROOT / "scenarios", folder / "scenarios")
    os.chdir(folder)
    yield folder
    os.chdir(before)


def run_all() -> dict[str, Ran]:
    """Every command of the README, run once, in its order."""
    return {command: run(command) for command in dict.fromkeys(call.command for call in calls(README))}


@pytest.fixture(scope="module")
def ran(place) -> dict[str, Ran]:
    """`run_all` in the folder of the tests."""
    return run_all()


def first_sentences() -> dict[str, str]:
    """First sentence of the lift of each shipped scenario, in the current folder."""
    paths = sorted(map(str, Path("scenarios").glob("*.toml")))
    return {path: " ".join(run(f"winchsim lift {path} --no-remedies").out.split(f"{path}:")[0].split()) for path in paths}


# --- what is compared -------------------------------------------------------------------------------------------------


def unlike(shown: tuple[str, ...], printed: list[str]) -> str:
    """Why lines that are shown are not what was printed; empty where they are. A line of … stands for any lines."""
    at, gap, begun = 0, False, False
    while shown and shown[-1] == LEFT_OUT:
        shown = shown[:-1]
    for line in shown:
        if line == LEFT_OUT:
            gap = True
            continue
        if gap:
            later = [k for k in range(at, len(printed)) if printed[k] == line]
            if not later:
                return f"not printed: {line!r}"
            at = later[0]
        elif at >= len(printed) or printed[at] != line:
            return f"shown {line!r}, printed {printed[at] if at < len(printed) else 'nothing'!r}"
        at, gap, begun = at + 1, False, True
    return "" if begun or not shown else "nothing is shown"


def number_word(count: int) -> str:
    """A small number as a word."""
    return ("none", "one", "two", "three", "four", "five", "six", "seven", "eight")[count]


@dataclass(frozen=True)
class Story:
    """What the story's prose and table speak of."""

    bell: Inputs
    rows: tuple[SheetRow, ...]
    rungs: tuple[SheetRow, ...]
    calibration: Mapping
    ladder: Mapping
    tuned: Inputs

    @property
    def claims(self) -> list[str]:
        """Passages with numbers, as they must stand in the README."""
        first, tested = self.ladder["rows"][-1], self.rows[-1]
        (coming,) = self.calibration["predictions"]
        loss = self.calibration["parameters"][0]
        assumed = self.tuned.stage[0].friction / loss["factor"]
        mass, height = (f"{value:g} {unit}" for value, unit in ((self.bell.load.mass, "kg"), (self.bell.load.height, "m")))
        level = f"{100 * self.calibration['level']:g} %"
        done = sum(row.outcome is not None for row in self.rungs)
        return [
            f"bell of {mass} is to go into its frame, {height} up, with {number_word(self.bell.motors[0].count)} small motors",
            f"{number_word(done).capitalize()} rungs later it is",
            f"| {mass}, {height} up | from the data sheet | after {number_word(done)} rungs, {level} interval | measured |",
            f"| lift time | {quantity(first['lift_time_s'], 's')} | {interval(coming, 'lift_time', 's')} "
            f"| {quantity(tested.measured_time, 's')} |",
            f"| current | {quantity(first['current_a'], 'A')} | {interval(coming, 'current', 'A')} "
            f"| {quantity(tested.measured_current, 'A')} |",
            f"rub with {TRUTH['stage.1.friction']:.2f} and {TRUTH['stage.2.friction']:.2f}, "
            f"its leads have {TRUTH['supply.resistance']}",
            f"scenario says {self.tuned.stage[0].friction:.4g}, and its interval of "
            f"{assumed * loss['low']:.3f} to {assumed * loss['high']:.3f} misses the first",
            f"the leads it left at {self.tuned.supply.resistance:g} ohm",
        ]


def read_story() -> Story:
    """The story as its commands told it, in the current folder."""
    return Story(
        bell=load(STORY),
        rows=read_sheet(f"scenarios/{TESTED.name}"),
        rungs=read_sheet(f"scenarios/{RUNGS.name}"),
        calibration=json.loads(Path("tuned/calibration.json").read_text(encoding="utf-8")),
        ladder=json.loads(Path("plan/ladder.json").read_text(encoding="utf-8")),
        tuned=load("tuned/calibrated.toml"),
    )


def interval(row: Mapping, name: str, unit: str) -> str:
    """A forecast with its interval, as the story's table has it."""
    value, low, high = (quantity(row[f"{name}{end}_{unit.lower()}"], unit) for end in ("", "_low", "_high"))
    return f"{value} ({low} to {high})"


@pytest.fixture(scope="module")
def verdicts(place) -> dict[str, str]:
    """`first_sentences` in the folder of the tests."""
    return first_sentences()


@pytest.fixture(scope="module")
def story(ran) -> Story:
    """`read_story` in the folder of the tests."""
    return read_story()


@pytest.fixture(scope="module")
def claims(story) -> list[str]:
    """Every passage of the prose that has a number in it."""
    python = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["requires-python"]
    falls = next(field.default for field in fields(Rope) if field.name == "falls")
    return [
        *story.claims,
        f"needs Python {python.removeprefix('>=')} or newer",
        f"exit code is {ExitCode.GOOD:d} when the load was lifted as asked and nothing dangerous was found, {ExitCode.BAD:d} "
        f"when not, {ExitCode.MISUSE:d} for bad input, {ExitCode.NO_TRUST:d} when the computation is not to be trusted, "
        f"{ExitCode.INTERNAL:d} for a fault of the program itself, {ExitCode.INTERRUPTED:d} when it was interrupted",
        "counted from 1 at the motors",
        f"parts of rope that carry the load, {falls} without a block",
        "Below 1 it breaks; between 1 and the **required** factor",
    ]


def faults(text: str, ran: Mapping[str, Ran], verdicts: Mapping[str, str], claims: list[str]) -> list[str]:
    """Everything in a README that is not so."""
    found = []
    for call in calls(text):
        if call.command not in ran:
            found.append(f"never run: {call.command}")
        elif call.shown:
            different = unlike(call.shown, ran[call.command].lines)
            found += [f"{call.command}: {different}"] if different else []
    rows = dict(re.findall(r"^\| `(scenarios/\S+)` \| (.+) \|$", text, re.MULTILINE))
    if rows != verdicts:
        found.append("the table of scenarios does not give their verdicts")
    said = prose(text)
    for claim in claims:
        if claim not in said:
            found.append(f"not so, or not said so: {claim}")
        said = said.replace(claim, "")
    found += [
        f"a number that nothing compares: {match}" for match in re.findall(r".{0,30}\d.{0,10}", re.sub(r"`[^`]*`", "", said))
    ]
    named = re.findall(r"`((?:scenarios|tests|plots)/[^`]+)`|\]\((plots/[^)]+)\)", text)
    found += [f"no such file: {path}" for path in map("".join, named) if not (ROOT / path).exists()]
    return found


# --- the tests --------------------------------------------------------------------------------------------------------


def test_two_commands_install_run_and_test():
    found = [line for _, lines in blocks(README, "sh") for line in lines if line.startswith("python3 -m venv")]
    assert len(found) == 2
    assert all(".venv/bin/pip install -q" in line for line in found)
    assert found[0].endswith(f"winchsim lift {HOIST}")
    assert found[1].endswith(".venv/bin/python -m pytest -n auto")


def test_every_line_of_a_shell_is_a_call_that_is_run():
    lines = [line for _, found in blocks(README, "sh") for line in found if line and not line.startswith("python3 -m venv")]
    lines += [line[2:] for _, found in blocks(README, "console") for line in found if line.startswith("$ ")]
    assert all(line.startswith("winchsim ") for line in lines)
    assert len(lines) + 1 == len(calls(README)), "the first of the two commands to install ends with one more"
    assert {kind for kind, _ in blocks(README)} == {"sh", "console", "python", "text"}
    assert {call.command.split()[1] for call in calls(README)} == set(cli.COMMANDS) - {"try"}, "every command that ends by itself is shown"


def test_every_command_runs(ran):
    for command, result in ran.items():
        assert result.code == ENDS.get(command, ExitCode.GOOD), f"{command}: {result.out}{result.err}"


def test_all_that_is_said_is_so(ran, verdicts, claims):
    assert faults(README, ran, verdicts, claims) == []


def test_a_digit_that_is_not_so_is_noticed(ran, verdicts, claims):
    """Each digit outside of commands, code and examples changed in its turn."""
    apart = re.compile(r"^```(?:sh|python|text)$.*?^```$|^\$ [^\n]*$|`[^`\n]*`|\]\([^)]*\)", re.MULTILINE | re.DOTALL)
    code = {k for match in apart.finditer(README) for k in range(*match.span())}
    digits = [match.start() for match in re.finditer(r"\d", README) if match.start() not in code]
    assert len(digits) > 300
    for k in digits:
        other = README[:k] + str((int(README[k]) + 1) % 10) + README[k + 1 :]
        assert faults(other, ran, verdicts, claims), f"unnoticed: {other[k - 40 : k + 20]!r}"


def test_examples_of_values_are_read():
    passage = README[README.index("A value with a dimension") : README.index("A key that is missing")]
    examples = re.findall(r'`"([^"]+)"`', passage)
    units = {"kg": "kg", "lb": "kg", "in": "mm", "Nm": "N·m", "kg*cm": "N·m", "rpm": "rpm"}
    assert len(examples) == len(units)
    for example in examples:
        assert parse_quantity(example, units[example.split()[-1]]) > 0


def test_words_about_the_figures_are_so(ran):
    """What the captions say of the lift that they show."""
    inputs = load(str(ROOT / HOIST))
    record, (motors,) = simulate(inputs), inputs.motors
    energy = json.loads(run(f"winchsim lift {ROOT / HOIST} --json").out)["energy"]
    stored = {row["head"]: row["after_j"] for row in energy["stored"]}
    spent = {row["head"]: row["energy_j"] for row in energy["spent"]}
    lifted, heating = (joule / energy["source_j"] for joule in (stored["potential"], spent["copper"]))
    midway = float(np.interp(record.time[-1] / 4, record.time, record["current"]))
    weight = record.machine.body.mass * 9.80665
    said = {
        "and a hundred lines behind it that say why": len(ran[f"winchsim lift {HOIST}"].lines) > 100,
        "the rope carries half as much again as its weight, or more": 1.45 < record["tension"].max() / weight < 2.5,
        "less than half of the torque at which it would stall": midway < 0.5 * motors.count * motors.stall_current,
        "About half of the energy lifts the load": 0.4 < lifted < 0.6,
        "most of the rest heats the windings": heating > 0.5 * (1 - lifted),
    }
    assert {sentence for sentence, so in said.items() if not so} == set()
    assert {sentence for sentence in said if sentence not in prose(README)} == set()


def test_every_option_of_lift_is_in_its_table():
    offered = set(re.findall(r"^  (?:-\w, )?(--[\w-]+)", run("winchsim lift -h").out, re.MULTILINE))
    told = set(re.findall(r"^\| `(--[\w-]+)", README, re.MULTILINE))
    assert told == offered - {"--help", "--color", "--debug", "--force"}


def test_the_python_prints_what_is_shown():
    ((_, code),), ((_, shown),) = blocks(README, "python"), blocks(README, "text")
    done = subprocess.run([sys.executable, "-c", "\n".join(code)], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == shown


def test_the_lines_that_the_package_shows_run():
    shown = textwrap.dedent("\n".join(line for line in (winchsim.__doc__ or "").splitlines() if line.startswith("    ")))
    code = shown + "\nassert height.shape == tension.shape\nprint(sentence)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Lifts 15 kg by 1.2 m in ")


def test_the_key_reference_is_written_whole(ran, place):
    page = (place / "keys.md").read_text(encoding="utf-8")
    for table in ("motors", "motors.gearbox", "supply", "stage", "drum", "rope", "load", "settings", "material"):
        assert f"### `[{table}]`" in page or f"### `[[{table}]]`" in page


# --- the story --------------------------------------------------------------------------------------------------------


def test_the_sheets_are_what_the_second_winch_gives(ran, place):
    """Within the last digit of a reading: other machines may round otherwise."""
    scatter = {"measured_time": 0.1, "measured_current": 0.01, "measured_voltage": 0.01}
    for text, kept in zip(sheets(place / "plan" / "ladder.csv"), (RUNGS, TESTED), strict=True):
        (place / "again.csv").write_text(text, encoding="utf-8")
        assert kept.read_text(encoding="utf-8").startswith("# invented: ")
        for now, row in zip(read_sheet("again.csv"), read_sheet(str(kept)), strict=True):
            for field in fields(SheetRow):
                expected = getattr(now, field.name)
                if isinstance(expected, float):
                    expected = pytest.approx(expected, rel=1e-3, abs=1.01 * scatter.get(field.name, 0.0))
                assert getattr(row, field.name) == expected, f"{kept.name}: {field.name}"


def test_the_story_goes_as_it_is_told(story):
    tested = story.rows[-1]
    (coming,) = story.calibration["predictions"]
    for row in story.rungs[:-1]:
        assert row.measured_time < row.predicted_time and row.measured_current < row.predicted_current
        assert row.held or not row.mass
    assert story.rungs[-1].outcome is None and tested.outcome == "lifted" and tested.note == "pawl fitted"
    assert story.ladder["rows"][-1]["held"] is True and coming["holds"] is False and tested.held is True
    assert coming["lift_time_low_s"] < tested.measured_time < coming["lift_time_high_s"]
    assert coming["current_low_a"] < tested.measured_current < coming["current_high_a"]
    loss, assumed = story.calibration["parameters"][0], 0.35
    assert story.tuned.stage[0].friction == pytest.approx(assumed * loss["factor"], rel=1e-3)
    assert TRUTH["stage.1.friction"] < assumed * loss["low"] < TRUTH["stage.2.friction"] < assumed * loss["high"]
    assert story.tuned.supply.resistance == story.bell.supply.resistance < parse_quantity(TRUTH["supply.resistance"], "ohm")


def test_the_figure_of_the_story_is_the_one_that_is_drawn_now(ran, place):
    """Its words and digits; the bytes depend on the versions of the libraries."""
    kept, now = (
        [node.firstChild.data for node in parse(str(path)).getElementsByTagName("text") if node.firstChild]
        for path in (ROOT / "plots" / "measured-predicted.svg", place / "tuned" / "measured-predicted.svg")
    )
    assert kept == now, "copy it from what the story's calibration writes"


def test_files_that_the_story_names_are_written(ran, place):
    named = set(re.findall(r"`((?:plan|tuned|report)\b[^`]*)`", README))
    assert {"plan/ladder.html", "plan/ladder.csv", "tuned/calibrated.toml"} <= named
    assert [path for path in named if not (place / path).exists()] == []


def test_a_report_holds_its_page_and_all_figures(ran, place):
    names = {path.name for path in (place / "report").iterdir()}
    assert {"report.html", "report.md", "record.csv", "measured.png", "measured-lifts.png", "tooth-factor.png"} <= names
