"""The drum, the rope and its path, the load, and what holds the drum."""

from __future__ import annotations

import math
from dataclasses import dataclass

from winchsim.inputs.spec import choice, flag, integer, number, quantity, text

LEAST_ROOM = 0.05
"""Rope that must be left between load and drum, or top sheave, at the top. [m] Own choice."""


ROOM_SHARE = 0.1
USUAL_ROOM = 0.3
ROOM_TEXT = f"height and {100 * ROOM_SHARE:g} % of it, at least {USUAL_ROOM:g} m"
"""What is taken to be left there where nothing is said: share of the height, and the least. [-], [m] Own assumption."""


@dataclass(frozen=True, kw_only=True)
class Drum:
    """The drum that the rope winds on."""

    diameter: float = quantity("mm", "core diameter", 0, 10, open=True, spread="1 %")
    width: float = quantity("mm", "width between the flanges", 0, 10, open=True)
    flange_diameter: float | None = quantity(
        "mm",
        "diameter of the flanges",
        0,
        20,
        None,
        open=True,
        left_out="as large as needed",
        quiet=True,
    )
    layering: str = choice("how each layer lies on the one below", ("stacked", "nested"), "stacked")
    dead_turns: float = number("turns that stay on the drum", 0, 1000, 3.0)
    drag: float = quantity("mN·m", "constant drag of the drum's bearings", 0, 1e4, 0.0, quiet=True)
    bearing_efficiency: float = number(
        "efficiency of the drum's bearings", 0, 1, 1.0, open=True, quiet=True
    )
    inertia: float | None = quantity(
        "kg·m²", "inertia of the drum", 0, 1e6, None, left_out="a solid core of its material"
    )
    material: str = text("material of the drum rod", "steel")
    support_span: float | None = quantity(
        "mm",
        "distance between the drum rod's supports",
        0,
        20,
        None,
        open=True,
        left_out="bending of the rod is not judged",
    )
    cross_pin_diameter: float | None = quantity(
        "mm", "diameter of the pin through the drum rod", 0, 0.2, None, open=True, left_out="no pin"
    )
    cross_pin_material: str = text("material of that pin", "steel")
    anchor_friction: float = number("friction of the rope on the drum", 0.01, 1, 0.1)
    anchor_hold: float | None = quantity(
        "N",
        "pull that the rope's fixing on the drum bears",
        0,
        1e7,
        None,
        open=True,
        left_out="a share of the rope's breaking force",
    )


@dataclass(frozen=True, kw_only=True)
class Rope:
    """The rope, its falls and how it stretches."""

    material: str = text("rope material", "polyester", quiet=False)
    diameter: float = quantity("mm", "rope diameter", 0, 0.2, open=True)
    breaking_force: float | None = quantity(
        "N",
        "force at which a new straight rope breaks",
        0,
        1e8,
        None,
        open=True,
        left_out="from the rope table",
        spread="15 %",
    )
    end: str = choice(
        "how it ends at the load: a knot (wire: clips), or a splice (wire: ferrule)", ("knot", "splice"), "knot",
        quiet=False,
    )  # fmt: skip
    knot_efficiency: float | None = number(
        "share of strength left at the knot or splice",
        0,
        1,
        None,
        open=True,
        left_out="from the rope table",
    )
    axial_stiffness: float | None = quantity(
        "N",
        "EA: force per unit of strain",
        0,
        1e10,
        None,
        open=True,
        left_out="from the rope table",
        spread="30 %",
    )
    damping_ratio: float = number(
        "damping of the bounce, share of critical", 0, 1, 0.05, spread="50 %"
    )
    mass_per_length: float | None = quantity(
        "g/m", "mass of rope per length", 0, 100, None, left_out="from the rope table"
    )  # fmt: skip
    falls: int = integer("parts of rope that carry the load", 1, 20, 1)
    sheave_efficiency: float = number(
        "efficiency of each sheave of the tackle", 0, 1, 0.95, open=True, quiet=True
    )
    free_length: float | None = quantity(
        "m",
        "rope from drum to load at the start",
        0,
        1e4,
        None,
        open=True,
        left_out="from the drum's height",
    )
    lead: float = quantity("m", "rope between the drum and the top sheave", 0, 1e4, 0.0, quiet=True)
    slack: float = quantity("mm", "loose rope at the start", 0, 100, 0.0, quiet=True)


@dataclass(frozen=True, kw_only=True)
class Sheave:
    """A guide sheave between the drum and the load, or several equal ones."""

    repeat: int = integer("how many", 1, 50, 1)
    efficiency: float = number("efficiency of one sheave", 0, 1, 0.95, open=True)
    reverse_efficiency: float | None = number(
        "efficiency when the load drives", -10, 1, None, left_out="2 - 1/efficiency"
    )


@dataclass(frozen=True, kw_only=True)
class Edge:
    """An edge or rod that the rope rubs over."""

    friction: float = number("friction of the rope on it", 0, 2)
    angle: float = quantity("deg", "angle by which the rope turns there", 0, 100)


@dataclass(frozen=True, kw_only=True)
class Load:
    """The load, where it starts and what it meets."""

    mass: float = quantity("kg", "mass to lift", 0, 1e7, open=True, spread="2 %")
    height: float = quantity("m", "height to lift it by", 0, 1e4, open=True)
    start_height: float = quantity(
        "m", "height above the floor at the start; 0 stands on the floor", 0, 1e4, 0.0, quiet=True
    )
    drum_height: float | None = quantity(
        "m",
        "height of the drum or top sheave above the load's start",
        0,
        2e4,
        None,
        open=True,
        left_out=ROOM_TEXT,
    )
    slope: float = quantity(
        "deg",
        "slope of the incline; 90 deg lifts straight up",
        math.radians(1),
        math.radians(90),
        math.radians(90),
        quiet=True,
    )
    slope_friction: float = number("friction between load and incline", 0, 5, 0.0, quiet=True)
    guide_friction: float = quantity("N", "friction force of the guide", 0, 1e7, 0.0, quiet=True)
    snag_height: float | None = quantity(
        "m",
        "height at which the load snags",
        0,
        1e4,
        None,
        open=True,
        quiet=True,
        left_out="no snag",
    )
    top_stop: float | None = quantity(
        "m", "height of a rigid stop", 0, 1e4, None, open=True, quiet=True, left_out="no stop"
    )


@dataclass(frozen=True, kw_only=True)
class Pawl:
    """A pawl that keeps the drum from running back, lifted only while the motors lower."""

    fitted: bool = flag("whether the pawl is fitted", True)


@dataclass(frozen=True, kw_only=True)
class Brake:
    """A brake that grips when the power is off."""

    torque: float = quantity("N·m", "torque at which it slips", 0, 1e7, open=True)
    place: str = choice("shaft that it grips", ("motor", "drum"), "drum")
