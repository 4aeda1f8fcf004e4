"""Harmless text: nothing that steers, every letter kept."""

import xml.dom.minidom
from html import escape

import pytest
from hypothesis import given, settings, strategies as st

from winchsim.report.render.options import harmless

KEPT = (
    "Kiste A",
    "漢字 かな",
    "עברית العربية",
    "می\u200cخواهم",
    "👩\u200d🔧 ☀\ufe0f",
    "a\u00a0b\u3000c",
    "न\u200dी",
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        *zip(KEPT, KEPT, strict=True),
        ("a\x1b[31mb", "a\\x1b[31mb"),
        ("a\u202eb", "a\\x202eb"),
        ("a\x00b", "a\\x00b"),
        ("a\nb\tc", "a b c"),
        ("a\uffffb", "a\\xffffb"),
    ],
)
def test_every_script_comes_through_and_what_steers_is_written_as_its_code(text, said):
    assert harmless(text) == said


@settings(max_examples=50)
@given(st.text(max_size=60))
def test_any_text_is_valid_in_xml(text):
    document = f"<a>{escape(harmless(text))}</a>"
    node = xml.dom.minidom.parseString(document.encode("utf-8")).documentElement.firstChild
    assert (node.data if node else "") == harmless(text)
