"""What a worker computes for the page: each job yields its results one by one, as plain values."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from typing import Any

import numpy as np

from winchsim.assessment.actions import with_actions
from winchsim.assessment.evaluate import assess
from winchsim.inputs import Inputs
from winchsim.page import picture
from winchsim.page.answer import answer, mark, numbers, words
from winchsim.quantity_text import in_unit
from winchsim.report.lift import build
from winchsim.report.words.checks import CHECKS
from winchsim.report.words.sizing import change
from winchsim.report.words.values import MARKS
from winchsim.scenario.change import with_value
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import SheetRow
from winchsim.simulation import simulate

MOST_CANDIDATES = 48
"""Candidates of a question that the page shows. [-]"""

CELLS = 24
"""Values of each key of a map. [-]"""


def lift(inputs: Inputs) -> Iterator[dict[str, Any]]:
    """First answer: simulation and assessment without ranges and actions, curves and picture; and
    the run itself for the second pass."""
    record = simulate(inputs)
    found = answer(assess(record, actions=False, ranges=False), record)
    yield found | {
        "run": pickle.dumps(record),
        "tracks": picture.tracks(record, inputs),
        "motion": picture.motion(record, inputs),
        "svg": picture.svg(record, inputs, found["status"]),
    }


def thorough(run: bytes) -> Iterator[dict[str, Any]]:
    """Second pass over a run from `lift`: the answer with ranges, then with actions too."""
    record = pickle.loads(run)
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
    """Calibrated build, and each measurement beside it: test, kind, unit, measured, predicted and
    before."""
    from winchsim.report.calibration import rounded
    from winchsim.report.measured import lift_tests
    from winchsim.studies.calibrate import calibrate
    from winchsim.studies.calibrate.evidence import UNITS

    found = rounded(calibrate(inputs, lift_tests(inputs, rows)), inputs)
    measured = [
        {
            "test": f"{row.test.mass:.3g} kg" if not row.test.bare else "unloaded",
            "kind": row.kind.value.replace("_", " "),
            "unit": UNITS[row.kind],
            "values": [
                float(f"{v:.4g}") if math.isfinite(v) else None
                for v in (row.measured, row.predicted, row.before)
            ],
        }
        for row in found.residuals
    ]
    calibrated = assess(simulate(found.inputs), actions=False, ranges=False)
    yield {"inputs": found.inputs, "rows": measured, "numbers": numbers(calibrated)}


def question(inputs: Inputs, name: str) -> Iterator[dict[str, Any]]:
    """Candidates of a sizing question: for each its build and how it stands to each check that the
    question can change."""
    from winchsim.studies.sizing import size

    study = size(inputs, name)
    offered = np.flatnonzero(study.offered).tolist()
    named = {i for i in (study.present, study.recommended) if i is not None}
    places = sorted({*offered[:: len(offered) // MOST_CANDIDATES + 1], *named})
    columns = [limit.column for limit in study.limits]
    rows = []
    for i in places:
        build = (
            study.changes[i].inputs
            if study.changes
            else with_value(inputs, study.path, study.values[i].item())
        )
        number = in_unit(float(study.values[i]), study.question.unit)
        time = float(study.sweep.results["lift_time"][i])
        rows.append(
            {
                "text": f"{number:.4g} {':1' if name == 'gears' else study.question.unit}".strip(),
                "mark": mark(MARKS[study.sweep.status(i)]),
                "about": words(change(study.changes[i])) if study.changes else "",
                "time": f"{time:.3g} s" if math.isfinite(time) else "no lift",
                "ranks": [int(column.rank[i]) for column in columns],
                "is_present": i == study.present,
                "is_recommended": i == study.recommended,
                "inputs": build,
            }
        )
    yield {"rows": rows, "checks": [CHECKS[column.key] for column in columns]}


def two_keys(inputs: Inputs, keys: dict[str, tuple[float, float]]) -> Iterator[dict[str, Any]]:
    """Map of two keys: status of each cell, and the lines on which each check begins to fail."""
    from contourpy import contour_generator

    from winchsim.studies.sweep import sweep

    (across, xs), (up, ys) = ((path, np.linspace(*ends, CELLS)) for path, ends in keys.items())
    found = sweep(inputs, {across: xs, up: ys}, ranges=False)
    lines = []
    for column in found.checks:
        fails = np.where(column.rank == 0, -1.0, 1.0)
        hard = math.nan if column.hard is None else column.hard
        margin = np.abs(np.asarray(column.value, float) - np.asarray(hard, float))
        heights = fails * margin if np.isfinite(margin).all() else fails
        drawn = contour_generator(xs, ys, heights.reshape(CELLS, CELLS).T).lines(0.0)
        lines += [
            {"name": CHECKS[column.key], "points": np.asarray(line).tolist()} for line in drawn
        ]
    ranks = found.ranks.reshape(CELLS, CELLS).tolist()
    yield {"x": xs.tolist(), "y": ys.tolist(), "ranks": ranks, "lines": lines}
