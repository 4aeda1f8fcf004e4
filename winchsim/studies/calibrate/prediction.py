"""The next rung foretold from the calibrated model, with what is not known of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from winchsim.studies.calibrate.evidence import READING, TIMING, Kind, LiftTest
from winchsim.studies.calibrate.fit import Fit, interval_width, with_slopes
from winchsim.studies.calibrate.forecast import Bench

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Interval:
    """A forecast of a number with the interval that its measurement should fall in.

    Attributes
    ----------
    value, low, high : float
        [SI]
    untold : float
        Share of the interval's width that comes from numbers which the tests did not tell. [-]
    """

    value: float
    low: float
    high: float
    untold: float


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
    """

    test: LiftTest
    time: Interval
    current: Interval
    margin: float
    stall_chance: float
    holds: bool
    in_full: bool


def predict(
    bench: Bench,
    names: tuple[str, ...],
    at: Array,
    fitted: tuple[str, ...],
    fit: Fit,
    slopes: Array,
    level: float,
    *,
    in_full: bool = True,
) -> tuple[tuple[Prediction, ...], bool]:
    """Forecast of every test of a bench.

    Parameters
    ----------
    bench : Bench
        With the tests to come.
    names : tuple of str
        All knobs.
    at : ndarray
        Their factors: as fitted, or 1.
    fitted : tuple of str
        Those that were fitted.
    fit : Fit
    slopes : ndarray, shape (measurements, knobs)
        Change of the residuals of the tests that were made with all knobs.
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
    Of the fitted numbers and of the new measurement's own scatter Student's t gives the interval, with the degrees of
    freedom of the fit. A number that was not fitted may be off by its width without tests, less what the tests say against
    it: its part of the forecast's variance is that of all numbers together, the fitted ones free and the others held by
    their widths, less that of the fitted ones alone. Both parts add as squares. Own derivation, DEVELOPERS.md, section
    "Learning from tests".
    """
    known = {name: float(value) for name, value in zip(names, at, strict=True) if name in fitted}
    said = bench.foretell([known])
    quantities = {
        "speed": said.speed[0],
        "current": said.current[0],
        "margin": np.log(said.margin[0]),
    }
    changes = _changes(bench, names, at)
    widths = np.array([knob.width for knob in bench.knobs])
    told, untold = _covariances(names, fitted, fit, slopes, widths)
    full_runs, complete = _in_full(bench, known, in_full)
    rows = []
    for place, (test, full) in enumerate(zip(bench.tests, full_runs, strict=True)):
        own = {name: rows[place] for name, rows in changes.items()}
        parts = {name: (_variance(told, slope), _variance(untold, slope)) for name, slope in own.items()}
        time = _time(bench, place, quantities["speed"][place], full, parts["speed"], fit, level)
        current = _current(quantities["current"][place], full, parts["current"], fit, level)
        rows.append(
            Prediction(
                test=test,
                time=time,
                current=current,
                margin=float(np.exp(quantities["margin"][place])),
                stall_chance=_stall_chance(quantities["margin"][place], sum(parts["margin"]), fit.dof),
                holds=bench.pawl or bool(said.hold[0, place] >= 0),
                in_full=bool(full),
            )
        )
    return tuple(rows), complete


def _in_full(bench: Bench, known: dict[str, float], wanted: bool) -> tuple[list[dict[Kind, float]], bool]:
    """Full runs of the tests, empty for those that were not made; and whether all were made."""
    found: list[dict[Kind, float]] = [{} for _ in bench.tests]
    try:
        for place in range(len(found) if wanted else 0):
            found[place] = bench.in_full(known, place)
    except KeyboardInterrupt:
        return found, False
    return found, True


def _changes(bench: Bench, names: tuple[str, ...], at: Array) -> dict[str, Array]:
    """Change of each forecast with each knob: for speed, current and logarithm of the margin, shape (tests, knobs)."""
    high, widths = (np.array([getattr(knob, side) for knob in bench.knobs]) for side in ("high", "width"))

    def many(sets: Array) -> Array:
        said = bench.foretell([dict(zip(names, row.tolist(), strict=True)) for row in sets])
        return np.concatenate([said.speed, said.current, np.log(said.margin)], axis=1)

    _, found = with_slopes(many, at, widths, high)
    return dict(zip(("speed", "current", "margin"), np.split(found, 3), strict=True))


def _covariances(
    names: tuple[str, ...], fitted: tuple[str, ...], fit: Fit, slopes: Array, widths: Array
) -> tuple[Array, Array]:
    """Covariance of all knobs from the fit, and what those that were not fitted add to it."""
    told = np.zeros((len(names), len(names)))
    where = [names.index(name) for name in fitted]
    told[np.ix_(where, where)] = fit.covariance
    free = [i for i, name in enumerate(names) if name not in fitted or fit.free[fitted.index(name)]]
    held = np.array([0.0 if name in fitted else 1 / width**2 for name, width in zip(names, widths, strict=True)])
    scatter = max(fit.scatter, 1e-9)
    information = slopes.T @ slopes / scatter**2 + np.diag(held)
    whole = np.zeros_like(told)
    whole[np.ix_(free, free)] = np.linalg.pinv(information[np.ix_(free, free)], hermitian=True)
    return told, whole - told


def _variance(covariance: Array, slope: Array) -> float:
    return max(float(slope @ covariance @ slope), 0.0)


def _half_width(told: float, untold: float, own: float, fit: Fit, level: float) -> tuple[float, float]:
    """Half width of an interval, and the share of it that is from what was not told."""
    first = fit.quantile(level) ** 2 * (told + own)
    second = interval_width(level, 0) ** 2 * untold
    half = math.sqrt(first + second)
    return half, second / (first + second) if half > 0 else 0.0


def _time(
    bench: Bench, place: int, speed: float, full: dict[Kind, float], parts: tuple[float, float], fit: Fit, level: float
) -> Interval:
    """Interval of a lift time, found as one of the mean speed: near a stall the time has no upper end."""
    height = float(bench.heights[place])
    speed = full.get(Kind.TIME, float(speed))
    if speed <= 0:
        return Interval(math.inf, math.inf, math.inf, 0.0)
    time = height / speed
    share = math.hypot(TIMING[0], TIMING[1] * time) / time
    half, untold = _half_width(*parts, (fit.scatter * share * speed) ** 2, fit, level)
    slowest = speed - half
    return Interval(time, height / (speed + half), height / slowest if slowest > 0 else math.inf, untold)


def _current(current: float, full: dict[Kind, float], parts: tuple[float, float], fit: Fit, level: float) -> Interval:
    value = full.get(Kind.CURRENT, float(current))
    own = math.hypot(READING[0], READING[1] * value)
    half, untold = _half_width(*parts, (fit.scatter * own) ** 2, fit, level)
    return Interval(value, max(value - half, 0.0), value + half, untold)


def _stall_chance(log_margin: float, variance: float, dof: int) -> float:
    """Probability that the torque falls short."""
    if variance <= 0:
        return float(log_margin <= 0)
    size = log_margin / math.sqrt(variance)
    return float(stats.t.sf(size, dof) if dof > 0 else stats.norm.sf(size))
