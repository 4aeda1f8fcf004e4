"""What of a record is drawn over time: its samples segment by segment, in a unit that suits their
size, in panels over one time axis; and the numbered marks of its events, few enough for a figure:
merged where they crowd, named in few words.

Every event belongs to exactly one mark, except those that the timeline leaves out too.
"""

import math
from collections.abc import Sequence
from itertools import groupby
from typing import Any

import numpy as np

from winchsim.frozen import dataclass
from winchsim.model import Action, AtLayer, Event
from winchsim.physics.supply import Regime
from winchsim.quantity_text import in_unit, number
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREY,
    INK,
    VERMILLION,
    Axes,
    Figure,
    Line2D,
    Look,
    below,
    columns,
    folded,
    limit_line,
    quantity_label,
    room_for,
    stack,
)
from winchsim.report.words.details import SILENT
from winchsim.simulation import Record, RecordedEvent

# --- events and their marks

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
_MANY = 6
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
        if len(members) >= _MANY:
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


# --- time axes and panels


@dataclass(frozen=True)
class Window:
    """A stretch of time as an axis shows it.

    Attributes
    ----------
    start, end : float
        [s]
    origin : float
        Time that the axis counts from. [s]
    unit : str
        ``ms``, ``s`` or ``min``.
    """

    start: float
    end: float
    origin: float = 0.0
    unit: str = "s"

    @property
    def span(self) -> float:
        """[s]"""
        return self.end - self.start

    @property
    def label(self) -> str:
        """Text of the axis."""
        after = f" after {number(self.origin, 5)} s" if self.origin else ""
        return f"Time{after} ({self.unit})"

    def shown(self, time: Any) -> Any:
        """Time in the axis's unit, float or array."""
        return in_unit(time - self.origin, self.unit)


def window(start: float, end: float, around: float = 0.0) -> Window:
    """Stretch of time in a unit that suits it.

    Parameters
    ----------
    start, end : float
        [s]
    around : float
        Instant that a short stretch is counted from when it begins late. [s]
    """
    span = end - start
    if span <= 0:
        return window(start - 0.5e-3 if start > 0 else 0.0, start + 0.5e-3, around)
    unit = "ms" if span < 1 else "s" if span < 1200 else "min"
    return Window(start, end, round(around, 4) if span < 1 and start > 20 * span else 0.0, unit)


def whole(record: Record) -> Window:
    """The whole run."""
    return window(float(record.time[0]), float(record.time[-1]))


BY_SIZE = {
    "height": ("mm", 0.1, "m"),
    "speed": ("mm/s", 1.0, "m/s"),
    "current": ("A", math.inf, "A"),
    "tension": ("N", 1e4, "kN"),
    "torque": ("mN·m", 1.0, "N·m"),
}
"""Units of each quantity: the smaller one, the SI value from which the larger one takes over, and
that one."""


def suits(name: str, values: np.ndarray | float, look: Look) -> str:
    """Unit in which a quantity is drawn, from its size.

    Parameters
    ----------
    name : str
        One of `BY_SIZE`.
    values : array_like
        SI.
    look : Look
        Says whether a US unit is used where there is one.
    """
    small, limit, large = BY_SIZE[name]
    size = np.abs(np.asarray(values, dtype=float))
    most = np.max(size, initial=0.0, where=np.isfinite(size))
    return look.unit(large if most >= limit else small)


def broken(record: Record, *channels: np.ndarray) -> list[np.ndarray]:
    """Time and channels of a record, with a gap (NaN) between segments so that nothing is drawn
    across.

    Parameters
    ----------
    record : Record
    *channels : ndarray, shape (k,)
        One value for each sample of the record.

    Returns
    -------
    list of ndarray
        Time first, equally long, in SI.
    """
    return [
        np.insert(np.asarray(each, float), record.segment_starts[1:], np.nan)
        for each in (record.time, *channels)
    ]


# --- panels

NUMBER_EMS = 2.1
"""Marks are at least so far apart: nearer events share one. [em]"""

BESIDE_EMS = 8.0
"""Room beside a panel for its labels, at most. [em]"""

EVENT, REPEATED, HELD = "_event", "_repeated", "_held"
"""Labels of the line that marks an event, of the strokes at the foot of a panel that mark what
keeps recurring, and of the band that shows where the drum is held."""


@dataclass(frozen=True)
class Panel:
    """What one panel shows: name and unit of its quantity, and its share of the height."""

    name: str
    unit: str
    share: float = 1.0


@dataclass(frozen=True)
class Frame:
    """Panels over one stretch of time, ready to be drawn on.

    Attributes
    ----------
    record : Record
    look : Look
    shown : Window
    panels : sequence of Panel
    axes : sequence of Axes
        One for each panel, from the top down.
    """

    record: Record
    look: Look
    shown: Window
    panels: Sequence[Panel]
    axes: Sequence[Axes]

    def curve(
        self, place: int, values: np.ndarray, *, record: Record | None = None, **more: Any
    ) -> Line2D:
        """Draw one channel of the record, or of another one, segments apart.

        Parameters
        ----------
        place : int
            Of the panel.
        values : ndarray, shape (k,)
            One for each sample of the record, in SI.
        record : Record, optional
            Whose samples they are; left out, those of the frame's own.
        **more
            What matplotlib takes: colour, dashes, width.
        """
        x, y = broken(record or self.record, values)
        return self.axes[place].plot(self.shown.shown(x), self.value(place, y), **more)[0]

    def value(self, place: int, values: Any) -> Any:
        """SI values in the unit of a panel."""
        return in_unit(values, self.panels[place].unit)

    def room(self, place: int, *values: Any, zero: bool = True, least: float = 0.0) -> None:
        """Range of a panel for values in SI; `least` as well, see `room_for`."""
        span = self.value(place, least) - self.value(place, 0.0)
        room_for(self.axes[place], *(self.value(place, v) for v in values), zero=zero, least=span)

    def limit(self, place: int, level: float, text: str, **more: Any) -> None:
        """A limit in SI with its name, see `limit_line`."""
        limit_line(self.axes[place], self.look, self.value(place, level), text, **more)

    def level(self, place: int, level: float, label: str) -> Line2D:
        """A thin solid level in SI to compare with, which is no limit."""
        return self.axes[place].axhline(
            self.value(place, level),
            label=label,
            color=BLUE,
            zorder=1.4,
            linewidth=0.5 * self.look.line,
        )


def timeline(
    record: Record,
    look: Look,
    panels: Sequence[Panel],
    *,
    shown: Window | None = None,
    marked: bool = True,
    notes: Sequence[str] = (),
    rows: float = 0.0,
) -> tuple[Figure, Frame]:
    """A figure of panels over the time of a record.

    Parameters
    ----------
    record : Record
    look : Look
    panels : sequence of Panel
    shown : Window, optional
        Left out, the whole run.
    marked : bool
        Whether events and held stretches are shown: not where several records share the panels.
    notes : sequence of str
        Lines under the axis.
    rows : float
        Rows of type that are drawn later. [-]
    """
    shown = shown or whole(record)
    marks, key = marks_and_key(record, look, shown, notes, marked=marked)
    figure, axes = stack(look, [panel.share for panel in panels], len(key) + rows + 1.5)
    frame = Frame(record, look, shown, panels, axes)
    dress(frame, marks, key, marked=marked)
    return figure, frame


def marks_and_key(
    record: Record, look: Look, shown: Window, notes: Sequence[str] = (), *, marked: bool = True
) -> tuple[tuple[CurveMark, ...], list[str]]:
    """Marks of the events in a stretch of time, and lines of text that explain them."""
    nearest, most = NUMBER_EMS * look.em / (look.width - BESIDE_EMS * look.em), look.most_marks
    marks = marks_of(record, shown.start, shown.end, most=most, nearest=nearest) if marked else ()
    entries = [f"{n} {_mark_text(mark, shown)}" for n, mark in enumerate(marks, start=1)]
    if marked and held_spans(record, shown):
        entries.append("grey: the drum is held")
    return marks, flowed(entries, look) + [line for note in notes for line in folded(note, look)]


def dress(
    frame: Frame, marks: Sequence[CurveMark], key: Sequence[str], *, marked: bool = True
) -> None:
    """Labels, held stretches, marks with their numbers, and their key below."""
    shown, look = frame.shown, frame.look
    for axes, panel in zip(frame.axes, frame.panels, strict=True):
        axes.set_xlim(shown.shown(shown.start), shown.shown(shown.end))
        axes.set_ylabel(quantity_label(panel.name, panel.unit))
        for start, end in held_spans(frame.record, shown) if marked else ():
            axes.axvspan(
                shown.shown(start), shown.shown(end), facecolor=FAINT, linewidth=0, label=HELD
            )
        for mark in marks:
            style: dict[str, Any] = {
                "color": VERMILLION if mark.grave else GREY,
                "linewidth": 0.6 * look.line,
            }
            if mark.repeated:
                axes.vlines(
                    shown.shown(np.array([e.time for e in mark.events])),
                    0,
                    0.07,
                    transform=axes.get_xaxis_transform(),
                    label=REPEATED,
                    **style,
                )
            axes.axvline(shown.shown(mark.start), zorder=1.2, label=EVENT, **style)
    frame.axes[-1].set_xlabel(shown.label)
    _number_marks(frame.axes[0], marks, shown, look)
    if key:
        below(frame.axes[-1], look, key)


def _number_marks(axes: Axes, marks: Sequence[CurveMark], shown: Window, look: Look) -> None:
    """The number of each mark above the first panel, those too near moved right; a grave one on a
    filled box."""
    apart = NUMBER_EMS * look.em / (look.width - BESIDE_EMS * look.em)
    x = -math.inf
    for n, mark in enumerate(marks, start=1):
        x = max(shown.shown(mark.start), x + apart * shown.shown(shown.origin + shown.span))
        edge, face, ink = (VERMILLION, VERMILLION, "white") if mark.grave else (GREY, "white", INK)
        axes.annotate(
            str(n),
            (x, 1),
            xycoords=axes.get_xaxis_transform(),
            xytext=(0, 0.8 * look.font),
            textcoords="offset points",
            annotation_clip=False,
            ha="center",
            va="center",
            color=ink,
            weight="bold",
            bbox={
                "boxstyle": "round,pad=0.18",
                "facecolor": face,
                "edgecolor": edge,
                "linewidth": look.line * 0.5,
            },
        )


def flowed(entries: Sequence[str], look: Look) -> list[str]:
    """Entries of a key in lines, as many in a line as it takes."""
    lines: list[str] = []
    for entry in entries:
        longer = f"{lines[-1]}    {entry}" if lines else entry
        if lines and len(longer) <= columns(look, longer):
            lines[-1] = longer
        else:
            lines += folded(entry, look)
    return lines


def _mark_text(mark: CurveMark, shown: Window) -> str:
    """What a mark stands for and when; one time for what happens at the same time."""
    if mark.repeated:
        return f"{mark.names[0][0]}, {when_text(mark.start, shown)} to {when_text(mark.end, shown)}"
    moments = groupby(mark.names, key=lambda named: when_text(named[1], shown))
    return ", ".join(f"{', '.join(name for name, _ in names)} {when}" for when, names in moments)


def when_text(time: float, shown: Window) -> str:
    """A time as a key shows it, with the digits that tell marks apart."""
    unit = "s" if shown.unit == "ms" and time >= 1 else shown.unit
    digits = max(3, math.ceil(math.log10(abs(time) / shown.span)) + 4) if time else 3
    return f"{in_unit(time, unit):.{dict(min=4, ms=3).get(unit, min(digits, 8))}g} {unit}"


def held_spans(record: Record, shown: Window) -> list[tuple[float, float]]:
    """Stretches in which the drum is held, of those that reach into a stretch of time. [s]"""
    edges = np.flatnonzero(np.diff(record.bound, prepend=False, append=False))
    firsts, lasts = record.time[edges[::2]].tolist(), record.time[edges[1::2] - 1].tolist()
    return [
        (first, last)
        for first, last in zip(firsts, lasts, strict=True)
        if last > max(first, shown.start) and first < shown.end
    ]
