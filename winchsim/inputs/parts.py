"""Materials that a scenario adds, and parts at hand: what a build can be chosen from."""

from winchsim.frozen import dataclass
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.spec import (
    choice,
    integer,
    number,
    positive,
    quantity,
    share,
    tables,
    text,
)

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
