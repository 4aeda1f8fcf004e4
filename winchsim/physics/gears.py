"""Spur gears: the generating rack, the circles of a gear, its limits, bodies of revolution; and a
pair in mesh: path of contact, contact ratio, and the loss by sliding.

Everything is a pure function of SI floats (angles in radians). Lengths of a tooth that scale with
the module are given in modules; the few that are metres say so. Internal gears are known here only
as partners of a pinion: a ring around it.

The generating rack
-------------------
Teeth are taken as cut (or drawn) by a straight-sided rack with a rounded tip. `ISO_RACK`, dedendum
1.25 m and tip radius 0.38 m (ISO 53, profile A), is the default: it is what metric cutters and most
drawing programs make, and it is also the rack behind the published tip-load factors. Against the
printed Lewis tables it gives form factors 1 to 3.5 % low, which is the safe side; the older
inch-system rack (1.157 m, 0.3 m) comes within 3.1 % of them.

Sliding loss
------------
The tooth force is shared equally by the pairs in contact, and the distance from the
pitch point is integrated over one base pitch. Between contact ratios 1 and 2 that is the published
factor ``pi (u + 1)/(z1 u) (1 - e + e1^2 + e2^2)``. Where the line of action touches a base circle
the path of contact ends: an undercut flank carries nothing below that point (own assumption).
"""

import math

from scipy.optimize import brentq

from winchsim.elementwise import Floats
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass

DEFAULT_PRESSURE_ANGLE = math.radians(20.0)
"""Pressure angle taken when none is given [rad]. ISO 53; common practice for every small gear sold
today."""


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
        Radius at the rack's tip corner, in modules; it makes the fillet at the tooth's root. Where
        the corner has no room for it (large pressure angle, deep rack) the largest radius that fits
        is used. [-]
    """

    addendum: float = 1.0
    dedendum: float = 1.25
    tip_radius: float = 0.38


ISO_RACK = Rack(1.0, 1.25, 0.38)


@dataclass(frozen=True)
class Diameters:
    """The circles of one gear besides the pitch circle, all as diameters. [m]"""

    base: float
    tip: float
    root: float

    @property
    def whole_depth(self) -> float:
        """Radial height of a tooth from root circle to tip circle. [m]"""
        return 0.5 * (self.tip - self.root)


# ----------------------------------------------------------------------------------------- basic
# sizes


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
        Involute function, zero or positive, below 100. [rad]
    """
    return float(
        brentq(lambda angle: involute(angle) - value, 0.0, 0.5 * math.pi - 1e-4, xtol=1e-15)
    )


def diameters(
    teeth: int,
    module: float,
    *,
    shift: float = 0.0,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    rack: Rack = ISO_RACK,
) -> Diameters:
    """Base, tip and root diameter of a gear.

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

    Returns
    -------
    Diameters
        The three circles. [m]

    References
    ----------
    ISO 21771 (spur case). Tips are not shortened for shifted pairs: see `Contact.clearance1`.
    """
    pitch = teeth * module
    return Diameters(
        base=pitch * math.cos(pressure_angle),
        tip=pitch + 2.0 * module * (rack.addendum + shift),
        root=pitch - 2.0 * module * (rack.dedendum - shift),
    )


def tip_thickness(
    teeth: int,
    *,
    shift: float = 0.0,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    rack: Rack = ISO_RACK,
) -> float:
    """Thickness of a tooth at its tip circle, in modules; negative when the flanks would cross
    below it. [-]

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
    tip_radius, _, half_angle = tip_point(teeth, shift, pressure_angle, rack)
    return 2.0 * tip_radius * half_angle


# ----------------------------------------------------------------------------------------------
# limits


def undercut_limit(
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE, *, shift: float = 0.0, rack: Rack = ISO_RACK
) -> float:
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
    Involute geometry: the rack's straight flank may not pass the point where the line of action
    touches the base circle; J. E. Shigley, *Mechanical Engineering Design*, §13-7 (the full-depth
    20° value, 17.1).
    """
    sine = math.sin(pressure_angle)
    straight = rack.dedendum - rack_tip(pressure_angle, rack)[1] * (1.0 - sine)
    return max(0.0, 2.0 * (straight - shift) / sine**2)


# ----------------------------------------------------------------------------------------------
# bodies


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
    Mechanics of rigid bodies: ``m (D² + d²) / 8``, with the mass of a flat disc.
    """
    return math.pi * density * width * (outer**4 - bore**4) / 32.0


def gear_inertia(
    teeth: int, module: float, width: float, density: float, bore: float = 0.0, fill: float = 1.0
) -> float:
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
    Own assumption: the teeth outside the pitch circle make up for the gaps inside it (within a few
    per cent from 10 teeth).
    """
    pitch = teeth * module
    if not 0.0 <= bore < pitch:
        raise DomainError(
            "bore", bore, f"zero or more, and less than the pitch diameter {pitch:g} m"
        )
    return float(disc_inertia(pitch, bore, width, density * fill))


# ------------------------------------------------------------------------ geometry that other
# modules share


def rack_tip(angle: float, rack: Rack) -> tuple[float, float]:
    """Offset of the tip circle's centre from the rack tooth's centre line, and the radius that
    fits."""
    room = 0.25 * math.pi - rack.dedendum * math.tan(angle)
    per_radius = (1.0 - math.sin(angle)) / math.cos(angle)
    radius = min(rack.tip_radius, room / per_radius)
    return max(0.0, room - per_radius * radius), radius


def tip_point(teeth: int, shift: float, angle: float, rack: Rack) -> tuple[float, float, float]:
    """Tip radius in modules, pressure angle at the tip, and half the tooth's angle there."""
    tip = 0.5 * teeth + rack.addendum + shift
    cosine = 0.5 * teeth * math.cos(angle) / tip
    refuse_if(
        not 0.0 < cosine < 1.0, "profile shift", shift, "a tip circle outside the base circle"
    )
    tip_angle = math.acos(cosine)
    half = (
        (0.5 * math.pi + 2.0 * shift * math.tan(angle)) / teeth
        + involute(angle)
        - involute(tip_angle)
    )
    return tip, tip_angle, half


# --- a pair in mesh


@dataclass(frozen=True)
class Contact:
    """How a pair of spur gears touches.

    Gear 1 is the pinion. Lengths are metres; ratios and the parts of the contact ratio have no
    unit.

    Attributes
    ----------
    centre_distance : float
        Distance of the axes. [m]
    recess, approach : float
        Path of contact beyond the pitch point on the pinion's tip side, and on the gear's tip side.
        [m]
    e1, e2 : float
        The same two in base pitches: parts of the contact ratio owed to the pinion's and to the
        gear's tips. [-]
    cut_pinion, cut_gear : bool
        The partner's tip reaches past the point where the line of action touches this gear's base
        circle. A rack-made tooth is undercut there and the contact ends; a tooth drawn as a plain
        involute would jam.
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


def contact(
    teeth1: int,
    teeth2: int,
    *,
    module: float = 1.0,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift1: float = 0.0,
    shift2: float = 0.0,
    rack: Rack = ISO_RACK,
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
        Addendum and dedendum of both. [-]

    Returns
    -------
    Contact
        All lengths in metres.

    Raises
    ------
    DomainError
        Teeth that do not touch.

    References
    ----------
    Path of approach and recess: R. S. Khurmi and J. K. Gupta, *Theory of Machines*, chapter 12.
    Working angle of shifted pairs: ISO 21771. Cutting the path at the base point: own assumption.
    """
    teeth_sum, angle = teeth1 + teeth2, pressure_angle
    if shift1 + shift2:
        turned = 2.0 * (shift1 + shift2) / teeth_sum * math.tan(pressure_angle)
        angle = inverse_involute(involute(pressure_angle) + turned)
    base = 0.5 * module * math.cos(pressure_angle)
    distance = base * teeth_sum / math.cos(angle)
    tip1 = module * (0.5 * teeth1 + rack.addendum + shift1)
    tip2 = module * (0.5 * teeth2 + rack.addendum + shift2)
    reach1, reach2 = (distance / teeth_sum * math.sin(angle) * teeth for teeth in (teeth1, teeth2))
    recess = _beyond_base(tip1, base * teeth1, "pinion") - reach1
    approach = _beyond_base(tip2, base * teeth2, "gear") - reach2
    cut_pinion = approach > reach1 * (1.0 + 1e-12)
    cut_gear = recess > reach2 * (1.0 + 1e-12)
    approach, recess = min(approach, reach1), min(recess, reach2)
    refuse_if(
        recess + approach <= 0.0, "profile shift", shift1 + shift2, "teeth that reach their partner"
    )
    pitch, root = 2.0 * math.pi * base, module * rack.dedendum
    return Contact(
        centre_distance=distance,
        recess=recess,
        approach=approach,
        e1=recess / pitch,
        e2=approach / pitch,
        cut_pinion=cut_pinion,
        cut_gear=cut_gear,
        clearance1=distance - (0.5 * module * teeth2 - root + module * shift2) - tip1,
        clearance2=distance - (0.5 * module * teeth1 - root + module * shift1) - tip2,
    )


def loss_factor(teeth1: int, teeth2: int, e1: float, e2: float) -> float:
    """Sliding-loss factor H_V of a spur mesh: lost power over carried power, per unit of friction.
    [-]

    Parameters
    ----------
    teeth1, teeth2 : int
        Teeth of pinion and gear. [-]
    e1, e2 : float
        Parts of the contact ratio. [-]

    Returns
    -------
    float
        H_V. [-]

    Notes
    -----
    The tooth force is shared equally by the pairs in contact; the sliding distance is then
    integrated exactly over one base pitch. For a contact ratio between 1 and 2 this is the
    published ``pi (u+1)/(z1 u) (1 - e + e1² + e2²)``; for more pairs in contact the same integral
    is taken with their number. Below 1 (contact lost between teeth) the loss is referred to the
    time in contact.

    References
    ----------
    H. Ohlendorf's factor as used by B.-R. Höhn, K. Michaelis, M. Hinterstoißer, *Goriva i maziva*
    48 (2009) 441; the general integral is an own derivation, head of this package.
    """
    total = e1 + e2
    whole = math.floor(total)
    part = total - whole
    slid = sum(_slid(k - e2, k + part - e2) for k in range(whole + 1)) / (whole + 1)
    slid += sum(_slid(k + part - e2, k + 1 - e2) for k in range(whole)) / max(whole, 1)
    return 2.0 * math.pi * (1.0 / teeth1 + 1.0 / teeth2) * slid / min(total, 1.0)


def mesh_efficiency(
    teeth1: int,
    teeth2: int,
    friction: Floats,
    *,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift1: float = 0.0,
    shift2: float = 0.0,
) -> Floats:
    """Efficiency of a spur mesh from its coefficient of friction: ``1 - friction x H_V``. [-]

    Parameters
    ----------
    teeth1, teeth2 : int
        Teeth of pinion and gear. [-]
    friction : float or ndarray
        Mean coefficient of friction of the flanks, not negative. [-]
    pressure_angle, shift1, shift2
        Geometry as for `contact`; the path of an undercut pinion is cut at its base point.

    Returns
    -------
    float or ndarray
        Efficiency when either gear drives. [-]

    References
    ----------
    See `loss_factor`. Bearing and churning losses are not in it.
    """
    pair = contact(teeth1, teeth2, pressure_angle=pressure_angle, shift1=shift1, shift2=shift2)
    return 1.0 - friction * loss_factor(teeth1, teeth2, pair.e1, pair.e2)


def _beyond_base(tip: float, base: float, name: str) -> float:
    """Length from the base-circle touching point to where the tip circle meets the line of
    action."""
    if tip < base:
        raise DomainError(f"{name} tip radius", tip, f"at least the base radius {base:.6g} m")
    return math.sqrt(tip**2 - base**2)


def _slid(start: float, end: float) -> float:
    """Integral of the distance from the pitch point between two places on the path, in base
    pitches."""
    return 0.5 * (end * abs(end) - start * abs(start))
