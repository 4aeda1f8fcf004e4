"""Heat of a motor: a winding and a case, each at one temperature, warmed by the copper loss and cooled by the air.

The pair of equations is linear, also where the copper loss grows with the winding's temperature at constant current, so every
question here has an exact answer: the response over a time, the steady state, and the time until a limit. Temperatures
are in °C throughout. Only the copper loss warms: brush and bearing friction, small and spread over the case, are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.assumption import Assumption
from winchsim.errors import DomainError

Value = float | NDArray[np.float64]


@dataclass(frozen=True)
class HeatPath:
    """Heat capacities and thermal resistances of one motor.

    Parameters
    ----------
    winding_capacity : float
        Heat capacity of the winding. [J/K]
    case_capacity : float
        Heat capacity of the case with what moves with its temperature. [J/K]
    winding_to_case : float
        Thermal resistance between them. [K/W]
    case_to_ambient : float
        Thermal resistance from the case to the air. [K/W]

    Raises
    ------
    DomainError
        A value that is not finite and above zero.
    """

    winding_capacity: float
    case_capacity: float
    winding_to_case: float
    case_to_ambient: float

    def __post_init__(self) -> None:
        for name in ("winding_capacity", "case_capacity", "winding_to_case", "case_to_ambient"):
            value = getattr(self, name)
            if not (0.0 < value < math.inf):
                raise DomainError(name, value, "a finite value above zero")


def rates(path: HeatPath, loss_power: Value, t_winding: Value, t_case: Value, ambient: Value) -> tuple[Value, Value]:
    """Rates of change of the winding's and the case's temperature.

    Parameters
    ----------
    path : HeatPath
        Of one motor.
    loss_power : float or ndarray
        Copper loss of one motor at the winding's present temperature, >= 0. [W]
    t_winding, t_case, ambient : float or ndarray
        Temperatures. [°C]

    Returns
    -------
    tuple of float or ndarray
        dT/dt of winding and case. [K/s]

    References
    ----------
    .. [1] The general two-time-constant thermal model of a machine; own derivation, DEVELOPERS.md, section "Motors, supply,
       heat".

    Examples
    --------
    >>> rates(HeatPath(3.0, 20.0, 5.0, 20.0), 2.0, 30.0, 25.0, 20.0)
    (0.333333, 0.0375)
    """
    inward = (t_winding - t_case) / path.winding_to_case
    return (
        (loss_power - inward) / path.winding_capacity,
        (inward - (t_case - ambient) / path.case_to_ambient) / path.case_capacity,
    )
