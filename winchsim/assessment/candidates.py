"""The same checks for many candidates at once, from the quasi-static model.

A study asks the same as `assess` does of one run, with the limits, required values and statuses of
`grade`; ranges are those of one build, carried over to its neighbours as factors.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.checks import BATTERY_REQUIRED, BRAKE_REQUIRED, START_REQUIRED
from winchsim.assessment.jam import stops
from winchsim.assessment.kinds import CheckKey, Side, Status
from winchsim.assessment.parts import RANKS, factor_range, ranks_of, undescribed
from winchsim.assessment.ranges import Ranges, hold_shares
from winchsim.assessment.readings import CONTINUOUS_SHARE
from winchsim.frozen import dataclass
from winchsim.model import Machine
from winchsim.slow import End, Hold, Lifts, Variants
from winchsim.strength import line
from winchsim.strength.link import LinkKind


@dataclass(frozen=True)
class CheckColumn:
    """One check of all candidates; arrays over them.

    Attributes
    ----------
    key : CheckKey
    side : Side
    value, low, high : ndarray
        In SI; NaN where there is none.
    hard, required : float or ndarray or None
        NaN where a candidate has none.
    rank : ndarray of int
        Status, as its rank: 0 fails, 1 thin, 2 not checked, 3 ok.
    """

    key: CheckKey
    side: Side
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    hard: Any
    required: Any
    rank: np.ndarray


def check_columns(
    variants: Variants,
    lifts: Lifts,
    spread: Mapping[LinkKind, tuple[Any, Any]],
    known: Ranges | None,
    more: Mapping[str, Any] | None = None,
) -> tuple[CheckColumn, ...]:
    """Checks of all candidates.

    Parameters
    ----------
    variants : Variants
    lifts : Lifts
        Their lifts.
    spread : Mapping of LinkKind to (float or ndarray, float or ndarray)
        The `capacities` of a machine like them.
    known : Ranges or None
        What is assumed about that build, its ends perhaps arrays; left out, only capacities have
        ranges.
    more : Mapping, optional
        What was `measured` of the variants, where that was done already.
    """
    more = measured(variants) if more is None else more
    inputs, ended = variants.inputs, np.where(lifts.lifted, 1.0, 0.0)
    cold, hanging = lifts.stall_margin_cold, inputs.load.start_height > 0
    # From the floor a drum that turns already lifts what it does not start, as `find_checks` has
    # it.
    limit = np.where(lifts.lifted & (cold < 1) & (not hanging), np.nan, 1.0)
    hot = _column(CheckKey.START_HOT, lifts.stall_margin_hot, known, required=1.0)
    target = _column(CheckKey.TARGET, ended, None, hard=0.5, required=0.5)
    if known is not None and known.causes:  # with the losses that are possible it may not be raised
        target.rank[lifts.lifted & (hot.low < 1)] = RANKS[Status.THIN]
    columns = [
        target,
        _column(CheckKey.START_COLD, cold, known, hard=limit, required=START_REQUIRED),
        hot,
        *_holding(lifts, more, known),
        _column(
            CheckKey.WINDING,
            lifts.tight_winding,
            known,
            side=Side.MOST,
            hard=lifts.tight_limit,
            required=lifts.tight_limit,
            origin=inputs.settings.ambient,
        ),
        *_parts(lifts, more, spread, known),
        _column(
            CheckKey.CONTINUOUS_CURRENT,
            lifts.motor_load / CONTINUOUS_SHARE,
            known,
            side=Side.MOST,
            required=1.0,
        ),
    ]
    given = [
        phase.time for phase in inputs.phase if phase.action == "raise" and phase.time is not None
    ]
    if given:
        columns.append(
            _column(CheckKey.LIFT_TIME, lifts.lift_time, known, side=Side.MOST, hard=given[0])
        )
    if inputs.supply.capacity is not None:
        ratio = inputs.supply.capacity / lifts.charge
        columns.append(_column(CheckKey.BATTERY, ratio, None, hard=1.0, required=BATTERY_REQUIRED))
    names = variants.at("rope.material").tolist()
    bends = {name: line.bend(inputs.ropes[name], 1.0, 1.0).low for name in set(names)}
    ratio = variants.at("drum.diameter") / variants.at("rope.diameter")
    required = np.array([bends[name] for name in names])
    columns.append(_column(CheckKey.ROPE_BEND, ratio, None, required=required))
    known_to_fit = variants.at("drum.flange_diameter").astype(float) > 0
    known_to_fit |= lifts.layers == 1
    fits = np.where(lifts.end == End.OVERFLOW, 0.0, np.where(known_to_fit, 1.0, np.nan))
    columns.append(_column(CheckKey.DRUM_CAPACITY, fits, None, hard=1.0, required=1.0))
    order = list(CheckKey)
    return tuple(sorted(columns, key=lambda column: order.index(column.key)))


def _column(
    key: CheckKey,
    value: np.ndarray,
    known: Ranges | None,
    *,
    side: Side = Side.LEAST,
    hard: Any = None,
    required: Any = None,
    origin: float = 0.0,
) -> CheckColumn:
    down, up = (1.0, 1.0) if known is None else known.span(key)
    low, high = origin + (value - origin) * down, origin + (value - origin) * up
    return graded(key, side, value, low, high, hard, required)


def graded(
    key: CheckKey, side: Side, value: Any, low: Any, high: Any, hard: Any, required: Any
) -> CheckColumn:
    """A check with the status of each candidate."""
    rank = ranks_of(value, low, high, side, hard, required)
    return CheckColumn(key, side, value, low, high, hard, required, rank)


def measured(variants: Variants) -> dict[str, Any]:
    """What the lifts do not carry: holding, and shares of the parts in a jam.

    Parameters
    ----------
    variants : Variants
    """
    names = (
        "hold", "hold_slope", "moving", "moving_slope", "braked", "pawl", "undescribed",
    )  # fmt: skip
    found: dict[str, Any] = {name: np.full(variants.size, np.nan) for name in names}
    found["jams"] = []
    for rows, batch in variants.batches:
        m, shares = batch.machine, hold_shares(batch)
        found["hold"][rows], found["hold_slope"][rows] = shares[CheckKey.HOLD]
        found["moving"][rows], found["moving_slope"][rows] = shares[CheckKey.HOLD_DISTURBED]
        found["jams"].append((rows, [link.kind for link in m.links], stops(batch).dynamic))
        found["undescribed"][rows] = bool(undescribed(m))
        found["braked"][rows] = m.braked_chain is not m.chain
        found["pawl"][rows] = m.pawl
    return found


def _jams(
    more: Mapping[str, Any], spread: Mapping[LinkKind, tuple[Any, Any]], size: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Least factor of any part in a jam, and its ends."""
    found = tuple(np.full(size, np.nan) for _ in range(3))
    for rows, kinds, shares in more["jams"]:
        ends = [np.ones_like(shares), np.ones_like(shares), np.ones_like(shares)]
        for place, kind in enumerate(kinds):
            for end, capacity in zip(ends[1:], spread.get(kind, (1.0, 1.0)), strict=True):
                end[place] = capacity[rows] if isinstance(capacity, np.ndarray) else capacity
        for column, capacity in zip(found, ends, strict=True):
            with np.errstate(divide="ignore"):
                column[rows] = 1 / np.max(shares / capacity, axis=0, initial=0.0)
    return found  # type: ignore[return-value]


def capacities(machine: Machine) -> dict[LinkKind, tuple[float, float]]:
    """Widest range of the capacities of each kind of part, as factors.

    Parameters
    ----------
    machine : Machine
    """
    found: dict[LinkKind, tuple[float, float]] = {}
    for link in machine.links:
        capacity, (low, high) = link.strength, found.get(link.kind, (1.0, 1.0))
        if capacity.value > 0:
            ends = capacity.low / capacity.value, capacity.high / capacity.value
            found[link.kind] = min(low, ends[0]), max(high, ends[1])
    return found


def _parts(
    lifts: Lifts,
    more: Mapping[str, Any],
    spread: Mapping[LinkKind, tuple[Any, Any]],
    known: Ranges | None,
) -> list[CheckColumn]:
    """The part with the least share of its required factor, and a jam, with their ranges."""
    every, kept, factors = (
        np.arange(len(lifts)),
        lifts.kind_factors_over_required,
        lifts.kind_factors,
    )
    with np.errstate(invalid="ignore"):
        required = factors / kept
    lows, highs = np.array(factors), np.array(factors)
    for place, kind in enumerate(LinkKind):
        low, high = spread.get(kind, (1.0, 1.0))
        down, up = factor_range(1.0, low, 1.0, high, kind, known)
        lows[place], highs[place] = factors[place] * down, factors[place] * up
    at = np.argmin(kept, axis=0)
    value, asked = factors[at, every], required[at, every]
    known_parts = np.isfinite(value)
    value, asked = np.where(known_parts, value, np.nan), np.where(known_parts, asked, 1.0)
    low, high = np.min(lows, axis=0), highs[at, every]
    jam, jam_low, jam_high = _jams(more, spread, len(lifts))
    columns = [
        graded(CheckKey.PARTS, Side.LEAST, value, low, high, 1.0, asked),
        graded(CheckKey.JAM, Side.LEAST, jam, jam_low, jam_high, None, 1.0),
    ]
    for column in columns:
        partly = (more["undescribed"] == 1) & (column.rank == RANKS[Status.OK])
        column.rank[partly] = RANKS[Status.NOT_CHECKED]
    return columns


def _holding(
    lifts: Lifts, more: Mapping[str, np.ndarray], known: Ranges | None
) -> list[CheckColumn]:
    """Holding by the share of the load's torque that drives the motors back; a margin as in
    `assess`.

    What the swing of the load after the stop sets going runs back, as it does in a full simulation.
    """
    columns = []
    braked, pawl = more["braked"] == 1, more["pawl"] == 1
    for key, net, slope in (
        (CheckKey.HOLD, more["hold"], more["hold_slope"]),
        (CheckKey.HOLD_DISTURBED, more["moving"], more["moving_slope"]),
    ):
        shifts = [(0.0, 0.0)] * 3
        if known is not None:
            middle = known.hold[key][0]
            shifts = [(end.net - middle.net, end.slope - middle.slope) for end in known.hold[key]]
        margins = [np.where(pawl, np.inf, _margin(net + a, slope + b)) for a, b in shifts]
        value, high, low = margins
        firm = (key is CheckKey.HOLD) | braked | (more["hold"] > 0)
        hard, required = np.where(firm, 1.0, np.nan), np.where(braked, BRAKE_REQUIRED, 1.0)
        rank = ranks_of(value, low, high, Side.LEAST, hard, required)
        rank[~firm & (low < 1)] = RANKS[Status.THIN]
        by_friction = ~pawl & ~braked & (rank == RANKS[Status.OK])
        rank[by_friction] = RANKS[Status.THIN]
        if key is CheckKey.HOLD:
            rank[lifts.lifted & (lifts.holding == Hold.RUNS_BACK)] = RANKS[Status.FAILS]
        columns.append(CheckColumn(key, Side.LEAST, value, low, high, hard, required, rank))
    return columns


def _margin(net: np.ndarray, slope: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(slope > 0, 1 - net / slope, np.inf)


# --- choosing


def changeable(columns: Sequence[CheckColumn]) -> frozenset[CheckKey]:
    """Checks that a question can change: those whose value differs between its candidates.

    Parameters
    ----------
    columns : sequence of CheckColumn
    """
    found = set()
    for column in columns:
        values = column.value[np.isfinite(column.value)]
        if (len(values) and np.ptp(values) > 1e-9 * np.max(np.abs(values))) or len(
            set(column.rank)
        ) > 1:
            found.add(column.key)
    return frozenset(found)


def fails(columns: Sequence[CheckColumn]) -> np.ndarray:
    """Whether a check of each candidate fails."""
    return np.any([column.rank == RANKS[Status.FAILS] for column in columns], axis=0)


def thin_counts(columns: Sequence[CheckColumn], keys: Collection[CheckKey]) -> np.ndarray:
    """Thin checks of each candidate among some keys."""
    rows = [column.rank == RANKS[Status.THIN] for column in columns if column.key in keys]
    return np.sum(rows, axis=0) if rows else np.zeros(len(columns[0].rank), dtype=int)


def choose_row(
    columns: Sequence[CheckColumn], aim: np.ndarray, among: np.ndarray | None = None
) -> int | None:
    """Candidate to take: never one with a failing check, then the fewest thin checks that the
    question can change, then the least of the aim; None where all fail.

    Parameters
    ----------
    columns : sequence of CheckColumn
    aim : ndarray
        What the user wants least of.
    among : ndarray of bool, optional
        Candidates that may be taken.
    """
    bad = fails(columns) if among is None else fails(columns) | ~among
    if bad.all():
        return None
    thin = thin_counts(columns, changeable(columns))
    return int(np.lexsort((aim, thin, bad))[0])
