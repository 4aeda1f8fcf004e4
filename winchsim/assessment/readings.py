"""The numbers of a run that everyone asks for: speed, currents, energy, efficiency."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.assessment.history import History, Span
from winchsim.assessment.kinds import CheckKey, Finding, Reading, ReadingKey
from winchsim.assessment.ranges import Ranges
from winchsim.model import Event, Machine
from winchsim.physics.chain import likely_branch
from winchsim.physics.load import inertia

QUANTITIES = {
    "m": "length",
    "m/s": "speed",
    "A": "current",
    "N": "force",
    "J": "energy",
    "": "ratio",
    "C": "charge",
    "s": "time",
    "°C": "temperature",
}
"""Name of the quantity of each SI unit."""


UNITS = {
    ReadingKey.HEIGHT: "m",
    ReadingKey.FINAL_HEIGHT: "m",
    ReadingKey.SPEED: "m/s",
    ReadingKey.PEAK_CURRENT: "A",
    ReadingKey.MEAN_CURRENT: "A",
    ReadingKey.PEAK_TENSION: "N",
    ReadingKey.ENERGY_IN: "J",
    ReadingKey.EFFICIENCY: "",
    ReadingKey.CHARGE: "C",
    ReadingKey.LOWERING_TIME: "s",
    ReadingKey.BACK_DRIVING_SPEED: "m/s",
}


def find_readings(history: History, ranges: Ranges | None) -> tuple[Reading, ...]:
    """Readings of a run, those that have no meaning for it left out.

    Parameters
    ----------
    history : History
    ranges : Ranges or None
    """
    record = history.record
    backs = history.run_backs()
    values = {
        ReadingKey.HEIGHT: float(record["height"].max()),
        ReadingKey.FINAL_HEIGHT: float(record["height"][-1]),
        ReadingKey.SPEED: steady_speed(history),
        ReadingKey.PEAK_CURRENT: float(record["current"].max()),
        ReadingKey.MEAN_CURRENT: mean_current(history),
        ReadingKey.PEAK_TENSION: float(record["tension"].max()),
        ReadingKey.ENERGY_IN: record.energy.source,
        ReadingKey.EFFICIENCY: efficiency(history),
        ReadingKey.CHARGE: float(record["charge"][-1]),
        ReadingKey.LOWERING_TIME: lowering_time(history),
        ReadingKey.BACK_DRIVING_SPEED: max((back.values["speed"] for back in backs), default=None),
    }
    known = {key: value for key, value in values.items() if value is not None}
    ends: dict[ReadingKey, Any] = {}
    if ranges is not None:
        spans = dict[Any, Any](ranges.spans)
        spans[ReadingKey.BACK_DRIVING_SPEED] = _back_driving_span(history.machine, ranges, backs)
        ends = {
            key: (value * spans[key][0], value * spans[key][1])
            for key, value in known.items()
            if spans.get(key)
        }
        least, most = ranges.span(ReadingKey.ENERGY_IN)
        share = known.get(ReadingKey.EFFICIENCY, 0.0)
        ends[ReadingKey.EFFICIENCY] = share / most, min(share / least, 1.0)
    return tuple(
        Reading(key, QUANTITIES[UNITS[key]], UNITS[key], value, *ends.get(key, ()))
        for key, value in known.items()
    )


def _back_driving_span(
    m: Machine, ranges: Ranges, backs: Sequence[Finding]
) -> tuple[float, float] | None:
    """Factors on the speed of a load that runs back: its energy is the share of its torque
    that friction leaves over, of which the rotors take their part. None are known where motors or
    a stretched rope drive it. [-]"""
    middle, least, most = (share.net for share in ranges.hold[CheckKey.HOLD_DISTURBED])
    if middle <= 0 or any(b.values["powered"] or b.values["stopped"] for b in backs):
        return None
    lighter, heavier = _rotors_taken(m)
    down, up = max(least, 0.0) / middle, most / middle
    slower = math.hypot(math.log(down), math.log(heavier)) if down else math.inf
    return math.exp(-slower / 2), math.exp(math.hypot(math.log(up), math.log(lighter)) / 2)


def _rotors_taken(m: Machine) -> tuple[float, float]:
    """What a load that runs back speeds up, over that with the lightest rotors, and with the
    heaviest over it; 1 where their inertia is given. [-]

    Notes
    -----
    ``J w' = p T r - c`` and ``T = m (g - a)``: with the load's mass, J is that of the train driven
    back, plus ``p m r²``. Own derivation.
    """
    at, rows = likely_branch(m.braked_chain, -1), {row.path: row for row in m.assumed}
    lever = m.layers[max(m.layers_used)].radius / m.line.falls
    whole = at.inertia + at.per_torque * inertia(m.body) * lever**2
    less = more = 0.0
    for unit, gain, (turned, *_) in zip(m.units, at.group_gains, at.groups, strict=True):
        if row := rows.get(f"motors.{unit.number}.rotor_inertia"):
            below, above = (share / float(row.value) for share in row.off)
            less, more = less + below * gain * turned, more + above * gain * turned
    return whole / (whole - less), 1 + more / whole


def lowering_time(history: History) -> float | None:
    """After how long a load that was lowered met the floor; None for never. [s]

    Parameters
    ----------
    history : History
    """
    landings = [(event, history.span_at(event.time - 1e-9)) for event in history.of(Event.LANDED)]
    times = (event.time - span.start for event, span in landings if span.descends)
    return next((time for time in times if time > 0), None)


def motor_load(history: History, index: int) -> float:
    """Mean current of a group's motors over the lift, over a quarter of their stall current. [-]

    Parameters
    ----------
    history : History
    index : int
        Group, from 0.
    """
    group, record = history.machine.groups[index], history.record
    powered = [time for s in history.spans if s.step.powered for time in (s.start, s.end)]
    start, end = history.lifting or (powered[0], powered[-1]) if powered else (0.0, 0.0)
    inside = (record.time >= start) & (record.time <= end)
    drawn = float(
        np.trapezoid(np.abs(record[f"motor_{group.number}_current"][inside]), record.time[inside])
    )
    return drawn / (end - start) / (CONTINUOUS_SHARE * group.stall_current) if end > start else 0.0


CONTINUOUS_SHARE = 0.25
"""Share of the stall current up to which a brushed motor runs continuously. [-] Common practice, no
published source."""


def mean_current(history: History) -> float:
    """Over the lift; over all time under power where the target was not reached. [A]"""
    record = history.record
    if history.lifting is not None:
        (start, end), times, drawn = history.lifting, record.time, record["charge"]
        return float(np.interp(end, times, drawn) - np.interp(start, times, drawn)) / (end - start)
    powered = sum(span.end - span.start for span in history.spans if span.step.powered)
    return float(record["charge"][-1]) / powered if powered > 0 else 0.0


def steady_speed(history: History) -> float | None:
    """Of the load along its path, over the middle half of the height; None where it did not get so
    far. [m/s]"""
    m, record = history.machine, history.record
    bottom, top = m.height(m.start_travel), m.height(m.top_travel)
    raising = next((span for span in history.spans if span.step.action == "raise"), None)
    if raising is None:
        return None
    height, time = record["height"][raising.samples], record.time[raising.samples]
    wanted = [bottom + share * (top - bottom) for share in (0.25, 0.75)]
    after = [int(np.argmax(height >= level)) for level in wanted]
    (h0, t0), (h1, t1) = (
        (level, np.interp(level, height[k - 1 : k + 1], time[k - 1 : k + 1]) if k else math.inf)
        for level, k in zip(wanted, after, strict=True)
    )
    return float((h1 - h0) / (m.body.rise * (t1 - t0))) if t0 < t1 < math.inf else None


def efficiency(history: History) -> float | None:
    """Gain of potential energy over the source's energy while raising; None if not lifted. [-]"""
    m, up = history.machine, history.up
    spent = sum(_source_energy(history, s) for s in history.spans if s.step.action == "raise")
    if up is None or not 0 < spent < math.inf:
        return None
    return m.body.mass * m.body.gravity * (up.height - m.height(m.start_travel)) / spent


def _source_energy(history: History, span: Span) -> float:
    """Energy that the source gave in a phase, from its charge. [J]"""
    record, step = history.record, span.step
    charge, current = record["charge"][span.samples], record["current"][span.samples]
    if step.ramp <= 0:
        return float(step.voltage * (charge[-1] - charge[0]))
    return float(
        np.trapezoid(
            (record["voltage"][span.samples] + history.machine.source.resistance * current)
            * current,
            record.time[span.samples],
        )
    )
