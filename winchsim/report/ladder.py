"""A ladder of test loads as a document, as JSON, and as the test sheet to fill in."""

import re
from importlib.resources import files
from typing import Any

from winchsim.assessment.kinds import Assessment, Finding, FindingKind
from winchsim.frozen import replace
from winchsim.model.estimate import raising_phase
from winchsim.quantity_text import keyed
from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    Items,
    Node,
    Paragraph,
    Table,
    joined,
    say,
)
from winchsim.report.json_out import facts
from winchsim.report.json_text import document
from winchsim.report.plain_text import harmless
from winchsim.report.render.html import render_html
from winchsim.report.render.options import Options, sentence_text, sentences
from winchsim.report.words import ladder as words
from winchsim.report.words.details import THIN
from winchsim.report.words.findings import finding
from winchsim.report.words.values import MARKS, value
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import SheetOrigin, SheetRow, origin_line, write_sheet
from winchsim.studies.ladder import Ladder, Rung

BLANKS = ("time", "current", "at motors", "winding before", "held?", "outcome", "note")
"""Columns of the sheet that are filled in."""


def build(
    found: Ladder,
    scenario: Scenario,
    command: str = "",
    *,
    sheet: bool = False,
    blind: bool = False,
) -> Document:
    """Document of a ladder.

    Parameters
    ----------
    found : Ladder
    scenario : Scenario
    command : str
        That shows all details.
    sheet : bool
        Whether it is the sheet to print, with blanks for what is measured.
    blind : bool
        Whether all predictions are left out but those that say when to stop.
    """
    status = found.status
    count = f"{sum(rung.status is status for rung in found.rungs)} of {len(found.rungs)} rungs"
    sentence = words.sentence(found, blind=blind)
    answer = frame.headline(MARKS[status], "" if blind else count, sentence, scenario.name)
    stops, binding = words.stop_lines(found), words.binding_table(found)
    below: tuple[Node, ...] = (
        Paragraph((), label="Lowering"),
        Items(words.down_lines(found, numbers=False)),
        Paragraph(joined(list(stops[:2]))),
    )
    if sheet:
        signed = say("____________________  Tested by: ____________________")
        below = (Paragraph(signed, label="Date:"),)
    body = (
        *([finding(Finding(FindingKind.NO_PATH_DOWN))] if found.asked_to_lower else []),
        words.rung_table(found, sheet=sheet, blind=blind),
        *((binding, THIN) if binding.rows and not blind else ()),
        *below,
    )
    run = "Run and fill in" if sheet else "Stop limits"
    printed = words.prints(found.inputs) or (say("no printed gears"),)
    sections = {
        run: (_run_table(found, sheet=sheet), Items(stops)),
        "Lowering and falls": (Items(words.down_lines(found)), words.fall_table(found)),
        "Weigh and measure first": (Items(words.measure_first(found.inputs, found.machine)),),
        "Print settings": (Items(printed),),
    }
    shown = (*sections, "Cautions")
    page = frame.document(scenario, answer, body, sections, _heaviest(found), command, *shown)
    return replace(page, title=f"Test loads: {page.title}")


def _heaviest(found: Ladder) -> Assessment:
    """Assessment of the heaviest rung that has one."""
    return next(r.assessment for r in reversed(found.rungs) if r.assessment is not None)


def _run_table(found: Ladder, *, sheet: bool) -> Table:
    """Limits at which a rung is stopped, with blanks on the sheet."""
    blanks = BLANKS if sheet else ()
    rows = tuple((*_stop(rung), *[""] * len(blanks)) for rung in found.rungs)
    return Table(("rung", "load", "stop after", "stop above", *blanks), rows)


def _stop(rung: Rung) -> tuple[Cell, ...]:
    place = str(rung.number), words.load(rung)
    if rung.stop_time is None or rung.stop_current is None or rung.exit_code:
        return (*place, "do not run", "")
    return *place, value(rung.stop_time, "s"), value(rung.stop_current, "A")


def ladder_page(found: Ladder, scenario: Scenario, *, us: bool = False, blind: bool = False) -> str:
    """The sheet to print as HTML, with blanks for what is measured; `us` adds US units, `blind` as
    in `build`."""
    style = (files("winchsim.report") / "ladder.css").read_text(encoding="utf-8")
    return render_html(build(found, scenario, sheet=True, blind=blind), Options(us=us), style)


_UNITS = {
    "number": "",
    "mass": "kg",
    "lift_time": "s",
    "current": "A",
    "voltage": "V",
    "winding_start": "°C",
    "winding_end": "°C",
    "coast": "m",
    "stop_time": "s",
    "stop_current": "A",
    "cut": "s",
    "rest": "s",
}
"""Unit of every number of a rung, in the order of the output."""


def ladder_json(found: Ladder, digest: str | None = None) -> str:
    """JSON text of a ladder; `digest` is the SHA-256 of the scenario."""
    return document(
        digest=digest,
        verdict=sentence_text(words.sentence(found)),
        cautions=sentences(frame.cautions(_heaviest(found)).items),
        rows=[_rung_facts(rung) for rung in found.rungs],
        command="ladder",
        status=found.status.value,
        lowering=sentences(words.down_lines(found)),
        stop=sentences(words.stop_lines(found)),
        measure_first=sentences(words.measure_first(found.inputs, found.machine)),
        prints=sentences(words.prints(found.inputs)),
    )


def _rung_facts(rung: Rung) -> dict[str, Any]:
    units = {"descent": "", "time": "s", "current": "A", "speed": "m/s", "part": ""}
    found = rung.assessment
    more = {
        name: None if found is None else facts(getattr(found, name))
        for name in ("counts", "target", "held", "checks", "weakest", "findings")
    }
    lowering = None if rung.lowering is None else facts(keyed(units, rung.lowering))
    return {**keyed(_UNITS, rung), "status": rung.status.value, **more, "lowering": lowering}


def title_on_sheet(title: str) -> str:
    """Title of a scenario on one line, without what begins a cell or a formula of a spreadsheet."""
    return " ".join(re.sub(r'[,;"]', " ", harmless(title)).split()).lstrip("=+-@ ") or "a winch"


def ladder_csv(found: Ladder, *, us: bool = False, digest: str = "", blind: bool = False) -> str:
    """The test sheet of a ladder: what was predicted, and blank columns for what is measured.

    Parameters
    ----------
    found : Ladder
    us : bool
        Whether to add columns in US units.
    digest : str
        SHA-256 of the scenario, for the first line.
    blind : bool
        Whether the predictions are left out.
    """
    m = found.machine
    rows = [
        SheetRow(
            rung=rung.number,
            mass=rung.mass,
            height=m.height(m.top_travel - m.start_travel),
            predicted_time=None if blind else rung.lift_time,
            predicted_current=None if blind else rung.current,
            voltage=raising_phase(m).voltage,
            winding_start=rung.winding_start,
            rest_before=rung.rest,
        )
        for rung in found.rungs
    ]
    comments = [
        origin_line(SheetOrigin(title_on_sheet(m.title), digest[:12])),
        "fill in measured_time_s and what else you can, then: winchsim calibrate FILE THIS.csv",
    ]
    return write_sheet(rows, us=us, comments=comments)
