"""Form of a tooth in bending: the fillet that a rack cuts, Lewis form factor, tip-load factors.

Internal gears are not formed by a rack and have no form factor here.

Fillet. The centre of the rack's tip corner stands s aside of the pitch point and ``a = dedendum -
tip radius - shift`` below it. Rack and tooth touch on the line through the pitch point, so a point
of the fillet is that centre plus one tip radius along the line. s runs from 0 (root circle) to ``a
/ tan (pressure angle)``, where the straight flank takes over. Of all points the one with the least
``x^2 / (apex - y)`` is the critical section; on undercut pinions it is the waist.
"""

import math
from functools import lru_cache

import numpy as np

from winchsim.errors import refuse_if
from winchsim.physics.gears import (
    DEFAULT_PRESSURE_ANGLE,
    ISO_RACK,
    Rack,
    involute,
    rack_tip,
    tip_point,
)

_MOST_STEPS = 60
_SCAN_POINTS = 201
_SCAN_ZOOMS = 3


@lru_cache(maxsize=1024)  # pure, and asked for again in every build of a study
def form_factor(
    teeth: int,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift: float = 0.0,
    rack: Rack = ISO_RACK,
    contact_ratio: float = 1.0,
) -> float:
    """Lewis form factor ``thickness² / (6 arm)`` of the hardest-bent section of a tooth that
    carries a force alone: where an inscribed parabola touches the fillet. [-]

    The arm reaches from the section to where the force's line meets the tooth's centre line.

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
    contact_ratio : float
        Of its pair: the force acts at the highest point where the tooth carries it alone. 1 is the
        tip; above 2 the point at 2 is kept. [-]

    Raises
    ------
    DomainError
        A tooth that comes to a point below its tip circle, or a root that undercut has eaten away.

    References
    ----------
    W. Lewis's construction (beam of uniform strength) as in J. E. Shigley, *Mechanical Engineering
    Design*, §14-1, on the exact trochoid of the rack; own derivation, head of this package.
    """
    _, apex = tip_load(teeth, shift, pressure_angle, rack, contact_ratio)
    low, high = _fillet_range(shift, pressure_angle, rack)
    half, height = 0.0, 0.0
    for _ in range(_SCAN_ZOOMS):
        places = np.linspace(low, high, _SCAN_POINTS)
        x, y = _fillet(places, teeth, shift, pressure_angle, rack)
        refuse_if(
            np.any(x <= 0.0),
            "teeth",
            teeth,
            "more teeth or more profile shift: undercut cuts this tooth off",
        )
        with np.errstate(divide="ignore"):
            least = int(np.argmin(np.where(y < apex, x**2 / (apex - y), np.inf)))
        half, height = float(x[least]), float(y[least])
        low, high = (
            float(places[max(least - 1, 0)]),
            float(places[min(least + 1, _SCAN_POINTS - 1)]),
        )
    return (2.0 * half) ** 2 / (6.0 * (apex - height))


def tip_load_factors(
    teeth: int,
    pressure_angle: float = DEFAULT_PRESSURE_ANGLE,
    shift: float = 0.0,
    rack: Rack = ISO_RACK,
) -> tuple[float, float]:
    """ISO-type factors of the root stress under a force at the tip, at the section where a 30°
    tangent touches the fillet: form factor Y_Fa and stress correction Y_Sa. [-]

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

    Raises
    ------
    DomainError
        A tooth that comes to a point below its tip circle, or one that undercut has cut off.

    References
    ----------
    ISO 6336-3, external spur gear, force at the tip (equations from memory; they give the published
    table of Pu and Ji, *Machine Design*, Table 10-5, within 1 %). Valid for 1 <= q_s < 8. The 30°
    tangent does not touch at the hardest section of `form_factor`: its stress is 5 % below the one
    there at 17 teeth, and 20 % at 5 teeth, where undercut has made a waist.
    """
    offset, radius = rack_tip(pressure_angle, rack)
    load_angle, apex = tip_load(teeth, shift, pressure_angle, rack)
    g = radius - rack.dedendum + shift
    h = 2.0 / teeth * (0.5 * math.pi - offset) - math.pi / 3.0
    turn = math.pi / 6.0
    for _ in range(_MOST_STEPS):
        turn -= (turn - 2.0 * g / teeth * math.tan(turn) + h) / (
            1.0 - 2.0 * g / teeth / math.cos(turn) ** 2
        )
    chord = teeth * math.sin(math.pi / 3.0 - turn) + math.sqrt(3.0) * (g / math.cos(turn) - radius)
    refuse_if(
        not (0.0 < turn < 0.5 * math.pi and chord > 0.0),
        "teeth",
        teeth,
        "more teeth or more profile shift: undercut cuts this tooth off",
    )
    arm = apex - 0.5 * (teeth * math.cos(math.pi / 3.0 - turn) + g / math.cos(turn) - radius)
    rounding = radius + 2.0 * g**2 / (math.cos(turn) * (teeth * math.cos(turn) ** 2 - 2.0 * g))
    form = 6.0 * arm * math.cos(load_angle) / (chord**2 * math.cos(pressure_angle))
    slender, notch = chord / arm, chord / (2.0 * rounding)
    return form, (1.2 + 0.13 * slender) * notch ** (1.0 / (1.21 + 2.3 / slender))


def tip_load(
    teeth: int, shift: float, angle: float, rack: Rack, contact_ratio: float = 1.0
) -> tuple[float, float]:
    """Angle of a force to the normal of the centre line, and where it meets that line, in modules.

    The force acts a contact ratio less one, in base pitches along the line of action, below the
    tip.
    """
    _, tip_angle, half_angle = tip_point(teeth, shift, angle, rack)
    refuse_if(
        half_angle <= 0.0,
        "profile shift",
        shift,
        f"less shift: {teeth} teeth come to a point below the tip circle",
    )
    below = min(max(contact_ratio - 1.0, 0.0), 1.0) * 2.0 * math.pi / teeth
    flank_angle = math.atan(max(math.tan(tip_angle) - below, 0.0))
    load_angle = flank_angle - half_angle - involute(tip_angle) + involute(flank_angle)
    return load_angle, 0.5 * teeth * math.cos(angle) / math.cos(load_angle)


def _fillet_range(shift: float, angle: float, rack: Rack) -> tuple[float, float]:
    """Where on the rack's travel the fillet runs: root circle to where the straight flank takes
    over."""
    _, radius = rack_tip(angle, rack)
    depth = rack.dedendum - radius - shift
    refuse_if(
        depth <= 0.0,
        "profile shift",
        shift,
        f"less than {rack.dedendum - radius:.3g} modules with this rack",
    )
    return 0.0, depth / math.tan(angle)


def _fillet(
    places: np.ndarray, teeth: int, shift: float, angle: float, rack: Rack
) -> tuple[np.ndarray, np.ndarray]:
    """Points of the trochoid fillet, x from the tooth's centre line and y from the gear's axis, in
    modules.

    `places` is how far the rack tip's centre stands aside of the pitch point. The common normal of
    rack and tooth passes through the pitch point, so the point of contact lies one tip radius
    further along the line from there to the centre.
    """
    offset, radius = rack_tip(angle, rack)
    depth = rack.dedendum - radius - shift
    pitch_radius = 0.5 * teeth
    stretch = 1.0 + radius / np.hypot(places, depth)
    outward = pitch_radius - depth * stretch
    aside = places * stretch
    turn = math.pi / teeth - (offset - places) / pitch_radius
    return outward * np.sin(turn) - aside * np.cos(turn), outward * np.cos(turn) + aside * np.sin(
        turn
    )
