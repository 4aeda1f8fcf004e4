"""A ladder of test loads in words: how far to climb, what limits it, and how each load comes
down."""

from __future__ import annotations

import math
from itertools import groupby

from winchsim.assessment.enums import CheckKey, Status
from winchsim.assessment.kinds import Assessment, Check
from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.report.document import Cell, Face, Table, Text, Value, joined, say
from winchsim.report.words.checks import CHECKS
from winchsim.report.words.details import LAST_SPARE
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, limit_of, of_check, percent, value
from winchsim.studies.ladder import Descent, Ladder, Lowering, Rung
from winchsim.studies.ladder.plan import GAP, STOP_AT, STOP_UNLOADED

FAR = 0.01
"""Way past the mark that is worth a warning. [m]"""

MEASURABLE = (
    "no_load_speed", "no_load_current", "stall_torque", "stall_current", "terminal_resistance",
    "friction", "shaft_drag", "axial_stiffness", "drum_height",
)  # fmt: skip
"""Keys of assumed values that can be measured before the first rung."""


def sentence(ladder: Ladder, *, blind: bool = False) -> Text:
    """How far to climb, how long it takes, and what holds the load; `blind` leaves results out."""
    rungs, failing = ladder.rungs, ladder.failing
    if failing is not None:
        below = [rung for rung in rungs if rung.number < failing.number and rung.mass]
        climb = (
            say("Climb to {} only.", _load(below[-1]))
            if below
            else say("Do not run the loaded rungs.")
        )
        return joined([climb, () if blind else _failure(failing)])
    climb = say(f"{len(rungs)} rungs, unloaded to {{}}", _load(rungs[-1]))
    if blind:
        return (*climb, ".")
    time = sum(rung.rest + 2 * (rung.lift_time or 0.0) for rung in rungs)
    text = say("{}, about {} with pauses.", climb, Value(60.0 * math.ceil(time / 60), "min"))
    return joined(
        [text, *([] if rungs[-1].assessment is None else [outcome(rungs[-1].assessment)])]
    )


def _load(rung: Rung) -> Value | str:
    return value(rung.mass, "kg") if rung.mass else "unloaded"


def _failure(rung: Rung) -> Text:
    if rung.assessment is None:
        return say("The unloaded drum does not wind all the rope.")
    return say("With {} a check fails. {}", _load(rung), outcome(rung.assessment))


def rung_table(ladder: Ladder, *, sheet: bool = False, blind: bool = False) -> Table:
    """What each rung should show, on the sheet the voltage too; `blind` leaves all that is
    predicted out."""
    heads = ["rung", "load", "pause", "status", "time", "current", "winding", "factor"]
    if sheet:
        heads.append("at motors")
    rows: list[tuple[Cell, ...]] = []
    for rung in ladder.rungs:
        pause: Cell = Value(rung.rest, "min") if rung.rest else ""
        mark = MARKS[rung.status]
        if blind:
            rows.append((str(rung.number), _load(rung), pause, mark if rung.exit_code else ""))
            continue
        time = _checked(rung, CheckKey.LIFT_TIME) or _or_blank(rung.lift_time, "s")
        winding = _checked(rung, CheckKey.WINDING) or Value(rung.winding_end, "°C")
        shown = [time, _or_blank(rung.current, "A"), winding, _factor(rung)]
        if sheet:
            shown.append(_or_blank(rung.voltage, "V"))
        rows.append((str(rung.number), _load(rung), pause, mark, *shown))
    return Table(tuple(heads[:4] if blind else heads), tuple(rows), name="rungs")


def _checked(rung: Rung, key: CheckKey) -> Value | None:
    """Value of a check, with as many digits as its range leaves."""
    check = None if rung.assessment is None else rung.assessment.check(key)
    return None if check is None or check.value is None else of_check(check, Face.VALUE)


def _factor(rung: Rung) -> Cell:
    """Factor of the weakest part, as the table of parts shows it."""
    if rung.assessment is None or not rung.assessment.parts:
        return ""
    part = rung.assessment.parts[0]
    return Value(part.factor, "", part.low, part.high, part.required, face=Face.VALUE)


def _or_blank(number: float | None, unit: str) -> Cell:
    return "" if number is None else value(number, unit)


def binding_table(ladder: Ladder) -> Table:
    """Checks that fail, are thin or lack an input, each at the first rung where it stands worst."""
    worst: dict[str, tuple[Rung, Check]] = {}
    for rung in ladder.rungs:
        found: tuple[Check, ...] = () if rung.assessment is None else rung.assessment.checks
        for check in found:
            known = worst.get(check.key)
            if check.status is not Status.OK and (
                known is None or check.status.rank < known[1].status.rank
            ):
                worst[check.key] = rung, check
    rows: list[tuple[Cell, ...]] = []
    for rung, check in sorted(worst.values(), key=lambda pair: pair[1].status.rank):
        shown: tuple[Cell, Cell] = ("–", "")
        if check.value is not None:
            shown = of_check(check, Face.VALUE), of_check(check, Face.RANGE)
        rows.append((_load(rung), CHECKS[check.key], *shown, limit_of(check), MARKS[check.status]))
    columns = ("from load", "quantity", "value", "range", "limit", "status")
    spare = tuple((LAST_SPARE, place) for place in range(len(rows) - 1, 0, -1))
    return Table(columns, tuple(rows), spare, "checks")


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
        loads = (_load(first),) if first is last else say("{} to {}", _load(first), _load(last))
        how = say(_DESCENTS[lowering.descent], part=lowering.part)
        lines.append(say("{}: {}{}.", loads, how, _numbers(last, lowering) if numbers else ()))
    return tuple(lines) or (say("No load is lifted."),)


def _numbers(rung: Rung, lowering: Lowering) -> Text:
    if lowering.time is None:
        return ()
    current = say(", {}", value(lowering.current, "A")) if lowering.current else ()
    time, speed = value(lowering.time, "s"), value(lowering.speed, "m/s")
    return say(" (at {}: {}{}, up to {})", _load(rung), time, current, speed)


def fall_table(ladder: Ladder) -> Table:
    """What a fall from the top does, and one onto the catch."""
    heads = ("load", "fall from the top", "lands at", "fall onto the catch", "coasts past the mark")
    rows: list[tuple[Cell, ...]] = []
    for rung in ladder.rungs:
        found: Assessment | None = rung.assessment
        if found is not None:
            onto = rung.mass * ladder.machine.body.gravity * GAP
            coast: Cell = value(rung.coast, "m") if rung.coast > FAR else ""
            fall = (Value(found.drop_energy, "J"), Value(found.drop_speed, "m/s"), Value(onto, "J"))
            rows.append((_load(rung), *fall, coast))
    return Table(heads, tuple(rows))


def stop_lines(ladder: Ladder) -> tuple[Text, ...]:
    """When to stop, and what to do when the load stops."""
    cut = min(rung.cut for rung in ladder.rungs)
    rest = max(60.0, *(rung.rest for rung in ladder.rungs))
    over = say(
        "Stop a rung at {} more time or current than predicted (unloaded {}).",
        percent(STOP_AT - 1),
        percent(STOP_UNLOADED - 1),
    )
    lines = [
        over,
        say(
            "If the load stops, switch off within {}: a stalled motor heats fast.",
            Value(cut, "s"),
        ),
        say("Then wait {} or until the motors are hand-warm.", Value(rest, "min")),
        say(
            "Do not reach under the load. Prop it or hang it on a second "
            "line, then look for the cause."
        ),
        say(
            "Catch: blocks or a stand under the load, never more than {} below it.", value(GAP, "m")
        ),
        say(
            "Look at every tooth, pin and knot between the rungs. One person holds the switch only."
        ),
    ]
    if any(rung.coast > FAR for rung in ladder.rungs):
        lines.append(say("The load coasts past the mark: switch off early, and leave room above."))
    if ladder.snag:
        lines.append(say("The snag of the scenario is left out of this plan."))
    return tuple(lines)


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
    idle = {g.number: g.fit.no_load_current for g in machine.groups}
    for number, group in enumerate(inputs.motors, start=1):
        if number in idle:
            name = f"motor group {number}" if len(inputs.motors) > 1 else "each motor"
            text = f"{name}: current running free at {{}} ({{}})"
            lines.append(say(text, Value(group.voltage, "V"), Value(idle[number], "A")))
    for row in machine.assumed:
        key = row.path.rpartition(".")[2]
        if key in MEASURABLE and row.low is not None and row.path not in inputs.given:
            shown = Value(float(row.value), row.unit, row.low, row.high)
            lines.append(say(f"{row.path} (assumed {{}})", shown))
    return tuple(lines)


def prints(inputs: Inputs) -> tuple[Text, ...]:
    """Print settings of each stage's gears, as the prediction took them."""
    lines = []
    for place, stage in enumerate(inputs.stage, start=1):
        if stage.kind != "spur":
            continue
        pairs = "" if stage.repeat == 1 else f", {stage.repeat} pairs"
        solid = stage.walls is None and stage.infill is None
        walls = "solid" if solid else f"{stage.walls or 0} walls"
        infill = "" if stage.infill is None else f", {100 * stage.infill:g} % infill"
        head = (
            f"stage {place} ({stage.pinion}:{stage.gear}{pairs}): {stage.material}, {walls}{infill}"
        )
        tail = f"printed {stage.print_direction}{', greased' if stage.greased else ''}"
        widths = Value(stage.line_width, "mm"), Value(stage.width, "mm")
        lines.append(say(f"{head}, {{}} lines, {{}} wide, {tail}", *widths))
    return tuple(lines)
