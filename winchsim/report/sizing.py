"""Reports of sizing studies, sweeps and choices from parts at hand: documents, JSON and rows."""

from collections.abc import Iterable, Mapping, Sequence
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
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text
from winchsim.report.words import advice, sizing as words
from winchsim.report.words.details import LAST_SPARE, NEAREST, THIN, check_table
from winchsim.report.words.outcome import ended, outcome
from winchsim.report.words.values import CHECKS, MARKS, limit_of, of_check, value
from winchsim.scenario.read import Scenario
from winchsim.studies.choose import Choice
from winchsim.studies.sizing import Study, StudyRun, most_power
from winchsim.studies.sweep import Sweep

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
    most, off = most_power(study), study.difference
    body = (
        FigureRef(
            name,
            "Candidates",
            "Every candidate by the quasi-static model.",
            "sizing:study_figure",
        ),
        Paragraph(joined([*words.bands(study), words.present(study), left_out])),
        _binding(study),
        THIN,
    )
    at = most and (value(most.power, "W"), value(most.mass, "kg"), value(most.speed, "m/s"))
    power = say("{} at {}, at {}; strength is left out.", *at) if at else ()
    largest = () if off is None else say("Largest difference in lift time {}.", Value(off, "%"))
    columns = _shown(study.sweep)
    candidates = tuple(
        (words.candidate(study, i), *_results(study.sweep, i, columns, study.sweep.always))
        for i in shown_rows(study)
    )
    sections = {
        "Candidates, by the quasi-static model": (
            Table((name, *_result_heads(columns)), candidates, name="candidates"),
        ),
        "Checks of the recommended build": (
            check_table(() if taken is None else taken.checks, all_rows=True),
        ),
        "Most power to the load": (Paragraph(power),),
        "Simulated in full": (
            Table(
                (name, "status", "lift time", "quasi-static", "difference", "end"),
                tuple(_run(study, run) for run in study.runs),
                name="runs",
            ),
            Paragraph(largest, faint=True),
        ),
    }
    answer = frame.headline(*frame.of_checks(taken), words.recommendation(study), scenario.name)
    return frame.document(scenario, answer, body, sections, shown, command)


def _binding(study: Study) -> Table:
    """What binds: each check that is not ok everywhere, as recommended, and where it is ok and
    fails.

    Where there is little room, checks are left out first that are ok as recommended and fail
    nowhere.
    """
    index = study.nearest if study.recommended is None else study.recommended
    run, rows, spare = study.run_of(index), list[tuple[Cell, ...]](), []
    for place, (c, ok, failing) in enumerate(study.limits):
        check = run and run.found and run.found.check(c.key)
        mark = MARKS[list(Status)[c.rank[index]]]
        known = (words.limit(c, index), words.number(study.sweep, c, index), mark)
        if check and check.value is not None:
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
    pool = offered if MOST_ROWS <= len(offered) < len(every) / 2 else every
    if study.changes:
        pool = np.lexsort((~study.sweep.meets, -study.sweep.ranks))[:MOST_ROWS]
    spread = pool[np.unique(np.round(np.linspace(0, len(pool) - 1, MOST_ROWS)).astype(int))]
    ran = (run.index for run in study.runs)
    return sorted({*spread.tolist(), *ran, study.nearest, study.present} - {None})


def _shown(*found: Sweep) -> dict[CheckKey, str]:
    """Checks of `IN_TABLES` that one of some sweeps has at least."""
    return {key: name for key, name in IN_TABLES if any(each.check(key) for each in found)}


def _result_heads(shown: Mapping[CheckKey, str]) -> tuple[str, ...]:
    return ("time", *shown.values(), "status", "bound by")


def _results(
    found: Sweep, i: int, shown: Iterable[CheckKey], leave_out: tuple[CheckKey, ...] = ()
) -> tuple[Cell, ...]:
    columns = map(found.check, shown)
    return (
        words.time_or_end(found, i),
        *(words.number(found, column, i) if column else "" for column in columns),
        MARKS[found.status(i)],
        words.bound_by(found, i, leave_out),
    )


def _run(study: Study, run: StudyRun) -> tuple[Cell, ...]:
    numbers = ((run.time, "s"), (run.slow_time, "s"), (run.difference, "%"))
    cells = ("" if number is None else Value(number, unit) for number, unit in numbers)
    mark: Cell = MARKS[run.found.status] if run.found else ""
    end = ended(run.found.target.end) if run.found else run.problem
    return words.candidate(study, run.index), mark, *cells, end


def study_json(study: Study, scenario: Scenario) -> str:
    """JSON text of a sizing study: what is recommended with its assessment, limits, runs and all
    candidates."""
    unit = PRINTED_UNITS[study.question.unit].si
    name = key("value", unit)

    def place(index: int) -> dict[str, Any]:
        return {name: study.values[index].item(), "change": _change(study, index)}

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
        recommended=None if study.recommended is None else place(study.recommended),
        status=None if run is None or run.found is None else run.found.status.value,
        checks=[] if run is None or run.found is None else run.found.checks,
        meets_every_limit=bands(study.sweep.meets),
        no_check_fails=bands(study.sweep.sound),
        thin_for_all=study.sweep.always,
        limits=[
            {"check": column.key.value, "ok": bands(ok), "fails": bands(failing)}
            for column, ok, failing in study.limits
        ],
        nearest=place(study.nearest),
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
        wanted=study.wanted,
        most_power=most_power(study),
    )


def _change(study: Study, index: int) -> str | None:
    return sentence_text(words.change(study.changes[index])) if study.changes else None


def study_rows(study: Study) -> list[dict[str, Any]]:
    """Every candidate as plain values."""
    name, found = key(study.path, study.question.unit), study.sweep
    changes = [{"change": _change(study, i)} if study.changes else {} for i in range(len(found))]
    return [
        {name: given.item(), **row, "meets_every_limit": bool(meets), **change}
        for given, row, meets, change in zip(
            study.values, found.rows(), found.meets, changes, strict=True
        )
    ]


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
        best, mark = swept.ranks.max(), MARKS[swept.status(int(np.argmax(swept.ranks)))]
        count = f"{int(np.sum(swept.ranks == best))} of {len(swept)} builds"
        answer = frame.headline(mark, count, words.swept(swept), scenario.name)
        body += [answer, _sweep_table(swept, base)]
        parts = dict.fromkeys(
            part for each in (base, swept) for part in each.parts[each.is_read(CheckKey.PARTS)]
        )
        if parts:
            body.append(Paragraph(say(f"{' or '.join(parts)}."), label=NEAREST))
        raises = {phase.until for phase in base.inputs.phase if phase.action == "raise"}
        if "time" in raises and not swept.simulated:
            body.append(Paragraph(say("Whole lifts; with --simulate as the programme asks.")))
    first, *rest = body
    figure = FigureRef(
        "sweep",
        "Sweep",
        "Builds by the quasi-static model, or in full where asked for.",
        "sizing:sweep_figure",
    )
    return frame.document(found[0][0], first, (figure, *rest, THIN), {}, None, command)


def _sweep_table(swept: Sweep, base: Sweep) -> Table:
    last = [path.rpartition(".")[2] for path in swept.values]
    heads = [
        name if last.count(name) == 1 else path
        for name, path in zip(last, swept.values, strict=True)
    ]
    order, shown = np.argsort(-swept.ranks, kind="stable"), _shown(swept, base)
    rows = [
        ("as it is", *[""] * (len(heads) - 1), *_results(base, 0, shown)),
        *(
            (*(_value(swept, path, i) for path in swept.values), *_results(swept, i, shown))
            for i in order
        ),
    ]
    spare = tuple((0, row) for row in range(len(rows) - 1, MOST_ROWS, -1))
    return Table((*heads, *_result_heads(shown)), tuple(rows), spare, "builds")


def _value(swept: Sweep, path: str, index: int) -> Cell:
    given, unit = swept.values[path][index].item(), spec_at(swept.inputs, path).unit
    return str(given) if isinstance(given, str | bool) else words.varied(float(given), unit)


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
    rows = [
        {"file": scenario.name, **row} if len(found) > 1 else row
        for scenario, swept, _ in found
        for row in swept.rows()
    ]
    names = dict.fromkeys(name for row in rows for name in row)
    return [{name: row.get(name) for name in names} for row in rows]


# --- choices


def _verdict(found: Choice) -> Text:
    """The best build in a sentence, and what becomes of the load."""
    if not found.builds:
        return say("No build from these parts could be simulated.")
    start = "Take {}." if found.exit_code == 0 else "No build meets the limits. Nearest: {}."
    return joined([say(start, words.parts(found.builds[0])), outcome(found.found[0])])


def choice_document(found: Choice, scenario: Scenario, command: str) -> Document:
    """Document of a choice; `command` shows all details."""
    best = found.found[0] if found.found else None
    aim, which = "room to the nearest limit", "spread over the starting margin"
    if found.fastest:
        aim, which = "lift time", "those estimated to be fastest"
    which = f" ({which})" if found.tried < found.possible else ""
    counted = say(
        f"{found.tried} of {found.possible} possible builds{which} tried by the quasi-static "
        f"model; no check fails for {found.sound} of them. Fewest thin checks first, then by {aim}."
    )
    checks = check_table(() if best is None else best.checks, all_rows=True)
    body = (_builds(found), *(advice.actions(best) if best else ()), Paragraph(counted, faint=True))
    sections = {"Gears of the best build": (_gears(found),), "Its checks": (checks,)}
    return frame.document(
        scenario,
        frame.headline(*frame.of_checks(best), _verdict(found), scenario.name),
        body,
        sections,
        best,
        command,
    )


def _builds(found: Choice) -> Table:
    chosen: dict[str, list[Cell]] = {
        "gears": [words.train(build) for build in found.builds],
        "ratio": [Value(build.value) if build.train else "" for build in found.builds],
        "motors": [words.motors(build) for build in found.builds],
        "drum": [Value(b.drum.diameter, "mm") if b.drum else "" for b in found.builds],
        "rope": [Value(b.rope.diameter, "mm") if b.rope else "" for b in found.builds],
    }
    chosen = {name: cells for name, cells in chosen.items() if any(cells)}
    rows = tuple(
        (
            *(cells[place] for cells in chosen.values()),
            words.time_or_end(found.full, place),
            MARKS[found.full.status(place)],
            words.bound_by(found.full, place),
        )
        for place in range(len(found.builds))
    )
    return Table((*chosen, "time", "status", "bound by"), rows, name="builds")


def _gears(found: Choice) -> Table:
    heads = ("stage", "teeth", "module", "ratio", "centre distance", "pinion", "gear")
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            str(place),
            f"{pair[0].teeth}:{pair[1].teeth}",
            Value(pair[0].module, "mm"),
            Value(pair[1].teeth / pair[0].teeth),
            Value(words.centre_distance(pair), "mm"),
            *(gear.material or "" for gear in pair),
        )
        for place, pair in enumerate(found.builds[0].train if found.builds else (), start=1)
    )
    return Table(heads, rows, name="pairs")


def choice_rows(found: Choice) -> list[dict[str, Any]]:
    """The best builds as plain values."""
    return [
        {
            "build": sentence_text(words.parts(build)),
            "ratio": build.value,
            "gears": words.train(build) or None,
            "motors": words.motors(build) or None,
            "drum_diameter_m": None if build.drum is None else build.drum.diameter,
            "rope_diameter_m": None if build.rope is None else build.rope.diameter,
            **row,
        }
        for build, row in zip(found.builds, found.full.rows(), strict=True)
    ]


def choice_json(found: Choice, scenario: Scenario) -> str:
    """JSON text of a choice."""
    return document(
        digest=scenario.digest,
        verdict=sentence_text(_verdict(found)),
        cautions=list(advice.CAUTIONS.values()),
        rows=choice_rows(found),
        command="choose",
        tried=found.tried,
        possible=found.possible,
        no_check_fails=found.sound,
        fastest=found.fastest,
        centre_distances_m=[
            [words.centre_distance(pair) for pair in build.train] for build in found.builds
        ],
        checks=found.found[0].checks if found.found else [],
    )
