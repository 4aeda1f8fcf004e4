"""Friction of the bearings of a shaft: what a journal or a rolling bearing takes of the torque
passed on.

Tooth and rope forces press a shaft into its bearings. Their friction torque grows with these
forces, so it is a share of the torque that passes, the same in both directions of power: an element
of the chain with the efficiency ``1/(1 + loss)`` forward and ``1 - loss`` backward.
All functions take SI floats or arrays.

Notes
-----
Own derivation. A torque T enters by a gear of radius R and leaves by a pinion or drum of radius r.
The forces along the lines of action are ``T/(R cos a)`` and ``T/(r cos a)``; where the places of
the gears are not known they are taken at right angles to each other. Their resultant presses on
journals of radius r_s, whose friction torque is ``mu r_s`` times it. The sum over both bearings of
a shaft is the same wherever they stand between, unless a gear overhangs.
"""

import math
from typing import Any

import numpy as np

from winchsim.assumption import Estimate
from winchsim.elementwise import Floats

BEARINGS = {
    ("polymer bore", False): Estimate(
        0.25,
        0.10,
        0.40,
        "POM and PA on steel 0.20 to 0.40, dry (Covestro, Snap-Fit Joints for Plastics, Table 3); "
        "bearing polymers 0.06 to 0.28 (igus data sheets)",
    ),
    ("polymer bore", True): Estimate(
        0.20, 0.08, 0.35, "own assumption: grease takes a fifth of the dry value"
    ),
    ("metal bush", False): Estimate(
        0.10, 0.05, 0.15, "plain 0.01 to 0.02, in certain cases 0.1 to 0.2 (Koyo/JTEKT, Table 8-1)"
    ),
    ("ball", False): Estimate(
        0.0015,
        0.0010,
        0.0030,
        "deep groove ball 0.0010 to 0.0015, start twice (Koyo/JTEKT, Table 8-1)",
    ),
}
"""Friction at the journal by kind of bearing and whether it is greased. [-]"""


def bearing_friction(kind: str, greased: bool) -> Estimate:
    """Friction of a kind of bearing; grease counts where a value for it is known."""
    return BEARINGS.get((kind, greased)) or BEARINGS[kind, False]


def shaft_loss(
    friction: Floats,
    shaft_radius: Floats,
    first: Floats,
    second: Floats,
    *,
    aligned: bool = False,
) -> Any:
    """Share of the torque passed on that the bearings of a shaft take. [-]

    Parameters
    ----------
    friction : float or ndarray
        At the journal. [-]
    shaft_radius : float or ndarray
        Of the journal. [m]
    first, second : float or ndarray
        Force per torque where the torque enters and where it leaves, `tooth_load` or ``1/radius``
        of a rope; 0 where the forces on that side cancel each other. [1/m]
    aligned : bool
        The two forces act in one direction (the worst case) instead of at right angles.
    """
    return friction * shaft_radius * (first + second if aligned else (first**2 + second**2) ** 0.5)


def tooth_load(radius: Floats, pressure_angle: float) -> Any:
    """Force along the line of action of a spur mesh per torque of the gear. [1/m]

    Parameters
    ----------
    radius : float or ndarray
        Pitch radius of the gear. [m]
    pressure_angle : float
        [rad]
    """
    return 1 / (radius * math.cos(pressure_angle))


def efficiency(loss: Floats) -> Any:
    """Efficiency of bearings that take a share of the torque passed on, motors driving. [-]"""
    return 1 / (1 + loss)


def ring_share(live: Floats, dead: Floats = 0) -> Any:
    """Share of the tooth forces of a ring of equal pinions that does not cancel out. [-]

    Parameters
    ----------
    live, dead : int or ndarray
        Evenly spaced pinions that drive with the same torque, at least 1, and that do not drive;
        the idle ones stand side by side, which is the worst. [-]

    Returns
    -------
    float or ndarray
        Resultant of the forces over their sum: 0 for two or more that all drive, 1 for a single
        one.

    Notes
    -----
    Forces at equal angles add up to nothing, so those that drive leave what the idle ones lack:
    ``sin(pi dead/n)/sin(pi/n)`` of ``live``, with n of both.
    """
    count = live + dead
    lacking = np.sin(np.pi * dead / count) / np.sin(np.pi / np.maximum(count, 2))
    found = np.where(count == 1, 1.0, np.minimum(lacking / live, 1.0))
    return found if found.ndim else float(found)
