"""The contributors' guide keeps up with the code: every code, every finding and every room has its place in it."""

import re
from pathlib import Path

from winchsim.verdict.finding import FindingKind

_ROOT = Path(__file__).parents[1]
_GUIDE = (_ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_code_is_listed():
    used = set()
    for file in _ROOT.joinpath("winchsim").rglob("*.py"):
        used |= set(re.findall(r"\"(W-[A-Z]?\d+)\"", file.read_text(encoding="utf-8")))
    assert len(used) > 10
    assert sorted(code for code in used if code not in _GUIDE) == []


def test_every_finding_is_listed():
    assert sorted(kind.value for kind in FindingKind if not re.search(rf"\b{kind.value}\b", _GUIDE)) == []


def test_every_room_is_on_the_map():
    rooms = {path.stem if path.is_file() else path.name for path in _ROOT.joinpath("winchsim").iterdir()}
    rooms -= {"__pycache__", "__init__"}
    assert sorted(room for room in rooms if room not in _GUIDE) == []
