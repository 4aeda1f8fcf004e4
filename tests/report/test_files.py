"""Writing whole files, and never over one that is there."""

from __future__ import annotations

import os
import stat

import pytest

from winchsim.errors import OutputError
from winchsim.report import staging
from winchsim.report.files import write_whole


def _refused(path, **options):
    with pytest.raises(OutputError) as caught:
        write_whole(str(path), "new", **options)
    assert caught.value.path == str(path)
    return caught.value


def test_writes_text_as_utf8_and_bytes_as_they_are(tmp_path):
    write_whole(str(tmp_path / "a.txt"), "20 °C\n")
    write_whole(str(tmp_path / "b.bin"), b"\x00\xff")
    assert (tmp_path / "a.txt").read_bytes() == "20 °C\n".encode()
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\xff"
    assert sorted(os.listdir(tmp_path)) == ["a.txt", "b.bin"]


def test_an_existing_file_stays(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    error = _refused(path)
    assert (error.reason, error.hint) == ("this file exists", "--force replaces it")
    assert path.read_text() == "old"


def test_force_replaces_and_keeps_permissions_and_links(tmp_path):
    path, link = tmp_path / "a.txt", tmp_path / "link.txt"
    path.write_text("old")
    path.chmod(0o640)
    link.symlink_to(path)
    write_whole(str(link), "new", force=True)
    assert link.is_symlink()
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_new_file_has_the_usual_permissions(tmp_path):
    before = os.umask(0o027)
    try:
        write_whole(str(tmp_path / "a.txt"), "x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o640


def _and_somebody_takes(path):
    """Makes files ready, and meanwhile somebody else writes one of the same name."""
    real = staging.fill

    def fill(*arguments):
        real(*arguments)
        path.write_text("somebody else's")

    return fill


def test_a_file_that_appears_meanwhile_stays(tmp_path, monkeypatch):
    path = tmp_path / "a.txt"
    monkeypatch.setattr(staging, "fill", _and_somebody_takes(path))
    assert _refused(path).reason == "this file exists"
    assert path.read_text() == "somebody else's"


def test_without_hard_links(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise OSError(95, "Operation not supported")

    path = tmp_path / "a.txt"
    monkeypatch.setattr(os, "link", refuse)
    write_whole(str(path), "x")
    assert path.read_text() == "x"
    path.unlink()
    monkeypatch.setattr(staging, "fill", _and_somebody_takes(path))
    assert _refused(path).reason == "this file exists"
    assert path.read_text() == "somebody else's"


def test_nothing_is_left_when_writing_fails(tmp_path, monkeypatch):
    def fail(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    assert _refused(tmp_path / "a.txt").reason == "cannot be written: no space left on device"
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "reason"),
    [("", "this is a folder"), ("none/a.txt", "there is no such folder"), ("a\0b", "cannot be written: not a file name")],
)
def test_no_place_to_write(tmp_path, name, reason):
    assert _refused(f"{tmp_path}/{name}").reason == reason


def test_a_device_is_written_to(tmp_path):
    write_whole("/dev/null", "x")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_text_with_a_lone_surrogate_is_written(tmp_path):
    write_whole(str(tmp_path / "a.txt"), "x\udcff")
    assert (tmp_path / "a.txt").read_text() == "x\\udcff"
