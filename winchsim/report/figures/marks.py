"""From a record's events to the few marks that a figure can carry: merged where they crowd, named
in few words.

No drawing here. Every event belongs to exactly one mark, except those that the timeline leaves out
too.
"""

from collections.abc import Sequence

from winchsim.frozen import dataclass
from winchsim.model import Action, AtLayer, Event
from winchsim.physics.supply import Regime
from winchsim.report.words.details import SILENT
from winchsim.simulation import Record, RecordedEvent

_SHORT = {
    Event.OVERLOAD: "breaks",
    Event.STALLED: "stall",
    Event.WEDGED: "wedges",
    Event.SNAGGED: "snag",
    Event.RUNS_BACK: "runs back",
    Event.PAID_OUT: "dead turns",
    Event.OVERFLOW: "over the flange",
    Event.TOP_STOP: "top stop",
    Event.HOT: "too hot",
    Event.EMPTY: "battery empty",
    Event.TOP: "up",
    Event.LIFT_OFF: "lift-off",
    Event.PHASE_STARTS: "",
    Event.LANDED: "lands",
    Event.SLACK: "slack",
    Event.TIME_UP: "time is up",
    Event.LAYER: "new layer",
    Event.DRUM_STOPS: "drum stops",
    Event.RESTARTS: "starts again",
    Event.TAUT: "taut",
    Event.CAME_OFF: "off the stop",
    Event.STICKS: "sticks",
    Event.SLIPS: "slips",
    Event.AVERAGED: "averaged",
    Event.SUPPLY: "supply changes over",
    Event.DRUM_STARTS: "drum starts",
    Event.SETTLED: "settled",
    Event.END: "end",
}
"""What an event is called, in the order in which one is named first where several share a mark."""

_PHASES = {"raise": "power on", "lower": "lowering", "off": "power off", "short": "shorted"}
_LOWERS = "drum lowers"
_SUPPLY = {
    Regime.VOLTAGE: "voltage held",
    Regime.CURRENT: "current limit",
    Regime.NO_RETURN: "nothing back",
    Regime.EMPTY: "battery empty",
    Regime.TRIPPED: "supply off",
}

GRAVE = frozenset(
    {
        Event.OVERLOAD,
        Event.STALLED,
        Event.SNAGGED,
        Event.RUNS_BACK,
        Event.PAID_OUT,
        Event.OVERFLOW,
        Event.TOP_STOP,
        Event.HOT,
        Event.EMPTY,
    }
)
"""Events that are drawn so that they stand out."""

_IMPLIES = {
    Event.DRUM_STARTS: (Event.PHASE_STARTS, Event.RUNS_BACK, Event.LIFT_OFF, Event.STALLED),
    Event.DRUM_STOPS: (Event.STALLED, Event.OVERLOAD, Event.SNAGGED, Event.TOP, Event.PHASE_STARTS),
    Event.SUPPLY: (
        Event.STALLED,
        Event.OVERLOAD,
        Event.SNAGGED,
        Event.TOP,
        Event.PHASE_STARTS,
        Event.LIFT_OFF,
    ),
    Event.RESTARTS: (Event.LIFT_OFF,),
}
"""What need not be named beside another event."""

_FAMILIES: tuple[tuple[frozenset[Event], str], ...] = (
    (frozenset({Event.STICKS, Event.SLIPS}), "sticks and slips"),
    (frozenset({Event.SLACK, Event.TAUT}), "slack and taut"),
    (frozenset({Event.LIFT_OFF, Event.LANDED}), "lifts off and lands"),
    (
        frozenset({Event.DRUM_STOPS, Event.RESTARTS, Event.DRUM_STARTS, Event.RUNS_BACK}),
        "drum stops and starts",
    ),
    (frozenset({Event.SUPPLY}), "supply changes over"),
    (frozenset({Event.LAYER}), "changes layer"),
    (frozenset({Event.SNAGGED, Event.TOP_STOP, Event.CAME_OFF}), "hits its stop and comes off"),
)
_REPEATED = 6
"""So many events of one family are drawn as one span."""


@dataclass(frozen=True)
class NamedEvent:
    """One event of a record with its names.

    Attributes
    ----------
    event : Event
    time : float
        [s]
    short : str
        In one to three words.
    grave : bool
        Whether something went wrong.
    """

    event: Event
    time: float
    short: str
    grave: bool


@dataclass(frozen=True)
class CurveMark:
    """What a figure shows of one event, of several at nearly the same time, or of one kind that
    keeps recurring.

    Attributes
    ----------
    start, end : float
        Equal unless it stands for what keeps recurring. [s]
    names : tuple of (str, float)
        What happened, in few words, and when first. [s]
    events : tuple of NamedEvent
    repeated : bool
        Whether it stands for what keeps recurring.
    """

    start: float
    end: float
    names: tuple[tuple[str, float], ...]
    events: tuple[NamedEvent, ...]
    repeated: bool = False

    @property
    def grave(self) -> bool:
        """Whether something went wrong there."""
        return any(e.grave for e in self.events)


def named_events(record: Record) -> tuple[NamedEvent, ...]:
    """Every event of a record that figures mark, in order of time, with its names."""
    found, action = [], None
    for e in record.events:
        if e.event is Event.PHASE_STARTS:
            action = e.target
        if e.event not in SILENT:
            lowers = e.event is Event.RUNS_BACK and action is Action.LOWER  # as it is meant to
            name = _LOWERS if lowers else _short_name(e)
            found.append(NamedEvent(e.event, e.time, name, e.event in GRAVE and not lowers))
    return tuple(found)


def _short_name(e: RecordedEvent) -> str:
    match e.target:
        case Action() if e.event is Event.PHASE_STARTS:
            return _PHASES[e.target]
        case AtLayer(index):
            return f"layer {index + 1}"
        case Regime():
            return _SUPPLY.get(e.target, e.target.value)
    return _SHORT[e.event]


def marks_of(
    record: Record, start: float, end: float, *, most: int, nearest: float
) -> tuple[CurveMark, ...]:
    """Marks of the events in a stretch of time, at most about `most` of them.

    Parameters
    ----------
    record : Record
    start, end : float
        Stretch that is shown. [s]
    most : int
        Beyond so many, neighbours are merged further.
    nearest : float
        Events closer than this share of the stretch are one mark. [-]

    Returns
    -------
    tuple of CurveMark
        In the order of their start.
    """
    spans, single = _recurring([e for e in named_events(record) if start <= e.time <= end])
    apart = nearest * (end - start)
    while len(groups := _grouped(single, apart)) > max(1, most - len(spans)):
        apart *= 1.5
    return tuple(sorted([*spans, *map(_merged, groups)], key=lambda mark: (mark.start, mark.end)))


def _recurring(events: Sequence[NamedEvent]) -> tuple[list[CurveMark], list[NamedEvent]]:
    """Marks of what recurs, and the events that stand alone."""
    spans, single = [], list(events)
    for family, words in _FAMILIES:
        members = tuple(e for e in single if e.event in family)
        if len(members) >= _REPEATED:
            single = [e for e in single if e.event not in family]
            first, name = members[0].time, f"{words} ({len(members)} times)"
            spans.append(CurveMark(first, members[-1].time, ((name, first),), members, True))
    return spans, single


def _grouped(events: Sequence[NamedEvent], apart: float) -> list[list[NamedEvent]]:
    groups: list[list[NamedEvent]] = []
    for e in events:
        if not groups or e.time - groups[-1][0].time > apart:
            groups.append([])
        groups[-1].append(e)
    return groups


def _merged(group: list[NamedEvent]) -> CurveMark:
    lead = min(group, key=lambda e: (not e.grave, list(_SHORT).index(e.event)))
    present = {e.event for e in group}
    names: dict[str, float] = {}
    for e in group:
        if not present & set(_IMPLIES.get(e.event, ())):
            names.setdefault(e.short, e.time)
    if _PHASES["lower"] in names:
        names.pop(_LOWERS, None)
    return CurveMark(lead.time, lead.time, tuple(names.items()), tuple(group))
