"""The numbers of a run: speed, currents, energy, efficiency; the status of a value by its limits;
and every part with its capacity, its largest demand, and how the two stand."""

import math
from collections.abc import Sequence
from functools import reduce
from typing import Any

import numpy as np

from winchsim.assessment.history import History, Span, carried_on
from winchsim.assessment.kinds import (
    CheckKey,
    Finding,
    Jam,
    PartRow,
    Reading,
    ReadingKey,
    Side,
    Status,
)
from winchsim.assessment.ranges import Key, Ranges
from winchsim.elementwise import plain
from winchsim.frozen import replace
from winchsim.model import AtLink, Event, Machine
from winchsim.physics.chain import likely_branch
from winchsim.physics.load import inertia
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind, LinkState, link_state

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
    lighter, heavier = rotors_taken(m, -1)
    down, up = max(least, 0.0) / middle, most / middle
    slower = math.hypot(math.log(down), math.log(heavier)) if down else math.inf
    return math.exp(-slower / 2), math.exp(math.hypot(math.log(up), math.log(lighter)) / 2)


def rotors_taken(m: Machine, way: int) -> tuple[float, float]:
    """Inertia of all that turns over that with the lightest rotors, and that with the heaviest over
    it; 1 where their own is given. [-]

    Parameters
    ----------
    m : Machine
    way : int
        1 raising, -1 running back, the load's mass included.

    Notes
    -----
    ``J w' = p T r - c`` and ``T = m (g - a)``: with the load's mass, J is that of the train driven
    back, plus ``p m r²``. Own derivation.
    """
    rows = {row.path: row for row in m.assumed}
    at = likely_branch(m.chain if way > 0 else m.braked_chain, way)
    lever = m.layers[max(m.layers_used)].radius / m.line.falls
    whole = at.inertia + (at.per_torque * inertia(m.body) * lever**2 if way < 0 else 0.0)
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


# --- status


def ranks_of(value: Any, low: Any, high: Any, side: Side, hard: Any, required: Any) -> np.ndarray:
    """Status of each of many values with their ranges, as a rank.

    Parameters
    ----------
    value, low, high : ndarray
        NaN for a value that is missing.
    side : Side
    hard, required : float or ndarray or None
        Limit that must not be missed, and value from which on it is ok; None or NaN for none.
    """
    sign = 1 if side is Side.LEAST else -1
    worst = low if side is Side.LEAST else high
    hard, required = (np.nan if limit is None else limit for limit in (hard, required))
    rank = np.full(np.shape(value), Status.OK.rank)
    rank[sign * worst < sign * np.where(np.isnan(hard), required, hard)] = Status.THIN.rank
    rank[sign * value < sign * required] = Status.THIN.rank
    rank[sign * value < sign * hard] = Status.FAILS.rank
    rank[np.isnan(value)] = Status.NOT_CHECKED.rank
    return rank


def grade(
    value: float | None,
    low: float | None,
    high: float | None,
    side: Side,
    hard: float | None,
    required: float | None,
) -> Status:
    """Status of one value as `ranks_of` has it; None for a value that is missing, or a range that
    was not computed."""
    if value is None:
        return Status.NOT_CHECKED
    least, most = (value if end is None else end for end in (low, high))
    return list(Status)[int(ranks_of(value, least, most, side, hard, required))]


# --- parts


def part_rows(record: Record, ranges: Ranges | None) -> tuple[PartRow, ...]:
    """Every part of a run, the least share of its required factor first.

    Parameters
    ----------
    record : Record
    ranges : Ranges or None
        What is assumed about the demands; left out, only the capacities' ranges count.
    """
    m = record.machine
    # With only the rope's pull on the drum, its demands are known also while the train is held.
    straight = m.drum_element + 1 == len(m.chain.elements)
    settled = {"tension", "pull", "drum"} if straight else {"tension"}
    broke = {event.target.index for event in record.events if isinstance(event.target, AtLink)}
    further, rows = carried_on(record) if broke else record, []
    for asked in record.demands:
        limit, share, gone = m.links[asked.link], asked.share, asked.link in broke
        if gone:
            whole = further.demands[asked.link].share * further.machine.links[asked.link].bears
            share = max(share, whole / limit.bears)
        capacity, factor = limit.strength, 1 / share if share > 0 else math.inf
        low, high = factor_range(
            factor, capacity.low, capacity.value, capacity.high, limit.kind, ranges
        )
        status = Status.FAILS if gone else grade(factor, low, high, Side.LEAST, 1.0, limit.required)
        state = (
            LinkState.BREAKS
            if gone and high <= factor
            else link_state(factor, low, high, limit.required)
        )
        rows.append(
            PartRow(
                limit.label,
                limit.kind.value,
                limit.where,
                capacity.unit,
                capacity.value,
                capacity.low,
                capacity.high,
                capacity.basis,
                share * capacity.value,
                factor,
                low,
                high,
                limit.required,
                status,
                state,
                bound=asked.bound and limit.channel not in settled,
                time=asked.time,
                height=asked.height,
            )
        )
    return tuple(sorted(rows, key=lambda row: row.factor / row.required))


def worst_part(parts: Sequence[PartRow]) -> PartRow | None:
    """The part with the worst status, of these that with the least share of its required factor."""
    return min(parts, key=lambda row: (row.status.rank, row.factor / row.required), default=None)


def factor_range(
    factor: float,
    low: Any,
    value: float,
    high: Any,
    key: Key,
    ranges: Ranges | None,
    *more: tuple[float, float],
) -> tuple[Any, Any]:
    """Range of a factor from those of its capacity and its demand: root of the sum of squares.

    Parameters
    ----------
    factor : float
    low, value, high : float
        Capacity with its range; its ends may be arrays, as those of the ranges.
    key : LinkKind or CheckKey
        Whose demand it is.
    ranges : Ranges or None
    *more : tuple of float
        What else the factor may come down to and up to, over its own. [-]
    """
    if not math.isfinite(factor) or not value > 0:
        return factor, factor
    span = (1.0, 1.0) if ranges is None else ranges.span(key)
    ends = zip((np.divide(low, value), np.divide(high, value)), span, *more, strict=True)
    with np.errstate(divide="ignore"):  # a capacity may have no low end
        down, up = (reduce(np.hypot, map(np.log, shares)) for shares in ends)
    return plain(factor * np.exp(-down)), plain(factor * np.exp(up))


def jam_in_range(found: Jam, known: Ranges, rotors: tuple[float, float]) -> Jam:
    """A jam whose parts have the ranges of their capacities, with those of their demands too.

    Parameters
    ----------
    found : Jam
    known : Ranges
    rotors : tuple of float
        What is stopped over what it is with the lightest rotors, and with the heaviest over what it
        is: `rotors_taken`. [-]

    Notes
    -----
    What the rotors add to a static demand S goes with the root of the energy that is stopped: D² =
    S² + E. Own derivation, head of `assessment/jam.py`.
    """
    lighter, heavier = rotors
    parts = []
    for part in found.parts:
        still = (part.dynamic / part.static) ** 2
        heavy, light = ((still + (1 - still) * by) ** -0.5 for by in (heavier, 1 / lighter))
        capacity = part.low, part.dynamic, part.high
        low, high = factor_range(part.dynamic, *capacity, CheckKey.JAM, known, (heavy, light))
        parts.append(replace(part, low=low, high=high))
    return replace(found, parts=tuple(parts))


def undescribed(machine: Machine) -> tuple[str, ...]:
    """Paths without which a reduction of the train has no capacity that could be checked.

    Parameters
    ----------
    machine : Machine
    """
    known = {
        link.where
        for link in machine.links
        if link.kind.is_tooth or link.kind is LinkKind.STAGE_LIMIT
    }
    return tuple(
        dict.fromkeys(
            f"{mesh.path}.{'torque_limit' if mesh.pinion_teeth is None else 'module'}"
            for mesh in machine.meshes
            if mesh.path not in known
        )
    )
