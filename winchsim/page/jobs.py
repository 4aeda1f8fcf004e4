"""What a worker computes for the page: each job yields its results one by one, as plain values."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from winchsim.assessment.actions import with_actions
from winchsim.assessment.evaluate import assess
from winchsim.inputs import Inputs
from winchsim.page import picture
from winchsim.page.answer import answer
from winchsim.report.lift import build
from winchsim.scenario.read import Scenario
from winchsim.simulation import simulate


def lift(inputs: Inputs) -> Iterator[dict[str, Any]]:
    """First answer: simulation and assessment without ranges and actions, curves and picture."""
    record = simulate(inputs)
    found = answer(assess(record, actions=False, ranges=False), record)
    yield found | {
        "tracks": picture.tracks(record),
        "motion": picture.motion(record),
        "svg": picture.svg(record, inputs, found["tables"]),
    }


def thorough(inputs: Inputs) -> Iterator[dict[str, Any]]:
    """Second pass: the answer with ranges, then with actions too."""
    record = simulate(inputs)
    found = assess(record, actions=False)
    yield answer(found, record)
    yield answer(with_actions(found, record), record)


def report(scenario: Scenario) -> Iterator[dict[str, str | bytes]]:
    """Files of the report of a lift."""
    from winchsim.report.bundle import report_files

    record = simulate(scenario.inputs, sampled=True)
    yield report_files(build(assess(record), scenario, record), scenario, record)
