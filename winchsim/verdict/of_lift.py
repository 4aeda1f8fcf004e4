"""Findings about the load's way: up, stalled, snagged, jerking, landing."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from winchsim.assessment.history import OFF_FLOOR
from winchsim.assessment.margins import times_until_hot
from winchsim.model import Event
from winchsim.quantity_text import number, quantity
from winchsim.simulation import RecordedEvent
from winchsim.verdict.case import Case, blocked_by, layer_that_ends, lowering, shortfall, stall_margins
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import after, counted, duration, length, listed, speed

HARD_LANDING = 0.1
"""Speed of a landing that is worth a word. [m/s] Own assumption."""

FEWEST_JERKS = 3
"""Slips in the guide that make it jerky. [-] Own assumption."""


def lifted(case: Case) -> Iterator[Finding]:
    """The load is up."""
    up, time = case.history.up, case.history.lift_time
    if up is not None and time is not None:
        text = f"The load is up, {length(up.height)} above the floor, {duration(time)} after the power came on."
        yield Finding(FindingKind.LIFTED, Severity.NOTE, text, up.time, up.height, time, None, "s")


def lowered(case: Case) -> Iterator[Finding]:
    """The load is down, as it was meant to be."""
    found = lowering(case)
    if found is not None:
        event, took = found
        text = f"The load is down {duration(took)} after the lowering began."
        yield Finding(FindingKind.LOWERED, Severity.NOTE, text, event.time, event.height, took, None, "s")


def stalled(case: Case) -> Iterator[Finding]:
    """Motors that stall: how much they lack, how soon they get too hot, what they could break."""
    event = case.history.stalled
    if event is None:
        return
    found = stall_margins(case, event)
    where = "with the load on the floor" if event.height <= OFF_FLOOR else f"with the load {length(event.height)} up"
    blocked = blocked_by(case, event)
    kind = FindingKind.STALLED_AT_LAYER_END if layer_that_ends(case, event) is not None else FindingKind.STALLED
    if blocked:
        text = f"The motors stall {after(event.time)} {where}, because {blocked}."
    else:
        layer = int(case.record["layer"][case.history.at(event.time)])
        on = f" on layer {layer}" if kind is FindingKind.STALLED_AT_LAYER_END or layer > 1 else ""
        text = f"The motors stall {after(event.time)} {where}{on}: they give {shortfall(found)}."
    text += _until_hot(case, event) + _stall_breaks(case)
    help_ = "Switch the power off at once: a stalled motor turns all its current into heat."
    yield Finding(
        kind, Severity.CAUTION, text, event.time, event.height, None if blocked else found.deciding, 1.0, help=help_
    )  # fmt: skip


def _until_hot(case: Case, event: RecordedEvent) -> str:
    """A sentence that says how soon a stalled winding passes its limit: as it did, or else as closed form says."""
    end = case.history.span_at(event.time).end
    hot = next((e for e in case.history.of(Event.HOT) if e.time <= end), None)
    limits = listed(sorted({quantity(group.winding_limit, "°C") for group in case.machine.groups}))
    if hot is not None and hot.time >= event.time:
        return f" A stalled winding passes {quantity(hot.value, '°C')} after {duration(hot.time - event.time)}."
    if hot is not None:
        return f" A winding had passed {quantity(hot.value, '°C')} before."
    times = _times_to_limit(case, event)
    soonest, limit = min((time, group.winding_limit) for time, group in zip(times, case.machine.groups, strict=True))
    if math.isinf(soonest):
        return f" The stalled windings stay below {limits}."
    return f" A stalled winding would pass {quantity(limit, '°C')} after about {duration(soonest)}."


def _times_to_limit(case: Case, event: RecordedEvent) -> tuple[float, ...]:
    """Time until the winding of each group, stalled as it is, passes its limit. [s]"""
    record, k = case.record, case.history.at(event.time)
    windings, cans = (
        [float(record[f"motor_{group.number}_{name}"][k]) for group in case.machine.groups] for name in ("winding", "case")
    )
    return times_until_hot(case.machine, case.history.span_at(event.time).step, windings, cans)


def _stall_breaks(case: Case) -> str:
    if not case.pull.rows:
        return ""
    worst = case.pull.rows[0]
    if worst.link.factor < 1:
        return f" Their pull at stall is more than the {worst.label} bears."
    return ""


def not_up_in_time(case: Case) -> Iterator[Finding]:
    """A phase whose time was over first."""
    for event in case.history.of(Event.TIME_UP):
        span = case.history.span_at(event.time - 1e-9)
        meant = {"raise": "up", "lower": "down"}.get(span.step.action, "down")
        text = (
            f"The load is not {meant} when the time of its phase, {duration(span.step.time)}, is over: "
            f"it is at {length(event.height)}."
        )
        help_ = "More time for the phase, a higher voltage, a larger drum or a lower ratio."
        yield Finding(
            FindingKind.NOT_UP_IN_TIME, Severity.CAUTION, text, event.time, event.height, event.time - span.start,
            span.step.time, "s", help_,
        )  # fmt: skip


def snagged(case: Case) -> Iterator[Finding]:
    """A load that snagged, and how hard the rope was pulled then."""
    event = case.record.first(Event.SNAGGED)
    if event is None:
        return
    k = int(np.searchsorted(case.record.time, event.time))
    peak = float(case.record["tension"][k:].max())
    hang = case.machine.scales.pull / case.machine.line.falls
    text = (
        f"The load snags {length(event.height)} up; the rope is then pulled with up to {quantity(peak, 'N')}, "
        f"{number(peak / hang, 2)} times the load's own pull."
    )
    yield Finding(
        FindingKind.SNAGGED, Severity.CAUTION, text, event.time, event.height, peak, hang, "N",
        "Somebody at the switch who sees the load; a current limit just above what the lift takes.",
    )  # fmt: skip


def hit_top_stop(case: Case) -> Iterator[Finding]:
    """A load that ran into its top stop."""
    event = case.record.first(Event.TOP_STOP)
    if event is None:
        return
    text = f"The load hits its top stop at {speed(event.value or 0.0)} with {quantity(event.energy, 'J')}."
    yield Finding(
        FindingKind.HIT_TOP_STOP, Severity.DANGER, text, event.time, event.height, event.value, 0.0, "m/s",
        "A switch that cuts the power below the stop, or a lift that ends lower.",
    )  # fmt: skip


def jerks(case: Case) -> Iterator[Finding]:
    """Repeated sticking and slipping in the guide, with its rate and the swing of the pull."""
    slips = case.history.of(Event.SLIPS)
    if len(slips) < FEWEST_JERKS:
        return
    first, last = slips[0].time, slips[-1].time
    rate = (len(slips) - 1) / (last - first) if last > first else math.inf
    stretch = slice(case.history.at(first), case.history.at(last) + 1)
    pulls = case.record["tension"][stretch] * case.machine.line.falls
    text = (
        f"The load jerks in its guide: {counted(len(slips), 'slip')}, {quantity(rate, 'Hz', 2)}, the pull on it swinging from "
        f"{quantity(float(pulls.min()), 'N')} to {quantity(float(pulls.max()), 'N')}."
    )
    yield Finding(
        FindingKind.JERKS_IN_GUIDE, Severity.CAUTION, text, first, slips[0].height, rate, None, "Hz",
        "A freer or greased guide, a stiffer or shorter rope, or a faster lift.",
    )  # fmt: skip


def went_slack(case: Case) -> Iterator[Finding]:
    """A rope that lost its pull while the load hung."""
    height = case.record["height"]
    hanging = [e for e in case.history.of(Event.SLACK) if height[case.history.at(e.time)] > OFF_FLOOR]
    if case.history.broke is not None:
        hanging = [e for e in hanging if e.time < case.history.broke.time]
    if hanging:
        first = hanging[0]
        text = f"The rope goes slack with the load hanging, {counted(len(hanging), 'time')}, first {length(first.height)} up."
        yield Finding(
            FindingKind.ROPE_WENT_SLACK, Severity.CAUTION, text, first.time, first.height, float(len(hanging)), 0.0,
            help="A slower start or stop: each time the rope goes taut again, the load jerks it.",
        )  # fmt: skip


def landed_hard(case: Case) -> Iterator[Finding]:
    """A load that met the floor fast, unless a run-back tells it already."""
    backs = case.history.run_backs()
    told = {back.landed.time for back in backs if back.landed is not None}
    for event in case.history.of(Event.LANDED):
        if (event.value or 0.0) < HARD_LANDING or event.time in told:
            continue
        meant = case.history.span_at(event.time - 1e-9).descends
        text = f"The load meets the floor at {speed(event.value or 0.0)} with {quantity(event.energy, 'J')}."
        yield Finding(
            FindingKind.LANDED_HARD, Severity.CAUTION if meant else Severity.DANGER, text, event.time, event.height,
            event.value, HARD_LANDING, "m/s", "A lower speed near the floor, or something soft to land on.",
        )  # fmt: skip
        return
