"""What happened in a run, read off its record once: phases, where the load went, what let go,
whether it held."""

import math
from collections.abc import Iterator
from itertools import groupby, pairwise

import numpy as np

from winchsim.assessment.kinds import Finding, FindingKind
from winchsim.errors import TrustError
from winchsim.frozen import dataclass, replace
from winchsim.model import Event, Machine, PhaseStep
from winchsim.physics.supply import Regime
from winchsim.simulation import Record, RecordedEvent, simulate

SAGS_BY_SHARE = 0.01
SAGS_BY = 0.005
"""A load that came back by less than a hundredth of its height, or 5 mm if that is more, counts as
held. [-], [m] Own assumption: what is left of the bounce, and the coasting back before the friction
bites."""

SLIPS_BY_SHARE = 0.05
"""Share of its height by which a load may slip that then stays. [-] Own assumption: the last bounce
of the rope may set the drum going once more."""

OFF_FLOOR = 1e-6
"""Height over which a load hangs. [m]"""

NOT_AS_ASKED = frozenset(
    {
        Event.STALLED,
        Event.TIME_UP,
        Event.OVERLOAD,
        Event.OVERFLOW,
        Event.EMPTY,
        Event.TOP_STOP,
        Event.SNAGGED,
    }
)
"""Events after which a programme has not gone as it was meant to, besides a supply that trips."""


@dataclass(frozen=True)
class Span:
    """One phase as it ran.

    Attributes
    ----------
    step : PhaseStep
    samples : slice
        Its samples in the record.
    start, end : float
        [s]
    """

    step: PhaseStep
    samples: slice
    start: float
    end: float

    @property
    def descends(self) -> bool:
        """Whether the load is meant to come down in it."""
        return self.step.action == "lower" or (not self.step.powered and self.step.until == "floor")


@dataclass(frozen=True)
class History:
    """A record with what everybody asks of it.

    Attributes
    ----------
    record : Record
    spans : tuple of Span
        In the order of time.
    """

    record: Record
    spans: tuple[Span, ...]

    @property
    def machine(self) -> Machine:
        """The winch that ran."""
        return self.record.machine

    @property
    def trusted(self) -> bool:
        """Whether the run came to its own end and its energy balance closes."""
        return self.record.outcome.ok and self.record.energy.closes

    def of(self, *events: Event) -> list[RecordedEvent]:
        """All events of some kinds, in order."""
        return [e for e in self.record.events if e.event in events]

    def at(self, time: float) -> int:
        """Last sample at or before a time."""
        return max(int(np.searchsorted(self.record.time, time, side="right")) - 1, 0)

    def span_at(self, time: float) -> Span:
        """Phase that runs at a time, the later one where two meet."""
        return next(
            span for span in reversed(self.spans) if span.start <= time or span is self.spans[0]
        )

    # --- the load's way

    @property
    def up(self) -> RecordedEvent | None:
        """When the load was up."""
        return self.record.first(Event.TOP)

    @property
    def gained(self) -> float:
        """Most that the load rose above its start. [m]"""
        return float(self.record["height"].max() - self.record["height"][0])

    @property
    def lift(self) -> tuple[Span, ...]:
        """The phases that raised the load from its start to the top, or else to where it was
        highest, with the pauses between them; empty where it did not rise."""
        height, time = self.record["height"], self.record.time
        until = self.up.time if self.up else float(time[int(np.argmax(height))])
        low = np.flatnonzero((height <= height[0] + self.allowed_sag) & (time < until))
        raises = [
            place
            for place, span in enumerate(self.spans)
            if span.step.action == "raise" and span.start < until
        ]
        if not raises or self.gained <= OFF_FLOOR:
            return ()
        first = [place for place in raises if self.spans[place].start <= time[low[-1]]]
        return self.spans[(first or raises[:1])[-1] : raises[-1] + 1]

    @property
    def lifting(self) -> tuple[float, float] | None:
        """When the last phase that raised the load to the top began, and when it was up; None where
        it did not come up. [s]"""
        lift = self.lift
        return (lift[-1].start, self.up.time) if self.up and lift else None

    @property
    def lift_time(self) -> float | None:
        """From the start of the first phase that raised it to the load being up. [s]"""
        lift = self.lift
        return self.up.time - lift[0].start if self.up and lift else None

    def steady(self, channel: str) -> float | None:
        """Mean of a channel over the middle half of the lift; None where the load did not come up.
        [unit of the channel]"""
        record, lifting = self.record, self.lifting
        return middle_mean(record.time, record[channel], *lifting) if lifting else None

    @property
    def broke(self) -> RecordedEvent | None:
        """When a link broke."""
        return self.record.first(Event.OVERLOAD)

    @property
    def paid_out(self) -> RecordedEvent | None:
        """When the rope was paid out with the load hanging, or with a raise still to come. One that
        still bounces off the floor on its rope does not hang."""
        left = self.machine.phases[self.record.phase[-1] + 1 : -1]
        raises = any(step.action == "raise" for step in left)
        hangs = self.allowed_sag
        return next((e for e in self.of(Event.PAID_OUT) if raises or e.height > hangs), None)

    @property
    def tripped(self) -> RecordedEvent | None:
        """When the supply switched itself off by overcurrent."""
        return next((e for e in self.of(Event.SUPPLY) if e.target is Regime.TRIPPED), None)

    def powered(self, time: float) -> bool:
        """Whether the supply gives power at a time: it is on, has not tripped in this phase, and is
        not empty."""
        span = self.span_at(time)
        cuts = [
            event
            for event in self.of(Event.EMPTY, Event.SUPPLY)
            if event.event is Event.EMPTY
            or (event.target is Regime.TRIPPED and event.time >= span.start)
        ]
        return span.step.powered and not any(event.time <= time for event in cuts)

    def temperatures(self, time: float) -> tuple[list[float], ...]:
        """Of the windings and of the cases of each live group at a time. [°C]"""
        return tuple(
            [
                float(self.record[f"motor_{g.number}_{part}"][self.at(time)])
                for g in self.machine.groups
            ]
            for part in ("winding", "case")
        )

    @property
    def wants_top(self) -> int:
        """How many phases of the programme raise the load to the top."""
        return sum(
            step.action == "raise" and step.until == "top" for step in self.machine.phases[:-1]
        )

    @property
    def lifted(self) -> bool:
        """Whether the load rose to the height asked for."""
        asked = self.machine.height(self.machine.top_travel - self.machine.start_travel)
        return self.up is not None or (not self.wants_top and self.gained >= asked - OFF_FLOOR)

    @property
    def fault(self) -> RecordedEvent | None:
        """The first event after which the programme did not go as it was meant to."""
        tops, paid_out = self.of(Event.TOP), self.paid_out
        overcome = tops[-1].time if tops else -1.0  # a stall that was got over does not matter
        return next(
            (
                event
                for event in self.record.events
                if event.time > overcome
                and (
                    event.event in NOT_AS_ASKED
                    or event.target is Regime.TRIPPED
                    or event is paid_out
                )
            ),
            None,
        )

    @property
    def as_asked(self) -> bool:
        """Whether every phase ended as it was meant to."""
        return self.trusted and not self.fault and len(self.of(Event.TOP)) >= self.wants_top

    @property
    def carried_out(self) -> float:
        """Share of the programme's phases that ended as they were meant to. [-]"""
        count, fault = len(self.machine.phases) - 1, self.fault
        last = self.at(fault.time - 1e-9) if fault else -1
        return 1.0 if self.as_asked else min(int(self.record.phase[last]), count - 1) / count

    # --- holding

    @property
    def allowed_sag(self) -> float:
        """How far the load may come back and still count as held. [m]"""
        return max(
            SAGS_BY,
            SAGS_BY_SHARE
            * self.machine.height(self.machine.top_travel - self.machine.start_travel),
        )

    def given_back(self, samples: slice) -> np.ndarray:
        """How far the drum has let the load down since the most that was wound on in a stretch. [m]

        What only slackens a rope that a snag, a stall or a bounce had stretched does not count.
        """
        machine, wound = self.machine, self.record["rope_wound"][samples]
        stretch = (
            (machine.free_rope - wound) * self.record["tension"][samples] / machine.line.stiffness
        )
        drum, load = (np.maximum.accumulate(row) - row for row in (wound, wound - stretch))
        return machine.height(np.minimum(drum, load) / machine.line.falls)

    def watches(self) -> list[Span]:
        """Phases with the power off that began with the load hanging and were not meant to let it
        down."""
        return [
            span
            for span in self.spans
            if not span.step.powered
            and not span.descends
            and self.record["height"][span.samples.start] > OFF_FLOOR
            and span.end > span.start
        ]

    def holds(self, span: Span) -> bool:
        """Whether the drum stands at the end of a phase and has let the load down by no more than
        `let_down_allowed`.

        A load that comes off a snag meets a train that the stretched rope has set turning: that it
        stands again is all that counts."""
        last = span.samples.stop - 1
        fell = self.broke is not None and self.broke.time <= span.end
        still = self.record.bound[last] and self.record["height"][last] > OFF_FLOOR
        came_off = any(span.start <= e.time <= span.end for e in self.of(Event.CAME_OFF))
        return bool(
            still
            and not fell
            and (came_off or self.given_back(span.samples)[-1] <= self.let_down_allowed(span))
        )

    def let_down_allowed(self, span: Span) -> float:
        """How far the load may come back in a phase. [m]

        `SLIPS_BY_SHARE` of its height where the power is off and the drum stands for the later half
        of the phase; any way to a stop from a speed that it had already as the power went off."""
        m, record, samples = self.machine, self.record, span.samples
        later = record.time[samples] >= (span.start + span.end) / 2
        if span.step.powered or not record.bound[samples][later].all():
            return self.allowed_sag
        speeds = record["drum_speed"][samples]
        if speeds.min() >= (1 + 1e-6) * speeds[0]:
            return math.inf
        return max(self.allowed_sag, SLIPS_BY_SHARE * m.height(m.top_travel - m.start_travel))

    @property
    def held(self) -> bool | None:
        """Whether the load stayed up in every watch; None without one."""
        found = [self.holds(span) for span in self.watches()]
        return all(found) if found else None

    def run_backs(self) -> list[Finding]:
        """Every stretch of phases that should not let the load down, and did by more than is
        allowed."""
        return [
            back
            for descends, spans in groupby(self.spans, key=lambda span: span.descends)
            if not descends
            for back in self._run_back(list(spans))
        ]

    def _run_back(self, spans: list[Span]) -> Iterator[Finding]:
        samples = slice(spans[0].samples.start, spans[-1].samples.stop)
        back = self.given_back(samples)
        worst = samples.start + int(np.argmax(back))
        begin = samples.start + int(np.flatnonzero(back[: worst - samples.start + 1] <= 0.0)[-1])
        heights, time = self.record["height"], self.record.time
        allowed = self.let_down_allowed(self.span_at(float(time[worst])))
        if back.max() <= allowed or heights[begin] <= OFF_FLOOR:
            return
        last = spans[-1].end  # what is let down after that was meant to be
        landed = next(
            (
                e
                for e in self.of(Event.LANDED)
                if time[begin] <= e.time <= last and (e.value or 0.0) > 0
            ),
            None,
        )
        speed = max(0.0, -float(self.record["speed"][begin : worst + 1].min()))
        fell = float(heights[begin] - heights[begin : samples.stop].min())
        stays = self.machine.body.friction > 0 and fell <= min(
            self.allowed_sag, float(back.max()) / 2
        )
        values = dict(
            from_height=float(heights[begin]),
            to_height=max(float(heights[worst]), 0.0),
            speed=max(speed, landed.value or 0.0) if landed else speed,
            powered=self.powered(float(time[begin])),
            in_guide=stays and landed is None,
            stopped=bool(
                self.record.bound[samples.stop - 1] and heights[samples.stop - 1] > OFF_FLOOR
            ),
            landing_speed=landed.value if landed else None,
            landing_energy=landed.energy if landed else None,
        )
        yield Finding(FindingKind.BACK_DRIVEN, values, float(time[begin]), float(heights[begin]))


def middle_mean(time: np.ndarray, values: np.ndarray, start: float, end: float) -> float:
    """Mean over the middle half of a stretch of time, its start and end left out; exact for the
    lines between samples.

    Parameters
    ----------
    time : ndarray
        Of the samples, not falling; two at one time are both sides of a switch. [s]
    values : ndarray
        At these times.
    start, end : float
        Of the whole stretch, end after start. [s]
    """
    first, last = start + (end - start) / 4, end - (end - start) / 4
    inside = (time > first) & (time < last)
    at_first, at_last = np.interp([first, last], time, values)
    return float(
        np.trapezoid([at_first, *values[inside], at_last], [first, *time[inside], last])
        / (last - first)
    )


def read_history(record: Record) -> History:
    """History of a record."""
    spans = tuple(
        Span(
            record.machine.phases[record.phase[first]],
            slice(first, last),
            float(record.time[first]),
            float(record.time[last - 1]),
        )
        for first, last in pairwise(
            [0, *(np.flatnonzero(np.diff(record.phase)) + 1).tolist(), len(record.phase)]
        )
    )
    return History(record, spans)


BEYOND = 1e9
"""Capacity of parts that are not to break, over their own. [-]"""


def carried_on(record: Record) -> Record:
    """The run as it would have gone on, to the end of the phase in which it ended, with parts that
    do not break and a battery that does not run empty; itself where that has no motion that can be
    computed.

    Parameters
    ----------
    record : Record
        That was ended by a part or by the battery.
    """
    m = record.machine
    links = [
        replace(k, strength=replace(k.strength, value=BEYOND * k.strength.value)) for k in m.links
    ]
    endless = replace(
        m,
        links=tuple(links),
        source=replace(m.source, capacity=math.inf),
        phases=m.phases[: int(record.phase[-1]) + 1],
    )
    try:
        return simulate(endless, rtol=record.relative_tolerance)
    except TrustError:
        return record
