"""A ladder of test loads in words: how far to climb, what limits it, and how each load comes
down."""

import math
from itertools import groupby

from winchsim.assessment.enums import CheckKey, Status
from winchsim.assessment.kinds import Check
from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.report.document import Cell, Table, Text, Value, joined, say
from winchsim.report.words.details import CHECK_HEADS, LAST_SPARE, check_row, factor_of
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, of_check, percent, value
from winchsim.studies.ladder import GAP, STOP_AT, STOP_UNLOADED, Descent, Ladder, Lowering, Rung

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
    if failing is None:
        time = sum(rung.rest + 2 * (rung.lift_time or 0.0) for rung in rungs)
        pauses = say(", about {} with pauses", Value(60.0 * math.ceil(time / 60), "min"))
        climb = say(
            f"{len(rungs)} rungs, unloaded to {{}}{{}}.", load(rungs[-1]), () if blind else pauses
        )
        return climb if blind else joined([climb, _of(rungs[-1])])
    below = [rung for rung in rungs if rung.number < failing.number and rung.mass]
    climb = say("Climb to {} only.", load(below[-1])) if below else say("Run no loaded rung.")
    with_load = say("With {} a check fails. {}", load(failing), _of(failing))
    return climb if blind else joined([climb, with_load])


def _of(rung: Rung) -> Text:
    if rung.assessment is None:
        return say("The unloaded drum does not wind all the rope.")
    return outcome(rung.assessment)


def load(rung: Rung) -> Value | str:
    """The load of a rung."""
    return value(rung.mass, "kg") if rung.mass else "unloaded"


def rung_table(ladder: Ladder, *, sheet: bool = False, blind: bool = False) -> Table:
    """What each rung should show, on the sheet the voltage too; `blind` leaves all that is
    predicted out."""
    heads = ("rung", "load", "pause", "status", "time", "current", "winding", "factor", "at motors")
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
        _or_blank(rung.current, "A"),
        _checked(rung, CheckKey.WINDING) or Value(rung.winding_end, "°C"),
        factor_of(parts[0]).alone if parts else "",
        _or_blank(rung.voltage, "V"),
    )


def _checked(rung: Rung, key: CheckKey) -> Value | None:
    """Value of a check, with as many digits as its range leaves."""
    check = None if rung.assessment is None else rung.assessment.check(key)
    return None if check is None or check.value is None else of_check(check).alone


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
    ordered = sorted(worst.values(), key=lambda pair: pair[1].status.rank)
    rows = tuple((load(rung), *check_row(check)) for rung, check in ordered)
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
    heads = ("load", "fall from the top", "lands at", "fall onto the catch", "coasts past the mark")
    return Table(heads, rows)


def stop_lines(ladder: Ladder) -> tuple[Text, ...]:
    """When to stop, and what to do when the load stops."""
    cut = Value(min(rung.cut for rung in ladder.rungs), "s")
    rest = Value(max(60.0, *(rung.rest for rung in ladder.rungs)), "min")
    over = percent(STOP_AT - 1), percent(STOP_UNLOADED - 1)
    coasts = say("The load coasts past the mark: switch off early, and leave room above.")
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
        *([coasts] if any(rung.coast > FAR for rung in ladder.rungs) else []),
        *([say("The snag of the scenario is left out of this plan.")] if ladder.snag else []),
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
