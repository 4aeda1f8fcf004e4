"""The report as Markdown: complete, with its figures beside it, and nothing of the user's is markup."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from winchsim.report.contents import Report
from winchsim.report.figures.catalogue import pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.markdown import fenced, markdown, plain
from winchsim.scenario.read import Scenario


def _markdown(record, verdict, text="# plain\n"):
    scenario = Scenario(record.inputs, "small.toml", text, "ab" * 32)
    return markdown(Report(scenario, (), record, verdict, tuple(pictures(record, COLUMN))))


def test_report_is_complete(stuck):
    record, verdict = stuck
    text = _markdown(record, verdict)
    assert text.split("\n")[2].startswith(f"**{plain(verdict.sentence)}**")
    for said in (*(f.sentence for f in verdict.findings), *(c.sentence for c in verdict.remedies), *verdict.cautions,
                 *(row.label for row in verdict.rows)):  # fmt: skip
        assert plain(said) in text
    assert "ab" * 32 in text and "`" * 3 + "toml\n# plain\n" + "`" * 3 in text
    for picture in pictures(record, COLUMN):
        assert f"]({picture.name}.png)" in text


def test_tables_keep_their_columns(stuck):
    width = None
    for line in _markdown(*stuck).split("\n"):
        if not line.startswith("|"):
            width = None
            continue
        cells = len(re.findall(r"(?<!\\)\|", line))
        assert width in (None, cells)
        width = cells


def test_title_cannot_be_markup(lifted):
    record, verdict = lifted
    odd = replace(record, machine=replace(record.machine, title="# *a* `b` [c](d) <i> | ![x](y)\n- z"))
    first = _markdown(odd, verdict).split("\n")[0]
    assert first == r"# \# \*a\* \`b\` \[c\]\(d\) \<i\> \| \!\[x\]\(y\) \- z"


@settings(max_examples=50)
@given(st.text(max_size=80))
def test_plain_text_is_one_line_of_no_markup(text):
    said = plain(text)
    assert "\n" not in said and not any(unicodedata.category(c) == "Cc" for c in said)
    assert not re.search(r"(?<!\\)(?:\\\\)*[`*_\[\]<>|#]", said)


@pytest.mark.parametrize("text", ["a", "```", "x ````` y", "a\r\nb\x1b"])
def test_fence_is_longer_than_what_is_in_it(text):
    lines = fenced(text).split("\n")
    fence = lines[-1]
    assert lines[0] == f"{fence}toml" and set(fence) == {"`"} and len(fence) >= 3
    assert all(fence not in line for line in lines[1:-1]) and "\x1b" not in fenced(text)
