"""The reports of sizing studies and sweeps: documents, JSON and CSV."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.assessment.kinds import CheckKey, Status
from winchsim.inputs import spec_at
from winchsim.quantity_text import PRINTED_UNITS, key
from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    Node,
    Paragraph,
    Table,
    Value,
    joined,
    say,
)
from winchsim.report.json_out import facts
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text
from winchsim.report.words import advice
from winchsim.report.words import sizing as words
from winchsim.report.words.checks import CHECKS
from winchsim.report.words.details import LAST_SPARE, THIN, check_table
from winchsim.report.words.values import MARKS, limit_of, of_check, value
from winchsim.scenario.read import Scenario
from winchsim.studies.sizing import Power, Run, Study, most_power
from winchsim.studies.sweep import Sweep, rows_csv

MOST_ROWS = 16
"""Candidates in a table. [-]"""

IN_TABLES = (
    (CheckKey.START_HOT, "hot"),
    (CheckKey.HOLD, "hold"),
    (CheckKey.PARTS, "factor"),
)
"""Checks whose values stand in tables of candidates, and their short names."""


def study_document(study: Study, scenario: Scenario, command: str = "") -> Document:
    """Document of a sizing study; `command` shows all details."""
    run, name = study.confirmation, study.question.name
    taken = None if run is None else run.found
    shown = taken or next((run.found for run in study.runs if run.found is not None), None)
    left_out = say("The snag of the scenario is left out.") if study.snag_left_out else ()
    texts = [*words.bands(study), words.present(study), left_out]
    most, off = _most_power(study), study.difference
    body = (
        FigureRef(name, "Candidates", "Every candidate by the quasi-static model."),
        Paragraph(joined([text for text in texts if text])),
        _binding(study),
        THIN,
    )
    power = "{} at {}, at {}; strength is left out."
    largest = "Largest difference in lift time {}."
    sections = {
        "Candidates, by the quasi-static model": (_candidates(study),),
        "Checks of the recommended build": (
            check_table(() if taken is None else taken.checks, all_rows=True),
        ),
        "Most power to the load": (Paragraph(say(power, *_of_power(most)) if most else ()),),
        "Simulated in full": (
            _runs(study),
            Paragraph(() if off is None else say(largest, Value(off, "%")), faint=True),
        ),
    }
    answer = frame.headline(*frame.of_checks(taken), words.recommendation(study), scenario.name)
    return frame.document(scenario, answer, body, sections, shown, command)


def _most_power(study: Study) -> Power | None:
    return most_power(study) if study.question.name == "heaviest" else None


def _of_power(found: Power) -> tuple[Value, Value, Value]:
    return value(found.power, "W"), value(found.mass, "kg"), value(found.speed, "m/s")


def _binding(study: Study) -> Table:
    """What binds: each check that is not ok everywhere, as recommended, and where it is ok and
    fails.

    Where there is little room, checks are left out first that are ok as recommended and fail
    nowhere.
    """
    index = study.nearest if study.recommended is None else study.recommended
    found = next((run.found for run in study.runs if run.index == index), None)
    rows: list[tuple[Cell, ...]] = []
    spare = []
    for place, (c, ok, failing) in enumerate(study.limits):
        check = None if found is None else found.check(c.key)
        known = (words.limit(c, index), words.number(study.sweep, c, index), words.status(c, index))
        if check is not None and check.value is not None and check.key is not CheckKey.TARGET:
            known = (limit_of(check), of_check(check).alone, MARKS[check.status])
        cells = (words.spans(study, mask) if mask.any() else "" for mask in (ok, failing))
        rows.append((CHECKS[c.key], *known, *cells))
        if known[2] != MARKS[Status.FAILS]:
            is_minor = known[2] == MARKS[Status.OK] and c.key not in study.bounds.values()
            spare.append((int(failing.any()) if is_minor else LAST_SPARE, place))
    heads = ("check", "limit", "value", "status", "ok", "fails")
    return Table(heads, tuple(rows), tuple(sorted(spare)), "checks")


def shown_rows(study: Study) -> list[int]:
    """Candidates worth a row: the recommended one, the present one, those in full, and others
    spread over the range."""
    every, offered = np.arange(len(study.values)), np.flatnonzero(study.offered)
    few = MOST_ROWS <= len(offered) < len(every) / 2
    pool = offered if few else every
    if study.changes:
        pool = np.lexsort((~study.sweep.meets, -study.sweep.ranks))[:MOST_ROWS]
    spread = pool[np.unique(np.round(np.linspace(0, len(pool) - 1, MOST_ROWS)).astype(int))]
    also = [*(run.index for run in study.runs), study.nearest, study.present]
    return sorted({*spread.tolist(), *also} - {None})


def _candidates(study: Study) -> Table:
    rows = tuple(
        (words.candidate(study, i), *_results(study.sweep, i, study.sweep.always))
        for i in shown_rows(study)
    )
    return Table((study.question.name, *_result_columns(study.sweep)), rows, name="candidates")


def _result_columns(found: Sweep) -> tuple[str, ...]:
    checks = [name for name_key, name in IN_TABLES if found.check(name_key)]
    return ("time", *checks, "status", "bound by")


def _results(found: Sweep, i: int, leave_out: tuple[CheckKey, ...] = ()) -> tuple[Cell, ...]:
    columns = [column for name, _ in IN_TABLES if (column := found.check(name))]
    return (
        words.time_or_end(found, i),
        *(words.number(found, column, i) for column in columns),
        MARKS[found.status(i)],
        words.bound_by(found, i, leave_out),
    )


def _runs(study: Study) -> Table:
    heads = (study.question.name, "status", "lift time", "quasi-static", "difference", "end")
    return Table(heads, tuple(_run(study, run) for run in study.runs), name="runs")


def _run(study: Study, run: Run) -> tuple[Cell, ...]:
    numbers = ((run.time, "s"), (run.slow_time, "s"), (run.difference, "%"))
    cells = ("" if number is None else Value(number, unit) for number, unit in numbers)
    if run.found is None:
        return (words.candidate(study, run.index), "", *cells, run.problem)
    end = words.ended(run.found.target.end)
    return words.candidate(study, run.index), MARKS[run.found.status], *cells, end


def study_json(study: Study, scenario: Scenario) -> str:
    """JSON text of a sizing study: what is recommended with its assessment, limits, runs and all
    candidates."""
    take, unit = study.recommended, PRINTED_UNITS[study.question.unit].si
    name = key("value", unit)

    def bands(mask: np.ndarray) -> list[list[float]]:
        return [[float(study.values[a]), float(study.values[b])] for a, b in study.bands(mask)]

    run = study.confirmation
    return document(
        digest=scenario.digest,
        verdict=sentence_text(words.recommendation(study)),
        cautions=list(advice.CAUTIONS.values()),
        rows=study_rows(study),
        command=study.question.name,
        path=study.path,
        unit=unit,
        recommended=None
        if take is None
        else {name: study.values[take].item(), "change": _change(study, take)},
        status=None if run is None or run.found is None else run.found.status.value,
        checks=[] if run is None or run.found is None else facts(run.found.checks),
        meets_every_limit=bands(study.sweep.meets),
        no_check_fails=bands(study.sweep.sound),
        thin_for_all=facts(study.sweep.always),
        limits=[
            {"check": column.key.value, "ok": bands(ok), "fails": bands(failing)}
            for column, ok, failing in study.limits
        ],
        nearest={name: study.values[study.nearest].item(), "change": _change(study, study.nearest)},
        full_runs=[
            {
                name: study.values[r.index].item(),
                "status": None if r.found is None else r.found.status.value,
                "end": None if r.found is None else r.found.target.end.value,
                "lift_time_s": r.time,
                "quasi_static_lift_time_s": r.slow_time,
                "difference": r.difference,
                "problem": r.problem or None,
            }
            for r in study.runs
        ],
        largest_difference=study.difference,
        wanted=facts(study.wanted),
        most_power=facts(_most_power(study)),
    )


def _change(study: Study, index: int) -> str | None:
    return sentence_text(words.change(study.changes[index])) if study.changes else None


def study_rows(study: Study) -> list[dict[str, Any]]:
    """Every candidate as plain values."""
    name = key(study.path, study.question.unit)
    rows = study.sweep.rows()
    for index, row in enumerate(rows):
        row.setdefault(name, study.values[index].item())
        row["meets_every_limit"] = bool(study.sweep.meets[index])
        if study.changes:
            row["change"] = _change(study, index)
    return [{name: row.pop(name), **row} for row in rows]


def study_csv(study: Study) -> str:
    """Every candidate as CSV text."""
    return rows_csv(study_rows(study))


# --- sweeps

Swept = tuple[Scenario, Sweep, Sweep]
"""A scenario, its sweep, and a sweep of the scenario as it is."""


def sweep_document(found: Sequence[Swept], command: str) -> Document:
    """Document of sweeps: a table by status, the scenario as it is first.

    Parameters
    ----------
    found : sequence of (Scenario, Sweep, Sweep)
    command : str
        That shows all rows.
    """
    body: list[Node] = []
    for scenario, swept, base in found:
        best = max(Status, key=lambda status: (status.rank in swept.ranks, status.rank))
        count = f"{int(np.sum(swept.ranks == best.rank))} of {len(swept)} builds"
        answer = frame.headline(MARKS[best], count, words.swept(swept), scenario.name)
        body += [answer, _sweep_table(swept, base)]
    first, *rest = body
    caption = "Builds by the quasi-static model, or in full where asked for."
    figure = FigureRef("sweep", "Sweep", caption)
    return frame.document(found[0][0], first, (figure, *rest, THIN), {}, None, command)


def _sweep_table(swept: Sweep, base: Sweep) -> Table:
    last = [path.rpartition(".")[2] for path in swept.values]
    heads = [
        name if last.count(name) == 1 else path
        for name, path in zip(last, swept.values, strict=True)
    ]
    order = np.argsort(-swept.ranks, kind="stable")
    rows = [("as it is", *[""] * (len(heads) - 1), *_results(base, 0))]
    rows += [
        (*(_value(swept, path, i) for path in swept.values), *_results(swept, i)) for i in order
    ]
    spare = tuple((0, row) for row in range(len(rows) - 1, MOST_ROWS, -1))
    return Table((*heads, *_result_columns(swept)), tuple(rows), spare, "builds")


def _value(swept: Sweep, path: str, index: int) -> Cell:
    given = swept.values[path][index].item()
    if isinstance(given, str | bool):
        return str(given)
    return words.varied(float(given), spec_at(swept.inputs, path).unit)


def sweep_json(found: Sequence[Swept]) -> str:
    """JSON text of sweeps."""
    return document(
        digest=found[0][0].digest,
        verdict=" ".join(sentence_text(words.swept(swept)) for _, swept, _ in found),
        cautions=list(advice.CAUTIONS.values()),
        rows=sweep_rows(found),
        command="sweep",
        base=[{"file": scenario.name, **base.rows()[0]} for scenario, _, base in found],
        simulated=found[0][1].simulated,
    )


def sweep_rows(found: Sequence[Swept]) -> list[dict[str, Any]]:
    """Every build as plain values, with its file where there are several."""
    several = len(found) > 1
    rows = [
        {"file": scenario.name, **row} if several else row
        for scenario, swept, _ in found
        for row in swept.rows()
    ]
    names = dict.fromkeys(name for row in rows for name in row)
    return [{name: row.get(name) for name in names} for row in rows]
