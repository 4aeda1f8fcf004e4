"""Spur gears: shape of one gear, contact and sliding loss of a pair.

Sliding loss. The tooth force is shared equally by the pairs in contact, and the distance from the
pitch point is integrated over one base pitch. Between contact ratios 1 and 2 that is the published
factor ``pi (u + 1)/(z1 u) (1 - e + e1^2 + e2^2)``. Where the line of action touches a base circle
the path of contact ends: an undercut flank carries nothing below that point (own assumption).
"""

from winchsim.physics.gears.mesh import (
    Contact,
    contact,
    loss_factor,
    mesh_efficiency,
)
from winchsim.physics.gears.shape import (
    DEFAULT_PRESSURE_ANGLE,
    ISO_RACK,
    Diameters,
    Rack,
    diameters,
    disc_inertia,
    gear_inertia,
    inverse_involute,
    involute,
    module_from_diametral_pitch,
    tip_thickness,
    undercut_limit,
)

__all__ = [
    "DEFAULT_PRESSURE_ANGLE",
    "ISO_RACK",
    "Contact",
    "Diameters",
    "Rack",
    "contact",
    "diameters",
    "disc_inertia",
    "gear_inertia",
    "inverse_involute",
    "involute",
    "loss_factor",
    "mesh_efficiency",
    "module_from_diametral_pitch",
    "tip_thickness",
    "undercut_limit",
]
