"""The assessment of a run: every check with its range and its status, in one object."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from winchsim.assessment.checks import energy_check, find_checks, hold_of, holding_of
from winchsim.assessment.findings import find, tripped
from winchsim.assessment.history import OFF_FLOOR, History, read_history
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import (
    Assessment,
    AssumedInput,
    Caution,
    Check,
    CheckKey,
    End,
    Jam,
    Target,
)
from winchsim.assessment.life import tooth_lives
from winchsim.assessment.parts import part_rows
from winchsim.assessment.ranges import Ranges, find_ranges
from winchsim.assessment.readings import find_readings
from winchsim.assessment.stalls import blocked_by, layer_that_ends, stall_margins
from winchsim.frozen import replace
from winchsim.model import Event, Machine
from winchsim.physics import load
from winchsim.simulation import Record
from winchsim.slow import End as SlowEnd


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
    known = find_ranges(record.inputs, m) if ranges and record.inputs and history.trusted else None
    jammed = jam(m) if history.trusted else None
    base = Assessment(
        **_with_ranges(history, jammed, known),
        lives=tooth_lives(record),
        jam=jammed,
        actions=(),
        findings=find(history),
        drop_energy=m.body.mass * m.body.gravity * m.height(m.top_travel),
        drop_speed=load.fall_speed(m.body.gravity, m.height(m.top_travel)),
        drop_height=m.height(m.top_travel),
        cautions=tuple(Caution),
        energy_error=record.energy.error,
        trusted=history.trusted,
    )
    if not (actions and record.inputs and history.trusted):
        return base
    from winchsim.assessment.actions import with_actions

    return with_actions(base, record)


def add_ranges(found: Assessment, record: Record) -> Assessment:
    """An assessment made without ranges, with them.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of.
    """
    if not found.trusted or record.inputs is None:
        return found
    known = find_ranges(record.inputs, record.machine)
    return replace(found, **_with_ranges(read_history(record), found.jam, known))


def _with_ranges(history: History, jammed: Jam | None, known: Ranges | None) -> dict[str, Any]:
    """What of an assessment depends on what the assumed inputs leave open."""
    m, parts, target = (
        history.machine,
        part_rows(history.record, known),
        _target(history, known),
    )
    checks = (
        find_checks(history, known, target, parts, jammed)
        if history.trusted
        else (energy_check(history),)
    )
    return {
        "target": target,
        "held": holding_of(history, hold_of(m, known)),
        "checks": checks,
        "readings": find_readings(history, known),
        "parts": parts,
        "assumed": _assumed(m, known, checks),
        "causes": () if known is None else known.causes,
    }


# --- target -----------------------------------------------------------------------------------


def _target(history: History, known: Ranges | None) -> Target:
    m, end, event = history.machine, _end(history, known), None
    height = m.height(m.top_travel - m.start_travel)
    share, from_rest = None, False
    if end in (End.STALLED, End.STALLED_AT_LAYER_END):
        event = history.stalled or history.record.first(Event.TIME_UP)
        if event is not None:
            margins = stall_margins(history, event)
            share, from_rest = float(margins.deciding), bool(margins.moving >= 1)
    elif end is End.PART_BROKE:
        event = history.broke
    elif end is End.REACHED:
        event = history.up
    time = history.lift_time if event is None or end is End.REACHED else event.time
    limit = history.record.broken_link
    return Target(
        reached=history.as_asked and (history.lifted or not history.wants_top),
        end=end,
        mass=m.body.mass,
        height=height,
        time=float(history.record.time[-1]) if time is None else time,
        final_height=float(history.record["height"].max()) if event is None else event.height,
        torque_share=share,
        from_rest=from_rest,
        part="" if limit is None else limit.label,
    )


def _end(history: History, known: Ranges | None) -> End:
    record = history.record
    if not history.trusted:
        return End.NOT_TRUSTED
    if history.broke is not None:
        return End.PART_BROKE
    if record.first(Event.OVERFLOW) is not None:
        return End.DRUM_OVERFLOW
    out = record.first(Event.PAID_OUT)
    if out is not None and out.height > OFF_FLOOR:
        return End.PAID_OUT
    if history.up is None:
        return _missed(history, known)
    return End.REACHED if history.as_asked else _first_fault(history)


def _missed(history: History, known: Ranges | None) -> End:
    """Why a programme did not bring the load to its top, or that it was not meant to."""
    if tripped(history) is not None:
        return End.SUPPLY_TRIPPED
    stalled = history.stalled
    if stalled is not None:
        blocked = blocked_by(history, stalled)
        if blocked:
            return End(blocked)
        ends = layer_that_ends(history, stalled) is not None
        return End.STALLED_AT_LAYER_END if ends else End.STALLED
    if history.record.first(Event.EMPTY) is not None:
        return End.BATTERY_EMPTY
    if history.record.first(Event.TIME_UP) is not None:
        if known is not None and known.end is SlowEnd.STALLED:
            return End.STALLED
        if known is not None and known.end is SlowEnd.STALLED_AT_LAYER_END:
            return End.STALLED_AT_LAYER_END
        return End.LATE
    if not history.wants_top:
        return End.BACK_DRIVEN if history.run_backs() else End.DONE
    return _first_fault(history)


def _first_fault(history: History) -> End:
    for event, end in (
        (Event.TOP_STOP, End.TOP_STOP),
        (Event.SNAGGED, End.SNAGGED),
        (Event.TIME_UP, End.LATE),
        (Event.STALLED, End.STALLED),
        (Event.EMPTY, End.BATTERY_EMPTY),
    ):
        if history.record.first(event) is not None:
            return end
    return End.BACK_DRIVEN if history.run_backs() else End.DONE


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
        size = 0.0 if on is None else sizes[on]
        weight = 0.0 if on is None else size / distances[on]
        low, high = (None if end is None else float(end) for end in (row.low, row.high))
        item = AssumedInput(row.path, row.value, row.unit, low, high, row.why, group, size, on)
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
