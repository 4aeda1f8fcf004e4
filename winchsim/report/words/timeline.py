"""The timeline of a run: its events in words, repeated ones shortened."""

from collections import Counter

from winchsim.model import Action, AtGroup, AtLayer, AtLink, Event
from winchsim.physics.supply import Regime
from winchsim.report.document import Text, Value, say
from winchsim.report.words.values import value
from winchsim.simulation import Record, RecordedEvent

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
    Regime.CURRENT: "the supply holds its current limit",
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
    events = [event for event in record.events if is_shown(event)]
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


def is_shown(event: RecordedEvent) -> bool:
    """Whether an event is of use to a reader."""
    return event.event not in SILENT


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
