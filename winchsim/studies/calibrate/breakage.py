"""After a breakage: between which bounds the capacity of the part lies, and which part is next."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from scipy.special import ndtr

from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.inputs import Inputs, with_value
from winchsim.model import build
from winchsim.model.machine import LinkLimit
from winchsim.model.trial import plain_raise, under_test
from winchsim.simulation import simulate
from winchsim.strength.link import LINKS, LinkKind
from winchsim.studies.calibrate.evidence import Evidence, LiftTest, Note, NoteKind
from winchsim.studies.calibrate.factors import END

STRENGTHENED = 1e6
"""Factor on all capacities while the lift is run again, so that it goes on past the breakage.
[-]"""

UNBROKEN_SHARE = 0.5
"""Where no test was survived and the estimate is above the breakage: lower bound over the demand at
which the part broke, as widely as a print's capacity scatters downwards. [-] Own choice."""

LEAST_SPREAD = 0.02
"""Spread of a capacity that is given without a range, as a logarithm. [-] Own choice."""

KEYS = {
    LinkKind.TOOTH_PINION: "{where}.tested_tooth_force",
    LinkKind.TOOTH_GEAR: "{where}.tested_tooth_force",
    LinkKind.STAGE_LIMIT: "{where}.torque_limit",
    LinkKind.ROPE_KNOT: "rope.breaking_force",
    LinkKind.ROPE: "rope.breaking_force",
    LinkKind.ROPE_ANCHOR: "drum.anchor_hold",
}
"""Value of a scenario that a capacity is proportional to, by kind."""

Demands = Callable[[LiftTest], "list[LinkDemandAt]"]


@dataclass(frozen=True)
class LinkDemandAt:
    """Demand of one test on one part.

    Attributes
    ----------
    name : str
        The part's label.
    link : LinkLimit
    demand : float
        [unit of its capacity]
    """

    name: str
    link: LinkLimit
    demand: float

    @property
    def factor(self) -> float:
        """Estimated capacity over demand. [-]"""
        return self.link.strength.value / self.demand if self.demand > 0 else float("inf")


@dataclass(frozen=True)
class Bound:
    """A capacity of which the lower bound is higher than was estimated.

    Attributes
    ----------
    test : LiftTest
        That the part survived.
    at : LinkDemandAt
    set_path : str
        Value of the scenario that the bound was put into: only where it is over the estimate
        itself.
    set_value : float or None
        [SI]
    """

    test: LiftTest
    at: LinkDemandAt
    set_path: str
    set_value: float | None

    def put_into(self, inputs: Inputs) -> Inputs:
        """A scenario with the bound."""
        return with_value(inputs, self.set_path, self.set_value) if self.set_path else inputs


@dataclass(frozen=True)
class Broken:
    """What a breakage shows.

    Attributes
    ----------
    test : LiftTest
    broke : LinkDemandAt
        The part that broke, with the demand at which it did: the upper bound of its capacity.
    survived : float
        Largest demand below that which it survived in another test; 0 for none. [its unit]
    survived_mass : float or None
        Load of that test. [kg]
    weakened : bool
        Whether it survived a demand as large as the one at which it broke.
    lower : float
        Lower bound of its capacity: `survived`; without one what the estimate leaves. [its unit]
    next : LinkDemandAt or None
        The weakest of the other parts under the same load; one that is made like the broken one
        with the upper bound of its capacity.
    set_path : str
        Value of the scenario that takes the lower bound; empty where there is none.
    set_value : float or None
        [SI]
    """

    test: LiftTest
    broke: LinkDemandAt
    survived: float
    survived_mass: float | None
    weakened: bool
    lower: float
    next: LinkDemandAt | None
    set_path: str
    set_value: float | None

    @property
    def upper(self) -> float:
        """Upper bound of the capacity: the demand at which it broke. [its unit]"""
        return self.broke.demand

    @property
    def share_of_estimate(self) -> float:
        """Upper bound over the estimate. [-]"""
        return self.upper / self.broke.link.strength.value

    def put_into(self, inputs: Inputs) -> Inputs:
        """A scenario with the lower bound."""
        return with_value(inputs, self.set_path, self.set_value) if self.set_path else inputs


class UnclearPartError(Exception):
    """A note that may mean several parts."""

    def __init__(self, choices: tuple[tuple[str, float], ...]) -> None:
        super().__init__()
        self.choices = choices


def look_into_all(
    inputs: Inputs, evidence: Evidence
) -> tuple[tuple[Broken, ...], tuple[Bound, ...], tuple[Note, ...]]:
    """What the tests show of capacities, and what has to be asked.

    Parameters
    ----------
    inputs : Inputs
        Calibrated: the demands come from its losses.
    evidence : Evidence
    """
    asked: dict[tuple[float | None, ...], list[LinkDemandAt]] = {}

    def at(test: LiftTest) -> list[LinkDemandAt]:
        if test.conditions not in asked:
            asked[test.conditions] = demands(inputs, test)
        return asked[test.conditions]

    broken, notes = [], []
    for test in evidence.broken:
        try:
            broken.append(_look(inputs, test, evidence.tests, at))
        except UnclearPartError as which:
            notes.append(Note(NoteKind.WHICH_PART, test, which.choices))
        except InputError as error:
            names = (error.faults[0].expected or "").removeprefix("one of: ").split(", ")
            notes.append(
                Note(NoteKind.UNKNOWN_PART, test, tuple((part, 0.0) for part in names if part))
            )
    parts = [row.broke.link for row in broken]
    bounds = [
        row
        for row in _bounds(inputs, evidence, at)
        if not any(_same_part(row.at.link, p) for p in parts)
    ]
    return tuple(broken), tuple(bounds), tuple(notes)


def look_into(inputs: Inputs, test: LiftTest, tests: Sequence[LiftTest] = ()) -> Broken:
    """What the breakage of a test shows.

    Parameters
    ----------
    inputs : Inputs
    test : LiftTest
        With what broke, such as ``stage 2``, ``stage 2 pinion``, ``rope`` or ``drum pin``.
    tests : sequence of LiftTest
        All tests; those without a breakage bound the capacity from below.

    Raises
    ------
    InputError
        Nothing of that name is a part of this scenario.
    UnclearPartError
        Several are, in different places.

    Notes
    -----
    The lift is run again with parts that do not break; its largest demand on the part is the most
    that its capacity can have been. A tooth that was tired or hot before broke below its capacity
    when new: the bounds count in this state.
    """
    return _look(inputs, test, tests, lambda other: demands(inputs, other))


def _look(inputs: Inputs, test: LiftTest, tests: Sequence[LiftTest], at: Demands) -> Broken:
    at_break = at(test)
    lighter = [t for t in tests if _survived(t) and t.mass < test.mass and t.outcome != "stalled"]
    others = [t for t in tests if _survived(t) and (t.mass >= test.mass or t.outcome == "stalled")]
    chosen = [max(group, key=lambda t: t.mass) for group in (lighter, others) if group]
    before = [at(t) for t in chosen]
    broke = _named(at_break, before, test)
    place = at_break.index(broke)
    loads = [(rows[place].demand, t.mass) for rows, t in zip(before, chosen, strict=True)]
    survived, mass = max((row for row in loads if row[0] < broke.demand), default=(0.0, None))
    strength = broke.link.strength
    unknown = strength.low if strength.low < broke.demand else UNBROKEN_SHARE * broke.demand
    lower = survived or unknown
    rest = [_rescaled(row, broke) for row in at_break if not _same_part(row.link, broke.link)]
    path, value = _setting(inputs, broke.link, lower)
    weakened = any(load >= broke.demand for load, _ in loads)
    return Broken(
        test,
        broke,
        survived,
        mass,
        weakened,
        lower,
        min(rest, key=lambda row: row.factor, default=None),
        path,
        value,
    )


def _survived(test: LiftTest) -> bool:
    return not test.broke and (test.time is not None or test.outcome in ("lifted", "stalled"))


def _bounds(inputs: Inputs, evidence: Evidence, at: Demands) -> list[Bound]:
    """Lower bounds from the heaviest test that was lifted and the heaviest that stalled."""
    found: dict[str, Bound] = {}
    for stalled in (False, True):
        tests = [t for t in evidence.tests if _survived(t) and (t.outcome == "stalled") is stalled]
        for test in [max(tests, key=lambda t: t.mass)] if tests else []:
            for row in at(test):
                old = found.get(row.name)
                if row.demand > max(row.link.strength.low, old.at.demand if old else 0.0):
                    over = row.demand > row.link.strength.value
                    path, value = _setting(inputs, row.link, row.demand) if over else ("", None)
                    found[row.name] = Bound(test, row, path, value)
    return list(found.values())


def _rescaled(row: LinkDemandAt, broke: LinkDemandAt) -> LinkDemandAt:
    """A part, with its capacity corrected where it is made like the one that broke."""
    if (row.link.where, row.link.kind) != (broke.link.where, broke.link.kind) or not broke.demand:
        return row
    strength = row.link.strength
    share = broke.demand / broke.link.strength.value
    corrected = replace(
        strength, value=share * strength.value, low=share * strength.low, high=share * strength.high
    )
    return replace(row, link=replace(row.link, strength=corrected))


def demands(inputs: Inputs, test: LiftTest) -> list[LinkDemandAt]:
    """Demand of a test on every part on the way up, were none to break.

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
    """Whether two are the same part: the teeth of one mesh count as one, and the common gear is one
    for all groups."""
    if link.kind.is_tooth and other.kind.is_tooth:
        return link.index == other.index or (
            link.kind is LinkKind.TOOTH_GEAR and _gear(link) == _gear(other)
        )
    return link is other or (link.kind, link.where, link.label) == (
        other.kind,
        other.where,
        other.label,
    )


def _gear(link: LinkLimit) -> tuple[str, str]:
    """Which gear a tooth is on or meets, whichever group's pinion it is looked at with."""
    return link.where, re.sub(r", group \d+$", "", link.place)


def _named(
    rows: list[LinkDemandAt], before: Sequence[list[LinkDemandAt]], test: LiftTest
) -> LinkDemandAt:
    """Part that a note means; of several that fit, the one that was nearest to breaking.

    Parts of several stages are not chosen from: their loads differ by the ratio between them.
    """
    words = set(re.findall(r"[a-z]+|\d+", test.broke_link.lower().replace("teeth", "tooth")))
    numbers = [int(word) for word in words if word.isdigit()]
    scores = [_score(row.link, words, numbers) for row in rows]
    best = max(scores, default=0)
    if best <= 0:
        expected = "one of: " + ", ".join(dict.fromkeys(_short(row.link) for row in rows))
        message = "what broke is no part of this scenario" if words else "what broke?"
        raise InputError(
            (
                Fault(
                    message,
                    "broke_link",
                    got=test.broke_link,
                    expected=expected,
                    code=Code.NO_SUCH_LINK,
                ),
            )
        )
    fitting = [place for place, score in enumerate(scores) if score == best]
    where = {rows[place].link.where for place in fitting}
    if len(where) > 1 and all(name.startswith("stage.") for name in where):
        raise UnclearPartError(_likely(rows, before, fitting))
    return min((rows[place] for place in fitting), key=lambda row: row.factor)


def _likely(
    rows: list[LinkDemandAt], before: Sequence[list[LinkDemandAt]], fitting: Sequence[int]
) -> tuple[tuple[str, float], ...]:
    """Parts by the probability that their capacity lies between what they survived and this
    demand."""
    weights = {}
    for place in fitting:
        survived = max((other[place].demand for other in before), default=0.0)
        weight = _below(rows[place].link, rows[place].demand) - _below(rows[place].link, survived)
        weights[rows[place].name] = max(weight, 1e-9)
    whole = sum(weights.values())
    return tuple(
        sorted(
            ((name, weight / whole) for name, weight in weights.items()), key=lambda row: -row[1]
        )
    )


def _below(link: LinkLimit, demand: float) -> float:
    """Probability that a capacity is below a demand: lognormal, nine parts in ten within its
    range."""
    strength = link.strength
    if demand <= 0 or strength.value <= 0:
        return 0.0
    side = (
        strength.high / strength.value
        if demand > strength.value
        else strength.value / max(strength.low, 1e-9)
    )
    return float(ndtr(math.log(demand / strength.value) / max(math.log(side) / END, LEAST_SPREAD)))


def _score(link: LinkLimit, words: set[str], numbers: list[int]) -> int:
    """How well a part fits the words of a note; 0 for not at all."""
    stage = re.fullmatch(r"stage\.(\d+)", link.where)
    own = set(LINKS[link.kind].search_words)
    if words & {"stage", "mesh", "gear", "pinion", "tooth", "shaft"} and numbers:
        if stage is None or int(stage[1]) != numbers[0]:
            return 0
        named = words & {"pinion", "shaft", "axle"} or (
            words & {"gear"} if "stage" in words else set()
        )
        if named and not own & named:
            return 0
        is_tooth = link.kind.is_tooth or link.kind is LinkKind.STAGE_LIMIT
        return 2 + len(own & words) + is_tooth
    return len(own & words)


def _short(link: LinkLimit) -> str:
    return (
        link.where.replace(".", " ")
        if link.where.startswith("stage")
        else LINKS[link.kind].search_words[0]
    )


def _setting(inputs: Inputs, link: LinkLimit, capacity: float) -> tuple[str, float | None]:
    """Path and value that give a part a capacity; none where the scenario has no such value."""
    key = KEYS.get(link.kind)
    if key is None:
        return "", None
    path = key.format(where=link.where)
    try:
        probed = build(with_value(inputs, path, capacity)).links
    except (DomainError, InputError):
        return "", None
    name = (link.kind, link.where, link.label)
    found = next(k.strength.value for k in probed if (k.kind, k.where, k.label) == name)
    return path, capacity * capacity / found
