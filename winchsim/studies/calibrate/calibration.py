"""Calibration of a scenario by tests: one fit over all factors, each held by its prior."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, walk, with_value
from winchsim.model import build
from winchsim.studies.calibrate.breakage import Capacity, capacities
from winchsim.studies.calibrate.evidence import (
    SCATTERS,
    Kind,
    LiftTest,
    Note,
    Reading,
    gather,
)
from winchsim.studies.calibrate.factors import Factor, find_factors, moved
from winchsim.studies.calibrate.fit import (
    DETERMINED,
    Fit,
    Mask,
    Problem,
    fit,
    interval_width,
    without_outliers,
)
from winchsim.studies.calibrate.forecast import Bench, Forecast, forecast_with_slopes

Array = NDArray[np.float64]

ALONE = 0.8
"""A factor is determined on its own where this share of it lies in directions that the tests
determine; two that stand in for each other have half each. [-] Own choice."""

PARTNER = 0.2
"""Less than this share of a determined direction is no part in it. [-] Own choice."""

BARELY = 0.5
"""A factor that is not determined and moves by less keeps its default: writing it down would only
make a given value of an assumed one. [standard deviations of the prior]"""


@dataclass(frozen=True)
class Value:
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
    values : tuple of Value
    """

    factor: Factor
    place: float
    width: float
    alone: float
    values: tuple[Value, ...]

    @property
    def determined(self) -> bool:
        """Whether the tests tell it apart from its prior and from the other factors."""
        return self.width <= DETERMINED and self.alone >= ALONE


@dataclass(frozen=True)
class Comparison:
    """One reading beside the calibrated model.

    Attributes
    ----------
    test : LiftTest
    kind : Kind
    measured : float
        [SI]; 0 for what was seen from one side.
    predicted, before : float
        By the calibrated model, and by the scenario as it was; infinite for the time of a lift that
        stalls [SI]. Of lifting and stalling: torque over torque needed. Of holding: friction to
        spare over the torque that raises the load; negative where it is too little. [-]
    size : float
        Difference over expected scatter. [-]
    agrees : bool
        Whether it belongs to the others; of what was seen from one side, whether the calibrated
        model shows the same.
    """

    test: LiftTest
    kind: Kind
    measured: float
    predicted: float
    before: float
    size: float
    agrees: bool

    @property
    def is_outlier(self) -> bool:
        """Whether it is a measurement that was left out of the fit."""
        return self.kind.is_measured and not self.agrees


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


@dataclass(frozen=True)
class Calibration:
    """Result of a calibration.

    Attributes
    ----------
    inputs : Inputs
        Scenario with what was fitted, and with the lower bounds of parts that broke.
    changes : tuple of (str, object, object)
        Path, old and new value of all that differs from the scenario.
    level : float
        Probability of all intervals. [-]
    parameters : tuple of Parameter
        All factors, the best determined first.
    together : tuple of tuple of str
        Names of factors that the tests determine only in combination.
    correlation : ndarray
        Of the factors, in the order of `parameters`.
    residuals, sides : tuple of Comparison
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
    changes: tuple[tuple[str, Any, Any], ...]
    level: float
    parameters: tuple[Parameter, ...]
    together: tuple[tuple[str, ...], ...]
    correlation: Array
    residuals: tuple[Comparison, ...]
    sides: tuple[Comparison, ...]
    dof: float
    scatter: float
    predictions: tuple[Prediction, ...]
    broken: tuple[Capacity, ...]
    bounds: tuple[Capacity, ...]
    notes: tuple[Note, ...]


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
    if not 0.5 <= level <= 0.999:
        raise DomainError("level", level, "a probability from 0.5 to 0.999")
    readings, notes = gather(tests, pawl=build(inputs).pawl)
    factors = find_factors(inputs)
    names = [factor.name for factor in factors]
    for name in only:
        if name not in names:
            raise DomainError("fit", name, "one or more of: " + ", ".join(names))
    factors = tuple(factor for factor in factors if not only or factor.name in only)
    case = Case(Bench(inputs, tuple(dict.fromkeys(r.test for r in readings)), factors), readings)
    found, kept = without_outliers(case.problem, np.zeros(len(factors)))
    open_ = np.sqrt(np.diag(found.covariance)) > DETERMINED
    moving = ~(open_ & (np.abs(found.values) < BARELY))
    problem = replace(case.problem, low=moving * case.problem.low, high=moving * case.problem.high)
    found = fit(problem, moving * found.values, kept, found.scatter)
    next_rungs = tuple(test for test in tests if not test.done)
    predictions = predict(Bench(inputs, next_rungs, factors), found, level)
    calibrated = moved(inputs, case.bench.machine, factors, found.values)
    parts, asked = capacities(calibrated, tests)
    bounds = [part for part in parts if part.set_path]  # the last one on a path stays
    for part in sorted(bounds, key=lambda part: (part.broke, part.set_value)):
        calibrated = with_value(calibrated, part.set_path, part.set_value)
    parameters, together, correlation = _parameters(factors, found, level)
    comparisons = case.comparisons(found, kept)
    return Calibration(
        inputs=calibrated,
        changes=changes(inputs, calibrated),
        level=level,
        parameters=parameters,
        together=together,
        correlation=correlation,
        residuals=tuple(row for row in comparisons if row.kind.is_measured),
        sides=tuple(row for row in comparisons if not row.kind.is_measured),
        dof=found.dof,
        scatter=found.scatter,
        predictions=tuple(_as_seen(row, comparisons, parts) for row in predictions),
        broken=tuple(part for part in parts if part.broke),
        bounds=tuple(part for part in parts if not part.broke),
        notes=(*notes, *asked),
    )


class Case:
    """Tests beside their forecasts: the residuals at any place of the factors, and the best place.

    Parameters
    ----------
    bench : Bench
        With the tests of the evidence.
    readings : sequence of Reading
        Of these tests.
    """

    def __init__(self, bench: Bench, readings: Sequence[Reading]) -> None:
        self.bench, self.readings = bench, readings
        self.places = [bench.tests.index(row.test) for row in readings]
        low, high = (np.array([getattr(f, end) for f in bench.factors]) for end in ("low", "high"))
        data = np.array([row.kind.is_measured for row in readings])
        self.problem = Problem(self.both, low, high, data)
        self._known: dict[bytes, tuple[Array, Array]] = {}
        self.goals = np.array([self._turned(i, row.value) for i, row in enumerate(readings)])
        shares = [row.scatter / row.value if row.value else row.scatter for row in readings]
        upward = [row.kind in (Kind.LIFTED, Kind.HELD) for row in readings]
        scatters = np.array(shares) * np.where(data, self.goals, 1.0)
        self.weights = np.where(upward, -1.0, 1.0) / scatters

    def _turned(self, place: int, value: float) -> float:
        """A time as a mean speed, a mean speed as a time; other values stay."""
        if self.readings[place].kind is not Kind.TIME:
            return value
        return float(self.bench.heights[self.places[place]] / value) if value > 0 else np.inf

    def both(self, place: Array) -> tuple[Array, Array]:
        """Residuals of the readings and their change with the factors, (n,) and (n, p); of evidence
        from one side a negative one agrees."""
        if place.tobytes() not in self._known:
            found, slopes = forecast_with_slopes(self.bench, place)
            kinds = [row.kind.quantity for row in self.readings]
            rows = list(zip(kinds, self.places, strict=True))
            values = np.array([found[kind][test] for kind, test in rows])
            changes = np.array([slopes[kind][:, test] for kind, test in rows])
            left = self.weights * (values - self.goals)
            turns = self.weights[:, None] * changes
            # no voltage where it stalls
            known = (np.where(np.isfinite(left), left, 0), np.where(np.isfinite(turns), turns, 0))
            self._known[place.tobytes()] = known
        return self._known[place.tobytes()]

    def comparisons(self, fit: Fit, kept: Mask) -> tuple[Comparison, ...]:
        """Every reading beside the model, fitted and as it was."""
        found = self.bench.forecast(np.array([fit.values, np.zeros(len(fit.values))]))
        rows = []
        for i, (row, place) in enumerate(zip(self.readings, self.places, strict=True)):
            values, ratio = found[row.kind.quantity][:, place], row.kind.quantity is Kind.LIFTED
            values = np.exp(values) if ratio else values
            now, before = (self._turned(i, float(value)) for value in values)
            up = now > 1 if ratio else now >= 0
            as_seen = up is (row.kind in (Kind.LIFTED, Kind.HELD))
            agrees, size = bool(kept[i]) if row.kind.is_measured else as_seen, fit.residuals[i]
            rows.append(Comparison(row.test, row.kind, row.value, now, before, float(size), agrees))
        return tuple(rows)


def changes(before: Inputs, after: Inputs) -> tuple[tuple[str, Any, Any], ...]:
    """Values that differ between two scenarios with the same tables: path, old and new."""
    old = {path: value for path, value, _ in walk(before)}
    return tuple(
        (path, old.get(path), value) for path, value, _ in walk(after) if old.get(path) != value
    )


def _parameters(
    factors: Sequence[Factor], found: Fit, level: float
) -> tuple[tuple[Parameter, ...], tuple[tuple[str, ...], ...], Array]:
    """Factors, the best determined first; those that are determined only together; and their
    correlation."""
    widths, shares = np.sqrt(np.diag(found.covariance)), found.determined
    order = np.argsort(widths, kind="stable")
    width, rows = interval_width(level, found.dof), []
    for i in order:
        factor, z, half = factors[i], float(found.values[i]), width * widths[i]
        ends = (max(z - half, factor.low), min(z + half, factor.high))
        values = tuple(
            Value(row.path, row.value, row.at(z), *sorted(row.at(end) for end in ends))
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
    row: Prediction, comparisons: Sequence[Comparison], parts: Sequence[Capacity]
) -> Prediction:
    """A forecast that no test contradicts.

    No load holds that is as heavy as one that ran back, and none that is heavier than what a part
    survived before it broke is to be tried before that part is mended.
    """
    mass, blocked = row.test.mass, [part for part in parts if part.broke]
    ran_back = [seen.test.mass for seen in comparisons if seen.kind is Kind.RAN_BACK]
    return replace(
        row,
        holds=row.holds and all(mass < other for other in ran_back),
        blocked_by=tuple(b.test.number for b in blocked if mass > (b.survived_mass or 0.0)),
    )


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
    value, (_, share) = numbers[Kind.CURRENT], SCATTERS[Kind.CURRENT]
    half, open_share = _half_width(changes[Kind.CURRENT], share * value, fit, level)
    return Interval(value, max(value - half, 0.0), value + half, open_share)


def _stall_chance(log_margin: float, variance: float, dof: float) -> float:
    """Probability that the torque falls short."""
    if variance <= 0:
        return float(log_margin <= 0)
    return float(stdtr(dof if dof >= 1 else np.inf, -log_margin / math.sqrt(variance)))
