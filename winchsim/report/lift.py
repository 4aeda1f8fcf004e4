"""The report of one lift: the first screen, then the details in one order for every format."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from winchsim.assessment.kinds import Assessment, Status
from winchsim.report import frame
from winchsim.report.document import (
    Document,
    Headline,
    Items,
    Listing,
    Node,
    Paragraph,
    Value,
    say,
)
from winchsim.report.names import OF_A_LIFT
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.report.words import advice, details
from winchsim.report.words.findings import finding
from winchsim.report.words.outcome import outcome
from winchsim.scenario.read import Scenario
from winchsim.simulation import ENERGY_LIMIT, Record
from winchsim.version import __version__

if TYPE_CHECKING:
    from winchsim.studies.series import Series
    from winchsim.studies.snag import SnagStudy


def build(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    overrides: tuple[str, ...] = (),
    *,
    snag: SnagStudy | None = None,
    series: Series | None = None,
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
    series : Series, optional
        A series of such lifts.
    """
    body = _first_screen(found)
    more = _details(found, scenario, record, overrides, snag)
    if series is not None:
        from winchsim.report.words import series as series_words

        body = (*body, series_words.paragraph(series))
        more = {"The series, lift by lift": (series_words.table(series),), **more}
    answer, command = _answer(found, scenario.name), f"{_command(scenario, overrides)} --full"
    return frame.document(scenario, answer, body, more, found, command, "Findings")


def text(found: Assessment) -> str:
    """The first screen as text."""
    return render_text(_screen(found), Options())


def html(found: Assessment, record: Record | None = None) -> str:
    """The first screen as the body of a page, with the picture of the build where a record has
    one."""
    from winchsim.report.render.html import body

    first = OF_A_LIFT[0]
    pictures: dict[str, str] = {}
    if record is not None:
        from winchsim.report.figures.catalogue import figure, inline_svg
        from winchsim.report.figures.look import COLUMN

        if drawn := figure(record, first.name, COLUMN):
            pictures[first.name] = inline_svg(drawn, COLUMN, first.name, first.caption)
    return "\n".join(body(_screen(found), Options(figures=pictures)))


def _screen(found: Assessment) -> Document:
    return Document(
        "", "", (_answer(found), *frame.filled(_first_screen(found)), advice.closing(found))
    )


def _answer(found: Assessment, name: str = "") -> Headline:
    return frame.headline(*frame.of_checks(found), outcome(found), name)


def _first_screen(found: Assessment) -> tuple[Node, ...]:
    if not found.trusted:
        return tuple(map(finding, found.findings))
    jam = advice.jam(found)
    return (
        OF_A_LIFT[0],
        *advice.actions(found),
        details.check_table(found.checks),
        *([details.THIN] if found.counts[Status.THIN] else []),
        Paragraph(advice.unchecked(found), faint=True, spare=((details.LAST_SPARE + 1, 0),)),
        details.weakest_table(found.weakest),
        *([Paragraph(jam, label="If it jams:")] if jam else []),
        Paragraph(advice.assumed(found)),
    )


def _details(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    overrides: tuple[str, ...],
    snag: SnagStudy | None,
) -> dict[str, tuple[Node, ...]]:
    computed: dict[str, tuple[Node, ...]] = {
        "All checks": (details.check_table(found.checks, all_rows=True),),
        "Quantities": (details.reading_table(found.readings),),
        "Parts": (details.part_table(found.parts), details.FACTOR),
        "Life of the teeth": (details.life_table(found.lives),),
        "Jam under full power": _jam(found),
        "Simulated snag": (Paragraph(advice.snag(snag)),) if snag else (),
        "Energy": (details.energy_table(record.energy), _balance(found, record)),
        "Timeline": (details.timeline_table(record),),
        "Figures": OF_A_LIFT[1:],
        "Assumed inputs": (details.assumed_table(found),),
        "All inputs": details.input_sections(scenario.inputs, record.machine),
    }
    about = f"winchsim {__version__}; SHA-256 of scenario and options {scenario.digest}"
    return {
        "Findings": tuple(map(finding, found.findings)),
        **(computed if found.trusted else {}),
        "Notes": (Items(details.notes(scenario.inputs, record.machine)),),
        "Reproduce this report": (
            Paragraph((_command(scenario, overrides),), label="Command:"),
            Paragraph(say(about), faint=True),
            Listing(scenario.text, "toml"),
        ),
    }


def _jam(found: Assessment) -> tuple[Node, ...]:
    jam = found.jam
    if jam is None or not jam.parts:
        return ()
    current = say(
        "Supply current at standstill {}, without a current limit {}. Peak rope tension {}.",
        Value(jam.current, "A"),
        Value(jam.unlimited_current, "A"),
        Value(jam.tension, "N"),
    )
    return details.jam_table(jam.parts), Paragraph(current)


def _balance(found: Assessment, record: Record) -> Paragraph:
    text = f"Energy balance error {found.energy_error:.0e}, allowed {ENERGY_LIMIT:.0e}."
    if record.runs > 1:
        tolerance = f"{record.relative_tolerance:.0e}"
        text += f" {record.runs} runs, the last to a relative tolerance of {tolerance}."
    return Paragraph(say(text), faint=True)


def _command(scenario: Scenario, overrides: tuple[str, ...]) -> str:
    return shlex.join(
        ["winchsim", "lift", scenario.name, *(w for text in overrides for w in ("--set", text))]
    )
