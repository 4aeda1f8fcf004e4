"""Advice on printed teeth."""

from __future__ import annotations

from dataclasses import replace

import pytest

from winchsim.model import build
from winchsim.simulation import simulate
from winchsim.strength.link import LinkKind
from winchsim.verdict.finding import FindingKind
from winchsim.verdict.judge import judge
from winchsim.verdict.tooth_advice import tooth_advice, tooth_case

SPUR = {"kind": "spur", "ratio": None, "efficiency": 0.8, "pinion": 12, "gear": 60, "module": 0.001, "width": 0.008,
        "material": "PLA", "walls": 2, "infill": 0.10}  # fmt: skip


@pytest.fixture(scope="module")
def printed(small):
    """The small winch with printed gears of two walls."""
    base = small()
    return replace(base, stage=(replace(base.stage[0], **SPUR),))


@pytest.fixture(scope="module")
def case(printed):
    machine = build(printed)
    link = next(link for link in reversed(machine.links) if link.kind is LinkKind.TOOTH_PINION)
    return machine, link, tooth_case(printed, machine, link)


def test_the_case_is_the_tooth_that_the_link_judges(printed, case):
    _, link, found = case
    assert found.found.force == pytest.approx(link.strength.value, rel=1e-12)
    moulded = replace(printed, stage=(replace(printed.stage[0], material="POM", walls=None, infill=None),))
    machine = build(moulded)
    for tooth in (link for link in machine.links if link.kind.is_tooth):  # the guideline form shares load by the contact ratio
        assert tooth_case(moulded, machine, tooth).found.force == tooth.strength.value


def test_no_tooth_no_case(printed, case):
    machine, _, _ = case
    rope = next(link for link in machine.links if link.kind is LinkKind.ROPE_KNOT)
    assert tooth_case(printed, machine, rope) is None


def test_a_tested_tooth_is_not_argued_with(printed):
    inputs = replace(printed, stage=(replace(printed.stage[0], tested_tooth_force=50.0),))
    machine = build(inputs)
    link = next(link for link in machine.links if link.kind is LinkKind.TOOTH_PINION)
    assert "your own test" in tooth_advice(tooth_case(inputs, machine, link))


def test_a_solid_tooth_needs_size(printed):
    inputs = replace(printed, stage=(replace(printed.stage[0], walls=None, infill=None),))
    machine = build(inputs)
    link = next(link for link in machine.links if link.kind is LinkKind.TOOTH_PINION)
    assert "wider or coarser tooth" in tooth_advice(tooth_case(inputs, machine, link))


def test_a_thin_rim_is_told_where_it_may_decide(printed):
    one = replace(printed, stage=(replace(printed.stage[0], bore=0.0555, width=0.002),))
    verdict = judge(simulate(one))
    found = [finding for finding in verdict.findings if finding.kind is FindingKind.EXTRAPOLATED]
    assert len(found) == 1 and "its factor lies between" in found[0].sentence


def test_a_breaking_tooth_says_what_it_rests_on(printed):
    heavy = replace(printed, stage=(replace(printed.stage[0], width=0.0004),))
    verdict = judge(simulate(heavy))
    found = next(finding for finding in verdict.findings if finding.kind is FindingKind.OVERLOAD)
    assert found.about == "stage.1" and found.unit == "N"
    assert "tabled" in found.sentence and "wider or coarser tooth" in found.help
    assert verdict.sentence.startswith("Breaks the pinion tooth of stage 1 (3rd of 3)")
