"""Ranges of the results that come from what was assumed.

Assumed inputs that are wrong together form a cause. Each cause is taken to its low and to its high
end in the quasi-static model. Margins, factors, speeds and temperature rises are combined as
logarithms, the share of the load's torque that drives the motors back as it is; per side each cause
counts once, with its larger effect that way, and effects add as the root of the sum of squares. The
two causes that lower the starting margin most are also tried together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from winchsim.assessment.kinds import Cause, CheckKey, End, ReadingKey
from winchsim.assumption import Assumed
from winchsim.elementwise import larger, pick
from winchsim.errors import WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, with_value
from winchsim.model import Machine
from winchsim.model.build import rebuild
from winchsim.model.estimate import hanging_pulls
from winchsim.physics.chain import driven_back, shaft_ratios
from winchsim.slow import Batch, SlowEnd, lift_batch, stack_machines
from winchsim.slow.lifts import TINY, Lifts, radii_used, starting_margins
from winchsim.slow.stacking import stacks_by_shape
from winchsim.strength.link import LinkKind

Key = CheckKey | ReadingKey | LinkKind

_NAMES = (
    (r"stage\.\d+\.friction", "mesh_friction"),
    (r".*reverse_efficiency", "reverse_efficiency"),
    (r".*bearing.*|.*shaft_diameter", "bearings"),
    (r".*efficiency", "efficiency"),
    (r".*shaft_drag", "shaft_drag"),
    (r".*heat_capacity", "heat_capacity"),
    (r".*(winding_to_case|case_to_ambient)", "heat_resistance"),
    (r"settings\.breakaway", "breakaway"),
    (r"supply\..*", "supply"),
)
"""Cause of a path; of any other it is the last part of the path, like for like."""

ENDS = {
    SlowEnd.LIFTED: End.REACHED,
    SlowEnd.STALLED: End.STALLED,
    SlowEnd.STALLED_AT_LAYER_END: End.STALLED_AT_LAYER_END,
    SlowEnd.BATTERY_EMPTY: End.BATTERY_EMPTY,
    SlowEnd.TRIPPED: End.SUPPLY_TRIPPED,
    SlowEnd.OVERFLOW: End.DRUM_OVERFLOW,
    SlowEnd.BLOCKED: End.TOP_STOP,
    SlowEnd.LATE: End.LATE,
    SlowEnd.CANNOT_BE_BUILT: None,
}
"""End of a lift of the quasi-static model in words; None for a variant that cannot be built."""

AMBIENT = "settings.ambient"
"""Path of the temperature of the air."""

FAR = 1e4
"""Multiple of the load at which the line of the torque passed up is read. [-]"""

NEGLIGIBLE = 1e-4
"""Change of a logarithm that counts as none. [-]"""

LOGS: Mapping[Key, str] = {
    CheckKey.LIFT_TIME: "lift_time",
    CheckKey.START_COLD: "stall_margin_cold",
    CheckKey.START_HOT: "stall_margin_hot",
    CheckKey.BATTERY: "charge",
    CheckKey.JAM: "stall_factor",
    ReadingKey.SPEED: "last_speed",
    ReadingKey.PEAK_CURRENT: "peak_current",
    ReadingKey.PEAK_TENSION: "peak_tension",
    ReadingKey.ENERGY_IN: "energy_in",
    ReadingKey.CHARGE: "charge",
}
"""Results of the quasi-static model whose logarithm is combined."""

IF_ALIKE = frozenset(
    {
        CheckKey.WINDING,
        CheckKey.CONTINUOUS_CURRENT,
        ReadingKey.PEAK_CURRENT,
        ReadingKey.MEAN_CURRENT,
    }
)
"""Compared only with variants that end as the base does; the temperature of a winding where both
miss the target after the same time under power."""

ONLY_IF_LIFTED = frozenset({CheckKey.LIFT_TIME, CheckKey.BATTERY, *ReadingKey}) - IF_ALIKE
"""Compared only where both are lifted."""


@dataclass(frozen=True)
class HoldShare:
    """Share of the load's torque that drives the motors back; at most 0 holds. [-]

    Attributes
    ----------
    net : float or ndarray
        What is left of it behind all friction; negative where friction is stronger.
    slope : float or ndarray
        What each further part of the load adds; at most 0 locks.
    """

    net: Any
    slope: Any

    @property
    def margin(self) -> Any:
        """Pull that is just held over the pull of the load; infinite where the train locks. [-]"""
        return pick(self.slope > 0, 1 - self.net / larger(self.slope, TINY), math.inf)

    def compared_to(self, other: HoldShare) -> float:
        """Logarithm of the ratio of two margins; where one locks, difference of the net shares."""
        finite = 0 < self.margin < math.inf and 0 < other.margin < math.inf
        return math.log(self.margin / other.margin) if finite else other.net - self.net


@dataclass(frozen=True)
class Ranges:
    """What the assumed inputs leave open.

    Attributes
    ----------
    causes : tuple of Cause
        With an effect, largest first.
    groups : Mapping of str to str
        Cause of each assumed path that was varied.
    spans : Mapping of key to (float, float)
        Factors on each result at the low and at the high end. [-]
    hold : Mapping of CheckKey to (HoldShare, HoldShare, HoldShare)
        Middle, least and most driven back.
    worst : Mapping of key to (str, str)
        The cause that moves each result most down, and most up.
    never : str
        Cause that alone, or with another one, keeps the load from its target though the build as
        described reaches it; empty for none.
    instead : End or None
        How the lift ends with it; None without one.
    end : SlowEnd
        How the lift ends in the quasi-static model without a time limit of its own.
    air : tuple of float
        By how much the ambient temperature may be lower, and higher; 0 where it is given. [K]
    """

    causes: tuple[Cause, ...]
    groups: Mapping[str, str]
    spans: Mapping[Key, tuple[float, float]]
    hold: Mapping[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]
    worst: Mapping[Key, tuple[str, str]]
    never: str
    instead: End | None
    end: SlowEnd
    air: tuple[float, float]

    def span(self, key: Key) -> tuple[float, float]:
        """Factors on a result at the low and at the high end; 1 and 1 where nothing moves it."""
        return self.spans.get(key, (1.0, 1.0))

    def around(self, key: Key, value: Any, ambient: float | None = None) -> tuple[Any, Any]:
        """Low and high end of a result, floats or arrays.

        Parameters
        ----------
        key : Key
        value : float or ndarray
        ambient : float, optional
            Of a temperature, whose rise over this has the span; the air has a range of its own,
            which moves the temperature by as much. [°C]
        """
        down, up = self.span(key)
        if ambient is None:
            return value * down, value * up
        rise, (colder, warmer) = value - ambient, self.air
        return (
            value - ((rise * (1 - down)) ** 2 + colder**2) ** 0.5,
            value + ((rise * (up - 1)) ** 2 + warmer**2) ** 0.5,
        )


class _Variant(NamedTuple):
    """A build, with one cause at one end if it is not the build as described."""

    name: str
    side: str
    machine: Machine


def find_ranges(inputs: Inputs, machine: Machine, powered_for: float = math.inf) -> Ranges | None:
    """Ranges of a build; None where its programme does not raise.

    Parameters
    ----------
    inputs : Inputs
        Scenario of the build.
    machine : Machine
        Built from it.
    powered_for : float
        Time for which the first raise took power where it missed its target; infinite where it
        did not. [s]
    """
    raises = any(phase.action == "raise" for phase in machine.phases)
    return find_each([(inputs, machine)], powered_for)[0] if raises else None


def find_each(builds: Sequence[tuple[Inputs, Machine]], powered_for: float = 0.0) -> list[Ranges]:
    """Ranges of several builds at once, as `find_ranges` of each; their programmes are the same and
    raise."""
    variants = []
    for inputs, machine in builds:
        moved = [
            (name, end, _moved(inputs, machine, (rows, end)))
            for name, rows in group_causes(machine.assumed).items()
            for end in ("low", "high")
        ]
        own = [_Variant(name, end, made) for name, end, made in moved if made is not None]
        variants.append([_Variant("", "", machine), *own])
    ended, logs, hold = _run(
        builds[0][0], [variant.machine for own in variants for variant in own], powered_for
    )
    done, first = [], 0
    for (inputs, _), own in zip(builds, variants, strict=True):
        rows = slice(first, first + len(own))
        first = rows.stop
        each: Any = ({key: values[rows] for key, values in found.items()} for found in (logs, hold))
        done.append(_combined(inputs, own, ended[rows], *each))
    return done


def group_causes(rows: Sequence[Assumed]) -> dict[str, list[Assumed]]:
    """Assumed values with a range, by cause.

    Parameters
    ----------
    rows : sequence of Assumed
    """
    ranged = [
        row
        for row in rows
        if row.low is not None
        and row.high is not None
        and row.high > row.low
        and not UNMOVED.fullmatch(row.path)
    ]
    paths = {row.path for row in ranged}
    found: dict[str, list[Assumed]] = {}
    for row in ranged:
        if row.path.removesuffix(".efficiency") + ".friction" in paths:
            continue  # follows from that friction
        names = [name for pattern, name in _NAMES if re.fullmatch(pattern, row.path)]
        found.setdefault((*names, row.path.rpartition(".")[2])[0], []).append(row)
    return found


UNMOVED = re.compile(
    r"drum\.anchor_friction|factors\..*|.*(strength|stress|walls|infill|material).*"
    r"|rope\.(?!axial|damping|sheave).*|.*magnet_coefficient"
)
"""Paths that are not varied: ranges of a part's capacity, which the part itself carries, and values
whose ends move lift, starting and holding by less than 3 %."""


def _moved(
    inputs: Inputs, machine: Machine, *sides: tuple[Sequence[Assumed], str]
) -> Machine | None:
    """The winch with the values of some causes at one end each; None where none can be built."""
    try:
        for row, end in [(row, end) for rows, end in sides for row in rows]:
            inputs = with_value(inputs, row.path, end_of(row, end))
        return rebuild(inputs, machine)
    except WinchsimError:
        return None


def end_of(row: Assumed, end: str) -> float:
    """Value at an end of its cause, which counts by losses: an efficiency goes the other way.

    A hair inside, so that a part without any loss stays an element of the chain and all variants
    have one shape.

    Parameters
    ----------
    row : Assumed
        With a range.
    end : str
        ``low`` or ``high``.
    """
    low, high = float(row.low or 0.0), float(row.high or 0.0)
    down = (end == "high") is row.path.endswith("efficiency")
    return low + INSIDE * (high - low) if down else high - INSIDE * (high - low)


INSIDE = 1e-6
"""Share of a range by which its ends are kept inside it. [-]"""


# --- running ----------------------------------------------------------------------------------


def _run(
    inputs: Inputs, machines: Sequence[Machine], powered_for: float
) -> tuple[np.ndarray, dict[Key, np.ndarray], dict[CheckKey, np.ndarray]]:
    """How the quasi-static lifts of machines end, the logarithms of their results, NaN or infinite
    where there is none, and net shares and slopes of holding; one row for each."""
    n = len(machines)
    ended = np.empty(n, dtype=int)
    raises = [phase for phase in inputs.phase if phase.action == "raise"]
    # The time of a raise is no limit of a lift that a later one ends at the top.
    goes_on = raises and raises[0].until == "time" and any(p.until == "top" for p in raises)
    limited = not goes_on and any(phase.time is not None for phase in raises)
    logs: dict[Key, np.ndarray] = {}
    hold: dict[CheckKey, np.ndarray] = {}
    for places, batch in stacks_by_shape(dict(enumerate(machines))):
        batch = replace(batch, coarse=True, powered_until=powered_for)
        if not limited:
            batch = replace(batch, raising=replace(batch.raising, time=np.inf))
        lifts = lift_batch(batch)
        ended[places] = lifts.end
        for key, values in _logs(batch, lifts).items():
            logs.setdefault(key, np.empty(n))[places] = values
        for key, pair in hold_shares(batch).items():
            hold.setdefault(key, np.empty((n, 2)))[places] = np.transpose(pair)
    return ended, logs, hold


def _logs(batch: Batch, lifts: Lifts) -> dict[Key, np.ndarray]:
    with np.errstate(divide="ignore", invalid="ignore"):
        found = {key: np.log(getattr(lifts, name)) for key, name in LOGS.items()}
        mean = np.where(lifts.lifted, lifts.mean_current, lifts.standstill_current)
        found[ReadingKey.MEAN_CURRENT] = np.log(mean)
        # Behind a controller the motors' current is not that of the supply.
        load = np.where(lifts.lifted, lifts.motor_load, lifts.standstill_current)
        found[CheckKey.CONTINUOUS_CURRENT] = np.log(load)
        found[CheckKey.WINDING] = np.log(lifts.tight_winding - batch.machine.ambient)
        for place, kind in enumerate(LinkKind):
            found[kind] = np.log(lifts.kind_factors[:, place])
    return found


def hold_shares(batch: Batch) -> dict[CheckKey, tuple[Any, Any]]:
    """Net share and slope of the load's torque that drives the motors back from the top, by check.

    Parameters
    ----------
    batch : Batch

    Notes
    -----
    From the pull that is just held on, every torque of the chain runs back, so that what is passed
    up is a straight line; it is read far out, where no drag turns a torque's direction. What turns
    back from rest stays too where the losses of motion stop it: `hanging_pulls`. A load that cannot
    slide drives nothing back.
    """
    m, chain, n = batch.machine, batch.machine.braked_chain, batch.size
    pulls = hanging_pulls(m, m.top_travel)
    found = {}
    for key, tension, grip in (
        (CheckKey.HOLD, pulls.at_rest, m.breakaway),
        (CheckKey.HOLD_DISTURBED, pulls.sliding, 1.0),
    ):
        torque = np.maximum(tension * radii_used(batch)[0], 1e-12)
        whole = torque / shaft_ratios(chain)[0]
        once, twice = (driven_back(chain, torque * far, grip) for far in (FAR, 2 * FAR))
        slope = (twice - once) / (FAR * whole)
        net, slides = slope + (2 * once - twice) / whole, tension * np.ones(n) > 0
        found[key] = np.where(slides, net, -1.0), np.where(slides, slope, 0.0)
    moved, at_rest = found[CheckKey.HOLD_DISTURBED], found[CheckKey.HOLD]
    stops = HoldShare(*moved).margin > HoldShare(*at_rest).margin
    return {**found, CheckKey.HOLD: tuple(np.where(stops, moved, at_rest))}


# --- combining --------------------------------------------------------------------------------


def _combined(
    inputs: Inputs,
    variants: Sequence[_Variant],
    ended: np.ndarray,
    logs: Mapping[Key, np.ndarray],
    hold: Mapping[CheckKey, np.ndarray],
) -> Ranges:
    """Ranges from the results of variants, the first of which is the build as described."""
    base, others, lifted = variants[0], variants[1:], ended == SlowEnd.LIFTED
    groups = group_causes(base.machine.assumed)
    places = {v.name: [k for k, o in enumerate(others) if o.name == v.name] for v in others}
    spans, worst, moved = {}, {}, {}
    shares: dict[CheckKey, Any] = {}
    for key, values in logs.items():
        moves = _compared(key, values, lifted)
        if np.isfinite(moves).any():
            down, up = (_extremes(np.nan_to_num(moves), places, end) for end in (min, max))
            spans[key] = (math.exp(-_root(down.values())), math.exp(_root(up.values())))
            worst[key] = (_most(down), _most(up))
        if isinstance(key, CheckKey):
            moved[key] = moves
    for check, rows in hold.items():
        shares[check], most = _hold_range(rows, places)
        worst[check] = (most, "")
        given, *other = (HoldShare(*row) for row in rows.tolist())
        moved[check] = np.array([one.compared_to(given) for one in other])
    never, instead = _never(inputs, variants, ended, logs, spans) if lifted[0] else ("", None)
    return Ranges(
        tuple(_causes(groups, places, moved, lifted)),
        {row.path: name for name, rows in groups.items() for row in rows},
        spans,
        shares,
        worst,
        never,
        instead,
        SlowEnd(int(ended[0])),
        next((row.off for row in base.machine.assumed if row.path == AMBIENT), (0.0, 0.0)),
    )


def _compared(key: Key, values: np.ndarray, lifted: np.ndarray) -> np.ndarray:
    """Differences of a result's logarithm to that of the build as described; NaN where they do not
    compare."""
    with np.errstate(invalid="ignore"):
        moves = (values - values[0])[1:]
    known = np.isfinite(moves)
    if key in IF_ALIKE:
        known &= lifted[1:] == lifted[0]
    elif key in ONLY_IF_LIFTED:
        known &= lifted[1:] & lifted[0]
    return np.where(known, moves, math.nan)


def _extremes(moves: np.ndarray, places: Mapping[str, Sequence[int]], end: Any) -> dict[str, float]:
    """The least or the largest move of each cause, none at least."""
    return {name: end(0.0, *moves[own].tolist()) for name, own in places.items()}


def _hold_range(
    rows: np.ndarray, places: Mapping[str, Sequence[int]]
) -> tuple[tuple[HoldShare, ...], str]:
    """Share that drives the motors back, and its ends; the cause that raises it most.

    Friction in proportion to the load moves both numbers of a share, constant drag only the first:
    no margin of a single cause lies beyond those of the ends.
    """
    moves = rows[1:] - rows[0]
    margins = [HoldShare(*row).margin for row in rows.tolist()]
    shares = [HoldShare(*rows[0].tolist())]
    for end, sign, furthest in ((min, -1, max), (max, 1, min)):
        net, slope = (
            value + sign * _root(_extremes(column, places, end).values())
            for value, column in zip(rows[0].tolist(), moves.T, strict=True)
        )
        margin = furthest(margins)
        if math.isfinite(margin) and furthest(margin, HoldShare(net, slope).margin) == margin != 1:
            slope = net / (1 - margin)
        shares.append(HoldShare(net, slope))
    return tuple(shares), _most(_extremes(moves[:, 0], places, max))


def _causes(
    groups: Mapping[str, Sequence[Assumed]],
    places: Mapping[str, Sequence[int]],
    moved: Mapping[CheckKey, np.ndarray],
    lifted: np.ndarray,
) -> list[Cause]:
    """Causes that move a check or turn the end of the lift, the strongest first."""
    causes = []
    for name, own in places.items():
        known_ends = {
            key: [move for move in values[own].tolist() if math.isfinite(move)]
            for key, values in moved.items()
        }
        kept = {
            key: (found[0], found[-1])
            for key, found in known_ends.items()
            if found and max(map(abs, found)) > NEGLIGIBLE
        }
        turns = CheckKey.TARGET if np.any(lifted[1:][own] != lifted[0]) else None
        if kept or turns:
            causes.append(Cause(name, tuple(row.path for row in groups[name]), kept, turns))
    causes.sort(key=lambda c: -max((max(map(abs, ends)) for ends in c.effects.values()), default=0))
    return causes


def _root(effects: Any) -> float:
    return math.sqrt(sum(effect * effect for effect in effects))


def _most(effects: Mapping[str, float]) -> str:
    name = max(effects, key=lambda name: abs(effects[name]), default="")
    return name if name and abs(effects[name]) > NEGLIGIBLE else ""


def _never(
    inputs: Inputs,
    variants: Sequence[_Variant],
    ended: np.ndarray,
    logs: Mapping[Key, np.ndarray],
    spans: dict[Key, tuple[float, float]],
) -> tuple[str, End | None]:
    """The cause that keeps a load from its target that is lifted otherwise, and how it ends then;
    the worst two together widen the spans."""
    hot = np.nan_to_num(logs[CheckKey.START_HOT], nan=0.0, posinf=0.0, neginf=0.0)
    falls: dict[str, tuple[float, str]] = {}
    for variant, fall in zip(variants[1:], (hot - hot[0])[1:].tolist(), strict=True):
        falls[variant.name] = min(
            falls.get(variant.name, (0.0, variant.side)), (fall, variant.side)
        )
    two = sorted(falls, key=lambda name: falls[name])[:2]
    if len(two) == 2 and falls[two[1]][0] < -NEGLIGIBLE:
        machine = variants[0].machine
        groups = group_causes(machine.assumed)
        both = _moved(inputs, machine, *((groups[name], falls[name][1]) for name in two))
        margins = () if both is None else starting_margins(stack_machines([both]))
        for each, margin in zip((CheckKey.START_COLD, CheckKey.START_HOT), margins, strict=False):
            low, high = spans[each]
            spans[each] = (min(low, float(np.ravel(margin)[0]) / math.exp(logs[each][0])), high)
    low = math.exp(logs[CheckKey.START_HOT][0]) * spans.get(CheckKey.START_HOT, (1.0, 1.0))[0]
    missed = np.flatnonzero(ended != SlowEnd.LIFTED).tolist()
    if missed:
        # A stall before any other end, by what lowers the margin most.
        place = min(missed, key=lambda place: (ended[place], falls[variants[place].name]))
        return variants[place].name, ENDS[SlowEnd(int(ended[place]))]
    return (two[0], End.STALLED) if two and low < 1 else ("", None)
