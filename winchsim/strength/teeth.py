"""Gear teeth: the force on a tooth, the force that breaks it, warmth from friction, and fatigue.

Forces are tangential at the pitch circle of one tooth. The strength side knows no speed: what a running
mesh adds to its own force is `dynamic_factor` on the demand side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from winchsim.elementwise import Floats
from winchsim.errors import DomainError
from winchsim.physics.gears import DEFAULT_PRESSURE_ANGLE, ISO_RACK, Diameters, Rack, diameters
from winchsim.quantity_text import number, quantity
from winchsim.strength.link import Basis, Strength, weakest_basis
from winchsim.strength.materials import FatigueLine, Material
from winchsim.strength.printed import (
    CAUTIOUS_EXPONENT,
    LEAST_PUBLISHED_RIM,
    TEST_TEMPERATURE,
    PrintedBody,
    effective_rim,
    rim_factor,
    rim_factor_range,
    sandwich_share,
    solid_rim,
    temperature_factor,
)
from winchsim.strength.tooth_form import Making, RootSection, root_section, tip_load_factors, velocity_factor

Path = Literal["beam", "root stress"]
"""How a tooth is calculated: Lewis's beam, or the guideline form with tip-load factors and load sharing."""

ROOT_HEATING = {"polymer": 2400.0, "metal": 1000.0}
"""Coefficient of the tooth-root temperature, by what the partner is made of [K·mm·(mm·m/s)^0.75/W]. From memory of
VDI 2736-2."""

FLANK_HEATING = {"polymer": 10_000.0, "metal": 7_000.0}
"""Coefficient of the flank temperature, dry, by what the partner is made of; 0 in oil [K·mm·(mm·m/s)^0.75/W]. From memory of
VDI 2736-2."""


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

    def __post_init__(self) -> None:
        if not self.width > 0.0:
            raise DomainError("face width", self.width, "a positive length")
        if not self.bore >= 0.0:
            raise DomainError("bore", self.bore, "zero or a positive length")

    @property
    def circles(self) -> Diameters:
        """Pitch, base, tip and root diameter. [m]"""
        return diameters(self.teeth, self.module, shift=self.shift, pressure_angle=self.pressure_angle, rack=self.rack)

    @property
    def root(self) -> RootSection:
        """Hardest-bent section, in modules."""
        return root_section(self.teeth, self.pressure_angle, self.shift, self.rack)


@dataclass(frozen=True)
class ToothStrength:
    """Force that breaks a tooth, and every factor that led to it.

    Attributes
    ----------
    force : float
        Best estimate of the tangential force that breaks one tooth. [N]
    low, high : float
        Range left open by the material's sources, the print's layers and a rim outside the published range.
        [N]
    basis : str
        ``given``, ``tested``, ``tabled`` or ``from memory``.
    path : str
        ``beam`` or ``root stress``, see `Path`.
    stress : float
        Stress at which the solid material gives way at the test temperature. [Pa]
    temperature_factor, layer_factor, sandwich_share : float
        What warmth, layers across the tooth and an unfilled root leave of it, 0 to 1. [-]
    rim_factor : float
        By what a thin rim divides it, 1 or more. [-]
    backup_ratio : float
        Effective rim over whole depth. [-]
    outside_published_range : bool
        The rim is thinner than any published rim factor covers.
    cautious_force : float
        The force with the infill's strength falling as the square of its density. [N]
    estimate : float
        The force as estimated, also where a test replaces it. [N]
    walled : bool
        It is a print with walls around something less than solid.
    assumed, notes : tuple of str
        What was taken without being given; what the reader should know.
    """

    force: float
    low: float
    high: float
    basis: Basis
    path: Path
    stress: float
    temperature_factor: float
    layer_factor: float
    sandwich_share: float
    rim_factor: float
    backup_ratio: float
    outside_published_range: bool
    cautious_force: float
    estimate: float
    walled: bool
    assumed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def main_cause(self) -> str:
        """What weakens the tooth most: ``walls``, ``warmth``, ``layers``, ``thin rim`` or, when nothing does, ``size``.

        ``walls`` stands for everything that more walls would mend: the rim and the root of a printed gear
        that is not solid.
        """
        shares = {
            "warmth": self.temperature_factor,
            "layers": self.layer_factor,
            "walls" if self.walled else "thin rim": self.sandwich_share / self.rim_factor,
        }
        cause = min(shares, key=lambda key: shares[key])
        return cause if shares[cause] < 0.98 else "size"

    def as_strength(self) -> Strength:
        """The same as the strength of a link. [N]"""
        return Strength(self.force, "N", self.basis, self.low, self.high, self.assumed, self.notes)


# ------------------------------------------------------------------------------------------------------- demand


def tooth_force(torque: Floats, pitch_diameter: float, sharing: Floats = 1) -> Floats:
    """Tangential force on one tooth from the torque on its gear. [N]

    Parameters
    ----------
    torque : float or ndarray
        Torque on the gear; its size is what counts. [N·m]
    pitch_diameter : float
        Pitch diameter of the same gear. [m]
    sharing : int or ndarray
        Equal pinions that drive the gear side by side, each at a tooth of its own; dead ones not counted. [-]

    References
    ----------
    Statics; equal sharing is an own assumption (equal motors, DEVELOPERS.md).
    """
    if np.any(np.less(sharing, 1)):
        raise DomainError("sharing pinions", sharing, "one or more")
    size: Any = abs(torque)  # keeps a plain float plain
    return 2.0 * size / (pitch_diameter * sharing)


def dynamic_factor(material: Material, speed: Floats, application_factor: float = 1.0, making: Making = "cut") -> Floats:
    """Factor on the tooth force for rough running and the mesh's own dynamics, 1 or more. [-]

    Parameters
    ----------
    material : Material
        Metal teeth take the velocity factor on top; soft polymer teeth do not (up to 5 m/s).
    speed : float or ndarray
        Pitch-line speed. [m/s]
    application_factor : float
        Factor for what drives and is driven. [-]
    making : str
        How metal teeth were made, see `velocity_factor`.

    References
    ----------
    Metal: J. E. Shigley, *Mechanical Engineering Design*, eq. 14-4 to 14-6. Polymer: K_F of VDI 2736-2 with
    no addition below 5 m/s, from memory, assumed.
    """
    if not application_factor >= 1.0:
        raise DomainError("application factor", application_factor, "1 or more")
    if material.is_metal:
        return application_factor * velocity_factor(speed, making)
    return application_factor + 0.0 * np.abs(speed)


# ------------------------------------------------------------------------------------------------------- stress


def beam_stress(force: Floats, width: float, module: float, form_factor: float, factor: Floats = 1.0) -> Floats:
    """Bending stress of a tooth as Lewis's beam: ``force x factor / (width x module x Y)``. [Pa]

    Parameters
    ----------
    force : float or ndarray
        Tangential force on the tooth. [N]
    width, module : float
        Face width and module. [m]
    form_factor : float
        Lewis form factor Y. [-]
    factor : float or ndarray
        Product of velocity, application and rim factors. [-]

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, eq. 14-7 and 14-8.
    """
    return force * factor / (width * module * form_factor)


def root_stress(
    force: Floats,
    width: float,
    module: float,
    form: float,
    stress_correction: float,
    sharing: float,
    factor: Floats = 1.0,
) -> Floats:
    """Root stress of a tooth in the guideline form ``K_F F/(b m) Y_Fa Y_Sa Y_eps``. [Pa]

    Parameters
    ----------
    force : float or ndarray
        Tangential force of the mesh. [N]
    width, module : float
        Face width and module. [m]
    form, stress_correction : float
        Tip-load factors Y_Fa and Y_Sa. [-]
    sharing : float
        Contact-ratio factor Y_eps. [-]
    factor : float or ndarray
        Load factor K_F. [-]

    References
    ----------
    VDI 2736-2, tooth root (from memory); the tip-load factors are those of ISO 6336-3.
    """
    return factor * force / (width * module) * form * stress_correction * sharing


def contact_ratio_factor(contact_ratio: float) -> float:
    """Contact-ratio factor Y_eps: how much of a tip load the neighbouring pair takes over. [-]

    Parameters
    ----------
    contact_ratio : float
        Contact ratio; below 1 there is no sharing, above 2 the value at 2 is kept. [-]

    References
    ----------
    ISO 6336-3, ``0.25 + 0.75/contact ratio`` (from memory).
    """
    return 0.25 + 0.75 / min(max(contact_ratio, 1.0), 2.0)


# ------------------------------------------------------------------------------------------------------- strength


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
        What it is made of. Moulded polymers are calculated in the root-stress form, metals and prints as
        Lewis's beam.
    body : PrintedBody, optional
        How it was printed; left out, it is solid and was printed lying.
    temperature : float
        Temperature of the tooth's root. [°C]
    contact_ratio : float
        Contact ratio of its mesh, used by the root-stress form. [-]
    breaking_stress : float, optional
        Stress at which its solid material breaks, in place of the table's value. [Pa]
    tested_force : float, optional
        Tooth force at which a tested tooth of this gear broke; replaces the estimate. [N]

    Returns
    -------
    ToothStrength

    Raises
    ------
    DomainError
        A geometry without a usable tooth or rim, or a value outside its range.

    References
    ----------
    DEVELOPERS.md, section "Strength", step by step.
    """
    body = body if material.family == "printed polymer" else None
    if breaking_stress is not None and not breaking_stress > 0.0:
        raise DomainError("tooth strength", breaking_stress, "a positive stress")
    stress = material.bearing_strength if breaking_stress is None else breaking_stress
    path: Path = "root stress" if material.family == "moulded polymer" else "beam"
    geometry = _geometry_factor(tooth, path, contact_ratio)
    warmth = float(temperature_factor(temperature, material.softening))
    layers, layers_low, layers_high = _layer_factor(material, body)
    backup, share = _body(tooth, body)
    rim = float(rim_factor(backup))
    solid_force = stress * tooth.width * tooth.module * geometry * warmth
    force = solid_force * layers * share / rim
    cautious = force
    if body is not None and body.infill_exponent < CAUTIOUS_EXPONENT:
        backup2, share2 = _body(tooth, replace(body, infill_exponent=CAUTIOUS_EXPONENT))
        cautious = solid_force * layers * share2 / float(rim_factor(backup2))
    rim_least, rim_most = rim_factor_range(backup)
    spread_low, spread_high = _stress_spread(material, breaking_stress)
    basis, assumed = _basis(material, body, warmth, breaking_stress, path)
    found = ToothStrength(
        force=force,
        low=min(cautious, solid_force * layers_low * share / rim_most * spread_low),
        high=solid_force * layers_high * share / rim_least * spread_high,
        basis=basis,
        path=path,
        stress=stress,
        temperature_factor=warmth,
        layer_factor=layers,
        sandwich_share=share,
        rim_factor=rim,
        backup_ratio=backup,
        outside_published_range=backup < LEAST_PUBLISHED_RIM,
        cautious_force=cautious,
        estimate=force,
        walled=body is not None and not body.is_solid,
        assumed=assumed,
    )
    found = replace(found, notes=_notes(found, tooth, temperature))
    return found if tested_force is None else _tested(found, tested_force)


def walls_needed(
    tooth: Tooth,
    material: Material,
    body: PrintedBody,
    force: float,
    *,
    temperature: float = TEST_TEMPERATURE,
    breaking_stress: float | None = None,
) -> int | None:
    """Fewest walls with which a tooth would bear a force, everything else as printed.

    Parameters
    ----------
    tooth, material, body, temperature, breaking_stress
        As for `tooth_strength`; the walls of `body` are what is varied.
    force : float
        Tangential force that it should bear: demand times the wanted factor. [N]

    Returns
    -------
    int or None
        Walls, at least 1; None when not even a tooth walled through and through bears it.
    """
    circles = tooth.circles
    deepest = max(solid_rim(circles.root, tooth.bore, circles.whole_depth), 0.5 * tooth.root.thickness * tooth.module)
    most = math.ceil(deepest / body.line_width)

    def bears(walls: int) -> bool:
        print_ = replace(body, walls=walls)
        found = tooth_strength(tooth, material, body=print_, temperature=temperature, breaking_stress=breaking_stress)
        return found.force >= force

    if not bears(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if bears(middle) else (middle, high)
    return high


def _geometry_factor(tooth: Tooth, path: Path, contact_ratio: float) -> float:
    """Force over stress, width and module, of a tooth on a full rim."""
    if path == "beam":
        return 1.0 / float(beam_stress(1.0, 1.0, 1.0, tooth.root.form_factor))
    tip = tip_load_factors(tooth.teeth, tooth.pressure_angle, tooth.shift, tooth.rack)
    return 1.0 / float(root_stress(1.0, 1.0, 1.0, tip.form, tip.stress, contact_ratio_factor(contact_ratio)))


def _layer_factor(material: Material, body: PrintedBody | None) -> tuple[float, float, float]:
    """Best, lowest and highest share that layers across the tooth leave."""
    if body is None or body.direction == "lying":
        return 1.0, 1.0, 1.0
    if material.across_layers is None:
        raise DomainError(
            "print direction", body.direction, f"lying: the strength across layers of {material.name} is not known"
        )
    return material.across_layers, *material.span("across_layers")


def _body(tooth: Tooth, body: PrintedBody | None) -> tuple[float, float]:
    """Backup ratio, and the root's bending strength over that of a solid root."""
    circles = tooth.circles
    solid = solid_rim(circles.root, tooth.bore, circles.whole_depth)
    if body is None:
        return solid / circles.whole_depth, 1.0
    rim = effective_rim(solid, body)
    if not rim > 0.0:
        raise DomainError("walls", body.walls, "one or more walls, or some infill: this print has no rim at all")
    return rim / circles.whole_depth, sandwich_share(tooth.root.thickness * tooth.module, body)


def _stress_spread(material: Material, breaking_stress: float | None) -> tuple[float, float]:
    """Lowest and highest stress over the best one."""
    if breaking_stress is not None:
        return 1.0, 1.0
    low, high = material.span(material.bearing_key)
    return low / material.bearing_strength, high / material.bearing_strength


def _basis(
    material: Material, body: PrintedBody | None, warmth: float, breaking_stress: float | None, path: Path
) -> tuple[Basis, tuple[str, ...]]:
    """What the estimate rests on, and what in it was assumed."""
    bases: list[Basis] = ["given" if breaking_stress is not None else material.basis(material.bearing_key)]
    assumed = []
    if warmth < 1.0:
        bases.append(material.basis("softening"))
        assumed.append("strength falls linearly to a tenth at the softening temperature")
    if body is not None and body.direction == "standing":
        bases.append(material.basis("across_layers"))
    if body is not None and not body.is_solid:
        assumed.append(f"infill strength as its density to the power {number(body.infill_exponent, 2)}")
    if path == "root stress":
        bases.append("from memory")
        assumed.append("root-stress form and load sharing of the plastic-gear guidelines, from memory")
    return weakest_basis(*bases), tuple(assumed)


def _notes(found: ToothStrength, tooth: Tooth, temperature: float) -> tuple[str, ...]:
    """What a reader should know of the estimate."""
    notes = []
    if found.walled and found.rim_factor / found.sandwich_share > 1.0 + 1e-6:
        rim = quantity(found.backup_ratio * tooth.circles.whole_depth, "mm")
        depths, divisor = number(found.backup_ratio, 2), number(found.rim_factor / found.sandwich_share, 3)
        notes.append(
            f"Walls and infill make a rim of {rim}, {depths} of the tooth depth: it divides the tooth's strength by {divisor}."
        )
        lean = number(100 * found.cautious_force / found.force, 2)
        notes.append(
            "Were the infill as weak as cellular theory says (the square of its density), "
            f"the tooth would bear {lean} % of this."
        )
    elif found.rim_factor > 1.0 + 1e-6:
        notes.append(
            f"The rim left above the bore is {number(found.backup_ratio, 2)} of the tooth depth: "
            f"it divides the tooth's strength by {number(found.rim_factor, 3)}."
        )
    if found.outside_published_range:
        notes.append("The rim is outside the published range of the rim factor (under half the tooth depth): a range is shown.")
    if found.temperature_factor < 1.0:
        kept = number(100 * found.temperature_factor, 2)
        notes.append(f"At {quantity(temperature, '°C')} the material keeps {kept} % of its strength.")
    if found.layer_factor < 1.0:
        notes.append(f"Printed standing, it keeps {number(100 * found.layer_factor, 2)} % of its strength.")
    return tuple(notes)


def _tested(found: ToothStrength, force: float) -> ToothStrength:
    """The strength that a test gave, with the estimate kept beside it."""
    if not force > 0.0:
        raise DomainError("tested tooth force", force, "a positive force")
    note = f"Tested: it broke at {quantity(force, 'N')}; the estimate without the test is {quantity(found.estimate, 'N')}."
    return replace(
        found,
        force=force,
        low=force,
        high=force,
        cautious_force=force,
        basis="tested",
        outside_published_range=False,
        assumed=(),
        notes=(note, *found.notes),
    )


# ------------------------------------------------------------------------------------------------------- warmth


def friction_temperature(
    ambient: Floats,
    power: Floats,
    friction: float,
    loss_factor: float,
    tooth: Tooth,
    speed: Floats,
    heating: float,
    duty: float = 1.0,
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
    duty : float
        Share of the time in which it runs, 0 to 1; short lifts are cooler than this steady value anyway. [-]

    Returns
    -------
    float or ndarray
        Temperature in lasting running; ambient at rest.

    References
    ----------
    VDI 2736-2, temperatures of root and flank, with the housing's share left out; from memory, assumed, a
    factor of two either way is possible.
    """
    if not 0.0 <= duty <= 1.0:
        raise DomainError("duty", duty, "between 0 and 1")
    v = np.abs(speed)
    moving = v > 0.0
    scale = 1e3 * tooth.width * tooth.teeth * (np.where(moving, v, 1.0) * 1e3 * tooth.module) ** 0.75
    rise = np.where(moving, np.abs(power) * friction * loss_factor * heating / scale * duty**0.64, 0.0)
    total = ambient + rise
    return total if np.ndim(total) else float(total)


# ------------------------------------------------------------------------------------------------------- fatigue


def mesh_cycles(angle: Floats, meshes_per_turn: int = 1) -> Floats:
    """How often each tooth of a gear is loaded while the gear turns. [-]

    Parameters
    ----------
    angle : float or ndarray
        Angle turned, both ways added. [rad]
    meshes_per_turn : int
        Partners that load the gear in one turn: the live pinions around a common gear. [-]
    """
    return np.abs(angle) / (2.0 * math.pi) * meshes_per_turn


def lifts_to_fatigue(line: FatigueLine | None, stress: float, cycles_per_lift: float) -> float | None:
    """Lifts until a tooth fails by fatigue; None when no line is known. [-]

    Parameters
    ----------
    line : FatigueLine or None
        Sourced line of the material.
    stress : float
        Root stress of a lift. [Pa]
    cycles_per_lift : float
        From `mesh_cycles`. [-]

    References
    ----------
    A. Palmgren's and M. A. Miner's linear damage, for equal cycles.
    """
    if line is None:
        return None
    if stress <= 0.0 or cycles_per_lift <= 0.0:
        return math.inf
    return line.cycles * (line.stress / stress) ** line.slope / cycles_per_lift
