"""Files that cannot be read: the message names the file as typed and what to do."""

import os

import pytest

from winchsim.errors import InputError
from winchsim.scenario.files import read_text


def _fault(path, limit=1000):
    with pytest.raises(InputError) as caught:
        read_text(str(path), limit, "a scenario")
    (fault,) = caught.value.faults
    assert fault.file == str(path)
    return fault


@pytest.fixture
def path(tmp_path):
    return tmp_path / "a.toml"


def test_missing_file_names_the_nearest_and_what_is_there(tmp_path):
    for name in ("bench.toml", "crate.toml", "notes.txt"):
        (tmp_path / name).write_text("x")
    fault = _fault(tmp_path / "crat.toml")
    assert (fault.code, fault.message) == ("unreadable", "no such file")
    assert (
        fault.hint
        == f'did you mean "{tmp_path / "crate.toml"}"? in {tmp_path}: bench.toml, crate.toml'
    )


@pytest.mark.parametrize(
    ("folder", "hint"),
    [(".", "there are no .toml files in {}"), ("none", "there is no folder {}")],
)
def test_missing_file_in_a_folder_without_scenarios(tmp_path, folder, hint):
    assert _fault(tmp_path / folder / "a.toml").hint == hint.format(tmp_path / folder)


def test_folder(tmp_path):
    (tmp_path / "a.toml").write_text("x")
    fault = _fault(tmp_path)
    assert fault.message == "this is a folder, not a file"
    assert "a.toml" in fault.hint


def test_endless_device():
    assert _fault("/dev/zero").code == "too large"


def test_not_utf8_gives_the_byte_and_the_line(path):
    path.write_bytes(b'a = 1\nb = "\xe9"\n')
    fault = _fault(path)
    assert (fault.code, fault.line) == ("not UTF-8", 2)
    assert fault.message == "not UTF-8: byte 0xe9 at offset 11"


@pytest.mark.parametrize(
    ("name", "why"), [("a\0.toml", "not a file name"), ("a" * 5000, "file name too long")]
)
def test_name_that_cannot_be(name, why):
    assert _fault(name).message == f"cannot be read: {why}"


def test_file_that_may_not_be_read(path, monkeypatch):
    path.write_text("x")

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", refuse)
    assert _fault(path).message == "you may not read this file"


def test_a_pathlike_is_taken(path):
    path.write_text("°")
    assert read_text(path, 100, "a scenario") == "°"
    assert os.fspath(path)
