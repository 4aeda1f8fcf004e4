"""The line: rope strength at its knot, its bend over the drum, its hold on the drum, its mass and
stiffness."""

import math

import numpy as np

from winchsim.elementwise import Floats
from winchsim.frozen import dataclass
from winchsim.strength.link import Basis, Strength, combined_range, weakest_basis
from winchsim.strength.materials import RopeMaterial

ASSUMED_FIXING_SHARE = 0.1
"""Pull that an undescribed fixing of the rope on the drum bears, over the rope's breaking force
[-]. Own assumption: a knot in a hole or a clamp screw; 0.03 to 0.5 in practice."""

ASSUMED_FIXING_RANGE = (0.03, 0.5)


# ----------------------------------------------------------------------------------------


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
    if given is not None:
        return Strength(given, "N", "given", given, given)
    low, high = (share * diameter**2 for share in rope.span("strength_per_area"))
    best = float(breaking_force(rope, diameter))
    return Strength(best, "N", rope.basis("strength_per_area"), low, high)


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
    Breaking force times the share that the end leaves; knot tables differ widely, so a range is
    kept.
    """
    straight, key = rope_strength(rope, diameter, given_breaking_force), f"{end}_efficiency"
    if given_efficiency is not None:
        return _left(straight, (given_efficiency,) * 3, "given")
    low, high = rope.span(key)
    return _left(straight, (low, getattr(rope, key), high), rope.basis(key))


def _left(straight: Strength, shares: tuple[float, float, float], basis: Basis) -> Strength:
    """Strength of a rope of which a place leaves a share, low, best and high."""
    value = shares[1] * straight.value
    low, high = combined_range((straight.low, straight.value, straight.high), shares)
    basis = weakest_basis(straight.basis, basis)
    return Strength(value, "N", basis, low * value, high * value)


# ----------------------------------------------------------------------------------------


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


BEND_RATIOS = (1.0, 2.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 40.0)
BEND_SHARES = (0.50, 0.65, 0.75, 0.79, 0.83, 0.86, 0.89, 0.91, 0.93, 0.95)
"""Share of a wire rope's strength that a bend leaves, by drum over rope diameter [-]. The Crosby
Group, *Sheave size and wire rope strength* (excerpt)."""

WIRE_BEND_SPREAD = 1.05
"""Factor either way on a wire rope's share over a bend [-]. Own assumption."""

MOST_LAYERS = 3
LEAST_DEAD_TURNS = 8
"""Layers of fibre rope on a drum at most, and dead turns on a flat drum at least [-]. Exsil, usage
notes of fibre rope (excerpt)."""


def bend_shares(rope: RopeMaterial, ratio: float) -> tuple[float, float, float]:
    """Low, best and high share of a rope's strength that the bend around the drum leaves. [-]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    ratio : float
        Drum core over rope diameter, positive. [-]

    References
    ----------
    `BEND_SHARES`, between its rows in proportion, below its first row as the ratio itself. No such
    table of fibre rope was found: the same value, from its square up to no loss at all; own
    assumption.
    """
    share = float(np.interp(ratio, BEND_RATIOS, BEND_SHARES)) * min(ratio, 1.0)
    if rope.construction == "wire":
        return share / WIRE_BEND_SPREAD, share, min(1.0, share * WIRE_BEND_SPREAD)
    return share**2, share, 1.0


def drum_strength(
    rope: RopeMaterial,
    diameter: float,
    drum_diameter: float,
    *,
    given_breaking_force: float | None = None,
) -> Strength:
    """Pull at which the rope breaks where it bends onto the drum. [N]

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope.
    diameter, drum_diameter : float
        Of rope and drum core. [m]
    given_breaking_force : float, optional
        Breaking force of the rope in hand, in place of the table's. [N]

    References
    ----------
    Breaking force times `bend_shares`.
    """
    straight, shares = (
        rope_strength(rope, diameter, given_breaking_force),
        bend_shares(rope, drum_diameter / diameter),
    )
    basis: Basis = "tabled" if rope.construction == "wire" else "from memory"
    return _left(straight, shares, basis)


def winding_cautions(
    rope: RopeMaterial, layers: int, dead_turns: float
) -> tuple[tuple[str, float, float], ...]:
    """What a fibre rope's winding on a flat drum has of too much or too little: key, value and
    published limit.

    Parameters
    ----------
    rope : RopeMaterial
        Kind of rope; wire rope has no such limits here.
    layers : int
        Layers that the lift winds. [-]
    dead_turns : float
        Turns that stay on the drum. [-]

    References
    ----------
    `MOST_LAYERS`, `LEAST_DEAD_TURNS`.
    """
    if rope.construction == "wire":
        return ()
    over = (("layers", float(layers), float(MOST_LAYERS)),) if layers > MOST_LAYERS else ()
    short = (
        (("dead_turns", dead_turns, float(LEAST_DEAD_TURNS)),)
        if dead_turns < LEAST_DEAD_TURNS
        else ()
    )
    return over + short


# ----------------------------------------------------------------------------------------


MOST_EXPONENT = 30.0
"""Largest exponent of `capstan_ratio`; no fixing ever needs more than e³⁰. [-]"""


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
    return np.exp(np.minimum(np.asarray(friction) * angle, MOST_EXPONENT))


def anchor_strength(
    rope: RopeMaterial,
    diameter: float,
    friction: float,
    turns: float,
    *,
    friction_range: tuple[float, float] | None = None,
    hold: float | None = None,
    given_breaking_force: float | None = None,
) -> Strength:
    """Rope pull at which the rope slips out of its fixing on the drum, with the dead turns still
    on. [N]

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
    friction_range : tuple of float, optional
        Of a friction that is assumed; the range of an assumed hold is wide enough for it. [-]
    hold : float, optional
        Pull that the fixing itself bears; left out, a tenth of the rope's breaking force. [N]
    given_breaking_force : float, optional
        Breaking force of the rope in hand. [N]

    References
    ----------
    `capstan_ratio`; the assumed hold is an own assumption.
    """
    frictions = (friction, *(friction_range or (friction, friction)))
    ratio, least, most = (float(capstan_ratio(mu, 2.0 * math.pi * turns)) for mu in frictions)
    if hold is not None:
        return Strength(hold * ratio, "N", "given", hold * least, hold * most)
    force = rope_strength(rope, diameter, given_breaking_force).value
    low, high = ASSUMED_FIXING_RANGE
    best, low, high = (force * ratio * part for part in (ASSUMED_FIXING_SHARE, low, high))
    return Strength(best, "N", "from memory", low, high)
