"""Files are written whole or not at all: what fails, who is killed or what is in the way, what was there stays.

Steps of the operating system are made to fail, and processes are killed, at every single step of writing; nothing here waits.
"""

from __future__ import annotations

import ast
import errno
import functools
import importlib
import io
import json
import os
import resource
import signal
import stat
import subprocess
import sys
import tempfile
import threading
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest

import winchsim
from winchsim import cli
from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import Parser
from winchsim.errors import OutputError
from winchsim.report import staging
from winchsim.report.files import check_file, write_whole
from winchsim.report.folder import check_folder, write_folder
from winchsim.report.problems import error_text

SCENARIO = str(Path(__file__).parents[1] / "scenarios" / "07-salvaged-motor.toml")

NEW = {"a.txt": "new a\n" * 500, "b.bin": b"\x00new b" * 500, "c.txt": "new c\n", "d.txt": "new d\n"}
OLD = {"b.bin": b"old b\n", "d.txt": b"old d\n", "a.txt": b"old a\n"}

CASES = {
    "new file": {"file": True, "before": {}, "force": False},
    "file replaced": {"file": True, "before": {"a.txt": OLD["a.txt"], "mine": b"1"}, "force": True},
    "new folder": {"file": False, "before": None, "force": False},
    "new files in a folder": {"file": False, "before": {"mine": b"1"}, "force": False},
    "files replaced": {"file": False, "before": {**OLD, "mine": b"1"}, "force": True},
}
"""What is written (one file or four), what was in the folder before (None: there was none), and whether it may be replaced."""

STEPS = ("mkdir", "fsync", "chmod", "link", "replace", "rename")
"""Calls that change the disk while files are written. Every one is a place where something can go wrong."""


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch):
    """Files are handed to the disk as ever, but nobody waits until it has them."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture(autouse=True)
def _signals_as_at_a_terminal():
    """Ctrl-C as a terminal sends it: a shell that runs the tests in the background has it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


each_case = pytest.mark.parametrize("name", CASES)


def _prepare(folder: Path, case: dict) -> None:
    if case["before"] is not None:
        folder.mkdir()
        for name, content in case["before"].items():
            (folder / name).write_bytes(content)


def _write(folder: Path, case: dict) -> None:
    if case["file"]:
        write_whole(str(folder / "a.txt"), NEW["a.txt"], force=case["force"])
    else:
        write_folder(str(folder), NEW, force=case["force"])


def _error(folder: Path, case: dict) -> OutputError | None:
    """Write, and see how that ends."""
    try:
        _write(folder, case)
    except OutputError as error:
        return error
    return None


def _tree(folder: Path) -> dict[str, bytes] | None:
    """Every file below a folder by its path from there; None without the folder."""
    if not folder.exists():
        return None
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def _after(case: dict) -> dict[str, bytes]:
    written = {"a.txt": NEW["a.txt"]} if case["file"] else NEW
    contents = {name: data.encode() if isinstance(data, str) else data for name, data in written.items()}
    return {**(case["before"] or {}), **contents}


class Faults:
    """Makes calls of the operating system fail from a certain one on, a given number of times."""

    def __init__(self, monkeypatch, *, number: int = errno.ENOSPC) -> None:
        self.calls, self.first, self.burst, self.number = 0, 0, 0, number
        for name in STEPS:
            monkeypatch.setattr(os, name, self._faulty(getattr(os, name)))
        monkeypatch.setattr(staging, "open", self._open, raising=False)

    def arm(self, first: int, burst: int) -> None:
        """Fail at this call, counted from 1, and at those behind it."""
        self.calls, self.first, self.burst = 0, first, burst

    def _step(self) -> None:
        self.calls += 1
        if self.first <= self.calls < self.first + self.burst:
            raise OSError(self.number, os.strerror(self.number))

    def _faulty(self, real):
        def call(*arguments, **options):
            self._step()
            return real(*arguments, **options)

        return call

    def _open(self, path, mode):
        """A file whose writing may stop half way, and whose closing may fail."""
        self._step()
        file, faults = open(path, mode), self  # noqa: SIM115

        class Slow(io.BufferedIOBase):
            def write(self, data):
                file.write(data[: len(data) // 2])
                faults._step()
                file.write(data[len(data) // 2 :])
                return len(data)

            def flush(self):
                if not file.closed:
                    file.flush()

            def fileno(self):
                return file.fileno()

            def close(self):
                if not file.closed:
                    file.close()
                    faults._step()

        return Slow()


# --- steps that fail -----------------------------------------------------------------------------------------------------


@each_case
@pytest.mark.parametrize("burst", [1, 2])
def test_a_step_that_fails_leaves_all_or_nothing(tmp_path, monkeypatch, name, burst):
    """A burst of two defeats the second way where there is one, such as on a file system without hard links."""
    case, faults, failed = CASES[name], Faults(monkeypatch), 0
    for first in range(1, 100):
        outer = tmp_path / str(first)
        faults.arm(0, 0)
        outer.mkdir()
        _prepare(outer / "out", case)
        faults.arm(first, burst)
        error = _error(outer / "out", case)
        if error is None:
            assert _tree(outer / "out") == _after(case), first
        elif "could not be put back" in error.reason:  # the second fault met the putting back
            assert burst == 2 and {*case["before"].values()} <= {*_tree(outer / "out").values()}
        else:
            failed += 1
            assert "cannot be written: no space left on device" in error.reason and error.hint.startswith("make room")
            assert error.path.startswith(str(outer / "out"))
            assert _tree(outer / "out") == case["before"], first
        assert {path.name for path in outer.iterdir()} <= {"out"}
        if faults.calls < first:
            break
    assert first < 100 and failed >= 5


def test_what_cannot_be_put_back_is_kept_and_named(tmp_path, monkeypatch):
    """The disk goes bad for good in the middle of replacing: no old file is lost, and the error says where each is."""
    case, faults, kept = CASES["files replaced"], Faults(monkeypatch, number=errno.EIO), 0
    for first in range(1, 100):
        faults.arm(0, 0)
        folder = tmp_path / str(first)
        _prepare(folder, case)
        faults.arm(first, 1000)
        error = _error(folder, case)
        if error is None:
            break
        assert {*case["before"].values()} <= {*_tree(folder).values()}
        left = [path for path in folder.iterdir() if path.name.startswith(staging.MARK)]
        assert bool(left) == ("could not be put back, it is kept as" in error.reason)
        assert all(str(path) in error.reason for path in left)
        kept += len(left)
    assert first < 100 and kept >= 2


def test_a_new_file_that_cannot_be_withdrawn_is_named(tmp_path, monkeypatch):
    real, calls = os.link, []

    def link(*arguments, **options):
        calls.append(arguments)
        if len(calls) > 2:
            raise OSError(errno.EIO, "Input/output error")
        real(*arguments, **options)

    def refuse(*_, **__):
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "link", link)
    monkeypatch.setattr(os, "rename", refuse)
    monkeypatch.setattr(os, "unlink", refuse)
    with pytest.raises(OutputError) as caught:
        write_folder(str(tmp_path), NEW)
    assert caught.value.path == str(tmp_path / "c.txt")
    for name in ("a.txt", "b.bin"):
        assert f"{tmp_path / name} was written and stays" in caught.value.reason
    assert "nothing was written" not in caught.value.reason


@pytest.mark.parametrize(
    ("number", "reason", "hint"),
    [
        (errno.ENOSPC, "no space left on device", "make room there, or write to another place"),
        (errno.EDQUOT, os.strerror(errno.EDQUOT).lower(), "make room there, or write to another place"),
        (errno.EROFS, "read-only file system", "write to a place where you may"),
        (errno.EACCES, "permission denied", "write to a place where you may"),
        (errno.EIO, "input/output error", "write to another place"),
    ],
)
def test_each_refusal_says_path_reason_and_what_to_do(tmp_path, monkeypatch, number, reason, hint):
    faults = Faults(monkeypatch, number=number)
    faults.arm(1, 1000)
    for path, write in (
        (tmp_path / "a.txt", lambda path: write_whole(path, "x")),
        (tmp_path, lambda path: write_folder(path, NEW)),
        (tmp_path / "new", lambda path: write_folder(path, NEW)),
    ):
        with pytest.raises(OutputError) as caught:
            write(str(path))
        assert caught.value.path == str(path) and caught.value.hint == hint
        assert caught.value.reason.removesuffix("; nothing was written") == f"cannot be written: {reason}"
    assert os.listdir(tmp_path) == []


@contextmanager
def _read_only_folder(monkeypatch):
    """A folder with a file in it to which nobody but root may write, and a process that is not root."""
    with tempfile.TemporaryDirectory() as outer:
        os.chmod(outer, 0o755)
        folder = Path(outer) / "locked"
        folder.mkdir()
        (folder / "a.txt").write_text("old")
        folder.chmod(0o555)
        is_root = os.geteuid() == 0
        with monkeypatch.context() as patch:
            if is_root:
                try:
                    os.seteuid(65534)
                except OSError:  # a root that may not become another user
                    Faults(patch, number=errno.EACCES).arm(1, 1000)
            try:
                yield folder
            finally:
                if is_root:
                    os.seteuid(0)
        folder.chmod(0o755)


def test_a_read_only_folder_is_told_and_its_files_stay(monkeypatch):
    with _read_only_folder(monkeypatch) as folder:
        for act in (
            lambda: check_file(str(folder / "b.txt")),
            lambda: write_whole(str(folder / "b.txt"), "new"),
            lambda: write_whole(str(folder / "a.txt"), "new", force=True),
            lambda: check_folder(str(folder), NEW, force=True),
            lambda: write_folder(str(folder), NEW, force=True),
            lambda: check_folder(str(folder / "inside"), NEW),
            lambda: write_folder(str(folder / "inside"), NEW),
        ):
            with pytest.raises(OutputError, match="cannot be written: permission denied") as caught:
                act()
            assert caught.value.path.startswith(str(folder)) and caught.value.hint == "write to a place where you may"
        assert _tree(folder) == {"a.txt": b"old"} and len(os.listdir(folder)) == 1


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (900, 900))
from winchsim.report.folder import write_folder
from winchsim.cli import main
if sys.argv[1] == "folder":
    write_folder(sys.argv[2], {"a.txt": "new", "b.bin": "new", "c.txt": "x" * 1000, "d.txt": "new"}, force=True)
else:
    sys.exit(main(sys.argv[2:]))
"""
"""A process for which no file may grow over 900 bytes: the system itself refuses in the middle of a write."""


def _limited(*arguments: str, **options) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-c", LIMITED, *arguments], check=False, text=True, **options)


def test_a_file_that_the_system_cuts_short_is_not_left(tmp_path):
    path = tmp_path / "crate.toml"
    for content in (None, "old"):
        if content:
            path.write_text(content)
        done = _limited("cli", "new", str(path), "--force", capture_output=True)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr == (
            f"{path}: cannot be written: file too large [W-F01]\n   try: make room there, or write to another place\n"
        )
        assert _tree(tmp_path) == ({"crate.toml": b"old"} if content else {}) and len(os.listdir(tmp_path)) == bool(content)


def test_the_third_of_four_files_is_cut_short(tmp_path):
    _prepare(tmp_path / "out", CASES["files replaced"])
    done = _limited("folder", str(tmp_path / "out"), capture_output=True)
    last = done.stderr.splitlines()[-1]
    assert f"{tmp_path / 'out' / 'c.txt'}: cannot be written: file too large; nothing was written" in last
    assert _tree(tmp_path / "out") == CASES["files replaced"]["before"] and os.listdir(tmp_path) == ["out"]


# --- processes that are killed ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_what_cannot_be_put_back_is_named_before_an_interrupt_is_heeded(tmp_path, monkeypatch, number):
    """A signal meets a disk that goes bad in the middle of replacing: the error is read, the signal would hide it."""
    case, folder, replace_file = CASES["files replaced"], tmp_path / "out", os.replace
    _prepare(folder, case)
    placed = []

    def bad_from_the_second_on(source, target):
        if placed:
            signal.raise_signal(number)
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        placed.append(target)
        replace_file(source, target)

    monkeypatch.setattr(os, "replace", bad_from_the_second_on)
    error = _error(folder, case)
    (left,) = [path for path in folder.iterdir() if path.name.startswith(staging.MARK)]
    assert f"{placed[0]} could not be put back, it is kept as {left}" in error.reason
    assert {*case["before"].values()} <= {*_tree(folder).values()}
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.parametrize("fault", [KeyboardInterrupt(), MemoryError("full")])
def test_what_cannot_be_put_back_is_named_whatever_went_wrong(tmp_path, monkeypatch, fault):
    case, folder, replace_file = CASES["files replaced"], tmp_path / "out", os.replace
    _prepare(folder, case)
    faults = iter([None, fault])

    def bad_from_the_second_on(source, target):
        error = next(faults, OSError(errno.EIO, os.strerror(errno.EIO)))
        if error is not None:
            raise error
        replace_file(source, target)

    monkeypatch.setattr(os, "replace", bad_from_the_second_on)
    error = _error(folder, case)
    (left,) = [path for path in folder.iterdir() if path.name.startswith(staging.MARK)]
    words = "was interrupted" if isinstance(fault, KeyboardInterrupt) else "cannot be written: MemoryError: full"
    assert error.reason.startswith(f"{words}; ") and f"it is kept as {left}" in error.reason
    assert error.path == str(folder) and error.__cause__ is fault


KILLED = """
import json, os, sys
from winchsim.report.files import write_whole
from winchsim.report.folder import write_folder

number, steps, is_file, force, outer = json.loads(sys.argv[1])
new = {name: bytes.fromhex(content) for name, content in json.loads(sys.argv[2]).items()}
calls = last = 0

def watched(real):
    def call(*arguments, **options):
        global calls
        calls += 1
        if calls == last:
            os.kill(os.getpid(), number)
        return real(*arguments, **options)
    return call

def write(folder):
    if is_file:
        write_whole(os.path.join(folder, "a.txt"), new["a.txt"], force=force)
    else:
        write_folder(folder, new, force=force)

os.fsync = lambda _: None
for name in steps:
    setattr(os, name, watched(getattr(os, name)))
ends = []
for last in sorted(int(name) for name in os.listdir(outer)):
    child = os.fork()
    if child == 0:
        calls = 0
        try:
            write(os.path.join(outer, str(last), "out"))
            os._exit(0 if calls < last else 99)
        except KeyboardInterrupt:
            os._exit(130)
    ends.append(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
    if ends[-1] == 0:
        break
print(json.dumps(ends))
"""
"""Writes into one folder after another, each time in a process that gets a signal just before the next step."""

MOST_STEPS = 24


def _killed(tmp_path, case: dict, number: int) -> dict[Path, int]:
    """How each process ended, by the folder that it wrote to."""
    for last in range(1, MOST_STEPS + 1):
        (tmp_path / str(last)).mkdir()
        _prepare(tmp_path / str(last) / "out", case)
    new = {name: (data.encode() if isinstance(data, str) else data).hex() for name, data in NEW.items()}
    told = json.dumps([number, STEPS, case["file"], case["force"], str(tmp_path)])
    done = subprocess.run([sys.executable, "-c", KILLED, told, json.dumps(new)], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    ends = json.loads(done.stdout)
    assert ends[-1] == 0 and 0 not in ends[:-1]
    return {tmp_path / str(last) / "out": end for last, end in enumerate(ends, start=1)}


@each_case
@pytest.mark.parametrize(("number", "end"), [(signal.SIGINT, 130), (signal.SIGTERM, -signal.SIGTERM)])
def test_an_interrupted_run_leaves_all_or_nothing_and_no_trace(tmp_path, name, number, end):
    case = CASES[name]
    ends = _killed(tmp_path, case, number)
    undone = 0
    for folder, ended in ends.items():
        found = _tree(folder)
        undone += ended == end and found == case["before"]
        assert found in ([_after(case)] if ended == 0 else [case["before"], _after(case)])
        assert {path.name for path in folder.parent.iterdir()} <= {"out"}
    assert set(ends.values()) == {0, end} and undone >= 3


@each_case
def test_a_killed_run_leaves_whole_files_and_one_folder_that_is_recognised(tmp_path, name):
    case = CASES[name]
    before, after = case["before"] or {}, _after(case)
    ends = _killed(tmp_path, case, signal.SIGKILL)
    assert set(ends.values()) == {0, -signal.SIGKILL} and list(ends.values()).count(-signal.SIGKILL) >= 5
    for folder, ended in ends.items():
        assert [
            path.name for path in folder.parent.iterdir() if path.name.startswith(staging.MARK)
        ] == [] or not folder.exists()
        left = [path for path in folder.parent.rglob("*") if path.name.startswith(staging.MARK)]
        assert len(left) <= (ended != 0)
        named = {key: content for key, content in (_tree(folder) or {}).items() if not key.startswith(staging.MARK)}
        assert set(before) <= set(named) <= set(after)
        assert all(content in (before.get(key), after[key]) for key, content in named.items())
        if case["before"] is None:
            assert named in ({}, after)
        found = list((_tree(folder.parent) or {}).values())
        assert ended == 0 or all(content in found or named[key] == after[key] for key, content in before.items())
        _write(folder, {**case, "force": True})
        assert {key: (_tree(folder) or {})[key] for key in after} == after


def test_of_many_that_want_one_name_one_gets_it(tmp_path):
    race = """
import os, sys
from winchsim.errors import OutputError
from winchsim.report.files import write_whole
ready, go = os.pipe()
children = []
for number in range(8):
    child = os.fork()
    if child == 0:
        os.close(go)
        os.read(ready, 1)
        try:
            write_whole(sys.argv[1], str(number) * 10000)
        except OutputError as error:
            os._exit(1 if error.reason == "this file exists" else 2)
        os._exit(0)
    children.append(child)
os.close(go)
print([os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children])
"""
    done = subprocess.run([sys.executable, "-c", race, str(tmp_path / "a.txt")], capture_output=True, text=True, check=True)
    ends = json.loads(done.stdout)
    assert sorted(ends) == [0] + 7 * [1]
    assert (tmp_path / "a.txt").read_text() == str(ends.index(0)) * 10000 and len(os.listdir(tmp_path)) == 1


def test_signals_that_were_ignored_stay_ignored():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with staging.held() as heed:
            signal.raise_signal(signal.SIGINT)
            heed()
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


def test_writes_from_any_thread(tmp_path):
    thread = threading.Thread(target=write_folder, args=(str(tmp_path / "out"), NEW))
    thread.start()
    thread.join()
    assert set(_tree(tmp_path / "out")) == set(NEW)


# --- commands: refused before the work --------------------------------------------------------------------------------------


@cache
def _parsers() -> dict[str, Parser]:
    """Parser of every command, by its name."""
    env = Env(io.StringIO(), io.StringIO())
    commands = Parser(prog="winchsim", env=env).add_subparsers(parser_class=functools.partial(Parser, env=env))
    for path in Path(winchsim.__file__).parent.glob("commands/*.py"):
        module = importlib.import_module(f"winchsim.commands.{path.stem}")
        if hasattr(module, "register"):
            module.register(commands)
    return dict(commands.choices)


FOLDER_COMMANDS = {
    "lift": [], "drum": [], "gears": [], "motors": [], "voltage": [], "heaviest": [], "ladder": [], "calibrate": ["no.csv"],
    "spread": [], "curves": [], "curves --ladder": [], "curves --format pdf,svg": [], "curves --measured no.csv": [],
    "curves other.toml": [],
}  # fmt: skip
"""Every way to write a folder, with the arguments that it needs behind the scenario."""


def _run(*arguments: str) -> tuple[int, str, str]:
    env = Env(io.StringIO(), io.StringIO())
    code = cli.main(list(arguments), env)
    return code, env.stdout.getvalue(), env.stderr.getvalue()


def _line(words: str, *more: str) -> tuple[list[str], list[str]]:
    """Command line on a scenario that is not there, and the names that it announces: no work can be done before it is read."""
    command, *given = words.split()
    line = [command, "nowhere.toml", *given, *FOLDER_COMMANDS[words], *more]
    options = _parsers()[command].parse_args(line[1:])
    return line, list(options.names_written(options))


def test_every_command_that_writes_announces_it():
    for name, parser in _parsers().items():
        announces = {"names_written", "file_written"} & set(parser._defaults)
        assert bool(announces) == ("--force" in parser._option_string_actions), name
        assert ("--out" in parser._option_string_actions) == ("names_written" in announces), name
    assert {words.split()[0] for words in FOLDER_COMMANDS} == {
        name for name, parser in _parsers().items() if "names_written" in parser._defaults
    }


def test_results_go_out_one_way_only():
    """No command writes a folder, or to a stream, on its own."""
    package = Path(winchsim.__file__).parent
    for path in [*package.glob("commands/*.py"), *package.glob("report/**/*.py")]:
        names = {node.id for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Name)}
        attributes = {node.attr for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Attribute)}
        assert path.name in ("outputs.py", "folder.py") or "write_folder" not in names, path
        assert path.name in ("lift.py", "new.py", "files.py") or "write_whole" not in names, path
        assert path.name == "env.py" or not {"stdout", "stderr"} & attributes, path
        assert path.name in ("staging.py", "files.py", "env.py") or "open" not in names, path


@pytest.mark.parametrize("words", FOLDER_COMMANDS)
def test_a_folder_is_refused_before_the_work_in_the_words_of_afterwards(tmp_path, monkeypatch, words):
    taken, some, file, fine = (tmp_path / name for name in ("taken", "some", "file", "fine"))
    names = _line(words)[1]
    write_folder(str(taken), dict.fromkeys(names, "mine"))
    write_folder(str(some), {names[-1]: "mine"})
    file.write_text("mine")
    for place in (str(taken), str(some), str(file), str(tmp_path / "no" / "such"), "", "odd\0name", "x" * 300):
        before = _tree(tmp_path)
        code, out, err = _run(*_line(words, "--out", place)[0])
        with pytest.raises(OutputError) as caught:
            write_folder(place, dict.fromkeys(names, "new"))
        assert (code, out, err) == (ExitCode.MISUSE, "", error_text(caught.value))
        assert _tree(tmp_path) == before
    faults = Faults(monkeypatch, number=errno.EROFS)
    for place in (taken, fine):
        faults.arm(1, 1000)
        code, out, err = _run(*_line(words, "--out", str(place), "--force")[0])
        with pytest.raises(OutputError, match="read-only file system") as caught:
            write_folder(str(place), dict.fromkeys(names, "new"), force=True)
        assert (code, out, err) == (ExitCode.MISUSE, "", error_text(caught.value))


@pytest.mark.parametrize("words", FOLDER_COMMANDS)
def test_a_folder_that_will_do_is_only_looked_at(tmp_path, words):
    (tmp_path / "mine").write_text("1")
    for place in (tmp_path, tmp_path / "new"):
        line, names = _line(words, "--out", str(place))
        code, _, err = _run(*line)
        assert code == ExitCode.MISUSE and "nowhere.toml" in err and "no such file" in err
        assert os.listdir(tmp_path) == ["mine"] and names
    (tmp_path / names[0]).write_text("old")
    assert "nowhere.toml" in _run(*_line(words, "--out", str(tmp_path), "--force")[0])[2]
    assert (tmp_path / names[0]).read_text() == "old"


@pytest.mark.parametrize("line", [["new", "PLACE"], ["lift", "nowhere.toml", "--csv", "PLACE"]])
def test_a_file_is_refused_before_the_work_in_the_words_of_afterwards(tmp_path, monkeypatch, line):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "nothing there")
    for place in ("file", "link", "", "no/such", "file/x", "new/", "odd\0name", "x" * 300):
        path = f"{tmp_path}/{place}"
        code, out, err = _run(*(path if word == "PLACE" else word for word in line))
        with pytest.raises(OutputError) as caught:
            write_whole(path, "new")
        assert (code, out, err) == (ExitCode.MISUSE, "", error_text(caught.value))
        assert sorted(os.listdir(tmp_path)) == ["file", "link"] and (tmp_path / "file").read_text() == "mine"
    assert _run(*("" if word == "PLACE" else word for word in line))[2].startswith("'': no file is named")
    Faults(monkeypatch, number=errno.EROFS).arm(1, 1000)
    err = _run(*(str(tmp_path / "fine") if word == "PLACE" else word for word in line))[2]
    assert err.startswith(f"{tmp_path / 'fine'}: cannot be written: read-only file system")


def test_two_results_do_not_go_into_one_file(tmp_path):
    (tmp_path / "same").symlink_to(tmp_path)
    csv = str(tmp_path / "same" / "record.csv")
    code, _, err = _run("lift", "nowhere.toml", "--csv", csv, "--out", str(tmp_path), "--force")
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
        code, _, err = _run(*arguments)
        assert code == ExitCode.MISUSE and "is read by the same command" in err, arguments
        assert scenario.read_text(encoding="utf-8") == text == sheet.read_text(encoding="utf-8")


def test_a_command_may_only_write_what_it_announced(tmp_path):
    from winchsim.commands.outputs import write_out

    options = _parsers()["ladder"].parse_args(["x", "--out", str(tmp_path)])
    with pytest.raises(ValueError, match=r"not announced: .*'more'"):
        write_out(options, Env(io.StringIO(), io.StringIO()), {"ladder.csv": "", "more": ""})
    assert os.listdir(tmp_path) == []


# --- nothing outside the folder ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "../up", "a/b", "/etc/x", "a\\b", "C:x", "nul\0", "line\n", "\x1b[2J", "CON", "con.txt", "NUL .txt", "lpt1",
     "COM9.csv", "end.", "end ", ".hidden", " lead", "q?", "st*r", "<b>", "a|b", '"', "x" * 121, "漢" * 41, "\udcff",
     "right\u202eleft"],
)  # fmt: skip
def test_no_odd_name_is_written(tmp_path, name):
    (tmp_path / "out").mkdir()
    for act in (lambda: write_folder(str(tmp_path / "out"), {"a.txt": "x", name: "x"}, force=True),
                lambda: check_folder(str(tmp_path / "new"), ("a.txt", name))):  # fmt: skip
        with pytest.raises(OutputError, match="is no plain file name; nothing was written"):
            act()
    assert _tree(tmp_path) == {} and os.listdir(tmp_path) == ["out"]


def test_names_of_files_do_not_come_from_a_scenario(tmp_path):
    """Title, file name and a value of the scenario that would lead elsewhere: the files keep their names and their folder."""
    folder = tmp_path / "in" / "deep"
    folder.mkdir(parents=True)
    odd = folder / "..%2f CON.toml"
    odd.write_text(Path(SCENARIO).read_text("utf-8"), "utf-8")
    title = 'title="../../escaped/CON "'
    out = folder / "out"
    code, _, err = _run("curves", str(odd), SCENARIO, "--set", title, "--out", str(out), "--format", "svg")
    assert code == ExitCode.GOOD, err
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()) == [
        "in/deep/..%2f CON.toml", "in/deep/out/overlay.svg"
    ]  # fmt: skip
    assert "../../escaped/CON" in (out / "overlay.svg").read_text("utf-8")


def test_a_link_in_the_folder_is_replaced_and_what_it_leads_to_stays(tmp_path):
    victim, out = tmp_path / "victim", tmp_path / "out"
    victim.write_text("mine")
    out.mkdir()
    (out / "a.txt").symlink_to(victim)
    (out / "d.txt").symlink_to(tmp_path / "nothing there")
    with pytest.raises(OutputError, match="this file exists, and 1 more; nothing was written"):
        write_folder(str(out), NEW)
    write_folder(str(out), NEW, force=True)
    assert victim.read_text() == "mine" and not (out / "a.txt").is_symlink()
    assert {name: _tree(out)[name] for name in NEW} == _after(CASES["new folder"])
    assert sorted(os.listdir(tmp_path)) == ["out", "victim"]


def test_links_are_put_back_as_links(tmp_path, monkeypatch):
    victim, out = tmp_path / "victim", tmp_path / "out"
    victim.write_text("mine")
    out.mkdir()
    (out / "a.txt").symlink_to(victim)
    real = os.replace

    def replace(source, target):
        if target.endswith("c.txt"):
            raise OSError(errno.ENOSPC, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(OutputError, match="nothing was written"):
        write_folder(str(out), NEW, force=True)
    assert os.listdir(out) == ["a.txt"] and (out / "a.txt").is_symlink() and victim.read_text() == "mine"


@pytest.mark.parametrize("force", [False, True])
def test_what_is_no_file_is_never_replaced(tmp_path, force):
    (tmp_path / "b.bin").mkdir()
    with pytest.raises(OutputError, match="this is not a file; nothing was written") as caught:
        write_folder(str(tmp_path), NEW, force=force)
    assert caught.value.path == str(tmp_path / "b.bin") and os.listdir(tmp_path) == ["b.bin"]


def test_permissions_are_the_usual_ones_or_those_of_before(tmp_path):
    before = os.umask(0o027)
    try:
        write_folder(str(tmp_path / "out"), NEW)
        (tmp_path / "out" / "b.bin").chmod(0o604)
        write_folder(str(tmp_path / "out"), NEW, force=True)
    finally:
        os.umask(before)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "out").iterdir()}
    assert modes == {**dict.fromkeys(NEW, 0o640), "b.bin": 0o604}
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o750


# --- standard output ----------------------------------------------------------------------------------------------------------


class Full(io.StringIO):
    """A stream that takes nothing."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number

    def write(self, text):
        raise OSError(self.number, os.strerror(self.number)) if self.number != errno.EPIPE else BrokenPipeError()


PRINTING = [
    ["materials"],
    ["materials", "--json"],
    ["keys"],
    ["-h"],
    ["lift", "-h"],
    ["--version"],
    ["keys", "no-such", "--json"],
]


@pytest.mark.parametrize("line", PRINTING)
def test_a_full_disk_behind_standard_output_is_told_once(line):
    env = Env(Full(errno.ENOSPC), io.StringIO())
    assert cli.main(line, env) == ExitCode.MISUSE
    assert env.stderr.getvalue() == (
        "standard output: cannot be written: no space left on device [W-F01]\n"
        "   try: make room there, or write to another place\n"
    )


@pytest.mark.parametrize("line", PRINTING)
def test_a_reader_that_has_gone_ends_it_quietly(line):
    env = Env(Full(errno.EPIPE), io.StringIO())
    assert cli.main(line, env) == ExitCode.PIPE_CLOSED and env.stderr.getvalue() == ""


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EPIPE])
def test_notes_that_nobody_can_read_stop_nothing(tmp_path, number):
    env = Env(io.StringIO(), Full(number))
    assert cli.main(["keys", "no-such"], env) == ExitCode.MISUSE
    assert cli.main(["new", str(tmp_path / "a.toml")], env) == ExitCode.GOOD and (tmp_path / "a.toml").exists()


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_process_on_a_full_disk_ends_with_words(tmp_path, unbuffered):
    """The buffered rest is refused as well while the process ends; Python itself then has nothing to add."""
    environ = {**os.environ, "PYTHONUNBUFFERED": unbuffered}
    with open(tmp_path / "out", "w") as out:
        done = _limited("cli", "keys", stdout=out, stderr=subprocess.PIPE, env=environ)
    assert done.returncode == 2
    assert (
        done.stderr.startswith("standard output: cannot be written: file too large [W-F01]\n") and done.stderr.count("\n") == 2
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
    expected = "standard output: cannot be written: bad file descriptor [W-F01]\n   try: write to another place\n"
    assert told == (expected if closed == (1,) else "")


def test_a_file_that_is_a_pipe_nobody_reads_ends_quietly():
    reader, writer = os.pipe()
    os.close(reader)
    line = [sys.executable, "-m", "winchsim", "new", "/dev/stdout"]
    done = subprocess.run(line, stdout=writer, stderr=subprocess.PIPE, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, b"")


def test_a_lift_into_a_closed_pipe_ends_quietly():
    reader, writer = os.pipe()
    os.close(reader)
    line = [sys.executable, "-m", "winchsim", "lift", SCENARIO]
    done = subprocess.run(line, stdout=writer, stderr=subprocess.PIPE, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, b"")


def test_limits_of_this_process_are_untouched():
    """The tests above limit only processes of their own."""
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] in (
        resource.RLIM_INFINITY,
        resource.getrlimit(resource.RLIMIT_FSIZE)[1],
    )
    assert os.geteuid() == os.getuid()
