"""Forecast of the next rung from the calibrated model, with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from winchsim.studies.calibrate.evidence import READING, TIMING, Kind, LiftTest
from winchsim.studies.calibrate.fit import Fit, interval_width
from winchsim.studies.calibrate.forecast import Bench, forecast_with_slopes

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
    in_full : bool
        Whether the full simulation was run for it.
    blocked_by : tuple of int
        Numbers of tests that broke a part which has to be mended first.
    """

    test: LiftTest
    time: Interval
    current: Interval
    margin: float
    stall_chance: float
    holds: bool
    in_full: bool
    blocked_by: tuple[int, ...] = ()


def predict(
    bench: Bench, fit: Fit, level: float, *, in_full: bool = True
) -> tuple[tuple[Prediction, ...], bool]:
    """Forecast of every test of a bench.

    Parameters
    ----------
    bench : Bench
        With the tests to come.
    fit : Fit
        Of the factors of the bench.
    level : float
        Probability of the intervals. [-]
    in_full : bool
        Whether the full simulation is run for each.

    Returns
    -------
    (tuple of Prediction, bool)
        And whether all full runs were made that were wanted: the user may cut them short.

    Notes
    -----
    The covariance of the factors has a part from the scatter of the data and one from what the
    priors leave open, ``S = S J'J S/s² + S S``. Of the first and of the new measurement's own
    scatter Student's t gives the interval, with the degrees of freedom of the fit; of the second
    the normal distribution. Both parts add as squares. Own derivation.
    """
    if not bench.tests:
        return (), True
    quantities, changes = _quantities(bench, fit.values)
    said = bench.foretell(fit.values[None])
    full_runs, complete = _in_full(bench, fit.values, in_full)
    rows = []
    for place, (test, full) in enumerate(zip(bench.tests, full_runs, strict=True)):
        speed, current, margin = (float(row[place]) for row in quantities)
        parts = [fit.parts(change[place]) for change in changes]
        rows.append(
            Prediction(
                test=test,
                time=_time(bench, place, speed, full, parts[0], fit, level),
                current=_current(current, full, parts[1], fit, level),
                margin=math.exp(margin),
                stall_chance=_stall_chance(margin, sum(parts[2]), fit.dof),
                holds=bench.pawl or bool(said.hold[0, place] >= 0),
                in_full=bool(full),
            )
        )
    return tuple(rows), complete


def _quantities(bench: Bench, at: Array) -> tuple[Array, Array]:
    """Speed, current and logarithm of the margin of each test, and their change with each factor.

    Shapes (3, tests) and (3, tests, factors).
    """

    said, steps = forecast_with_slopes(bench, at, np.ones(len(at), dtype=bool))
    rows = np.array([said.speed, said.current, np.log(said.margin)])
    return rows[:, 0], np.moveaxis((rows[:, 1:] - rows[:, :1]) / steps[:, None], 1, 2)


def _in_full(bench: Bench, at: Array, wanted: bool) -> tuple[list[dict[Kind, float]], bool]:
    """Full runs of the tests, empty for those that were not made; and whether all were made."""
    found: list[dict[Kind, float]] = [{} for _ in bench.tests]
    try:
        for place in range(len(found) if wanted else 0):
            found[place] = bench.in_full(at, place)
    except KeyboardInterrupt:
        return found, False
    return found, True


def _half_width(
    data: float, prior: float, own: float, fit: Fit, level: float
) -> tuple[float, float]:
    """Half width of an interval, and the share of its square that the tests do not determine."""
    first = fit.quantile(level) ** 2 * (data + own)
    second = interval_width(level, 0) ** 2 * prior
    half = math.sqrt(first + second)
    return half, second / (first + second) if half > 0 else 0.0


def _time(
    bench: Bench,
    place: int,
    speed: float,
    full: dict[Kind, float],
    parts: tuple[float, float],
    fit: Fit,
    level: float,
) -> Interval:
    """Interval of a lift time, found as one of the mean speed: near a stall the time has no upper
    end."""
    height = float(bench.heights[place])
    speed = full.get(Kind.TIME, float(speed))
    if speed <= 0:
        return Interval(math.inf, math.inf, math.inf, 0.0)
    time = height / speed
    share = math.hypot(TIMING[0], TIMING[1] * time) / time
    half, open_share = _half_width(*parts, (fit.scatter * share * speed) ** 2, fit, level)
    slowest = speed - half
    return Interval(
        time, height / (speed + half), height / slowest if slowest > 0 else math.inf, open_share
    )


def _current(
    current: float, full: dict[Kind, float], parts: tuple[float, float], fit: Fit, level: float
) -> Interval:
    value = full.get(Kind.CURRENT, float(current))
    own = math.hypot(READING[0], READING[1] * value)
    half, open_share = _half_width(*parts, (fit.scatter * own) ** 2, fit, level)
    return Interval(value, max(value - half, 0.0), value + half, open_share)


def _stall_chance(log_margin: float, variance: float, dof: float) -> float:
    """Probability that the torque falls short."""
    if variance <= 0:
        return float(log_margin <= 0)
    size = log_margin / math.sqrt(variance)
    return float(stats.t.sf(size, dof) if dof >= 1 else stats.norm.sf(size))
