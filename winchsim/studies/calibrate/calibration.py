"""Calibration of a scenario by tests: one fit over all factors, each held by its prior."""

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.optimize import least_squares
from scipy.special import stdtr, stdtrit

from winchsim.errors import Code, refuse_if, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, walk, with_values
from winchsim.model import build, raising_phase
from winchsim.studies.calibrate.evidence import (
    SCATTERS,
    Capacity,
    Kind,
    LiftTest,
    MeasuredReading,
    Note,
    capacities,
    expected_scatter,
    gather,
)
from winchsim.studies.calibrate.forecast import (
    Bench,
    Factor,
    find_factors,
    forecast_with_slopes,
    moved,
)

ALONE = 0.8
"""A factor is determined on its own where this share of it lies in directions that the tests
determine; two that stand in for each other have half each. [-] Own choice."""

PARTNER = 0.2
"""Less than this share of a determined direction is no part in it. [-] Own choice."""

BARELY = 0.5
"""A factor that is not determined and moves by less keeps its default: writing it down would only
make a given value of an assumed one. [standard deviations of the prior]"""


FAR, OVER = 10.0, 1.1
"""Measured over what is expected, or the reverse, from which on no values within their ranges
explain it; of a current, over the limit of the supply. [-] Own choice: the losses of a lift are
known to a factor of two or three, and its units are a thousand or sixty apart."""

PREDICTED = (Kind.TIME, Kind.CURRENT, Kind.LIFTED, Kind.HELD)
"""What is forecast of a test to come."""


# --- least squares, without a winch: residuals come in units of their expected scatter, and every
# value has a prior of mean 0 and standard deviation 1

SOFT = 1.5
"""Residual from which the robust loss grows slower than a square. [-] Own choice."""

MOST_FORECASTS = 25
"""Forecasts of one search for the best values, at most. [-]"""

MOST_ROUNDS = 12
"""Rounds in which scatter and values are found in turn, at most. [-]"""

SETTLED_SCATTER = 0.02
"""The rounds end where the logarithm of the scatter changes by less. [-]"""

LEAST_SCATTER = 1e-3
"""Data that agree better than this with the model, in expected scatters, count as if they agreed
so. [-]"""

OUTLIER_LEVEL = 0.01
"""Chance of naming an outlier where there is none. [-] Own choice."""

LEAST_OUTLIER = 3.0
"""And no residual below so many of its expected scatters is one. [-] Own choice."""

DETERMINED = 0.7
"""A direction is determined where the data narrow it to this share of its prior's width. [-] Own
choice."""


@dataclass(frozen=True)
class FitProblem:
    """Residuals that values of unit priors are to make small.

    Attributes
    ----------
    both : callable
        Residuals (n,) at values (p,), and their change with the values (n, p). [expected scatters]
    low, high : ndarray, shape (p,)
        Bounds of the values; equal where one stays. [standard deviations of the prior]
    data : ndarray of bool, shape (n,)
        Residuals that are measurements; the others are evidence from one side, which counts while
        it is positive.
    settled : float
        A search ends where a step gains a smaller share of the loss. [-]
    """

    both: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
    low: np.ndarray
    high: np.ndarray
    data: np.ndarray
    settled: float = 1e-3

    @property
    def free(self) -> np.ndarray:
        """Values that may move, shape (p,)."""
        return self.low < self.high


@dataclass(frozen=True)
class Fit:
    """Values at the maximum of the posterior, and what is known of them.

    Attributes
    ----------
    values : ndarray, shape (p,)
        [standard deviations of the prior]
    residuals : ndarray, shape (n,)
        0 for evidence from one side that agrees. [expected scatters]
    slopes : ndarray, shape (n, p)
        Change of the residuals with the values; 0 for those that do not count.
    scatter : float
        Scatter of the data over what was expected of it; 1 where they do not tell. [-]
    dof : float
        Data, less the values that they determine; under 1 they do not tell the scatter. [-]
    """

    values: np.ndarray
    residuals: np.ndarray
    slopes: np.ndarray
    scatter: float
    dof: float

    @property
    def covariance(self) -> np.ndarray:
        """Covariance of the values, prior included."""
        return posterior(self.slopes, self.scatter)

    @property
    def determined(self) -> np.ndarray:
        """Projection onto the directions that the data determine, shape (p, p).

        Notes
        -----
        The singular vectors of the slopes are the directions that the data see one by one; a
        singular value s narrows its direction to 1/√(1 + s²) of the prior's width. On the diagonal
        stands the share of each value that is determined by the data alone: values that stand in
        for each other share one direction, however narrow their prior makes either. (Resolution
        matrix of a damped inverse problem: W. Menke, *Geophysical Data Analysis: Discrete Inverse
        Theory*, chapter 4, from memory.)
        """
        _, sizes, rows = np.linalg.svd(self.slopes / self.scatter, full_matrices=False)
        seen = rows[1 / np.hypot(1.0, sizes) <= DETERMINED]
        return np.asarray(seen.T @ seen)

    def parts(self, change: np.ndarray) -> tuple[float, float]:
        """Variance of a quantity from the scatter of the data, and from what the priors leave open.

        Parameters
        ----------
        change : ndarray, shape (p,)
            Of the quantity with the values.
        """
        whole = self.covariance @ change
        prior = float(whole @ whole)
        return max(float(change @ whole) - prior, 0.0), prior


def posterior(slopes: np.ndarray, scatter: float) -> np.ndarray:
    """Covariance of values with unit priors after data of this scatter. shape (p, p)"""
    return np.linalg.inv(slopes.T @ slopes / scatter**2 + np.eye(slopes.shape[1]))


def interval_width(level: float, dof: float) -> float:
    """Half width, in standard errors, of a two-sided interval. [-]

    Parameters
    ----------
    level : float
        Probability, between 0 and 1. [-]
    dof : float
        Degrees of freedom of the standard error; under 1 where the scatter is not from the data.
        [-]
    """
    return float(stdtrit(dof if dof >= 1 else np.inf, (1 + level) / 2))


def fit(problem: FitProblem, start: np.ndarray, kept: np.ndarray, scatter: float = 1.0) -> Fit:
    """Values of the largest posterior, with the scatter of the data that the residuals show.

    Parameters
    ----------
    problem : FitProblem
    start : ndarray, shape (p,)
        Near enough for its slopes to show the scatter.
    kept : ndarray of bool, shape (n,)
        Residuals that count.
    scatter : float
        To begin with. [expected scatters]
    """
    found, counted = solve(problem, start, kept, scatter), kept & problem.data
    for _ in range(MOST_ROUNDS):
        last, moving = scatter, found.slopes[:, problem.free]
        scatter, dof = scatter_of(found.residuals, moving, counted, last)
        found = solve(problem, found.values, kept, scatter)
        if abs(np.log(scatter / last)) < SETTLED_SCATTER:
            break
    return replace(found, dof=dof)


def solve(
    problem: FitProblem,
    start: np.ndarray,
    kept: np.ndarray,
    scatter: float = 1.0,
    *,
    robust: bool = False,
) -> Fit:
    """Values of the largest posterior at a scatter.

    Parameters
    ----------
    problem, start, kept
        As for `fit`.
    scatter : float
        [expected scatters]
    robust : bool
        Whether large residuals weigh less (pseudo-Huber loss).
    """
    values, free = start.copy(), problem.free

    def at(moving: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Residuals with the priors behind them, and their slopes."""
        values[free] = moving
        left, slopes = problem.both(values)
        share = kept * (problem.data | (left > 0)) / scatter
        size = share * left
        if robust:
            root = np.hypot(1.0, size / SOFT)
            share = share * np.sqrt((1 + root) / 2) / root
            size = np.sign(size) * SOFT * np.sqrt(2 * (root - 1))
        return (
            np.concatenate([size, moving]),
            np.concatenate([share[:, None] * slopes[:, free], np.eye(len(moving))]),
        )

    low, high = problem.low[free], problem.high[free]
    values[free] = least_squares(
        lambda moving: at(moving)[0],
        np.clip(start[free], low, high),
        lambda moving: at(moving)[1],
        bounds=(low, high),
        method="dogbox",
        ftol=problem.settled,
        xtol=problem.settled,
        max_nfev=MOST_FORECASTS,
    ).x
    left, slopes = problem.both(values)
    counts = problem.data | (left > 0)
    counted = slopes * (kept & counts)[:, None]
    return Fit(values, np.where(counts, left, 0.0), counted, scatter, 0.0)


def scatter_of(
    left: np.ndarray, slopes: np.ndarray, counted: np.ndarray, scatter: float
) -> tuple[float, float]:
    """Scatter of the data and its degrees of freedom, from residuals that were fitted at a
    scatter: data less the trace of the hat matrix."""
    dof = float(counted.sum()) - float(np.sum(1 - np.diag(posterior(slopes, scatter))))
    size = float(np.sqrt(np.sum(left[counted] ** 2) / dof)) if dof >= 1 else 1.0
    return max(size, LEAST_SCATTER), dof


def without_outliers(
    problem: FitProblem, start: np.ndarray, left_out: np.ndarray | None = None
) -> tuple[Fit, np.ndarray]:
    """A robust fit, and the residuals that belong together: outliers are found one by one and left
    out.

    Parameters
    ----------
    problem : FitProblem
    start : ndarray, shape (p,)
    left_out : ndarray of bool, shape (n,), optional
        Residuals that are left out from the beginning.
    """
    kept, values = ~(np.zeros_like(problem.data) if left_out is None else left_out), start
    for _ in range(max(int(problem.data.sum()) // 2, 1)):
        found = solve(problem, values, kept, robust=True)
        values, worst = found.values, outlier(found, kept, problem.data)
        if worst is None:
            break
        kept[worst] = False
    scatter, dof = scatter_of(found.residuals, found.slopes, kept & problem.data, 1.0)
    return replace(found, scatter=scatter, dof=dof), kept


def outlier(found: Fit, kept: np.ndarray, data: np.ndarray) -> int | None:
    """Place of the one residual that does not belong to the others; None where all do.

    Parameters
    ----------
    found : Fit
        A robust one, which an outlier cannot bend.
    kept, data : ndarray of bool, shape (n,)
        Residuals that have not been left out before; those that are measurements.

    Notes
    -----
    The largest residual is left out and predicted from a fit of the others and the priors, which is
    one linear step away. Over the standard error of that prediction it follows Student's t; the
    level is divided by the number of residuals, any of which might have been the largest
    (Bonferroni).

    References
    ----------
    .. [1] R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, section 2.2.2,
       from memory.
    """
    left, slopes = found.residuals, found.slopes
    place = int(np.argmax(np.where(kept, np.abs(left), 0.0)))
    others = kept.copy()
    others[place] = False
    scatter = 1.0
    for _ in range(3):  # the scatter weighs the priors, which shape the scatter
        inverse = posterior(slopes[others], scatter)
        pull = slopes[others].T @ left[others] / scatter**2 + found.values
        after = left - slopes @ (inverse @ pull)
        scatter, dof = scatter_of(after, slopes * others[:, None], others & data, scatter)
    if dof < 1:
        return None
    error = float(np.sqrt(scatter**2 + slopes[place] @ inverse @ slopes[place]))
    limit = stdtrit(dof, 1 - OUTLIER_LEVEL / (2 * int(kept.sum())))
    return place if abs(after[place]) > max(limit * error, LEAST_OUTLIER) else None


# --- results


@dataclass(frozen=True)
class FittedValue:
    """A value that a factor moved: as it was or was assumed, as it is now, and its interval.
    [SI]"""

    path: str
    before: float
    after: float
    low: float
    high: float


@dataclass(frozen=True)
class Parameter:
    """One factor and what the tests say of it.

    Attributes
    ----------
    factor : Factor
    place : float
        [standard deviations of the prior]
    width : float
        What the tests leave of the prior's width. [-]
    alone : float
        Share of it that the tests determine whatever the other factors are. [-]
    values : tuple of FittedValue
    """

    factor: Factor
    place: float
    width: float
    alone: float
    values: tuple[FittedValue, ...]

    @property
    def determined(self) -> bool:
        """Whether the tests tell it apart from its prior and from the other factors."""
        return self.width <= DETERMINED and self.alone >= ALONE


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
        Of the supply, its mean over the middle half of the lift time. [A]
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


@dataclass(frozen=True)
class Calibration:
    """Result of a calibration.

    Attributes
    ----------
    inputs : Inputs
        Scenario with what was fitted, and with the lower bounds of parts that broke.
    before : Inputs
        Scenario as it was.
    level : float
        Probability of all intervals. [-]
    parameters : tuple of Parameter
        All factors, the best determined first.
    together : tuple of tuple of str
        Names of factors that the tests determine only in combination.
    correlation : ndarray
        Of the factors, in the order of `parameters`.
    residuals, sides : tuple of MeasuredReading
        Measurements beside the model; stalls and holds beside it.
    dof : float
        Measurements, less the factors that they determine. [-]
    scatter : float
        Of the measurements, over what was expected; 1 where they do not tell. [-]
    predictions : tuple of Prediction
        Of the tests that are still to come.
    broken, bounds : tuple of Capacity
        Of parts that broke; of those that carried more than was estimated.
    notes : tuple of Note
        What could not be used, or has to be asked.
    """

    inputs: Inputs
    before: Inputs
    level: float
    parameters: tuple[Parameter, ...]
    together: tuple[tuple[str, ...], ...]
    correlation: np.ndarray
    residuals: tuple[MeasuredReading, ...]
    sides: tuple[MeasuredReading, ...]
    dof: float
    scatter: float
    predictions: tuple[Prediction, ...]
    broken: tuple[Capacity, ...]
    bounds: tuple[Capacity, ...]
    notes: tuple[Note, ...]

    @property
    def changes(self) -> tuple[tuple[str, Any, Any], ...]:
        """Path, old and new value of all that differs from the scenario."""
        old = {path: value for path, value, _ in walk(self.before)}
        return tuple(
            (path, old.get(path), value)
            for path, value, _ in walk(self.inputs)
            if old.get(path) != value
        )


def calibrate(
    inputs: Inputs,
    tests: Sequence[LiftTest],
    *,
    only: Sequence[str] = (),
    level: float = 0.9,
) -> Calibration:
    """Calibration of a scenario from tests.

    Parameters
    ----------
    inputs : Inputs
    tests : sequence of LiftTest
        Those without any result are the next rungs, and are forecast.
    only : sequence of str
        Names of the factors to move; left out: all.
    level : float
        Probability of the intervals, between 0.5 and 0.999. [-]

    Raises
    ------
    InputError
        No test has a measurement, or one does not belong to this scenario.
    DomainError
        A level or the name of a factor that does not exist.
    """
    refuse_if(not 0.5 <= level <= 0.999, "level", level, "a probability from 0.5 to 0.999")
    readings, notes = gather(tests, pawl=build(inputs).pawl)
    factors = find_factors(inputs)
    names = [factor.name for factor in factors]
    for name in only:
        refuse_if(name not in names, "fit", name, "one or more of: " + ", ".join(names))
    factors = tuple(factor for factor in factors if not only or factor.name in only)
    case = Case(Bench(inputs, readings, factors))
    found, kept = without_outliers(case.problem, np.zeros(len(factors)), case.far)
    determined = np.sqrt(np.diag(found.covariance)) <= DETERMINED
    moving = determined | (np.abs(found.values) >= BARELY)
    problem = replace(case.problem, low=moving * case.problem.low, high=moving * case.problem.high)
    found = fit(problem, moving * found.values, kept, found.scatter)
    coming = [MeasuredReading(t, kind, 0.0) for t in tests if not t.done for kind in PREDICTED]
    predictions = predict(Bench(inputs, coming, factors), found, level)
    calibrated = moved(inputs, case.bench.machine, factors, found.values)
    parts, asked = capacities(calibrated, tests)
    ordered = sorted(parts, key=lambda part: (part.broke, part.set_value or 0.0))
    bounds = {part.set_path: part.set_value for part in ordered if part.set_path}
    parameters, together, correlation = _parameters(factors, found, level)
    beside = case.beside(found, kept)
    return Calibration(
        inputs=with_values(calibrated, bounds),  # of a path the last one
        before=inputs,
        level=level,
        parameters=parameters,
        together=together,
        correlation=correlation,
        residuals=tuple(row for row in beside if row.kind.is_measured),
        sides=tuple(row for row in beside if not row.kind.is_measured),
        dof=found.dof,
        scatter=found.scatter,
        predictions=tuple(_as_seen(row, beside, parts) for row in predictions),
        broken=tuple(part for part in parts if part.broke),
        bounds=tuple(part for part in parts if not part.broke),
        notes=(*notes, *asked),
    )


class Case:
    """Readings beside their forecasts: the residuals at any place of the factors.

    Parameters
    ----------
    bench : Bench

    Attributes
    ----------
    far : ndarray of bool
        Measurements that no values within their ranges explain.

    Raises
    ------
    InputError
        No measurement is any other.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        kinds = [row.kind for row in bench.readings]
        self._timed = np.array([kind is Kind.TIME for kind in kinds])
        measured = np.array([row.measured for row in bench.readings])
        self._goals = np.divide(bench.heights, measured, out=measured.copy(), where=self._timed)
        low, high = (np.array([getattr(f, end) for f in bench.factors]) for end in ("low", "high"))
        data = np.array([kind.is_measured for kind in kinds])
        self.problem = FitProblem(self._both, low, high, data)
        signs = [-1.0 if kind in (Kind.LIFTED, Kind.HELD) else 1.0 for kind in kinds]
        shares = [expected_scatter(row.kind, row.measured) for row in bench.readings]
        self._weights = np.array(signs) / (np.array(shares) * np.where(data, self._goals, 1.0))
        self._known: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}
        expected = bench.forecast(np.zeros((1, len(bench.factors))))[0]
        share = np.divide(
            self._goals, expected, out=np.ones(len(kinds)), where=data & (expected > 0)
        )
        amps = np.array([kind in (Kind.CURRENT, Kind.STALL_CURRENT) for kind in kinds])
        over = amps & (measured > OVER * raising_phase(bench.machine).current_limit)
        self.far = (share > FAR) | (share < 1 / FAR) | over
        if not np.any(data & ~self.far):
            raise refused(
                "no measurement is near to what this scenario can show",
                "measured_time_s",
                hint="check the units in the heads of the sheet, and the scenario",
                code=Code.NOTHING_TO_FIT,
            )

    def _both(self, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Residuals of the readings and their change with the factors, (n,) and (n, p); of evidence
        from one side a negative one agrees."""
        if place.tobytes() not in self._known:
            values, slopes = forecast_with_slopes(self.bench, place)
            both = self._weights * (values - self._goals), (self._weights * slopes).T
            # no voltage where it stalls
            left, turns = (np.where(np.isfinite(part), part, 0) for part in both)
            self._known[place.tobytes()] = left, turns
        return self._known[place.tobytes()]

    def beside(self, fit: Fit, kept: np.ndarray) -> tuple[MeasuredReading, ...]:
        """Every reading beside the model, fitted and as it was."""
        values = self.bench.forecast(np.array([fit.values, np.zeros(len(fit.values))]))
        times = np.divide(
            self.bench.heights, values, out=np.full(values.shape, np.inf), where=values > 0
        )
        ratio = [row.kind in (Kind.LIFTED, Kind.STALLED) for row in self.bench.readings]
        shown = np.select([self._timed, ratio], [times, np.exp(values)], values)
        agree = np.where(self.problem.data, kept, fit.residuals <= 0)
        rows = zip(self.bench.readings, *shown, fit.residuals, agree, self.far, strict=True)
        return tuple(
            replace(
                row,
                predicted=float(now),
                before=float(before),
                size=float(size),
                agrees=bool(agrees),
                far=bool(far),
            )
            for row, now, before, size, agrees, far in rows
        )


def _parameters(
    factors: Sequence[Factor], found: Fit, level: float
) -> tuple[tuple[Parameter, ...], tuple[tuple[str, ...], ...], np.ndarray]:
    """Factors, the best determined first; those that are determined only together; and their
    correlation."""
    widths, shares = np.sqrt(np.diag(found.covariance)), found.determined
    order = np.argsort(widths, kind="stable")
    width, rows = interval_width(level, found.dof), []
    for i in order:
        factor, z, half = factors[i], float(found.values[i]), width * widths[i]
        ends = (max(z - half, factor.low), min(z + half, factor.high))
        values = tuple(
            FittedValue(row.path, row.value, row.at(z), *sorted(row.at(end) for end in ends))
            for row in factor.rows
        )
        rows.append(Parameter(factor, z, float(widths[i]), float(shares[i, i]), values))
    partly = [
        i for i, row in zip(order, rows, strict=True) if row.alone >= PARTNER and not row.determined
    ]
    groups = {tuple(j for j in partly if abs(shares[i, j]) >= PARTNER) for i in partly}
    together = sorted(tuple(factors[i].name for i in group) for group in groups if len(group) > 1)
    correlation = found.covariance / np.outer(widths, widths)
    return tuple(rows), tuple(together), correlation[np.ix_(order, order)]


def _as_seen(
    row: Prediction, readings: Sequence[MeasuredReading], parts: Sequence[Capacity]
) -> Prediction:
    """A forecast that no test contradicts.

    No load holds that is as heavy as one that ran back, and none that is heavier than what a part
    survived before it broke is to be tried before that part is mended.
    """
    mass = row.test.mass
    ran_back = any(seen.kind is Kind.RAN_BACK and seen.test.mass <= mass for seen in readings)
    blocked = [b.test.number for b in parts if b.broke and mass > (b.survived_mass or 0.0)]
    return replace(row, holds=row.holds and not ran_back, blocked_by=tuple(blocked))


def predict(bench: Bench, fit: Fit, level: float) -> tuple[Prediction, ...]:
    """Forecast of every test of a bench.

    Parameters
    ----------
    bench : Bench
        With `PREDICTED` of each of the tests to come.
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
    values, slopes = forecast_with_slopes(bench, fit.values)
    predictions = []
    for place, test in enumerate(bench.tests):
        at = slice(place * len(PREDICTED), (place + 1) * len(PREDICTED))
        (speed, current, margin, spare), changes = values[at].tolist(), slopes[:, at].T
        predictions.append(
            Prediction(
                test=test,
                time=_time(bench.heights[at.start], speed, changes[0], fit, level),
                current=_current(current, changes[1], fit, level),
                margin=math.exp(margin),
                stall_chance=_stall_chance(margin, sum(fit.parts(changes[2])), fit.dof),
                holds=bench.machine.pawl or spare >= 0,
            )
        )
    return tuple(predictions)


def _half_width(change: np.ndarray, own: float, fit: Fit, level: float) -> tuple[float, float]:
    """Half width of an interval, and the share of its square that the tests do not determine."""
    data, prior = fit.parts(change)
    first = interval_width(level, fit.dof) ** 2 * (data + (fit.scatter * own) ** 2)
    second = interval_width(level, 0) ** 2 * prior
    return math.sqrt(first + second), second / max(first + second, 1e-300)


def _time(height: float, speed: float, change: np.ndarray, fit: Fit, level: float) -> Interval:
    """Interval of a lift time, found as one of the mean speed: near a stall the time has no upper
    end."""
    if speed <= 0:
        return Interval(math.inf, math.inf, math.inf, 0.0)
    own = expected_scatter(Kind.TIME, height / speed) * speed
    half, open_share = _half_width(change, own, fit, level)
    slowest = height / (speed - half) if speed > half else math.inf
    return Interval(height / speed, height / (speed + half), slowest, open_share)


def _current(value: float, change: np.ndarray, fit: Fit, level: float) -> Interval:
    half, open_share = _half_width(change, SCATTERS[Kind.CURRENT][1] * value, fit, level)
    return Interval(value, max(value - half, 0.0), value + half, open_share)


def _stall_chance(log_margin: float, variance: float, dof: float) -> float:
    """Probability that the torque falls short."""
    if variance <= 0:
        return float(log_margin <= 0)
    return float(stdtr(dof if dof >= 1 else np.inf, -log_margin / math.sqrt(variance)))
