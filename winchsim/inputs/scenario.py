"""A scenario as one dataclass, with its own materials, the parts at hand, its programme, the
required factors, the conditions of the run and the tolerances of a spread."""

import copyreg
from collections.abc import Mapping
from dataclasses import field
from types import MappingProxyType
from typing import Any

from winchsim.constants import STANDARD_GRAVITY
from winchsim.frozen import dataclass
from winchsim.inputs.drum_rope_load import Brake, Drum, Edge, Load, Pawl, Rope, Sheave
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.spec import (
    choice,
    integer,
    number,
    positive,
    quantity,
    share,
    table,
    tables,
    text,
)
from winchsim.inputs.supply import Supply
from winchsim.inputs.train import Stage

OF_TRAIN = "as in the stage that it goes into"
OF_DRUM, OF_ROPE = "as in [drum]", "from the rope table"


@dataclass(frozen=True, kw_only=True)
class OwnMaterial:
    """A material that the user adds, or whose values they replace."""

    name: str = text("its name")
    family: str = choice("what sort it is", ("printed polymer", "moulded polymer", "metal"))
    tensile_strength: float = positive(
        "tensile strength, of a print in the plane of its layers", "MPa", 1e4, usual=(10, 1000)
    )
    elastic_modulus: float | None = positive(
        "elastic modulus",
        "GPa",
        1000,
        None,
        usual=(0.5, 210),
        left_out="2 GPa of a polymer, 70 GPa of a metal",
    )
    density: float | None = positive(
        "density",
        "kg/m³",
        3e4,
        None,
        usual=(800, 9000),
        left_out="1200 kg/m³ of a polymer, 7850 kg/m³ of a metal",
    )
    flexural_strength: float | None = positive(
        "strength of a solid print in bending",
        "MPa",
        1e4,
        None,
        usual=(30, 200),
        condition=("family", ("printed polymer",)),
        left_out="1.5 of the tensile strength of a print",
    )
    yield_strength: float | None = positive(
        "yield strength of a metal",
        "MPa",
        1e4,
        None,
        usual=(50, 1000),
        condition=("family", ("metal",)),
        left_out="half the tensile strength of a metal",
    )
    softening: float | None = quantity(
        "temperature at which it softens",
        "°C",
        0,
        600,
        None,
        usual=(40, 200),
        left_out="60 °C for a polymer",
    )
    service_limit: float | None = quantity(
        "highest temperature for lasting use", "°C", 0, 600, None, usual=(40, 200)
    )
    across_layers: float | None = share(
        "strength across the layers of a print, over that in their plane",
        None,
        usual=(0.2, 1),
        condition=("family", ("printed polymer",)),
        left_out="0.6 of a print",
    )
    friction: float | None = number("friction on itself, dry", 0, 2, None, usual=(0.05, 0.6))
    fatigue_stress: float | None = positive(
        "root stress of one point of its S–N line", "MPa", 1e4, None, usual=(1, 500)
    )
    fatigue_cycles: float | None = number(
        "cycles to failure at that stress", 1, 1e12, None, usual=(1000, 1e7)
    )
    fatigue_slope: float | None = number(
        "exponent of cycles against stress", 1, 50, None, usual=(3, 15)
    )
    fatigue_source: str | None = text("where the S–N line is from", None)


@dataclass(frozen=True, kw_only=True)
class PartGear:
    """Equal gears; each may be a pinion or a driven gear."""

    teeth: int = integer("number of teeth", 5, 5000, usual=(8, 120))
    module: float = positive("module", "mm", 100, usual=(0.3, 4))
    count: int = integer("how many are at hand", 1, 1000, 1, usual=(1, 12))
    width: float | None = positive("face width", "mm", 1000, None, usual=(3, 40), left_out=OF_TRAIN)
    material: str | None = text("material", None, names="materials", left_out=OF_TRAIN)


@dataclass(frozen=True, kw_only=True)
class PartMotor(MotorGroup):
    """Equal motors; what describes them is as in [[motors]]."""

    name: str = text("what they are called", "")
    count: int = integer("how many are at hand", 1, 1000, 1, usual=(1, 12))


@dataclass(frozen=True, kw_only=True)
class PartDrum:
    """A drum; the rest is as in [drum]."""

    diameter: float = positive("core diameter", "mm", 1e4, usual=(5, 200))
    width: float | None = positive(
        "width between the flanges", "mm", 1e4, None, usual=(10, 300), left_out=OF_DRUM
    )
    flange_diameter: float | None = positive(
        "diameter of the flanges", "mm", 2e4, None, usual=(10, 400), left_out=OF_DRUM
    )


@dataclass(frozen=True, kw_only=True)
class PartRope:
    """A rope; how it is led is as in [rope]."""

    diameter: float = positive("rope diameter", "mm", 200, usual=(0.5, 12))
    material: str = text("rope material", "polyester", names="ropes")
    breaking_force: float | None = positive(
        "force at which a new straight rope breaks",
        "N",
        1e8,
        None,
        usual=(50, 50000),
        left_out=OF_ROPE,
    )


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Everything at hand. Of what is not listed, the build keeps its own."""

    gears: tuple[PartGear, ...] = tables("gears at hand", ())
    motors: tuple[PartMotor, ...] = tables("motors at hand", ())
    drums: tuple[PartDrum, ...] = tables("drums at hand", ())
    ropes: tuple[PartRope, ...] = tables("ropes at hand", ())


GROUPS = SUPPLY, MOTORS, GEARS, DRUM, ROPE, LOAD, PROGRAMME, FACTORS, CONDITIONS, SCENARIO = (
    "supply and controller",
    "motors",
    "gears",
    "drum",
    "rope",
    "load",
    "programme",
    "required factors",
    "conditions",
    "scenario",
)
"""Parts of a scenario along the way of the power, in the order of a form."""


def _read_only(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)


copyreg.pickle(MappingProxyType, lambda mapping: (_read_only, (dict(mapping),)))


SHORTEST_LIMIT = 60.0
LIMIT_PER_ESTIMATE = 5.0
LIMIT_TEXT = f"{LIMIT_PER_ESTIMATE:g} times the estimate, at least {SHORTEST_LIMIT:g} s"
"""Time limit of a phase that has none: so many times the closed-form estimate, at least so long.
[s], [-]"""

POWERED = ("action", ("raise", "lower"))
REQUIRED = (1, 15)


@dataclass(frozen=True, kw_only=True)
class Phase:
    """One step of the programme."""

    action: str = choice("what the power does", ("raise", "lower", "off", "short"))
    until: str = choice(
        "what ends the phase besides its time", ("top", "floor", "time"), "time", label="ends at"
    )
    time: float | None = positive(
        "longest time of this phase", "s", 1e6, None, usual=(1, 300), left_out=LIMIT_TEXT
    )
    voltage: float | None = quantity(
        "supply voltage in this phase",
        "V",
        0,
        1000,
        None,
        usual=(0, 48),
        condition=POWERED,
        left_out="the supply's",
        quiet=True,
    )
    current_limit: float | None = positive(
        "current limit in this phase",
        "A",
        1e4,
        None,
        usual=(0.5, 50),
        condition=POWERED,
        left_out="the supply's",
        quiet=True,
    )
    ramp: float = quantity(
        "time in which the voltage rises",
        "s",
        0,
        1e5,
        0.0,
        usual=(0, 10),
        condition=POWERED,
        quiet=True,
    )


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Required factors: how many times its load each kind of link must bear."""

    tooth: float = number("for gear teeth", 1, 100, 2.0, usual=REQUIRED)
    shaft: float = number("for shafts and the drum rod", 1, 100, 2.0, usual=REQUIRED)
    pin: float = number("for the cross-pin", 1, 100, 3.0, usual=REQUIRED)
    rope: float = number("for the rope at its end and at the drum", 1, 100, 7.0, usual=REQUIRED)
    anchor: float = number("for the rope's hold on the drum", 1, 100, 2.0, usual=REQUIRED)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Surroundings and how the run is made."""

    gravity: float = positive(
        "acceleration of gravity", "m/s²", 100, STANDARD_GRAVITY, usual=(9.78, 9.83), quiet=True
    )
    ambient: float = quantity(
        "air temperature",
        "°C",
        -60,
        80,
        20,
        usual=(-10, 45),
        assumed=(10, 30, "own assumption: a workshop in winter and in summer"),
    )
    breakaway: float = number(
        "losses at rest against losses in motion",
        1,
        5,
        1.3,
        usual=(1, 2),
        label="losses at rest",
        assumed=(1.1, 1.6, "own assumption for plain bearings and polymer teeth"),
        spread="10 %",
    )
    watch: float = quantity(
        "how long the held load is watched", "s", 0, 1e5, 10, usual=(0, 120), quiet=True
    )
    sample_step: float | None = positive(
        "time between the rows of the CSV record",
        "s",
        1e5,
        None,
        usual=(0.001, 1),
        quiet=True,
        left_out="the run's own steps",
    )
    stall_watch: float = quantity(
        "how long the power stays on after a stall", "s", 0, 1e4, 60, usual=(0, 300), quiet=True
    )
    relative_tolerance: float = number(
        "relative tolerance of the integrator",
        1e-12,
        1e-3,
        1e-5,
        usual=(1e-8, 1e-4),
        quiet=True,
    )


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How far one value may differ from part to part."""

    path: str = text("path of the value")
    by: str = text("half width, as a percentage or in the value's unit", label="half width")
    shape: str = choice("distribution", ("uniform", "normal", "triangular"), "normal")


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """A whole scenario: everything that a simulation is built from.

    `given` holds the paths that the file (or the caller) gave; everything else is a default and
    listed as assumed. `unused` holds the given paths that are read but have no effect any more (see
    `REMOVED`). `materials`, `ropes` and `friction_pairs` are the tables that the names in the
    scenario refer to.
    """

    motors: tuple[MotorGroup, ...] = tables("motor groups on the common gear", group=MOTORS)
    supply: Supply = table("what feeds the motors", group=SUPPLY)
    stage: tuple[Stage, ...] = tables(
        "reductions from the motors to the drum; stage = [] where there are none", group=GEARS
    )
    drum: Drum = table("the drum", group=DRUM)
    rope: Rope = table("the rope", group=ROPE)
    load: Load = table("the load", group=LOAD)
    title: str = text("title of the scenario", "", group=SCENARIO)
    note: str = text("anything the reader should know", "", group=SCENARIO)
    sheave: tuple[Sheave, ...] = tables("guide sheaves", (), group=ROPE)
    edge: tuple[Edge, ...] = tables("edges that the rope rubs on", (), group=ROPE)
    pawl: Pawl | None = table("pawl on the drum", None, group=DRUM)
    brake: Brake | None = table("brake that grips when the power is off", None, group=DRUM)
    phase: tuple[Phase, ...] = tables(
        "programme; left out: raise to the top, power off, watch", (), group=PROGRAMME
    )
    factors: Factors = table("required factors", Factors(), group=FACTORS)
    settings: Settings = table("surroundings and run", Settings(), group=CONDITIONS)
    tolerance: tuple[Tolerance, ...] = tables("tolerances for a spread", (), group=CONDITIONS)
    material: tuple[OwnMaterial, ...] = tables("own materials", (), group=CONDITIONS)
    parts: Parts | None = table("parts at hand, to choose a build from", None, group=SCENARIO)
    given: frozenset[str] = frozenset()
    unused: tuple[str, ...] = ()
    materials: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    ropes: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    friction_pairs: tuple[Any, ...] = ()
