"""A ladder of test loads as a document, as JSON, and as the test sheet to fill in: how far to
climb, what limits it, and how each load comes down."""

import math
import re
from importlib.resources import files
from itertools import groupby
from typing import Any

from winchsim.assessment.kinds import Assessment, Check, CheckKey, ReadingKey, Status
from winchsim.frozen import replace
from winchsim.inputs import Inputs
from winchsim.model import Machine, raising_phase
from winchsim.quantity_text import keyed
from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    Items,
    Node,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.json_text import document, facts
from winchsim.report.render.html import render_html
from winchsim.report.render.options import Options, harmless, sentence_text, sentences
from winchsim.report.words.details import (
    CHECK_HEADS,
    LAST_SPARE,
    NEAREST,
    THIN,
    check_row,
    factor_of,
)
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, load, of_check, percent, value
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import SheetOrigin, SheetRow, origin_line, write_sheet
from winchsim.studies.ladder import GAP, STOP_AT, STOP_UNLOADED, Descent, Ladder, Lowering, Rung

BLANKS = ("time", "steady current", "at motors", "winding before", "held?", "outcome", "note")
"""Columns of the sheet that are filled in."""

READ = (
    "Steady current and voltage at the motors: the mean from a quarter to three quarters of the "
    "lift time."
)
"""What is read off the meters: all of a sheet's currents are of this kind."""

FAR = 0.01
"""Way past the mark that is worth a warning. [m]"""

MEASURABLE = (
    "no_load_speed",
    "no_load_current",
    "stall_torque",
    "stall_current",
    "terminal_resistance",
    "friction",
    "shaft_drag",
    "axial_stiffness",
    "drum_height",
)
"""Keys of assumed values that can be measured before the first rung."""


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
    answer = frame.headline(
        MARKS[status], "" if blind else count, sentence(found, blind=blind), scenario.name
    )
    stops, binding = stop_lines(found), binding_table(found)
    tested = say("____________________  Tested by: ____________________")
    lowering: tuple[Node, ...] = (
        Paragraph((), label="Lowering"),
        Items(down_lines(found, numbers=False)),
        Paragraph(joined(list(stops[:2]))),
    )
    body = (
        rung_table(found, sheet=sheet, blind=blind),
        *([] if blind else [weakest_parts(found)]),
        *((binding, THIN) if binding.rows and not blind else ()),
        *((Paragraph(tested, label="Date:"),) if sheet else lowering),
    )
    sections = {
        "Run and fill in" if sheet else "Stop limits": (
            _run_table(found, sheet=sheet),
            Items((say(READ), *stops)),
        ),
        "Lowering and falls": (Items(down_lines(found)), fall_table(found)),
        "Weigh and measure first": (Items(measure_first(found.inputs, found.machine)),),
        "Print settings": (Items(prints(found.inputs) or (say("no printed gears"),)),),
    }
    page = frame.document(
        scenario, answer, body, sections, _heaviest(found), command, *sections, "Cautions"
    )
    return replace(page, title=f"Test loads: {page.title}")


def _heaviest(found: Ladder) -> Assessment:
    """Assessment of the heaviest rung that has one."""
    return next(r.assessment for r in reversed(found.rungs) if r.assessment is not None)


def _run_table(found: Ladder, *, sheet: bool) -> Table:
    """Limits at which a rung is stopped, with blanks on the sheet."""
    blanks = BLANKS if sheet else ()
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            str(rung.number),
            load(rung),
            "do not run" if rung.exit_code else value(rung.stop_time, "s"),
            "" if rung.exit_code else value(rung.stop_current, "A"),
            *[""] * len(blanks),
        )
        for rung in found.rungs
    )
    return Table(("rung", "load", "stop after", "stop above", *blanks), rows)


# --- sentences


def sentence(ladder: Ladder, *, blind: bool = False) -> Text:
    """How far to climb, how long it takes, and what holds the load; `blind` leaves results out."""
    rungs, failing = ladder.rungs, ladder.failing
    last = failing or rungs[-1]
    went = say("The unloaded drum does not wind all the rope.")
    went = outcome(last.assessment) if last.assessment else went
    if failing is None:
        time = sum(rung.rest + 2 * (rung.lift_time or 0.0) for rung in rungs)
        pauses = say(", about {} with pauses", Value(60.0 * math.ceil(time / 60), "min"))
        climb = say(
            f"{len(rungs)} rungs, unloaded to {{}}{{}}.", load(last), () if blind else pauses
        )
    else:
        below = [rung for rung in rungs if rung.number < failing.number and rung.mass]
        climb = say("Climb to {} only.", load(below[-1])) if below else say("Run no loaded rung.")
        went = say("With {} a check fails. {}", load(failing), went)
    return climb if blind else joined([climb, went])


def rung_table(ladder: Ladder, *, sheet: bool = False, blind: bool = False) -> Table:
    """What each rung should show, on the sheet the voltage too; `blind` leaves all that is
    predicted out."""
    results = ("status", "time", "steady current", "winding", "factor", "at motors")
    heads = ("rung", "load", "pause", *results)
    count = 4 if blind else len(heads) if sheet else len(heads) - 1
    rows = tuple(_rung(rung, blind)[:count] for rung in ladder.rungs)
    return Table(heads[:count], rows, name="rungs")


def _rung(rung: Rung, blind: bool) -> tuple[Cell, ...]:
    parts = () if rung.assessment is None else rung.assessment.parts
    return (
        str(rung.number),
        load(rung),
        Value(rung.rest, "min") if rung.rest else "",
        MARKS[rung.status] if rung.exit_code or not blind else "",
        _checked(rung, CheckKey.LIFT_TIME) or _or_blank(rung.lift_time, "s"),
        _current(rung),
        _checked(rung, CheckKey.WINDING) or Value(rung.winding_end, "°C"),
        factor_of(parts[0]).alone if parts else "",
        _or_blank(rung.voltage, "V"),
    )


def weakest_parts(ladder: Ladder) -> Paragraph:
    """Which part the factor is of, from which load on."""
    parts = [
        (r, r.assessment.parts[0].label)
        for r in ladder.rungs
        if r.assessment and r.assessment.parts
    ]
    firsts = (next(group) for _, group in groupby(parts, key=lambda row: row[1]))
    texts = [say(f"{label} from {{}}", load(rung)) for rung, label in firsts]
    return Paragraph(say("{}.", joined(texts, ", ")), label=NEAREST)


def _checked(rung: Rung, key: CheckKey) -> Value | None:
    """Value of a check, with as many digits as its range leaves."""
    check = None if rung.assessment is None else rung.assessment.check(key)
    return None if check is None or check.value is None else of_check(check).alone


def _current(rung: Rung) -> Cell:
    """Steady current, with as many digits as the range of the mean current leaves."""
    mean = rung.assessment and rung.assessment.reading(ReadingKey.MEAN_CURRENT)
    if not rung.current or not mean or not mean.value or mean.low is None or mean.high is None:
        return _or_blank(rung.current, "A")
    share = rung.current / mean.value
    return Value(rung.current, "A", share * mean.low, share * mean.high).alone


def _or_blank(number: float | None, unit: str) -> Cell:
    return "" if number is None else value(number, unit)


def binding_table(ladder: Ladder) -> Table:
    """Checks that fail, are thin or lack an input, each at the first rung where it stands worst."""
    worst: dict[str, tuple[Rung, Check]] = {}
    for rung in ladder.rungs:
        for check in () if rung.assessment is None else rung.assessment.checks:
            _, known = worst.get(check.key, (rung, None))
            if check.status.rank < (known.status if known else Status.OK).rank:
                worst[check.key] = rung, check
    rows = tuple(
        (load(rung), *check_row(check))
        for rung, check in sorted(worst.values(), key=lambda pair: pair[1].status.rank)
    )
    spare = tuple((LAST_SPARE, place) for place in range(len(rows) - 1, 0, -1))
    return Table(("from load", *CHECK_HEADS), rows, spare, "checks")


# --- going down, and stopping

_DESCENTS = {
    Descent.POWERED: "reverse the polarity",
    Descent.OVERHAULS: "a second line that brakes, or a prop and unloading in parts",
    Descent.SHORTED: "power off, motors' leads joined: they brake",
    Descent.NOT_DOWN: "not under power, have a prop or a second line ready",
    Descent.BREAKS: "not under power, it breaks the {part}: a second line that brakes, or a prop",
}


FREE_THE_PAWL = "Free the pawl: raise a little, hold it open with a cord from the side."


def down_lines(ladder: Ladder, *, numbers: bool = True) -> tuple[Text, ...]:
    """How the loads come down, rungs that come down alike together; what a pawl asks for first.

    `numbers` adds time, current and speed of the heaviest of them.
    """
    lifted = [(rung, rung.lowering) for rung in ladder.rungs if rung.lowering is not None]
    lines = [say(FREE_THE_PAWL)] if ladder.machine.pawl and lifted else []
    for _, alike in groupby(lifted, key=lambda pair: (pair[1].descent, pair[1].part)):
        rungs = list(alike)
        first, (last, lowering) = rungs[0][0], rungs[-1]
        loads = (load(first),) if first is last else say("{} to {}", load(first), load(last))
        how = say(_DESCENTS[lowering.descent], part=lowering.part)
        lines.append(say("{}: {}{}.", loads, how, _numbers(last, lowering) if numbers else ()))
    return tuple(lines) or (say("No load is lifted."),)


def _numbers(rung: Rung, lowering: Lowering) -> Text:
    if lowering.time is None:
        return ()
    current = say(", {}", value(lowering.current, "A")) if lowering.current else ()
    time, speed = value(lowering.time, "s"), value(lowering.speed, "m/s")
    return say(" (at {}: {}{}, up to {})", load(rung), time, current, speed)


def fall_table(ladder: Ladder) -> Table:
    """What a fall from the top does, and one onto the catch."""
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            load(rung),
            Value(rung.assessment.drop_energy, "J"),
            Value(rung.assessment.drop_speed, "m/s"),
            Value(rung.mass * ladder.machine.body.gravity * GAP, "J"),
            value(rung.coast, "m") if rung.coast > FAR else "",
        )
        for rung in ladder.rungs
        if rung.assessment is not None
    )
    return Table(
        ("load", "fall from the top", "lands at", "fall onto the catch", "coasts past the mark"),
        rows,
    )


def stop_lines(ladder: Ladder) -> tuple[Text, ...]:
    """When to stop, and what to do when the load stops."""
    cut = Value(min(rung.cut for rung in ladder.rungs), "s")
    rest = Value(max(60.0, *(rung.rest for rung in ladder.rungs)), "min")
    over = percent(STOP_AT - 1), percent(STOP_UNLOADED - 1)
    further = {
        "The load coasts past the mark: switch off early, and leave room above.": any(
            rung.coast > FAR for rung in ladder.rungs
        ),
        "The snag of the scenario is left out of this plan.": (
            ladder.inputs.load.snag_height is not None
        ),
    }
    return (
        say("Stop a rung at {} more time or current than predicted (unloaded: {}).", *over),
        say("If the load stops, switch off within {}: a stalled motor heats fast.", cut),
        say("Then wait {} or until the motors are hand-warm.", rest),
        say(
            "Do not reach under the load. Prop it or hang it on a second line, then look for the "
            "cause."
        ),
        say(
            "Catch: blocks or a stand under the load, never more than {} below it.", value(GAP, "m")
        ),
        say(
            "Look at every tooth, pin and knot between the rungs. One person holds the switch only."
        ),
        *(say(text) for text, is_shown in further.items() if is_shown),
    )


# --- before the first rung


def measure_first(inputs: Inputs, machine: Machine) -> tuple[Text, ...]:
    """What the prediction rests on and anybody can measure, with the value it was made with."""
    height = machine.height(machine.top_travel - machine.start_travel)
    lines = [
        say("every test load, on a scale"),
        say("drum without rope: diameter ({})", Value(inputs.drum.diameter, "mm")),
        say("rope: diameter under a light pull ({})", Value(inputs.rope.diameter, "mm")),
        say("height between two marks ({})", value(height, "m")),
        say("supply: voltage with nothing connected ({})", Value(inputs.supply.voltage, "V")),
        say("air ({})", Value(inputs.settings.ambient, "°C")),
    ]
    for group in machine.groups:
        name = f"motor group {group.number}" if len(inputs.motors) > 1 else "each motor"
        given = Value(inputs.motors[group.number - 1].voltage, "V")
        idle = Value(group.fit.no_load_current, "A")
        lines.append(say(f"{name}: current running free at {{}} ({{}})", given, idle))
    lines += [
        say(f"{row.path} (assumed {{}})", Value(float(row.value), row.unit, row.low, row.high))
        for row in machine.assumed
        if row.path.rpartition(".")[2] in MEASURABLE
        and row.low is not None
        and row.path not in inputs.given
    ]
    return tuple(lines)


def prints(inputs: Inputs) -> tuple[Text, ...]:
    """Print settings of each stage's gears, as the prediction took them."""
    lines = []
    for place, stage in [row for row in enumerate(inputs.stage, start=1) if row[1].kind == "spur"]:
        pairs = "" if stage.repeat == 1 else f", {stage.repeat} pairs"
        solid = stage.walls is None and stage.infill is None
        walls = "solid" if solid else f"{stage.walls or 0} walls"
        infill = "" if stage.infill is None else f", {100 * stage.infill:g} % infill"
        head = (
            f"stage {place} ({stage.pinion}:{stage.gear}{pairs}): {stage.material}, {walls}{infill}"
        )
        tail = f"printed {stage.print_direction}{', greased' if stage.greased else ''}"
        lines.append(
            say(
                f"{head}, {{}} lines, {{}} wide, {tail}",
                Value(stage.line_width, "mm"),
                Value(stage.width, "mm"),
            )
        )
    return tuple(lines)


# --- files


def ladder_page(found: Ladder, scenario: Scenario, *, us: bool = False, blind: bool = False) -> str:
    """The sheet to print as HTML, with blanks for what is measured; `us` adds US units, `blind` as
    in `build`."""
    return render_html(
        build(found, scenario, sheet=True, blind=blind),
        Options(us=us),
        (files("winchsim.report") / "ladder.css").read_text(encoding="utf-8"),
    )


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

_LOWERED = {"descent": "", "time": "s", "current": "A", "speed": "m/s", "part": ""}
"""Units of a rung and of its lowering, in the order of the output."""


def ladder_json(found: Ladder, digest: str | None = None) -> str:
    """JSON text of a ladder; `digest` is the SHA-256 of the scenario."""
    return document(
        digest=digest,
        verdict=sentence_text(sentence(found)),
        cautions=sentences(frame.cautions(_heaviest(found)).items),
        rows=[_rung_facts(rung) for rung in found.rungs],
        command="ladder",
        status=found.status.value,
        lowering=sentences(down_lines(found)),
        stop=sentences(stop_lines(found)),
        measure_first=sentences(measure_first(found.inputs, found.machine)),
        prints=sentences(prints(found.inputs)),
    )


def _rung_facts(rung: Rung) -> dict[str, Any]:
    found = rung.assessment
    return {
        **keyed(_UNITS, rung),
        "status": rung.status.value,
        **{
            name: None if found is None else facts(getattr(found, name))
            for name in ("counts", "target", "held", "checks", "weakest", "findings")
        },
        "lowering": None if rung.lowering is None else facts(keyed(_LOWERED, rung.lowering)),
    }


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
    return write_sheet(
        rows,
        us=us,
        comments=[
            origin_line(SheetOrigin(title_on_sheet(m.title), digest[:12])),
            "fill in measured_time_s and what else you can, then: winchsim calibrate FILE THIS.csv",
            READ,
        ],
    )
