"""The same checks for many candidates at once, from the quasi-static model.

A study asks the same as `assess` does of one run, with the limits, required values and statuses of
`grade`; ranges are those of one build, carried over to its neighbours as factors.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from winchsim.assessment.checks import BATTERY_REQUIRED, START_REQUIRED
from winchsim.assessment.jam import stops
from winchsim.assessment.kinds import CheckKey, Side, Status
from winchsim.assessment.margins import BRAKE_REQUIRED, brake_margin
from winchsim.assessment.ranges import HoldShare, Ranges, hold_shares
from winchsim.assessment.readings import CONTINUOUS_SHARE, factor_range, ranks_of, undescribed
from winchsim.elementwise import by_value
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, in_force
from winchsim.model import Machine
from winchsim.slow import Hold, Lifts, SlowEnd, Variants
from winchsim.slow.lifts import radii_used
from winchsim.strength import line
from winchsim.strength.link import LinkKind

HELD = (CheckKey.HOLD, CheckKey.HOLD_DISTURBED)
"""Checks of holding."""


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
    return (
        *_way(variants.inputs, lifts, known),
        *_holding(lifts, more, known),
        _column(
            CheckKey.WINDING,
            lifts.tight_winding,
            known,
            side=Side.MOST,
            hard=lifts.tight_limit,
            required=lifts.tight_limit,
            ambient=variants.inputs.settings.ambient,
        ),
        *_parts(lifts, more, spread, known),
        *_rope_checks(variants, lifts),
        *_supply_checks(variants, lifts, known),
    )


def _way(inputs: Inputs, lifts: Lifts, known: Ranges | None) -> list[CheckColumn]:
    """Whether the target is reached, in time, and whether the motors start the load."""
    cold = lifts.stall_margin_cold
    hot = _column(CheckKey.START_HOT, lifts.stall_margin_hot, known, required=1.0)
    target = _column(CheckKey.TARGET, lifts.lifted.astype(float), None, hard=0.5, required=0.5)
    if known is not None and known.causes:  # with the losses that are possible it may not be raised
        target.rank[lifts.lifted & (hot.low < 1)] = Status.THIN.rank
    raises = [p for p in inputs.phase if p.action == "raise" and p.until == "top"]
    # From the floor a drum that turns already lifts what it does not start, as `find_checks` has
    # it.
    turns = lifts.lifted & (cold < 1) & (not inputs.load.start_height > 0)
    hard = np.where(turns, np.nan, 1.0)
    return [
        target,
        *(
            _column(CheckKey.LIFT_TIME, lifts.lift_time, known, side=Side.MOST, hard=time)
            for time in [p.time for p in raises if p.time is not None][:1]
        ),
        _column(CheckKey.START_COLD, cold, known, hard=hard, required=START_REQUIRED),
        hot,
    ]


def _rope_checks(variants: Variants, lifts: Lifts) -> list[CheckColumn]:
    """Bend of the rope on the drum, and its room there."""
    fits = (variants.at("drum.flange_diameter").astype(float) > 0) | (lifts.layers == 1)
    return [
        _column(
            CheckKey.ROPE_BEND,
            variants.at("drum.diameter") / variants.at("rope.diameter"),
            None,
            required=by_value(
                lambda name: line.bend(variants.inputs.ropes[name], 1.0, 1.0).low,
                variants.at("rope.material"),
            ),
        ),
        _column(
            CheckKey.DRUM_CAPACITY,
            np.where(lifts.end == SlowEnd.OVERFLOW, 0.0, np.where(fits, 1.0, np.nan)),
            None,
            hard=1.0,
            required=1.0,
        ),
    ]


def _supply_checks(variants: Variants, lifts: Lifts, known: Ranges | None) -> Iterator[CheckColumn]:
    """Load of the motors in continuous running, and charge of a battery, of one that runs empty by
    the way that it lasts for."""
    load = lifts.motor_load / CONTINUOUS_SHARE
    yield _column(CheckKey.CONTINUOUS_CURRENT, load, known, side=Side.MOST, required=1.0)
    if (capacity := in_force(variants.inputs.supply).capacity) is not None:
        way = lifts.height / variants.at("load.height").astype(float)
        whole = np.where(lifts.end == SlowEnd.BATTERY_EMPTY, way, 1.0)
        with np.errstate(divide="ignore"):  # a lift that does not start draws none
            lasts = capacity / np.where(lifts.charge > 0.0, lifts.charge / whole, 0.0)
        yield _column(CheckKey.BATTERY, lasts, None, hard=1.0, required=BATTERY_REQUIRED)


def _column(
    key: CheckKey,
    value: np.ndarray,
    known: Ranges | None,
    *,
    side: Side = Side.LEAST,
    hard: Any = None,
    required: Any = None,
    ambient: float | None = None,
) -> CheckColumn:
    low, high = (value, value) if known is None else known.around(key, value, ambient)
    return graded(key, side, value, low, high, hard, required)


def graded(
    key: CheckKey, side: Side, value: Any, low: Any, high: Any, hard: Any, required: Any
) -> CheckColumn:
    """A check with the status of each candidate."""
    return CheckColumn(
        key,
        side,
        value,
        low,
        high,
        hard,
        required,
        ranks_of(value, low, high, side, hard, required),
    )


def measured(variants: Variants) -> dict[str, Any]:
    """What the lifts do not carry: holding, and shares of the parts in a jam.

    Parameters
    ----------
    variants : Variants
    """
    found: dict[Any, Any] = {
        **{key: np.full((2, variants.size), np.nan) for key in HELD},
        **{name: np.full(variants.size, np.nan) for name in ("undescribed", "braked", "pawl")},
        "jams": [],
    }
    for rows, batch in variants.batches:
        m = batch.machine
        found["jams"].append((rows, [link.kind for link in m.links], stops(batch).dynamic))
        found["undescribed"][rows] = bool(undescribed(m))
        found["braked"][rows], found["pawl"][rows] = brake_margin(m, radii_used(batch)[0]), m.pawl
        for key, pair in hold_shares(batch).items():
            found[key][:, rows] = pair
    return found


def _jams(
    more: Mapping[Any, Any],
    spread: Mapping[LinkKind, tuple[Any, Any]],
    known: Ranges | None,
    size: int,
) -> np.ndarray:
    """Least factor of any part in a jam, and its ends."""
    found = np.full((3, size), np.nan)
    for rows, kinds, shares in more["jams"]:
        ends = [
            [
                np.broadcast_to(end, size)[rows]
                for end in (1.0, *factor_range(1.0, low, 1.0, high, CheckKey.JAM, known))
            ]
            for kind in kinds
            for low, high in [spread.get(kind, (1.0, 1.0))]
        ]
        factors = np.reshape(ends, (len(kinds), 3, shares.shape[1]))
        with np.errstate(divide="ignore"):
            found[:, rows] = 1 / np.max(shares[:, None] / factors, axis=0, initial=0.0)
    return found


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
    kept, factors = lifts.kind_factors_over_required.T, lifts.kind_factors.T
    with np.errstate(invalid="ignore"):
        required = factors / kept
    ends = [
        factor_range(1.0, low, 1.0, high, kind, known)
        for kind in LinkKind
        for low, high in [spread.get(kind, (1.0, 1.0))]
    ]
    lows, highs = (
        np.array([row * pair[side] for row, pair in zip(factors, ends, strict=True)])
        for side in (0, 1)
    )
    at = np.argmin(kept, axis=0), np.arange(len(lifts))
    finite = np.isfinite(factors[at])
    value, asked = np.where(finite, factors[at], np.nan), np.where(finite, required[at], 1.0)
    low, high, jam = np.min(lows, axis=0), highs[at], _jams(more, spread, known, len(lifts))
    columns = [
        graded(CheckKey.PARTS, Side.LEAST, value, low, high, 1.0, asked),
        graded(CheckKey.JAM, Side.LEAST, jam[0], jam[1], jam[2], None, 1.0),
    ]
    for column in columns:
        partly = (more["undescribed"] == 1) & (column.rank == Status.OK.rank)
        column.rank[partly] = Status.NOT_CHECKED.rank
    return columns


def _holding(
    lifts: Lifts, more: Mapping[Any, np.ndarray], known: Ranges | None
) -> Iterator[CheckColumn]:
    """Holding by the share of the load's torque that drives the motors back; a margin as in
    `assess`.

    What the swing of the load after the stop sets going runs back, as it does in a full simulation.
    """
    braked, pawl = more["braked"] >= BRAKE_REQUIRED, more["pawl"] == 1
    for key in HELD:
        firm = (key is CheckKey.HOLD) | braked | (more[CheckKey.HOLD][0] > 0)
        hard, required = np.where(firm, 1.0, np.nan), np.where(braked, BRAKE_REQUIRED, 1.0)
        shifts = [np.zeros((2, 1))] * 3
        if known is not None:
            ends = [np.array([share.net, share.slope]) for share in known.hold[key]]
            shifts = [(end - ends[0]).reshape(2, -1) for end in ends]
        value, high, low = (
            np.where(pawl, np.inf, HoldShare(*(more[key] + shift)).margin) for shift in shifts
        )
        column = graded(key, Side.LEAST, value, low, high, hard, required)
        column.rank[~pawl & ~braked & (column.rank == Status.OK.rank)] = Status.THIN.rank
        if key is CheckKey.HOLD:
            column.rank[lifts.lifted & (lifts.holding == Hold.RUNS_BACK)] = Status.FAILS.rank
        yield column
