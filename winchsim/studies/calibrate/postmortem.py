"""After a breakage: the strength that it implies, how that compares with the estimate, and which link is next."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from winchsim.errors import Code, Fault, InputError
from winchsim.inputs import Inputs
from winchsim.model import build
from winchsim.model.machine import LinkLimit
from winchsim.model.trial import plain_raise, under_test
from winchsim.simulation import simulate
from winchsim.strength.link import LINKS, LinkKind
from winchsim.studies.calibrate.evidence import LiftTest, name_of

STRENGTHENED = 1e6
"""Factor on all strengths while the lift is run again, so that it goes on past the breakage. [-]"""


@dataclass(frozen=True)
class LinkDemandAt:
    """What one test asked of one link.

    Attributes
    ----------
    name : str
        The link, in words.
    link : LinkLimit
    demand : float
        [unit of its strength]
    """

    name: str
    link: LinkLimit
    demand: float

    @property
    def factor(self) -> float:
        """Estimated strength over demand. [-]"""
        return self.link.strength.value / self.demand if self.demand > 0 else float("inf")


@dataclass(frozen=True)
class Broken:
    """What a breakage says.

    Attributes
    ----------
    test : LiftTest
    broke : LinkDemandAt
        The link that broke, with what the test asked of it.
    survived : float
        The most that an earlier test asked of the same link without breaking it; 0 where there was none.
        [unit of its strength]
    survived_mass : float or None
        Load of that test. [kg]
    next : LinkDemandAt or None
        The weakest of the other links under the same load; one that is made like the broken one with the implied strength.
    set_path : str
        Path and value that put the implied strength into the scenario; empty where there is no such key.
    set_value : float or None
        [SI]
    """

    test: LiftTest
    broke: LinkDemandAt
    survived: float
    survived_mass: float | None
    next: LinkDemandAt | None
    set_path: str
    set_value: float | None

    @property
    def implied(self) -> float:
        """Largest strength that the breakage leaves: what was asked of the link. [unit of its strength]"""
        return self.broke.demand

    @property
    def share_of_estimate(self) -> float:
        """Implied strength over the estimate. [-]"""
        return self.implied / self.broke.link.strength.value


def look_into(inputs: Inputs, test: LiftTest, tests: Sequence[LiftTest] = ()) -> Broken:
    """What the breakage of a test says.

    Parameters
    ----------
    inputs : Inputs
        Calibrated, where it can be: the demands come from its losses.
    test : LiftTest
        With what broke, such as ``stage 2``, ``stage 2 pinion``, ``rope`` or ``drum pin``.
    tests : sequence of LiftTest
        All tests; those that lifted less without breaking anything bound the strength from below.

    Raises
    ------
    InputError
        Nothing of that name is a link of this scenario.

    Notes
    -----
    The lift is run again with links that do not break; what it asked of the link is the most that it can have borne. A
    tooth that was tired or hot before broke below its strength when new: the number is what counts in this state.
    """
    at_break = demands(inputs, test)
    broke = _named(at_break, test)
    calmer = [t for t in tests if t.outcome in (None, "lifted") and t.time is not None and t.mass < test.mass]
    survived, mass = 0.0, None
    if calmer:
        most = max(calmer, key=lambda t: t.mass)
        survived = next(row.demand for row in demands(inputs, most) if row.name == broke.name)
        mass = most.mass
    others = [_rescaled(row, broke) for row in at_break if not _same_part(row.link, broke.link)]
    following = min(others, key=lambda row: row.factor, default=None)
    path, value = _setting(broke)
    return Broken(test, broke, survived, mass, following, path, value)


def _rescaled(row: LinkDemandAt, broke: LinkDemandAt) -> LinkDemandAt:
    """A link, with its strength corrected where it is made like the one that broke."""
    if (row.link.where, row.link.kind) != (broke.link.where, broke.link.kind) or not broke.demand:
        return row
    strength = row.link.strength
    share = broke.demand / broke.link.strength.value
    corrected = replace(strength, value=share * strength.value, low=share * strength.low, high=share * strength.high)
    return replace(row, link=replace(row.link, strength=corrected))


def demands(inputs: Inputs, test: LiftTest) -> list[LinkDemandAt]:
    """What a test asks of every link on the way up, were none to break.

    Parameters
    ----------
    inputs : Inputs
    test : LiftTest
    """
    own = under_test(plain_raise(inputs), test.values_in(inputs))
    machine = build(replace(own, settings=replace(own.settings, watch=0.0, stall_watch=0.0)))
    strong = tuple(replace(k, scale=k.scale / STRENGTHENED) for k in machine.links)
    record = simulate(replace(machine, links=strong), rtol=inputs.settings.relative_tolerance)
    return [
        LinkDemandAt(link.label, link, row.share * STRENGTHENED * link.strength.value)
        for link, row in zip(machine.links, record.demands, strict=True)
    ]


def _same_part(link: LinkLimit, other: LinkLimit) -> bool:
    """Whether two links are the same part: both teeth of one mesh count as one, and the common gear is one for all groups."""
    if link.kind.is_tooth and other.kind.is_tooth:
        return link.index == other.index or (link.kind is LinkKind.TOOTH_GEAR and _gear(link) == _gear(other))
    return link is other or (link.kind, link.where, link.label) == (other.kind, other.where, other.label)


def _gear(link: LinkLimit) -> tuple[str, str]:
    """Which gear a tooth is on or meets, whichever group's pinion it is judged with."""
    return link.where, re.sub(r", group \d+$", "", link.place)


def _named(rows: list[LinkDemandAt], test: LiftTest) -> LinkDemandAt:
    """Link that a note means; of several that fit, the one that was nearest to breaking."""
    words = set(re.findall(r"[a-z]+|\d+", test.broke_link.lower().replace("teeth", "tooth")))
    numbers = [int(word) for word in words if word.isdigit()]
    scores = [(_score(row.link, words, numbers), -row.factor, place) for place, row in enumerate(rows)]
    best = max(scores, default=(0, 0.0, 0))
    if best[0] <= 0:
        expected = "one of: " + ", ".join(dict.fromkeys(_short(row.link) for row in rows))
        message = f"{name_of(test)} broke, but not a link of this scenario" if words else f"{name_of(test)} broke: what broke?"
        raise InputError((Fault(message, "broke_link", got=test.broke_link, expected=expected, code=Code.NO_SUCH_LINK),))
    return rows[best[2]]


def _score(link: LinkLimit, words: set[str], numbers: list[int]) -> int:
    """How well a link fits the words of a note; 0 for not at all."""
    stage = re.fullmatch(r"stage\.(\d+)", link.where)
    own = set(LINKS[link.kind].search_words)
    if words & {"stage", "mesh", "gear", "pinion", "tooth", "shaft"} and numbers:
        if stage is None or int(stage[1]) != numbers[0]:
            return 0
        named = words & {"pinion", "shaft", "axle"} or (words & {"gear"} if "stage" in words else set())
        if named and not own & named:
            return 0
        is_tooth = link.kind.is_tooth or link.kind is LinkKind.STAGE_LIMIT
        return 2 + len(own & words) + is_tooth
    return len(own & words)


def _short(link: LinkLimit) -> str:
    return link.where.replace(".", " ") if link.where.startswith("stage") else LINKS[link.kind].search_words[0]


def _setting(broke: LinkDemandAt) -> tuple[str, float | None]:
    """Path and value that make the estimate what the breakage says."""
    link, implied = broke.link, broke.demand
    if link.kind.is_tooth:
        return f"{link.where}.tested_tooth_force", implied
    if link.kind is LinkKind.STAGE_LIMIT and link.where.startswith("stage"):
        return f"{link.where}.torque_limit", implied
    return "", None
