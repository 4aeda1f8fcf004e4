"""A motor of which only the label, and its size or stall current, are known."""

from typing import Any

from winchsim.assumption import Assumption
from winchsim.errors import DomainError
from winchsim.physics.motor.estimates import (
    NO_LOAD_SHARE,
    assumed_no_load_current,
    assumed_stall_current,
)
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


def from_label(
    voltage: float,
    no_load_speed: float,
    *,
    stall_current: float | None = None,
    no_load_current: float | None = None,
    body_diameter: float | None = None,
    body_length: float | None = None,
    **extras: Any,
) -> MotorFit:
    """Motor from its label and either its stall current or the size of its body.

    Parameters
    ----------
    voltage : float
        On the label. [V]
    no_load_speed : float
        At that voltage. [rad/s]
    stall_current : float, optional
        With the shaft held. [A]
    no_load_current : float, optional
        At the no-load speed; left out: 6 % of the stall current. [A]
    body_diameter, body_length : float, optional
        Of the motor's own can; a length left out is 1.4 diameters. Used only without a stall
        current. [m]
    **extras
        Attributes of `Extras`.

    Returns
    -------
    MotorFit
        An estimate: the stall torque can be off by a factor of three when it comes from the body's
        size.

    Raises
    ------
    DomainError
        A value outside its range, or neither stall current nor body diameter.
    """
    known = Extras(**extras)
    require_positive("voltage", voltage, "V")
    require_positive("no_load_speed", no_load_speed, "rad/s")
    if known.brush_drop >= voltage:
        raise DomainError("brush_drop", known.brush_drop, "less than the voltage")
    assumed: list[Assumption] = []
    if stall_current is None:
        share = 0.0 if no_load_current is not None else NO_LOAD_SHARE[0]
        assumed += assumed_stall_current(
            voltage - known.brush_drop,
            no_load_speed * known.ratio,
            share,
            body_diameter,
            body_length,
        )
        stall_current = assumed[-1].value
    require_positive("stall_current", stall_current, "A")
    wanted = FitNote(Remark.STALL, (0.25 * voltage,)) if assumed else None
    if no_load_current is None:
        wanted = wanted or FitNote(Remark.FREE_RUN, (voltage,))
        assumed.append(assumed_no_load_current(stall_current))
        no_load_current = assumed[-1].value
    require_not_negative("no_load_current", no_load_current)
    resistance = stalled_resistance(voltage, stall_current, known.brush_drop)
    constant = known.constant_from_run(voltage, no_load_current, no_load_speed, resistance)
    efficiency, of_loss = known.usual_efficiency()
    found = Found(resistance, constant, efficiency * constant, no_load_current, voltage)
    return conclude(known, found, voltage, assumed=(*assumed, *of_loss), wanted=wanted)
