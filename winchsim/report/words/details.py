"""A lift's details: tables of parts, energy, timeline and inputs, with numbers as values; what the
data of the motors show, and which keys of a scenario are no longer used."""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from winchsim.assessment.kinds import (
    Assessment,
    AssumedInput,
    Check,
    JamPart,
    PartRow,
    Reading,
    Status,
    ToothLife,
)
from winchsim.inputs import REMOVED, Inputs, Spec, idle, walk, without_numbers
from winchsim.model import Action, Assumed, AtGroup, AtLayer, AtLink, Event, Machine, Term
from winchsim.physics.motor.fitted import DISAGREEMENT, FitNote, Remark
from winchsim.physics.supply import Regime
from winchsim.report.document import Cell, Paragraph, Section, Table, Text, Value, say
from winchsim.report.words.values import (
    CHECKS,
    MARKS,
    READINGS,
    limit_of,
    of_check,
    of_reading,
    percent,
    rough,
    setting,
    source,
    value,
)
from winchsim.simulation import EnergyBalance, Record, RecordedEvent

LEAST_SHARE = 5e-4
"""Share of the energy below which rows are put together. [-]"""

FEW_LIFTS, MOST_LIFTS = 1e3, 1e9
"""Lives outside these count as "few" and as "over". [-]"""

_KEY_CHECKS = ("lift_time", "starting_margin_hot", "holding_margin", "winding_temperature")


CHECK_HEADS = ("check", "value", "range", "limit", "status")


def check_row(check: Check) -> tuple[Cell, ...]:
    """A check under `CHECK_HEADS`."""
    shown = ("–", "") if check.value is None else of_check(check).pair
    return CHECKS[check.key], *shown, limit_of(check), MARKS[check.status]


def check_table(checks: Sequence[Check], *, all_rows: bool = False) -> Table:
    """Every check. The worst stand first, and those that do not fail are spare, unless
    `all_rows`."""
    shown = list(checks) if all_rows else sorted(checks, key=lambda check: check.status.rank)
    spare = [
        (2 * (check.status is Status.THIN) * (1 + (check.key in _KEY_CHECKS)), place)
        for place, check in sorted(enumerate(shown), key=lambda pair: _interest(pair[1]))
        if check.status is not Status.FAILS and not all_rows
    ]
    return Table(CHECK_HEADS, tuple(map(check_row, shown)), tuple(spare), "checks")


def _interest(check: Check) -> tuple[int, bool, int]:
    return -check.status.rank, check.key in _KEY_CHECKS, -list(CHECKS).index(check.key)


THIN = Paragraph(
    say("thin: too little reserve, or its range fails. Factor: capacity over demand."), faint=True
)
FACTOR = Paragraph(say("Factor: capacity over demand. Below 1 the part breaks."), faint=True)
"""What the words of tables mean; stands below the first one with a status."""

NEAREST = "Factor of the part nearest to its required one:"
"""What a column of factors is about; the part follows."""

LAST_SPARE = 2
"""Order in which rows are left out: checks that are not thin (0), second parts (1), thin checks
(2), a third action (3), thin checks of most interest (4), a second action (5)."""


def weakest_table(parts: Sequence[PartRow]) -> Table:
    """The parts with the least share of their required factor."""
    return Table(
        ("weakest part", "factor", "range", "required", "status"),
        tuple(
            (part.label, *factor_of(part).pair, Value(part.required), MARKS[part.status])
            for part in parts
        ),
        tuple((1, place) for place in range(len(parts) - 1, 0, -1)),
        "parts",
    )


def factor_of(part: PartRow) -> Value:
    """Capacity over demand of a part, on its side of the required factor."""
    return Value(part.factor, "", part.low, part.high, part.required)


def part_table(parts: Sequence[PartRow]) -> Table:
    """All parts that the pull passes through, with demand and capacity."""
    return Table(
        ("part", "demand", "capacity", "factor", "required", "status", "capacity from"),
        tuple(
            (
                part.label,
                ("≥ ", demand) if part.bound and part.demand > 0 else demand,
                Value(part.capacity, part.unit),
                factor_of(part).alone,
                Value(part.required),
                MARKS[part.status],
                source(part.basis),
            )
            for part in parts
            for demand in [Value(part.demand, part.unit)]
        ),
    )


def life_table(lives: Sequence[ToothLife]) -> Table:
    """How often a lift loads the teeth of each stage, and the order of lifts that they last."""
    return Table(
        ("part", "loads in a lift", "lifts to fatigue"),
        tuple((life.label, Value(life.cycles_per_lift), decades(life)) for life in lives),
    )


def decades(life: ToothLife) -> str:
    """Range of the lifts that a tooth lasts, in powers of ten."""
    return " to ".join(dict.fromkeys((_decade(life.low), _decade(life.high))))


def _decade(lifts: float | None) -> str:
    """Lifts as a power of ten: a factor of two in capacity is forty-five in lifts."""
    if lifts is None or lifts < FEW_LIFTS:
        return "not known" if lifts is None else "few"
    return f"over {MOST_LIFTS:.0e}" if lifts > MOST_LIFTS else f"1e{round(math.log10(lifts))}"


def jam_table(parts: Sequence[JamPart]) -> Table:
    """Capacity over demand of each part in a jam, at standstill and with the rotors' momentum."""
    return Table(
        ("part", "static factor", "with rotors", "range"),
        tuple(
            (
                part.label,
                Value(part.static, "", part.low * slower, part.high * slower, 1.0).alone,
                *Value(part.dynamic, "", part.low, part.high, 1.0).pair,
            )
            for part in parts
            for slower in [part.static / part.dynamic if math.isfinite(part.dynamic) else 1.0]
        ),
    )


def reading_table(readings: Sequence[Reading]) -> Table:
    """Numbers without a limit."""
    return Table(
        ("quantity", "value", "range"),
        tuple((READINGS[row.key], *of_reading(row).pair) for row in readings),
    )


def timeline_table(record: Record) -> Table:
    """What happened when, and at which height."""
    return Table(
        ("time", "height", "event"),
        tuple(
            (
                "" if time is None else Value(time, "s"),
                "" if height is None else Value(round(height, 6), "m"),
                text,
            )
            for time, height, text in timeline(record)
        ),
    )


def energy_table(balance: EnergyBalance) -> Table:
    """Energy from the supply, and where it went: the largest first. Two digits, as losses are
    estimates."""
    stored = {
        "lifting the load" if kind == Term.POTENTIAL else f"stored, {kind}": (
            after - balance.stored_before[kind]
        )
        for kind, after in balance.stored_after.items()
    }
    amounts = {**stored, **balance.spent}
    scale = max(abs(balance.source), balance.scale)
    shown = {kind: v for kind, v in amounts.items() if abs(v) >= LEAST_SHARE * scale}
    rows = sorted(shown.items(), key=lambda pair: -abs(pair[1]))
    if rest := sum(amounts.values()) - sum(shown.values()):
        rows.append(("all others", rest))
    cells = ((str(kind), Value(rough(v), "J"), percent(v / scale)) for kind, v in rows)
    return Table(
        ("energy", "amount", "share"),
        (("from the supply", Value(rough(balance.source), "J"), ""), *cells),
    )


def assumed_table(found: Assessment) -> Table:
    """Every assumed input with its range and source, the one with the largest effect first."""
    return Table(
        ("input", "value", "range", "source"),
        tuple(
            (
                row.path,
                *(
                    (row.value, "")
                    if isinstance(row.value, str)
                    else Value(float(row.value), row.unit, row.low, row.high).pair
                ),
                source(row.source),
            )
            for row in found.assumed
        ),
    )


def inputs_as_used(
    inputs: Inputs, assumed: Iterable[Assumed | AssumedInput]
) -> Iterator[tuple[str, Any, Spec, str, Assumed | AssumedInput | None]]:
    """Path, value and declaration of every input, its basis (given, assumed or default), and the
    row of one that was assumed."""
    rows = {row.path: row for row in assumed if row.path not in inputs.given}
    for path, given, spec in walk(inputs):
        row = rows.get(path)
        basis = "given" if path in inputs.given else "default" if row is None else "assumed"
        yield path, given if row is None else row.value, spec, basis, row


def input_sections(inputs: Inputs, machine: Machine) -> tuple[Section, ...]:
    """Every input that the run used, table by table, with its basis."""
    tables: dict[str, list[tuple[Cell, ...]]] = {}
    for path, used, spec, basis, _ in inputs_as_used(inputs, machine.assumed):
        table, _, key = path.rpartition(".")
        if used is not None and used != "":
            row = (key, setting(used, spec.unit), basis, spec.meaning)
            tables.setdefault(table or "scenario", []).append(row)
    heads = ("key", "value", "basis", "meaning")
    return tuple(Section(name, (Table(heads, tuple(rows)),)) for name, rows in tables.items())


# --- timeline ---------------------------------------------------------------------------------

SILENT = frozenset({Event.SETTLED, Event.END})
"""Events that are of no use to a reader."""

MOST_OF_A_KIND = 4
"""Events of one kind that are all shown; of more, the first two and the last. [-]"""

_PHASES = {
    "raise": "power on, raising",
    "lower": "power on, lowering",
    "off": "power off",
    "short": "power off, motors shorted",
}

_SUPPLY = {
    Regime.VOLTAGE: "the supply holds its voltage",
    Regime.CURRENT: "the supply is at its current limit",
    Regime.NO_RETURN: "the supply takes nothing back",
    Regime.EMPTY: "the battery is empty",
    Regime.TRIPPED: "the supply switches off by overcurrent",
    Regime.OPEN: "the supply's lead is open, the motors stay joined",
    Regime.EACH_OPEN: "every motor's lead is open",
    Regime.SHORTED: "the motors are shorted",
}


Moment = tuple[float | None, float | None, Text]
"""One line of the timeline: time and height, None where it stands for several events; words."""


def timeline(record: Record) -> tuple[Moment, ...]:
    """Moments of a run, in order.

    Parameters
    ----------
    record : Record
    """
    events = [event for event in record.events if event.event not in SILENT]
    kinds = Counter(event.event for event in events)
    seen: Counter[Event] = Counter()
    found: list[Moment] = []
    for event in events:
        kind, count = event.event, kinds[event.event]
        seen[kind] += 1
        many = count > MOST_OF_A_KIND and kind is not Event.PHASE_STARTS
        if many and seen[kind] == count:
            found.append((None, None, say(f"({count - 3} more times: {kind.value})")))
        if not many or seen[kind] in (1, 2, count):
            found.append((event.time, event.height, moment_text(record, event)))
    return tuple(found)


def moment_text(record: Record, event: RecordedEvent) -> Text:
    """An event in words, with what it is about."""
    kind, speed = event.event, event.value
    match event.target:
        case Action() if kind is Event.PHASE_STARTS:
            return say(_PHASES[event.target])
        case AtLink(index):
            return say("the {} breaks", record.machine.links[index].label)
        case Regime():
            return say(_SUPPLY[event.target])
        case AtLayer(index):
            return say(f"layer {index + 1} of rope begins")
        case AtGroup(index):
            groups = record.machine.groups
            where = f" of motor group {groups[index].number}" if len(groups) > 1 else ""
            return say(f"a winding{where} passes {{}}", Value(groups[index].winding_limit, "°C"))
    if kind in (Event.LANDED, Event.TOP_STOP, Event.SNAGGED) and speed:
        return say(f"{kind.value} at {{}}, {{}}", value(speed, "m/s"), Value(event.energy, "J"))
    return say(kind.value)


# --- notes ------------------------------------------------------------------------------------

_STALLED = (
    "clamp the motor, let a lever on its shaft {} behind a guard, apply {{}} for two seconds at "
    "most, and read {} together."
)
_NEXT = "The measurement that would help most is "
_REMARKS = {
    Remark.FITTED: (
        "Fitted to {} points: speed within {} of the no-load speed, current within {} of the stall "
        "current.",
        ("", "%", "%"),
    ),
    Remark.METER_DISAGREES: (
        "The meter reads {}, the stalled motor shows {}. The latter is used, because brushes carry "
        "small currents badly.",
        ("ohm", "ohm"),
    ),
    Remark.CONTRADICTION: (
        "Speed and torque contradict each other: {} of the torque is left out.",
        ("%",),
    ),
    Remark.LOW_EFFICIENCY: (
        "Speed and torque leave an efficiency of {}, which is low: one of them may be wrong. With "
        "a usual one the stalled motor pulls {} times as hard.",
        ("%", ""),
    ),
    Remark.FREE_RUN: (
        _NEXT + "the no-load current: let the motor run free at {}, with nothing on the shaft that "
        "can fly off.",
        ("V",),
    ),
    Remark.STALL: (
        _NEXT
        + "the stall current: "
        + _STALLED.format("rest against a stop", "voltage and current"),
        ("V",),
    ),
    Remark.LEVER: (
        _NEXT
        + "the stalled pull: "
        + _STALLED.format("press on a kitchen scale", "scale, voltage and current"),
        ("V",),
    ),
    Remark.WORKING_POINT: (
        _NEXT + "another working point, near half the no-load speed at {}: a light brake on the "
        "shaft for a few seconds.",
        ("V",),
    ),
}
"""By remark: its sentence, and the units of its values."""


def notes(inputs: Inputs, machine: Machine) -> tuple[Text, ...]:
    """Keys that are no longer used, then what the data of each motor group show."""
    unused = (say(f"{p} is no longer used: {REMOVED[without_numbers(p)]}.") for p in inputs.unused)
    return (*unused, *(_of_group(number, note) for number, note in machine.notes))


LEAST_DOUBT = {
    Remark.FITTED: DISAGREEMENT,
    Remark.CONTRADICTION: 0.02,
    Remark.METER_DISAGREES: 0.0,
    Remark.LOW_EFFICIENCY: 0.0,
}
"""By remark: up to which of its last values it is no doubt; a torque that is left out may be
rounding. [-] Own choice."""


def doubts(machine: Machine) -> tuple[Text, ...]:
    """What in the data of each motor group does not fit together, with its effect."""
    return tuple(
        _of_group(number, note)
        for number, note in machine.notes
        if max(note.values[-2:]) > LEAST_DOUBT.get(note.kind, math.inf)
    )


def idle_keys(inputs: Inputs) -> tuple[Text, ...]:
    """Given keys that do not apply with the present kinds: one sentence for each kind."""
    keys: dict[str, list[str]] = {}
    for path, decides, kind, _ in idle(inputs):
        keys.setdefault(f'{decides} = "{kind}"', []).append(path.rpartition(".")[2])
    return tuple(say(f"Not used with {row}: {', '.join(names)}.") for row, names in keys.items())


def _of_group(number: int, found: FitNote) -> Text:
    template, units = _REMARKS[found.kind]
    values = (Value(rough(v), unit) for v, unit in zip(found.values, units, strict=True))
    return say(f"Motor group {number}: {template}", *values)
