"""Parts at hand: what a build can be chosen from."""

from winchsim.frozen import dataclass
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.spec import integer, positive, tables, text

OF_TRAIN = "as in the stage that it goes into"
OF_DRUM, OF_ROPE = "as in [drum]", "from the rope table"


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
