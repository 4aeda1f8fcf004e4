"""What a worker computes for the page: each job yields its results one by one, as plain values."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from winchsim.assessment.actions import with_actions
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Status
from winchsim.inputs import Inputs
from winchsim.page import picture
from winchsim.page.answer import answer, mark, numbers, words
from winchsim.quantity_text import in_unit
from winchsim.report.lift import build as lift_document
from winchsim.report.render.html import body
from winchsim.report.render.options import Options
from winchsim.report.words.sizing import change, parts, time_or_end
from winchsim.report.words.values import CHECKS, MARKS
from winchsim.scenario.change import with_value
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import SheetRow
from winchsim.simulation import simulate

if TYPE_CHECKING:
    from winchsim.studies.sizing import Study

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
    yield report_files(lift_document(assess(record), scenario, record), scenario, record)


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
    from winchsim.studies.calibrate import UNITS, calibrate

    found = rounded(calibrate(inputs, lift_tests(inputs, rows)))
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
    assessed = assess(simulate(found.inputs), actions=False, ranges=False)
    yield {"inputs": found.inputs, "rows": measured, "numbers": numbers(assessed)}


def why(scenario: Scenario, inputs: Inputs, rows: tuple[SheetRow, ...]) -> Iterator[str]:
    """Why the last test of a sheet failed, as HTML."""
    from winchsim.report.measured import lift_tests
    from winchsim.report.why import diagnosis_document, question
    from winchsim.studies import why

    found = why.why(inputs, lift_tests(inputs, rows))
    make: Any = diagnosis_document if isinstance(found, why.Diagnosis) else question
    yield "".join(body(make(found, scenario, ""), Options()))


def question(inputs: Inputs, name: str) -> Iterator[dict[str, Any]]:
    """Candidates of a sizing question, or for ``choose`` the best builds of the parts at hand: for
    each its build and how it stands to each check that matters."""
    if name == "choose":
        from winchsim.studies.choose import choose

        choice = choose(inputs)
        sweep, present = choice.full, None
        recommended = None if choice.exit_code else 0
        columns = [column for column in sweep.checks if column.rank.min() < Status.OK.rank]
        found = [
            (i, f"build {i + 1}", words(parts(build)), build.inputs)
            for i, build in enumerate(choice.builds)
        ]
    else:
        from winchsim.studies.sizing import size

        study = size(inputs, name)
        sweep, present, recommended = study.sweep, study.present, study.recommended
        columns, found = [column for column, *_ in study.limits], list(_offered(study))
    tags = {recommended: "recommended", present: "as it is"}
    yield {
        "rows": [
            {
                "text": text,
                "mark": mark(MARKS[sweep.status(i)]),
                "about": " · ".join(
                    filter(None, (words(time_or_end(sweep, i)), tags.get(i), about))
                ),
                "ranks": [int(column.rank[i]) for column in columns],
                "is_recommended": i == recommended,
                "inputs": build,
            }
            for i, text, about, build in found
        ],
        "checks": [CHECKS[column.key] for column in columns],
    }


def _offered(study: Study) -> Iterator[tuple[int, str, str, Inputs]]:
    """Candidates of a study that are shown: place, value, what is changed, build."""
    offered = np.flatnonzero(study.offered).tolist()
    named = {i for i in (study.present, study.recommended) if i is not None}
    unit = ":1" if study.question.name == "gears" else study.question.unit
    for i in sorted({*offered[:: len(offered) // MOST_CANDIDATES + 1], *named}):
        text = f"{in_unit(float(study.values[i]), study.question.unit):.4g} {unit}".strip()
        if study.changes:
            yield i, text, words(change(study.changes[i])), study.changes[i].inputs
        else:
            yield i, text, "", with_value(study.sweep.inputs, study.path, study.values[i].item())


def two_keys(inputs: Inputs, keys: dict[str, tuple[float, float]]) -> Iterator[dict[str, Any]]:
    """Map of two keys: status of each cell, and the lines on which each check begins to fail."""
    from contourpy import contour_generator

    from winchsim.studies.sweep import sweep

    (across, xs), (up, ys) = ((path, np.linspace(*ends, CELLS)) for path, ends in keys.items())
    found = sweep(inputs, {across: xs, up: ys}, ranges=False)
    lines = []
    for column in found.checks:
        fails = np.where((column.rank == 0) & found.is_read(column.key), -1.0, 1.0)
        hard = math.nan if column.hard is None else column.hard
        margin = np.abs(np.asarray(column.value, float) - np.asarray(hard, float))
        heights = fails * margin if np.isfinite(margin).all() else fails
        drawn = contour_generator(xs, ys, heights.reshape(CELLS, CELLS).T).lines(0.0)
        lines += [
            {"name": CHECKS[column.key], "points": np.asarray(line).tolist()} for line in drawn
        ]
    ranks = found.ranks.reshape(CELLS, CELLS).tolist()
    yield {"x": xs.tolist(), "y": ys.tolist(), "ranks": ranks, "lines": lines}
