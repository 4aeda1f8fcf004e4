"""Result files: complete or not there, replaced on request only, sets never mixed."""

import errno
import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from winchsim.errors import OutputError
from winchsim.report import writing
from winchsim.report.writing import JOURNAL, check_file, check_folder, write_file, write_folder

NEW = {"a.txt": "new a\n", "b.bin": b"\x00new b", "c.txt": "new c\n"}
OLD = {"a.txt": b"old a\n", "c.txt": b"old c\n", "mine": b"1"}
STEPS = ("fsync", "chmod", "replace", "mkdir")


def _contents(folder):
    return {path.name: path.read_bytes() for path in Path(folder).iterdir()}


def _bytes(files):
    return {name: data.encode() if isinstance(data, str) else data for name, data in files.items()}


def _refusal(write):
    """The error that writing raises, if any."""
    try:
        write()
    except OutputError as error:
        return error
    return None


def _fill(folder, files):
    folder.mkdir(exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


def test_a_set_is_written_and_replaced_on_request_only(tmp_path):
    out = tmp_path / "out"
    assert write_folder(str(out), NEW) == [str(out / name) for name in NEW]
    (out / "mine").write_text("1")
    with pytest.raises(OutputError, match="exists, and 2 more; nothing was written"):
        write_folder(str(out), NEW)
    write_folder(str(out), {**NEW, "a.txt": "newer"}, force=True)
    assert _contents(out) == {**_bytes(NEW), "a.txt": b"newer", "mine": b"1"}


def test_a_file_keeps_its_permissions_and_a_link_to_it(tmp_path):
    file, link = tmp_path / "a.txt", tmp_path / "link"
    write_file(str(file), "ü\udcff")
    assert file.read_text("utf-8") == "ü\\udcff"
    file.chmod(0o604)
    link.symlink_to(file)
    with pytest.raises(OutputError, match="exists"):
        write_file(str(link), "x")
    write_file(str(link), "newer", force=True)
    assert (
        link.is_symlink()
        and file.read_text() == "newer"
        and stat.S_IMODE(file.stat().st_mode) == 0o604
    )


def test_in_a_folder_a_link_is_replaced_and_its_target_stays(tmp_path):
    victim, out = tmp_path / "victim", tmp_path / "out"
    _fill(out, {})
    victim.write_text("mine")
    (out / "a.txt").symlink_to(victim)
    write_folder(str(out), NEW, force=True)
    assert victim.read_text() == "mine" and _contents(out) == _bytes(NEW)


@pytest.mark.parametrize("step", [(name, number) for name in STEPS for number in (1, 2, 3)])
@pytest.mark.parametrize("force", [False, True])
def test_no_step_that_fails_leaves_an_incomplete_file(tmp_path, monkeypatch, step, force):
    """The operating system refuses one call, as on a full disk."""
    name, number = step
    out, real, calls = tmp_path / "out", getattr(os, name), []
    if force or name != "mkdir":
        _fill(out, OLD if force else {"mine": b"1"})
    before = _contents(out) if out.exists() else None

    def call(*arguments, **options):
        calls.append(arguments)
        if len(calls) == number:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(*arguments, **options)

    monkeypatch.setattr(os, name, call)
    error = _refusal(lambda: write_folder(str(out), NEW, force=force))
    after = _contents(out) if out.exists() else None
    if error is None:
        assert after == {**(before or {}), **_bytes(NEW)}
        return
    assert "no space left on device" in error.reason and error.hint.startswith("make room")
    if "; nothing was written" in error.reason:
        assert after == before
    else:
        names = error.reason.split("; already written: ")[1].split(", ")
        placed = {key: _bytes(NEW)[key] for key in names}
        assert after == {**before, **placed, JOURNAL: after[JOURNAL]}
        assert set(check_folder(str(out), NEW, force=True)) == {*NEW}


KILLED = """
import os, signal, sys
from winchsim.report import writing
real, calls = os.replace, []
def replace(source, target):
    calls.append(target)
    if len(calls) == int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
    real(source, target)
os.replace = replace
writing.write_folder(sys.argv[1], {"a.txt": "a", "b.bin": "b", "c.txt": "c"}, force=True)
"""


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_set_killed_in_the_middle_is_reported_until_it_is_written_again(tmp_path, number):
    _fill(tmp_path, OLD)
    done = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), str(number)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert check_folder(str(tmp_path), NEW, force=True) == ("a.txt", "b.bin", "c.txt")
    write_folder(str(tmp_path), {"a.txt": "new"}, force=True)
    assert check_folder(str(tmp_path), NEW, force=True) == ("b.bin", "c.txt")
    write_folder(str(tmp_path), NEW, force=True)
    assert check_folder(str(tmp_path), NEW, force=True) == () and _contents(tmp_path) == {
        **_bytes(NEW),
        "mine": b"1",
    }


def test_two_writers_do_not_mix_their_sets(tmp_path, monkeypatch):
    """A second writer begins after the first file of the first writer: it has to wait."""
    real, begun = os.replace, []

    def replace(source, target):
        real(source, target)
        if not begun:
            code = (
                "import sys; from winchsim.report.writing import write_folder; "
                "write_folder(sys.argv[1], "
                "dict.fromkeys(('a.txt', 'b.bin', 'c.txt'), 'second'), force=True)"
            )
            begun.append(subprocess.Popen([sys.executable, "-c", code, str(tmp_path)]))

    monkeypatch.setattr(os, "replace", replace)
    write_folder(str(tmp_path), NEW, force=True)
    assert begun[0].wait() == 0 and _contents(tmp_path) == dict.fromkeys(NEW, b"second")


def test_a_writer_that_does_not_end_is_not_waited_for_without_limit(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "LONGEST_WAIT", 0.0)
    with (
        writing._only_writer(str(tmp_path)),
        pytest.raises(OutputError, match="another run is writing"),
    ):
        write_folder(str(tmp_path), NEW)
    assert _contents(tmp_path) == {}


def test_a_file_that_appears_meanwhile_stays(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: (tmp_path / "a.txt").write_text("theirs"))
    with pytest.raises(OutputError, match="exists"):
        write_file(str(tmp_path / "a.txt"), "mine")
    assert _contents(tmp_path) == {"a.txt": b"theirs"}


@pytest.mark.parametrize("place", ["", "file/x", "no/such", "odd\0name", "x" * 300, "folder/"])
def test_no_place_to_write_is_refused_before_and_after_the_work_in_the_same_words(tmp_path, place):
    _fill(tmp_path / "folder", {"a.txt": b""})
    (tmp_path / "file").write_text("1")
    path = place and f"{tmp_path}/{place}"
    for check, write in (
        (lambda: check_file(path), lambda: write_file(path, "x")),
        (lambda: check_folder(path, NEW), lambda: write_folder(path, NEW)),
    ):
        with pytest.raises(OutputError) as before:
            check()
        with pytest.raises(OutputError) as after:
            write()
        assert str(before.value) == str(after.value) and before.value.hint
    assert sorted(os.listdir(tmp_path)) == ["file", "folder"]


@pytest.mark.parametrize("force", [False, True])
def test_a_folder_in_the_way_is_never_replaced(tmp_path, force):
    (tmp_path / "b.bin").mkdir()
    with pytest.raises(OutputError, match="this is not a file"):
        write_folder(str(tmp_path), NEW, force=force)


def test_a_device_is_written_to(tmp_path):
    assert check_file(os.devnull) == ()
    write_file(os.devnull, "x")
