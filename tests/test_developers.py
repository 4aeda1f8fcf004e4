"""The contributors' guide keeps up with the code: every code, every finding and every room has its place in it."""

import re
from pathlib import Path

import pytest

from winchsim.errors import Code
from winchsim.verdict.finding import FindingKind

_ROOT = Path(__file__).parents[1]
_GUIDE = (_ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def _rows(head: str) -> list[list[str]]:
    """Cells of the table that begins with these heads."""
    table = _GUIDE.partition(f"\n{head}\n")[2].partition("\n\n")[0].splitlines()[1:]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in table]


def test_every_code_is_listed_with_its_meaning_and_no_other():
    cells = [cell for row in _rows("| Code | Meaning | Code | Meaning |") for cell in row]
    listed = dict(zip(cells[::2], cells[1::2], strict=True))
    listed.pop("", None)
    assert listed == {code.value: code.meaning for code in Code}


def test_every_code_is_used_and_written_out_nowhere_else():
    texts = {file: file.read_text(encoding="utf-8") for file in _ROOT.joinpath("winchsim").rglob("*.py")}
    assert sorted(file.name for file, text in texts.items() if re.search(r"[\"']W-[A-Z]?\d+[\"']", text)) == ["errors.py"]
    assert sorted(code.name for code in Code if not any(f"Code.{code.name}" in text for text in texts.values())) == []


def test_every_finding_is_listed():
    listed = [kind for row in _rows("| finding | means |") for kind in row[0].split(", ")]
    assert sorted(listed) == sorted(kind.value for kind in FindingKind)


def test_every_room_is_on_the_map():
    rooms = {path.stem if path.is_file() else path.name for path in _ROOT.joinpath("winchsim").iterdir()}
    rooms -= {"__pycache__", "__init__"}
    assert sorted(room for room in rooms if room not in _GUIDE) == []


@pytest.mark.parametrize("package", ["physics", "hybrid", "strength", "model"])
def test_the_map_names_every_room_of_a_package_whose_rooms_it_lists(package):
    here = re.search(rf"^  {package}/ (.*(?:\n {{14}}\S.*)*)", _GUIDE, re.MULTILINE)
    assert here
    rooms = {path.stem for path in _ROOT.joinpath("winchsim", package).iterdir()} - {"__pycache__", "__init__"}
    assert len(rooms) > 4
    assert sorted(room for room in rooms if not re.search(rf"\b{room}\b", here[1])) == []
