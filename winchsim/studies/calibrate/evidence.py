"""Tests as evidence: readings, some of which bound from one side; and after a breakage between
which bounds the capacity of the part lies, and which part is next."""

import math
import re
from collections.abc import Callable, Sequence
from enum import StrEnum
from functools import cache, partial

from scipy.special import ndtr

from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, SheetRow, with_value, with_values
from winchsim.model import LinkLimit, build, plain_raise, trial_values
from winchsim.simulation import simulate
from winchsim.strength.link import LINKS, LinkKind

END = 1.645
"""Standard deviations at which the declared ends of a range lie. [-]"""


class Kind(StrEnum):
    """What was measured, or seen from one side."""

    TIME = "time"
    CURRENT = "current"
    VOLTAGE = "voltage"
    STALL_CURRENT = "stall_current"
    LIFTED = "lifted"
    STALLED = "stalled"
    HELD = "held"
    RAN_BACK = "ran_back"

    @property
    def is_measured(self) -> bool:
        """Whether it is a number; the others are bounds from one side."""
        return self in UNITS


UNITS = {Kind.TIME: "s", Kind.CURRENT: "A", Kind.VOLTAGE: "V", Kind.STALL_CURRENT: "A"}

SCATTERS = {
    Kind.TIME: (0.2, 0.01),
    Kind.CURRENT: (0.0, 0.02),
    Kind.VOLTAGE: (0.02, 0.01),
    Kind.STALL_CURRENT: (0.0, 0.05),
    Kind.LIFTED: (0.05, 0.0),
    Kind.STALLED: (0.05, 0.0),
    Kind.HELD: (0.1, 0.0),
    Kind.RAN_BACK: (0.1, 0.0),
}
"""Expected scatter: absolute, and as a share of the value. Of a time by hand, a current and a
voltage from a meter and a current read while the motors stand [s, A or V], [-]; of the torque at
which a lift just stalls, and just holds, as a share of it. Own choice; the fit finds by how much
the measurements were off."""


@dataclass(frozen=True, kw_only=True)
class LiftTest(SheetRow):
    """One test of a lift, in SI (°C for temperatures): a row of a test sheet, None where it is not
    known.

    Attributes
    ----------
    number : int
        Row of the test sheet, from 1.
    mass : float
        [kg]
    bare : bool
        Whether it was a run without a load; `mass` is then next to nothing.
    """

    number: int
    mass: float
    bare: bool = False

    @property
    def done(self) -> bool:
        """Whether anything is known of how it went."""
        measured = self.measured_time, self.measured_current, self.measured_voltage
        known = (*measured, self.held, self.outcome)
        return bool(self.broke_link) or any(seen is not None for seen in known)

    @property
    def broke(self) -> bool:
        """Whether something broke."""
        return self.outcome == "broke" or (bool(self.broke_link) and self.outcome is None)

    @property
    def lifted(self) -> bool:
        """Whether its time is that of a lift."""
        return self.outcome in (None, "lifted") and not self.broke_link

    def values_in(self, inputs: Inputs) -> dict[str, float]:
        """What it changes in a scenario: values by path."""
        return trial_values(
            inputs,
            mass=self.mass,
            height=self.height,
            voltage=self.voltage,
            winding_start=self.winding_start,
        )


NoteKind = StrEnum("NoteKind", ["NOT_A_LIFT_TIME", "PAWL_HOLDS", "UNKNOWN_PART", "WHICH_PART"])
"""What could not be used of the tests, or has to be asked."""


@dataclass(frozen=True)
class Note:
    """Something that the tests leave open.

    Attributes
    ----------
    kind : NoteKind
    test : LiftTest or None
        None where it is about all of them.
    choices : tuple of (str, float)
        Parts that may be meant, the likeliest first, with their probability; of an unknown part all
        of the build's, with 0.
    """

    kind: NoteKind
    test: LiftTest | None = None
    choices: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class MeasuredReading:
    """One measured number, or what was seen from one side; calibrated, it stands beside the model.

    Attributes
    ----------
    test : LiftTest
    kind : Kind
    measured : float
        [SI]; 0 for what was seen from one side.
    predicted, before : float
        By the calibrated model, and by the scenario as it was; infinite for the time of a lift that
        stalls [SI]. Of lifting and stalling: torque over torque needed. Of holding: friction to
        spare over the torque that raises the load; negative where it is too little. [-]
    size : float
        Difference over expected scatter. [-]
    agrees : bool
        Whether it belongs to the others; of what was seen from one side, whether the calibrated
        model shows the same.
    far : bool
        Whether it is a measurement that no values within their ranges explain.
    """

    test: LiftTest
    kind: Kind
    measured: float
    predicted: float = math.nan
    before: float = math.nan
    size: float = 0.0
    agrees: bool = True
    far: bool = False

    @property
    def is_outlier(self) -> bool:
        """Whether it is a measurement that was left out of the fit."""
        return self.kind.is_measured and not self.agrees


def expected_scatter(kind: Kind, value: float) -> float:
    """Scatter of a measurement as a share of its value; of what was seen from one side, as a share
    of the torque. [-]"""
    fixed, share = SCATTERS[kind]
    return math.hypot(fixed, share * value) / value if kind.is_measured else fixed


def gather(
    tests: Sequence[LiftTest], *, pawl: bool = False
) -> tuple[tuple[MeasuredReading, ...], tuple[Note, ...]]:
    """What tests show, and what of them could not be used.

    Parameters
    ----------
    tests : sequence of LiftTest
    pawl : bool
        Whether the winch has a pawl, so that what a load did with the power off tells nothing of
        friction.

    Raises
    ------
    InputError
        None of them says anything that could be fitted.
    """
    readings = tuple(reading for test in tests for reading in _readings(test, pawl))
    if not any(row.kind.is_measured for row in readings):
        raise InputError(
            (
                Fault(
                    "no row has a measured time or current of a lift: there is nothing to fit",
                    "measured_time_s",
                    hint="fill in measured_time_s, and measured_current_a where you can",
                    code=Code.NOTHING_TO_FIT,
                ),
            )
        )
    notes = [
        Note(NoteKind.NOT_A_LIFT_TIME, t)
        for t in tests
        if t.measured_time is not None and not t.lifted
    ]
    if pawl and any(test.held is not None for test in tests):
        notes.append(Note(NoteKind.PAWL_HOLDS))
    return readings, tuple(notes)


def _readings(test: LiftTest, pawl: bool) -> list[MeasuredReading]:
    """What a test says, as far as it can be used."""
    stalled = test.outcome == "stalled"
    found = {Kind.STALL_CURRENT: test.measured_current} if stalled else {}
    if test.lifted:
        found = {
            Kind.TIME: test.measured_time,
            Kind.CURRENT: test.measured_current,
            Kind.VOLTAGE: test.measured_voltage,
        }
    tells = test.held is not None and not pawl and test.outcome not in ("broke", "stalled")
    seen = {
        Kind.STALLED: stalled,
        Kind.LIFTED: test.outcome == "lifted" and test.measured_time is None,
        Kind.HELD if test.held else Kind.RAN_BACK: tells,
    }
    return [
        *(MeasuredReading(test, kind, value) for kind, value in found.items() if value),
        *(MeasuredReading(test, kind, 0.0) for kind, is_seen in seen.items() if is_seen),
    ]


# --- capacities

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


@dataclass(frozen=True)
class PartDemand:
    """Demand of one test on one part.

    Attributes
    ----------
    link : LinkLimit
    demand : float
        [unit of its capacity]
    """

    link: LinkLimit
    demand: float

    @property
    def factor(self) -> float:
        """Estimated capacity over demand. [-]"""
        return self.link.strength.value / self.demand if self.demand > 0 else float("inf")


@dataclass(frozen=True)
class Capacity:
    """What tests show of the capacity of a part.

    Attributes
    ----------
    test : LiftTest
        In which it broke, or which it survived with more than was estimated.
    at : PartDemand
        The part with the demand of that test: where it broke the upper bound of its capacity.
    broke : bool
    survived : float
        Largest demand that it survived, below that at which it broke; 0 for none. [its unit]
    survived_mass : float or None
        Load of that test. [kg]
    weakened : bool
        Whether it survived a demand as large as the one at which it broke.
    lower : float
        Lower bound of its capacity: `survived`; without one what the estimate leaves. [its unit]
    next : PartDemand or None
        After a breakage: the weakest of the other parts under the same load; one that is made like
        the broken one with the upper bound of its capacity.
    set_path : str
        Value of the scenario that takes the lower bound; empty where there is none, and where the
        estimate is higher though nothing broke.
    set_value : float or None
        [SI]
    """

    test: LiftTest
    at: PartDemand
    broke: bool
    survived: float
    survived_mass: float | None
    weakened: bool
    lower: float
    next: PartDemand | None
    set_path: str
    set_value: float | None


def capacities(
    inputs: Inputs, tests: Sequence[LiftTest]
) -> tuple[tuple[Capacity, ...], tuple[Note, ...]]:
    """What tests show of capacities, breakages first, and what has to be asked.

    Parameters
    ----------
    inputs : Inputs
        Calibrated: the demands come from its losses.
    tests : sequence of LiftTest
    """
    at = cache(partial(demands, inputs))
    found = [look_into(inputs, test, tests, at) for test in tests if test.broke]
    broken = [row for row in found if isinstance(row, Capacity)]
    survived: dict[int, Capacity] = {}
    for test in _heaviest(tests):
        for place, row in enumerate(at(test)):
            known = survived[place].lower if place in survived else row.link.strength.low
            if row.demand > known and not any(same_part(row.link, b.at.link) for b in broken):
                set_ = _setting(inputs, row.link, row.demand) if row.factor < 1 else ("", None)
                survived[place] = Capacity(
                    test, row, False, row.demand, test.mass, False, row.demand, None, *set_
                )
    return (*broken, *survived.values()), tuple(row for row in found if isinstance(row, Note))


def look_into(
    inputs: Inputs,
    test: LiftTest,
    tests: Sequence[LiftTest] = (),
    at: Callable[[LiftTest], list[PartDemand]] | None = None,
) -> Capacity | Note:
    """What the breakage of a test shows; a note where it is not clear what broke.

    Parameters
    ----------
    inputs : Inputs
    test : LiftTest
        With what broke, such as ``stage 2``, ``stage 2 pinion``, ``rope`` or ``drum pin``.
    tests : sequence of LiftTest
        All tests; those without a breakage bound the capacity from below.
    at : callable, optional
        Gives the demands of a test; left out, `demands` does.

    Notes
    -----
    The lift is run again with parts that do not break; its largest demand on the part is the most
    that its capacity can have been. A tooth that was tired or hot before broke below its capacity
    when new: the bounds count in this state.
    """
    at = at or partial(demands, inputs)
    lighter = [t for t in tests if t.outcome != "stalled" and t.mass < test.mass]
    chosen = [*_heaviest(lighter), *_heaviest([t for t in tests if t not in lighter])]
    rows, before = at(test), [at(t) for t in chosen]
    fitting = _named(rows, test.broke_link or "")
    if not fitting:
        names = dict.fromkeys(
            row.link.where.replace(".", " ")
            if row.link.where.startswith("stage")
            else LINKS[row.link.kind].search_words[0]
            for row in rows
        )
        return Note(NoteKind.UNKNOWN_PART, test, tuple((name, 0.0) for name in names))
    where = {rows[place].link.where for place in fitting}
    if len(where) > 1 and all(name.startswith("stage.") for name in where):
        return Note(NoteKind.WHICH_PART, test, _likely(rows, before, fitting))
    place = min(fitting, key=lambda place: rows[place].factor)
    broke = rows[place]
    loads = [(own[place].demand, t.mass) for own, t in zip(before, chosen, strict=True)]
    survived, mass = max((row for row in loads if row[0] < broke.demand), default=(0.0, None))
    low = broke.link.strength.low
    lower = survived or (low if low < broke.demand else UNBROKEN_SHARE * broke.demand)
    others = [_rescaled(row, broke) for row in rows if not same_part(row.link, broke.link)]
    return Capacity(
        test,
        broke,
        True,
        survived,
        mass,
        any(load >= broke.demand for load, _ in loads),
        lower,
        min(others, key=lambda row: row.factor, default=None),
        *_setting(inputs, broke.link, lower),
    )


def _heaviest(tests: Sequence[LiftTest]) -> list[LiftTest]:
    """Of the tests in which nothing broke the heaviest that was lifted and that stalled."""
    lifted = [t for t in tests if t.lifted and (t.measured_time is not None or t.outcome)]
    stalled = [t for t in tests if t.outcome == "stalled" and not t.broke]
    return [max(group, key=lambda t: t.mass) for group in (lifted, stalled) if group]


def _rescaled(row: PartDemand, broke: PartDemand) -> PartDemand:
    """A part, with its capacity corrected where it is made like the one that broke."""
    if (row.link.where, row.link.kind) != (broke.link.where, broke.link.kind) or not broke.demand:
        return row
    s, share = row.link.strength, 1 / broke.factor
    scaled = replace(s, value=share * s.value, low=share * s.low, high=share * s.high)
    return replace(row, link=replace(row.link, strength=scaled))


def demands(inputs: Inputs, test: LiftTest) -> list[PartDemand]:
    """Demand of a test on every part on the way up, were none to break.

    Parameters
    ----------
    inputs : Inputs
    test : LiftTest
    """
    own = with_values(plain_raise(inputs), test.values_in(inputs))
    machine = build(replace(own, settings=replace(own.settings, watch=0.0, stall_watch=0.0)))
    strong = tuple(replace(k, scale=k.scale / STRENGTHENED) for k in machine.links)
    record = simulate(replace(machine, links=strong), rtol=inputs.settings.relative_tolerance)
    return [
        PartDemand(link, row.share * STRENGTHENED * link.strength.value)
        for link, row in zip(machine.links, record.demands, strict=True)
    ]


def same_part(link: LinkLimit, other: LinkLimit) -> bool:
    """Whether two are the same part: the teeth of one mesh count as one, and the common gear is one
    for all groups."""
    own, theirs = (
        (
            k.kind,
            k.where,
            re.sub(r", group \d+$", "", k.place) if k.kind is LinkKind.TOOTH_GEAR else k.label,
        )
        for k in (link, other)
    )
    return own == theirs or (
        link.kind.is_tooth and other.kind.is_tooth and link.index == other.index
    )


def _named(rows: Sequence[PartDemand], note: str) -> list[int]:
    """Places of the parts that a note fits best; none where it fits no part."""
    words = re.findall(r"[a-z]+|\d+", note.lower().replace("teeth", "tooth"))
    scores = [_score(row.link, set(words), [w for w in words if w.isdigit()]) for row in rows]
    return [place for place, score in enumerate(scores) if score == max(scores) > 0]


def _score(link: LinkLimit, words: set[str], numbers: list[str]) -> int:
    """How well a part fits the words of a note; 0 for not at all."""
    own = set(LINKS[link.kind].search_words)
    if not (words & {"stage", "mesh", "gear", "pinion", "tooth", "shaft"} and numbers):
        return len(own & words)
    named = words & {"pinion", "shaft", "axle"} or (words & {"gear"} if "stage" in words else set())
    if link.where != f"stage.{numbers[0]}" or (named and not own & named):
        return 0
    return 2 + len(own & words) + (link.kind.is_tooth or link.kind is LinkKind.STAGE_LIMIT)


def _likely(
    rows: Sequence[PartDemand], before: Sequence[list[PartDemand]], fitting: Sequence[int]
) -> tuple[tuple[str, float], ...]:
    """Parts by the probability that their capacity lies between what they survived and this
    demand."""
    weights = {}
    for place in fitting:
        link, demand = rows[place].link, rows[place].demand
        survived = max((other[place].demand for other in before), default=0.0)
        weights[link.label] = max(below(link, demand) - below(link, survived), 1e-9)
    return tuple(
        (name, weight / sum(weights.values()))
        for name, weight in sorted(weights.items(), key=lambda row: -row[1])
    )


def below(link: LinkLimit, demand: float) -> float:
    """Probability that a capacity is below a demand: lognormal, nine parts in ten within its
    range."""
    s = link.strength
    if demand <= 0 or s.value <= 0:
        return 0.0
    side = s.high / s.value if demand > s.value else s.value / max(s.low, 1e-9)
    return float(ndtr(math.log(demand / s.value) / max(math.log(side) / END, LEAST_SPREAD)))


def _setting(inputs: Inputs, link: LinkLimit, capacity: float) -> tuple[str, float | None]:
    """Path and value that give a part a capacity; none where the scenario has no such value."""
    path = KEYS.get(link.kind, "").format(where=link.where)
    try:
        probed = build(with_value(inputs, path, capacity)).links
    except (DomainError, InputError):
        return "", None
    found = next(k for k in probed if same_part(k, link) and k.kind is link.kind)
    return path, capacity * capacity / found.strength.value
