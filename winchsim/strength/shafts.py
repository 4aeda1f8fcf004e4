"""Shafts, the drum rod and the pin through it: torsion, bending, both together, and double
shear."""

import math
from typing import Any

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import refuse_if
from winchsim.strength.link import Strength
from winchsim.strength.materials import Material

SHEAR_SHARE = 1.0 / math.sqrt(3.0)
"""Yield strength in shear over that in tension [-]. Distortion energy; J. E. Shigley, Mechanical
Engineering Design, §5-5."""


def torsion_strength(shear_strength: Floats, diameter: Floats) -> Floats:
    """Torque at which a round shaft reaches a shear stress at its surface. [N·m]

    Parameters
    ----------
    shear_strength : float or ndarray
        Shear stress that it carries. [Pa]
    diameter : float or ndarray
        [m]

    References
    ----------
    J. M. Gere, *Mechanics of Materials*, §3.3: ``pi d³ tau / 16``.
    """
    return shear_strength * math.pi * diameter**3 / 16.0


def bending_strength(strength: Floats, diameter: Floats) -> Floats:
    """Bending moment at which a round bar reaches a stress at its surface. [N·m]

    Parameters
    ----------
    strength : float or ndarray
        Stress that it carries. [Pa]
    diameter : float or ndarray
        [m]

    References
    ----------
    J. M. Gere, *Mechanics of Materials*, §5.5: ``pi d³ sigma / 32``.
    """
    return strength * math.pi * diameter**3 / 32.0


def span_moment(force: Floats, span: float) -> Floats:
    """Largest bending moment in a rod on two supports under one force in the middle. [N·m]

    Parameters
    ----------
    force : float or ndarray
        Force across the rod; its size is what counts. [N]
    span : float
        Distance of the supports, which let the rod turn freely. [m]

    References
    ----------
    Statics of a simply supported beam: ``F L / 4``.
    """
    return np.abs(force) * span / 4.0


def equivalent_torque(torque: Floats, moment: Floats) -> Floats:
    """Torque that alone strains a round shaft as much as this torque and bending moment together.
    [N·m]

    Parameters
    ----------
    torque, moment : float or ndarray
        Torque and bending moment at the same section. [N·m]

    References
    ----------
    Distortion energy, ``sqrt(sigma² + 3 tau²)``, J. E. Shigley, *Mechanical Engineering Design*,
    §5-5; of a round section it comes to ``sqrt(T² + 4/3 M²)``.
    """
    return np.hypot(torque, 2.0 * SHEAR_SHARE * np.asarray(moment))


def cross_pin_torque(
    shear_strength: Floats, pin_diameter: Floats, shaft_diameter: Floats
) -> Floats:
    """Torque at which a pin straight through a shaft is cut at the shaft's two surfaces. [N·m]

    Parameters
    ----------
    shear_strength : float or ndarray
        Shear stress that the pin bears. [Pa]
    pin_diameter, shaft_diameter : float or ndarray
        Diameters of pin and shaft. [m]

    References
    ----------
    Double shear, J. M. Gere, *Mechanics of Materials*, Example 1-5: ``tau (pi d²/4) D``.
    """
    return shear_strength * math.pi * pin_diameter**2 / 4.0 * shaft_diameter


# ----------------------------------------------------------------------------------------


def shaft_strength(material: Material, diameter: float) -> Strength:
    """Torque, or equivalent torque, at which a shaft gives way. [N·m]

    Parameters
    ----------
    material : Material
        Metal: where it yields. Polymer: where it breaks.
    diameter : float
        [m]

    References
    ----------
    `torsion_strength` with the shear strength of distortion energy.
    """
    return _scaled(material, torsion_strength(SHEAR_SHARE, diameter))


def cross_pin_strength(material: Material, pin_diameter: float, shaft_diameter: float) -> Strength:
    """Torque at which the pin through the drum rod gives way in double shear. [N·m]

    Parameters
    ----------
    material : Material
        Of the pin.
    pin_diameter, shaft_diameter : float
        Diameters of pin and rod. [m]

    References
    ----------
    `cross_pin_torque` with the shear strength of distortion energy.
    """
    refuse_if(
        not 0.0 < pin_diameter < shaft_diameter,
        "cross-pin diameter",
        pin_diameter,
        f"between 0 and the rod's diameter, {shaft_diameter:g} m",
    )
    return _scaled(material, cross_pin_torque(SHEAR_SHARE, pin_diameter, shaft_diameter))


def drum_rod_strength(material: Material, diameter: float) -> Strength:
    """Equivalent bending moment at which the drum rod gives way between its supports. [N·m]

    Parameters
    ----------
    material : Material
        Of the rod.
    diameter : float
        [m]

    Notes
    -----
    The demand that belongs to it is `drum_rod_moment`.

    References
    ----------
    `bending_strength`.
    """
    return _scaled(material, bending_strength(1.0, diameter))


def drum_rod_moment(force: Floats, torque: Floats, span: float) -> Floats:
    """Bending moment that alone strains the drum rod as much as its pull and torque together. [N·m]

    Parameters
    ----------
    force : float or ndarray
        Rope pull, taken at the middle of the span, where it bends most. [N]
    torque : float or ndarray
        Torque in the rod. [N·m]
    span : float
        Distance of the supports. [m]

    References
    ----------
    As `equivalent_torque`, with bending kept: ``sqrt(M² + 3/4 T²)``.
    """
    return np.hypot(span_moment(force, span), 0.5 / SHEAR_SHARE * np.asarray(torque))


def _scaled(material: Material, per_stress: Any) -> Strength:
    """Strength in N·m that is a stress of the material times a number from geometry."""
    key = material.bearing_key
    low, high = material.span(key)
    return Strength(
        value=material.bearing_strength * per_stress,
        unit="N·m",
        basis=material.basis(key),
        low=low * per_stress,
        high=high * per_stress,
    )
