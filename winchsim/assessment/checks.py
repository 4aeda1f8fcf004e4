"""The checks of a run: each limit, its value, its range and its status."""

import math
from collections.abc import Iterator

from winchsim.assessment.findings import at_current_limit
from winchsim.assessment.history import History
from winchsim.assessment.kinds import (
    Check,
    CheckKey,
    Holding,
    Jam,
    PartRow,
    Side,
    Status,
    Target,
)
from winchsim.assessment.margins import hardest_margins, hot_margins
from winchsim.assessment.parts import grade, undescribed
from winchsim.assessment.ranges import HoldShare, Ranges, hold_shares
from winchsim.assessment.readings import QUANTITIES, motor_load
from winchsim.frozen import replace
from winchsim.model import Machine
from winchsim.model.estimate import raising_phase
from winchsim.simulation import ENERGY_LIMIT
from winchsim.slow import stack_machines
from winchsim.strength import line

START_REQUIRED = 1.25
"""Starting torque margin that is required. [-] Own choice."""

BRAKE_REQUIRED = 1.25
"""Holding margin that is required of a brake. [-] Own choice."""

BATTERY_REQUIRED = 1.25
"""Charge of a battery over the charge drawn that is required. [-] Own choice."""

SUPPLY_SHARE = 0.05
"""Share of the raising at the current limit that counts as the start alone. [-] Own choice."""


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
    ends: tuple[float | None, float | None] = (None, None),
    failed: bool = False,
) -> Check:
    """A check whose range is given, or is a factor on its value over an origin."""
    (low, high), cause = ends, ""
    if value is not None and known is not None and key in known.spans:
        down, up = known.span(key)
        low, high = origin + (value - origin) * down, origin + (value - origin) * up
        cause = known.worst[key][0 if side is Side.LEAST else 1]
    status = Status.FAILS if failed else grade(value, low, high, side, hard, required)
    if missing and status is Status.OK:
        status = Status.NOT_CHECKED
    return Check(
        key, QUANTITIES[unit], unit, value, low, high, side, hard, required, status, missing, about,
        cause, limit_assumed,
    )  # fmt: skip


def find_checks(
    history: History,
    known: Ranges | None,
    target: Target,
    parts: tuple[PartRow, ...],
    found: Jam | None,
) -> tuple[Check, ...]:
    """Every check of a run, in the order of `CheckKey`.

    Parameters
    ----------
    history : History
    known : Ranges or None
    target : Target
    parts : tuple of PartRow
    found : Jam or None
    """
    checks = [
        *_way(history, known, target),
        *_hold_checks(history, known),
        *_motor_checks(history, known),
        *_part_checks(history, parts, found),
        *_rope_checks(history),
        *_supply_checks(history, known),
        energy_check(history),
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
        CheckKey.TARGET,
        "length",
        "m",
        reached,
        None,
        None,
        Side.LEAST,
        target.height,
        target.height,
        status,
        cause=cause,
    )
    time = history.lift_time
    if time is not None:
        phase = raising_phase(m)
        given = history.record.inputs and any(
            p.action == "raise" and p.time is not None for p in history.record.inputs.phase
        )
        check = _check(
            CheckKey.LIFT_TIME,
            "s",
            time,
            known,
            side=Side.MOST,
            hard=phase.time,
            limit_assumed=not given,
        )
        if never:
            check = replace(check, high=math.inf, status=Status.THIN, cause=cause)
        yield check
    if raising_phase(m).action == "raise":
        cold, hot = hardest_margins(m).resting, hot_margins(m).resting
        # A drum that turned before the rope took up the load has lifted it though it does not start
        # it.
        started = history.lifted and cold < 1
        yield _check(
            CheckKey.START_COLD,
            "",
            cold,
            known,
            hard=None if started else 1.0,
            required=START_REQUIRED,
        )
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


def _part_checks(
    history: History, parts: tuple[PartRow, ...], found: Jam | None
) -> Iterator[Check]:
    missing = undescribed(history.machine)
    worst = min(parts, key=lambda row: (row.status.rank, row.factor / row.required), default=None)
    yield _check(
        CheckKey.PARTS, "", worst.factor if worst else None, None, hard=1.0,
        required=worst.required if worst else None, missing=missing,
        about=worst.label if worst else "",
        ends=(worst.low, worst.high) if worst else (None, None),
        failed=worst is not None and worst.status is Status.FAILS,
    )  # fmt: skip
    if found is not None and found.parts:
        first = found.parts[0]
        ends = min(part.low for part in found.parts), first.high
        yield _check(
            CheckKey.JAM, "", first.dynamic, None, required=1.0, missing=missing,
            about=first.label, ends=ends,
        )  # fmt: skip


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
        yield _check(
            CheckKey.SUPPLY, "", None, None, side=Side.MOST, missing=("supply.current_limit",)
        )
    if battery or math.isfinite(source.capacity):
        charge = float(history.record["charge"][-1])
        finite = math.isfinite(source.capacity)
        ratio = source.capacity / charge if finite and charge > 0 else None
        down, up = (1.0, 1.0) if known is None else known.span(CheckKey.BATTERY)
        yield _check(
            CheckKey.BATTERY, "", ratio, None, hard=1.0, required=BATTERY_REQUIRED,
            missing=() if finite else ("supply.capacity",),
            ends=(None, None) if ratio is None or known is None else (ratio / up, ratio / down),
        )  # fmt: skip


def energy_check(history: History) -> Check:
    """The energy balance, and whether the computation came to its end.

    Parameters
    ----------
    history : History
    """
    value = history.record.energy.error / ENERGY_LIMIT
    status = Status.OK if history.trusted else Status.FAILS
    return Check(CheckKey.ENERGY, "ratio", "", value, None, None, Side.MOST, 1.0, 1.0, status)


# --- holding ----------------------------------------------------------------------------------


def hold_of(
    m: Machine, known: Ranges | None
) -> dict[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]:
    """Share of the load's torque that drives the motors back: middle, least and most, by check.

    Parameters
    ----------
    m : Machine
    known : Ranges or None
    """
    if known is not None:
        return dict(known.hold)
    found = hold_shares(stack_machines([m]))
    shares = {key: HoldShare(*(float(value[0]) for value in pair)) for key, pair in found.items()}
    return {key: (share, share, share) for key, share in shares.items()}


def holding_of(
    history: History, hold: dict[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]
) -> Holding:
    """What holds the load with the power off.

    Parameters
    ----------
    history : History
    hold : dict
        By `hold_of`.
    """
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
    hold = hold_of(m, known)
    held = holding_of(history, hold)
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
        span = (low, high) if known is not None else (None, None)
        yield Check(
            key,
            "ratio",
            "",
            value,
            span[0],
            span[1],
            Side.LEAST,
            hard,
            required,
            status,
            (),
            held.value,
            cause,
        )
