"""The motors and the gearboxes bought with them."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.constants import FERRITE_COEFFICIENT, ROTOR_TIME_CONSTANT
from winchsim.inputs.spec import choice, integer, number, quantity, table, tables


@dataclass(frozen=True, kw_only=True)
class MotorPoint:
    """One measured working point of a motor at its nominal voltage."""

    torque: float = quantity("mN·m", "torque at the shaft", 0, 1e4)
    speed: float = quantity("rpm", "speed at that torque", 0, 1e5)
    current: float = quantity("A", "current at that torque", 0, 1e4)


@dataclass(frozen=True, kw_only=True)
class Gearbox:
    """A bought gearbox on the motor; the motor's data are then at the gearbox output."""

    ratio: float = number("reduction of the gearbox", 1, 1e5)
    efficiency: float = number(
        "efficiency when the motor drives", 0, 1, 0.7, open=True, spread="10 %"
    )
    reverse_efficiency: float | None = number(
        "efficiency when the load drives; negative locks",
        -10,
        1,
        None,
        left_out="2 - 1/efficiency of each of its stages",
    )
    torque_limit: float | None = quantity(
        "N·m", "largest output torque it bears", 0, 1e7, None, open=True, left_out="not judged"
    )


@dataclass(frozen=True, kw_only=True)
class MotorGroup:
    """A group of equal brushed DC motors with equal pinions on the common gear."""

    count: int = integer("motors in the group", 1, 1000, 1)
    dead: int = integer("how many of them are dead and only drag", 0, 1000, 0)
    known_by: str = choice(
        "which data describe the motor", ("data sheet", "points", "bench", "label"), "data sheet"
    )
    voltage: float = quantity("V", "voltage at which the motor's data hold", 0, 1000, open=True)
    no_load_speed: float | None = quantity(
        "rpm",
        "speed with nothing on the shaft",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed, except with known_by = "points"',
    )
    no_load_current: float | None = quantity(
        "A",
        "current with nothing on the shaft",
        0,
        1e4,
        None,
        spread="20 %",
        left_out='needed with known_by = "data sheet" or "bench"',
    )
    stall_torque: float | None = quantity(
        "mN·m",
        "torque with the shaft held still",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    stall_current: float | None = quantity(
        "A",
        "current with the shaft held still",
        0,
        1e5,
        None,
        open=True,
        spread="10 %",
        left_out='needed with known_by = "data sheet"',
    )
    points: tuple[MotorPoint, ...] = tables("measured working points", ())
    terminal_resistance: float | None = quantity(
        "ohm",
        "resistance between the terminals",
        0,
        1e5,
        None,
        open=True,
        spread="5 %",
        left_out='needed with known_by = "bench"',
    )
    lever_force: float | None = quantity(
        "N",
        "pull at the end of a lever on the stalled shaft",
        0,
        1e6,
        None,
        open=True,
        left_out="no lever test",
    )
    lever_arm: float | None = quantity(
        "mm", "length of that lever", 0, 10, None, open=True, left_out="no lever test"
    )
    lever_voltage: float | None = quantity(
        "V", "voltage during the lever test", 0, 1000, None, open=True, left_out="no lever test"
    )
    lever_current: float | None = quantity(
        "A", "current during the lever test", 0, 1e5, None, open=True, left_out="no lever test"
    )
    body_diameter: float | None = quantity(
        "mm", "diameter of the motor's body", 0, 1, None, open=True
    )
    body_length: float | None = quantity("mm", "length of the motor's body", 0, 2, None, open=True)
    brush_drop: float = quantity(
        "V", "voltage lost at both brushes together", 0, 10, 0.0, quiet=True
    )
    drag_speed_share: float = number(
        "share of the no-load drag that grows with speed", 0, 1, 0.0, quiet=True
    )
    rotor_inertia: float | None = quantity(
        "g·cm²",
        "inertia of one rotor",
        0,
        1e3,
        None,
        open=True,
        left_out=f"from a time constant of {1e3 * ROTOR_TIME_CONSTANT[0]:g} ms",
    )
    gearbox: Gearbox | None = table("gearbox bought with the motor", None)
    pinion: int | None = integer(
        "teeth of this group's pinion", 5, 1000, None, left_out="pinion of the first stage"
    )
    mass: float | None = quantity(
        "g", "mass of one motor", 0, 1e4, None, open=True, left_out="estimated from the stall power"
    )
    winding_heat_capacity: float | None = quantity(
        "J/K",
        "heat capacity of the winding",
        0,
        1e6,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    case_heat_capacity: float | None = quantity(
        "J/K",
        "heat capacity of the case",
        0,
        1e7,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    winding_to_case: float | None = quantity(
        "K/W",
        "thermal resistance from winding to case",
        0,
        1e4,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    case_to_ambient: float | None = quantity(
        "K/W",
        "thermal resistance from case to air",
        0,
        1e4,
        None,
        open=True,
        left_out="from the mass or the stall power",
    )
    winding_limit: float = quantity(
        "°C", "temperature that the winding must not pass", 30, 400, 120.0
    )
    winding_start: float | None = quantity(
        "°C", "winding temperature at the start", -60, 300, None, left_out="ambient", quiet=True
    )
    magnet_coefficient: float = quantity(
        "%/K", "change of the magnets' flux with temperature", -0.01, 0.0, FERRITE_COEFFICIENT
    )
