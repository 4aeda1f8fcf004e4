"""The assessment of a run: every check with its range and its status, in one object."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from winchsim.assessment.findings import at_current_limit, find, tripped
from winchsim.assessment.history import OFF_FLOOR, History, read_history
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import (
    Assessment,
    AssumedInput,
    Caution,
    Check,
    CheckKey,
    End,
    Holding,
    Jam,
    PartRow,
    Side,
    Status,
    Target,
)
from winchsim.assessment.life import tooth_lives
from winchsim.assessment.margins import hardest_margins, hot_margins
from winchsim.assessment.parts import grade, part_rows, undescribed
from winchsim.assessment.ranges import (
    HoldShare,
    Ranges,
    find_ranges,
    hold_shares,
)
from winchsim.assessment.readings import QUANTITIES, find_readings, motor_load
from winchsim.assessment.stalls import blocked_by, layer_that_ends, stall_margins
from winchsim.model import Event, Machine
from winchsim.model.estimate import raising_phase
from winchsim.physics import load
from winchsim.simulation import ENERGY_LIMIT, Record
from winchsim.slow import End as SlowEnd
from winchsim.slow import stack_machines
from winchsim.strength import line

START_REQUIRED = 1.25
"""Starting torque margin that is required. [-] Own choice."""

BRAKE_REQUIRED = 1.25
"""Holding margin that is required of a brake. [-] Own choice."""

BATTERY_REQUIRED = 1.25
"""Charge of a battery over the charge drawn that is required. [-] Own choice."""

SUPPLY_SHARE = 0.05
"""Share of the raising at the current limit up to which only the start is limited. [-] Own choice."""


def assess(record: Record, *, actions: bool = True, ranges: bool = True) -> Assessment:
    """Assessment of a run.

    Parameters
    ----------
    record : Record
    actions : bool
        Whether to look for changes that help, each tried in full.
    ranges : bool
        Whether to work out what the assumed inputs leave open. Both need a record that was made from
        a scenario.

    Returns
    -------
    Assessment
        Of a run that broke off or whose energy balance does not close, only that.
    """
    history, m = read_history(record), record.machine
    known = find_ranges(record.inputs, m) if ranges and record.inputs and history.trusted else None
    parts = part_rows(record, known)
    target = _target(history, known)
    found = jam(m) if history.trusted else None
    checks = _checks(history, known, target, parts, found) if history.trusted else (_energy(history),)
    base = Assessment(
        target=target,
        held=_held(history, _hold(m, known)),
        checks=checks,
        readings=find_readings(history, known),
        parts=parts,
        lives=tooth_lives(record),
        jam=found,
        actions=(),
        assumed=_assumed(m, known, checks),
        causes=() if known is None else known.causes,
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


# --- target -----------------------------------------------------------------------------------------


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
    limit = history.broken_link
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


# --- checks -----------------------------------------------------------------------------------------


def _check(
    key: CheckKey,
    unit: str,
    value: float | None,
    known: Ranges | None,
    *,
    side: Side = Side.LEAST,
    hard: float | None = None,
    required: float | None = None,
    origin: float = 0.0,
    about: str = "",
    missing: tuple[str, ...] = (),
    limit_assumed: bool = False,
) -> Check:
    """A check whose range is a factor on its value over an origin."""
    low = high = None
    cause = ""
    if value is not None and known is not None and key in known.spans:
        down, up = known.span(key)
        low, high = origin + (value - origin) * down, origin + (value - origin) * up
        cause = known.worst[key][0 if side is Side.LEAST else 1]
    status = grade(value, low, high, side, hard, required)
    if missing and status is Status.OK:
        status = Status.NOT_CHECKED
    return Check(
        key, QUANTITIES[unit], unit, value, low, high, side, hard, required, status, missing, about,
        cause, limit_assumed,
    )  # fmt: skip


def _checks(
    history: History,
    known: Ranges | None,
    target: Target,
    parts: tuple[PartRow, ...],
    found: Jam | None,
) -> tuple[Check, ...]:
    checks = [
        *_way(history, known, target),
        *_hold_checks(history, known),
        *_motor_checks(history, known),
        *_part_checks(history, parts, found),
        *_rope_checks(history),
        *_supply_checks(history, known),
        _energy(history),
    ]
    order = list(CheckKey)
    return tuple(sorted(checks, key=lambda check: order.index(check.key)))


def _way(history: History, known: Ranges | None, target: Target) -> Iterator[Check]:
    """Target, time, and what the motors reach at rest."""
    m = history.machine
    reached = target.height if target.reached else min(target.final_height, target.height)
    status = Status.OK if target.reached else Status.FAILS
    never = known is not None and bool(known.never) and target.reached
    if never:
        status = Status.THIN
    cause = known.never if never and known is not None else ""
    yield Check(
        CheckKey.TARGET, "length", "m", reached, None, None, Side.LEAST, target.height, target.height,
        status, cause=cause,
    )  # fmt: skip
    time = history.lift_time
    if time is not None:
        phase = raising_phase(m)
        given = history.record.inputs and any(
            p.action == "raise" and p.time is not None for p in history.record.inputs.phase
        )
        check = _check(
            CheckKey.LIFT_TIME, "s", time, known, side=Side.MOST, hard=phase.time, limit_assumed=not given
        )
        if never:
            check = replace(check, high=math.inf, status=Status.THIN, cause=cause)
        yield check
    if raising_phase(m).action == "raise":
        cold, hot = hardest_margins(m).resting, hot_margins(m).resting
        yield _check(CheckKey.START_COLD, "", cold, known, hard=1.0, required=START_REQUIRED)
        yield _check(CheckKey.START_HOT, "", hot, known, required=1.0)


def _motor_checks(history: History, known: Ranges | None) -> Iterator[Check]:
    m, record = history.machine, history.record
    peaks = [float(record[f"motor_{g.number}_winding"].max()) - g.winding_limit for g in m.groups]
    place = max(range(len(peaks)), key=peaks.__getitem__)
    group = m.groups[place]
    yield _check(
        CheckKey.WINDING, "°C", peaks[place] + group.winding_limit, known, side=Side.MOST,
        hard=group.winding_limit + 1e-3, required=group.winding_limit + 1e-3, origin=m.ambient,
        about=f"motors.{group.number}",
    )  # fmt: skip
    loads = [motor_load(history, i) for i in range(len(m.groups))]
    place = max(range(len(loads)), key=loads.__getitem__)
    yield _check(
        CheckKey.CONTINUOUS_CURRENT, "", loads[place], known, side=Side.MOST, required=1.0,
        about=f"motors.{m.groups[place].number}",
    )  # fmt: skip


def _part_checks(history: History, parts: tuple[PartRow, ...], found: Jam | None) -> Iterator[Check]:
    missing = undescribed(history.machine)
    if parts:
        worst = min(parts, key=lambda row: (row.status.rank, row.factor / row.required))
        status = Status.NOT_CHECKED if missing and worst.status is Status.OK else worst.status
        yield Check(
            CheckKey.PARTS, "ratio", "", worst.factor, worst.low, worst.high, Side.LEAST, 1.0,
            worst.required, status, missing, worst.label,
        )  # fmt: skip
    else:
        yield _check(CheckKey.PARTS, "", None, None, hard=1.0, missing=missing)
    if found is not None and found.parts:
        first = found.parts[0]
        low = min(part.low for part in found.parts)
        status = grade(first.dynamic, low, first.high, Side.LEAST, None, 1.0)
        if missing and status is Status.OK:
            status = Status.NOT_CHECKED
        yield Check(
            CheckKey.JAM, "ratio", "", first.dynamic, low, first.high, Side.LEAST, None, 1.0, status,
            missing, first.label,
        )  # fmt: skip


def _rope_checks(history: History) -> Iterator[Check]:
    inputs, m = history.record.inputs, history.machine
    if inputs is not None:
        bend = line.bend(inputs.ropes[inputs.rope.material], inputs.drum.diameter, inputs.rope.diameter)
        yield _check(CheckKey.ROPE_BEND, "", bend.ratio, None, required=bend.low, about="drum.diameter")
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    flanged = inputs is None or inputs.drum.flange_diameter is not None or len(m.layers_used) == 1
    missing = () if flanged else ("drum.flange_diameter",)
    ratio = m.layers[-1].end / last if flanged and last > 0 else None
    yield _check(CheckKey.DRUM_CAPACITY, "", ratio, None, hard=1.0, required=1.0, missing=missing)


def _supply_checks(history: History, known: Ranges | None) -> Iterator[Check]:
    source, inputs = history.machine.source, history.record.inputs
    battery = inputs is not None and inputs.supply.kind == "battery"
    limit, lasts, whole = at_current_limit(history)
    if math.isfinite(limit) and whole > 0:
        share = lasts / whole
        yield _check(CheckKey.SUPPLY, "", share, None, side=Side.MOST, required=SUPPLY_SHARE)
    elif not battery and source.resistance == 0:
        yield _check(CheckKey.SUPPLY, "", None, None, side=Side.MOST, missing=("supply.current_limit",))
    if battery or math.isfinite(source.capacity):
        charge = float(history.record["charge"][-1])
        finite = math.isfinite(source.capacity)
        ratio = source.capacity / charge if finite and charge > 0 else None
        check = _check(
            CheckKey.BATTERY, "", ratio, None, hard=1.0, required=BATTERY_REQUIRED,
            missing=() if finite else ("supply.capacity",),
        )  # fmt: skip
        if ratio is not None and known is not None:
            down, up = known.span(CheckKey.BATTERY)
            low, high = ratio / up, ratio / down
            check = replace(check, low=low, high=high, status=grade(ratio, low, high, Side.LEAST, 1.0, BATTERY_REQUIRED))
        yield check


def _energy(history: History) -> Check:
    value = history.record.energy.error / ENERGY_LIMIT
    status = Status.OK if history.trusted else Status.FAILS
    return Check(CheckKey.ENERGY, "ratio", "", value, None, None, Side.MOST, 1.0, 1.0, status)


# --- holding ----------------------------------------------------------------------------------------


def _hold(m: Machine, known: Ranges | None) -> dict[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]:
    """Share of the load's torque that drives the motors back: middle, least and most, by check."""
    if known is not None:
        return dict(known.hold)
    found = hold_shares(stack_machines([m]))
    shares = {key: HoldShare(*(float(value[0]) for value in pair)) for key, pair in found.items()}
    return {key: (share, share, share) for key, share in shares.items()}


def _held(history: History, hold: dict[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]) -> Holding:
    m, share = history.machine, hold[CheckKey.HOLD][0]
    if m.pawl:
        return Holding.PAWL
    if history.held is False or (history.held is None and share.net > 0):
        return Holding.NONE
    if m.chain is not m.braked_chain:
        return Holding.BRAKE
    return Holding.LOCKED_TRAIN if share.slope <= 0 else Holding.FRICTION


def _hold_checks(history: History, known: Ranges | None) -> Iterator[Check]:
    m = history.machine
    hold = _hold(m, known)
    held = _held(history, hold)
    for key, (middle, least, most) in hold.items():
        value, low, high = (math.inf if m.pawl else share.margin for share in (middle, most, least))
        firm = key is CheckKey.HOLD or held in (Holding.NONE, Holding.BRAKE)
        hard = 1.0 if firm else None
        required = BRAKE_REQUIRED if held is Holding.BRAKE else 1.0
        status = grade(value, low, high, Side.LEAST, hard, required)
        if key is CheckKey.HOLD and history.held is False:
            status = Status.FAILS
        if held in (Holding.FRICTION, Holding.LOCKED_TRAIN) and status is Status.OK:
            status = Status.THIN
        cause = known.worst[key][0] if known is not None else ""
        spans = (low, high) if known is not None else (None, None)
        yield Check(
            key, "ratio", "", value, *spans, Side.LEAST, hard, required, status, (), held.value, cause
        )


# --- assumed ----------------------------------------------------------------------------------------


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
        item = AssumedInput(row.path, row.value, row.unit, row.low, row.high, row.why, group, size, on)
        found.append((-weight, row.low is None, item))
    return tuple(item for *_, item in sorted(found, key=lambda entry: entry[:2]))


def _distance(check: Check, ambient: float) -> float:
    """How far a check is from its limit, as a logarithm, at least `CLOSE`; infinite without one. [-]"""
    limit = check.hard if check.hard is not None else check.required
    if check.value is None or limit is None or check.limit_assumed:
        return math.inf
    origin = ambient if check.key is CheckKey.WINDING else 0.0
    value, bound = check.value - origin, limit - origin
    return max(abs(math.log(value / bound)), CLOSE) if 0 < value < math.inf and bound > 0 else math.inf


CLOSE = 0.1
"""Distance to a limit, as a logarithm, below which checks count as equally close. [-] Own choice."""
