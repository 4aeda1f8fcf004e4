"""Gear teeth: the force on a tooth, the force that breaks it, warmth from friction, and load
cycles.

Forces are tangential at the pitch circle of one tooth. The strength side knows no speed: what a
running mesh adds to its own force is `dynamic_factor` on the demand side.
"""

from functools import lru_cache
from typing import Any

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.physics.gears import DEFAULT_PRESSURE_ANGLE, ISO_RACK, Diameters, Rack, diameters
from winchsim.strength.link import Basis, Strength, combined_range, weakest_basis
from winchsim.strength.materials import Material
from winchsim.strength.printed import (
    LEAST_PUBLISHED_RIM,
    TEST_TEMPERATURE,
    TOOTH_SPREAD,
    PrintedBody,
    layer_factors,
    rim_shares,
    solid_rim,
    warmth_factors,
)
from winchsim.strength.tooth_form import form_factor, tip_load_factors

PRINTED_GAIN = 1.1
"""Force that broke printed teeth over that of Lewis's beam with the flexural strength and the load
at the highest point of single contact [-]. Fitted to twelve broken gears, see
tests/reference/test_printed_reference.py."""

ROOT_HEATING = {"polymer": 2400.0, "metal": 1000.0}
"""Coefficient of the tooth-root temperature, by what the partner is made of [K·mm·(mm·m/s)^0.75/W].
From memory of VDI 2736-2."""

FLANK_HEATING = {"polymer": 10_000.0, "metal": 7_000.0}
"""Coefficient of the flank temperature, dry, by what the partner is made of; 0 in oil
[K·mm·(mm·m/s)^0.75/W]. From memory of VDI 2736-2."""


@dataclass(frozen=True)
class Tooth:
    """Geometry of the teeth of one gear.

    Attributes
    ----------
    teeth : int
        Number of teeth. [-]
    module : float
        Module. [m]
    width : float
        Face width that carries, the smaller of the pair's. [m]
    bore : float
        Diameter of the bore. [m]
    pressure_angle : float
        Pressure angle. [rad]
    shift : float
        Profile shift in modules. [-]
    rack : Rack
        Generating rack.
    """

    teeth: int
    module: float
    width: float
    bore: float = 0.0
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE
    shift: float = 0.0
    rack: Rack = ISO_RACK

    @property
    def circles(self) -> Diameters:
        """Pitch, base, tip and root diameter. [m]"""
        return diameters(
            self.teeth,
            self.module,
            shift=self.shift,
            pressure_angle=self.pressure_angle,
            rack=self.rack,
        )


@dataclass(frozen=True)
class ToothStrength(Strength):
    """Tangential force that breaks one tooth, with the range left open by the model, the material,
    layers, warmth and a rim outside the published range. [N]

    Attributes
    ----------
    backup_ratio : float
        Rim over whole depth. [-]
    """

    backup_ratio: float

    @property
    def outside_published_range(self) -> bool:
        """Whether the rim is thinner than any published rim factor covers, and no test replaces
        it."""
        return self.backup_ratio < LEAST_PUBLISHED_RIM and self.basis != "tested"


# ----------------------------------------------------------------------------------------


def tooth_force(torque: Any, pitch_diameter: float, sharing: Floats = 1) -> Floats:
    """Tangential force on one tooth from the torque on its gear. [N]

    Parameters
    ----------
    torque : float or ndarray
        Torque on the gear; its size is what counts. [N·m]
    pitch_diameter : float
        Pitch diameter of the same gear. [m]
    sharing : int or ndarray
        Equal pinions that drive the gear side by side, each at a tooth of its own; dead ones not
        counted. [-]

    References
    ----------
    Statics; equal sharing is an own assumption (equal motors).
    """
    return 2.0 * abs(torque) / (pitch_diameter * sharing)


def dynamic_factor(material: Material, speed: Floats, application_factor: float = 1.0) -> Floats:
    """Factor on the tooth force for rough running and the mesh's own dynamics, 1 or more. [-]

    Parameters
    ----------
    material : Material
        Metal teeth take the velocity factor on top; soft polymer teeth do not (up to 5 m/s).
    speed : float or ndarray
        Pitch-line speed. [m/s]
    application_factor : float
        Factor for what drives and is driven. [-]

    References
    ----------
    Metal: `velocity_factor`. Polymer: K_F of VDI 2736-2 with no addition below 5 m/s, from memory,
    assumed.
    """
    return application_factor * (velocity_factor(speed) if material.is_metal else 1.0)


def velocity_factor(speed: Floats) -> Floats:
    """Factor on the tooth force for the mesh's own dynamics, cut or milled profile. [-]

    Parameters
    ----------
    speed : float or ndarray
        Pitch-line speed. [m/s]

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, eq. 14-4 to 14-6 (C. G. Barth's form).
    """
    return (6.1 + np.abs(speed)) / 6.1


# ----------------------------------------------------------------------------------------


# ----------------------------------------------------------------------------------------


@lru_cache(maxsize=1024)
def tooth_strength(
    tooth: Tooth,
    material: Material,
    *,
    body: PrintedBody | None = None,
    temperature: float = TEST_TEMPERATURE,
    contact_ratio: float = 1.0,
    breaking_stress: float | None = None,
    tested_force: float | None = None,
) -> ToothStrength:
    """Tangential force that breaks one tooth, with every factor behind it.

    Parameters
    ----------
    tooth : Tooth
        Its geometry.
    material : Material
        What it is made of. Metals are calculated as Lewis's beam with the load at the tip, moulded
        polymers in the root-stress form, prints as Lewis's beam with the load where the tooth
        carries it alone.
    body : PrintedBody, optional
        How it was printed; left out, it was printed lying. Walls and infill do not count: teeth are
        walls.
    temperature : float
        Temperature of the tooth's root. [°C]
    contact_ratio : float
        Contact ratio of its mesh. [-]
    breaking_stress : float, optional
        Stress at which its solid material breaks, of a print in bending, in place of the table's
        value. [Pa]
    tested_force : float, optional
        Tooth force at which a like tooth broke in a test; replaces the estimate. [N]

    Raises
    ------
    DomainError
        A geometry without a usable tooth or rim, or a value outside its range.

    References
    ----------
    Printed: ``1.1 σ_flex b m Y``, fitted to broken gears, see `PRINTED_GAIN` and `TOOTH_SPREAD`.
    Thin rim: `rim_factor`.
    """
    body = body if material.family == "printed polymer" else None
    if body is not None and not (body.walls or body.infill):
        raise DomainError(
            "walls", body.walls, "one or more walls, or some infill: nothing is left of this print"
        )
    stress = material.tooth_stress if breaking_stress is None else breaking_stress
    backup = (
        solid_rim(tooth.circles.root, tooth.bore, tooth.circles.whole_depth)
        / tooth.circles.whole_depth
    )
    warmth, layers = warmth_factors(material, temperature), layer_factors(material, body)
    rim = rim_shares(backup)
    force = stress * tooth.width * tooth.module * _geometry_factor(tooth, material, contact_ratio)
    force *= warmth[1] * layers[1] * rim[1]
    low, high = combined_range(_stress_range(material, breaking_stress), warmth, layers, rim)
    basis = _basis(material, body, warmth[1], breaking_stress)
    if tested_force is not None:
        force, low, high, basis = tested_force, 1.0, 1.0, "tested"
    return ToothStrength(force, "N", basis, low * force, high * force, backup)


def _geometry_factor(tooth: Tooth, material: Material, contact_ratio: float) -> float:
    """Force over stress, width and module, of a tooth on a full rim. [-]

    Metal: Lewis's form factor, J. E. Shigley, *Mechanical Engineering Design*, eq. 14-7. Moulded:
    ``1/(Y_Fa Y_Sa Y_eps)`` of VDI 2736-2 with the contact-ratio factor of ISO 6336-3, ``0.25 +
    0.75/contact ratio`` (both from memory).
    """
    gear = (tooth.teeth, tooth.pressure_angle, tooth.shift, tooth.rack)
    if material.family == "printed polymer":
        return PRINTED_GAIN * form_factor(*gear, contact_ratio)
    if material.is_metal:
        return form_factor(*gear)
    (form, stress), pairs = tip_load_factors(*gear), min(max(contact_ratio, 1.0), 2.0)
    return 1.0 / (form * stress * (0.25 + 0.75 / pairs))


def _stress_range(material: Material, breaking_stress: float | None) -> tuple[float, float, float]:
    """Low, best and high stress over the best one; of a print with what its formula leaves open."""
    if material.family == "printed polymer":
        return 1.0 / TOOTH_SPREAD, 1.0, TOOTH_SPREAD
    if breaking_stress is not None:
        return 1.0, 1.0, 1.0
    low, high = material.span(material.tooth_key)
    return low / material.tooth_stress, 1.0, high / material.tooth_stress


def _basis(
    material: Material, body: PrintedBody | None, warmth: float, breaking_stress: float | None
) -> Basis:
    """What the estimate rests on."""
    bases: list[Basis] = [
        "given" if breaking_stress is not None else material.basis(material.tooth_key)
    ]
    if warmth < 1.0:
        bases.append(material.basis("softening"))
    if body is not None and body.direction == "standing":
        bases.append(material.basis("across_layers"))
    if material.family == "moulded polymer":
        bases.append("from memory")
    return weakest_basis(*bases)


# ----------------------------------------------------------------------------------------


def friction_temperature(
    ambient: Floats,
    power: Floats,
    friction: float,
    loss_factor: float,
    tooth: Tooth,
    speed: Floats,
    heating: float,
) -> Floats:
    """Temperature of a polymer tooth that its own friction warms, in an open drive. [°C]

    Parameters
    ----------
    ambient : float or ndarray
        Air temperature. [°C]
    power : float or ndarray
        Power that the mesh carries; its size is what counts. [W]
    friction, loss_factor : float
        Coefficient of friction, and sliding-loss factor H_V. [-]
    tooth : Tooth
        The tooth.
    speed : float or ndarray
        Pitch-line speed. [m/s]
    heating : float
        A value of `ROOT_HEATING` or `FLANK_HEATING`; 0 in oil. [K·mm·(mm·m/s)^0.75/W]

    Returns
    -------
    float or ndarray
        Temperature in lasting running; ambient at rest.

    References
    ----------
    VDI 2736-2, temperatures of root and flank, with the housing's share left out; from memory,
    assumed, a factor of two either way is possible.
    """
    v = np.abs(speed)
    moving = v > 0.0
    scale = (
        1e3 * tooth.width * tooth.teeth * (np.where(moving, v, 1.0) * 1e3 * tooth.module) ** 0.75
    )
    rise = np.where(moving, np.abs(power) * friction * loss_factor * heating / scale, 0.0)
    total = ambient + rise
    return total if np.ndim(total) else float(total)
