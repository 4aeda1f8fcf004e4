"""Results of commands: refused before the work, only where announced, and told when standard output
takes nothing."""

import ast
import errno
import functools
import io
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

import winchsim
from tests.screen import run
from winchsim import cli
from winchsim.commands.call import Env, ExitCode, Parser
from winchsim.errors import OutputError
from winchsim.report.problems import error_text
from winchsim.report.writing import JOURNAL, write_file, write_folder

SCENARIO = str(Path(__file__).parents[1] / "scenarios" / "07-bicycle-by-bench-motor.toml")


@cache
def _parsers() -> dict[str, Parser]:
    """Parser of every command, by its name."""
    env = Env(io.StringIO(), io.StringIO())
    commands = Parser(prog="winchsim", env=env).add_subparsers(
        parser_class=functools.partial(Parser, env=env)
    )
    for command in cli.COMMANDS:
        command.add(commands)
    return dict(commands.choices)


FOLDER_COMMANDS = {
    "lift": [],
    "drum": [],
    "gears": [],
    "motors": [],
    "voltage": [],
    "heaviest": [],
    "choose": [],
    "ladder": [],
    "calibrate": ["no.csv"],
    "why": ["no.csv"],
    "spread": [],
    "curves": [],
    "curves --ladder": [],
    "curves --format pdf,svg": [],
    "curves --measured no.csv": [],
    "curves other.toml": [],
    "sweep": ["--vary", "load.mass=5kg,6kg"],
}
"""Every way to write a folder, with the arguments that it needs behind the scenario."""


def _line(words: str, *more: str) -> tuple[list[str], list[str]]:
    """Command line on a scenario that is not there, and the names that it announces: no work can be
    done before it is read."""
    command, *given = words.split()
    line = [command, "nowhere.toml", *given, *FOLDER_COMMANDS[words], *more]
    options = _parsers()[command].parse_args(line[1:])
    return line, list(options.command.written(options))


def test_every_command_that_writes_announces_it():
    folders = set()
    for name, parser in _parsers().items():
        command = parser.get_default("command")
        assert bool(command.file or command.names) == ("--force" in parser._option_string_actions)
        assert ("--out" in parser._option_string_actions) == (bool(command.names)), name
        folders |= {name} if command.names else set()
    assert {words.split()[0] for words in FOLDER_COMMANDS} == folders


def test_results_go_out_one_way_only():
    """No command writes a folder, a file or to a stream on its own."""
    package = Path(winchsim.__file__).parent
    for path in [*package.glob("commands/*.py"), *package.glob("report/**/*.py")]:
        nodes = list(ast.walk(ast.parse(path.read_text("utf-8"))))
        names = {node.id for node in nodes if isinstance(node, ast.Name)}
        attributes = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
        if path.name not in ("call.py", "writing.py"):
            assert not {"write_folder", "open"} & names, path
            assert path.name == "new.py" or "write_file" not in names, path
        assert path.name == "call.py" or not {"stdout", "stderr"} & attributes, path


@pytest.mark.parametrize("words", FOLDER_COMMANDS)
def test_a_folder_is_refused_before_the_work_in_the_words_of_afterwards(tmp_path, words):
    taken, file = tmp_path / "taken", tmp_path / "file"
    names = _line(words)[1]
    write_folder(str(taken), dict.fromkeys(names[-1:], "mine"))
    file.write_text("mine")
    for place in (str(taken), str(file), str(tmp_path / "no" / "such")):
        code, out, err = run(*_line(words, "--out", place)[0])
        with pytest.raises(OutputError) as caught:
            write_folder(place, dict.fromkeys(names, "new"))
        assert (code, out, err) == (ExitCode.MISUSE, "", error_text(caught.value))
    assert "nowhere.toml" in run(*_line(words, "--out", str(taken), "--force")[0])[2]
    assert (taken / names[-1]).read_text() == "mine" and sorted(os.listdir(tmp_path)) == [
        "file",
        "taken",
    ]


@pytest.mark.parametrize("place", ["file", "no/such", "new/"])
@pytest.mark.parametrize("line", [["new", "PLACE"], ["lift", "nowhere.toml", "--csv", "PLACE"]])
def test_a_file_is_refused_before_the_work_in_the_words_of_afterwards(tmp_path, line, place):
    (tmp_path / "file").write_text("mine")
    path = f"{tmp_path}/{place}"
    code, out, err = run(*(path if word == "PLACE" else word for word in line))
    with pytest.raises(OutputError) as caught:
        write_file(path, "new")
    assert (code, out, err) == (ExitCode.MISUSE, "", error_text(caught.value))


def test_a_set_that_a_killed_run_left_mixed_is_reported_at_the_next_start(tmp_path):
    (tmp_path / JOURNAL).write_text('["report.html", "record.csv"]')
    err = run("lift", "nowhere.toml", "--out", str(tmp_path))[2]
    assert str(tmp_path) in err and "report.html, record.csv" in err and "nowhere.toml" in err


def test_two_results_do_not_go_into_one_file(tmp_path):
    (tmp_path / "same").symlink_to(tmp_path)
    csv = str(tmp_path / "same" / "record.csv")
    code, _, err = run("lift", "nowhere.toml", "--csv", csv, "--out", str(tmp_path), "--force")
    assert code == ExitCode.MISUSE and err.startswith(f"{csv}: two results would go into this file")


def test_a_result_never_goes_into_what_the_same_command_reads(tmp_path):
    """Not even when files may be replaced; nor by another name of the same file."""
    text = Path(SCENARIO).read_text(encoding="utf-8")
    scenario, sheet = tmp_path / "mine.toml", tmp_path / "calibrated.toml"
    other = tmp_path / "link.toml"
    for file in (scenario, sheet):
        file.write_text(text, encoding="utf-8")
    other.symlink_to(scenario)
    for arguments in (
        ("lift", str(scenario), "--csv", str(scenario), "--force"),
        ("lift", str(scenario), "--csv", str(other), "--force"),
        ("calibrate", str(scenario), str(sheet), "--out", str(tmp_path), "--force"),
    ):
        code, _, err = run(*arguments)
        assert code == ExitCode.MISUSE and "is read by the same command" in err, arguments
        assert scenario.read_text(encoding="utf-8") == text == sheet.read_text(encoding="utf-8")


def test_a_command_may_only_write_what_it_announced(tmp_path):
    from winchsim.commands.call import write_out

    options = _parsers()["ladder"].parse_args(["x", "--out", str(tmp_path)])
    with pytest.raises(ValueError, match=r"not announced: .*'more'"):
        write_out(options, Env(io.StringIO(), io.StringIO()), {"ladder.csv": "", "more": ""})
    assert os.listdir(tmp_path) == []


def test_names_of_files_do_not_come_from_a_scenario(tmp_path):
    """Title, file name and a value of the scenario that would lead elsewhere: the files keep their
    names and their folder."""
    folder = tmp_path / "in" / "deep"
    folder.mkdir(parents=True)
    odd = folder / "..%2f CON.toml"
    odd.write_text(Path(SCENARIO).read_text("utf-8"), "utf-8")
    title = 'title="../../escaped/CON "'
    out = folder / "out"
    code, _, err = run(
        "curves", str(odd), SCENARIO, "--set", title, "--out", str(out), "--format", "svg"
    )
    assert code == ExitCode.GOOD, err
    assert sorted(
        str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()
    ) == ["in/deep/..%2f CON.toml", "in/deep/out/overlay.svg"]
    assert "../../escaped/CON" in (out / "overlay.svg").read_text("utf-8")


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (900, 900))
from winchsim.cli import main
sys.exit(main(sys.argv[1:]))
"""
"""A process for which no file may grow over 900 bytes: the system itself refuses in the middle of a
write."""


def _limited(*arguments: str, **options) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-c", LIMITED, *arguments], check=False, text=True, **options
    )


def test_a_file_that_the_system_cuts_short_is_not_left(tmp_path):
    path = tmp_path / "crate.toml"
    path.write_text("old")
    done = _limited("new", str(path), "--force", capture_output=True)
    assert done.returncode == 2 and "file too large" in done.stderr
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["crate.toml"]


# --- standard output


class Full(io.StringIO):
    """A stream that takes nothing."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number

    def write(self, text):
        raise (
            OSError(self.number, os.strerror(self.number))
            if self.number != errno.EPIPE
            else BrokenPipeError()
        )


PRINTING = [
    ["materials"],
    ["materials", "--json"],
    ["keys"],
    ["-h"],
    ["lift", "-h"],
    ["--version"],
    ["keys", "no-such", "--json"],
]


NO_ROOM = (
    "standard output: cannot be written: no space left on device\n"
    "   try: make room there, or write to another place\n"
)


@pytest.mark.parametrize("line", PRINTING)
@pytest.mark.parametrize(
    ("number", "code", "told"),
    [(errno.ENOSPC, ExitCode.MISUSE, NO_ROOM), (errno.EPIPE, ExitCode.PIPE_CLOSED, "")],
    ids=["full disk", "reader gone"],
)
def test_standard_output_that_takes_nothing_is_told_once_or_ends_it_quietly(
    line, number, code, told
):
    env = Env(Full(number), io.StringIO())
    assert cli.main(line, env) == code and env.stderr.getvalue() == told


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EPIPE])
def test_notes_that_nobody_can_read_stop_nothing(tmp_path, number):
    env = Env(io.StringIO(), Full(number))
    assert cli.main(["keys", "no-such"], env) == ExitCode.MISUSE
    assert (
        cli.main(["new", str(tmp_path / "a.toml")], env) == ExitCode.GOOD
        and (tmp_path / "a.toml").exists()
    )


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_process_on_a_full_disk_ends_with_words(tmp_path, unbuffered):
    """The buffered rest is refused as well while the process ends; Python itself then has nothing
    to add."""
    environ = {**os.environ, "PYTHONUNBUFFERED": unbuffered}
    with open(tmp_path / "out", "w") as out:
        done = _limited("keys", stdout=out, stderr=subprocess.PIPE, env=environ)
    assert done.returncode == 2
    assert (
        done.stderr.startswith("standard output: cannot be written: file too large\n")
        and done.stderr.count("\n") == 2
    )


@pytest.mark.parametrize("closed", [(1,), (2,), (1, 2)])
def test_streams_that_were_closed_before(tmp_path, closed):
    def close():
        for handle in closed:
            os.close(handle)

    with open(tmp_path / "out", "w+b") as out, open(tmp_path / "err", "w+b") as err:
        line = [sys.executable, "-m", "winchsim", "keys", "rope"]
        done = subprocess.run(line, stdout=out, stderr=err, preexec_fn=close, check=False)
    said, told = (tmp_path / "out").read_text("utf-8"), (tmp_path / "err").read_text("utf-8")
    assert done.returncode == (2 if 1 in closed else 0)
    assert bool(said) == (1 not in closed)
    expected = (
        "standard output: cannot be written: bad file descriptor\n   try: write to another place\n"
    )
    assert told == (expected if closed == (1,) else "")


@pytest.mark.parametrize("arguments", [("new", "/dev/stdout"), ("lift", SCENARIO)])
def test_a_pipe_that_nobody_reads_ends_it_quietly(arguments):
    reader, writer = os.pipe()
    os.close(reader)
    line = [sys.executable, "-m", "winchsim", *arguments]
    done = subprocess.run(line, stdout=writer, stderr=subprocess.PIPE, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, b"")
