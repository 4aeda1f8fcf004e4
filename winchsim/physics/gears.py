"""Spur gears: tooth geometry, contact, sliding loss, form factors and bodies of revolution.

Everything is a pure function of SI floats (angles in radians). Lengths of a tooth that scale with the
module are given in modules; the few that are metres say so. A gear is *external* unless `internal` is said,
and internal gears are known here only as partners of a pinion in contact: their tooth roots are not formed
by a rack, so they get no form factor.

The generating rack
-------------------
Teeth are taken as cut (or drawn) by a straight-sided rack with a rounded tip. `ISO_RACK`, dedendum 1.25 m and tip
radius 0.38 m (ISO 53, profile A), is the default: it is what metric cutters and most drawing programs make, and it is also
the rack behind the published tip-load factors. Against the printed Lewis tables it gives form factors 1 to 3.5 % low, which
is the safe side; the older inch-system rack (1.157 m, 0.3 m) comes within 3.1 % of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from winchsim.constants import INCH
from winchsim.elementwise import Floats
from winchsim.errors import DomainError

DEFAULT_PRESSURE_ANGLE = math.radians(20.0)
"""Pressure angle taken when none is given [rad]. ISO 53; common practice for every small gear sold today."""

LEAST_TEETH = 5
"""Fewest teeth for which the geometry here is meant; below, a rack-made involute tooth is all undercut."""

_MOST_STEPS = 60
_SCAN_POINTS = 201
_SCAN_ZOOMS = 3


@dataclass(frozen=True)
class Rack:
    """Generating rack: how deep a tooth space is cut and how round its bottom is.

    Parameters
    ----------
    addendum : float
        Height of a tooth above the pitch line, in modules. [-]
    dedendum : float
        Depth of a tooth space below the pitch line, in modules. [-]
    tip_radius : float
        Radius at the rack's tip corner, in modules; it makes the fillet at the tooth's root. Where the
        corner has no room for it (large pressure angle, deep rack) the largest radius that fits is used.
        [-]
    """

    addendum: float = 1.0
    dedendum: float = 1.25
    tip_radius: float = 0.38

    def __post_init__(self) -> None:
        if not self.addendum > 0.0:
            raise DomainError("rack addendum", self.addendum, "a positive number of modules")
        if not self.dedendum > 0.0:
            raise DomainError("rack dedendum", self.dedendum, "a positive number of modules")
        if not self.tip_radius >= 0.0:
            raise DomainError("rack tip radius", self.tip_radius, "zero or a positive number of modules")


ISO_RACK = Rack(1.0, 1.25, 0.38)


@dataclass(frozen=True)
class Diameters:
    """The four circles of one gear, all as diameters. [m]

    For an internal gear `tip` is the smallest and `root` the largest.
    """

    pitch: float
    base: float
    tip: float
    root: float

    @property
    def whole_depth(self) -> float:
        """Radial height of a tooth from root circle to tip circle. [m]"""
        return 0.5 * abs(self.tip - self.root)


@dataclass(frozen=True)
class RootSection:
    """The tooth section that bends hardest under a force at the tip, in modules.

    Attributes
    ----------
    thickness : float
        Chord of the section. [-]
    arm : float
        Distance from the section to where the force's line meets the tooth's centre line. [-]
    load_angle : float
        Angle between that line and the normal to the tooth's centre line. [rad]
    """

    thickness: float
    arm: float
    load_angle: float

    @property
    def form_factor(self) -> float:
        """Lewis form factor ``thickness² / (6 arm)``. [-]"""
        return self.thickness**2 / (6.0 * self.arm)


@dataclass(frozen=True)
class TipLoadFactors:
    """ISO-type factors of the root stress under a force at the tip.

    Attributes
    ----------
    form : float
        Form factor Y_Fa. [-]
    stress : float
        Stress correction factor Y_Sa. [-]
    """

    form: float
    stress: float


@dataclass(frozen=True)
class Contact:
    """How a pair of spur gears touches.

    Gear 1 is the pinion. Lengths are metres; ratios and the parts of the contact ratio have no unit.

    Attributes
    ----------
    centre_distance : float
        Distance of the axes. [m]
    recess, approach : float
        Path of contact beyond the pitch point on the pinion's tip side, and on the gear's tip side. [m]
    e1, e2 : float
        The same two in base pitches: parts of the contact ratio owed to the pinion's and to the gear's
        tips. [-]
    cut_pinion, cut_gear : bool
        The partner's tip reaches past the point where the line of action touches this gear's base circle. A
        rack-made tooth is undercut there and the contact ends; a tooth drawn as a plain involute would jam.
    clearance1, clearance2 : float
        Room between the tip of gear 1 (2) and the root of its partner. [m]
    """

    centre_distance: float
    recess: float
    approach: float
    e1: float
    e2: float
    cut_pinion: bool
    cut_gear: bool
    clearance1: float
    clearance2: float

    @property
    def path(self) -> float:
        """Length of the path of contact. [m]"""
        return self.recess + self.approach

    @property
    def ratio(self) -> float:
        """Contact ratio: mean number of tooth pairs that touch. [-]"""
        return self.e1 + self.e2


# ----------------------------------------------------------------------------------------- basic sizes


def module_from_diametral_pitch(diametral_pitch: float) -> float:
    """Module of a gear whose size is given as teeth per inch of pitch diameter.

    Parameters
    ----------
    diametral_pitch : float
        Teeth per inch of pitch diameter. [1/in]

    Returns
    -------
    float
        Module. [m]

    References
    ----------
    Definition; an inch is 0.0254 m exactly.
    """
    if not diametral_pitch > 0.0:
        raise DomainError("diametral pitch", diametral_pitch, "a positive number of teeth per inch")
    return INCH / diametral_pitch


def involute(angle: float) -> float:
    """Involute function ``tan(angle) - angle``. [rad]

    Parameters
    ----------
    angle : float
        Pressure angle. [rad]
    """
    return math.tan(angle) - angle


def inverse_involute(value: float) -> float:
    """Pressure angle whose involute function is `value`. [rad]

    Parameters
    ----------
    value : float
        Involute function, zero or positive. [rad]

    Raises
    ------
    DomainError
        Negative value: no pressure angle belongs to it.
    """
    if not 0.0 <= value < 100.0:
        raise DomainError("involute value", value, "zero or a small positive number")
    low, high = 0.0, 0.5 * math.pi - 1e-4
    for _ in range(_MOST_STEPS):
        middle = 0.5 * (low + high)
        if involute(middle) < value:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def diameters(
    teeth: int,
    module: float,
    *,
    shift: float = 0.0,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    rack: Rack = ISO_RACK,
    internal: bool = False,
) -> Diameters:
    """Pitch, base, tip and root diameter of a gear.

    Parameters
    ----------
    teeth : int
        Number of teeth. [-]
    module : float
        Module. [m]
    shift : float
        Profile shift in modules; positive moves the tooth outwards. [-]
    pressure_angle : float
        Pressure angle of the rack. [rad]
    rack : Rack
        Addendum and dedendum. [-]
    internal : bool
        A ring with teeth on the inside.

    Returns
    -------
    Diameters
        The four circles. [m]

    References
    ----------
    ISO 21771 (spur case). Tips are not shortened for shifted pairs: see `Contact.clearance1`.
    """
    _check_gear(teeth, module, pressure_angle)
    pitch = teeth * module
    side = -1.0 if internal else 1.0
    tip = pitch + 2.0 * module * (side * rack.addendum + shift)
    root = pitch - 2.0 * module * (side * rack.dedendum - shift)
    return Diameters(pitch, pitch * math.cos(pressure_angle), tip, root)


def tip_thickness(teeth: int, *, shift: float = 0.0, pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
                  rack: Rack = ISO_RACK) -> float:  # fmt: skip
    """Thickness of a tooth at its tip circle, in modules; negative when the flanks would cross below it. [-]

    Parameters
    ----------
    teeth : int
        Number of teeth. [-]
    shift : float
        Profile shift in modules. [-]
    pressure_angle : float
        Pressure angle. [rad]
    rack : Rack
        Its addendum sets the tip circle. [-]

    References
    ----------
    ISO 21771, tooth thickness at a circle (spur case); involute geometry.
    """
    tip_radius, _, half_angle = _tip_point(teeth, shift, pressure_angle, rack)
    return 2.0 * tip_radius * half_angle


# ---------------------------------------------------------------------------------------------- limits


def undercut_limit(pressure_angle: float = DEFAULT_PRESSURE_ANGLE, *, shift: float = 0.0, rack: Rack = ISO_RACK) -> float:
    """Number of teeth below which the rack cuts into the involute, as a real number. [-]

    Parameters
    ----------
    pressure_angle : float
        Pressure angle. [rad]
    shift : float
        Profile shift in modules. [-]
    rack : Rack
        Its straight flank ends ``dedendum - tip radius (1 - sin angle)`` below the pitch line. [-]

    References
    ----------
    Involute geometry: the rack's straight flank may not pass the point where the line of action touches the
    base circle; J. E. Shigley, *Mechanical Engineering Design*, §13-7 (the full-depth 20° value, 17.1).
    """
    _, radius = _rack_tip(pressure_angle, rack)
    straight = rack.dedendum - radius * (1.0 - math.sin(pressure_angle))
    return max(0.0, 2.0 * (straight - shift) / math.sin(pressure_angle) ** 2)


# --------------------------------------------------------------------------------------------- contact


def contact(
    teeth1: int,
    teeth2: int,
    *,
    module: float = 1.0,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift1: float = 0.0,
    shift2: float = 0.0,
    rack: Rack = ISO_RACK,
    addendum1: float | None = None,
    addendum2: float | None = None,
    centre_distance: float | None = None,
    internal: bool = False,
    cut_at_base: bool = True,
) -> Contact:
    """Contact of a spur pair: path, contact ratio with its two parts, cuts and clearances.

    Parameters
    ----------
    teeth1, teeth2 : int
        Teeth of pinion and gear. [-]
    module : float
        Module; with the default 1 every length comes out in modules. [m]
    pressure_angle : float
        Pressure angle of the rack. [rad]
    shift1, shift2 : float
        Profile shifts in modules. [-]
    rack : Rack
        Addendum (unless given below) and dedendum of both. [-]
    addendum1, addendum2 : float, optional
        Own addendum of a gear, in modules. [-]
    centre_distance : float, optional
        Distance of the axes; left out, the distance at which the pair runs without backlash. [m]
    internal : bool
        Gear 2 is a ring around the pinion.
    cut_at_base : bool
        End the path where the line of action touches a base circle (what an undercut tooth does). ``False``
        gives the length that the plain formula claims, which is too long when a pinion is undercut.

    Returns
    -------
    Contact
        All lengths in metres.

    Raises
    ------
    DomainError
        Tooth counts, module or angle outside what is meant here; a ring not larger than its pinion; axes so
        near or so far that the teeth do not touch at all.

    References
    ----------
    Path of approach and recess: R. S. Khurmi and J. K. Gupta, *Theory of Machines*, chapter 12. Working
    angle of shifted pairs: ISO 21771. Cutting the path at the base point: own assumption, DEVELOPERS.md.
    """
    _check_gear(teeth1, module, pressure_angle)
    _check_gear(teeth2, module, pressure_angle)
    if internal and teeth2 <= teeth1:
        raise DomainError("ring gear teeth", teeth2, f"more than the pinion's {teeth1}")
    side = -1.0 if internal else 1.0
    teeth_sum = teeth2 + side * teeth1
    shift_sum = shift2 + side * shift1
    angle, distance = _working(teeth_sum, shift_sum, module, pressure_angle, centre_distance)
    tip1 = module * (0.5 * teeth1 + (rack.addendum if addendum1 is None else addendum1) + shift1)
    tip2 = module * (0.5 * teeth2 + side * (rack.addendum if addendum2 is None else addendum2) + shift2)
    per_tooth, base = distance / teeth_sum * math.sin(angle), 0.5 * module * math.cos(pressure_angle)
    reach1, reach2 = per_tooth * teeth1, per_tooth * teeth2
    recess = _beyond_base(tip1, base * teeth1, "pinion") - reach1
    approach = side * (_beyond_base(tip2, base * teeth2, "gear") - reach2)
    cut_pinion = approach > reach1 * (1.0 + 1e-12)
    cut_gear = not internal and recess > reach2 * (1.0 + 1e-12)
    if cut_at_base:
        approach = min(approach, reach1)
        recess = recess if internal else min(recess, reach2)
    if recess + approach <= 0.0:
        raise DomainError("centre distance", distance, "axes near enough for the teeth to touch")
    root1 = module * (0.5 * teeth1 - rack.dedendum + shift1)
    root2 = module * (0.5 * teeth2 - side * rack.dedendum + shift2)
    pitch = 2.0 * math.pi * base
    return Contact(
        centre_distance=distance, recess=recess, approach=approach, e1=recess / pitch,
        e2=approach / pitch, cut_pinion=cut_pinion, cut_gear=cut_gear,
        clearance1=side * (distance - root2) - tip1, clearance2=side * (distance - tip2) - root1,
    )  # fmt: skip


# ------------------------------------------------------------------------------------------------ loss


def loss_factor(teeth1: int, teeth2: int, e1: float, e2: float, *, internal: bool = False) -> float:
    """Sliding-loss factor H_V of a spur mesh: lost power over carried power, per unit of friction. [-]

    Parameters
    ----------
    teeth1, teeth2 : int
        Teeth of pinion and gear. [-]
    e1, e2 : float
        Parts of the contact ratio. [-]
    internal : bool
        Gear 2 is a ring.

    Returns
    -------
    float
        H_V. [-]

    Notes
    -----
    The tooth force is shared equally by the pairs in contact; the sliding distance is then integrated
    exactly over one base pitch. For a contact ratio between 1 and 2 this is the published ``pi (u+1)/(z1 u)
    (1 - e + e1² + e2²)``; for more pairs in contact the same integral is taken with their number. Below 1
    (contact lost between teeth) the loss is referred to the time in contact.

    References
    ----------
    H. Ohlendorf's factor as used by B.-R. Höhn, K. Michaelis, M. Hinterstoißer, *Goriva i maziva* 48 (2009)
    441; the general integral is an own derivation, DEVELOPERS.md.
    """
    total = e1 + e2
    if not total > 0.0:
        raise DomainError("contact ratio", total, "a positive number")
    whole = math.floor(total)
    part = total - whole
    side = -1.0 if internal else 1.0
    slid = 0.0
    for k in range(whole + 1):
        slid += _slid(k - e2, k + part - e2) / (whole + 1)
        if k < whole:
            slid += _slid(k + part - e2, k + 1 - e2) / max(whole, 1)
    return 2.0 * math.pi * (1.0 / teeth1 + side / teeth2) * slid / min(total, 1.0)


def mesh_efficiency(
    teeth1: int,
    teeth2: int,
    friction: Floats,
    *,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift1: float = 0.0,
    shift2: float = 0.0,
    rack: Rack = ISO_RACK,
    internal: bool = False,
) -> Floats:
    """Efficiency of a spur mesh from its coefficient of friction: ``1 - friction x H_V``. [-]

    Parameters
    ----------
    teeth1, teeth2 : int
        Teeth of pinion and gear. [-]
    friction : float or ndarray
        Mean coefficient of friction of the flanks, not negative. [-]
    pressure_angle, shift1, shift2, rack, internal
        Geometry as for `contact`; the path of an undercut pinion is cut at its base point.

    Returns
    -------
    float or ndarray
        Efficiency when either gear drives. [-]

    References
    ----------
    See `loss_factor`. Bearing and churning losses are not in it.
    """
    if np.any(np.asarray(friction) < 0.0):
        raise DomainError("coefficient of friction", friction, "zero or a positive number")
    pair = contact(
        teeth1,
        teeth2,
        pressure_angle=pressure_angle,
        shift1=shift1,
        shift2=shift2,
        rack=rack,
        internal=internal,
    )
    return 1.0 - friction * loss_factor(teeth1, teeth2, pair.e1, pair.e2, internal=internal)


# ---------------------------------------------------------------------------------------- form factors


@lru_cache(maxsize=1024)  # pure, and asked for again in every build of a study
def root_section(
    teeth: int,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift: float = 0.0,
    rack: Rack = ISO_RACK,
) -> RootSection:
    """Hardest-bent section of a tooth loaded at its tip: where an inscribed parabola touches the fillet.

    Parameters
    ----------
    teeth : int
        Number of teeth, at least 5. [-]
    pressure_angle : float
        Pressure angle. [rad]
    shift : float
        Profile shift in modules. [-]
    rack : Rack
        Generating rack; its rounded tip makes the trochoid fillet. [-]

    Returns
    -------
    RootSection
        Thickness and arm in modules.

    Raises
    ------
    DomainError
        Fewer than 5 teeth, a tooth that comes to a point below its tip circle, or a root that undercut has
        eaten away.

    References
    ----------
    W. Lewis's construction (beam of uniform strength) as in J. E. Shigley, *Mechanical Engineering Design*,
    §14-1, on the exact trochoid of the rack; own derivation, DEVELOPERS.md.
    """
    _check_gear(teeth, 1.0, pressure_angle)
    load_angle, apex = _tip_load(teeth, shift, pressure_angle, rack)
    low, high = _fillet_range(shift, pressure_angle, rack)
    half, height = 0.0, 0.0
    for _ in range(_SCAN_ZOOMS):
        places = np.linspace(low, high, _SCAN_POINTS)
        x, y = _fillet(places, teeth, shift, pressure_angle, rack)
        if np.any(x <= 0.0):
            raise DomainError("teeth", teeth, "more teeth or more profile shift: undercut cuts this tooth off")
        with np.errstate(divide="ignore"):
            least = int(np.argmin(np.where(y < apex, x**2 / (apex - y), np.inf)))
        half, height = float(x[least]), float(y[least])
        low, high = float(places[max(least - 1, 0)]), float(places[min(least + 1, _SCAN_POINTS - 1)])
    return RootSection(2.0 * half, apex - height, load_angle)


def tip_load_factors(
    teeth: int,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift: float = 0.0,
    rack: Rack = ISO_RACK,
) -> TipLoadFactors:
    """Form factor Y_Fa and stress correction Y_Sa at the section where a 30° tangent touches the fillet.

    Parameters
    ----------
    teeth : int
        Number of teeth, at least 5. [-]
    pressure_angle : float
        Pressure angle. [rad]
    shift : float
        Profile shift in modules. [-]
    rack : Rack
        Generating rack. [-]

    Returns
    -------
    TipLoadFactors
        Both factors. [-]

    Raises
    ------
    DomainError
        Fewer than 5 teeth, a tooth that comes to a point below its tip circle, or one that undercut has cut off.

    References
    ----------
    ISO 6336-3, external spur gear, force at the tip (equations from memory; they give the published table of
    Pu and Ji, *Machine Design*, Table 10-5, within 1 %). Valid for 1 <= q_s < 8. The 30° tangent does not touch at
    the hardest section of `root_section`: its stress is 5 % below the one there at 17 teeth, and 20 % at 5 teeth,
    where undercut has made a waist.
    """
    _check_gear(teeth, 1.0, pressure_angle)
    offset, radius = _rack_tip(pressure_angle, rack)
    load_angle, apex = _tip_load(teeth, shift, pressure_angle, rack)
    g = radius - rack.dedendum + shift
    h = 2.0 / teeth * (0.5 * math.pi - offset) - math.pi / 3.0
    turn = math.pi / 6.0
    for _ in range(_MOST_STEPS):
        value = turn - 2.0 * g / teeth * math.tan(turn) + h
        turn -= value / (1.0 - 2.0 * g / teeth / math.cos(turn) ** 2)
    chord = teeth * math.sin(math.pi / 3.0 - turn) + math.sqrt(3.0) * (g / math.cos(turn) - radius)
    if not (0.0 < turn < 0.5 * math.pi and chord > 0.0):
        raise DomainError("teeth", teeth, "more teeth or more profile shift: undercut cuts this tooth off")
    arm = apex - 0.5 * (teeth * math.cos(math.pi / 3.0 - turn) + g / math.cos(turn) - radius)
    rounding = radius + 2.0 * g**2 / (math.cos(turn) * (teeth * math.cos(turn) ** 2 - 2.0 * g))
    form = 6.0 * arm * math.cos(load_angle) / (chord**2 * math.cos(pressure_angle))
    slender = chord / arm
    notch = chord / (2.0 * rounding)
    return TipLoadFactors(form, (1.2 + 0.13 * slender) * notch ** (1.0 / (1.21 + 2.3 / slender)))


# -------------------------------------------------------------------------------------------- velocity


Making = Literal["cast", "cut", "hobbed", "ground"]


def velocity_factor(speed: Floats, making: Making = "cut") -> Floats:
    """Barth velocity factor: how much a running mesh raises its own tooth force, 1 or more. [-]

    Parameters
    ----------
    speed : float or ndarray
        Pitch-line speed; its size is what counts. [m/s]
    making : {"cast", "cut", "hobbed", "ground"}
        How the teeth were made, coarse to fine.

    Returns
    -------
    float or ndarray
        Factor that multiplies the tooth force. [-]

    References
    ----------
    J. E. Shigley, *Mechanical Engineering Design*, eq. 14-4 to 14-6 in metric form; the hobbed and ground
    curves from memory.
    """
    v = np.abs(speed)
    if making == "cast":
        return (3.05 + v) / 3.05
    if making == "cut":
        return (6.1 + v) / 6.1
    if making == "hobbed":
        return (3.56 + np.sqrt(v)) / 3.56
    if making == "ground":
        return np.sqrt((5.56 + np.sqrt(v)) / 5.56)
    raise DomainError("making", making, "cast, cut, hobbed or ground")


# ---------------------------------------------------------------------------------------------- bodies


def disc_mass(outer: Floats, bore: Floats, width: Floats, density: Floats) -> Floats:
    """Mass of a flat disc with a bore. [kg]

    Parameters
    ----------
    outer, bore : float or ndarray
        Diameters. [m]
    width : float or ndarray
        Axial width. [m]
    density : float or ndarray
        Density. [kg/m³]

    References
    ----------
    Geometry.
    """
    return 0.25 * math.pi * density * width * (outer**2 - bore**2)


def disc_inertia(outer: Floats, bore: Floats, width: Floats, density: Floats) -> Floats:
    """Moment of inertia of a flat disc with a bore about its axis. [kg·m²]

    Parameters
    ----------
    outer, bore : float or ndarray
        Diameters. [m]
    width : float or ndarray
        Axial width. [m]
    density : float or ndarray
        Density. [kg/m³]

    References
    ----------
    Mechanics of rigid bodies: ``m (D² + d²) / 8``.
    """
    return disc_mass(outer, bore, width, density) * (outer**2 + bore**2) / 8.0


def gear_inertia(teeth: int, module: float, width: float, density: float, bore: float = 0.0, fill: float = 1.0) -> float:
    """Moment of inertia of a gear, taken as a disc of its pitch diameter. [kg·m²]

    Parameters
    ----------
    teeth : int
        Number of teeth. [-]
    module : float
        Module. [m]
    width : float
        Face width. [m]
    density : float
        Density of the solid material. [kg/m³]
    bore : float
        Diameter of the bore. [m]
    fill : float
        Share of the volume that is material (a print with sparse infill), 0 to 1. [-]

    References
    ----------
    Own assumption: the teeth outside the pitch circle make up for the gaps inside it (within a few per cent
    from 10 teeth).
    """
    pitch = teeth * module
    if not 0.0 <= bore < pitch:
        raise DomainError("bore", bore, f"zero or more, and less than the pitch diameter {pitch:g} m")
    return float(disc_inertia(pitch, bore, width, density * fill))


# ------------------------------------------------------------------------------------ private geometry


def _check_gear(teeth: int, module: float, pressure_angle: float) -> None:
    """Refuse tooth counts, modules and angles for which the formulas here are not meant."""
    if teeth < LEAST_TEETH:
        raise DomainError("teeth", teeth, f"{LEAST_TEETH} or more teeth")
    if not (module > 0.0 and math.isfinite(module)):
        raise DomainError("module", module, "a positive length")
    if not math.radians(10.0) <= pressure_angle <= math.radians(30.0):
        raise DomainError("pressure angle", pressure_angle, "between 10 and 30 degrees (in radians)")


def _working(teeth_sum: float, shift_sum: float, module: float, angle: float, distance: float | None) -> tuple[float, float]:
    """Working pressure angle and centre distance of a pair; each from the other, or both from the shifts."""
    standard = 0.5 * module * teeth_sum
    if distance is None:
        working = inverse_involute(involute(angle) + 2.0 * shift_sum / teeth_sum * math.tan(angle)) if shift_sum else angle
        return working, standard * math.cos(angle) / math.cos(working)
    cosine = standard * math.cos(angle) / distance
    if not 0.0 < cosine < 1.0:
        raise DomainError("centre distance", distance, f"more than {standard * math.cos(angle):.6g} m")
    return math.acos(cosine), distance


def _beyond_base(tip: float, base: float, name: str) -> float:
    """Length from the base-circle touching point to where the tip circle meets the line of action."""
    if tip < base:
        raise DomainError(f"{name} tip radius", tip, f"at least the base radius {base:.6g} m")
    return math.sqrt(tip**2 - base**2)


def _slid(start: float, end: float) -> float:
    """Integral of the distance from the pitch point between two places on the path, in base pitches."""
    return 0.5 * (end * abs(end) - start * abs(start))


def _rack_tip(angle: float, rack: Rack) -> tuple[float, float]:
    """Offset of the tip circle's centre from the rack tooth's centre line, and the radius that fits."""
    room = 0.25 * math.pi - rack.dedendum * math.tan(angle)
    if room <= 0.0:
        raise DomainError("rack dedendum", rack.dedendum, "a rack tooth that does not come to a point")
    per_radius = (1.0 - math.sin(angle)) / math.cos(angle)
    radius = min(rack.tip_radius, room / per_radius)
    return max(0.0, room - per_radius * radius), radius


def _tip_point(teeth: int, shift: float, angle: float, rack: Rack) -> tuple[float, float, float]:
    """Tip radius in modules, pressure angle at the tip, and half the tooth's angle there."""
    tip = 0.5 * teeth + rack.addendum + shift
    cosine = 0.5 * teeth * math.cos(angle) / tip
    if not 0.0 < cosine < 1.0:
        raise DomainError("profile shift", shift, "a tip circle outside the base circle")
    tip_angle = math.acos(cosine)
    half = (0.5 * math.pi + 2.0 * shift * math.tan(angle)) / teeth + involute(angle) - involute(tip_angle)
    return tip, tip_angle, half


def _tip_load(teeth: int, shift: float, angle: float, rack: Rack) -> tuple[float, float]:
    """Angle of a tip force to the normal of the centre line, and where it meets that line, in modules."""
    tip, tip_angle, half_angle = _tip_point(teeth, shift, angle, rack)
    if half_angle <= 0.0:
        raise DomainError("profile shift", shift, f"less shift: {teeth} teeth come to a point below the tip circle")
    load_angle = tip_angle - half_angle
    return load_angle, tip * math.cos(tip_angle) / math.cos(load_angle)


def _fillet_range(shift: float, angle: float, rack: Rack) -> tuple[float, float]:
    """Where on the rack's travel the fillet runs: root circle to where the straight flank takes over."""
    _, radius = _rack_tip(angle, rack)
    depth = rack.dedendum - radius - shift
    if depth <= 0.0:
        raise DomainError("profile shift", shift, f"less than {rack.dedendum - radius:.3g} modules with this rack")
    return 0.0, depth / math.tan(angle)


def _fillet(
    places: NDArray[np.float64], teeth: int, shift: float, angle: float, rack: Rack
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points of the trochoid fillet, x from the tooth's centre line and y from the gear's axis, in modules.

    `places` is how far the rack tip's centre stands aside of the pitch point. The common normal of rack and
    tooth passes through the pitch point, so the point of contact lies one tip radius further along the line
    from there to the centre.
    """
    offset, radius = _rack_tip(angle, rack)
    depth = rack.dedendum - radius - shift
    pitch_radius = 0.5 * teeth
    stretch = 1.0 + radius / np.hypot(places, depth)
    outward = pitch_radius - depth * stretch
    aside = places * stretch
    turn = math.pi / teeth - (offset - places) / pitch_radius
    return outward * np.sin(turn) - aside * np.cos(turn), outward * np.cos(turn) + aside * np.sin(turn)
