"""What a worker computes for the page: each job yields its results one by one, as plain values."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from winchsim.assessment.actions import with_actions
from winchsim.assessment.evaluate import assess
from winchsim.inputs import Inputs
from winchsim.page import picture
from winchsim.page.answer import answer
from winchsim.report.lift import build
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import SheetRow
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


def ladder(scenario: Scenario) -> Iterator[str]:
    """Test sheet of a build, as CSV."""
    from winchsim.report.ladder import ladder_csv
    from winchsim.studies.ladder import plan_ladder

    yield ladder_csv(plan_ladder(scenario.inputs), digest=scenario.digest)


def calibration(inputs: Inputs, rows: tuple[SheetRow, ...]) -> Iterator[dict[str, Any]]:
    """Calibrated build, and each measurement beside it: test, kind, unit, measured, predicted and before."""
    from winchsim.report.calibration import rounded
    from winchsim.report.measured import lift_tests
    from winchsim.studies.calibrate import calibrate
    from winchsim.studies.calibrate.evidence import LABELS, UNITS

    found = rounded(calibrate(inputs, lift_tests(inputs, rows)), inputs)
    measured = [
        {
            "test": f"{row.test.mass:.3g} kg" if not row.test.bare else "unloaded",
            "kind": LABELS[row.kind],
            "unit": UNITS[row.kind],
            "values": [_finite(v) for v in (row.measured, row.predicted, row.before)],
            "is_outlier": bool(row.is_outlier),
        }
        for row in found.residuals
    ]
    yield {"inputs": found.inputs, "rows": measured}


def _finite(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None
