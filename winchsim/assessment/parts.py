"""The status of a value by its limits; and every part of a run with its capacity, its largest
demand, and how the two stand."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.assessment.history import carried_on
from winchsim.assessment.kinds import CheckKey, Jam, PartRow, Side, Status
from winchsim.assessment.ranges import Key, Ranges
from winchsim.elementwise import plain
from winchsim.frozen import replace
from winchsim.model import AtLink, Machine
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind, LinkState, link_state


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
    factor: float, low: Any, value: float, high: Any, key: Key, ranges: Ranges | None
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
    """
    if not math.isfinite(factor) or not value > 0:
        return factor, factor
    down, up = (1.0, 1.0) if ranges is None else ranges.span(key)
    with np.errstate(divide="ignore"):  # a capacity may have no low end
        lower = np.exp(-np.hypot(np.log(np.divide(low, value)), np.log(down)))
    upper = np.exp(np.hypot(np.log(np.divide(high, value)), np.log(up)))
    return plain(factor * lower), plain(factor * upper)


def jam_in_range(found: Jam, known: Ranges) -> Jam:
    """A jam whose parts have the ranges of their capacities, with those of their demands too.

    Parameters
    ----------
    found : Jam
    known : Ranges
    """
    ends = (
        factor_range(p.dynamic, p.low, p.dynamic, p.high, CheckKey.JAM, known) for p in found.parts
    )
    parts = (
        replace(part, low=low, high=high)
        for part, (low, high) in zip(found.parts, ends, strict=True)
    )
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
