"""The line: rope strength at its knot, its bend over the drum, its hold on the drum, its mass and stiffness."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import DomainError
from winchsim.quantity_text import number
from winchsim.strength.link import Basis, Strength, weakest_basis
from winchsim.strength.materials import RopeMaterial

ASSUMED_FIXING_SHARE = 0.1
"""Pull that an undescribed fixing of the rope on the drum bears, over the rope's breaking force [-]. Own assumption:
a knot in a hole or a clamp screw; 0.03 to 0.5 in practice."""

ASSUMED_FIXING_RANGE = (0.03, 0.5)


# ------------------------------------------------------------------------------------------------------- rope


def breaking_force(rope: RopeMaterial, diameter: Floats) -> Floats:
    """Breaking force of a new straight rope. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter : float or ndarray
        Rope diameter. [m]

    References
    ----------
    Proportional to the diameter squared; coefficient and source in the rope's row.
    """
    return rope.strength_per_area * diameter**2


def axial_stiffness(rope: RopeMaterial, force: Floats) -> Floats:
    """EA of a rope, force per unit of strain, from its breaking force. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    force : float or ndarray
        Its breaking force. [N]

    References
    ----------
    A fixed multiple by kind of rope; UFC 4-159-03, Table 6-8, shows it constant over the sizes of a double-braid nylon line.
    """
    return rope.stiffness_ratio * force


def mass_per_length(rope: RopeMaterial, diameter: Floats) -> Floats:
    """Mass of rope per metre. [kg/m]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter : float or ndarray
        Rope diameter. [m]

    References
    ----------
    Proportional to the diameter squared; coefficient and source in the rope's row.
    """
    return rope.mass_per_volume * diameter**2


def rope_strength(rope: RopeMaterial, diameter: float, given: float | None = None) -> Strength:
    """Pull at which a new straight rope breaks. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter : float
        Rope diameter. [m]
    given : float, optional
        Breaking force of the rope in hand, in place of the table's. [N]

    References
    ----------
    `breaking_force`.
    """
    if not diameter > 0.0:
        raise DomainError("rope diameter", diameter, "a positive length")
    if given is not None:
        return Strength(given, "N", "given", given, given)
    low, high = (share * diameter**2 for share in rope.span("strength_per_area"))
    told = ("breaking force from the table of ropes",)
    return Strength(float(breaking_force(rope, diameter)), "N", rope.basis("strength_per_area"), low, high, told)


def end_strength(
    rope: RopeMaterial,
    diameter: float,
    *,
    given_breaking_force: float | None = None,
    given_efficiency: float | None = None,
    end: str = "knot",
) -> Strength:
    """Pull at which the rope breaks at its end, a knot or a splice. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter : float
        Rope diameter. [m]
    given_breaking_force : float, optional
        Breaking force of the rope in hand, in place of the table's. [N]
    given_efficiency : float, optional
        Share left at the end in hand, in place of the table's. [-]
    end : {"knot", "splice"}
        Which of the table's shares is used.

    References
    ----------
    Breaking force times the share that the end leaves; knot tables differ widely, so a range is kept.
    """
    whole, key = rope_strength(rope, diameter, given_breaking_force), f"{end}_efficiency"
    basis: Basis = "given"
    if given_efficiency is None:
        share = getattr(rope, key)
        low, high = rope.span(key)
        basis, assumed = rope.basis(key), (*whole.assumed, f"{number(100 * share, 2)} % of it left at the {end}")
    else:
        share = low = high = given_efficiency
        assumed = whole.assumed
    return Strength(share * whole.value, "N", weakest_basis(whole.basis, basis), low * whole.low, high * whole.high, assumed)


# ------------------------------------------------------------------------------------------------------- bend


@dataclass(frozen=True)
class Bend:
    """How tightly a rope is bent over its drum, against what the trade asks for.

    Attributes
    ----------
    ratio : float
        Drum core over rope diameter. [-]
    wanted : float
        Ratio that the trade asks for with this kind of rope. [-]
    low, high : float
        Range over which sources differ; below `low` all of them call it too tight. [-]
    """

    ratio: float
    wanted: float
    low: float
    high: float

    @property
    def standing(self) -> Literal["tight", "within the range", "easy"]:
        """Below, inside or above the range of the sources."""
        if self.ratio < self.low:
            return "tight"
        return "easy" if self.ratio >= self.high else "within the range"


def bend(rope: RopeMaterial, drum_diameter: float, rope_diameter: float) -> Bend:
    """Bend of a rope over a bare drum core.

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope; its row holds the wanted ratio and the range of the sources.
    drum_diameter, rope_diameter : float
        Core and rope diameter. [m]

    Notes
    -----
    No single standard value exists: report it, and do not call a lift unsafe on it alone.

    References
    ----------
    Sources in the rope's row.
    """
    low, high = rope.span("bend_ratio")
    return Bend(drum_diameter / rope_diameter, rope.bend_ratio, low, high)


# ------------------------------------------------------------------------------------------------------- anchor


def capstan_ratio(friction: Floats, angle: Floats) -> Floats:
    """Pull over hold of a rope wound around a round body, at the point of slipping. [-]

    Parameters
    ----------
    friction : float or ndarray
        Coefficient of friction. [-]
    angle : float or ndarray
        Angle of contact. [rad]

    References
    ----------
    R. S. Khurmi and J. K. Gupta, *Theory of Machines*, chapter 11: ``exp(friction x angle)``.
    """
    return np.exp(np.asarray(friction) * angle)


def dead_turn_ratio(friction: Floats, turns: Floats) -> Floats:
    """Pull over hold of the turns that stay on the drum. [-]

    Parameters
    ----------
    friction : float or ndarray
        Coefficient of friction of rope on drum. [-]
    turns : float or ndarray
        Dead turns. [-]

    References
    ----------
    `capstan_ratio` over whole turns.
    """
    return capstan_ratio(friction, 2.0 * math.pi * np.asarray(turns))


def anchor_strength(
    rope: RopeMaterial,
    diameter: float,
    friction: float,
    turns: float,
    *,
    hold: float | None = None,
    given_breaking_force: float | None = None,
) -> Strength:
    """Rope pull at which the rope slips out of its fixing on the drum, with the dead turns still on. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter : float
        Rope diameter. [m]
    friction : float
        Coefficient of friction of rope on drum. [-]
    turns : float
        Dead turns. [-]
    hold : float, optional
        Pull that the fixing itself bears; left out, a tenth of the rope's breaking force. [N]
    given_breaking_force : float, optional
        Breaking force of the rope in hand. [N]

    References
    ----------
    `dead_turn_ratio`; the assumed hold is an own assumption.
    """
    ratio = float(dead_turn_ratio(friction, turns))
    if hold is not None:
        return Strength(hold * ratio, "N", "given", hold * ratio, hold * ratio)
    force = rope_strength(rope, diameter, given_breaking_force).value
    low, high = ASSUMED_FIXING_RANGE
    return Strength(
        force * ASSUMED_FIXING_SHARE * ratio,
        "N",
        "from memory",
        force * low * ratio,
        force * high * ratio,
        assumed=(
            f"the rope's fixing on the drum bears {number(100 * ASSUMED_FIXING_SHARE, 2)} % of the rope's breaking force",
        ),
    )
