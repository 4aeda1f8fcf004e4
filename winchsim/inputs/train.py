"""The reductions between the motors and the drum."""

from __future__ import annotations

import math
from dataclasses import dataclass

from winchsim.inputs.spec import choice, flag, integer, number, quantity, text

DRAG_SHARE = 0.005
DRAG_RANGE = (0.0, 0.02)
DRAG_TEXT = f"{100 * DRAG_SHARE:g} % of the torque of the stalled motors"
"""Constant drag of a shaft that is not given, as a share of the torque that the stalled motors make there, losses left out. [-]
Own assumption: small plain bearings; real gear trains are 25 to 45 % worse at a sixth of full torque than one constant
efficiency says, which a drag of 1 or 2 % a shaft explains."""


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One reduction between the motors and the drum, or several equal ones."""

    kind: str = choice(
        "what sort of reduction", ("spur", "belt", "chain", "worm", "planetary", "other"), "spur"
    )
    repeat: int = integer("how many such stages follow each other", 1, 50, 1)
    pinion: int | None = integer(
        "teeth of the driving gear", 5, 1000, None, left_out="needed by a spur stage"
    )
    gear: int | None = integer(
        "teeth of the driven gear", 5, 5000, None, left_out="needed by a spur stage"
    )
    module: float | None = quantity(
        "mm",
        "module",
        0,
        0.1,
        None,
        open=True,
        left_out="needed by a spur stage, or diametral_pitch",
    )
    diametral_pitch: float | None = quantity(
        "1/in",
        "teeth per inch of pitch diameter",
        0,
        1e5,
        None,
        open=True,
        left_out="needed by a spur stage, or module",
    )
    width: float | None = quantity(
        "mm", "face width of the gears", 0, 1, None, open=True, left_out="needed by a spur stage"
    )
    pressure_angle: float = quantity(
        "deg", "pressure angle", math.radians(14), math.radians(30), math.radians(20)
    )
    pinion_shift: float = number("profile shift of the pinion in modules", -1, 1.5, 0.0, quiet=True)
    gear_shift: float = number("profile shift of the gear in modules", -1, 1.5, 0.0, quiet=True)
    ratio: float | None = number(
        "reduction, where the stage is not a spur pair",
        0.01,
        1e5,
        None,
        left_out="needed by a stage that is not spur",
    )
    efficiency: float | None = number(
        "efficiency when the motors drive",
        0,
        1,
        None,
        open=True,
        left_out="from the coefficient of friction",
        spread="3 %",
    )
    reverse_efficiency: float | None = number(
        "efficiency when the load drives; negative locks", -10, 1, None, left_out="2 - 1/efficiency"
    )
    friction: float | None = number(
        "coefficient of friction between the teeth",
        0,
        1,
        None,
        left_out="from the table of friction pairs",
        spread="30 %",
    )
    greased: bool = flag("whether the teeth are greased", False)
    bearing_efficiency: float = number(
        "efficiency of the output shaft's bearings", 0, 1, 1.0, open=True, quiet=True
    )
    shaft_drag: float | None = quantity(
        "mN·m",
        "constant drag of the output shaft",
        0,
        1e4,
        None,
        left_out=f"{DRAG_TEXT} there",
    )
    material: str = text("material of both gears, or of the gear alone", "PLA", quiet=False)
    pinion_material: str | None = text("material of the pinion", None, left_out="same as the gear")
    pinion_width: float | None = quantity(
        "mm", "face width of the pinion", 0, 1, None, open=True, left_out="same as the gear"
    )
    walls: int | None = integer("walls (perimeters) printed", 1, 200, None, left_out="solid")
    line_width: float = quantity("mm", "width of a printed line", 1e-5, 0.01, 0.00045, quiet=True)
    infill: float | None = number(
        "infill of a printed gear", 0, 1, None, unit="%", left_out="solid"
    )
    infill_exponent: float = number("exponent of strength against infill", 0.5, 3, 1.0, quiet=True)
    print_direction: str = choice(
        "how the gear lay while printed", ("lying", "standing"), "lying", quiet=True
    )
    tooth_strength: float | None = quantity(
        "MPa",
        "stress at which a tooth breaks",
        0,
        1e10,
        None,
        open=True,
        spread="20 %",
        left_out="from the material",
    )
    tested_tooth_force: float | None = quantity(
        "N",
        "tooth force at which a tested tooth broke",
        0,
        1e8,
        None,
        open=True,
        spread="10 %",
        left_out="from tooth and material",
    )
    application_factor: float = number(
        "factor on the tooth force for rough running", 1, 10, 1.0, quiet=True
    )
    bore: float | None = quantity("mm", "bore of the gear", 0, 1, None, left_out="shaft diameter")
    shaft_diameter: float | None = quantity(
        "mm",
        "diameter of the output shaft",
        0,
        1,
        None,
        open=True,
        left_out="the shaft is not judged",
    )
    shaft_material: str = text("material of the output shaft", "steel")
    shaft_span: float | None = quantity(
        "mm",
        "distance between the output shaft's supports",
        0,
        10,
        None,
        open=True,
        left_out="only the shaft's torsion is judged",
    )
    inertia: float | None = quantity(
        "kg·m²",
        "inertia of the output shaft with its gears",
        0,
        1e6,
        None,
        left_out="from geometry and density",
    )
    torque_limit: float | None = quantity(
        "N·m", "largest output torque it bears", 0, 1e8, None, open=True, left_out="not judged"
    )

    @property
    def gear_bore(self) -> float:
        """Bore of the gear, that of its shaft where none is given; 0 for a gear without one. [m]"""
        return self.bore if self.bore is not None else self.shaft_diameter or 0.0

    @property
    def tooth_width(self) -> float | None:
        """Face width that both gears share; None where none is given. [m]"""
        return (
            self.width
            if self.width is None or self.pinion_width is None
            else min(self.width, self.pinion_width)
        )
