"""The report of one lift: the first screen, then the details in one order for every format."""

from __future__ import annotations

import os
import shlex
from typing import TYPE_CHECKING

from winchsim.assessment.kinds import Assessment, CheckKey, Status
from winchsim.report.document import (
    Document,
    FigureRef,
    Headline,
    Items,
    Listing,
    Mark,
    Node,
    Paragraph,
    Section,
    Text,
    Value,
    say,
)
from winchsim.report.gear_list import gear_table, gears_to_print
from winchsim.report.names import OF_A_LIFT
from winchsim.report.render.html import body
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.report.words import advice, details
from winchsim.report.words.findings import finding
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS
from winchsim.scenario.read import Scenario
from winchsim.simulation import ENERGY_LIMIT, Record
from winchsim.version import __version__

if TYPE_CHECKING:
    from winchsim.studies.snag import SnagStudy


MOST_ACTIONS = 3
"""Actions on the first screen. [-]"""

NOT_RATED = "not rated lifting equipment"


def build(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    overrides: tuple[str, ...] = (),
    *,
    snag: SnagStudy | None = None,
) -> Document:
    """Document of a lift.

    Parameters
    ----------
    found : Assessment
    scenario : Scenario
    record : Record
        That was assessed.
    overrides : tuple of str
        Options that changed the scenario.
    snag : SnagStudy, optional
        A simulated snag.
    """
    nodes = (
        *_first_screen(found, scenario.name),
        *_details(found, scenario, record, overrides, snag),
    )
    command = _command(scenario, overrides)
    return Document(
        record.machine.title or scenario.name, scenario.name, nodes, f"{command} --full"
    )


def text(found: Assessment) -> str:
    """The first screen as text."""
    return render_text(Document("", "", _first_screen(found, "")), Options())


def html(found: Assessment) -> str:
    """The first screen as the body of a page."""
    return "\n".join(body(Document("", "", _first_screen(found, "")), Options()))


def _first_screen(found: Assessment, name: str) -> tuple[Node, ...]:
    status = found.status
    remark = say(" · ".join(part for part in (os.path.basename(name), NOT_RATED) if part))
    if not found.trusted:
        mark = Mark("no result", "bad")
        nodes = [finding(f) for f in found.findings]
        return (Headline(mark, "", outcome(found), remark), *nodes, _closing(found))
    count = f"{found.counts[status]} of {len(found.checks)} checks"
    screen: list[Node] = [
        Headline(MARKS[status], count, outcome(found), remark),
        FigureRef(OF_A_LIFT[0].name, OF_A_LIFT[0].heading, OF_A_LIFT[0].caption),
        *_actions(found),
        details.check_table(found.checks),
        *([details.THIN] if found.counts[Status.THIN] else []),
    ]
    if advice.unchecked(found):
        screen.append(Paragraph(advice.unchecked(found), faint=True))
    if found.weakest:
        screen.append(details.weakest_table(found.weakest))
    if found.jam is not None:
        screen.append(
            Paragraph(advice.jam(found.jam, found.check(CheckKey.JAM)), label="If it jams:")
        )
    screen.append(Paragraph(advice.assumed(found)))
    return (*screen, _closing(found))


def _actions(found: Assessment) -> tuple[Node, ...]:
    items = (*map(advice.action, found.actions), *advice.hints(found))[:MOST_ACTIONS]
    if items:
        return Paragraph((), label="Actions"), Items(items, True, ((3, 2), (5, 1)))
    if found.status is Status.FAILS:
        return (Paragraph(say("none of the changes tried in full helps."), label="Actions:"),)
    return ()


def _closing(found: Assessment) -> Paragraph:
    return Paragraph(advice.last_line(found))


def _details(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    overrides: tuple[str, ...],
    snag: SnagStudy | None,
) -> tuple[Section, ...]:
    sections = [_section("Findings", *map(finding, found.findings), shown=True)]
    if found.trusted:
        figures = (FigureRef(w.name, w.heading, w.caption) for w in OF_A_LIFT[1:])
        sections += [
            _section("All checks", details.check_table(found.checks, all_rows=True)),
            _section("Quantities", details.reading_table(found.readings)),
            _section("Parts", details.part_table(found.parts), _factor_note()),
            *_lives(found),
            *_jam(found),
            *_gears(scenario),
            *([_section("Simulated snag", Paragraph(advice.snag(snag)))] if snag else []),
            _section("Energy", details.energy_table(record.energy), _balance(found, record)),
            _section("Timeline", details.timeline_table(record)),
            _section("Figures", *figures),
            _section("Assumed inputs", details.assumed_table(found)),
            _section("All inputs", *details.input_sections(scenario.inputs, record.machine)),
        ]
    notes = tuple(say(note) for note in record.machine.notes)
    cautions = tuple(advice.caution(kind, found) for kind in found.cautions)
    repeat = _repeat(scenario, overrides)
    sections += [
        _section("Notes", *([Items(notes)] if notes else [])),
        _section("Cautions", Items(cautions)),
        _section("Reproduce this report", *repeat),
    ]
    return tuple(section for section in sections if section.body)


def _section(heading: str, *body: Node, shown: bool = False) -> Section:
    return Section(heading, body, details=True, shown=shown)


def _factor_note() -> Paragraph:
    return Paragraph(say("Factor: capacity over demand. Below 1 the part breaks."), faint=True)


def _lives(found: Assessment) -> tuple[Section, ...]:
    if not found.lives:
        return ()
    return (_section("Life of the teeth", details.life_table(found.lives)),)


def _jam(found: Assessment) -> tuple[Section, ...]:
    if found.jam is None or not found.jam.parts:
        return ()
    jam = found.jam
    current = say(
        "Supply current at standstill {}, without a current limit {}. Peak rope tension {}.",
        Value(jam.current, "A"),
        Value(jam.unlimited_current, "A"),
        Value(jam.tension, "N"),
    )
    return (_section("Jam under full power", details.jam_table(jam.parts), Paragraph(current)),)


def _gears(scenario: Scenario) -> tuple[Section, ...]:
    rows = gears_to_print(scenario.inputs)
    if not rows:
        return ()
    note = Paragraph(
        say(
            "Walls and infill: empty is solid. Bore of a pinion on a motor: that motor's shaft. "
            "Centre distance: without play."
        ),
        faint=True,
    )
    return (_section("Gears to print", gear_table(rows), note),)


def _balance(found: Assessment, record: Record) -> Paragraph:
    text: Text = say(
        "Energy balance error {}, allowed {}.", _small(found.energy_error), _small(ENERGY_LIMIT)
    )
    if record.runs > 1:
        again = (
            f" {record.runs} runs, the last with a relative tolerance of "
            f"{record.relative_tolerance:.0e}."
        )
        text = (*text, again)
    return Paragraph(text, faint=True)


def _small(share: float) -> str:
    return f"{share:.0e}"


def _repeat(scenario: Scenario, overrides: tuple[str, ...]) -> tuple[Node, ...]:
    about = f"winchsim {__version__}; SHA-256 of scenario and options {scenario.digest}"
    command = Paragraph(say(_command(scenario, overrides)), label="Command:")
    return command, Paragraph(say(about), faint=True), Listing(scenario.text, "toml")


def _command(scenario: Scenario, overrides: tuple[str, ...]) -> str:
    changed = [word for override in overrides for word in ("--set", override)]
    return shlex.join(["winchsim", "lift", scenario.name, *changed])
