"""Regenerates all that README shows of results: ``python tests/refresh_readme.py``.

It writes the story's sheets (`tests/story.py`), runs in a scratch folder those of README's commands
whose results are shown, copies the figures to ``plots``, and puts what came out there: printed
lines, the table of scenarios, the Python example, numbers of the passages in `claims`. Other
words are edited by hand: afterwards ``pytest tests/test_readme.py`` names what does not agree.
"""

import importlib.util
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import story

import winchsim
from winchsim import cli
from winchsim.commands.call import Env, ExitCode
from winchsim.face import read as load
from winchsim.quantity_text import quantity
from winchsim.scenario.sheet import read_sheet

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
STORY = f"scenarios/{story.SCENARIO.name}"
LEFT_OUT = "…"
NUMBER = re.compile(r"\d+(?:\.\d+)*(?:e[+-]?\d+)?")
WORDS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight")

_HEAD = (r"", r"not rated lifting equipment$")
_ANSWER = (r"", r"\.$")
EXCERPTS = {
    "lift scenarios/08-": (_HEAD, (r"holding margin, power off", r"holding margin, dist")),
    "ladder scenarios/": ((r"rung +load", r"^$"),),
    "calibrate": (_ANSWER, (r"next test", r"^\d+ kg")),
    "lift tuned/calibrated.toml --set": (_ANSWER,),
    "lift tuned/calibrated.toml": (_ANSWER,),
}
"""First and last line of the parts shown, by how the command begins; others are shown whole."""


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str


@dataclass(frozen=True)
class Results:
    """All that README shows of results: by command, by scenario, by passage, and of its example."""

    ran: dict[str, Ran]
    scenarios: dict[str, tuple[str, str]]
    claims: list[str]
    python: str


def blocks(text: str, kind: str = r"\w+") -> list[tuple[str, list[str]]]:
    """Kind and lines of every fenced block."""
    found = re.findall(rf"^```({kind})\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [(name, body.splitlines()) for name, body in found]


def commands(text: str) -> list[str]:
    """Calls of winchsim in blocks and the table of commands, in order, but for the page."""
    shells = "\n".join(line for _, body in blocks(text, "sh|console") for line in body)
    found = re.findall(r"^(?:\$ |python3.*bin/)?(winchsim [^#\n]*)", shells, re.MULTILINE)
    found += re.findall(r"^\| `(winchsim [^`]*)` ", text, re.MULTILINE)
    found.sort(key=text.index)
    return [c.strip() for c in found if "try" not in c and "FILE" not in c]


def run(command: str) -> Ran:
    """A command line of winchsim, in this process; its output goes into a file where it says so."""
    line, _, file = command.partition(" > ")
    env = Env(io.StringIO(), io.StringIO())
    code = cli.main(shlex.split(line)[1:], env)
    if file:
        Path(file).write_text(env.stdout.getvalue(), encoding="utf-8")
    return Ran(code, env.stdout.getvalue(), env.stderr.getvalue())


def excerpt(command: str, printed: list[str]) -> list[str]:
    """The lines that README shows of what a command printed."""
    parts = next(
        (p for start, p in EXCERPTS.items() if command.startswith(f"winchsim {start}")), None
    )
    if parts is None:
        return printed
    shown, at = [], 0
    for first, last in parts:
        start = next((k for k in range(at, len(printed)) if re.match(first, printed[k])), None)
        if start is None:
            print(f"{command}: no line begins with {first!r}", file=sys.stderr)
            continue
        end = next((k for k in range(start, len(printed)) if re.search(last, printed[k])), start)
        shown += [LEFT_OUT] * (start > at) + [line for line in printed[start : end + 1] if line]
        at = end + 1
    return [*shown, LEFT_OUT]


def lesson_and_result(path: str) -> tuple[str, str]:
    """What a scenario teaches by its first comment, and how its lift ends."""
    comment = " ".join(re.findall(r"^#(.*)", Path(path).read_text(encoding="utf-8"), re.MULTILINE))
    lesson = re.match(r" Teaches: (.*?)\.\s", comment)
    assert lesson, f"{path}: no lesson on top"
    facts = json.loads(run(f"winchsim lift {path} --json --no-remedies").out)
    return lesson[1], f"{facts['status']}: {facts['verdict'].partition('. ')[0].rstrip('.')}"


def read_cases(step: int = 50) -> tuple[int, int]:
    """Checks with a source that was read, rounded down, and those from memory, rounded up."""
    path = ROOT / "tests" / "reference" / "test_number_of_checks.py"
    spec = importlib.util.spec_from_file_location("number_of_checks", path)
    counting = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(counting)
    read = counting.collected("reference and not memory")
    recalled = counting.collected("reference and memory")
    return read // step * step, -(-recalled // step) * step


def interval(row: dict, name: str, unit: str) -> str:
    """A prediction with its interval, as the story's table has it."""
    value, low, high = (
        quantity(row[f"{name}{end}_{unit.lower()}"], unit) for end in ("", "_low", "_high")
    )
    return f"{value} ({low} to {high})"


def claims() -> list[str]:
    """Passages with numbers as they must stand in README, from the files of the commands."""
    bell, rows = load(STORY), read_sheet(f"scenarios/{story.TESTED.name}")
    calibration = json.loads(Path("tuned/calibration.json").read_text(encoding="utf-8"))
    (coming,), tested = calibration["predictions"], rows[-1]
    mass, height = f"{bell.load.mass:g} kg", f"{bell.load.height:g} m"
    level = f"{100 * calibration['level']:g} %"
    python = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"][
        "requires-python"
    ]
    read, recalled = read_cases()
    return [
        f"needs Python {python.removeprefix('>=')} or newer",
        f"exit code is {ExitCode.GOOD:d} when all goes as asked and no check fails, "
        f"{ExitCode.BAD:d} when not, {ExitCode.MISUSE:d} for bad input, "
        f"{ExitCode.NO_TRUST:d} when the computation is not to be trusted, "
        f"{ExitCode.INTERNAL:d} for a fault of the program itself, "
        f"{ExitCode.INTERRUPTED:d} when it was interrupted",
        f"bell of {mass} is to go into its frame, {height} up, "
        f"with {WORDS[bell.motors[0].count]} small motors",
        f"After {WORDS[len(rows) - 1]} rungs it is",
        f"| {mass}, {height} up | from the data sheet "
        f"| after {WORDS[len(rows) - 1]} rungs, {level} interval | measured |",
        f"| lift time | {quantity(tested.predicted_time, 's')} "
        f"| {interval(coming, 'lift_time', 's')} | {quantity(tested.measured_time, 's')} |",
        f"| current | {quantity(tested.predicted_current, 'A')} "
        f"| {interval(coming, 'current', 'A')} | {quantity(tested.measured_current, 'A')} |",
        f"at least {read} cases, and at most {recalled} more whose values are from memory",
        f"Changes in version {winchsim.__version__}",
        "Answers differ from 0.1.0",
    ]


def python_output(text: str) -> str:
    """What README's Python example prints."""
    ((_, code),) = blocks(text, "python")
    call = [sys.executable, "-c", "\n".join(code)]
    return subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=True).stdout


def shown(text: str) -> list[str]:
    """Calls whose results README shows: all but those on a scenario of the reader."""
    return [call for call in commands(text) if "scenarios/" in call or "tuned/" in call]


def results(text: str, called: list[str]) -> Results:
    """Each of some calls run once, in order, in the current folder with a copy of ``scenarios``."""
    ran = {command: run(command) for command in dict.fromkeys(called)}
    ends = {
        str(path): lesson_and_result(str(path)) for path in sorted(Path("scenarios").glob("*.toml"))
    }
    return Results(ran, ends, claims(), python_output(text))


def rendered(text: str, found: Results) -> str:
    """A README with these results in it."""

    def console(match: re.Match) -> str:
        lines: list[str] = []
        for line in match[1].splitlines():
            if line.startswith("$ "):
                command = line[2:]
                lines += [line, *excerpt(command, found.ran[command].out.splitlines())]
        return "```console\n" + "".join(f"{line}\n" for line in lines) + "```"

    text = re.sub(r"^```console\n(.*?)^```$", console, text, flags=re.MULTILINE | re.DOTALL)
    rows = "".join(
        f"| `{Path(path).name}` | {lesson} | {result} |\n"
        for path, (lesson, result) in found.scenarios.items()
    )
    text = re.sub(r"(?:^\| `\d\d-.*\|\n)+", lambda _: rows, text, flags=re.MULTILINE)
    printed = f"```text\n{found.python}```"
    text = re.sub(r"^```text\n.*?^```$", lambda _: printed, text, flags=re.MULTILINE | re.DOTALL)
    for claim in found.claims:
        text = with_numbers(text, claim)
    return text


def with_numbers(text: str, claim: str) -> str:
    """A text with a passage's numbers in it; its words must stand there."""
    gaps = [re.sub(r"(?:\\ )+", r"\\s+", re.escape(part)) for part in NUMBER.split(claim)]
    wanted = iter(NUMBER.findall(claim))
    return re.sub(
        NUMBER.pattern.join(gaps),
        lambda match: NUMBER.sub(lambda _: next(wanted), match[0]),
        text,
        count=1,
    )


def main() -> None:
    """Rewrite sheets, figures and README."""
    story.main()
    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "scenarios", Path(folder) / "scenarios")
        before = Path.cwd()
        os.chdir(folder)
        found = results(text, shown(text))
        os.chdir(before)
        for path in (
            *Path(folder, "plots").iterdir(),
            *Path(folder, "tuned").glob("measured-predicted.*"),
        ):
            shutil.copy(path, ROOT / "plots" / path.name)
    README.write_text(rendered(text, found), encoding="utf-8")


if __name__ == "__main__":
    main()
