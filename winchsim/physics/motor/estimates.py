"""What is taken for a value of a motor that nobody gave, with its range and what it rests on."""

from winchsim.assumption import Assumption
from winchsim.constants import ROTOR_TIME_CONSTANT
from winchsim.errors import DomainError
from winchsim.physics.motor.law import Motor, no_load, require_positive, stall

NO_LOAD_SHARE = (0.06, 0.02, 0.12)
"""No-load current as a share of the stall current and its range. Common practice for small ferrite
motors, from memory."""

_SLOPE_PER_SIZE = (1500.0, 500.0, 4500.0)
"""k²/R of a can motor per diameter^4 x length, and its range [N·m·s/(rad·m⁵)]. The form is geometry
(flux x radius x turns, copper area with diameter²); the numbers are own estimates from memory of
cans of 20 to 45 mm, of which small ones lie low and large ones high."""

_LENGTH_PER_DIAMETER = (1.4, 1.0, 1.8)
"""Length of a can motor's body per diameter, and its range. From memory."""


def assumed_inertia(motor: Motor, voltage: float) -> Assumption:
    """Inertia of a rotor that nobody measured [kg·m²], from the motor's mechanical time constant.

    Parameters
    ----------
    motor : Motor
        Its inertia is not looked at.
    voltage : float
        Nominal. [V]

    Notes
    -----
    ``J = tau Ms/w0``: on a straight torque–speed line the unloaded rotor covers 63 % of a change of
    speed in that time.
    """
    per_second = stall(motor, voltage)[0] / no_load(motor, voltage)[0]
    value, low, high = (seconds * per_second for seconds in ROTOR_TIME_CONSTANT)
    usual, least, most = (1e3 * seconds for seconds in ROTOR_TIME_CONSTANT)
    why = f"a mechanical time constant of {usual:g} ms, {least:g} to {most:g} ms in small motors"
    return Assumption("rotor_inertia", value, low, high, why)


def assumed_no_load_current(stall_current: float) -> Assumption:
    """No-load current that nobody measured [A], as a share of the stall current.

    Parameters
    ----------
    stall_current : float
        [A]
    """
    value, low, high = (share * stall_current for share in NO_LOAD_SHARE)
    return Assumption(
        "no_load_current", value, low, high, "6 % of the stall current, 2 to 12 % in small motors"
    )


def assumed_stall_current(
    voltage: float, speed: float, share: float, diameter: float | None, length: float | None
) -> list[Assumption]:
    """Stall current [A] of a can that nobody measured, from its size; before it the length [m]
    where that is missing.

    Parameters
    ----------
    voltage : float
        Nominal, less the brush drop. [V]
    speed : float
        No-load speed of the rotor. [rad/s]
    share : float
        No-load current over stall current that the speed is taken to be measured with. [-]
    diameter, length : float, optional
        Of the can. [m]

    Raises
    ------
    DomainError
        Without a diameter, or a size that is not above zero.

    Notes
    -----
    ``k = U (1 - share)/w0`` and ``k²/R`` in proportion to diameter^4 x length give ``Is = U/R``.
    Own assumption, see `_SLOPE_PER_SIZE`.
    """
    if diameter is None:
        raise DomainError(
            "body_diameter", None, "a stall current, or the diameter of the motor's body"
        )
    require_positive("body_diameter", diameter, "m")
    assumed = []
    if length is None:
        value, low, high = (factor * diameter for factor in _LENGTH_PER_DIAMETER)
        assumed.append(
            Assumption("body_length", value, low, high, "1.4 diameters, as small cans are")
        )
        length = value
    require_positive("body_length", length, "m")
    constant = voltage * (1.0 - share) / speed
    current, low, high = (
        slope * diameter**4 * length * voltage / constant**2 for slope in _SLOPE_PER_SIZE
    )
    why = "torque per speed of small can motors of this size, within a factor of three"
    assumed.append(Assumption("stall_current", current, low, high, why))
    return assumed
