"""The reductions between the motors and the drum."""

from winchsim.constants import BEARING_KINDS
from winchsim.frozen import dataclass
from winchsim.inputs.spec import choice, flag, integer, number, positive, quantity, share, text

DRAG_RANGE = (0.0, 0.003)
DRAG_TEXT = f"0, up to {100 * DRAG_RANGE[1]:g} % of the torque of the stalled motors"
"""Constant drag of a shaft that is not given, as a share of the torque that the stalled motors make
there without losses. [-] Own assumption: seals and stiff grease; friction that grows with the load
is counted with the bearings."""

SPUR = ("kind", ("spur",))
WORM = ("kind", ("worm",))
SPUR_OR_WORM = ("kind", ("spur", "worm"))
NOT_SPUR = ("kind", ("belt", "chain", "worm", "planetary", "other"))
NEEDED = "needed by a spur stage"


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One reduction between the motors and the drum, or several equal ones."""

    kind: str = choice(
        "what sort of reduction", ("spur", "belt", "chain", "worm", "planetary", "other"), "spur"
    )
    repeat: int = integer(
        "how many such stages follow each other", 1, 50, 1, usual=(1, 8), label="equal stages"
    )
    pinion: int | None = integer(
        "teeth of the driving gear",
        5,
        1000,
        None,
        usual=(8, 40),
        label="pinion teeth",
        condition=("kind", ("spur", "belt", "chain")),
        left_out=NEEDED,
    )
    gear: int | None = integer(
        "teeth of the driven gear",
        5,
        5000,
        None,
        usual=(20, 120),
        label="gear teeth",
        condition=("kind", ("spur", "belt", "chain", "worm")),
        left_out=NEEDED,
    )
    module: float | None = positive(
        "module",
        "mm",
        100,
        None,
        usual=(0.3, 4),
        condition=SPUR,
        left_out=f"{NEEDED}, or diametral_pitch",
    )
    diametral_pitch: float | None = positive(
        "teeth per inch of pitch diameter",
        "1/in",
        1000,
        None,
        usual=(8, 64),
        condition=SPUR,
        left_out=f"{NEEDED}, or module",
    )
    width: float | None = positive(
        "face width of the gears",
        "mm",
        1000,
        None,
        usual=(3, 40),
        label="face width",
        condition=SPUR,
        left_out=NEEDED,
    )
    pressure_angle: float = quantity(
        "pressure angle", "deg", 14, 30, 20, usual=(14.5, 25), condition=SPUR_OR_WORM, quiet=True
    )
    pinion_shift: float = number(
        "profile shift of the pinion in modules",
        -1,
        1.5,
        0.0,
        usual=(-0.5, 0.8),
        condition=SPUR,
        quiet=True,
    )
    gear_shift: float = number(
        "profile shift of the gear in modules",
        -1,
        1.5,
        0.0,
        usual=(-0.5, 0.8),
        condition=SPUR,
        quiet=True,
    )
    ratio: float | None = number(
        "reduction, where the stage is not a spur pair",
        0.01,
        1e5,
        None,
        usual=(1, 60),
        condition=NOT_SPUR,
        left_out="needed, or teeth (with a worm: gear and starts)",
    )
    efficiency: float | None = share(
        "efficiency, its output shaft's bearings in it unless given too",
        None,
        usual=(0.3, 0.99),
        left_out="from friction and form; usual for belt, chain, planetary",
        spread="3 %",
    )
    reverse_efficiency: float | None = number(
        "efficiency when the load drives; negative locks",
        -10,
        1,
        None,
        usual=(-1, 1),
        left_out="2 - 1/efficiency, of a worm by its lead angle",
    )
    friction: float | None = number(
        "coefficient of friction between the teeth",
        0,
        1,
        None,
        usual=(0.03, 0.5),
        label="tooth friction",
        condition=SPUR_OR_WORM,
        left_out="from the table of friction pairs",
        spread="30 %",
    )
    greased: bool = flag("whether the teeth are greased", False, condition=SPUR_OR_WORM)
    rest_friction: float | None = number(
        "coefficient of friction of a worm at rest",
        0,
        1,
        None,
        usual=(0.05, 0.3),
        condition=WORM,
        left_out="0.12, of plastic as much more as other losses",
    )
    making: str | None = choice(
        "how the teeth were made",
        ("printed", "moulded", "cut"),
        None,
        condition=SPUR,
        left_out="by the material",
    )
    form_loss: float | None = number(
        "share of the torque lost to the form of the teeth",
        0,
        50,
        None,
        unit="%",
        usual=(0, 10),
        condition=SPUR,
        left_out="3 % of printed teeth, 1 % of others",
    )
    starts: int | None = integer(
        "threads of a worm", 1, 20, None, usual=(1, 4), condition=WORM, left_out="1"
    )
    lead_angle: float | None = positive(
        "lead angle of a worm",
        "deg",
        60,
        None,
        usual=(2, 30),
        condition=WORM,
        left_out="from a diameter of 10 modules",
    )
    worm_diameter: float | None = positive(
        "pitch diameter of a worm",
        "mm",
        1000,
        None,
        usual=(5, 50),
        condition=WORM,
        left_out="its friction is not taken by sliding speed",
    )
    collar_diameter: float | None = positive(
        "mean diameter of the thrust bearing of a worm",
        "mm",
        1000,
        None,
        usual=(3, 50),
        condition=WORM,
        left_out="that of the worm",
    )
    bearing: str | None = choice(
        "bearings of the output shaft, of a worm its thrust bearing",
        BEARING_KINDS,
        None,
        condition=SPUR_OR_WORM,
        left_out="polymer bore for polymer gears, else metal bush",
    )
    bearing_friction: float | None = number(
        "coefficient of friction in these bearings",
        0,
        1,
        None,
        usual=(0.001, 0.4),
        condition=SPUR_OR_WORM,
        left_out="by their kind",
    )
    bearing_efficiency: float | None = share(
        "efficiency of the output shaft's bearings",
        None,
        usual=(0.8, 1),
        left_out="from their friction and the forces of the gears",
    )
    shaft_drag: float | None = quantity(
        "constant drag of the output shaft",
        "mN·m",
        0,
        1e6,
        None,
        usual=(0, 100),
        left_out=f"{DRAG_TEXT} there",
    )
    material: str = text(
        "material of both gears, or of the gear alone",
        "PLA",
        names="materials",
        condition=("kind", ("spur", "worm", "planetary")),
        quiet=False,
    )
    pinion_material: str | None = text(
        "material of the pinion",
        None,
        names="materials",
        condition=SPUR_OR_WORM,
        left_out="same as the gear",
    )
    pinion_width: float | None = positive(
        "face width of the pinion",
        "mm",
        1000,
        None,
        usual=(3, 40),
        condition=SPUR,
        left_out="same as the gear",
    )
    walls: int | None = integer(
        "walls (perimeters) printed",
        1,
        200,
        None,
        usual=(1, 10),
        condition=SPUR,
        left_out="solid",
    )
    line_width: float = quantity(
        "width of a printed line",
        "mm",
        0.01,
        10,
        0.45,
        usual=(0.2, 1.2),
        condition=SPUR,
        quiet=True,
    )
    infill: float | None = number(
        "infill of a printed gear",
        0,
        100,
        None,
        unit="%",
        usual=(5, 100),
        condition=SPUR,
        left_out="solid",
    )
    print_direction: str = choice(
        "how the gear lay while printed", ("lying", "standing"), "lying", condition=SPUR
    )
    tooth_strength: float | None = positive(
        "stress at which a tooth breaks",
        "MPa",
        1e4,
        None,
        usual=(10, 300),
        condition=SPUR,
        spread="20 %",
        left_out="from the material",
    )
    tested_tooth_force: float | None = positive(
        "tooth force at which a tested tooth broke",
        "N",
        1e6,
        None,
        usual=(10, 5000),
        condition=SPUR,
        spread="10 %",
        left_out="from tooth and material",
    )
    application_factor: float = number(
        "factor on the tooth force for rough running",
        1,
        10,
        1.0,
        usual=(1, 2),
        condition=SPUR,
        quiet=True,
    )
    bore: float | None = quantity(
        "bore of the gear",
        "mm",
        0,
        1000,
        None,
        usual=(2, 25),
        condition=SPUR,
        left_out="shaft diameter",
    )
    shaft_diameter: float | None = positive(
        "diameter of the output shaft",
        "mm",
        1000,
        None,
        usual=(2, 25),
        left_out="the shaft is not judged",
    )
    shaft_material: str = text("material of the output shaft", "steel", names="materials")
    shaft_span: float | None = positive(
        "distance between the output shaft's supports",
        "mm",
        1e4,
        None,
        usual=(10, 300),
        condition=SPUR,
        left_out="only the shaft's torsion is judged",
    )
    inertia: float | None = quantity(
        "inertia of the output shaft with its gears",
        "kg·m²",
        0,
        1e4,
        None,
        usual=(0, 0.01),
        left_out="from geometry and density",
    )
    torque_limit: float | None = positive(
        "largest output torque it bears", "N·m", 1e6, None, usual=(0.1, 500), left_out="not judged"
    )

    def speed_ratio(self, pinion: int | None = None) -> float:
        """Reduction, by its teeth where it is not given; with another pinion where one is named.
        [-]"""
        if self.ratio is not None and self.kind != "spur":
            return self.ratio
        driver = self.pinion if pinion is None else pinion
        driver = (self.starts or 1) if self.kind == "worm" else driver
        assert self.gear is not None and driver is not None, "a checked stage has a ratio or teeth"
        return self.gear / driver

    @property
    def gear_bore(self) -> float:
        """Bore of the gear, that of its shaft where none is given; 0 for a gear without one. [m]"""
        return self.bore if self.bore is not None else self.shaft_diameter or 0.0
