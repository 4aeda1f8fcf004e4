"""The report of one lift: the first screen, then the details in one order for every format."""

import shlex

from winchsim.assessment.kinds import Assessment, End, Status
from winchsim.report import frame
from winchsim.report.document import (
    Document,
    Headline,
    Items,
    Listing,
    Node,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.names import OF_A_LIFT
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.report.words import advice, details
from winchsim.report.words.findings import finding
from winchsim.report.words.outcome import ended, outcome
from winchsim.report.words.values import MARKS, percent, rough, value
from winchsim.scenario.read import Scenario
from winchsim.simulation import ENERGY_LIMIT, Record
from winchsim.studies.further_runs import Series, SnagStudy
from winchsim.version import __version__


def build(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    command: str = "",
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
    command : str
        That shows all details; left out, that of the file alone.
    snag : SnagStudy, optional
        A simulated snag.
    series : Series, optional
        A series of such lifts.
    """
    doubts, idle = details.doubts(record.machine), details.idle_keys(scenario.inputs)
    body = (*map(Paragraph, doubts), *_first_screen(found), *map(Paragraph, idle))
    command = command or f"winchsim lift {shlex.quote(scenario.name)} --full"
    more = _details(found, scenario, record, command)
    if series is not None:
        body = (*body, _series(series))
        more = {"The series, lift by lift": (_series_table(series),), **more}
    return frame.document(
        scenario,
        _answer(found, scenario.name, snag, series),
        body,
        more,
        found,
        command,
        "Findings",
    )


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


def _answer(
    found: Assessment,
    name: str = "",
    snag: SnagStudy | None = None,
    series: Series | None = None,
) -> Headline:
    mark, count = frame.of_checks(found)
    if series is not None and series.fails and found.trusted:
        mark, count = MARKS[Status.FAILS], f"{series.asked - series.done} of {series.asked} lifts"
    return frame.headline(mark, count, outcome(found, snag, series), name)


def _first_screen(found: Assessment) -> tuple[Node, ...]:
    if not found.trusted:
        return tuple(map(finding, found.findings))
    jam = advice.jam(found)
    return (
        OF_A_LIFT[0],
        *advice.actions(found),
        details.check_table(found.checks),
        *([details.THIN] if found.counts[Status.THIN] else []),
        details.weakest_table(found.weakest),
        *([Paragraph(jam, label="If it jams:")] if jam else []),
        Paragraph(joined([advice.assumed(found), advice.unchecked(found)])),
    )


def _details(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    command: str,
) -> dict[str, tuple[Node, ...]]:
    computed: dict[str, tuple[Node, ...]] = {
        "Quantities": (details.reading_table(found.readings),),
        "Parts": (details.part_table(found.parts), details.FACTOR),
        "Life of the teeth": (details.life_table(found.lives),),
        "Jam under full power": _jam(found),
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
            Paragraph((command,), label="Command:"),
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
        Value(rough(jam.current), "A"),
        Value(rough(jam.unlimited_current), "A"),
        Value(rough(jam.tension), "N"),
    )
    return details.jam_table(jam.parts), Paragraph(current)


def _balance(found: Assessment, record: Record) -> Paragraph:
    text = f"Energy balance error {found.energy_error:.0e}, allowed {ENERGY_LIMIT:.0e}."
    if record.runs > 1:
        tolerance = f"{record.relative_tolerance:.0e}"
        text += f" {record.runs} runs, the last to a relative tolerance of {tolerance}."
    return Paragraph(say(text), faint=True)


# --- a series of lifts


def _series(found: Series) -> Paragraph:
    """What a series does to motors, battery and teeth."""
    after = "In the long run" if found.settled else f"After {len(found.lifts)} lifts in a row"
    windings = say(
        f"{after} the windings reach {{}} (limit {{}}), the cases {{}}.",
        Value(max(lift.winding for lift in found.lifts), "°C"),
        Value(found.winding_limit, "°C"),
        Value(found.lifts[-1].case, "°C"),
    )
    left = value(found.charge_left, "C")
    charge = say("Charge left: {}.", left) if left.value is not None else ()
    return Paragraph(joined([windings, charge, _teeth(found)]))


def _teeth(found: Series) -> Text:
    """Lifts to the first broken tooth, and how much of its life is spent."""
    if found.life is None or found.damage is None:
        return (
            say(
                "Lifts to the first broken tooth: not known, no line of stress over cycles is "
                "known for these materials."
            )
            if found.unknown
            else ()
        )
    low, _, high = found.damage
    most: Text = ("over 100 %",) if high >= 1 else (percent(high),)
    share = most if low >= 1 else say("{} to {}", percent(low), most)
    first = f"First broken tooth, {found.life.label}: after {details.decades(found.life)} lifts"
    return joined(
        [
            say(f"{first}; this series takes {{}} of its life.", share),
            say("It may hold today and break in the next series.") if high >= 1 > low else (),
            say(f"Not known for {len(found.unknown)} other gears.") if found.unknown else (),
        ]
    )


def _series_table(found: Series) -> Table:
    """The simulated lifts; the others are like the last one."""
    return Table(
        ("lift", "end", "time", "winding at start", "winding", "case at end", "charge"),
        tuple(
            (
                str(lift.number),
                "lifted" if lift.end is End.REACHED else ended(lift.end),
                Value(lift.time, "s"),
                Value(lift.winding_start, "°C"),
                Value(lift.winding, "°C"),
                Value(lift.case, "°C"),
                Value(lift.charge, "A·h"),
            )
            for lift in found.lifts
        ),
        name="lifts",
    )
