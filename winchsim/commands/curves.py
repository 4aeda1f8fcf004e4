"""``winchsim curves``: figures ready to publish, of one lift or of several on shared axes, with
measured points on them."""

import math
from collections.abc import Callable, Sequence
from typing import Any

from winchsim.assessment.evaluate import assess
from winchsim.commands.call import Env, Namespace, present, refuse, usage_error, write_out
from winchsim.commands.files import FILM, formats, stems
from winchsim.errors import DomainError
from winchsim.frozen import replace
from winchsim.inputs import Inputs
from winchsim.quantity_text import quantity
from winchsim.report import measured as beside, names
from winchsim.report.document import Text
from winchsim.report.figures.catalogue import Picture, image, pictures
from winchsim.report.figures.look import LOOKS, Look
from winchsim.report.figures.moving import film
from winchsim.report.figures.overlay import DrawnRun, key_of, overlay, with_sheet, with_trace
from winchsim.report.json_out import curves_json
from winchsim.scenario.sheet import SheetRow
from winchsim.scenario.trace import MeasuredTrace, read_for
from winchsim.simulation import Record, simulate
from winchsim.studies.ladder import plan_ladder

MOST_LIFTS = 40
"""Most lifts that are run for one call: files, rungs or different rows of a test sheet."""

Drawn = tuple[list[Picture], list[Text], list[dict[str, Any]]]
"""Figures, with remarks and plain data about them."""


def run(options: Namespace, env: Env) -> int:
    """Simulate, draw, write the files."""
    forms, wanted = formats(options), stems(options)
    _refuse_mixtures(options)
    scenarios, inputs = options.scenarios, options.scenario.inputs
    rows: tuple[SheetRow, ...] | MeasuredTrace | None = None
    logged = None
    if options.measured is not None:
        rows, _, logged = read_for(inputs, options.measured, options.log)
        rows = logged.lifts[0].trace if logged and len(logged.lifts) == 1 else rows
    look = replace(LOOKS[options.width], us=options.units == "us")
    records = [simulate(scenario.inputs) for scenario in scenarios]
    with env.progress("lifts") as tell:
        if len(scenarios) > 1:
            drawn = _several(look, [s.inputs.title or s.name for s in scenarios], records)
        elif options.ladder:
            ladder = plan_ladder(inputs, on_progress=tell)
            masses = [quantity(rung.mass, "kg") for rung in ladder.rungs if rung.mass > 0]
            drawn = _several(look, masses, ladder.records)
        elif isinstance(rows, MeasuredTrace):
            drawn = _trace(look, records[0], rows)
        elif rows is not None:
            drawn = _sheet(look, inputs, rows, tell)
        else:
            drawn = pictures(records[0], look, wanted), [], []
    figures = [picture for picture in drawn[0] if picture[0].name in wanted]
    digest = scenarios[0].digest if len(scenarios) == 1 else ""
    files = {
        f"{words.name}.{form}": image(figure, form, look, digest, options.dpi)
        for words, figure in figures
        for form in forms
    }
    if options.animate:
        try:
            moving = film(records[0], look, options.animate, options.speed)
        except DomainError as error:
            raise usage_error(str(error), "see --animate and --speed") from None
        files[f"{FILM}.{options.animate}"] = moving
    paths = write_out(options, env, files)
    found = [assess(record, actions=False) for record in records]
    remarks = [*([beside.log(logged).text] if logged else []), *drawn[1]]
    document = beside.curves_document([s.name for s in scenarios], found, remarks)
    shown = [words for words, _ in figures]
    present(options, env, document, lambda: curves_json(scenarios, found, shown, paths, drawn[2]))
    return max(each.exit_code for each in found)


# --- arguments


def _refuse_mixtures(options: Namespace) -> None:
    count, ladder, measured = len(options.files), options.ladder, options.measured
    one, alone = "give one FILE with ", "give one FILE, no --ladder or --measured"
    both, several = "--ladder and --measured do not go together", count > 1
    refuse(
        (several and ladder, "a ladder belongs to one scenario", one + "--ladder"),
        (several and measured, "measured points belong to one scenario", one + "--measured"),
        (ladder and measured, both, "a test sheet brings its own loads"),
        (options.animate and (several or ladder or measured), "--animate shows one lift", alone),
        (
            count > MOST_LIFTS,
            f"{count} files are too many",
            f"at most {MOST_LIFTS} go onto shared axes",
        ),
        (
            not 50 <= options.dpi <= 1200,
            f"--dpi {options.dpi} is out of range",
            "--dpi takes 50 to 1200",
        ),
        (
            not 0 < options.speed < math.inf,
            f"--speed {options.speed:g} is out of range",
            "--speed takes more than 0",
        ),
    )


# --- drawing


def _several(look: Look, titles: Sequence[str], records: Sequence[Record]) -> Drawn:
    runs = [DrawnRun(title, record) for title, record in zip(titles, records, strict=True)]
    return [(names.OVERLAY, overlay(runs, look))], [(line,) for line in key_of(runs, look)], []


def _trace(look: Look, record: Record, measured: MeasuredTrace) -> Drawn:
    found = beside.trace_differences(record, measured)
    refuse(
        (
            not found,
            "no sample of the trace lies within the run",
            "its time counts from power on, in seconds",
        )
    )
    remarks, rows = map(beside.trace_sentence, found), map(beside.difference_facts, found)
    return [(names.BESIDE_TRACE, with_trace(record, look, measured))], list(remarks), list(rows)


def _sheet(
    look: Look, inputs: Inputs, rows: tuple[SheetRow, ...], tell: Callable[[int, int], None]
) -> Drawn:
    tests = beside.simulated_sheet(inputs, rows, most=MOST_LIFTS, on_progress=tell)
    refuse(
        (
            not tests,
            "the test sheet has no row that was measured",
            "fill in measured_time_s or measured_current_a",
        )
    )
    runs = []
    for record in {id(test.record): test.record for test in tests}.values():
        times = (test.row.measured_time for test in tests if test.record is record)
        name = quantity(record.machine.body.mass, "kg")
        runs.append(DrawnRun(name, record, tuple(time for time in times if time is not None)))
    drawn = [(names.TESTS, overlay(runs, look)), (names.BESIDE_SHEET, with_sheet(tests, look))]
    remarks, facts = map(beside.row_sentence, tests), map(beside.comparison_facts, tests)
    return drawn, list(remarks), list(facts)
