"""A pair of spur gears in mesh: path of contact, contact ratio, and the loss by sliding.

Internal gears are known here only as partners of a pinion: a ring around it.
"""

import math

from winchsim.elementwise import Floats
from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.physics.gears.shape import (
    DEFAULT_PRESSURE_ANGLE,
    ISO_RACK,
    Rack,
    inverse_involute,
    involute,
)


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
    if recess + approach <= 0.0:
        raise DomainError("profile shift", shift1 + shift2, "teeth that reach their partner")
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
