"""Findings about motors and supply, and about what was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from winchsim.model import AtGroup, Event
from winchsim.quantity_text import quantity
from winchsim.verdict.case import Case
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import after, counted, duration, given, group_name, length, listed, percent

SLOWED_SHARE = 0.05
"""Share of a raise under the current limit from which on it is a caution. [-] Own assumption."""

FAR_BELOW = 0.5
"""Share of the nominal voltage below which a motor without brush drop and speed-dependent drag is modelled poorly. [-]"""


def overheated(case: Case) -> Iterator[Finding]:
    """Windings that passed their limit, each group with when and how hot."""
    for index, group in enumerate(case.machine.groups):
        winding = case.record[f"motor_{group.number}_winding"]
        peak = float(winding.max())
        if peak <= group.winding_limit + 1e-3:  # a stall is cut off there: that is the stall's finding
            continue
        event = next((e for e in case.history.of(Event.HOT) if e.target == AtGroup(index)), None)
        k = int(np.argmax(winding > group.winding_limit)) if event is None else case.history.at(event.time)
        time, height = float(case.record.time[k]), float(case.record["height"][k])
        text = (
            f"The windings of {group_name(case.machine, index)} pass their limit of {quantity(group.winding_limit, '°C')} "
            f"after {duration(time)} and reach {quantity(peak, '°C')}."
        )
        yield Finding(
            FindingKind.MOTOR_OVERHEATED, Severity.DANGER, text, time, height, peak, group.winding_limit, "°C",
            "More motors, a higher ratio, less load, or pauses to cool.", f"motors.{group.number}",
        )  # fmt: skip


def supply_limited(case: Case) -> Iterator[Finding]:
    """A supply that held its current limit while raising: a note at the start, a caution where it slows the lift."""
    record = case.record
    for span in case.history.spans:
        limit = span.step.current_limit
        if span.step.action != "raise" or not math.isfinite(limit):
            continue
        at_limit = record["current"][span.samples] >= limit * (1 - 1e-6)
        time = record.time[span.samples]
        both = at_limit[1:] & at_limit[:-1]
        lasts = float(np.sum(np.diff(time)[both]))
        if lasts <= 0:
            continue
        whole = span.end - span.start
        slows = lasts > SLOWED_SHARE * whole
        text = f"The supply limits itself to {quantity(limit, 'A')} for {duration(lasts)} of the {duration(whole)} of raising"
        text += ", which slows the lift." if slows else ", while the motors start."
        yield Finding(
            FindingKind.SUPPLY_LIMITED, Severity.CAUTION if slows else Severity.NOTE, text,
            float(time[int(np.argmax(at_limit))]), None, lasts, None, "s",
            "A stronger supply, or a higher current limit, if the links bear it." if slows else "", "supply.current_limit",
        )  # fmt: skip
        return


def battery_empty(case: Case) -> Iterator[Finding]:
    """A battery that gave out."""
    event = case.record.first(Event.EMPTY)
    if event is not None:
        text = f"The battery is empty {after(event.time)}, with the load at {length(event.height)}."
        yield Finding(
            FindingKind.BATTERY_EMPTY, Severity.CAUTION, text, event.time, event.height,
            float(case.record["charge"][case.history.at(event.time)]), case.machine.source.capacity, "C",
            "A larger battery, or a full one.", "supply.capacity",
        )  # fmt: skip


def far_below_nominal(case: Case) -> Iterator[Finding]:
    """Motors that run so far below their nominal voltage that the plain motor law is off."""
    highest = max((abs(span.step.voltage) for span in case.history.spans), default=0.0)
    for group in case.machine.groups:
        nominal = group.fit.voltage
        plain = group.motor.brush_drop == 0 and group.motor.drag_slope == 0
        if plain and 0 < highest < FAR_BELOW * nominal:
            text = (
                f"The motors of group {group.number} run at {percent(highest / nominal)} of their nominal "
                f"{given(nominal, 'V')}: without brush drop and speed-dependent drag their speed is off by several percent, "
                "at a quarter of the voltage by a fifth."
            )
            yield Finding(
                FindingKind.FAR_BELOW_NOMINAL_VOLTAGE, Severity.CAUTION, text, value=highest, limit=FAR_BELOW * nominal,
                unit="V", help="Motor data measured at the voltage in use, or points that show the brush drop.",
                about=f"motors.{group.number}.voltage",
            )  # fmt: skip


def assumed(case: Case) -> Iterator[Finding]:
    """How much was assumed, and which of it is least certain."""
    rows = case.machine.assumed
    if not rows:
        return
    ranged = [row for row in rows if row.low is not None and row.high is not None and row.high > row.low]
    ranged.sort(key=lambda row: -(row.high - row.low) / max(abs(float(row.value)), 1e-300))  # type: ignore[operator]
    widest = listed([row.path for row in ranged[:3]])
    text = f"{counted(len(rows), 'value was', 'values were')} assumed, because the scenario does not give them"
    text += f"; the least certain: {widest}." if widest else "."
    yield Finding(
        FindingKind.ASSUMED, Severity.NOTE, text, value=float(len(rows)),
        help="Measure or look up the least certain ones first." if widest else "",
        about=ranged[0].path if ranged else "",
    )  # fmt: skip
