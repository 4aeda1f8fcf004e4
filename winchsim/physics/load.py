"""The load: its weight on a line or a slope, the guide it rubs in, and the energies it has.

The load's place is its travel along its path; `rise` is the share of it that goes upward (1 for a
vertical lift). All functions take floats or arrays.
"""

import math
from typing import Any

from winchsim.elementwise import Floats
from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Body:
    """A load on its path.

    Attributes
    ----------
    mass : float
        Of the load itself. [kg]
    rope_mass : float
        Rope that moves along, as inertia. [kg]
    rise : float
        Sine of the slope. [-]
    friction : float
        Force of guide and slope against motion. [N]
    gravity : float
        [m/s²]
    rope_weight : float
        Weight of the hanging rope per length of travel left, all falls together. [N/m]
    """

    mass: float
    rope_mass: float
    rise: float
    friction: float
    gravity: float
    rope_weight: float = 0.0


def make_body(
    mass: float,
    slope: float,
    slope_friction: float,
    guide_friction: float,
    gravity: float,
    *,
    rope_mass: float = 0.0,
    rope_mass_per_length: float = 0.0,
    falls: int = 1,
) -> Body:
    """A load from what a scenario says of it.

    Parameters
    ----------
    mass : float
        [kg]
    slope : float
        Angle of the path to the horizontal, 90 degrees for a vertical lift. [rad]
    slope_friction : float
        Coefficient of friction on the slope. [-]
    guide_friction : float
        Constant friction force of a guide. [N]
    gravity : float
        [m/s²]
    rope_mass : float
        Inertia of the rope that moves along, at the load. [kg]
    rope_mass_per_length : float
        [kg/m]
    falls : int
        Parts of rope. [-]
    """
    rise = 1.0 if slope >= math.pi / 2 else math.sin(slope)
    normal = mass * gravity * (0.0 if rise == 1.0 else math.cos(slope))
    return Body(
        mass,
        rope_mass,
        rise,
        friction=guide_friction + slope_friction * normal,
        gravity=gravity,
        rope_weight=rope_mass_per_length * gravity * falls * rise,
    )


def pull_needed(body: Body, left: Floats) -> Any:
    """Force along the path that holds the load without friction, rope included. [N]

    Parameters
    ----------
    body : Body
    left : float or ndarray
        Travel left to the top sheave. [m]
    """
    return body.mass * body.gravity * body.rise + body.rope_weight * left


def inertia(body: Body) -> float:
    """Mass that has to be accelerated along the path. [kg]"""
    return body.mass + body.rope_mass


def potential_energy(body: Body, travel: Floats, left: Floats) -> Any:
    """Energy of height of the load and of the hanging rope, from travel 0 and the top sheave. [J]

    Parameters
    ----------
    body : Body
    travel : float or ndarray
        Of the load from the floor. [m]
    left : float or ndarray
        Travel left to the top sheave. [m]
    """
    return body.mass * body.gravity * body.rise * travel - body.rope_weight * left * left / 2


@dataclass(frozen=True)
class Fall:
    """A load that nothing holds, on its way to the floor; infinite time where its friction stops
    it.

    Attributes
    ----------
    time : float
        Until it is on the floor. [s]
    speed : float
        With which it gets there. [m/s]
    energy : float
        Kinetic energy there. [J]
    """

    time: float
    speed: float
    energy: float


def fall(body: Body, travel: float, speed: float = 0.0) -> Fall:
    """Fall of a load whose rope has gone.

    Parameters
    ----------
    body : Body
    travel : float
        Along the path, to the floor. [m]
    speed : float
        At the start, upward positive. [m/s]

    Notes
    -----
    Constant acceleration ``g sin(slope) - friction/m`` down, ``g sin(slope) + friction/m`` while it
    still rises. The rope is left out.

    Examples
    --------
    >>> found = fall(make_body(10.0, math.pi / 2, 0.0, 0.0, 9.80665), 0.5)
    >>> round(found.time, 4), round(found.speed, 4), round(found.energy, 2)
    (0.3193, 3.1316, 49.03)
    """
    weight, rub = body.gravity * body.rise, body.friction / body.mass
    rising = max(speed, 0.0) / (weight + rub)
    above = travel + max(speed, 0.0) * rising / 2
    start, gain = max(-speed, 0.0), weight - rub
    square = start * start + 2 * gain * above
    if square <= 0 and above > 0:
        return Fall(math.inf, 0.0, 0.0)
    end = math.sqrt(square)
    down = 2 * above / (start + end) if above > 0 else 0.0
    return Fall(rising + down, end, body.mass * square / 2)
