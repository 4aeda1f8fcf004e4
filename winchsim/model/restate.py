"""What a built winch assumed or fitted, said again as values that a scenario can give: ground for
turning and varying them."""

from collections.abc import Collection

from winchsim.errors import DomainError
from winchsim.frozen import replace
from winchsim.inputs import DRAG_RANGE, Inputs, with_value
from winchsim.model.machine import Machine
from winchsim.model.shaft_losses import stalled_torque
from winchsim.physics.motor import MotorFit


def data_sheet(fit: MotorFit, constant: float = 1.0, resistance: float = 1.0) -> dict[str, float]:
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
    motor, idle = fit.motor, fit.no_load_current
    k, r = constant * motor.constant, resistance * motor.resistance
    voltage = fit.voltage - motor.brush_drop
    stalled = voltage / r
    if idle >= stalled:
        raise DomainError(
            "motor resistance",
            r,
            "a resistance at which the motor draws more stalled than running free",
        )
    constant_share = motor.drag / (motor.constant * idle) if idle > 0 else 1.0
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
        path = f"motors.{group.number}"
        if inputs.motors[group.number - 1].known_by != "data sheet":
            inputs = with_value(inputs, f"{path}.known_by", "data sheet")
            inputs = with_value(inputs, f"{path}.voltage", group.fit.voltage)
        for key, value in data_sheet(group.fit, constant, resistance).items():
            inputs = with_value(inputs, f"{path}.{key}", value)
    return inputs


def as_data_sheets(inputs: Inputs, machine: Machine, kept: Collection[str] = ()) -> Inputs:
    """Scenario in which the running motors that are described by working points are given by data
    sheets; the same motors.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    kept : collection of str
        Paths of points that are to stay, and with them all points of their group.
    """
    points = [
        group
        for group in machine.groups
        if inputs.motors[group.number - 1].known_by == "points"
        and not any(path.startswith(f"motors.{group.number}.points.") for path in kept)
    ]
    return with_data_sheets(inputs, replace(machine, groups=tuple(points)))


def shaft_drags(inputs: Inputs, machine: Machine) -> dict[str, float]:
    """Constant drag of each stage's output shafts, or the most that is usual, as one number for all
    its repeats. [N·m]

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    """
    torque, found = stalled_torque(inputs, machine.groups), {}  # on the stage's first output shaft
    for number, stage in enumerate(inputs.stage, start=1):
        ratio = stage.speed_ratio()
        torque *= ratio if number > 1 else 1.0
        shares = sum(ratio**-turn for turn in range(stage.repeat))
        drag = stage.shaft_drag
        found[f"stage.{number}.shaft_drag"] = (
            stage.repeat * DRAG_RANGE[1] * torque / shares if drag is None else drag
        )
        torque *= ratio ** (stage.repeat - 1)
    return found
