"""The linear law of a brushed DC motor between voltage, speed, torque and current.

One motor is a resistance, a constant k (torque per ampere and back e.m.f. per rad/s are the same
number in SI), a drag and perhaps a brush drop. Signs: positive speed, torque and current drive in
the raising sense. The current follows the voltage at once: the inductance of a small motor delays
it by about a millisecond. Resistance and constant are stated at 20 °C and follow their own
temperatures (°C) by linear laws.
"""

from typing import Any

import numpy as np

from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT, REFERENCE_TEMPERATURE
from winchsim.elementwise import Floats, dead_band, plain, positive
from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Motor:
    """One brushed DC motor with permanent magnets; values at 20 °C.

    Parameters
    ----------
    resistance : float
        Between the terminals, > 0. [ohm]
    constant : float
        Torque constant = back-e.m.f. constant k, > 0. [N·m/A]
    drag : float
        Constant drag torque against the motion, >= 0. [N·m]
    drag_slope : float
        Drag that grows with speed, >= 0. [N·m·s/rad]
    brush_drop : float
        Voltage lost at both brushes together, >= 0. [V]
    inertia : float
        Of the rotor, >= 0. [kg·m²]
    magnet_coefficient : float
        Relative change of k per kelvin of the magnets. [1/K]
    copper_coefficient : float
        Relative rise of the resistance per kelvin of the winding, referred to 20 °C. [1/K]
    """

    resistance: float
    constant: float
    drag: float
    drag_slope: float = 0.0
    brush_drop: float = 0.0
    inertia: float = 0.0
    magnet_coefficient: float = FERRITE_COEFFICIENT
    copper_coefficient: float = COPPER_COEFFICIENT


def resistance_at(
    r20: Floats, winding_temperature: Floats, coefficient: Floats = COPPER_COEFFICIENT
) -> Floats:
    """Resistance of a winding at its temperature.

    Parameters
    ----------
    r20 : float or ndarray
        Resistance at 20 °C. [ohm]
    winding_temperature : float or ndarray
        Mean temperature of the winding. [°C]
    coefficient : float or ndarray
        Relative rise per kelvin, referred to 20 °C. [1/K]

    Returns
    -------
    float or ndarray
        Resistance. [ohm]

    References
    ----------
    .. [1] The resistance method of IEC 60034-1 in its linear form; its constant of 235 K (from
       memory) gives values within 0.1 % of the coefficient 0.00393 used here, up to 100 °C.

    Examples
    --------
    >>> resistance_at(2.0, 100.0)
    2.6288
    """
    return r20 * (1.0 + coefficient * (winding_temperature - REFERENCE_TEMPERATURE))


def constant_at(
    k20: Floats, magnet_temperature: Floats, coefficient: Floats = FERRITE_COEFFICIENT
) -> Floats:
    """Torque and back-e.m.f. constant of a motor at the temperature of its magnets.

    Parameters
    ----------
    k20 : float or ndarray
        Constant at 20 °C. [N·m/A]
    magnet_temperature : float or ndarray
        Temperature of the magnets, taken as that of the case. [°C]
    coefficient : float or ndarray
        Relative change of the flux per kelvin, negative for every magnet in use. [1/K]

    Returns
    -------
    float or ndarray
        Constant. [N·m/A]

    References
    ----------
    .. [1] Common practice (reversible loss of flux of ferrite magnets, about -0.2 % per kelvin),
       from memory.

    Examples
    --------
    >>> constant_at(0.005, 70.0)
    0.0045
    """
    return k20 * (1.0 + coefficient * (magnet_temperature - REFERENCE_TEMPERATURE))


def copper_loss(motor: Motor, current: Floats, winding: Floats) -> tuple[Any, Any]:
    """Heat that a current makes in a winding, and how it grows with the winding's temperature.

    Parameters
    ----------
    motor : Motor
        Values at 20 °C.
    current : float or ndarray
        Through one motor. [A]
    winding : float or ndarray
        Temperature. [°C]

    Returns
    -------
    tuple of float or ndarray
        i² R [W], and its growth while the current stays what it is, i² R20 x copper coefficient
        [W/K]. While the voltage stays what it is instead, the loss of a motor at rest falls by as
        much.

    Examples
    --------
    >>> copper_loss(Motor(resistance=2.0, constant=0.01, drag=0.0), 10.0, 20.0)
    (200.0, 0.786)
    """
    square = current * current
    power = square * resistance_at(motor.resistance, winding, motor.copper_coefficient)
    return power, square * motor.resistance * motor.copper_coefficient


@dataclass(frozen=True)
class OperatingPoint:
    """Where a motor runs at a voltage against a torque.

    Attributes
    ----------
    voltage : float or ndarray
        Between the terminals. [V]
    torque : float or ndarray
        At the shaft, against the positive sense. [N·m]
    speed : float or ndarray
        Of the shaft; 0 where the motor stands still against that torque. [rad/s]
    current : float or ndarray
        Drawn. [A]
    """

    voltage: Any
    torque: Any
    speed: Any
    current: Any


def steady_current(motor: Motor, voltage: Floats, speed: Floats) -> Any:
    """Current of a motor at a voltage and a speed.

    Parameters
    ----------
    motor : Motor
        At the temperature in question.
    voltage : float or ndarray
        Between the terminals. [V]
    speed : float or ndarray
        Of the shaft. [rad/s]

    Returns
    -------
    float or ndarray
        Current, zero while voltage and back e.m.f. differ by less than the brush drop. [A]

    Examples
    --------
    >>> steady_current(Motor(resistance=2.0, constant=0.01, drag=0.0), 6.0, 400.0)
    1.0
    """
    return dead_band(voltage - motor.constant * speed, motor.brush_drop) / motor.resistance


def shaft_torque(motor: Motor, voltage: Floats, speed: Floats) -> Any:
    """Torque that a motor gives at its shaft at a voltage and a steady speed in the raising sense.

    Parameters
    ----------
    motor : Motor
        At the temperature in question.
    voltage : float or ndarray
        Between the terminals. [V]
    speed : float or ndarray
        Of the shaft, at least 0. [rad/s]

    Returns
    -------
    float or ndarray
        Torque, positive in the raising sense. [N·m]

    References
    ----------
    .. [1] The linear model of a separately excited DC machine, as in any machines text: U = R i + k
       w, M = k i - drag.

    Examples
    --------
    >>> shaft_torque(Motor(resistance=2.0, constant=0.01, drag=0.001), 6.0, 400.0)
    0.009
    """
    magnetic = motor.constant * steady_current(motor, voltage, speed)
    return magnetic - motor.drag - motor.drag_slope * speed


def operating_point(motor: Motor, voltage: Floats, torque: Floats) -> OperatingPoint:
    """Steady speed and current of a motor that turns in the raising sense against a torque.

    Parameters
    ----------
    motor : Motor
        At the temperature in question.
    voltage : float or ndarray
        Between the terminals, at least the brush drop. [V]
    torque : float or ndarray
        At the shaft. [N·m]

    Returns
    -------
    OperatingPoint
        At speed 0 where the torque is too much for the motor.

    References
    ----------
    .. [1] As `shaft_torque`, solved for the speed: own derivation, head of this module.

    Examples
    --------
    >>> point = operating_point(Motor(resistance=2.0, constant=0.01, drag=0.0), 6.0, 0.01)
    >>> point.speed, point.current
    (400.0, 1.0)
    """
    k, r, slope, load = motor.constant, motor.resistance, motor.drag_slope, torque + motor.drag
    speed = np.maximum((voltage - motor.brush_drop - r * load / k) / (k + r * slope / k), 0.0)
    drawn = np.where(speed > 0.0, (load + slope * speed) / k, steady_current(motor, voltage, 0.0))
    return OperatingPoint(voltage, torque, plain(speed), plain(drawn))


def no_load(motor: Motor, voltage: float) -> tuple[float, float]:
    """Speed and current of a motor with nothing on its shaft.

    Parameters
    ----------
    motor : Motor
        At the temperature in question.
    voltage : float
        Between the terminals. [V]

    Returns
    -------
    tuple of float
        Speed [rad/s] and current [A].

    Examples
    --------
    >>> no_load(Motor(resistance=2.0, constant=0.01, drag=0.002), 6.0)
    (560.0, 0.2)
    """
    point = operating_point(motor, voltage, 0.0)
    return point.speed, point.current


def stall(motor: Motor, voltage: float) -> tuple[float, float]:
    """Torque and current of a motor whose shaft is held.

    Parameters
    ----------
    motor : Motor
        At the temperature in question.
    voltage : float
        Between the terminals. [V]

    Returns
    -------
    tuple of float
        Torque that the holder feels, less the drag [N·m], and current [A].

    Examples
    --------
    >>> stall(Motor(resistance=2.0, constant=0.01, drag=0.002), 6.0)
    (0.028, 3.0)
    """
    return positive(shaft_torque(motor, voltage, 0.0)), steady_current(motor, voltage, 0.0)
