"""A snag that was asked for stands in every form of the report, in the same words."""

from __future__ import annotations

import html
import io
import json
import re
from pathlib import Path

import pytest

from winchsim import cli
from winchsim.commands.env import Env

SCENARIO = Path(__file__).parents[2] / "scenarios" / "06-wardrobe-snags.toml"


def _run(*arguments: str) -> str:
    env = Env(io.StringIO(), io.StringIO())
    cli.main(["lift", str(SCENARIO), "--no-remedies", *arguments], env)
    return env.stdout.getvalue()


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """What a lift with a snag prints, and the folder of its report."""
    folder = tmp_path_factory.mktemp("snag") / "report"
    return _run("--snag", "--out", str(folder)), folder


def test_the_same_words_in_text_page_and_markdown(written):
    said, folder = written
    text = " ".join(said.split())
    page = html.unescape((folder / "report.html").read_text(encoding="utf-8"))
    markdown = (folder / "report.md").read_text(encoding="utf-8")
    facts = json.loads(_run("--snag", "--json"))["snag"]
    assert facts["sentence"].startswith("If the load snags")
    assert facts["sentence"] in text
    assert facts["sentence"] in " ".join(re.sub("</?bdi>", "", page).split())
    assert facts["sentence"] in " ".join(re.sub(r"\\([()])", r"\1", markdown).split())


def test_no_snag_is_spoken_of_where_none_was_asked_for(written):
    assert "If the load snags" not in _run()
    assert json.loads(_run("--json")).get("snag") is None
