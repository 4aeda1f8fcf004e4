"""Spur gears: shape of one gear, contact and sliding loss of a pair."""

from winchsim.physics.gears.mesh import (
    Contact,
    contact,
    loss_factor,
    mesh_efficiency,
)
from winchsim.physics.gears.shape import (
    DEFAULT_PRESSURE_ANGLE,
    ISO_RACK,
    LEAST_TEETH,
    Diameters,
    Rack,
    diameters,
    disc_inertia,
    disc_mass,
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
    "LEAST_TEETH",
    "Contact",
    "Diameters",
    "Rack",
    "contact",
    "diameters",
    "disc_inertia",
    "disc_mass",
    "gear_inertia",
    "inverse_involute",
    "involute",
    "loss_factor",
    "mesh_efficiency",
    "module_from_diametral_pitch",
    "tip_thickness",
    "undercut_limit",
]
