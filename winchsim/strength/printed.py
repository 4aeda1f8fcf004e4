"""Printed gears: what warmth and layers leave of the strength, and the torque that twists the hub
out of its infill."""

import math
from typing import Literal

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass
from winchsim.strength.link import Strength, combined_range, weakest_basis
from winchsim.strength.materials import Material

Direction = Literal["lying", "standing"]

TEST_TEMPERATURE = 23.0
"""Temperature at which strengths of plastics are measured [°C]. ISO 291, standard atmosphere."""

SHARE_AT_SOFTENING = 0.1
"""Share of the strength left at the softening temperature [-]. Own assumption: strength falls as
stiffness does, and a bar at its deflection temperature (0.45 MPa, 0.2 % outer-fibre strain by ISO
75) has a modulus of 225 MPa, a tenth of the usual 2 GPa. Printed PLA under 10 MPa broke at 60 °C
within 3 h, printed ABS under 20 MPa in minutes (O. Dogan, Strojniški vestnik 68 (2022) 451-460,
second-hand)."""

TOOTH_SPREAD = 2.0
"""Factor by which a printed tooth without a break test may be stronger or weaker than calculated
[-]. Own assumption: 12 gears broken in tests lie within 1.25, but they are of one maker; another
spool of PLA alone gave 1.26."""

BODY_SPREAD = 2.5
"""The same of a printed gear's body [-]. Own assumption: two broken bodies, their bore and walls
not stated."""

BODY_SHEAR = 0.34
"""Shear stress at which a printed gear's body breaks around its hub, over the tensile strength of
the solid print [-]. Fitted to two PLA gears whose bodies broke (see
tests/reference/test_printed_reference.py); plain shear would be 0.577."""

INFILL_EXPONENT = 0.26
"""Exponent of strength against infill in tension [-]. Rodríguez-Panes et al., Materials 2018,
PMC6119930: 20 to 50 % infill gives PLA 27 % more, ABS 25 % (second-hand)."""

LEAST_INFILL = 0.05
"""Infill that the top and bottom skins of a hollow gear count as at least [-]. Own assumption."""

DEFAULT_WALLS = 3
"""Walls of a print whose infill is given and whose walls are not [-]. Own assumption: common
practice, 2 to 5."""


FULL_RIM = 1.2
"""Backup ratio from which a rim no longer weakens its teeth [-]. J. E. Shigley, Mechanical
Engineering Design, §14-16."""

LEAST_PUBLISHED_RIM = 0.5
"""Backup ratio below which no published rim factor holds [-]. ISO 6336-3, rim-thickness factor."""


@dataclass(frozen=True)
class PrintedBody:
    """How a gear was printed.

    Attributes
    ----------
    walls : int
        Walls (perimeters) around every outline. [-]
    line_width : float
        Width of one printed line. [m]
    infill : float
        Share of the inside that is filled, 0 to 1. [-]
    direction : {"lying", "standing"}
        Lying: layers parallel to the gear's faces. Standing: the axis lay in the plane of the bed.
    """

    walls: int
    line_width: float
    infill: float
    direction: Direction = "lying"

    @property
    def wall_thickness(self) -> float:
        """Thickness of all walls of one outline together. [m]"""
        return self.walls * self.line_width


def temperature_factor(temperature: Floats, softening: float | None) -> Floats:
    """Strength at a temperature over strength at the test temperature, 0.1 to 1. [-]

    Parameters
    ----------
    temperature : float or ndarray
        Temperature of the part. [°C]
    softening : float or None
        Glass transition or deflection temperature; None for a material that does not soften (a
        metal). [°C]

    Returns
    -------
    float or ndarray
        1 up to the test temperature (cold gives no bonus), then linear down to 0.1 at the softening
        temperature and above.

    References
    ----------
    Own assumption, see `SHARE_AT_SOFTENING`.
    """
    if softening is None:
        return temperature * 0.0 + 1.0
    refuse_if(
        not softening > TEST_TEMPERATURE,
        "softening temperature",
        softening,
        f"more than the {TEST_TEMPERATURE:g} °C of the test",
    )
    warmth = np.clip((temperature - TEST_TEMPERATURE) / (softening - TEST_TEMPERATURE), 0.0, 1.0)
    factor = 1.0 - (1.0 - SHARE_AT_SOFTENING) * warmth
    return factor if np.ndim(temperature) else float(factor)


def warmth_factors(material: Material, temperature: float) -> tuple[float, float, float]:
    """Low, best and high share of the strength that warmth leaves, from the range of the softening
    temperature. [-]

    Parameters
    ----------
    material : Material
    temperature : float
        [°C]
    """
    if material.softening is None:
        return 1.0, 1.0, 1.0
    low, high = material.span("softening")
    soft, best, hard = (
        temperature_factor(temperature, at) for at in (low, material.softening, high)
    )
    return float(soft), float(best), float(hard)


def layer_factors(material: Material, body: PrintedBody | None) -> tuple[float, float, float]:
    """Low, best and high share of the strength that is left with the layers across the tooth. [-]

    Parameters
    ----------
    material : Material
    body : PrintedBody or None
        None for a solid part printed lying.

    Raises
    ------
    DomainError
        Printed standing, of a material whose strength across its layers is not known.
    """
    if body is None or body.direction == "lying":
        return 1.0, 1.0, 1.0
    if material.across_layers is None:
        wanted = f"lying: the strength across layers of {material.name} is not known"
        raise DomainError("print direction", body.direction, wanted)
    low, high = material.span("across_layers")
    return low, material.across_layers, high


def body_strength(
    material: Material,
    body: PrintedBody,
    width: float,
    bore: float,
    root_diameter: float,
    temperature: float = TEST_TEMPERATURE,
) -> Strength:
    """Torque that twists a printed gear's hub, its bore with the walls around it, out of the body.
    [N·m]

    Parameters
    ----------
    material : Material
        A printed polymer.
    body : PrintedBody
        Where the walls of bore and rim meet, or with nothing left empty, the body counts as solid.
    width, bore, root_diameter : float
        Face width, and diameters of bore and root circle. [m]
    temperature : float
        [°C]

    References
    ----------
    Shear over the cylinder around the hub, ``2 pi r² b`` times `BODY_SHEAR` of the tensile strength
    times the infill to the power `INFILL_EXPONENT`; own fit to broken gears.
    """
    radius = min(0.5 * bore + body.wall_thickness, 0.5 * root_diameter)
    solid = radius + body.wall_thickness >= 0.5 * root_diameter
    share = 1.0 if solid else max(body.infill, LEAST_INFILL) ** INFILL_EXPONENT
    warmth, layers = warmth_factors(material, temperature), layer_factors(material, body)
    stress = material.tensile_strength * BODY_SHEAR * share * warmth[1] * layers[1]
    torque = 2.0 * math.pi * radius**2 * width * stress
    low, high = combined_range((1 / BODY_SPREAD, 1.0, BODY_SPREAD), warmth, layers)
    basis = weakest_basis(material.basis("tensile_strength"), "from memory")
    return Strength(torque, "N·m", basis, low * torque, high * torque)


def solid_rim(root_diameter: float, bore: float, whole_depth: float) -> float:
    """Rim that counts behind a tooth: from its root to the bore, at most 1.2 whole depths. [m]

    Parameters
    ----------
    root_diameter, bore : float
        Diameters. [m]
    whole_depth : float
        Whole depth of the teeth. [m]

    Raises
    ------
    DomainError
        The bore leaves no rim.

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, §14-16: no reduction from 1.2 whole depths.
    """
    rim = 0.5 * (root_diameter - bore)
    if not rim > 0.0:
        raise DomainError("bore", bore, f"less than the root diameter, {root_diameter:.4g} m")
    return min(rim, FULL_RIM * whole_depth)


def rim_factor(backup_ratio: Floats) -> Floats:
    """Rim-thickness factor K_B: by how much a thin rim over a bore raises a tooth's bending stress,
    1 or more. [-]

    Parameters
    ----------
    backup_ratio : float or ndarray
        Rim behind the tooth over whole depth, positive. [-]

    Returns
    -------
    float or ndarray
        1.6 ln(2.242/ratio) below 1.2, else 1. Below 0.5 the same logarithm is continued, outside
        the published range.

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, eq. 14-39 and 14-40, §14-16; the continuation is
    an own assumption.
    """
    factor = np.where(
        backup_ratio < FULL_RIM * (1.0 - 1e-9), 1.6 * np.log(2.242 / backup_ratio), 1.0
    )
    return factor if np.ndim(backup_ratio) else float(factor)


def rim_shares(backup_ratio: float) -> tuple[float, float, float]:
    """Low, best and high share of a tooth's strength over a thin rim. [-]

    Parameters
    ----------
    backup_ratio : float
        Rim behind the tooth over whole depth, positive. [-]

    References
    ----------
    One over `rim_factor`, without a range where that is published. Thinner, from the last published
    value as it is to that value with the bending stress of a free ring, by the inverse square of
    the rim; own assumption.
    """
    best = 1.0 / float(rim_factor(backup_ratio))
    if backup_ratio >= LEAST_PUBLISHED_RIM:
        return best, best, best
    edge = 1.0 / float(rim_factor(LEAST_PUBLISHED_RIM))
    return edge * (backup_ratio / LEAST_PUBLISHED_RIM) ** 2, best, edge


def fill_share(outer: float, bore: float, body: PrintedBody) -> float:
    """Share of a printed disc's volume that is material, for its mass and inertia. [-]

    Parameters
    ----------
    outer, bore : float
        Diameters. [m]
    body : PrintedBody
        Walls along both outlines, infill between; top and bottom skins are left out.

    References
    ----------
    Geometry; own assumption that the walls follow two circles.
    """
    wall = body.wall_thickness
    inner_edge, outer_edge = (bore + 2.0 * wall if bore > 0.0 else 0.0), outer - 2.0 * wall
    if outer_edge <= inner_edge:
        return 1.0
    sparse = (outer_edge**2 - inner_edge**2) / (outer**2 - bore**2)
    return 1.0 - sparse * (1.0 - body.infill)
