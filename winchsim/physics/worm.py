"""Screws and worms: efficiency both ways from lead angle and friction, and what an efficiency
leaves open.

All functions take SI floats; angles in radians.
"""

import math
from enum import StrEnum
from typing import NamedTuple

DEFAULT_FLANK = math.radians(20.0)
"""Normal pressure angle of a worm. [rad] ISO 53 profile; common practice."""

LARGEST_FRICTION = 0.3
STEEPEST = math.radians(30.0)
"""Friction and lead angle beyond which no worm is taken to be. [-], [rad] Own assumption: 0.3 is
dry, 30° the steepest that worms are commonly cut with."""

REST_FRICTION = 0.12
"""Friction of a worm at rest, steel on oiled bronze. [-] Agrees with worm boxes of 20:1 that run at
0.74 to 0.87 and start at 0.50 to 0.62 (Motovario, as quoted by amrgearbox.com)."""

UNCERTAIN = (0.45, 0.55)
"""Efficiencies between which self-locking is uncertain. [-] SEVA-tec, questions and answers,
2.1.3."""


class Locking(StrEnum):
    """Whether a worm can be driven back by its load."""

    LOCKS = "locks"
    UNCERTAIN = "uncertain"
    DRIVES_BACK = "drives back"


class ScrewEfficiency(NamedTuple):
    """Efficiency driven by the screw, and by the load; the second is negative where it locks.
    [-]"""

    forward: float
    reverse: float


def screw_efficiency(
    lead_angle: float, friction: float, *, flank: float = DEFAULT_FLANK, collar: float = 0.0
) -> ScrewEfficiency:
    """Efficiencies of a screw or worm.

    Parameters
    ----------
    lead_angle : float
        At the pitch cylinder, over 0. [rad]
    friction : float
        Between the flanks. [-]
    flank : float
        Normal pressure angle; 0 for a square thread. [rad]
    collar : float
        Friction of the thrust collar times its mean radius over the pitch radius of the screw. [-]

    Notes
    -----
    With ``tan phi = friction / cos flank`` the screw's torque per axial force and pitch radius is
    ``tan(lead + phi) + collar`` when it drives, and ``tan(lead - phi) - collar`` is what it passes
    back; without friction both are ``tan lead``. Where ``lead + phi`` reaches a right angle it
    cannot drive.

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, power screws and worm gears; the axial form of
    ``(cos a - mu tan l)/(cos a + mu cot l)``.
    """
    phi = math.atan(friction / math.cos(flank))
    ideal = math.tan(lead_angle)
    drive = math.tan(lead_angle + phi) + collar if lead_angle + phi < math.pi / 2 else math.inf
    return ScrewEfficiency(ideal / drive, (math.tan(lead_angle - phi) - collar) / ideal)


def sliding_speed(worm_diameter: float, worm_speed: float, lead_angle: float) -> float:
    """Speed at which the flanks slide. [m/s]

    Parameters
    ----------
    worm_diameter : float
        Pitch diameter. [m]
    worm_speed : float
        [rad/s]
    lead_angle : float
        [rad]
    """
    return abs(worm_speed) * worm_diameter / (2 * math.cos(lead_angle))


def running_friction(speed: float) -> float:
    """Friction of a steel worm on an oiled bronze wheel by sliding speed. [-]

    Parameters
    ----------
    speed : float
        [m/s]

    References
    ----------
    P. R. N. Childs, *Mechanical Design Engineering Handbook* (AGMA), worm gears; its constant 0.012
    from memory. It gives the table 0.08, 0.044, 0.023 at 0.1, 1, 5 m/s (roymech) within a tenth.
    """
    feet_a_minute = 60 * speed / 0.3048
    if feet_a_minute <= 10:
        return 0.124 * math.exp(-0.074 * feet_a_minute**0.645)
    return 0.103 * math.exp(-0.110 * feet_a_minute**0.450) + 0.012


def screw_reverse(lead_angle: float, forward: float) -> float:
    """Reverse efficiency of a screw or worm whose lead angle and forward efficiency are known. [-]

    Parameters
    ----------
    lead_angle : float
        [rad]
    forward : float
        0 < forward <= 1, all its friction taken as that of the thread. [-]
    """
    phi = math.atan(math.tan(lead_angle) / forward) - lead_angle
    return math.tan(lead_angle - phi) / math.tan(lead_angle)


def largest_reverse(forward: float, *, flank: float = DEFAULT_FLANK) -> float:
    """Largest reverse efficiency of any worm with a known forward one. [-]

    Parameters
    ----------
    forward : float
        0 < forward <= 1. [-]
    flank : float
        Normal pressure angle. [rad]

    Notes
    -----
    At one efficiency the reverse one grows with the lead angle, from ``2 - 1/forward`` for a flat
    screw. The steepest worm that has this efficiency with no more friction than `LARGEST_FRICTION`
    solves ``mu t² - cos a (1 - e) t + e mu = 0`` for the tangent of its lead angle. With these
    bounds no worm of less than 0.449 passes anything back. Own derivation.
    """
    cosine, mu = math.cos(flank), LARGEST_FRICTION
    half = cosine * (1 - forward) / (2 * mu)
    root = half**2 - forward
    lead = STEEPEST if root < 0 else min(STEEPEST, math.atan(half - math.sqrt(root)))
    return screw_reverse(lead, forward)


def locking(forward: float) -> Locking:
    """Whether a worm of a known efficiency locks against its load.

    Parameters
    ----------
    forward : float
        Efficiency in motion. [-]
    """
    if forward < UNCERTAIN[0]:
        return Locking.LOCKS
    return Locking.UNCERTAIN if forward <= UNCERTAIN[1] else Locking.DRIVES_BACK
