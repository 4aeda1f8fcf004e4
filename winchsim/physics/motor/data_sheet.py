"""A motor from its data sheet."""

from __future__ import annotations

import math

from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT
from winchsim.errors import DomainError
from winchsim.physics.motor.fitted import (
    DISAGREEMENT,
    FREE_RUN,
    Extras,
    MotorFit,
    assemble,
    conclude,
    refuse_absurd,
    stalled_resistance,
    volts,
)
from winchsim.physics.motor.gearbox import OutputGearbox
from winchsim.physics.motor.law import require_not_negative, require_positive
from winchsim.quantity_text import quantity


def from_data_sheet(
    voltage: float,
    no_load_speed: float,
    no_load_current: float,
    stall_torque: float,
    stall_current: float,
    *,
    brush_drop: float = 0.0,
    drag_speed_share: float = 0.0,
    inertia: float | None = None,
    magnet_coefficient: float = FERRITE_COEFFICIENT,
    copper_coefficient: float = COPPER_COEFFICIENT,
    gearbox: OutputGearbox | None = None,
) -> MotorFit:
    """Motor with the four values of a data sheet.

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
    brush_drop : float
        Voltage lost at both brushes together, >= 0. [V]
    drag_speed_share : float
        Share of the no-load drag that grows with speed, 0 to 1. [-]
    inertia : float, optional
        Of the rotor; left out: from a mechanical time constant of 15 ms. [kg·m²]
    magnet_coefficient, copper_coefficient : float
        As for `Motor`. [1/K]
    gearbox : OutputGearbox, optional
        Where speed and torque are those at the output of a bought gearbox.

    Returns
    -------
    MotorFit
        The four values determine resistance, drag and, twice over, the constant: from torque per ampere and
        from the back e.m.f. Their geometric mean is taken; what it gives back is reported.

    Raises
    ------
    DomainError
        A value outside its range, or data that no motor can have.

    References
    ----------
    .. [1] Own derivation, DEVELOPERS.md, section "Motors, supply, heat".

    Examples
    --------
    >>> fit = from_data_sheet(6.0, 560.0, 0.2, 0.028, 3.0)
    >>> fit.motor.resistance, fit.motor.constant, fit.motor.drag
    (2.0, 0.01, 0.002)
    """
    extras = Extras(brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox)
    require_positive("voltage", voltage, "V")
    require_positive("no_load_speed", no_load_speed, "rad/s")
    require_not_negative("no_load_current", no_load_current)
    require_positive("stall_torque", stall_torque, "N·m")
    require_positive("stall_current", stall_current, "A")
    if no_load_current >= stall_current:
        raise DomainError("no_load_current", no_load_current, "less than the stall current")
    resistance = stalled_resistance(voltage, stall_current, brush_drop)
    by_torque = extras.constant_from_stall(stall_torque, stall_current, no_load_current, "stall_current")
    by_speed = extras.constant_from_run(voltage, no_load_current, no_load_speed, resistance)
    refuse_absurd("stall_torque", stall_torque, by_torque / by_speed)
    motor = assemble(extras, resistance, math.sqrt(by_torque * by_speed), no_load_current, voltage)
    notes = []
    if gearbox is not None and abs(math.log(by_torque / by_speed)) > DISAGREEMENT:
        implied = gearbox.efficiency * by_torque / by_speed
        notes.append(f"Speed and torque would agree with a gearbox efficiency of {quantity(implied, '%', 2)}.")
    given = {"no_load_speed": no_load_speed, "stall_torque": stall_torque}
    wanted = FREE_RUN.format(what="the no-load speed and current", volts=volts(voltage))
    return conclude(extras, motor, voltage, given=given, notes=notes, wanted_if_disagreeing=wanted)
