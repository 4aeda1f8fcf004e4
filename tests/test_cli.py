"""The command line: streams, exit codes, help, hints."""

import json
import os
import pkgutil
import subprocess
import sys
from types import SimpleNamespace

import pytest

import winchsim.commands
from tests.screen import Screen
from winchsim import cli
from winchsim.commands.call import Command, ExitCode, argument
from winchsim.errors import TrustError
from winchsim.face import read as load
from winchsim.scenario.starter import STARTER
from winchsim.version import __version__


@pytest.fixture
def screen():
    return Screen()


@pytest.fixture
def command(monkeypatch):
    """Make the command line know one more command, called ``probe FILE``, that does what it is
    told."""

    def make(action):
        file = argument("file", "FILE", "anything")
        probe = Command("probe", "does what the test says", "winchsim probe x", (file,))
        monkeypatch.setitem(sys.modules, "winchsim.commands.probe", SimpleNamespace(run=action))
        monkeypatch.setattr(cli, "COMMANDS", (*cli.COMMANDS, probe))

    return make


# --- exit codes


def test_0_when_all_went_well(screen, tmp_path):
    path = str(tmp_path / "crate.toml")
    assert screen.run("new", path).code == ExitCode.GOOD == 0
    assert screen.out + screen.err == f"wrote {path}\nnext: winchsim lift {path}\n"
    assert load(path).load.mass == 10.0


def test_1_is_what_a_command_says(screen, command):
    command(lambda options, env: ExitCode.BAD)
    assert screen.run("probe", "x").code == 1


def test_2_for_no_arguments_with_short_help(screen):
    assert screen.run().code == 2
    assert "usage: winchsim" in screen.err and not screen.out


def test_2_for_bad_input(screen, tmp_path):
    path = tmp_path / "x.toml"
    path.write_text("[load]\nmass = 25\n")
    assert screen.run("lift", str(path), "--set", "load.height=1").code == 2 and not screen.out
    said = " ".join(screen.err.split())  # lines are folded, where depends on how long the path is
    faults = ("line 2, load.mass: the unit is missing", "1. load.height: the unit is missing")
    assert all(part in said for part in (f"{path}: ", *faults)), said


def test_2_for_what_no_winch_can_be_built_from_with_its_line(screen, tmp_path):
    path = tmp_path / "crate.toml"
    lines = STARTER.splitlines()
    number, line = next(x for x in enumerate(lines, start=1) if x[1].startswith("stall_torque"))
    lines[number - 1] = 'stall_torque = "13 N*m"'
    path.write_text("\n".join(lines))
    assert screen.run("lift", str(path)).code == 2
    assert f"line {number}, motors.1.stall_torque" in screen.err
    assert "read: stall_torque" in screen.err and str(path) in screen.err
    assert screen.run("lift", str(path), "--set", f"motors.1.{line.split('#')[0]}").code != 2
    assert screen.run("lift", str(path), "--set", "motors.1.stall_torque=14 N*m").code == 2
    assert "read: motors.1.stall_torque=14 N*m" in screen.err


def test_2_for_an_existing_file(screen, tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("mine")
    assert screen.run("new", str(path)).code == 2
    assert "--force" in screen.err
    assert path.read_text() == "mine"
    assert Screen().run("new", str(path), "--force").code == 0
    assert path.read_text() != "mine"


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (TrustError("The energy does not close."), 3, "The energy does not close.\n"),
        (KeyboardInterrupt(), 130, "interrupted\n"),
        (BrokenPipeError(), 141, ""),
    ],
)
def test_an_untrusted_result_an_interrupt_and_a_closed_pipe_have_codes_of_their_own(
    screen, command, fault, code, said
):
    def action(options, env):
        raise fault

    command(action)
    assert screen.run("probe", "x").code == code
    assert screen.out + screen.err == said


def test_4_for_an_internal_fault_in_one_line_with_its_traceback_on_request(screen, command):
    def action(options, env):
        raise ZeroDivisionError("oops\nsecond line")

    command(action)
    assert screen.run("probe", "x").code == 4
    assert screen.err.startswith("internal fault: ZeroDivisionError: oops second line\n")
    assert "--debug" in screen.err and "Traceback" not in screen.err
    debugged, data = (Screen().run("probe", "x", flag) for flag in ("--debug", "--json"))
    assert debugged.code == data.code == 4 and "Traceback" in debugged.err
    message = json.loads(data.out)["error"]["message"]
    assert message == "internal fault: ZeroDivisionError: oops second line"


def test_every_exit_code_is_told_in_words():
    assert {code.value for code in ExitCode} == {0, 1, 2, 3, 4, 130, 141}


# --- JSON


@pytest.mark.parametrize(
    "arguments", [["materials"], ["materials", "PLA"], ["keys"], ["keys", "rope"]]
)
def test_json_is_one_document_and_nothing_else(screen, arguments):
    assert screen.run(*arguments, "--json").code == 0 and not screen.err
    data = json.loads(screen.out)
    assert data["meta"]["version"] == __version__ and data["rows"]


def test_new_as_json(screen, tmp_path):
    path = str(tmp_path / "a.toml")
    assert json.loads(screen.run("new", path, "--json").out)["rows"] == [{"file": path}]


def test_an_error_as_json(screen, tmp_path):
    assert screen.run("materials", "unobtainium", "--json").code == 2
    error = json.loads(screen.out)["error"]
    assert error["code"] == "unknown name"
    assert error["faults"][0]["message"] == 'no material or rope "unobtainium"'


def test_misuse_as_json(screen):
    assert screen.run("materials", "--jsno", "--json").code == 2
    assert json.loads(screen.out)["error"]["faults"][0]["hint"] == 'did you mean "--json"?'


# --- hints


@pytest.mark.parametrize(
    ("arguments", "message", "hint"),
    [
        (["matreials"], "unknown command 'matreials'", 'did you mean "materials"?'),
        (["zzz"], "unknown command 'zzz'", "winchsim -h"),
        (["new"], "the following arguments are required: FILE", "winchsim new -h"),
        (["new", "x", "--forse"], "unknown argument --forse", 'did you mean "--force"?'),
        (["materials", "--units", "uss"], "unknown choice 'uss'", 'did you mean "us"?'),
        (["--colour=always"], "unknown argument --colour", 'did you mean "--color"?'),
        (["keys", "rop"], 'no table "rop"', 'did you mean "rope"?'),
    ],
)
def test_misuse_names_the_nearest(screen, arguments, message, hint):
    assert screen.run(*arguments).code == 2
    assert message in screen.err
    assert hint in screen.err
    assert screen.out == ""


def test_options_are_not_guessed_from_their_first_letters(screen, tmp_path):
    assert screen.run("new", str(tmp_path / "a"), "--fo").code == 2
    assert not (tmp_path / "a").exists()


# --- help, version, colour


def test_version_in_one_line(screen):
    assert screen.run("--version").code == 0
    assert screen.out == f"winchsim {__version__}\n"


@pytest.mark.parametrize(
    "arguments", [["-h"], ["new", "-h"], ["materials", "--help"], ["keys", "-h"]]
)
def test_help_has_an_example_and_fits(screen, arguments):
    assert screen.run(*arguments).code == 0
    assert "example:\n  winchsim " in screen.out
    assert max(map(len, screen.out.splitlines())) <= 100
    assert screen.err == ""


def test_help_lists_every_command_with_its_summary(screen):
    screen.run("-h")
    assert all(f"\n    {name} " in screen.out for name in ("new", "materials", "keys"))


def test_no_colour_unless_on_a_terminal(screen):
    assert "\033" not in screen.run("materials").out
    assert "\033" in Screen(stdout_is_terminal=True).run("materials").out
    assert (
        "\033"
        not in Screen(stdout_is_terminal=True, environ={"NO_COLOR": "1"}).run("materials").out
    )
    assert "\033" in Screen().run("materials", "--color", "always").out
    assert "\033" in Screen().run("--color", "always", "materials").out
    assert "\033" in Screen(stderr_is_terminal=True).run("keys", "rop").err


def test_text_is_the_same_with_and_without_colour(screen):
    import re

    painted = Screen().run("keys", "--color", "always").out
    assert re.sub(r"\033\[[0-9;]*m", "", painted) == screen.run("keys").out


def test_keys_as_markdown(screen):
    assert "| `mass` | mass to lift |" in screen.run("keys", "load", "--markdown").out


# --- the process


HEAVY = ("matplotlib", "multiprocessing", "numpy", "pint", "scipy")


def heavy_after(*arguments):
    """Exit code of a command line in a process of its own, and which libraries that take long to
    import it has imported."""
    code = (
        "import sys\n"
        "from winchsim.cli import main\n"
        "code = main(sys.argv[1:])\n"
        f"print(*[name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
        "sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False
    )
    return done.returncode, done.stderr.splitlines()[-1].split()


@pytest.mark.parametrize(
    "line",
    [
        "",
        "--help",
        "lift --help",
        "keys load",
        "materials PETG",
        "new NEW",
        "lift MISSING",
        "curves MISSING",
    ],
)
def test_what_does_not_simulate_is_instant_because_heavy_parts_are_not_imported(line, tmp_path):
    code, heavy = heavy_after(*line.replace("NEW", str(tmp_path / "new.toml")).split())
    assert heavy == []
    assert code == (2 if not line or "MISSING" in line else 0)


@pytest.mark.parametrize(
    "line",
    [
        *("lift", "drum", "gears", "motors", "voltage", "heaviest", "ladder", "spread"),
        *("lift --out DIR", "curves --out DIR"),
    ],
)
def test_a_fault_in_the_scenario_is_told_before_heavy_parts_are_imported(line, tmp_path):
    """The names of files to come need none of them either."""
    path = tmp_path / "crate.toml"
    path.write_text(STARTER.replace("[load]", "[laod]"), encoding="utf-8")
    command, *more = line.replace("DIR", str(tmp_path / "out")).split()
    assert heavy_after(command, str(path), *more) == (2, [])


def test_the_starter_lifts_and_holds_and_imports_nothing_that_only_pictures_need(tmp_path):
    path = tmp_path / "crate.toml"
    path.write_text(STARTER, encoding="utf-8")
    assert heavy_after("lift", str(path), "--no-remedies") == (0, ["numpy", "scipy"])


def test_every_command_has_a_module_that_runs_it():
    modules = {module.name for module in pkgutil.iter_modules(winchsim.commands.__path__)}
    assert {command.module or command.name for command in cli.COMMANDS} <= modules


@pytest.mark.parametrize(("set_before", "after"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3")])
def test_the_process_of_a_command_needs_one_thread_unless_told_otherwise(set_before, after):
    code = "import os, winchsim.cli; winchsim.cli.main(); print(os.environ['OPENBLAS_NUM_THREADS'])"
    environ = {
        name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"
    } | set_before
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environ, check=False
    )
    assert done.stdout == f"{after}\n"


def test_a_program_that_runs_a_command_line_keeps_its_own_settings(screen, monkeypatch):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    assert screen.run("--version").code == 0
    assert "OPENBLAS_NUM_THREADS" not in os.environ


PLAIN = {"PATH": os.environ["PATH"], "LC_ALL": "C", "PYTHONIOENCODING": "ascii"}


def test_runs_as_a_module_in_a_plain_locale():
    done = subprocess.run(
        [sys.executable, "-m", "winchsim", "materials"],
        capture_output=True,
        env=PLAIN,
        check=False,
    )
    assert done.returncode == 0
    assert b"\\x" not in done.stdout and b"deg C" in done.stdout


@pytest.mark.parametrize(
    "arguments", [["materials", "PLA", "--json"], ["keys", "motors", "--json"]]
)
def test_json_in_a_plain_encoding_keeps_its_characters(arguments):
    line = [sys.executable, "-m", "winchsim", *arguments]
    plain = subprocess.run(line, capture_output=True, env=PLAIN, check=True).stdout
    assert plain.isascii()
    assert json.loads(plain) == json.loads(Screen().run(*arguments).out)
