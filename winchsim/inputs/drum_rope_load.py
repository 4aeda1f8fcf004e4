"""The drum, the rope and its path, the load, and what holds the drum."""

from winchsim.constants import BEARING_KINDS
from winchsim.frozen import dataclass
from winchsim.inputs.spec import choice, flag, integer, number, positive, quantity, share, text

LEAST_ROOM = 0.05
"""Rope that must be left between load and drum, or top sheave, at the top. [m] Own choice."""

ROOM_SHARE = 0.1
USUAL_ROOM = 0.3
ROOM_TEXT = f"height and {100 * ROOM_SHARE:g} % of it, at least {USUAL_ROOM:g} m"
"""Rope that is assumed to be left there: share of the height, and the least. [-], [m] Own
assumption."""

ROPE_TABLE = "from the rope table"
BLOCK = (0.85, 0.98, "own assumption: small sheaves with plain bores and with ball bearings")


@dataclass(frozen=True, kw_only=True)
class Drum:
    """The drum that the rope winds on."""

    diameter: float = positive("core diameter", "mm", 1e4, usual=(5, 200), spread="1 %")
    width: float = positive("width between the flanges", "mm", 1e4, usual=(10, 300))
    flange_diameter: float | None = positive(
        "diameter of the flanges",
        "mm",
        2e4,
        None,
        usual=(10, 400),
        left_out="as large as needed",
        quiet=True,
    )
    layering: str = choice("how each layer lies on the one below", ("stacked", "nested"), "stacked")
    dead_turns: float = number(
        "turns that stay on the drum",
        0,
        1000,
        3.0,
        usual=(0, 10),
        quiet=False,
    )
    drag: float = quantity(
        "constant drag of the drum's bearings", "mN·m", 0, 1e6, 0.0, usual=(0, 200), quiet=True
    )
    bearing: str = choice("bearings of the drum", BEARING_KINDS, "metal bush", quiet=False)
    bearing_friction: float | None = number(
        "coefficient of friction in these bearings",
        0,
        1,
        None,
        usual=(0.001, 0.4),
        left_out="by their kind",
    )
    shaft_diameter: float | None = positive(
        "diameter of the drum's shaft in its bearings",
        "mm",
        1000,
        None,
        usual=(3, 50),
        left_out="that of the last output shaft, else the core",
    )
    bearing_efficiency: float | None = share(
        "efficiency of the drum's bearings",
        None,
        usual=(0.7, 1),
        left_out="from their friction, the rope and the last gear",
    )
    inertia: float | None = quantity(
        "inertia of the drum",
        "kg·m²",
        0,
        1e4,
        None,
        usual=(0, 0.01),
        left_out="a solid core of its material",
    )
    material: str = text("material of the drum rod", "steel", names="materials")
    support_span: float | None = positive(
        "distance between the drum rod's supports",
        "mm",
        2e4,
        None,
        usual=(20, 500),
        left_out="bending of the rod is not judged",
    )
    cross_pin_diameter: float | None = positive(
        "diameter of the pin through the drum rod",
        "mm",
        200,
        None,
        usual=(1, 12),
        left_out="no pin",
    )
    cross_pin_material: str = text("material of that pin", "steel", names="materials")
    anchor_friction: float = number(
        "friction of the rope on the drum",
        0.01,
        1,
        0.1,
        usual=(0.05, 0.4),
        assumed=(0.07, 0.2, "own assumption: greased wire to dry fibre on a smooth drum"),
    )
    anchor_hold: float | None = positive(
        "pull that the rope's fixing on the drum bears",
        "N",
        1e6,
        None,
        usual=(5, 5000),
        left_out="a share of the rope's breaking force",
    )


@dataclass(frozen=True, kw_only=True)
class Rope:
    """The rope, its falls and how it stretches."""

    material: str = text("rope material", "polyester", names="ropes", quiet=False)
    diameter: float = positive("rope diameter", "mm", 200, usual=(0.5, 12))
    breaking_force: float | None = positive(
        "force at which a new straight rope breaks",
        "N",
        1e8,
        None,
        usual=(50, 50000),
        left_out=ROPE_TABLE,
        spread="15 %",
    )
    end: str = choice(
        "how it ends at the load: a knot (wire: clips), or a splice (wire: ferrule)",
        ("knot", "splice"),
        "knot",
        quiet=False,
        label="rope end",
    )
    knot_efficiency: float | None = share(
        "share of strength left at the knot or splice", None, usual=(0.3, 1), left_out=ROPE_TABLE
    )
    axial_stiffness: float | None = positive(
        "EA: force per unit of strain",
        "N",
        1e10,
        None,
        usual=(1000, 1e6),
        left_out=ROPE_TABLE,
        spread="30 %",
    )
    damping_ratio: float = number(
        "damping of the bounce, share of critical",
        0,
        1,
        0.05,
        usual=(0, 0.3),
        assumed=(0.01, 0.15, "own assumption: wire to braided fibre"),
        spread="50 %",
    )
    mass_per_length: float | None = quantity(
        "mass of rope per length", "g/m", 0, 1e5, None, usual=(0, 500), left_out=ROPE_TABLE
    )
    falls: int = integer("parts of rope that carry the load", 1, 20, 1, usual=(1, 6))
    sheave_efficiency: float = share(
        "efficiency of each sheave of the tackle",
        0.95,
        usual=(0.7, 1),
        assumed=BLOCK,
        quiet=True,
    )
    free_length: float | None = positive(
        "rope from drum to load at the start",
        "m",
        1e4,
        None,
        usual=(0.2, 20),
        left_out="from the drum's height",
    )
    lead: float = quantity(
        "rope between the drum and the top sheave",
        "m",
        0,
        1e4,
        0.0,
        usual=(0, 10),
        label="rope to the top sheave",
        quiet=True,
    )
    slack: float = quantity(
        "loose rope at the start", "mm", 0, 1e5, 0.0, usual=(0, 500), quiet=True
    )


@dataclass(frozen=True, kw_only=True)
class Sheave:
    """A guide sheave between the drum and the load, or several equal ones."""

    repeat: int = integer("how many", 1, 50, 1, usual=(1, 6), label="equal sheaves")
    efficiency: float = share("efficiency of one sheave", 0.95, usual=(0.7, 1), assumed=BLOCK)
    reverse_efficiency: float | None = number(
        "efficiency when the load drives", -10, 1, None, usual=(0, 1), left_out="2 - 1/efficiency"
    )


@dataclass(frozen=True, kw_only=True)
class Edge:
    """An edge or rod that the rope rubs over."""

    friction: float = number("friction of the rope on it", 0, 2, usual=(0.05, 0.6))
    angle: float = quantity("angle by which the rope turns there", "deg", 0, 5400, usual=(0, 180))


@dataclass(frozen=True, kw_only=True)
class Load:
    """The load, where it starts and what it meets."""

    mass: float = positive("mass to lift", "kg", 1e5, usual=(0.1, 200), spread="2 %")
    height: float = positive("height to lift it by", "m", 1e4, usual=(0.1, 10))
    start_height: float = quantity(
        "height above the floor at the start; 0 stands on the floor",
        "m",
        0,
        1e4,
        0.0,
        usual=(0, 5),
        quiet=True,
    )
    drum_height: float | None = positive(
        "height of the drum or top sheave above the load's start",
        "m",
        2e4,
        None,
        usual=(0.5, 15),
        left_out=ROOM_TEXT,
    )
    slope: float = quantity(
        "slope of the incline; 90 deg lifts straight up",
        "deg",
        1,
        90,
        90,
        usual=(5, 90),
        quiet=True,
    )
    slope_friction: float = number(
        "friction between load and incline", 0, 5, 0.0, usual=(0, 1), quiet=True
    )
    guide_friction: float = quantity(
        "friction force of the guide", "N", 0, 1e6, 0.0, usual=(0, 200), quiet=True
    )
    snag_height: float | None = positive(
        "height at which the load snags",
        "m",
        1e4,
        None,
        usual=(0.1, 10),
        quiet=True,
        left_out="no snag",
    )
    top_stop: float | None = positive(
        "height of a rigid stop",
        "m",
        1e4,
        None,
        usual=(0.1, 10),
        quiet=True,
        left_out="no stop",
    )


@dataclass(frozen=True, kw_only=True)
class Pawl:
    """A pawl that keeps the drum from running back, lifted only while the motors lower."""

    fitted: bool = flag("whether the pawl is fitted", True)


@dataclass(frozen=True, kw_only=True)
class Brake:
    """A brake that grips when the power is off."""

    torque: float = positive("torque at which it slips", "N·m", 1e6, usual=(0.05, 50))
    place: str = choice("shaft that it grips", ("motor", "drum"), "drum")
