"""The motors of a scenario: fitted to whatever is known of them, and said again as data sheets,
ground for turning and varying them."""

import math
from functools import lru_cache
from typing import Any

from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import replace
from winchsim.inputs import Inputs, MotorGroup, with_values
from winchsim.model.assumptions import Assumptions
from winchsim.model.machine import DriveGroup, Machine
from winchsim.model.reductions import stages_ratio
from winchsim.physics import heat, motor


def drive_groups(inputs: Inputs, assumptions: Assumptions, strict: bool) -> list[DriveGroup]:
    """Running motors of every group, then the dead ones; their ratio is still that of their own
    gearbox alone.

    Parameters
    ----------
    inputs : Inputs
    assumptions : Assumptions
        Takes what is assumed.
    strict : bool
        Whether motor data that contradict each other are refused.

    Raises
    ------
    DomainError
        No motor can have such data.
    """
    found = []
    for number, group in enumerate(inputs.motors, start=1):
        path = f"motors.{number}"
        fit = _fit(inputs, group, path, strict)
        for key, row in fit.assumed.items():
            assumptions.assume(f"{path}.{key}", **row._asdict())
        if group.known_by in ("data sheet", "label") and not group.measured:
            for key in _CATALOGUE:
                if getattr(group, key):
                    assumptions.read_off(
                        f"{path}.{key}",
                        getattr(group, key),
                        "read off a data sheet or label",
                        TOLERANCE,
                    )
        assumptions.notes += [(number, note) for note in (*fit.notes, fit.best_measurement) if note]
        heat_path = _heat(group, fit, path, assumptions)
        winding, case = (
            inputs.settings.ambient if start is None else start
            for start in (group.winding_start, group.case_start)
        )
        for runs, count in ((True, group.count - group.dead), (False, group.dead)):
            found.append(
                DriveGroup(
                    number=number,
                    runs=runs,
                    count=count,
                    motor=fit.motor,
                    fit=fit,
                    heat=heat_path,
                    winding_limit=group.winding_limit,
                    winding_start=winding,
                    case_start=case,
                    own_efficiency=fit.output.own_efficiency,
                    stall_current=fit.stall_current,
                )
            )
    return sorted([unit for unit in found if unit.count], key=lambda unit: not unit.runs)


_CATALOGUE = ("no_load_speed", "no_load_current", "stall_torque", "stall_current")

TOLERANCE = 0.1
"""What values of a catalogue or label may be off by, unless they were measured. [-] Makers of small
motors state 10 to 20 %: 9100 ± 1800 rpm, Adafruit, product 711 (read at second hand)."""

_PASSED_ON = (
    "brush_drop",
    "drag_speed_share",
    "magnet_coefficient",
    "efficiency",
    "reverse_efficiency",
    "breakaway",
    "measured",
)
"""Keys of a motor group that mean what the attributes of the same names mean in
`winchsim.physics.motor`."""


def _fit(inputs: Inputs, group: MotorGroup, path: str, strict: bool) -> motor.MotorFit:
    try:
        return _fitted(replace(group, no_load_speed=_no_load_speed(inputs, group)), strict)
    except DomainError as error:
        raise DomainError(f"{path}.{error.argument}", error.value, error.expected) from error


@lru_cache(maxsize=256)
def _fitted(group: MotorGroup, strict: bool) -> motor.MotorFit:
    """Kept, because most variants of a winch have its motors."""
    extras = {key: getattr(group, key) for key in _PASSED_ON} | {
        "inertia": group.rotor_inertia,
        "strict": strict,
    }
    if group.gearbox is not None:
        box = group.gearbox
        extras["gearbox"] = motor.OutputGearbox(
            box.ratio, box.efficiency, box.reverse_efficiency, box.kind, box.data_at
        )
    g: Any = group  # what each form needs was checked to be given
    match group.known_by:
        case "data sheet":
            return motor.from_data_sheet(
                g.voltage,
                g.no_load_speed,
                g.no_load_current,
                g.stall_torque,
                g.stall_current,
                **extras,
            )
        case "points":
            columns = zip(*((p.torque, p.speed, p.current) for p in group.points), strict=True)
            return motor.from_points(group.voltage, *columns, **extras)
        case "bench":
            return motor.from_bench(
                g.terminal_resistance,
                g.voltage,
                g.no_load_speed,
                g.no_load_current,
                g.lever_voltage,
                g.lever_current,
                g.lever_force,
                g.lever_arm,
                **extras,
            )
    return motor.from_label(
        g.voltage,
        g.no_load_speed,
        stall_current=group.stall_current,
        no_load_current=group.no_load_current,
        body_diameter=group.body_diameter,
        body_length=group.body_length,
        **extras,
    )  # type: ignore[arg-type]


def _no_load_speed(inputs: Inputs, group: MotorGroup) -> float | None:
    """No-load speed where the motor's data belong, from turns of a slower shaft where it was not
    measured. [rad/s]"""
    if group.output_turns is None or group.output_time is None or group.no_load_speed is not None:
        return group.no_load_speed
    speed = 2 * math.pi * group.output_turns / group.output_time
    if group.output_at == "drum":
        speed *= stages_ratio(inputs, group)
    return (
        speed * group.gearbox.ratio
        if group.gearbox is not None and group.gearbox.data_at == "motor"
        else speed
    )


def _heat(
    group: MotorGroup, fit: motor.MotorFit, path: str, assumptions: Assumptions
) -> heat.HeatPath:
    found, assumed = heat.estimate(
        group.mass,
        fit.torque_per_speed,
        winding_capacity=group.winding_heat_capacity,
        case_capacity=group.case_heat_capacity,
        winding_to_case=group.winding_to_case,
        case_to_ambient=group.case_to_ambient,
    )
    for key, row in assumed.items():
        assumptions.assume(f"{path}.{key}", **row._asdict())
    return found


# --- data sheets


def data_sheet(
    fit: motor.MotorFit, constant: float = 1.0, resistance: float = 1.0
) -> dict[str, float]:
    """Data sheet that gives a fitted motor, with its constant and resistance times two factors and
    the same no-load current.

    Parameters
    ----------
    fit : MotorFit
        However the motor was described.
    constant, resistance : float
        Factors, over 0. [-]

    Returns
    -------
    dict of str to float
        ``no_load_speed``, ``no_load_current``, ``stall_torque`` and ``stall_current``, where the
        motor's data belong; they agree with each other, so that
        `winchsim.physics.motor.from_data_sheet` finds just that motor.

    Raises
    ------
    DomainError
        No motor has so high a resistance with that no-load current.
    """
    own, idle = fit.motor, fit.no_load_current
    k, r = constant * own.constant, resistance * own.resistance
    voltage = fit.voltage - own.brush_drop
    stalled = voltage / r
    refuse_if(
        idle >= stalled,
        "motor resistance",
        r,
        "a resistance at which the motor draws more stalled than running free",
    )
    constant_share = own.drag / (own.constant * idle) if idle > 0 else 1.0
    return {
        "no_load_speed": (voltage - idle * r) / k / fit.data_ratio,
        "no_load_current": idle,
        "stall_torque": k
        * (stalled - constant_share * idle)
        * fit.data_ratio
        * fit.data_efficiency,
        "stall_current": stalled,
    }


def with_data_sheets(
    inputs: Inputs, machine: Machine, constant: float = 1.0, resistance: float = 1.0
) -> Inputs:
    """Scenario whose running motors are all given by data sheets, their constants and resistances
    times two factors.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    constant, resistance : float
        Factors. [-]
    """
    for group in machine.groups:
        values: dict[str, Any] = data_sheet(group.fit, constant, resistance)
        if inputs.motors[group.number - 1].known_by != "data sheet":
            values = {"known_by": "data sheet", "voltage": group.fit.voltage, **values}
        path = f"motors.{group.number}"
        inputs = with_values(inputs, {f"{path}.{key}": value for key, value in values.items()})
    return inputs
