"""A link of the lift and how its strength stands to its demand.

A *link* is anything that the pull passes through and that can break: a tooth, a shaft, a pin, the
rope at its knot. Its *strength* is the best estimate of where it breaks, with no safety in it; its
*demand* is what the lift asks of it, in the same unit. Their quotient is the *factor*. Where even
the high end of its strength is under the demand it breaks. Where only the low end is, it may break.
With less than the required factor it is used harder than good practice allows.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Literal

from winchsim.errors import DomainError
from winchsim.frozen import dataclass

Basis = Literal["given", "tested", "tabled", "from memory"]
"""What a strength rests on: a value that the user gave, a test that the user made, a published or
tabled value, or a value that nobody has looked up."""

_WEAKEST_FIRST: tuple[Basis, ...] = ("from memory", "tabled", "given", "tested")


class LinkKind(StrEnum):
    """Every kind of link that is judged; the values are the slugs of the machine-readable
    output."""

    TOOTH_PINION = "tooth_pinion"
    TOOTH_GEAR = "tooth_gear"
    GEAR_BODY = "gear_body"
    STAGE_LIMIT = "stage_limit"
    SHAFT = "shaft"
    CROSS_PIN = "cross_pin"
    DRUM_BENDING = "drum_bending"
    ROPE_KNOT = "rope_knot"
    ROPE = "rope"
    ROPE_ANCHOR = "rope_anchor"

    @property
    def is_tooth(self) -> bool:
        """Whether it is a tooth of a gear."""
        return self in (LinkKind.TOOTH_PINION, LinkKind.TOOTH_GEAR)


@dataclass(frozen=True)
class LinkWords:
    """What is said of a kind of link, and which required factor of a scenario is its own.

    Attributes
    ----------
    part : str
        What breaks, without an article: ``pinion tooth``.
    plural : str
        All of the kind, with their article: ``the pinions' teeth``.
    tag : str
        The same in a word or two, for a table.
    advice : str
        What would help where nothing more is known of it, one sentence.
    search_words : tuple of str
        Words of a note that mean it, in lower case and in the singular; the first one stands for it
        in a list.
    required : str
        Key of the table ``[factors]`` with the factor that it must keep; empty where that is 1,
        because a limit that a maker states is one to work at: what it leaves to breaking is already
        taken off.
    drops_load : bool
        Whether the rope is parted or loose when it breaks, and the load falls.
    """

    part: str
    plural: str
    tag: str
    advice: str
    search_words: tuple[str, ...]
    required: str
    drops_load: bool = False


LINKS: dict[LinkKind, LinkWords] = {
    LinkKind.TOOTH_PINION: LinkWords(
        "pinion tooth",
        "the pinions' teeth",
        "pinions",
        "A wider or coarser tooth, or a stronger material.",
        ("pinion", "tooth"),
        "tooth",
    ),
    LinkKind.TOOTH_GEAR: LinkWords(
        "gear tooth",
        "the gears' teeth",
        "gears",
        "A wider or coarser tooth, or a stronger material.",
        ("gear", "tooth"),
        "tooth",
    ),
    LinkKind.GEAR_BODY: LinkWords(
        "gear body",
        "the gears' bodies",
        "gear bodies",
        "More walls around the bore, more infill, or a wider gear.",
        ("body", "hub", "infill", "gear"),
        "tooth",
    ),
    LinkKind.STAGE_LIMIT: LinkWords(
        "reduction",
        "the bought gears",
        "bought gears",
        "A stronger part, or less load.",
        ("gearbox", "reduction"),
        "",
    ),
    LinkKind.SHAFT: LinkWords(
        "output shaft",
        "the shafts",
        "shafts",
        "A thicker shaft, a stronger material, or bearings nearer to the gears.",
        ("shaft", "axle"),
        "shaft",
    ),
    LinkKind.CROSS_PIN: LinkWords(
        "cross-pin of the drum",
        "the cross-pin",
        "cross-pin",
        "A thicker pin, or a clamp that shares the torque.",
        ("pin",),
        "pin",
    ),
    LinkKind.DRUM_BENDING: LinkWords(
        "drum rod between its supports",
        "the drum rod",
        "drum rod",
        "A thicker rod, or supports nearer to the rope.",
        ("rod", "drum"),
        "shaft",
    ),
    LinkKind.ROPE_KNOT: LinkWords(
        "rope at its knot",
        "the rope",
        "rope",
        "A thicker or stronger rope; a splice keeps more of it than a knot.",
        ("rope", "knot", "splice", "cord", "line"),
        "rope",
        True,
    ),
    LinkKind.ROPE: LinkWords(
        "rope at the drum",
        "the rope at the drum",
        "rope at drum",
        "A thicker or stronger rope, or sheaves and edges that keep less of its pull.",
        ("rope",),
        "rope",
        True,
    ),
    LinkKind.ROPE_ANCHOR: LinkWords(
        "rope's hold on the drum",
        "the rope's hold on the drum",
        "rope's hold",
        "More dead turns on the drum, or a better fixing.",
        ("anchor", "fixing", "hold"),
        "anchor",
        True,
    ),
}
"""The one table of what is said of each kind of link; every other room looks it up here."""


class LinkState(StrEnum):
    """How a link stands under its demand: ``may break`` while the range of its strength crosses the
    demand."""

    HOLDS = "holds"
    CAUTION = "caution"
    MAY_BREAK = "may break"
    BREAKS = "breaks"


@dataclass(frozen=True)
class Strength:
    """Best estimate of the demand at which a link breaks.

    Attributes
    ----------
    value : float
        Demand at which it breaks. [`unit`]
    unit : str
        ``N``, ``N·m``, or empty for a ratio.
    basis : str
        What the estimate rests on, see `Basis`.
    low, high : float
        Range that the sources and the model leave open; equal to `value` where it was measured or
        given. [`unit`]
    assumed : tuple of str
        What was taken without being given, one clause each.
    """

    value: float
    unit: str
    basis: Basis
    low: float
    high: float
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.value >= 0.0:
            raise DomainError("strength", self.value, "zero or a positive number")
        if not self.low <= self.value <= self.high:
            raise DomainError(
                "range of a strength", (self.low, self.high), f"a range around {self.value:g}"
            )


@dataclass(frozen=True)
class Link:
    """One link, its strength and the worst demand on it.

    Attributes
    ----------
    kind : LinkKind
        What it is.
    where : str
        Which one, as a path into the scenario (``stage.3``, ``drum``, ``rope``).
    strength : Strength
        What it bears.
    demand : float
        The most that was asked of it, never negative. [unit of the strength]
    required : float
        Factor below which it is a caution. [-]
    time, height : float or None
        When and at which height of the load the demand was that large. [s], [m]
    bound : bool
        The demand is only a bound (a held train, whose shafts' torques friction leaves open).
    """

    kind: LinkKind
    where: str
    strength: Strength
    demand: float
    required: float
    time: float | None = None
    height: float | None = None
    bound: bool = False

    def __post_init__(self) -> None:
        if not self.demand >= 0.0:
            raise DomainError(
                f"demand on {self.kind} of {self.where}", self.demand, "zero or a positive number"
            )

    @property
    def factor(self) -> float:
        """Strength over demand; infinite without demand. [-]"""
        return self.strength.value / self.demand if self.demand > 0.0 else math.inf

    @property
    def factor_range(self) -> tuple[float, float]:
        """The factor at both ends of the strength's range. [-]"""
        if self.demand <= 0.0:
            return math.inf, math.inf
        return self.strength.low / self.demand, self.strength.high / self.demand

    @property
    def state(self) -> LinkState:
        """Whether it holds, holds with less than the required factor, may break, or breaks even at
        its strongest."""
        return link_state(self.factor, *self.factor_range, self.required)


def link_state(factor: float, low: float, high: float, required: float) -> LinkState:
    """State of a link from its factor and its range, and the factor that is required. [-]"""
    if high < 1.0:
        return LinkState.BREAKS
    if low < 1.0:
        return LinkState.MAY_BREAK
    return LinkState.CAUTION if factor < required else LinkState.HOLDS


def weakest_basis(*bases: Basis) -> Basis:
    """What an estimate rests on that uses several values: the least trustworthy of them.

    Parameters
    ----------
    *bases : str
        At least one `Basis`.

    Raises
    ------
    DomainError
        None given.
    """
    if not bases:
        raise DomainError("bases", bases, "at least one")
    return min(bases, key=_WEAKEST_FIRST.index)


def combined_range(*shares: tuple[float, float, float]) -> tuple[float, float]:
    """Low and high end, over the best value, of a product of factors that are uncertain
    independently. [-]

    Parameters
    ----------
    *shares : tuple of float
        Low, best and high value of each factor.

    References
    ----------
    Root of the sum of squares of the logarithms; own assumption.
    """
    low = math.sqrt(sum(math.log(best / low) ** 2 for low, best, _ in shares))
    high = math.sqrt(sum(math.log(high / best) ** 2 for _, best, high in shares))
    return math.exp(-low), math.exp(high)
