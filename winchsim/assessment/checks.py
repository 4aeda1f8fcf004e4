"""The checks of a run: each limit, its value, its range and its status."""

import math
from collections.abc import Iterator, Mapping

from winchsim.assessment.findings import at_current_limit
from winchsim.assessment.history import History, carried_on
from winchsim.assessment.kinds import (
    STALLS,
    Check,
    CheckKey,
    Holding,
    Jam,
    PartRow,
    Side,
    Status,
    Target,
)
from winchsim.assessment.margins import (
    BRAKE_REQUIRED,
    brake_margin,
    hardest_margins,
    stalled_windings,
)
from winchsim.assessment.ranges import HoldShare, Ranges, hold_shares
from winchsim.assessment.readings import QUANTITIES, grade, motor_load, undescribed, worst_part
from winchsim.frozen import replace
from winchsim.model import Event, Machine, hanging_pulls, raising_phase
from winchsim.simulation import ENERGY_LIMIT
from winchsim.slow import stack_machines
from winchsim.strength import line

START_REQUIRED = 1.25
"""Starting torque margin that is required. [-] Own choice."""

BATTERY_REQUIRED = 1.25
"""Charge of a battery over the charge drawn that is required. [-] Own choice."""

PLAIN_LIFT = 3
"""Phases, the watch among them, up to which the height says whether a lift is carried out. [-]"""

SUPPLY_SHARE = 0.05
"""Share of the raising at the current limit that counts as the start alone. [-] Own choice."""

TRIP_SHARE = 0.7
"""Share of the delay with which a supply switches itself off that it may be at its limit for: the
delay of one differs from that of the next. [-] Own choice."""


Hold = Mapping[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]
"""Share of the load's torque that drives the motors back: middle, least and most, by check."""


def _check(
    key: CheckKey,
    unit: str,
    value: float | None,
    known: Ranges | None,
    *,
    side: Side = Side.LEAST,
    hard: float | None = None,
    required: float | None = None,
    ambient: float | None = None,
    about: str = "",
    missing: tuple[str, ...] = (),
    limit_assumed: bool = False,
    ends: tuple[float | None, float | None] = (None, None),
    status: Status | None = None,
    cause: str = "",
) -> Check:
    """A check whose range is given, or that of its key, a temperature's over the air; whose status
    is given, or follows from its limits."""
    low, high = ends
    if value is not None and known is not None and key in known.spans:
        low, high = known.around(key, value, ambient)
        cause = known.worst[key][0 if side is Side.LEAST else 1]
    status = status or grade(value, low, high, side, hard, required)
    if missing and status is Status.OK:
        status = Status.NOT_CHECKED
    return Check(
        key,
        QUANTITIES[unit],
        unit,
        value,
        low,
        high,
        side,
        hard,
        required,
        status,
        missing,
        about,
        cause,
        limit_assumed,
    )


def find_checks(
    history: History,
    known: Ranges | None,
    target: Target,
    hold: Hold,
    parts: tuple[PartRow, ...],
    found: Jam | None,
) -> tuple[Check, ...]:
    """Every check of a run, in the order of `CheckKey`.

    Parameters
    ----------
    history : History
    known : Ranges or None
    target : Target
    hold : mapping
        By `hold_of`.
    parts : tuple of PartRow
    found : Jam or None
    """
    return (
        *_way(history, known, target),
        *_hold_checks(history, known, hold),
        _winding(history, known, target.reached),
        *_part_checks(history.machine, parts, found),
        *_rope_checks(history),
        *_supply_checks(history, known),
        energy_check(history),
    )


def _way(history: History, known: Ranges | None, target: Target) -> Iterator[Check]:
    """Target, programme, time, and what the motors reach at rest."""
    m, inputs, asked = history.machine, history.record.inputs, history.wants_top > 0
    never, instead = "", ""
    if known is not None and target.reached and asked:
        never, instead = known.never, known.instead or ""
    if any(step.action == "raise" for step in m.phases):
        yield _check(
            CheckKey.TARGET,
            "m",
            target.height if history.lifted else min(target.gained, target.height),
            None,
            hard=target.height if asked else None,
            required=target.height,
            about=instead,
            status=Status.THIN if never else None,
            cause=never,
        )
    alone = len(m.phases) <= PLAIN_LIFT and target.as_asked  # one raise, the power off, the watch
    if not asked or (history.lifted and not alone):
        yield _check(CheckKey.PROGRAMME, "", history.carried_out, None, hard=1.0, required=1.0)
    if history.lift_time is not None:
        last = history.record.phase[history.lift[-1].samples.start]
        given = inputs and inputs.phase and inputs.phase[last].time is not None
        check = _check(
            CheckKey.LIFT_TIME,
            "s",
            history.lift_time,
            known,
            side=Side.MOST,
            hard=sum(span.step.time for span in history.lift),
            limit_assumed=not given,
        )
        yield replace(check, high=math.inf, status=Status.THIN, cause=never) if never else check
    if raising_phase(m).action == "raise":
        cold, hot = hardest_margins(m).resting, hardest_margins(m, hot=True).resting
        # A drum that turned before the rope took up the load has lifted it though it does not start
        # it.
        yield _check(
            CheckKey.START_COLD,
            "",
            cold,
            known,
            hard=None if history.lifted and cold < 1 else 1.0,
            required=START_REQUIRED,
        )
        yield _check(CheckKey.START_HOT, "", hot, known, required=1.0)


def _winding(history: History, known: Ranges | None, reached: bool) -> Check:
    """The winding that comes nearest to its limit; a stall, where assumed values may cause one
    instead, heats it up to there, where a run ends."""
    m, record = history.machine, history.record
    over, group = max(
        ((float(record[f"motor_{g.number}_winding"].max()) - g.winding_limit, g) for g in m.groups),
        key=lambda pair: pair[0],
    )
    check = _check(
        CheckKey.WINDING,
        "°C",
        over + group.winding_limit,
        known,
        side=Side.MOST,
        hard=group.winding_limit + 1e-3,
        required=group.winding_limit + 1e-3,
        ambient=m.ambient,
        about=f"motors.{group.number}",
    )
    if known is None or not reached or known.instead not in STALLS:
        return check
    _, heated = known.around(CheckKey.WINDING, stalled_windings(history)[group.number], m.ambient)
    status = Status.THIN if heated >= group.winding_limit else Status.OK
    return replace(
        check,
        high=max(check.high or 0.0, min(heated, group.winding_limit)),
        status=min(check.status, status, key=lambda each: each.rank),
        cause=known.never,
    )


def _part_checks(m: Machine, parts: tuple[PartRow, ...], found: Jam | None) -> Iterator[Check]:
    """Parts, and parts in a jam."""
    missing, worst = undescribed(m), worst_part(parts)
    if worst is None:
        yield _check(CheckKey.PARTS, "", None, None, hard=1.0, missing=missing)
    else:
        yield _check(
            CheckKey.PARTS,
            "",
            worst.factor,
            None,
            hard=1.0,
            required=worst.required,
            missing=missing,
            about=worst.label,
            ends=(worst.low, worst.high),
            status=Status.FAILS if worst.status is Status.FAILS else None,
        )
    if found is not None and found.parts:
        first = found.parts[0]
        yield _check(
            CheckKey.JAM,
            "",
            first.dynamic,
            None,
            required=1.0,
            missing=missing,
            about=first.label,
            ends=(min(part.low for part in found.parts), first.high),
        )


def _rope_checks(history: History) -> Iterator[Check]:
    inputs, m = history.record.inputs, history.machine
    if inputs is not None:
        bend = line.bend(
            inputs.ropes[inputs.rope.material], inputs.drum.diameter, inputs.rope.diameter
        )
        yield _check(
            CheckKey.ROPE_BEND, "", bend.ratio, None, required=bend.low, about="drum.diameter"
        )
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    flanged = inputs is None or inputs.drum.flange_diameter is not None or len(m.layers_used) == 1
    yield _check(
        CheckKey.DRUM_CAPACITY,
        "",
        m.layers[-1].end / last if flanged and last > 0 else None,
        None,
        hard=1.0,
        required=1.0,
        missing=() if flanged else ("drum.flange_diameter",),
    )


def _supply_checks(history: History, known: Ranges | None) -> Iterator[Check]:
    source, inputs, groups = history.machine.source, history.record.inputs, history.machine.groups
    load, group = max(
        ((motor_load(history, i), g) for i, g in enumerate(groups)), key=lambda pair: pair[0]
    )
    yield _check(
        CheckKey.CONTINUOUS_CURRENT,
        "",
        load,
        known,
        side=Side.MOST,
        required=1.0,
        about=f"motors.{group.number}",
    )
    battery, finite = inputs and inputs.supply.kind == "battery", math.isfinite(source.capacity)
    limit, lasts, whole = at_current_limit(history)
    if math.isfinite(limit) and whole > 0:
        most = min(SUPPLY_SHARE, TRIP_SHARE * source.trip_delay / whole)
        yield _check(CheckKey.SUPPLY, "", lasts / whole, None, side=Side.MOST, required=most)
    elif not battery and source.resistance == 0:
        yield _check(
            CheckKey.SUPPLY, "", None, None, side=Side.MOST, missing=("supply.current_limit",)
        )
    if battery or finite:
        empty = history.record.first(Event.EMPTY) is not None
        whole_run = carried_on(history.record) if empty else history.record
        charge = float(whole_run["charge"][-1])
        ratio = source.capacity / charge if finite and charge > 0 else None
        down, up = (1.0, 1.0) if known is None else known.span(CheckKey.BATTERY)
        yield _check(
            CheckKey.BATTERY,
            "",
            ratio,
            None,
            hard=1.0,
            required=BATTERY_REQUIRED,
            missing=() if finite else ("supply.capacity",),
            ends=(None, None) if ratio is None or known is None else (ratio / up, ratio / down),
        )


def energy_check(history: History) -> Check:
    """The energy balance, and whether the computation came to its end.

    Parameters
    ----------
    history : History
    """
    return _check(
        CheckKey.ENERGY,
        "",
        history.record.energy.error / ENERGY_LIMIT,
        None,
        side=Side.MOST,
        hard=1.0,
        required=1.0,
        status=Status.OK if history.trusted else Status.FAILS,
    )


# --- holding ----------------------------------------------------------------------------------


def hold_of(m: Machine, known: Ranges | None) -> Hold:
    """Holding of a winch, with the ranges that are known.

    Parameters
    ----------
    m : Machine
    known : Ranges or None
    """
    if known is not None:
        return known.hold
    return {
        key: (HoldShare(*(float(v[0]) for v in pair)),) * 3
        for key, pair in hold_shares(stack_machines([m])).items()
    }


def holding_of(history: History, hold: Hold) -> Holding:
    """What holds the load with the power off.

    Parameters
    ----------
    history : History
    hold : mapping
        By `hold_of`.
    """
    m, share = history.machine, hold[CheckKey.HOLD][0]
    if m.pawl:
        return Holding.PAWL
    if history.held is False or (history.held is None and share.net > 0):
        return Holding.NONE
    if m.chain is not m.braked_chain:
        return Holding.BRAKE if brake_margin(m) >= BRAKE_REQUIRED else Holding.WEAK_BRAKE
    locked = share.slope <= 0 and hanging_pulls(m, m.top_travel).sliding > 0
    return Holding.LOCKED_TRAIN if locked else Holding.FRICTION


def _hold_checks(history: History, known: Ranges | None, hold: Hold) -> Iterator[Check]:
    held = holding_of(history, hold)
    for key, shares in hold.items():
        value, high, low = (math.inf if history.machine.pawl else share.margin for share in shares)
        firm = key is CheckKey.HOLD or held in (Holding.NONE, Holding.BRAKE)
        hard, required = 1.0 if firm else None, BRAKE_REQUIRED if held is Holding.BRAKE else 1.0
        status = grade(value, low, high, Side.LEAST, hard, required)
        if status is Status.OK and held not in (Holding.PAWL, Holding.BRAKE):
            status = Status.THIN
        if key is CheckKey.HOLD and history.held is False:
            status = Status.FAILS
        yield _check(
            key,
            "",
            value,
            None,
            hard=hard,
            required=required,
            about=held.value,
            status=status,
            ends=(None, None) if known is None else (low, high),
            cause="" if known is None else known.worst[key][0],
        )
