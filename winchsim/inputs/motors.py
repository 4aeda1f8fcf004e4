"""The motors and the gearboxes bought with them."""

from winchsim.constants import FERRITE_COEFFICIENT, ROTOR_TIME_CONSTANT
from winchsim.frozen import dataclass
from winchsim.inputs.spec import (
    choice,
    flag,
    integer,
    number,
    positive,
    quantity,
    share,
    table,
    tables,
)

BENCH = ("known_by", ("bench",))
POINTS = ("known_by", ("points",))
NOT_POINTS = ("known_by", ("data sheet", "bench", "label"))
ESTIMATED = "from the mass, or torque and speed"


@dataclass(frozen=True, kw_only=True)
class MotorPoint:
    """One measured working point of a motor at its nominal voltage."""

    torque: float = quantity("torque at the shaft", "mN·m", 0, 1e6, usual=(0, 500))
    speed: float = quantity("speed at that torque", "rpm", 0, 2e5, usual=(0, 15000))
    current: float = quantity("current at that torque", "A", 0, 5000, usual=(0, 20))


@dataclass(frozen=True, kw_only=True)
class Gearbox:
    """A bought gearbox on the motor."""

    ratio: float = number("reduction of the gearbox", 1, 1e5, usual=(3, 300))
    kind: str = choice("spur pairs or planetary stages", ("spur", "planetary"), "spur")
    data_at: str | None = choice(
        "shaft of the motor's data; at the output they contain every loss",
        ("output", "motor"),
        None,
        left_out="output, unless no output turns as fast as they say",
    )
    efficiency: float | None = share(
        "efficiency when the motor drives; divides the loss of data at the output",
        None,
        usual=(0.4, 0.95),
        spread="10 %",
        left_out="0.9 for each gear pair, two in a planetary stage",
    )
    reverse_efficiency: float | None = number(
        "efficiency of gearbox and motor when the load drives; negative locks",
        -10,
        1,
        None,
        usual=(-1, 1),
        left_out="square root of the forward one, the most that passes back",
    )
    torque_limit: float | None = positive(
        "largest output torque it bears", "N·m", 1e6, None, usual=(0.1, 50), left_out="not judged"
    )


@dataclass(frozen=True, kw_only=True)
class MotorGroup:
    """A group of equal brushed DC motors with equal pinions on the common gear."""

    count: int = integer("motors in the group", 1, 1000, 1, usual=(1, 12), label="motors")
    dead: int = integer(
        "how many of them are dead and only drag", 0, 1000, 0, usual=(0, 12), label="dead motors"
    )
    known_by: str = choice(
        "which data describe the motor",
        ("data sheet", "points", "bench", "label"),
        "data sheet",
        label="motor data",
    )
    voltage: float = positive(
        "voltage at which the motor's data hold", "V", 1000, usual=(3, 48), label="data voltage"
    )
    no_load_speed: float | None = positive(
        "speed with nothing on the shaft",
        "rpm",
        2e5,
        None,
        usual=(10, 20000),
        condition=NOT_POINTS,
        spread="10 %",
        left_out='needed, except with known_by = "points"; or output_turns, or a lever test',
    )
    no_load_current: float | None = quantity(
        "current with nothing on the shaft",
        "A",
        0,
        1000,
        None,
        usual=(0, 3),
        condition=NOT_POINTS,
        spread="20 %",
        left_out='needed with known_by = "data sheet" or "bench"',
    )
    stall_torque: float | None = positive(
        "torque with the shaft held still",
        "mN·m",
        1e7,
        None,
        usual=(1, 5000),
        condition=("known_by", ("data sheet",)),
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    stall_current: float | None = positive(
        "current with the shaft held still",
        "A",
        1e4,
        None,
        usual=(0.1, 100),
        condition=("known_by", ("data sheet", "label")),
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    points: tuple[MotorPoint, ...] = tables("measured working points", (), condition=POINTS)
    terminal_resistance: float | None = positive(
        "resistance between the terminals",
        "ohm",
        1e5,
        None,
        usual=(0.05, 50),
        condition=BENCH,
        spread="5 %",
        left_out='needed with known_by = "bench", or a lever test',
    )
    lever_force: float | None = positive(
        "pull at the end of a lever on the stalled shaft",
        "N",
        1e5,
        None,
        usual=(0.1, 50),
        condition=BENCH,
        left_out="no lever test",
    )
    lever_arm: float | None = positive(
        "length of that lever",
        "mm",
        1e4,
        None,
        usual=(20, 500),
        condition=BENCH,
        left_out="no lever test",
    )
    lever_voltage: float | None = positive(
        "voltage during the lever test",
        "V",
        1000,
        None,
        usual=(1, 24),
        condition=BENCH,
        left_out="no lever test",
    )
    lever_current: float | None = positive(
        "current during the lever test",
        "A",
        1e4,
        None,
        usual=(0.1, 50),
        condition=BENCH,
        left_out="no lever test",
    )
    output_turns: float | None = number(
        "turns of a slow shaft counted in a free run, instead of the no-load speed",
        0,
        1e6,
        None,
        low_open=True,
        usual=(5, 100),
        condition=NOT_POINTS,
        left_out="no_load_speed",
    )
    output_time: float | None = positive(
        "time that those turns took",
        "s",
        1e5,
        None,
        usual=(5, 300),
        condition=NOT_POINTS,
        left_out="no_load_speed",
    )
    output_at: str = choice(
        "shaft whose turns were counted: behind the motor's gearbox, or drum",
        ("gearbox", "drum"),
        "gearbox",
        condition=NOT_POINTS,
    )
    measured: bool = flag("whether the data were measured on this motor", False)
    efficiency: float | None = share(
        "torque over back-e.m.f. constant, where the data do not show it",
        None,
        usual=(0.7, 1),
        condition=("known_by", ("bench", "label")),
        left_out="0.85",
    )
    reverse_efficiency: float | None = number(
        "efficiency of a motor without gearbox when the load drives",
        -10,
        1,
        None,
        usual=(0, 1),
        left_out="square root of the forward one, the most that passes back",
    )
    breakaway: float | None = number(
        "load-dependent losses of the motor at rest over those in motion",
        1,
        1.4,
        None,
        usual=(1, 1.3),
        left_out="1",
    )
    body_diameter: float | None = positive(
        "diameter of the motor's body", "mm", 1000, None, usual=(10, 100)
    )
    body_length: float | None = positive(
        "length of the motor's body",
        "mm",
        2000,
        None,
        usual=(10, 200),
        condition=("known_by", ("label",)),
    )
    brush_drop: float = quantity(
        "voltage lost at both brushes together", "V", 0, 10, 0.0, usual=(0, 2), quiet=True
    )
    drag_speed_share: float = number(
        "share of the no-load drag that grows with speed", 0, 1, 0.0, quiet=True
    )
    rotor_inertia: float | None = positive(
        "inertia of one rotor",
        "g·cm²",
        1e8,
        None,
        usual=(0.1, 1000),
        left_out=f"from a time constant of {1e3 * ROTOR_TIME_CONSTANT[0]:g} ms",
    )
    bearing_efficiency: float | None = share(
        "efficiency of the bearings under the force on the pinions",
        None,
        usual=(0.8, 1),
        left_out="0.98 with a spur stage and no gearbox, else 1",
    )
    gearbox: Gearbox | None = table("gearbox bought with the motor", None)
    pinion: int | None = integer(
        "teeth of this group's pinion",
        5,
        1000,
        None,
        usual=(8, 40),
        left_out="pinion of the first stage",
    )
    mass: float | None = positive(
        "mass of one motor",
        "g",
        1e6,
        None,
        usual=(10, 2000),
        left_out="estimated from torque and speed",
    )
    winding_heat_capacity: float | None = positive(
        "heat capacity of the winding", "J/K", 1e6, None, usual=(1, 200), left_out=ESTIMATED
    )
    case_heat_capacity: float | None = positive(
        "heat capacity of the case", "J/K", 1e7, None, usual=(5, 1000), left_out=ESTIMATED
    )
    winding_to_case: float | None = positive(
        "thermal resistance from winding to case",
        "K/W",
        1e4,
        None,
        usual=(0.5, 20),
        left_out=ESTIMATED,
    )
    case_to_ambient: float | None = positive(
        "thermal resistance from case to air", "K/W", 1e4, None, usual=(1, 60), left_out=ESTIMATED
    )
    winding_limit: float = quantity(
        "temperature that the winding must not pass",
        "°C",
        30,
        400,
        120,
        usual=(80, 180),
        assumed=(
            100,
            155,
            "from memory: thermal classes of insulation, IEC 60085, classes 105 to 155",
        ),
    )
    winding_start: float | None = quantity(
        "winding temperature at the start",
        "°C",
        -60,
        300,
        None,
        usual=(0, 100),
        left_out="ambient",
        quiet=True,
    )
    case_start: float | None = quantity(
        "case temperature at the start",
        "°C",
        -60,
        300,
        None,
        usual=(0, 80),
        left_out="ambient",
        quiet=True,
    )
    magnet_coefficient: float = quantity(
        "change of the magnets' flux with temperature",
        "%/K",
        -1,
        0,
        100 * FERRITE_COEFFICIENT,
        usual=(-0.25, 0),
        assumed=(-0.21, -0.18, "from memory: data sheets of hard ferrite"),
    )
