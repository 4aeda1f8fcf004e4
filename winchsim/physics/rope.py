"""The rope: an elastic line that can pull and not push, its tackle, its sheaves and edges.

The unstretched rope wound on, `s`, and the present span of the free rope, `l`, are kept apart, so
that the rope carries its stretch onto the drum and the energy balance closes. All functions take
floats or arrays.

With s the unstretched rope wound on, x the stretch of the free rope and l_u its unstretched length:
``T_e = EA x / l_u`` and ``T = max(0, T_e + c x')``. The drum's surface takes in stretched rope:
``s' (1 + T_e/EA) = r w``. What the drum gives, ``T r w``, less what the load gets, ``T n v``, is
``T x' + T (T_e/EA) s'``. The free rope stores ``T_e x' + T_e^2/(2 EA) s'``, its damping takes
``(T - T_e) x'``, and the rest, ``(T - T_e/2)(T_e/EA) s'``, is stretch wound onto the drum.

In a tackle the parts of a heavy rope run at 0, 2, 2, 4, ... times the load's speed (even falls) or
1, 1, 3, 3, ... (odd). A tackle of n falls has the sum of its sheaves' shares, forward and in
reverse. An edge keeps ``exp(-mu angle)`` of the tension in both directions.
"""

import math
from typing import Any

from winchsim.elementwise import Floats
from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Line:
    """A rope between the drum and the load.

    Attributes
    ----------
    stiffness : float
        EA, force per unit of strain. [N]
    damping : float
        Force per rate of stretching. [N·s/m]
    falls : int
        Parts of rope that carry the load. [-]
    mass_per_length : float
        [kg/m]
    lead : float
        Rope between the drum and the top sheave. [m]
    """

    stiffness: float
    damping: float
    falls: int = 1
    mass_per_length: float = 0.0
    lead: float = 0.0


def span(line: Line, distance: Floats) -> Any:
    """Length of the free rope as it is, stretch included, between drum and load. [m]

    Parameters
    ----------
    line : Line
    distance : float or ndarray
        From the load to the top sheave. [m]
    """
    return line.falls * distance + line.lead


def unstretched_length(line: Line, span: Floats, tension: Floats) -> Any:
    """Unstretched length of a free rope that a pull stretches to a span, ``l / (1 + T/EA)``. [m]

    Parameters
    ----------
    line : Line
    span : float or ndarray
        [m]
    tension : float or ndarray
        Rope force. [N]
    """
    return span / (1 + tension / line.stiffness)


def elastic_tension(line: Line, stretch: Floats, unstretched: Floats) -> Any:
    """Tension that the free rope's stretch makes, ``EA x / l_u``; negative stretch gives a negative
    number. [N]

    Parameters
    ----------
    line : Line
    stretch : float or ndarray
        Present span less unstretched length, ``x = l - l_u``. [m]
    unstretched : float or ndarray
        Unstretched length of the free rope, over 0. [m]
    """
    return line.stiffness * stretch / unstretched


def take_up(line: Line, surface_speed: Floats, tension: Floats) -> Any:
    """Unstretched rope that the drum takes in per time. [m/s]

    Parameters
    ----------
    line : Line
    surface_speed : float or ndarray
        Radius times speed of the drum. [m/s]
    tension : float or ndarray
        Elastic tension in the free rope, 0 when slack. [N]

    Notes
    -----
    The rope arrives stretched: ``s' (1 + T_e/EA) = r w``. own derivation, head of
    `physics/rope.py`.
    """
    return surface_speed / (1 + tension / line.stiffness)


def free_stretch_energy(line: Line, stretch: Floats, unstretched: Floats) -> Any:
    """Energy stored in the stretch of the free rope, ``EA x²/(2 l_u)``. [J]

    Parameters
    ----------
    line : Line
    stretch : float or ndarray
        Present span less unstretched length; 0 for a slack rope. [m]
    unstretched : float or ndarray
        Unstretched length of the free rope, over 0. [m]
    """
    return line.stiffness * stretch * stretch / (2 * unstretched)


def wound_stretch_power(line: Line, tension: Floats, elastic: Floats, taken_up: Floats) -> Any:
    """Rate at which stretch energy is wound onto the drum, ``(T - T_e/2)(T_e/EA) s'``. [W]

    Parameters
    ----------
    line : Line
    tension : float or ndarray
        Rope force. [N]
    elastic : float or ndarray
        Its elastic part. [N]
    taken_up : float or ndarray
        Unstretched rope wound on per time. [m/s]

    Notes
    -----
    What the drum gives, ``T r w``, less what the load receives, ``T n v``, less what the free rope
    stores and its damping takes. own derivation, head of `physics/rope.py`.
    """
    return (tension - elastic / 2) * (elastic / line.stiffness) * taken_up


def moving_mass(line: Line, hanging: float) -> float:
    """Mass that the rope adds to the load's inertia. [kg]

    Parameters
    ----------
    line : Line
    hanging : float
        Distance from the load to the top sheave at the start. [m]

    Notes
    -----
    Rope on the drum keeps the rope's speed, so the moving rope is the free rope of the start,
    throughout. In a tackle the parts run at 0, 2, 2, 4, … times the load's speed (even falls) or 1,
    1, 3, 3, … (odd), the lead at ``falls`` times. own derivation, head of `physics/rope.py`.
    """
    n = line.falls
    speeds = [2 * ((k + 1) // 2) if n % 2 == 0 else 2 * (k // 2) + 1 for k in range(n)]
    return line.mass_per_length * (
        hanging * sum(speed * speed for speed in speeds) + line.lead * n * n
    )


def tackle_efficiency(falls: int, sheave: float) -> float:
    r"""Efficiency of a tackle whose lead goes straight to the drum, load rising. [-]

    Parameters
    ----------
    falls : int
        Parts that carry the load, at least 1.
    sheave : float
        Tension kept over one sheave, 0 < sheave <= 1. [-]

    Notes
    -----
    Each part carries ``E`` times the one before it: :math:`(1 - E^n)/(n (1 - E))`. With a negative
    or zero `sheave` (a locking reverse efficiency) see `tackle_reverse_efficiency`.

    References
    ----------
    .. [1] Form of the sheave train used with DIN 15020-type block efficiencies.
    """
    return sum(sheave**k for k in range(falls)) / falls


def tackle_reverse_efficiency(falls: int, sheave_reverse: float) -> float:
    r"""Efficiency of the same tackle while the load drives it. [-]

    Parameters
    ----------
    falls : int
        Parts that carry the load.
    sheave_reverse : float
        Reverse efficiency of one sheave, over 0. [-]

    Notes
    -----
    The lead carries least, each further part ``1/q`` times more: ``n / sum(q^-k)``. Own derivation
    from statics.
    """
    return falls / sum(sheave_reverse**-k for k in range(falls))


def edge_efficiency(friction: float, angle: float) -> float:
    r"""Share of tension kept over an edge, :math:`e^{-\mu\varphi}`, the same in both directions.
    [-]

    Parameters
    ----------
    friction : float
        Coefficient of friction. [-]
    angle : float
        Angle by which the rope turns. [rad]

    References
    ----------
    .. [1] The belt friction (capstan) equation, in R. C. Hibbeler, *Engineering Mechanics:
       Statics*, ch. 8.
    """
    return math.exp(-friction * angle)


def bounce_period(line: Line, unstretched: Floats, mass: Floats) -> Any:
    r"""Period in which a load bounces on its rope while the drum stands. [s]

    Parameters
    ----------
    line : Line
    unstretched : float or ndarray
        Unstretched length of the free rope. [m]
    mass : float or ndarray
        Load with what moves along. [kg]

    Notes
    -----
    A mass on a spring: :math:`2\pi\sqrt{m/K}`, of which :math:`K = n^2 EA/l_u` is the load's force
    per travel. A stretched rope is as stiff as its unstretched length makes it, because its force
    is ``EA`` times the strain.
    """
    return 2 * math.pi * (mass * unstretched / line.stiffness) ** 0.5 / line.falls


def critical_damping(line_stiffness: float, span: float, mass: float, falls: int) -> float:
    """Rope damping at which the hanging load would just not bounce. [N·s/m]

    Parameters
    ----------
    line_stiffness : float
        EA. [N]
    span : float
        Free rope. [m]
    mass : float
        Load with what moves along. [kg]
    falls : int
        Parts that carry the load. [-]
    """
    return 2 * math.sqrt(line_stiffness / span * mass / falls**2)
