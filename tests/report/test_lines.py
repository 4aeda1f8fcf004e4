"""Lines of a printed report: what ends where, and that nothing of a file steers the terminal."""

from __future__ import annotations

import pytest

from winchsim.report.lines import LEAST_WORDS, Lines, wrapped
from winchsim.report.paint import Paint
from winchsim.report.problems import WIDTH
from winchsim.verdict.finding import Finding, FindingKind, Severity


@pytest.fixture
def page():
    """A page in SI without colours."""
    return Lines(us=False, paint=Paint())


@pytest.mark.parametrize("before", range(80, 100))
def test_no_line_ends_between_a_number_and_its_unit(before):
    lines = wrapped("x" * before + " up 0.623 m/s, no more")
    assert " ".join(lines) == "x" * before + " up 0.623 m/s, no more"
    assert all(len(line) <= WIDTH for line in lines)
    assert sum("0.623 m/s" in line for line in lines) == 1


def test_nothing_that_is_put_in_steers_the_terminal(page):
    nasty = "a\x1b[31mb\u202ec"
    page.sentence(nasty)
    page.item("-", nasty)
    page.labelled(nasty, nasty)
    page.table([(nasty, nasty)])
    assert page.text().count("a\\x1b[31mb\\x202ec") == 6
    assert all(c.isprintable() or c == "\n" for c in page.text())


def test_the_last_column_is_wrapped_under_itself(page):
    page.table([("5 kg", "word " * 40), ("10 kg", "short")], "r")
    first, second, *_, last = page.text().splitlines()
    assert first.startswith("   5 kg  word") and second.startswith("         word") and last == "  10 kg  short"
    assert all(len(line) <= WIDTH for line in page.text().splitlines())
    assert page.text().count("word") == 40


@pytest.mark.parametrize(("wide", "gap"), [(20, 2), (WIDTH - 4 - LEAST_WORDS, 2), (WIDTH - 3 - LEAST_WORDS, 1)])
def test_columns_move_together_before_the_last_one_gets_too_narrow(page, wide, gap):
    page.table([("x" * wide, "y" * LEAST_WORDS)])
    assert page.text() == "  " + "x" * wide + " " * gap + "y" * LEAST_WORDS + "\n"


def test_no_rows_no_table(page):
    page.table([])
    assert page.text().strip() == ""


def test_findings_stand_worst_first(page):
    kinds = (Severity.NOTE, Severity.DANGER, Severity.CAUTION)
    page.findings([Finding(FindingKind.ASSUMED, severity, f"Of {severity.value}.", help="Look.") for severity in kinds])
    text = page.text()
    assert text.index("Findings, worst first") < text.index("DANGER  Of danger.") < text.index("CAUTION Of caution.")
    assert text.index("CAUTION Of caution.") < text.index("NOTE    Of note.")
    assert text.count("          What would help: Look.") == 3
