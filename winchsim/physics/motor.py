"""Brushed DC motors: the linear law between voltage, speed, torque and current, and its constants from what is known.

One motor is a resistance, a constant k (torque per ampere and back e.m.f. per rad/s are the same number in SI), a drag and
perhaps a brush drop. Signs: positive speed, torque and current drive in the raising sense. Resistance and constant are
stated at 20 °C and follow their own temperatures (°C) by linear laws.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.assumption import Assumption
from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT, REFERENCE_TEMPERATURE
from winchsim.errors import DomainError

Value = float | NDArray[np.float64]


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
    inductance : float or None
        Between the terminals, > 0; None where the current is taken to follow at once. [H]
    inertia : float
        Of the rotor, >= 0. [kg·m²]
    magnet_coefficient : float
        Relative change of k per kelvin of the magnets. [1/K]
    copper_coefficient : float
        Relative rise of the resistance per kelvin of the winding, referred to 20 °C. [1/K]

    Raises
    ------
    DomainError
        A value outside its range.
    """

    resistance: float
    constant: float
    drag: float
    drag_slope: float = 0.0
    brush_drop: float = 0.0
    inductance: float | None = None
    inertia: float = 0.0
    magnet_coefficient: float = FERRITE_COEFFICIENT
    copper_coefficient: float = COPPER_COEFFICIENT

    def __post_init__(self) -> None:
        _positive("resistance", self.resistance, "ohm")
        _positive("constant", self.constant, "N·m/A")
        for name in ("drag", "drag_slope", "brush_drop", "inertia"):
            _not_negative(name, getattr(self, name))
        if self.inductance is not None:
            _positive("inductance", self.inductance, "H")
        for name in ("magnet_coefficient", "copper_coefficient"):
            if not math.isfinite(getattr(self, name)):
                raise DomainError(name, getattr(self, name), "a finite number [1/K]")


def resistance_at(r20: Value, winding_temperature: Value, coefficient: Value = COPPER_COEFFICIENT) -> Value:
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
    .. [1] The resistance method of IEC 60034-1 in its linear form; its constant of 235 K (from memory) gives values within
       0.1 % of the coefficient 0.00393 used here, up to 100 °C.

    Examples
    --------
    >>> resistance_at(2.0, 100.0)
    2.6288
    """
    return r20 * (1.0 + coefficient * (winding_temperature - REFERENCE_TEMPERATURE))


def constant_at(k20: Value, magnet_temperature: Value, coefficient: Value = FERRITE_COEFFICIENT) -> Value:
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
    .. [1] Common practice (reversible loss of flux of ferrite magnets, about -0.2 % per kelvin), from memory.

    Examples
    --------
    >>> constant_at(0.005, 70.0)
    0.0045
    """
    return k20 * (1.0 + coefficient * (magnet_temperature - REFERENCE_TEMPERATURE))


def _positive(name: str, value: float, unit: str) -> None:
    if not (0.0 < value < math.inf):
        raise DomainError(name, value, f"a finite value above zero [{unit}]")


def _not_negative(name: str, value: float) -> None:
    if not (0.0 <= value < math.inf):
        raise DomainError(name, value, "a finite value, zero or above")
