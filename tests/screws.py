"""Screws as elements of the chain, for what textbooks ask of them."""

import math

from winchsim.physics.chain import Chain, Element, GroupMesh, demand
from winchsim.physics.worm import screw_efficiency


def screw(
    mean_diameter: float,
    lead: float,
    friction: float,
    collar: float = 0.0,
    collar_diameter: float = 0.0,
    flank: float = 0.0,
) -> Element:
    """Screw with the friction of its collar where it has one; `flank` in degrees, 0 for a square
    thread."""
    lift = lead / (2 * math.pi)
    angle, rubbing = math.atan(2 * lift / mean_diameter), collar * collar_diameter / mean_diameter
    found = screw_efficiency(angle, friction, flank=math.radians(flank), collar=rubbing)
    return Element("screw", 1 / lift, *found)


def alone(element: Element):
    """Chain of one motor without drag and one element."""
    return Chain((GroupMesh((), 1e-6),), 0.0, (element,))


def raises(element: Element, force: float) -> float:
    """Torque that raises a load."""
    return demand(alone(element), 1)(force)
