"""Heat of a motor: a winding and a case, each at one temperature, warmed by copper loss and
friction and cooled by the air.

The pair of equations is linear, also where the copper loss grows with the winding's temperature at
constant current, so every question here has an exact answer: the response over a time, the steady
state, and the time until a limit. Temperatures are in °C throughout. The copper loss warms the
winding, friction of brushes and bearings the case.

Derivation. With the start rates v and the two eigenvalues of the pair,
``T(t) = T0 + sum Z v (exp(rate t) - 1)/rate``, which also holds for a rate of zero or above
(thermal run-away). The smaller eigenvalue comes from the product of both, to keep its digits. The
winding's curve turns once at most, at a time in closed form; the time to a limit is sought before
or after it.
"""

import math
from typing import Any

import numpy as np
from scipy.optimize import brentq

from winchsim.assumption import Estimate
from winchsim.elementwise import Floats, plain
from winchsim.frozen import dataclass
from winchsim.quantity_text import quantity

_MOST_DOUBLINGS = 200


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
    """

    winding_capacity: float
    case_capacity: float
    winding_to_case: float
    case_to_ambient: float


def rates(
    path: HeatPath,
    loss_power: Floats,
    t_winding: Floats,
    t_case: Floats,
    ambient: Floats,
    friction: Floats = 0.0,
) -> tuple[Floats, Floats]:
    """Rates of change of the winding's and the case's temperature.

    Parameters
    ----------
    path : HeatPath
        Of one motor.
    loss_power : float or ndarray
        Copper loss of one motor at the winding's present temperature, >= 0. [W]
    t_winding, t_case, ambient : float or ndarray
        Temperatures. [°C]
    friction : float or ndarray
        Heat of brushes and bearings, which goes into the case, >= 0. [W]

    Returns
    -------
    tuple of float or ndarray
        dT/dt of winding and case. [K/s]

    References
    ----------
    .. [1] The general two-time-constant thermal model of a machine; own derivation, head of this
       module.

    Examples
    --------
    >>> rates(HeatPath(3.0, 20.0, 5.0, 20.0), 2.0, 30.0, 25.0, 20.0)
    (0.333333, 0.0375)
    """
    inward = (t_winding - t_case) / path.winding_to_case
    return (
        (loss_power - inward) / path.winding_capacity,
        (inward + friction - (t_case - ambient) / path.case_to_ambient) / path.case_capacity,
    )


def step_exact(
    path: HeatPath,
    loss_power: Floats,
    t_winding: Floats,
    t_case: Floats,
    ambient: Floats,
    time: Floats,
    feedback: Floats = 0.0,
    friction: Floats = 0.0,
) -> tuple[Any, Any]:
    """Temperatures after a time of constant current, exactly.

    Parameters
    ----------
    path : HeatPath
        Of one motor.
    loss_power : float or ndarray
        Copper loss of one motor at the temperature that the winding has at the start. [W]
    t_winding, t_case, ambient : float or ndarray
        Temperatures at the start. [°C]
    time : float or ndarray
        Time passed, >= 0. [s]
    feedback : float or ndarray
        Growth of the loss per kelvin of the winding, i² R20 x copper coefficient; 0 for constant
        power. [W/K]
    friction : float or ndarray
        As for `rates`. [W]

    Returns
    -------
    tuple of float or ndarray
        Temperatures of winding and case, all arguments broadcast. They may grow without end where
        the feedback has no steady state. [°C]

    References
    ----------
    .. [1] Own derivation: matrix exponential of the two linear equations by their eigenvalues, head
       of this module.

    Examples
    --------
    >>> step_exact(HeatPath(3.0, 20.0, 5.0, 20.0), 2.0, 20.0, 20.0, 20.0, 100.0)
    (35.7375, 26.8537)
    """
    winding, case = t_winding, t_case
    with np.errstate(over="ignore"):
        for rate, winding_part, case_part in _modes(
            path, loss_power, t_winding, t_case, ambient, feedback, friction
        ):
            grown = _grown(rate, time)
            winding = winding + winding_part * grown
            case = case + case_part * grown
    return plain(winding), plain(case)


def time_to_limit(
    path: HeatPath,
    loss_power: float,
    t_winding: float,
    t_case: float,
    ambient: float,
    limit: float,
    feedback: float = 0.0,
) -> float:
    """Time of constant current until the winding reaches a temperature.

    Parameters
    ----------
    path, loss_power, t_winding, t_case, ambient, feedback
        As for `step_exact`; floats only.
    limit : float
        Temperature that the winding must not pass. [°C]

    Returns
    -------
    float
        Time, 0 where the winding is at the limit already, infinite where it never gets there. [s]

    Notes
    -----
    The winding's temperature is a sum of two exponentials, so it turns around once at most, at a
    time known in closed form; the first crossing lies before or after that time.

    Examples
    --------
    >>> time_to_limit(HeatPath(3.0, 20.0, 5.0, 20.0), 2.0, 20.0, 20.0, 20.0, 35.737522)
    100.0
    """
    (fast, fast_part, _), (slow, slow_part, _) = _modes(
        path, loss_power, t_winding, t_case, ambient, feedback
    )
    short = limit - t_winding
    if short <= 0.0:
        return 0.0

    def above(time: float) -> float:
        with np.errstate(over="ignore", invalid="ignore"):
            return float(fast_part * _grown(fast, time) + slow_part * _grown(slow, time) - short)

    # Turning point: fast_part exp(fast t) + slow_part exp(slow t) = 0.
    ratio = -slow_part / fast_part if fast_part else 0.0
    turn = max(math.log(ratio) / (fast - slow), 0.0) if ratio > 0.0 else 0.0
    if fast_part + slow_part > 0.0 and turn > 0.0 and above(turn) >= 0.0:
        return float(brentq(above, 0.0, turn))
    final = math.copysign(math.inf, slow_part)
    if slow < 0.0:
        final = -fast_part / fast - slow_part / slow - short
    late = turn + 1.0 / abs(fast)
    for _ in range(_MOST_DOUBLINGS):
        if final <= 0.0 or above(late) >= 0.0:
            break
        late *= 2.0
    return float(brentq(above, turn, late)) if final > 0.0 and above(late) >= 0.0 else math.inf


def _modes(
    path: HeatPath,
    loss_power: Any,
    t_winding: Any,
    t_case: Any,
    ambient: Any,
    feedback: Any,
    friction: Any = 0.0,
) -> tuple[tuple[Any, Any, Any], tuple[Any, Any, Any]]:
    """Fast and slow mode, each as (rate [1/s], its part of dTw/dt at the start, its part of dTc/dt
    at the start)."""
    winding_rate, case_rate = rates(path, loss_power, t_winding, t_case, ambient, friction)
    a = 1.0 / (path.winding_capacity * path.winding_to_case)
    b = 1.0 / (path.case_capacity * path.winding_to_case)
    c = 1.0 / (path.case_capacity * path.case_to_ambient)
    f = np.asarray(feedback, dtype=float) / path.winding_capacity
    mean = 0.5 * (f - a - b - c)
    half = np.sqrt((0.5 * (f - a + b + c)) ** 2 + a * b)
    product = a * c - f * (b + c)
    # The smaller of the two in magnitude comes from their product, so that it keeps its digits.
    outer = np.where(mean < 0.0, mean - half, mean + half)
    inner = product / outer
    fast, slow = np.minimum(outer, inner), np.maximum(outer, inner)
    span = slow - fast
    slow_winding = ((f - a - fast) * winding_rate + a * case_rate) / span
    slow_case = (b * winding_rate - (b + c + fast) * case_rate) / span
    return (fast, winding_rate - slow_winding, case_rate - slow_case), (
        slow,
        slow_winding,
        slow_case,
    )


def _grown(rate: Any, time: Any) -> Any:
    """Integral of exp(rate t) from 0 to `time`."""
    safe = np.where(rate == 0.0, 1.0, rate)
    return np.where(rate == 0.0, time, np.expm1(safe * time) / safe)[()]


# --- estimates


_WINDING_PER_MASS = (50.0, 30.0, 80.0)
"""Heat capacity of the winding per mass of motor, and its range [J/(kg·K)]: copper (385 J/(kg·K))
is 8 to 20 % of a small motor. Own assumption."""

_CASE_PER_MASS = (400.0, 300.0, 480.0)
"""The same for the case with magnets and rotor iron [J/(kg·K)]: mostly steel and ferrite, 450 to
800 J/(kg·K). Own assumption."""

_CASE_TO_AMBIENT = (6.8, 2.4, 7.5)
"""Thermal resistance case to air of a motor of 1 kg, and its range [K/W]; goes with mass^(-2/3), as
surface does. With `_WINDING_TO_CASE` 7.5 to 8.1 in all of iron-cored motors of 0.25 and 0.89 kg
(data sheets Ametek Pittman 9233S013 and 14203S010), 5.2 of an ironless one of 2.1 kg (maxon
353297), 3.1 the least of seven (excerpts read)."""

_WINDING_TO_CASE = (0.7, 0.4, 2.8)
"""Thermal resistance winding to case of a motor of 1 kg, and its range [K/W]; goes with
mass^(-2/3). Own assumption: winding time constants of 9 s at 17 g and 20 s at 170 g, 5 to 60 s
being seen; agrees with a stall test of a motor of 0.36 kg (108 W for 60 s unharmed, 168 W smoking
after 30 s: team test 2018, public forum thread "stall testing 775 pro", excerpt read)."""

_MASS = 31.0
_MASS_FACTOR = 1.4
"""Mass of an iron-cored motor with 1 N·m·s/rad of stall torque over no-load speed [kg], and the
factor it may be off by; goes with that quotient to the power of 0.6. Seven motors of 45 to 1083 g
lie at 0.72 to 1.08 of it (makers' data sheets, excerpts read)."""

_ESTIMATES = {
    "winding_capacity": ("winding_heat_capacity", 1, _WINDING_PER_MASS, "copper as a share of {}"),
    "case_capacity": ("case_heat_capacity", 1, _CASE_PER_MASS, "steel and magnets of {}"),
    "winding_to_case": ("winding_to_case", -2 / 3, _WINDING_TO_CASE, "winding time constants, {}"),
    "case_to_ambient": ("case_to_ambient", -2 / 3, _CASE_TO_AMBIENT, "a can in still air, {}"),
}
"""Key that would give each value, the power of the motor's mass that it goes with, its best, low
and high value for 1 kg, and what it rests on."""


def estimate(
    mass: float | None, torque_per_speed: float, **given: float | None
) -> tuple[HeatPath, dict[str, Estimate]]:
    """Heat path of a small brushed motor from what is known, the rest estimated from its size; and
    what was assumed, with ranges.

    Parameters
    ----------
    mass : float or None
        Of one motor, where it is known. [kg]
    torque_per_speed : float
        Stall torque over no-load speed of the motor alone; used for the size where the mass is not
        known. [N·m·s/rad]
    **given
        Values of `HeatPath` that are known.

    References
    ----------
    .. [1] Own assumptions; each constant says what it rests on. head of this module.
    """
    unsure, of_what = 0.0, "the given mass"
    if mass is None:
        mass, unsure = _MASS * torque_per_speed**0.6, math.log(_MASS_FACTOR)
        of_what = f"a mass of {quantity(mass, 'g', 2)} estimated from torque and speed"
    values, assumed = dict(given), {}
    for name, (key, power, (best, low, high), why) in _ESTIMATES.items():
        if given.get(name) is None:
            value = values[name] = mass**power * best
            below = math.hypot(math.log(best / low), abs(power) * unsure)
            above = math.hypot(math.log(high / best), abs(power) * unsure)
            ends = value * math.exp(-below), value * math.exp(above)
            assumed[key] = Estimate(value, *ends, why.format(of_what))
    return HeatPath(**values), assumed  # type: ignore[arg-type]
