"""Several files into one folder: all of them, or none."""

from __future__ import annotations

import os

import pytest

from winchsim.errors import OutputError
from winchsim.report.folder import write_folder

FILES = {"a.txt": "one", "b.bin": b"\x00\x01"}


def test_folder_is_made_and_filled(tmp_path):
    folder = str(tmp_path / "new")
    assert write_folder(folder, FILES) == [os.path.join(folder, name) for name in FILES]
    assert (tmp_path / "new" / "a.txt").read_text() == "one" and (tmp_path / "new" / "b.bin").read_bytes() == b"\x00\x01"


def test_one_file_in_the_way_and_nothing_is_written(tmp_path):
    (tmp_path / "b.bin").write_text("mine")
    with pytest.raises(OutputError, match="this file exists; nothing was written") as caught:
        write_folder(str(tmp_path), FILES)
    assert caught.value.path.endswith("b.bin") and "--force" in caught.value.hint
    assert os.listdir(tmp_path) == ["b.bin"] and (tmp_path / "b.bin").read_text() == "mine"
    (tmp_path / "a.txt").write_text("mine too")
    with pytest.raises(OutputError, match="this file exists, and 1 more"):
        write_folder(str(tmp_path), FILES)


def test_force_replaces_and_leaves_the_rest(tmp_path):
    (tmp_path / "b.bin").write_text("mine")
    (tmp_path / "other").write_text("kept")
    write_folder(str(tmp_path), FILES, force=True)
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\x01" and (tmp_path / "other").read_text() == "kept"


def test_what_cannot_be_a_folder_is_said(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="this is a file, not a folder"):
        write_folder(str(tmp_path / "file"), FILES)
    with pytest.raises(OutputError, match="there is no folder to put it in"):
        write_folder(str(tmp_path / "no" / "such"), FILES)
    with pytest.raises(OutputError, match="not a folder name"):
        write_folder(str(tmp_path / "a\0b"), FILES)
