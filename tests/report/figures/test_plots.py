"""The figures that README shows: all there, and what the one command that redraws them draws
now."""

import re
from pathlib import Path
from xml.dom.minidom import parse, parseString

import pytest

from winchsim.report.figures.catalogue import image, pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.names import NAMES
from winchsim.scenario.read import read
from winchsim.simulation import simulate

ROOT = Path(__file__).parents[3]
STORY = ("measured-predicted",)
"""Figures of README that another command draws; tests/test_readme.py compares them."""

COMMAND = re.compile(r"^winchsim curves (\S+) --out plots --force$", re.MULTILINE)


@pytest.fixture(scope="module")
def redrawn():
    """Figures of the scenario that README's command names."""
    (file,) = COMMAND.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    drawn = pictures(simulate(read(str(ROOT / file)).inputs), COLUMN)
    return {words.name: figure for words, figure in drawn}


def test_every_figure_is_there_as_png_and_svg():
    drawn = {f"{n}.{f}" for n in (*NAMES, *STORY) for f in ("png", "svg")}
    assert {p.name for p in (ROOT / "plots").iterdir()} == {*drawn, "page.png", "lesson.ipynb"}
    shown = re.findall(r"\]\(plots/([\w.-]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert shown and all((ROOT / "plots" / name).is_file() for name in shown)


@pytest.mark.parametrize("name", NAMES)
def test_figure_says_what_it_would_say_now(redrawn, name):
    """The printed words and digits, not the bytes: those depend on the versions of the
    libraries."""
    kept = parse(str(ROOT / "plots" / f"{name}.svg"))
    now = parseString(image(redrawn[name], "svg", COLUMN))
    assert _words(kept) == _words(now), "redraw with the command in README"


def _words(svg) -> list[str]:
    return [node.firstChild.data for node in svg.getElementsByTagName("text") if node.firstChild]
