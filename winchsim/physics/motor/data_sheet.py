"""A motor from its data sheet."""

from typing import Any

from winchsim.errors import DomainError
from winchsim.physics.motor.extras import Extras
from winchsim.physics.motor.fitted import (
    FitNote,
    Found,
    MotorFit,
    Remark,
    conclude,
    stalled_resistance,
)
from winchsim.physics.motor.law import require_not_negative, require_positive


def from_data_sheet(
    voltage: float,
    no_load_speed: float,
    no_load_current: float,
    stall_torque: float,
    stall_current: float,
    **extras: Any,
) -> MotorFit:
    """Motor with the four values of a data sheet, which come back exactly.

    Parameters
    ----------
    voltage : float
        At which the other values hold. [V]
    no_load_speed : float
        With nothing on the shaft. [rad/s]
    no_load_current : float
        At that speed, >= 0. [A]
    stall_torque : float
        At the held shaft. [N·m]
    stall_current : float
        With the shaft held. [A]
    **extras
        Attributes of `Extras`.

    Raises
    ------
    DomainError
        A value outside its range, or data that no motor can have.

    References
    ----------
    .. [1] Own derivation: the unloaded run gives the back-e.m.f. constant and the drag, the stall
       the resistance and the torque constant; what is missing of the torque is a loss in proportion
       to it.

    Examples
    --------
    >>> fit = from_data_sheet(6.0, 560.0, 0.2, 0.0252, 3.0)
    >>> fit.motor.resistance, fit.motor.constant, fit.motor.drag, fit.output.efficiency
    (2.0, 0.01, 0.002, 0.9)
    """
    known = Extras(**extras)
    require_positive("voltage", voltage, "V")
    require_positive("no_load_speed", no_load_speed, "rad/s")
    require_not_negative("no_load_current", no_load_current)
    require_positive("stall_torque", stall_torque, "N·m")
    require_positive("stall_current", stall_current, "A")
    if no_load_current >= stall_current:
        raise DomainError("no_load_current", no_load_current, "less than the stall current")
    resistance = stalled_resistance(voltage, stall_current, known.brush_drop)
    by_speed = known.constant_from_run(voltage, no_load_current, no_load_speed, resistance)
    by_torque = known.constant_from_stall(
        stall_torque, stall_current, no_load_current, "stall_current"
    )
    found = Found(
        resistance, by_speed, by_torque, no_load_current, voltage, "stall_torque", stall_torque
    )
    wanted = None if known.measured else FitNote(Remark.LEVER, (0.25 * voltage,))
    return conclude(known, found, voltage, wanted_if_disagreeing=wanted)
