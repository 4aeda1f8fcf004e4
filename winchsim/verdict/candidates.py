"""Judging many slow lifts at once: which candidates work, how much room each limit leaves, and what bounds a band of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.quantity_text import number, quantity
from winchsim.slow import End, Lifts
from winchsim.strength.link import LINKS, LinkKind
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import duration, length, percent

USUAL_MARGIN = 1.2
"""Torque that the motors should have, over the torque that starts the load, where nothing else is asked for. [-] Own choice:
data sheets, friction and the battery are seldom better known."""


EQUAL = 0.05
"""Rooms that differ by less than this share count as equal. [-]"""

BARELY = 0.005
"""Share by which something may fall short of its limit and still be said to do so just. [-]"""


@dataclass(frozen=True)
class Wanted:
    """What is asked of a lift besides coming up.

    Attributes
    ----------
    margin : float
        Torque of the motors over the torque that starts the load on the hardest layer, cold, at least 1. [-]
    target_time : float or None
        Longest lift time. [s]
    """

    margin: float = USUAL_MARGIN
    target_time: float | None = None


@dataclass(frozen=True)
class Limit:
    """One limit, for every candidate.

    Attributes
    ----------
    name : str
        For people, without an article: ``margin to stall``.
    tag : str
        The same in a word or two, for a table.
    hard : bool
        Whether a candidate that breaks it does not work; otherwise it works, with a caution.
    room : ndarray
        How many times over the limit is kept; below 1 it is broken. [-]
    words : callable
        Clause that says how candidate number i stands to it, for people.
    kind : FindingKind or None
        What a recommended candidate that breaks it is found to do; None for a hard limit, which none of them breaks.
    """

    name: str
    tag: str
    hard: bool
    room: np.ndarray
    words: Callable[[int], str]
    kind: FindingKind | None = None


@dataclass(frozen=True)
class Judged:
    """Candidates with their standing.

    Attributes
    ----------
    lifts : Lifts
    limits : tuple of Limit
    works : ndarray of bool
        Whether no hard limit is broken.
    keeps_every_limit : ndarray of bool
        Whether no limit at all is broken.
    room : ndarray
        That of the nearest limit. [-]
    nearest_limit : ndarray of int
        Which limit that is.
    """

    lifts: Lifts
    limits: tuple[Limit, ...]
    works: np.ndarray
    keeps_every_limit: np.ndarray
    room: np.ndarray
    nearest_limit: np.ndarray

    def reason(self, index: int) -> str:
        """What stands against a candidate, the worst limit first; else what is nearest."""
        broken = [limit for limit in self.limits if limit.room[index] < 1]
        broken.sort(key=lambda limit: (not limit.hard, limit.room[index]))
        return broken[0].words(index) if broken else self.limits[self.nearest_limit[index]].words(index)

    def obstacle(self, index: int) -> Limit | None:
        """Hard limit that a candidate breaks worst; None where it works."""
        broken = [limit for limit in self.limits if limit.hard and limit.room[index] < 1]
        return min(broken, key=lambda limit: limit.room[index]) if broken else None

    def best(self, among: np.ndarray | None = None) -> int | None:
        """Candidate whose nearest limit has the most room, of those that work (and are among some); None for none.

        Where some break no limit at all, only they are looked at. Where the nearest limit leaves the same room, the next
        one decides.
        """
        allowed = self.works if among is None else self.works & among
        if not allowed.any():
            return None
        if (allowed & self.keeps_every_limit).any():
            allowed = allowed & self.keeps_every_limit
        # A limit that is the same for all must not decide: of equal rooms the next nearest limits are looked at.
        rooms = np.sort(_rooms(self.limits), axis=0)
        with np.errstate(divide="ignore"):
            steps = np.round(np.log(np.maximum(rooms, 1e-9)) / EQUAL)
        order = np.lexsort((*(-steps[::-1]), ~allowed))
        return int(order[0])


def without_snag(inputs: Inputs) -> tuple[Inputs, tuple[Finding, ...]]:
    """The scenario without its snag, which no part is chosen for, and a note where it had one."""
    if inputs.load.snag_height is None:
        return inputs, ()
    note = Finding(FindingKind.SNAGGED, Severity.NOTE, "The snag of the scenario is left out here: nothing is planned into it.")
    return replace(inputs, load=replace(inputs.load, snag_height=None)), (note,)


def judge_all(lifts: Lifts, machine: Machine, wanted: Wanted, more: Sequence[Limit] = ()) -> Judged:
    """Standing of every candidate.

    Parameters
    ----------
    lifts : Lifts
    machine : Machine
        One of them: gives the temperature of the air.
    wanted : Wanted
    more : sequence of Limit
        Limits of one study alone.

    Returns
    -------
    Judged
    """
    limits = (*_limits(lifts, machine, wanted), *more)
    rooms = _rooms(limits)
    hard = np.array([limit.hard for limit in limits])[:, None]
    broken = rooms < 1
    # The nearest is sought among hard and soft limits alike.
    return Judged(
        lifts, limits, ~np.any(broken & hard, axis=0), ~np.any(broken, axis=0), rooms.min(axis=0), rooms.argmin(axis=0)
    )


def _rooms(limits: Sequence[Limit]) -> np.ndarray:
    return np.array([np.where(np.isnan(limit.room), 0.0, limit.room) for limit in limits])


def _limits(lifts: Lifts, machine: Machine, wanted: Wanted) -> tuple[Limit, ...]:
    up = lifts.lifted
    bears, winding = lifts.tight_limit, lifts.tight_winding
    warm = np.maximum(winding - machine.ambient, 1e-6)
    stalled = np.isin(lifts.end, (End.STALLED, End.STALLED_AT_LAYER_END))
    # What has stalled is told as a stall, and not as a lack of margin.
    stall = np.minimum(np.minimum(lifts.least_margin, np.minimum(lifts.stall_margin_cold, lifts.stall_margin_hot)), 1.0) * (
        1 - 1e-6
    )
    found = [
        Limit("coming up at all", "not up", True, np.where(up | stalled, np.inf, 0.0), lambda i: not_up(lifts, i)),
        Limit("margin to stall", "stall", True, np.where(stalled, stall, lifts.stall_margin_cold / wanted.margin),
              lambda i: _margin_words(lifts, i, wanted)),
        Limit("margin with hot windings", "hot stall", True, lifts.stall_margin_hot, lambda i: (
            "with the windings at their limit the motors give "
            f"{_just_below(lifts.stall_margin_hot[i])} of the torque that starts it")),
        Limit("strength of the links", "strength", True, lifts.factor, lambda i: _strength_words(lifts, i)),
        Limit("winding temperature", "winding", True, np.where(up, (bears - machine.ambient) / warm, np.inf),
              lambda i: f"a winding gets {quantity(winding[i], '°C')}, its limit is {quantity(bears[i], '°C')}"),
    ]  # fmt: skip
    found += _required(lifts)
    if wanted.target_time is not None:
        target = wanted.target_time
        slow = np.where(up, target / np.where(up, lifts.lift_time, 1.0), 0.0)
        found.append(Limit("lift time", "time", True, slow, lambda i: _time_words(lifts, i, target)))
    return tuple(found)


def _required(lifts: Lifts) -> list[Limit]:
    """Required factors, one limit for each kind of link."""
    found = []
    for place, kind in enumerate(LinkKind):
        kept, factors, links = lifts.kind_factors_over_required[place], lifts.kind_factors[place], lifts.kind_short_links[place]
        if np.any(np.isfinite(kept)):
            words, said = partial(_factor_words, links, factors, kept), LINKS[kind]
            name, short = f"required factor of {said.plural}", FindingKind.LINK_BELOW_REQUIRED
            found.append(Limit(name, said.tag, False, kept, words, short))
    return found


def _factor_words(links: np.ndarray, factors: np.ndarray, kept: np.ndarray, i: int) -> str:
    required = f"{factors[i] / kept[i]:.4g}"
    if 1 - BARELY < kept[i] < 1:
        return f"the {links[i]} falls just short of the required factor of {required}"
    return (
        f"the {links[i]} has a factor of {number(factors[i], 3)}, {'below' if kept[i] < 1 else 'over'} the required {required}"
    )


def _margin_words(lifts: Lifts, i: int, wanted: Wanted) -> str:
    if lifts.end[i] == End.STALLED and not lifts.height[i] > 0:
        return "the motors stall before the load lifts off"
    if lifts.end[i] in (End.STALLED, End.STALLED_AT_LAYER_END):
        where = ", where a new layer of rope begins" if lifts.end[i] == End.STALLED_AT_LAYER_END else ""
        return f"the motors stall about {length(lifts.height[i], 2)} up{where}"  # to a fortieth of the height
    if 1 - BARELY < lifts.stall_margin_cold[i] / wanted.margin < 1:
        return f"the motors have just less than the required {wanted.margin:g} times the torque that starts it"
    than = "less than" if lifts.stall_margin_cold[i] < wanted.margin else "over"
    times = number(lifts.stall_margin_cold[i], 3)
    return f"the motors have {times} times the torque that starts it, {than} the required {wanted.margin:g}"


def _just_below(share: float) -> str:
    """A share as a percentage that does not round up to the whole."""
    return percent(min(share, 0.999) if share < 1 else share, 3)


def _strength_words(lifts: Lifts, i: int) -> str:
    link, factor = lifts.weakest[i], lifts.factor[i]
    if factor < 1:
        return f"the {link} breaks at {percent(factor, 3)} of its load" if factor < 1 - BARELY else f"the {link} just breaks"
    return f"the {link} bears {number(factor, 3)} times its load"


def _time_words(lifts: Lifts, i: int, target: float) -> str:
    time = lifts.lift_time[i]
    return f"it takes {duration(time)}, the target is {duration(target)}" if time == time else "it does not come up"


def not_up(lifts: Lifts, i: int) -> str:
    """Clause on why a load did not come up, motors that stall aside."""
    at = length(lifts.height[i]) if lifts.height[i] == lifts.height[i] else ""
    return {
        End.BATTERY_EMPTY: f"the battery is empty with the load {at} up",
        End.OVERFLOW: f"the rope climbs over the flange with the load {at} up",
        End.BLOCKED: f"something is in the way {at} up",
        End.LATE: f"it takes {duration(lifts.lift_time[i])}, longer than its phase or a day allows",
        End.CANNOT_BE_BUILT: "it cannot be built",
    }.get(End(int(lifts.end[i])), "it comes up")


# --- bands ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Edge:
    """One end of a band of candidates that work.

    Attributes
    ----------
    value : float
        Outermost value that works. [SI]
    beyond : float or None
        Nearest value that does not; None where the range ends with the band. [SI]
    limit : str
        Name of the limit that bounds it; empty where the range does.
    reason : str
        Clause on what happens beyond; empty where the range ends.
    digits : int
        Significant digits that the value is told with. [-]
    shown : float or None
        The value as it is told, rounded to so many digits into the band; None for as it is. [SI]
    """

    value: float
    beyond: float | None
    limit: str
    reason: str
    digits: int = 3
    shown: float | None = None

    @property
    def told(self) -> float:
        """The value to print. [SI]"""
        return self.value if self.shown is None else self.shown


@dataclass(frozen=True)
class Band:
    """Neighbouring candidates that all work.

    Attributes
    ----------
    low, high : Edge
    """

    low: Edge
    high: Edge


def bands(judged: Judged) -> list[tuple[int, int]]:
    """First and last of every run of neighbouring candidates that work, in the order of their ascending values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], judged.works, [False]]).astype(int)))
    return [(int(first), int(last) - 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def edge_of(values: np.ndarray, judged: Judged, inside: int, outside: int, problems: Mapping[int, str]) -> Edge:
    """End of a band between two neighbouring candidates.

    Parameters
    ----------
    values : ndarray
        Of all candidates. [SI]
    judged : Judged
    inside, outside : int
        Outermost candidate that works, and its neighbour; that may lie beyond the last candidate.
    problems : Mapping of int to str
        Candidates that cannot be built, and why.
    """
    if not 0 <= outside < len(values):
        return Edge(float(values[inside]), None, "", "")
    if outside in problems:
        return Edge(float(values[inside]), float(values[outside]), "building it", f"it cannot be built: {problems[outside]}")
    limit = judged.obstacle(outside)
    assert limit is not None
    return Edge(float(values[inside]), float(values[outside]), limit.name, limit.words(outside))
