"""What a scenario may say: checked dataclasses in SI, each value with its unit, default, bounds and meaning.

Every other room that needs a parameter's unit, bounds or meaning (the reader, the key reference, CSV headers, axis labels,
the report) takes it from the declaration here. Temperatures are in °C, everything else is in SI units.

A path names one value: ``motors.1.count``, ``stage.3.walls``, counted from 1 at the motors. It is the same in a file, in
``--set``, in errors, tolerances, remedies and JSON.
"""

from __future__ import annotations

import copyreg
import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, dataclass, field
from functools import cache
from types import MappingProxyType, NoneType
from typing import Any, TypeVar, cast, get_args, get_origin, get_type_hints

from winchsim.constants import FERRITE_COEFFICIENT, ROTOR_TIME_CONSTANT, STANDARD_GRAVITY
from winchsim.errors import DomainError, Fault, UnknownPathError, did_you_mean
from winchsim.quantity_text import in_unit

LEAST_ROOM = 0.05
"""Rope that must be left between load and drum, or top sheave, at the top. [m] Own choice."""

ROOM_SHARE = 0.1
USUAL_ROOM = 0.3
ROOM_TEXT = f"height and {100 * ROOM_SHARE:g} % of it, at least {USUAL_ROOM:g} m"
"""What is taken to be left there where nothing is said: share of the height, and the least. [-], [m] Own assumption."""

DRAG_SHARE = 0.005
DRAG_RANGE = (0.0, 0.02)
DRAG_TEXT = f"{100 * DRAG_SHARE:g} % of the torque of the stalled motors"
"""Constant drag of a shaft that is not given, as a share of the torque that the stalled motors make there, losses left out. [-]
Own assumption: small plain bearings; real gear trains are 25 to 45 % worse at a sixth of full torque than one constant
efficiency says, which a drag of 1 or 2 % a shaft explains."""

SHORTEST_LIMIT = 60.0
LIMIT_PER_ESTIMATE = 5.0
LIMIT_TEXT = f"{LIMIT_PER_ESTIMATE:g} times the estimate, at least {SHORTEST_LIMIT:g} s"
"""Time limit of a phase that has none: so many times the closed-form estimate, at least so long. [s], [-]"""


def _read_only(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)


# Scenarios and their tables hold read-only mappings, and go to worker processes.
copyreg.pickle(MappingProxyType, lambda mapping: (_read_only, (dict(mapping),)))


@dataclass(frozen=True)
class Spec:
    """Declaration of one value.

    Attributes
    ----------
    kind : str
        ``quantity`` (a string with a unit in the file), ``number`` (bare, or a percentage), ``integer``, ``flag``,
        ``text``, ``choice``, ``table`` or ``tables``.
    unit : str
        Unit it is printed in, one of quantity_text.PRINTED_UNITS; empty where there is no dimension.
    meaning : str
        One clause for people, no full stop.
    low, high : float
        Bounds in SI, inclusive unless `low_open`.
    low_open : bool
        Whether `low` itself is refused.
    choices : tuple of str
        For ``choice``.
    left_out : str
        What happens when the file does not give it: shown in the key reference.
    quiet : bool
        Whether a default means "this build has none of it" and need not be listed as assumed.
    spread : str
        Assumed tolerance for a spread when the file gives none, such as ``5 %``; empty for none.
    """

    kind: str
    unit: str = ""
    meaning: str = ""
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    choices: tuple[str, ...] = ()
    left_out: str = ""
    quiet: bool = False
    spread: str = ""


def _declare(spec: Spec, default: Any) -> Any:
    return field(default=default, metadata={"spec": spec}) if default is not MISSING else field(metadata={"spec": spec})


def _quantity(
    unit: str,
    meaning: str,
    low: float,
    high: float,
    default: Any = MISSING,
    *,
    open: bool = False,
    left_out: str = "",
    quiet: bool = False,
    spread: str = "",
) -> Any:
    return _declare(Spec("quantity", unit, meaning, low, high, open, (), left_out, quiet, spread), default)


def _number(
    meaning: str,
    low: float,
    high: float,
    default: Any = MISSING,
    *,
    open: bool = False,
    unit: str = "",
    left_out: str = "",
    quiet: bool = False,
    spread: str = "",
) -> Any:
    return _declare(Spec("number", unit, meaning, low, high, open, (), left_out, quiet, spread), default)


def _integer(meaning: str, low: int, high: int, default: Any = MISSING, *, left_out: str = "", quiet: bool = True) -> Any:
    return _declare(Spec("integer", "", meaning, low, high, False, (), left_out, quiet), default)


def _flag(meaning: str, default: bool) -> Any:
    return _declare(Spec("flag", "", meaning, quiet=True), default)


def _text(meaning: str, default: Any = MISSING, *, left_out: str = "", quiet: bool = True) -> Any:
    return _declare(Spec("text", "", meaning, left_out=left_out, quiet=quiet), default)


def _choice(meaning: str, choices: tuple[str, ...], default: Any = MISSING, *, quiet: bool = True) -> Any:
    return _declare(Spec("choice", "", meaning, choices=choices, quiet=quiet), default)


def _table(meaning: str, default: Any = MISSING) -> Any:
    return _declare(Spec("table", "", meaning, quiet=True), default)


def _tables(meaning: str, default: Any = MISSING) -> Any:
    return _declare(Spec("tables", "", meaning, quiet=True), default)


# --- motors ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class MotorPoint:
    """One measured working point of a motor at its nominal voltage."""

    torque: float = _quantity("mN·m", "torque at the shaft", 0, 1e4)
    speed: float = _quantity("rpm", "speed at that torque", 0, 1e5)
    current: float = _quantity("A", "current at that torque", 0, 1e4)


@dataclass(frozen=True, kw_only=True)
class Gearbox:
    """A bought gearbox on the motor; the motor's data are then at the gearbox output."""

    ratio: float = _number("reduction of the gearbox", 1, 1e5)
    efficiency: float = _number("efficiency when the motor drives", 0, 1, 0.7, open=True, spread="10 %")
    reverse_efficiency: float | None = _number(
        "efficiency when the load drives; negative locks", -10, 1, None, left_out="2 - 1/efficiency of each of its stages"
    )
    torque_limit: float | None = _quantity(
        "N·m", "largest output torque it bears", 0, 1e7, None, open=True, left_out="not judged"
    )


@dataclass(frozen=True, kw_only=True)
class MotorGroup:
    """A group of equal brushed DC motors with equal pinions on the common gear."""

    count: int = _integer("motors in the group", 1, 1000, 1)
    dead: int = _integer("how many of them are dead and only drag", 0, 1000, 0)
    known_by: str = _choice("which data describe the motor", ("data sheet", "points", "bench", "label"), "data sheet")
    voltage: float = _quantity("V", "voltage at which the motor's data hold", 0, 1000, open=True)
    no_load_speed: float | None = _quantity(
        "rpm",
        "speed with nothing on the shaft",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed, except with known_by = "points"',
    )
    no_load_current: float | None = _quantity(
        "A",
        "current with nothing on the shaft",
        0,
        1e4,
        None,
        spread="20 %",
        left_out='needed with known_by = "data sheet" or "bench"',
    )
    stall_torque: float | None = _quantity(
        "mN·m",
        "torque with the shaft held still",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    stall_current: float | None = _quantity(
        "A",
        "current with the shaft held still",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    points: tuple[MotorPoint, ...] = _tables("measured working points", ())
    terminal_resistance: float | None = _quantity(
        "ohm",
        "resistance between the terminals",
        0,
        1e5,
        None,
        open=True,
        spread="5 %",
        left_out='needed with known_by = "bench"',
    )
    lever_force: float | None = _quantity(
        "N", "pull at the end of a lever on the stalled shaft", 0, 1e6, None, open=True, left_out="no lever test"
    )
    lever_arm: float | None = _quantity("mm", "length of that lever", 0, 10, None, open=True, left_out="no lever test")
    lever_voltage: float | None = _quantity(
        "V", "voltage during the lever test", 0, 1000, None, open=True, left_out="no lever test"
    )
    lever_current: float | None = _quantity(
        "A", "current during the lever test", 0, 1e5, None, open=True, left_out="no lever test"
    )
    body_diameter: float | None = _quantity("mm", "diameter of the motor's body", 0, 1, None, open=True)
    body_length: float | None = _quantity("mm", "length of the motor's body", 0, 2, None, open=True)
    brush_drop: float = _quantity("V", "voltage lost at both brushes together", 0, 10, 0.0, quiet=True)
    drag_speed_share: float = _number("share of the no-load drag that grows with speed", 0, 1, 0.0, quiet=True)
    inductance: float | None = _quantity(
        "mH", "inductance between the terminals", 0, 10, None, open=True, quiet=True, left_out="none"
    )
    rotor_inertia: float | None = _quantity(
        "g·cm²",
        "inertia of one rotor",
        0,
        1e3,
        None,
        open=True,
        left_out=f"from a time constant of {1e3 * ROTOR_TIME_CONSTANT[0]:g} ms",
    )
    gearbox: Gearbox | None = _table("gearbox bought with the motor", None)
    pinion: int | None = _integer("teeth of this group's pinion", 5, 1000, None, left_out="pinion of the first stage")
    mass: float | None = _quantity("g", "mass of one motor", 0, 1e4, None, open=True, left_out="estimated from the stall power")
    winding_heat_capacity: float | None = _quantity(
        "J/K",
        "heat capacity of the winding",
        0,
        1e6,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    case_heat_capacity: float | None = _quantity(
        "J/K",
        "heat capacity of the case",
        0,
        1e7,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    winding_to_case: float | None = _quantity(
        "K/W",
        "thermal resistance from winding to case",
        0,
        1e4,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    case_to_ambient: float | None = _quantity(
        "K/W",
        "thermal resistance from case to air",
        0,
        1e4,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    winding_limit: float = _quantity("°C", "temperature that the winding must not pass", 30, 400, 120.0)
    winding_start: float | None = _quantity(
        "°C", "winding temperature at the start", -60, 300, None, left_out="ambient", quiet=True
    )
    magnet_coefficient: float = _quantity(
        "%/K", "change of the magnets' flux with temperature", -0.01, 0.0, FERRITE_COEFFICIENT
    )


@dataclass(frozen=True, kw_only=True)
class Supply:
    """What feeds the motors."""

    voltage: float = _quantity("V", "open-circuit voltage", 0, 1000, open=True, spread="3 %")
    resistance: float = _quantity("ohm", "internal and wiring resistance", 0, 1e4, 0.0, spread="20 %")
    current_limit: float | None = _quantity(
        "A", "current at which the supply limits itself", 0, 1e5, None, open=True, quiet=True, left_out="no limit"
    )
    kind: str = _choice("a bench supply takes nothing back, a battery does", ("bench", "battery"), "bench", quiet=False)
    off: str = _choice(
        "what power off opens: the common lead, or a switch at each motor", ("common lead", "each motor"), "common lead"
    )
    capacity: float | None = _quantity(
        "A·h", "charge that a full battery gives", 0, 1e8, None, open=True, quiet=True, left_out="never empty"
    )


# --- chain ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One reduction between the motors and the drum, or several equal ones."""

    kind: str = _choice("what sort of reduction", ("spur", "belt", "chain", "worm", "planetary", "other"), "spur")
    repeat: int = _integer("how many such stages follow each other", 1, 50, 1)
    pinion: int | None = _integer("teeth of the driving gear", 5, 1000, None, left_out="needed by a spur stage")
    gear: int | None = _integer("teeth of the driven gear", 5, 5000, None, left_out="needed by a spur stage")
    module: float | None = _quantity(
        "mm", "module", 0, 0.1, None, open=True, left_out="needed by a spur stage, or diametral_pitch"
    )
    diametral_pitch: float | None = _quantity(
        "1/in", "teeth per inch of pitch diameter", 0, 1e5, None, open=True, left_out="needed by a spur stage, or module"
    )
    width: float | None = _quantity("mm", "face width of the gears", 0, 1, None, open=True, left_out="needed by a spur stage")
    pressure_angle: float = _quantity("deg", "pressure angle", math.radians(14), math.radians(30), math.radians(20))
    pinion_shift: float = _number("profile shift of the pinion in modules", -1, 1.5, 0.0, quiet=True)
    gear_shift: float = _number("profile shift of the gear in modules", -1, 1.5, 0.0, quiet=True)
    ratio: float | None = _number(
        "reduction, where the stage is not a spur pair", 0.01, 1e5, None, left_out="needed by a stage that is not spur"
    )
    efficiency: float | None = _number(
        "efficiency when the motors drive",
        0,
        1,
        None,
        open=True,
        left_out="from the coefficient of friction",
        spread="3 %",
    )
    reverse_efficiency: float | None = _number(
        "efficiency when the load drives; negative locks", -10, 1, None, left_out="2 - 1/efficiency"
    )
    friction: float | None = _number(
        "coefficient of friction between the teeth",
        0,
        1,
        None,
        left_out="from the table of friction pairs",
        spread="30 %",
    )
    greased: bool = _flag("whether the teeth are greased", False)
    bearing_efficiency: float = _number("efficiency of the output shaft's bearings", 0, 1, 1.0, open=True, quiet=True)
    shaft_drag: float | None = _quantity(
        "mN·m",
        "constant drag of the output shaft",
        0,
        1e4,
        None,
        left_out=f"{DRAG_TEXT} there",
    )
    material: str = _text("material of both gears, or of the gear alone", "PLA", quiet=False)
    pinion_material: str | None = _text("material of the pinion", None, left_out="same as the gear")
    pinion_width: float | None = _quantity("mm", "face width of the pinion", 0, 1, None, open=True, left_out="same as the gear")
    walls: int | None = _integer("walls (perimeters) printed", 1, 200, None, left_out="solid")
    line_width: float = _quantity("mm", "width of a printed line", 1e-5, 0.01, 0.00045, quiet=True)
    infill: float | None = _number("infill of a printed gear", 0, 1, None, unit="%", left_out="solid")
    infill_exponent: float = _number("exponent of strength against infill", 0.5, 3, 1.0, quiet=True)
    print_direction: str = _choice("how the gear lay while printed", ("lying", "standing"), "lying", quiet=True)
    tooth_strength: float | None = _quantity(
        "MPa", "stress at which a tooth breaks", 0, 1e10, None, open=True, spread="20 %", left_out="from the material"
    )
    tested_tooth_force: float | None = _quantity(
        "N",
        "tooth force at which a tested tooth broke",
        0,
        1e8,
        None,
        open=True,
        spread="10 %",
        left_out="from tooth and material",
    )
    application_factor: float = _number("factor on the tooth force for rough running", 1, 10, 1.0, quiet=True)
    bore: float | None = _quantity("mm", "bore of the gear", 0, 1, None, left_out="shaft diameter")
    shaft_diameter: float | None = _quantity(
        "mm", "diameter of the output shaft", 0, 1, None, open=True, left_out="the shaft is not judged"
    )
    shaft_material: str = _text("material of the output shaft", "steel")
    shaft_span: float | None = _quantity(
        "mm",
        "distance between the output shaft's supports",
        0,
        10,
        None,
        open=True,
        left_out="only the shaft's torsion is judged",
    )
    inertia: float | None = _quantity(
        "kg·m²",
        "inertia of the output shaft with its gears",
        0,
        1e6,
        None,
        left_out="from geometry and density",
    )
    torque_limit: float | None = _quantity(
        "N·m", "largest output torque it bears", 0, 1e8, None, open=True, left_out="not judged"
    )

    @property
    def gear_bore(self) -> float:
        """Bore of the gear, that of its shaft where none is given; 0 for a gear without one. [m]"""
        return self.bore if self.bore is not None else self.shaft_diameter or 0.0

    @property
    def tooth_width(self) -> float | None:
        """Face width that both gears share; None where none is given. [m]"""
        return self.width if self.width is None or self.pinion_width is None else min(self.width, self.pinion_width)


# --- drum, rope, load -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Drum:
    """The drum that the rope winds on."""

    diameter: float = _quantity("mm", "core diameter", 0, 10, open=True, spread="1 %")
    width: float = _quantity("mm", "width between the flanges", 0, 10, open=True)
    flange_diameter: float | None = _quantity(
        "mm", "diameter of the flanges", 0, 20, None, open=True, left_out="as large as needed", quiet=True
    )
    layering: str = _choice("how each layer lies on the one below", ("stacked", "nested"), "stacked")
    dead_turns: float = _number("turns that stay on the drum", 0, 1000, 3.0)
    drag: float = _quantity("mN·m", "constant drag of the drum's bearings", 0, 1e4, 0.0, quiet=True)
    bearing_efficiency: float = _number("efficiency of the drum's bearings", 0, 1, 1.0, open=True, quiet=True)
    inertia: float | None = _quantity("kg·m²", "inertia of the drum", 0, 1e6, None, left_out="a solid core of its material")
    material: str = _text("material of the drum rod", "steel")
    support_span: float | None = _quantity(
        "mm", "distance between the drum rod's supports", 0, 20, None, open=True, left_out="bending of the rod is not judged"
    )
    cross_pin_diameter: float | None = _quantity(
        "mm", "diameter of the pin through the drum rod", 0, 0.2, None, open=True, left_out="no pin"
    )
    cross_pin_material: str = _text("material of that pin", "steel")
    anchor_friction: float = _number("friction of the rope on the drum", 0.01, 1, 0.1)
    anchor_hold: float | None = _quantity(
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

    material: str = _text("rope material", "polyester", quiet=False)
    diameter: float = _quantity("mm", "rope diameter", 0, 0.2, open=True)
    breaking_force: float | None = _quantity(
        "N",
        "force at which a new straight rope breaks",
        0,
        1e8,
        None,
        open=True,
        left_out="from the rope table",
        spread="15 %",
    )
    end: str = _choice(
        "how it ends at the load: a knot (wire: clips), or a splice (wire: ferrule)", ("knot", "splice"), "knot",
        quiet=False,
    )  # fmt: skip
    knot_efficiency: float | None = _number(
        "share of strength left at the knot or splice", 0, 1, None, open=True, left_out="from the rope table"
    )
    axial_stiffness: float | None = _quantity(
        "N",
        "EA: force per unit of strain",
        0,
        1e10,
        None,
        open=True,
        left_out="from the rope table",
        spread="30 %",
    )
    damping_ratio: float = _number("damping of the bounce, share of critical", 0, 1, 0.05, spread="50 %")
    mass_per_length: float | None = _quantity(
        "g/m", "mass of rope per length", 0, 100, None, left_out="from the rope table"
    )  # fmt: skip
    falls: int = _integer("parts of rope that carry the load", 1, 20, 1)
    sheave_efficiency: float = _number("efficiency of each sheave of the tackle", 0, 1, 0.95, open=True, quiet=True)
    free_length: float | None = _quantity(
        "m", "rope from drum to load at the start", 0, 1e4, None, open=True, left_out="from the drum's height"
    )
    lead: float = _quantity("m", "rope between the drum and the top sheave", 0, 1e4, 0.0, quiet=True)
    slack: float = _quantity("mm", "loose rope at the start", 0, 100, 0.0, quiet=True)


@dataclass(frozen=True, kw_only=True)
class Sheave:
    """A guide sheave between the drum and the load, or several equal ones."""

    repeat: int = _integer("how many", 1, 50, 1)
    efficiency: float = _number("efficiency of one sheave", 0, 1, 0.95, open=True)
    reverse_efficiency: float | None = _number("efficiency when the load drives", -10, 1, None, left_out="2 - 1/efficiency")


@dataclass(frozen=True, kw_only=True)
class Edge:
    """An edge or rod that the rope rubs over."""

    friction: float = _number("friction of the rope on it", 0, 2)
    angle: float = _quantity("deg", "angle by which the rope turns there", 0, 100)


@dataclass(frozen=True, kw_only=True)
class Load:
    """The load, where it starts and what it meets."""

    mass: float = _quantity("kg", "mass to lift", 0, 1e7, open=True, spread="2 %")
    height: float = _quantity("m", "height to lift it by", 0, 1e4, open=True)
    start_height: float = _quantity("m", "height above the floor at the start; 0 stands on the floor", 0, 1e4, 0.0, quiet=True)
    drum_height: float | None = _quantity(
        "m",
        "height of the drum or top sheave above the load's start",
        0,
        2e4,
        None,
        open=True,
        left_out=ROOM_TEXT,
    )
    slope: float = _quantity(
        "deg",
        "slope of the incline; 90 deg lifts straight up",
        math.radians(1),
        math.radians(90),
        math.radians(90),
        quiet=True,
    )
    slope_friction: float = _number("friction between load and incline", 0, 5, 0.0, quiet=True)
    guide_friction: float = _quantity("N", "friction force of the guide", 0, 1e7, 0.0, quiet=True)
    snag_height: float | None = _quantity(
        "m", "height at which the load snags", 0, 1e4, None, open=True, quiet=True, left_out="no snag"
    )
    top_stop: float | None = _quantity("m", "height of a rigid stop", 0, 1e4, None, open=True, quiet=True, left_out="no stop")


@dataclass(frozen=True, kw_only=True)
class Pawl:
    """A pawl that keeps the drum from running back, lifted only while the motors lower."""

    fitted: bool = _flag("whether the pawl is fitted", True)


@dataclass(frozen=True, kw_only=True)
class Brake:
    """A brake that grips when the power is off."""

    torque: float = _quantity("N·m", "torque at which it slips", 0, 1e7, open=True)
    place: str = _choice("shaft that it grips", ("motor", "drum"), "drum")


@dataclass(frozen=True, kw_only=True)
class Phase:
    """One step of the programme."""

    action: str = _choice("what the power does", ("raise", "lower", "off", "short"))
    until: str = _choice("what ends the phase besides its time", ("top", "floor", "time"), "time")
    time: float | None = _quantity(
        "s",
        "longest time of this phase",
        0,
        1e6,
        None,
        open=True,
        left_out=LIMIT_TEXT,
    )
    voltage: float | None = _quantity("V", "supply voltage in this phase", 0, 1000, None, left_out="the supply's", quiet=True)
    current_limit: float | None = _quantity(
        "A", "current limit in this phase", 0, 1e5, None, open=True, left_out="the supply's", quiet=True
    )
    ramp: float = _quantity("s", "time in which the voltage rises", 0, 1e5, 0.0, quiet=True)


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Required factors: how many times its load each kind of link must bear."""

    tooth: float = _number("for gear teeth", 1, 100, 2.0)
    shaft: float = _number("for shafts and the drum rod", 1, 100, 2.0)
    pin: float = _number("for the cross-pin", 1, 100, 3.0)
    rope: float = _number("for the rope at its end and at the drum", 1, 100, 7.0)
    anchor: float = _number("for the rope's hold on the drum", 1, 100, 2.0)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Surroundings and how the run is made."""

    gravity: float = _quantity("m/s²", "acceleration of gravity", 0, 100, STANDARD_GRAVITY, open=True, quiet=True)
    ambient: float = _quantity("°C", "air temperature", -60, 80, 20.0)
    breakaway: float = _number("losses at rest against losses in motion", 1, 5, 1.3, spread="10 %")
    watch: float = _quantity("s", "how long the held load is watched", 0, 1e5, 10.0, quiet=True)
    sample_step: float | None = _quantity(
        "s", "time between the rows of the CSV record", 0, 1e5, None, open=True, quiet=True, left_out="the run's own steps"
    )
    stall_watch: float = _quantity("s", "how long the power stays on after a stall", 0, 1e4, 60.0, quiet=True)
    after_overload: str = _choice("what happens when a link breaks", ("stop", "release"), "stop")
    relative_tolerance: float = _number("relative tolerance of the integrator", 1e-12, 1e-3, 1e-5, quiet=True)


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How far one value may differ from part to part."""

    path: str = _text("path of the value")
    by: str = _text("half width, as a percentage or in the value's unit")
    shape: str = _choice("distribution", ("uniform", "normal", "triangular"), "normal")


@dataclass(frozen=True, kw_only=True)
class OwnMaterial:
    """A material that the user adds, or whose values they replace."""

    name: str = _text("its name")
    family: str = _choice("what sort it is", ("printed polymer", "moulded polymer", "metal"))
    tensile_strength: float = _quantity("MPa", "tensile strength, of a print in the plane of its layers", 0, 1e10, open=True)
    elastic_modulus: float | None = _quantity(
        "GPa", "elastic modulus", 0, 1e13, None, open=True, left_out="2 GPa of a polymer, 70 GPa of a metal"
    )
    density: float | None = _quantity(
        "kg/m³", "density", 0, 3e4, None, open=True, left_out="1200 kg/m³ of a polymer, 7850 kg/m³ of a metal"
    )
    yield_strength: float | None = _quantity(
        "MPa", "yield strength of a metal", 0, 1e10, None, open=True, left_out="half the tensile strength of a metal"
    )
    softening: float | None = _quantity("°C", "temperature at which it softens", 0, 600, None, left_out="60 °C for a polymer")
    service_limit: float | None = _quantity("°C", "highest temperature for lasting use", 0, 600, None)
    across_layers: float | None = _number(
        "strength across the layers of a print, over that in their plane", 0, 1, None, open=True, left_out="0.6 of a print"
    )
    friction: float | None = _number("friction on itself, dry", 0, 2, None)
    fatigue_stress: float | None = _quantity("MPa", "root stress of one point of its S–N line", 0, 1e10, None, open=True)
    fatigue_cycles: float | None = _number("cycles to failure at that stress", 1, 1e12, None)
    fatigue_slope: float | None = _number("exponent of cycles against stress", 1, 50, None)
    fatigue_source: str | None = _text("where the S–N line is from", None)


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """A whole scenario: everything that a simulation is built from.

    `given` holds the paths that the file (or the caller) gave; everything else is a default and listed as assumed.
    `materials`, `ropes` and `friction_pairs` are the tables that the names in the scenario refer to.
    """

    motors: tuple[MotorGroup, ...] = _tables("motor groups on the common gear")
    supply: Supply = _table("what feeds the motors")
    stage: tuple[Stage, ...] = _tables("reductions from the motors to the drum")
    drum: Drum = _table("the drum")
    rope: Rope = _table("the rope")
    load: Load = _table("the load")
    title: str = _text("title of the scenario", "")
    note: str = _text("anything the reader should know", "")
    sheave: tuple[Sheave, ...] = _tables("guide sheaves", ())
    edge: tuple[Edge, ...] = _tables("edges that the rope rubs on", ())
    pawl: Pawl | None = _table("pawl on the drum", None)
    brake: Brake | None = _table("brake that grips when the power is off", None)
    phase: tuple[Phase, ...] = _tables("programme; left out: raise to the top, power off, watch", ())
    factors: Factors = _table("required factors", Factors())
    settings: Settings = _table("surroundings and run", Settings())
    tolerance: tuple[Tolerance, ...] = _tables("tolerances for a spread", ())
    material: tuple[OwnMaterial, ...] = _tables("own materials", ())
    given: frozenset[str] = frozenset()
    materials: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    ropes: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    friction_pairs: tuple[Any, ...] = ()


_Function = TypeVar("_Function", bound=Callable[..., Any])


def _remembered(function: _Function) -> _Function:
    """`functools.cache` that keeps the function's signature for type checkers."""
    return cast(_Function, cache(function))


# --- reading the declarations ---------------------------------------------------------------------------------------


@_remembered
def specs(table: type) -> Mapping[str, Spec]:
    """Declarations of a table's values, by key, in the order in which they are declared.

    Parameters
    ----------
    table : type
        One of the dataclasses of this module.

    Returns
    -------
    Mapping of str to Spec
        Fields without a declaration (such as ``given``) are left out.
    """
    return MappingProxyType({f.name: f.metadata["spec"] for f in dataclasses.fields(table) if "spec" in f.metadata})


@_remembered
def table_type(table: type, key: str) -> type:
    """Dataclass that a ``table`` or ``tables`` key of `table` holds."""
    hint = get_type_hints(table)[key]
    for part in (hint, *get_args(hint)):
        if dataclasses.is_dataclass(part):
            return part  # type: ignore[return-value]
    raise DomainError(key, hint, "a key that holds a table")


@_remembered
def is_required(table: type, key: str) -> bool:
    """Whether the file must give this key."""
    f = next(f for f in dataclasses.fields(table) if f.name == key)
    return f.default is MISSING and f.default_factory is MISSING


@_remembered
def default_of(table: type, key: str) -> Any:
    """Default of a key; MISSING where it must be given."""
    return next(f for f in dataclasses.fields(table) if f.name == key).default


@_remembered
def may_be_none(table: type, key: str) -> bool:
    """Whether the value may be left out altogether."""
    hint = get_type_hints(table)[key]
    return NoneType in get_args(hint) and get_origin(hint) is not tuple


def walk(node: Any, prefix: str = "") -> Iterator[tuple[str, Any, Spec]]:
    """Every single value of a scenario with its path and declaration, in the order of the declarations.

    Parameters
    ----------
    node : dataclass
        `Inputs` or one of its tables.
    prefix : str
        Path of `node`, empty for the whole.

    Yields
    ------
    (str, object, Spec)
    """
    for key, spec in specs(type(node)).items():
        value, path = getattr(node, key), f"{prefix}{key}"
        if spec.kind == "table":
            if value is not None:
                yield from walk(value, f"{path}.")
        elif spec.kind == "tables":
            for index, item in enumerate(value, start=1):
                yield from walk(item, f"{path}.{index}.")
        else:
            yield path, value, spec


def value_at(inputs: Any, path: str) -> Any:
    """Value that a path names.

    Raises
    ------
    UnknownPathError
        There is no such path.
    """
    node = inputs
    for part in path.split("."):
        try:
            node = node[_index(part, node)] if isinstance(node, tuple) else getattr(node, _key(part, node))
        except (IndexError, AttributeError, ValueError) as error:
            raise UnknownPathError(path, part, _known_key(path, inputs)) from error
    return node


def spec_at(inputs: Any, path: str) -> Spec:
    """Declaration of the value that a path names."""
    head, _, key = path.rpartition(".")
    owner = value_at(inputs, head) if head else inputs
    try:
        return specs(type(owner))[key]
    except (KeyError, TypeError) as error:
        raise UnknownPathError(path, key, _known_key(path, inputs)) from error


def with_value(inputs: Inputs, path: str, value: Any) -> Inputs:
    """Scenario with one value changed, checked against its bounds.

    Parameters
    ----------
    inputs : Inputs
        Left as it is.
    path : str
        Such as ``load.mass`` or ``stage.3.walls``.
    value : object
        New value in SI (°C for temperatures), or text, or a whole table.

    Returns
    -------
    Inputs
        With `path` counted as given.

    Raises
    ------
    DomainError
        The path is unknown or the value outside its bounds.
    """
    spec = spec_at(inputs, path)
    problem = out_of_bounds(spec, value)
    if problem:
        raise DomainError(path, value, problem)
    changed = _put(inputs, path.split("."), value)
    return dataclasses.replace(changed, given=inputs.given | {path})


def _put(node: Any, parts: list[str], value: Any) -> Any:
    head, rest = parts[0], parts[1:]
    if isinstance(node, tuple):
        index = _index(head, node)
        return (*node[:index], _put(node[index], rest, value) if rest else value, *node[index + 1 :])
    new = _put(getattr(node, head), rest, value) if rest else value
    return dataclasses.replace(node, **{head: new})


def _index(part: str, node: tuple[Any, ...]) -> int:
    index = int(part) - 1
    if not 0 <= index < len(node):
        raise IndexError(part)
    return index


def _key(part: str, node: Any) -> str:
    if part not in specs(type(node)):
        raise AttributeError(part)
    return part


def _known_key(path: str, inputs: Any) -> str:
    """What is accepted in place of an unknown path, with the nearest that there is."""
    hint = did_you_mean(path, [known for known, _, _ in walk(inputs)])
    return "a known key" + (f"; {hint}" if hint else "")


def out_of_bounds(spec: Spec, value: Any) -> str:
    """What a value should have been, or an empty string when it is acceptable.

    Parameters
    ----------
    spec : Spec
        Declaration of the value.
    value : object
        In SI; None is accepted here (whether a key may be left out is another question).

    Returns
    -------
    str
        Such as ``from 5 to 1000`` in SI, or one of the choices.
    """
    if value is None or spec.kind in ("table", "tables"):
        return ""
    if spec.kind == "choice":
        return "" if value in spec.choices else "one of: " + ", ".join(spec.choices)
    if spec.kind == "flag":
        return "" if isinstance(value, bool) else "true or false"
    if spec.kind == "text":
        return "" if isinstance(value, str) else "text in quotes"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return "a finite number"
    if spec.kind == "integer" and value != int(value):
        return "a whole number"
    if spec.low <= value <= spec.high and not (spec.low_open and value == spec.low):
        return ""
    return bounds(spec)


def bounds(spec: Spec) -> str:
    """Bounds of a number in its declared unit, in words: ``from 5 to 1000``, ``over 0 kg, at most 1e+07 kg``."""
    unit = spec.unit and f" {spec.unit}"
    low, high = (f"{in_unit(bound, spec.unit):.6g}{unit}" for bound in (spec.low, spec.high))
    return f"over {low}, at most {high}" if spec.low_open else f"from {low} to {high}"


# --- checks that take more than one value ---------------------------------------------------------------------------

_NEEDED = {
    "data sheet": ("no_load_speed", "no_load_current", "stall_torque", "stall_current"),
    "points": ("points",),
    "bench": ("terminal_resistance", "no_load_speed", "no_load_current"),
    "label": ("no_load_speed",),
}


def check(inputs: Inputs) -> tuple[Fault, ...]:
    """Everything in a scenario that contradicts something else in it.

    Parameters
    ----------
    inputs : Inputs
        Each value already within its own bounds.

    Returns
    -------
    tuple of Fault
        Empty when the scenario can be built; each with the path of the key to change.
    """
    faults: list[Fault] = []
    if not inputs.motors:
        faults.append(Fault("no motors", "motors", expected="at least one [[motors]] table"))
    for index, group in enumerate(inputs.motors, start=1):
        faults += _check_motors(group, f"motors.{index}", inputs)
    for index, stage in enumerate(inputs.stage, start=1):
        faults += _check_stage(stage, f"stage.{index}")
    if all(group.dead >= group.count for group in inputs.motors) and inputs.motors:
        faults.append(Fault("every motor is dead", "motors.1.dead", expected="fewer dead motors than motors"))
    if len({group.inductance is None for group in inputs.motors}) > 1:
        faults.append(
            Fault("some motor groups have an inductance and some do not", "motors.1.inductance",
                  expected="an inductance for all groups or for none")
        )  # fmt: skip
    faults += _check_load(inputs)
    faults += _check_phases(inputs)
    faults += _check_materials(inputs)
    return tuple(faults)


def _check_motors(group: MotorGroup, path: str, inputs: Inputs) -> list[Fault]:
    faults = []
    for key in _NEEDED[group.known_by]:
        if not getattr(group, key) and getattr(group, key) != 0:
            faults.append(
                Fault(
                    f"{key} is missing",
                    f"{path}.{key}",
                    expected=f'{key}, because known_by = "{group.known_by}"',
                )
            )
    if group.known_by == "points" and 0 < len(group.points) < 2:
        faults.append(Fault("one measured point is too few", f"{path}.points", expected="at least two points"))
    idle, stalled = group.no_load_current, group.stall_current
    if group.known_by == "data sheet" and idle is not None and stalled is not None and idle >= stalled:
        faults.append(
                Fault("no-load current is not below the stall current", f"{path}.no_load_current",
                      expected="less than stall_current")
            )  # fmt: skip
    if group.dead > group.count:
        faults.append(Fault("more dead motors than motors", f"{path}.dead", expected=f"at most {group.count}"))
    first = inputs.stage[0] if inputs.stage else None
    if group.pinion is not None and (first is None or first.kind != "spur"):
        faults.append(
            Fault(
                "a pinion of its own needs a spur gear as first stage",
                f"{path}.pinion",
                expected="no pinion here",
            )
        )
    return faults


def _check_stage(stage: Stage, path: str) -> list[Fault]:
    faults = []
    if stage.kind == "spur":
        for key in ("pinion", "gear", "width"):
            if getattr(stage, key) is None:
                faults.append(Fault(f"{key} is missing", f"{path}.{key}", expected=f"{key} of a spur stage"))
        if (stage.module is None) == (stage.diametral_pitch is None):
            faults.append(
                Fault("give the module or the diametral pitch, one of them", f"{path}.module",
                      expected="module or diametral_pitch")
            )  # fmt: skip
        if stage.ratio is not None:
            faults.append(Fault("a spur stage has its ratio from its teeth", f"{path}.ratio", expected="no ratio here"))
    else:
        for key in ("ratio", "efficiency"):
            if getattr(stage, key) is None:
                faults.append(
                    Fault(
                        f"{key} is missing",
                        f"{path}.{key}",
                        expected=f"{key} of a stage that is not a spur pair",
                    )
                )
    return faults


def _check_load(inputs: Inputs) -> list[Fault]:
    faults, load = [], inputs.load
    reach = load.height
    if load.drum_height is not None and load.drum_height - reach < LEAST_ROOM:
        faults.append(
            Fault(f"less than {1e3 * LEAST_ROOM:g} mm would be left between load and drum at the top", "load.drum_height",
                  expected=f"at least {reach + LEAST_ROOM:.3f} m for this height")
        )  # fmt: skip
    if load.top_stop is not None and load.top_stop < load.start_height:
        faults.append(Fault("the top stop is below the start", "load.top_stop", expected="a height above the start"))
    if load.snag_height is not None and load.snag_height <= load.start_height:
        faults.append(Fault("the snag is below the start", "load.snag_height", expected="a height above the start"))
    if inputs.rope.slack and load.start_height:
        faults.append(Fault("a hanging load has no slack rope", "rope.slack", expected="no slack, or a start on the floor"))
    if inputs.drum.width < inputs.rope.diameter:
        faults.append(Fault("the drum is narrower than the rope", "drum.width", expected="at least one rope diameter"))
    return faults


def _check_materials(inputs: Inputs) -> list[Fault]:
    faults = []
    for index, own in enumerate(inputs.material, start=1):
        keys = ("fatigue_stress", "fatigue_cycles", "fatigue_slope", "fatigue_source")
        missing = [key for key in keys if not getattr(own, key)]
        for key, family in (("yield_strength", "metal"), ("across_layers", "printed polymer")):
            if getattr(own, key) is not None and own.family != family:
                message = f"{key} is said of a {own.family}"
                faults.append(Fault(message, f"material.{index}.{key}", expected=f'none, or family = "{family}"'))
        if missing and len(missing) < len(keys):
            message = f"{missing[0]} is missing: an S–N line needs stress, cycles, slope and source"
            faults.append(Fault(message, f"material.{index}.{missing[0]}", expected="all four of them, or none"))
    return faults


def _check_phases(inputs: Inputs) -> list[Fault]:
    faults = []
    for index, phase in enumerate(inputs.phase, start=1):
        path = f"phase.{index}"
        if phase.until == "top" and phase.action != "raise":
            faults.append(Fault("only a raise ends at the top", f"{path}.until", expected='"floor" or "time"'))
        if phase.until == "time" and phase.time is None:
            faults.append(Fault("time is missing", f"{path}.time", expected='a time, because until = "time"'))
        if phase.ramp and phase.action in ("off", "short"):
            faults.append(Fault("there is nothing to ramp", f"{path}.ramp", expected="a ramp on raise or lower only"))
    return faults
