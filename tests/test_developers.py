"""The developer guide keeps up with the code: its map, its paths, its size; and every error
code."""

import re
from pathlib import Path

from winchsim.errors import Code

_ROOT = Path(__file__).parents[1]
_PACKAGE = _ROOT / "winchsim"
_GUIDE = (_ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_code_is_used():
    texts = [file.read_text(encoding="utf-8") for file in _PACKAGE.rglob("*.py")]
    assert [c.name for c in Code if not any(f"Code.{c.name}" in text for text in texts)] == []


def test_every_module_and_package_is_on_the_map():
    names = {path.stem if path.is_file() else path.name for path in _PACKAGE.iterdir()}
    shown = _GUIDE.partition("## Map")[2].partition("## ")[0]
    assert (
        sorted(
            name
            for name in names - {"__pycache__", "__init__"}
            if not re.search(rf"\b{name}\b", shown)
        )
        == []
    )


def test_every_path_that_the_guide_names_is_there():
    named = set(re.findall(r"`((?:[\w.]+/)+[\w.]*)`", _GUIDE))
    assert len(named) > 30
    assert (
        sorted(p for p in named if not (_PACKAGE / p).exists() and not (_ROOT / p).exists()) == []
    )


def test_the_guide_stays_short():
    assert len(_GUIDE.encode()) <= 15_000
    assert max(len(line) for line in _GUIDE.splitlines() if not line.startswith("|")) <= 100
