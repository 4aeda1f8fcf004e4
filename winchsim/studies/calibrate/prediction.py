"""Forecast of the next rung from the calibrated model, with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr

from winchsim.frozen import dataclass
from winchsim.studies.calibrate.evidence import SCATTERS, Kind, LiftTest
from winchsim.studies.calibrate.fit import Fit, interval_width
from winchsim.studies.calibrate.forecast import Bench, Forecast, forecast_with_slopes

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Interval:
    """A forecast of a number with the interval that its measurement should fall in.

    Attributes
    ----------
    value, low, high : float
        [SI]
    open_share : float
        Share of the squared half width that comes from what the tests do not determine. [-]
    """

    value: float
    low: float
    high: float
    open_share: float


@dataclass(frozen=True)
class Prediction:
    """What the calibrated model says of a test that is still to come.

    Attributes
    ----------
    test : LiftTest
    time : Interval
        Of the lift; infinite where it stalls. [s]
    current : Interval
        Of the supply, running steadily. [A]
    margin : float
        Torque at rest over the most that the lift asks for. [-]
    stall_chance : float
        Probability that it stalls. [-]
    holds : bool
        Whether it should stay up with the power off, by friction, a brake or a pawl.
    blocked_by : tuple of int
        Numbers of tests that broke a part which has to be mended first.
    """

    test: LiftTest
    time: Interval
    current: Interval
    margin: float
    stall_chance: float
    holds: bool
    blocked_by: tuple[int, ...] = ()


def predict(bench: Bench, fit: Fit, level: float) -> tuple[Prediction, ...]:
    """Forecast of every test of a bench.

    Parameters
    ----------
    bench : Bench
        With the tests to come.
    fit : Fit
        Of the factors of the bench.
    level : float
        Probability of the intervals. [-]

    Notes
    -----
    The covariance of the factors has a part from the scatter of the data and one from what the
    priors leave open, ``S = S J'J S/s² + S S``. Of the first and of the new measurement's own
    scatter Student's t gives the interval, with the degrees of freedom of the fit; of the second
    the normal distribution. Both parts add as squares. Own derivation.
    """
    if not bench.tests:
        return ()
    found, slopes = forecast_with_slopes(bench, fit.values)
    predictions = []
    for place, test in enumerate(bench.tests):
        numbers = {kind: float(values[place]) for kind, values in found.items()}
        changes = {kind: rows[:, place] for kind, rows in slopes.items()}
        margin = numbers[Kind.LIFTED]
        predictions.append(
            Prediction(
                test=test,
                time=_time(bench.heights[place], numbers, changes, fit, level),
                current=_current(numbers, changes, fit, level),
                margin=math.exp(margin),
                stall_chance=_stall_chance(margin, sum(fit.parts(changes[Kind.LIFTED])), fit.dof),
                holds=bench.machine.pawl or numbers[Kind.HELD] >= 0,
            )
        )
    return tuple(predictions)


def _half_width(change: Array, own: float, fit: Fit, level: float) -> tuple[float, float]:
    """Half width of an interval, and the share of its square that the tests do not determine."""
    data, prior = fit.parts(change)
    first = interval_width(level, fit.dof) ** 2 * (data + (fit.scatter * own) ** 2)
    second = interval_width(level, 0) ** 2 * prior
    return math.sqrt(first + second), second / max(first + second, 1e-300)


def _time(
    height: float, numbers: Mapping[Kind, float], changes: Forecast, fit: Fit, level: float
) -> Interval:
    """Interval of a lift time, found as one of the mean speed: near a stall the time has no upper
    end."""
    speed, (fixed, share) = numbers[Kind.TIME], SCATTERS[Kind.TIME]
    if speed <= 0:
        return Interval(math.inf, math.inf, math.inf, 0.0)
    own = math.hypot(fixed * speed / height, share) * speed
    half, open_share = _half_width(changes[Kind.TIME], own, fit, level)
    slowest = height / (speed - half) if speed > half else math.inf
    return Interval(height / speed, height / (speed + half), slowest, open_share)


def _current(numbers: Mapping[Kind, float], changes: Forecast, fit: Fit, level: float) -> Interval:
    value, own = numbers[Kind.CURRENT], SCATTERS[Kind.CURRENT][1] * numbers[Kind.CURRENT]
    half, open_share = _half_width(changes[Kind.CURRENT], own, fit, level)
    return Interval(value, max(value - half, 0.0), value + half, open_share)


def _stall_chance(log_margin: float, variance: float, dof: float) -> float:
    """Probability that the torque falls short."""
    if variance <= 0:
        return float(log_margin <= 0)
    size = -log_margin / math.sqrt(variance)
    return float(stdtr(dof, size) if dof >= 1 else ndtr(size))
