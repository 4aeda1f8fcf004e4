"""What the README says holds: its commands, its outputs, its table, its Python."""

from __future__ import annotations

import io
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from winchsim import cli
from winchsim.commands.env import Env

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def _commands() -> list[str]:
    """Every call of winchsim in the README, without comments and without the path of its virtual environment."""
    lines = [line for block in _blocks("sh") + _blocks("console") for line in block.splitlines()]
    found = [re.search(r"(?:^|[/ ])(winchsim [^#&]*)", line) for line in lines]
    return [match[1].strip() for match in found if match]


def _run(*arguments: str) -> tuple[int, str]:
    env = Env(io.StringIO(), io.StringIO())
    code = cli.main(list(arguments), env)
    return code, env.stdout.getvalue() + env.stderr.getvalue()


def test_two_commands_install_run_and_test():
    found = [line for block in _blocks("sh") for line in block.splitlines() if line.startswith("python3 -m venv")]
    assert len(found) == 2
    assert all(".venv/bin/pip install -q" in line for line in found)
    assert found[0].endswith("winchsim lift scenarios/01-anvil-onto-the-bench.toml")
    assert found[1].endswith(".venv/bin/python -m pytest")


@pytest.fixture
def workplace(tmp_path, monkeypatch):
    """A folder with the scenarios of the tree, where the README's commands may write."""
    os.symlink(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    assert _run("new", "crate.toml")[0] == 0
    return tmp_path


def test_every_command_runs(workplace):
    commands = _commands()
    assert len(commands) >= 6
    for command in commands:
        _, *arguments = shlex.split(command)
        code, output = _run(*arguments, *(["--force"] if arguments[0] == "new" else []))
        assert code == 0, f"{command}: {output}"


def test_outputs_are_what_is_printed(workplace):
    for block in _blocks("console"):
        command, *shown = block.splitlines()
        _, *arguments = shlex.split(command.removeprefix("$ "))
        assert _run(*arguments)[1].splitlines()[: len(shown)] == shown


def test_the_table_of_scenarios_gives_their_verdicts():
    rows = re.findall(r"^\| `(scenarios/\S+)` \| (.+) \|$", README, re.MULTILINE)
    assert sorted(path for path, _ in rows) == sorted(f"scenarios/{p.name}" for p in (ROOT / "scenarios").glob("*.toml"))
    for path, sentence in rows:
        _, output = _run("lift", str(ROOT / path), "--no-cures")
        first = output.split(str(ROOT))[0]
        assert " ".join(first.split()) == sentence


def test_every_option_of_lift_is_in_its_table():
    _, text = _run("lift", "-h")
    offered = set(re.findall(r"^  (?:-\w, )?(--[\w-]+)", text, re.MULTILINE)) - {"--help", "--color", "--debug", "--force"}
    told = set(re.findall(r"^\| `(--[\w-]+)", README, re.MULTILINE))
    assert told == offered


def test_the_python_prints_what_is_shown():
    (code,), (shown,) = _blocks("python"), _blocks("text")
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout == shown
