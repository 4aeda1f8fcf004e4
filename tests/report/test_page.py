"""The page of a report: complete, self-contained, and harmless whatever the scenario says."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from winchsim.inputs import walk
from winchsim.report import page as room
from winchsim.report.contents import Report
from winchsim.report.figures.catalogue import pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.page import page, safe
from winchsim.scenario.read import Scenario
from winchsim.version import __version__

DIGEST = "ab" * 32
NASTY = "\"q\" 'a' & <b>x</b> </pre></title><script>alert(1)</script> ${style} $body \x1b[31m \u202e 漢字"


def _report(record, verdict, *, text="# plain\n", name="small.toml", overrides=(), us=False, figures=True):
    drawn = tuple(pictures(record, COLUMN, us=us)) if figures else ()
    return Report(Scenario(record.inputs, name, text, DIGEST), tuple(overrides), record, verdict, drawn, us)


class _Reader(HTMLParser):
    """Elements with their attributes, and whether every one that was opened is closed."""

    VOID = frozenset({"meta", "link", "br", "use", "path", "image", "stop"})

    def __init__(self, text):
        super().__init__()
        self.open, self.seen, self.words, self.wrong = [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag in self.VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def html(stuck):
    """Page of a stall with remedies."""
    return page(_report(*stuck))


def test_verdict_comes_first(html, stuck):
    reader = _Reader(html)
    assert not reader.wrong and not reader.open
    words = [w.strip() for w in reader.words if w.strip()]
    body = words[2:]  # behind the title and the style sheet
    assert body[:4] == ["small.toml", "small.toml", "Not as asked", stuck[1].sentence]
    heads = re.findall(r"<h2>(.*?)</h2>", html)
    assert heads[:3] == ["Key numbers", "Timeline", "The build"]
    for wanted in ("Curves", "Margins", "Weakest links", "Energy", "Findings", "Cautions", "Every input", "To repeat it",
                   "Remedies: single changes, each tried in a full run"):  # fmt: skip
        assert wanted in heads


def test_nothing_is_fetched_and_nothing_runs(html):
    assert "http:" not in html and "https:" not in html and "url(" not in re.sub(r"url\(#[\w-]+\)", "", html)
    reader = _Reader(html)
    for tag, attributes in reader.seen:
        assert tag not in ("script", "img", "iframe", "object", "embed", "audio", "video", "base", "form")
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href", "xlink:href"):
            assert attributes.get(name, "#")[:1] == "#" or attributes[name] == "data:,"
    assert "default-src 'none'" in html


def test_every_figure_has_words_for_those_who_cannot_see_it(html, stuck):
    drawn = pictures(stuck[0], COLUMN)
    labels = [a["aria-label"] for tag, a in _Reader(html).seen if tag == "svg"]
    assert labels == [f"{p.heading}. {p.caption}" for p in _in_page_order(drawn)]


def _in_page_order(drawn):
    build, *curves = drawn
    return [build, *(p for p in curves if p.name != "energy"), *(p for p in curves if p.name == "energy")]


def test_every_finding_remedy_caution_and_link_is_there(html, stuck):
    _, verdict = stuck
    for text in (
        *(f.sentence for f in verdict.findings), *(f.help for f in verdict.findings), *(c.sentence for c in verdict.remedies),
        *verdict.cautions, *(row.label for row in verdict.rows), verdict.stall_pull.sentence,
    ):  # fmt: skip
        assert safe(text) in html


def test_every_input_is_there_with_its_basis(html, stuck):
    record, _ = stuck
    text = html[html.index("Every input") :]
    assumed = {row.path for row in record.machine.assumed}
    for path, value, spec in walk(record.inputs):
        key = path.rpartition(".")[2]
        if value not in (None, "") or path in assumed:
            assert f"<bdi>{key}</bdi>" in text and safe(spec.meaning) in text
        else:
            assert re.search(rf"Not given: [^<]*\b{key}\b", text), path
    for path in assumed:
        assert path.rpartition(".")[2] in text
    assert text.count("<bdi>assumed</bdi>") == len(assumed - record.inputs.given)


def test_scenario_hash_version_and_command_are_there(stuck):
    text = 'title = "x"\n# note\n'
    html = page(_report(*stuck, text=text, overrides=["load.mass=17 kg"], figures=False))
    assert DIGEST in html and __version__ in html and safe(text.split("\n")[0]) in html
    assert safe("winchsim lift small.toml --set 'load.mass=17 kg'") in html


@pytest.mark.parametrize("where", ["title", "name", "text", "override", "note"])
def test_nothing_of_the_users_is_markup(lifted, where):
    from dataclasses import replace

    record, verdict = lifted
    if where == "title":
        record = replace(record, machine=replace(record.machine, title=NASTY))
    if where == "note":
        record = replace(record, machine=replace(record.machine, notes=(NASTY,)))
    more = {"name": {"name": NASTY}, "text": {"text": NASTY}, "override": {"overrides": [f"title={NASTY}"]}}.get(where, {})
    html = page(_report(record, verdict, **more, figures=where in ("title", "note")))
    reader = _Reader(html)
    assert not reader.wrong and not reader.open
    assert not {"script", "b"} & {tag for tag, _ in reader.seen}
    assert "\x1b" not in html and "\u202e" not in html
    said = "".join(reader.words)
    assert "<script>alert(1)</script> ${style} $body" in said and "漢字" in said


def test_same_report_same_page(lifted):
    assert page(_report(*lifted)) == page(_report(*lifted))


def test_us_units_stand_beside(lifted):
    html = page(_report(*lifted, us=True, figures=False))
    assert "8 kg (17.6 lb)" in html and "ft)" in html and "lbf)" in html


@pytest.mark.parametrize(
    ("change", "stamp"),
    [
        ({}, ("good", "As asked, nothing dangerous found")),
        ({"safe": False}, ("bad", "Danger found")),
        ({"as_asked": False}, ("bad", "Not as asked")),
        ({"as_asked": False, "safe": False}, ("bad", "Not as asked, danger found")),
        ({"trusted": False}, ("open", "No result to trust")),
    ],
)
def test_the_stamp_is_said_in_words_and_not_in_colour_alone(lifted, change, stamp):
    from dataclasses import replace

    record, verdict = lifted
    verdict = replace(verdict, trusted=True, as_asked=True, safe=True)
    report = _report(record, replace(verdict, **change), figures=False)
    assert report.stamp == stamp
    html = page(report)
    assert f'<div class="verdict {stamp[0]}">' in html and safe(stamp[1]) in html


def test_an_untrusted_run_shows_no_numbers(lifted):
    from dataclasses import replace

    record, verdict = lifted
    html = page(_report(record, replace(verdict, trusted=False), figures=False))
    assert "Key numbers" not in html and "Weakest links" not in html and "Cautions" in html


def test_commands_are_quoted_for_a_shell(stuck):
    report = _report(*stuck, name="it's here.toml", overrides=['title="a b"', "motors.1.count=3"], figures=False)
    assert report.command == """winchsim lift 'it'\\''s here.toml' --set 'title="a b"' --set motors.1.count=3"""


def test_long_titles_are_set_smaller(lifted):
    from dataclasses import replace

    record, verdict = lifted
    long = replace(record, machine=replace(record.machine, title="t" * (room.LONG_TITLE + 1)))
    assert '<h1 class="short"' in page(_report(record, verdict, figures=False))
    assert '<h1 class="long"' in page(_report(long, verdict, figures=False))


def test_a_page_without_figures_has_no_place_for_them(lifted):
    html = page(_report(*lifted, figures=False))
    assert "<svg" not in html and "<h2>Curves</h2>" not in html and "<h2>Energy</h2>" in html
