"""The assessment of a run: every check with its range and its status, in one object."""

import math
from collections.abc import Sequence
from typing import Any

from winchsim.assessment.checks import energy_check, find_checks, hold_of, holding_of
from winchsim.assessment.findings import find
from winchsim.assessment.history import History, read_history
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import (
    STALLS,
    Assessment,
    AssumedInput,
    Check,
    CheckKey,
    End,
    Finding,
    FindingKind,
    Jam,
    Target,
)
from winchsim.assessment.margins import stall_margins
from winchsim.assessment.ranges import ENDS, Ranges, find_ranges
from winchsim.assessment.readings import find_readings, jam_in_range, part_rows, rotors_taken
from winchsim.assessment.teeth import tooth_lives
from winchsim.frozen import replace
from winchsim.model import Event, Machine
from winchsim.simulation import Record, RecordedEvent


def assess(record: Record, *, actions: bool = True, ranges: bool = True) -> Assessment:
    """Assessment of a run.

    Parameters
    ----------
    record : Record
    actions : bool
        Whether to look for changes that help, each tried in full.
    ranges : bool
        Whether to work out what the assumed inputs leave open. Both need a record that was made
        from a scenario.

    Returns
    -------
    Assessment
        Of a run that broke off or whose energy balance does not close, only that.
    """
    history, m = read_history(record), record.machine
    known = _ranges(history) if ranges and record.inputs and history.trusted else None
    jammed, findings = jam(m) if history.trusted else None, find(history)
    base = Assessment(
        **_with_ranges(history, findings, jammed, known),
        lives=tooth_lives(record),
        actions=(),
        findings=findings,
        drop_energy=m.body.mass * m.body.gravity * m.height(m.top_travel),
        drop_speed=math.sqrt(2 * m.body.gravity * m.height(m.top_travel)),
        drop_height=m.height(m.top_travel),
        energy_error=record.energy.error,
        trusted=history.trusted,
    )
    if not (actions and record.inputs and history.trusted):
        return base
    from winchsim.assessment.actions import with_actions

    return with_actions(base, record)


def add_ranges(found: Assessment, record: Record, known: Ranges | None = None) -> Assessment:
    """An assessment made without ranges, with them.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of.
    known : Ranges, optional
        Of its build, where they are known already.
    """
    if not found.trusted or record.inputs is None:
        return found
    history = read_history(record)
    known = known or _ranges(history)
    return replace(found, **_with_ranges(history, found.findings, found.jam, known))


def _ranges(history: History) -> Ranges | None:
    assert history.record.inputs is not None
    raises = [span.end - span.start for span in history.spans if span.step.action == "raise"]
    return find_ranges(
        history.record.inputs,
        history.machine,
        raises[0] if raises and not history.lifted else math.inf,
    )


def _with_ranges(
    history: History, findings: tuple[Finding, ...], jammed: Jam | None, known: Ranges | None
) -> dict[str, Any]:
    """What of an assessment depends on what the assumed inputs leave open."""
    m, parts = history.machine, part_rows(history.record, known)
    target, hold = _target(history, findings, known), hold_of(m, known)
    jammed = jam_in_range(jammed, known, rotors_taken(m, 1)) if jammed and known else jammed
    checks = (
        find_checks(history, known, target, hold, parts, jammed)
        if history.trusted
        else (energy_check(history),)
    )
    return {
        "target": target,
        "held": holding_of(history, hold),
        "checks": checks,
        "readings": find_readings(history, known),
        "parts": parts,
        "jam": jammed,
        "assumed": _assumed(m, known, checks),
        "causes": () if known is None else known.causes,
    }


# --- target -----------------------------------------------------------------------------------


def _target(history: History, findings: Sequence[Finding], known: Ranges | None) -> Target:
    m, record, limit = history.machine, history.record, history.record.broken_link
    end, event = _end(history, findings, known)
    margins = stall_margins(history, event) if event and end in STALLS else None
    time = record.time[-1] if event is None else event.time
    if end is End.REACHED or (event is None and history.lift):
        time = history.lift_time or history.lift[-1].end - history.lift[0].start
    return Target(
        reached=history.as_asked and history.lifted,
        as_asked=history.as_asked,
        end=end,
        mass=m.body.mass,
        height=m.height(m.top_travel - m.start_travel),
        gained=history.gained,
        time=float(time),
        final_height=float(record["height"][-1]) if event is None else event.height,
        torque_share=None if margins is None else float(margins.deciding),
        from_rest=margins is not None and bool(margins.moving >= 1),
        part="" if limit is None else limit.label,
    )


FAULTS = {
    Event.TOP_STOP: End.TOP_STOP,
    Event.SNAGGED: End.SNAGGED,
    Event.TIME_UP: End.LATE,
    Event.STALLED: End.STALLED,
    Event.EMPTY: End.BATTERY_EMPTY,
    Event.SUPPLY: End.SUPPLY_TRIPPED,
}
"""What went wrong in a programme that did more than raise, or after the load was up."""


def _end(
    history: History, findings: Sequence[Finding], known: Ranges | None
) -> tuple[End, RecordedEvent | None]:
    """How the programme ended: by the first of its causes that applies; and with which event, None
    for none."""
    if not history.trusted:
        return End.NOT_TRUSTED, None
    first, missed, fault = history.record.first, history.up is None, history.fault
    kinds = {finding.kind: finding for finding in reversed(findings)}
    stalled = kinds.get(FindingKind.STALLED)
    said: Any = stalled.values if stalled else {"blocked_by": "", "layer_end": False}
    stall = End(said["blocked_by"] or STALLS[said["layer_end"]])
    first_of = {end: first(event) for event, end in FAULTS.items()}
    back = End.BACK_DRIVEN if FindingKind.BACK_DRIVEN in kinds else End.DONE
    slow = ENDS[known.end] if known and ENDS[known.end] in STALLS else None
    causes = (
        (history.broke, End.PART_BROKE),
        (first(Event.OVERFLOW), End.DRUM_OVERFLOW),
        (history.paid_out, End.PAID_OUT),
        (history.as_asked and history.up, End.REACHED),
        (missed and history.tripped, End.SUPPLY_TRIPPED),
        (missed and stalled and first_of.get(stall, first(Event.STALLED)), stall),
        (missed and first(Event.EMPTY), End.BATTERY_EMPTY),
        (missed and history.wants_top and first(Event.TIME_UP), slow or End.LATE),
        (fault, FAULTS.get(fault.event, back) if fault else back),
    )
    return next(((end, event) for event, end in causes if event), (back, None))


# --- assumed ----------------------------------------------------------------------------------


def _assumed(m: Machine, known: Ranges | None, checks: Sequence[Check]) -> tuple[AssumedInput, ...]:
    """What was assumed, first what moves a check most, measured by what is left to its limit."""
    distances = {check.key: _distance(check, m.ambient) for check in checks}
    causes = {} if known is None else {cause.name: cause for cause in known.causes}
    found = []
    for row in m.assumed:
        group = "" if known is None else known.groups.get(row.path, "")
        effects = causes[group].effects if group in causes else {}
        sizes = {key: max(map(abs, ends)) for key, ends in effects.items() if key in distances}
        on = max(sizes, key=lambda key: sizes[key] / distances[key], default=None)
        size, weight = (sizes[on], sizes[on] / distances[on]) if on else (0.0, 0.0)
        low, high = (None if end is None else float(end) for end in (row.low, row.high))
        item = AssumedInput(row.path, row.value, row.unit, low, high, row.source, group, size, on)
        found.append((-weight, row.low is None, item))
    return tuple(item for *_, item in sorted(found, key=lambda entry: entry[:2]))


def _distance(check: Check, ambient: float) -> float:
    """How far a check is from its limit, as a logarithm, at least `CLOSE`; infinite for none."""
    limit = check.hard if check.hard is not None else check.required
    if check.value is None or limit is None or check.limit_assumed:
        return math.inf
    origin = ambient if check.key is CheckKey.WINDING else 0.0
    value, bound = check.value - origin, limit - origin
    return (
        max(abs(math.log(value / bound)), CLOSE) if 0 < value < math.inf and bound > 0 else math.inf
    )


CLOSE = 0.1
"""Distance to a limit, as a logarithm, below which checks are equally close. [-] Own choice."""
