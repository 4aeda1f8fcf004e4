"""A link of the lift and how its strength stands to its demand.

A *link* is anything that the pull passes through and that can break: a tooth, a shaft, a pin, the
rope at its knot. Its *strength* is the best estimate of where it breaks, with no safety in it; its
*demand* is what the lift asks of it, in the same unit. Their quotient is the *factor*. Where even
the high end of its strength is under the demand it breaks. Where only the low end is, it may break.
With less than the required factor it is used harder than good practice allows.
"""

import math
from enum import StrEnum
from typing import Literal

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

    @property
    def is_behind_pawl(self) -> bool:
        """Whether no pawl or brake on the drum holds the load without it."""
        return self in (
            LinkKind.ROPE,
            LinkKind.ROPE_KNOT,
            LinkKind.ROPE_ANCHOR,
            LinkKind.DRUM_BENDING,
        )


@dataclass(frozen=True)
class LinkWords:
    """What is said of a kind of link, and which required factor of a scenario is its own.

    Attributes
    ----------
    part : str
        What breaks, without an article: ``pinion tooth``.
    search_words : tuple of str
        Words of a note that mean it, in lower case and in the singular; the first one stands for it
        in a list.
    required : str
        Key of the table ``[factors]`` with the factor that it must keep; empty where that is 1,
        because a limit that a maker states is one to work at: what it leaves to breaking is already
        taken off.
    """

    part: str
    search_words: tuple[str, ...]
    required: str


LINKS: dict[LinkKind, LinkWords] = {
    LinkKind.TOOTH_PINION: LinkWords("pinion tooth", ("pinion", "tooth"), "tooth"),
    LinkKind.TOOTH_GEAR: LinkWords("gear tooth", ("gear", "tooth"), "tooth"),
    LinkKind.GEAR_BODY: LinkWords("gear body", ("body", "hub", "infill", "gear"), "tooth"),
    LinkKind.STAGE_LIMIT: LinkWords("reduction", ("gearbox", "reduction"), ""),
    LinkKind.SHAFT: LinkWords("output shaft", ("shaft", "axle"), "shaft"),
    LinkKind.CROSS_PIN: LinkWords("cross-pin of the drum", ("pin",), "pin"),
    LinkKind.DRUM_BENDING: LinkWords("drum rod between its supports", ("rod", "drum"), "shaft"),
    LinkKind.ROPE_KNOT: LinkWords(
        "rope at its knot", ("rope", "knot", "splice", "cord", "line"), "rope"
    ),
    LinkKind.ROPE: LinkWords("rope at the drum", ("rope",), "rope"),
    LinkKind.ROPE_ANCHOR: LinkWords(
        "rope's hold on the drum", ("anchor", "fixing", "hold"), "anchor"
    ),
}
"""What is said of each kind of link, in one place."""


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
    """

    value: float
    unit: str
    basis: Basis
    low: float
    high: float


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
    """
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
