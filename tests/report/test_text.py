"""The printed report: the answer first, everything in its place, never wider than 100 columns."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from winchsim.hybrid import Outcome
from winchsim.quantity_text import quantity
from winchsim.report.paint import Paint
from winchsim.report.text import lift_text
from winchsim.verdict.judge import judge

HEADINGS = ["Timeline", "Key numbers", "Margins", "Weakest links, worst first", "Stalled with the power on",
            "Energy", "Findings, worst first", "Assumed, because the scenario does not give it", "Cautions"]  # fmt: skip


def test_the_verdict_is_the_first_line(lifted):
    record, verdict = lifted
    assert lift_text(record, verdict, name="small.toml").split("\n")[:2] == [verdict.sentence, "small.toml: Small winch"]


def test_parts_in_their_order(lifted):
    lines = lift_text(*lifted).split("\n")
    assert [line for line in lines if line in HEADINGS] == HEADINGS


@pytest.mark.parametrize("us", [False, True])
def test_no_line_is_wider_than_100_columns(lifted, stuck, us):
    for record, verdict in (lifted, stuck):
        for line in lift_text(record, verdict, name="a/very/long/folder" * 3 + "/crate.toml", us=us).split("\n"):
            assert len(line) <= 100 and line == line.rstrip()


def test_us_units_stand_beside_and_not_instead(lifted):
    plain, both = (lift_text(*lifted, us=us) for us in (False, True))
    for si in ("Lifts 8 kg", quantity(lifted[1].summary.peak_tension, "N"), quantity(lifted[1].summary.energy_in, "J")):
        assert si in plain and si in both
    assert "(17.6 lb)" in both and "ft)" in both and "lbf)" in both and "°F)" in both and "ft·lbf)" in both
    assert "lb" not in plain and "°F" not in plain


def test_colour_adds_nothing_but_colour(stuck):
    plain, painted = (lift_text(*stuck, paint=Paint(on)) for on in (False, True))
    assert "\033" not in plain and "\033[" in painted
    assert re.sub(r"\033\[[0-9;]*m", "", painted) == plain


def test_same_record_same_text(lifted):
    assert lift_text(*lifted) == lift_text(*lifted)


def test_every_finding_and_its_help_are_printed(stuck):
    record, verdict = stuck
    text = " ".join(lift_text(record, verdict).split())
    for finding in verdict.findings:
        assert f"{finding.severity.value.upper()} {finding.sentence}" in text
        assert not finding.help or f"What would help: {finding.help}" in text


def test_remedies_are_printed_after_the_findings(stuck):
    record, verdict = stuck
    text = " ".join(lift_text(record, verdict).split())
    assert verdict.remedies
    for remedy in verdict.remedies:
        assert remedy.sentence in text
    assert text.index("Remedies: single changes, each tried in a full run") > text.index("Findings, worst first")


def test_everything_assumed_is_printed(lifted):
    record, verdict = lifted
    text = lift_text(record, verdict)
    assert record.machine.assumed
    for row in record.machine.assumed:
        assert re.search(rf"^  {re.escape(row.path)} +\S", text, re.MULTILINE)


def test_cautions_close_it(lifted):
    record, verdict = lifted
    end = " ".join(lift_text(record, verdict).split("Cautions\n")[1].split())
    assert end == " ".join(f"- {caution}" for caution in verdict.cautions)


def test_energy_adds_up_as_printed(lifted):
    record, verdict = lifted
    part = lift_text(record, verdict).split("\nEnergy\n")[1].split("The books")[0]
    amounts = [float(found) for found in re.findall(r"(-?[\d.]+(?:e-?\d+)?) J", part)]
    assert sum(amounts[1:]) == pytest.approx(amounts[0], rel=5e-3)
    assert "The books close to" in lift_text(record, verdict)


def test_a_run_that_is_not_trusted_shows_no_numbers(lifted):
    record = replace(lifted[0], outcome=Outcome.CHATTER)
    text = lift_text(record, judge(record))
    assert text.startswith("No trustworthy result")
    assert "Key numbers" not in text and "Energy" not in text and "Cautions" in text


def test_strengths_from_memory_are_marked(lifted):
    record, verdict = lifted
    marked = any(row.link.strength.basis == "from memory" for row in verdict.rows[:10])
    assert ("* from memory, not looked up" in lift_text(record, verdict)) is marked
