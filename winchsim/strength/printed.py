"""Printed gears: what walls, infill, layers and warmth leave of a tooth's strength.

The steps, in the order in which they act on the strength of the solid polymer in the plane of its layers:

1. *Warmth.* Strength falls linearly from the test temperature to a tenth at the softening temperature.
2. *Layers.* Printed standing (layers across the tooth) only the strength between layers counts.
3. *Rim.* A tooth breaks out of a thin rim more easily. The walls make the rim, the infill relieves it by a
power of its
   density, and the published rim-thickness factor does the rest.
4. *Sandwich.* Where the walls of both flanks do not meet in the tooth's root, the root bends as a sandwich.

Which step rests on which source, and which is an own assumption, is written in DEVELOPERS.md, section
"Strength".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import DomainError

Direction = Literal["lying", "standing"]

TEST_TEMPERATURE = 23.0
"""Temperature at which tensile strengths of plastics are measured [°C]. ISO 291, standard atmosphere."""

SHARE_AT_SOFTENING = 0.1
"""Share of the strength left at the softening temperature [-]. Own assumption: strength falls as stiffness does, and
a bar at its deflection temperature (0.45 MPa, 0.2 % outer-fibre strain by ISO 75) has a modulus of 225 MPa, a tenth
of the usual 2 GPa."""

MEASURED_EXPONENT = 1.0
"""Exponent of printed infill's strength against its density [-]. Aboelella et al., Sci. Rep. 15 (2025) 11759,
Table 4: PLA in compression from 20 to 50 % gives 0.83 (honeycomb), 0.88 (triangle) and 1.08 (grid)."""

CAUTIOUS_EXPONENT = 2.0
"""Exponent shown beside the declared one [-]. Cellular theory: 1.5 (open foam) to 2 (honeycomb crushed in its plane)
in strength, 2 to 3 in stiffness; L. J. Gibson and M. F. Ashby, Cellular Solids."""

FULL_RIM = 1.2
"""Backup ratio from which a rim no longer weakens its teeth [-]. J. E. Shigley, Mechanical Engineering Design, §14-16."""

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
    infill_exponent : float
        Power of the infill's strength against its density. [-]
    direction : {"lying", "standing"}
        Lying: layers parallel to the gear's faces. Standing: the axis lay in the plane of the bed.
    """

    walls: int
    line_width: float
    infill: float
    infill_exponent: float = MEASURED_EXPONENT
    direction: Direction = "lying"

    def __post_init__(self) -> None:
        if self.walls < 0:
            raise DomainError("walls", self.walls, "zero or more")
        if not self.line_width > 0.0:
            raise DomainError("line width", self.line_width, "a positive length")
        if not 0.0 <= self.infill <= 1.0:
            raise DomainError("infill", self.infill, "between 0 and 1")
        if not self.infill_exponent > 0.0:
            raise DomainError("infill exponent", self.infill_exponent, "a positive number")
        if self.direction not in ("lying", "standing"):
            raise DomainError("print direction", self.direction, "lying or standing")

    @property
    def wall_thickness(self) -> float:
        """Thickness of all walls of one outline together. [m]"""
        return self.walls * self.line_width

    @property
    def infill_share(self) -> float:
        """Strength (and stiffness) of the infill over that of solid material. [-]"""
        return float(self.infill**self.infill_exponent)

    @property
    def is_solid(self) -> bool:
        """Whether nothing inside it is left empty."""
        return self.infill >= 1.0


def temperature_factor(temperature: Floats, softening: float | None) -> Floats:
    """Strength at a temperature over strength at the test temperature, 0.1 to 1. [-]

    Parameters
    ----------
    temperature : float or ndarray
        Temperature of the part. [°C]
    softening : float or None
        Glass transition or deflection temperature; None for a material that does not soften (a metal). [°C]

    Returns
    -------
    float or ndarray
        1 up to the test temperature (cold gives no bonus), then linear down to 0.1 at the softening
        temperature and above.

    References
    ----------
    Own assumption, DEVELOPERS.md; see `SHARE_AT_SOFTENING`.
    """
    if softening is None:
        return temperature * 0.0 + 1.0
    if not softening > TEST_TEMPERATURE:
        raise DomainError("softening temperature", softening, f"more than the {TEST_TEMPERATURE:g} °C of the test")
    warmth = np.clip((temperature - TEST_TEMPERATURE) / (softening - TEST_TEMPERATURE), 0.0, 1.0)
    factor = 1.0 - (1.0 - SHARE_AT_SOFTENING) * warmth
    return factor if np.ndim(temperature) else float(factor)


def solid_rim(root_diameter: float, bore: float, whole_depth: float) -> float:
    """Rim of a solid gear that counts: from its root to its bore, at most 1.2 whole depths. [m]

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


def effective_rim(solid: float, body: PrintedBody) -> float:
    """Rim that walls and infill make: the walls, and of what lies behind them the infill's share. [m]

    Parameters
    ----------
    solid : float
        Rim of the solid gear. [m]
    body : PrintedBody
        How it was printed.

    References
    ----------
    Own assumption, DEVELOPERS.md.
    """
    walls = min(body.wall_thickness, solid)
    return walls + (solid - walls) * body.infill_share


def rim_factor(backup_ratio: Floats) -> Floats:
    """Rim-thickness factor K_B: by how much a thin rim raises a tooth's bending stress, 1 or more. [-]

    Parameters
    ----------
    backup_ratio : float or ndarray
        Rim behind the tooth over whole depth, positive. [-]

    Returns
    -------
    float or ndarray
        1.6 ln(2.242/ratio) below 1.2, else 1. Below 0.5 the same logarithm is continued, outside the
        published range.

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, eq. 14-39 and 14-40, §14-16; the continuation is an own
    assumption.
    """
    if np.any(np.asarray(backup_ratio) <= 0.0):
        raise DomainError("backup ratio", backup_ratio, "a positive number")
    factor = np.where(backup_ratio < FULL_RIM * (1.0 - 1e-9), 1.6 * np.log(2.242 / backup_ratio), 1.0)
    return factor if np.ndim(backup_ratio) else float(factor)


def rim_factor_range(backup_ratio: float) -> tuple[float, float]:
    """Least and greatest rim factor that can be argued for. [-]

    Parameters
    ----------
    backup_ratio : float
        Rim behind the tooth over whole depth, positive. [-]

    Returns
    -------
    tuple of float
        The factor twice within the published range. Below it: the factor held at its last published value,
        and that value raised as the bending stress of a free ring, by the inverse square of the rim.

    References
    ----------
    Own assumption, DEVELOPERS.md.
    """
    if backup_ratio >= LEAST_PUBLISHED_RIM:
        factor = float(rim_factor(backup_ratio))
        return factor, factor
    edge = float(rim_factor(LEAST_PUBLISHED_RIM))
    return edge, edge * (LEAST_PUBLISHED_RIM / backup_ratio) ** 2


@dataclass(frozen=True)
class Layer:
    """One layer of a beam that bends: thickness [m] and Young's modulus [Pa] (or any numbers in proportion to moduli)."""

    thickness: float
    modulus: float


def layered_bending(moment: float, width: float, layers: Sequence[Layer]) -> tuple[tuple[float, float], ...]:
    """Stresses in a beam of bonded layers under a bending moment, at the lower and upper face of every layer. [Pa]

    Parameters
    ----------
    moment : float
        Bending moment; positive pulls on the lowest layer. [N·m]
    width : float
        Width, equal for all layers. [m]
    layers : sequence of Layer
        From the lowest up.

    Returns
    -------
    tuple of (float, float)
        Stress at the lower and at the upper face of each layer, tension positive. [Pa]

    References
    ----------
    Transformed section of a composite beam: J. M. Gere, *Mechanics of Materials*, §6.2 and 6.3.
    """
    edges = [0.0]
    for layer in layers:
        edges.append(edges[-1] + layer.thickness)
    rows = tuple(zip(layers, edges[:-1], edges[1:], strict=True))
    stretch = sum(layer.modulus * layer.thickness for layer in layers)
    neutral = sum(layer.modulus * layer.thickness * 0.5 * (a + b) for layer, a, b in rows) / stretch
    cubes = sum(layer.modulus * ((b - neutral) ** 3 - (a - neutral) ** 3) for layer, a, b in rows)
    curvature = moment / (width * cubes / 3.0)
    return tuple((layer.modulus * curvature * (neutral - a), layer.modulus * curvature * (neutral - b)) for layer, a, b in rows)


def sandwich_share(thickness: float, body: PrintedBody) -> float:
    """Bending strength of a walled section over that of the solid section, 0 to 1. [-]

    Parameters
    ----------
    thickness : float
        Thickness of the section that bends. [m]
    body : PrintedBody
        Walls on both sides, infill between them.

    Returns
    -------
    float
        1 where the walls meet. Else the outer fibre of the walls decides; the core's own stress is always
        the smaller share of its strength, and shear of the core is left out.

    References
    ----------
    See `layered_bending`; taking the infill's modulus as its strength share is an own assumption,
    DEVELOPERS.md.
    """
    face = body.wall_thickness
    core = thickness - 2.0 * face
    share = body.infill_share
    if core <= 0.0 or share >= 1.0:
        return 1.0
    if face == 0.0:
        return share
    solid = layered_bending(1.0, 1.0, (Layer(thickness, 1.0),))[0][0]
    walled = layered_bending(1.0, 1.0, (Layer(face, 1.0), Layer(core, share), Layer(face, 1.0)))[0][0]
    return solid / walled


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
