"""Calibration of a scenario by tests: one fit over all factors, each held by its prior."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, walk, with_value
from winchsim.model import build
from winchsim.studies.calibrate.breakage import Capacity, capacities
from winchsim.studies.calibrate.evidence import Evidence, Kind, LiftTest, Note, Reading, gather
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
from winchsim.studies.calibrate.forecast import Bench, forecast_with_slopes
from winchsim.studies.calibrate.prediction import Prediction, predict

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
    comparisons : tuple of Comparison
    dof : float
        Measurements, less the factors that they determine. [-]
    scatter : float
        Of the measurements, over what was expected; 1 where they do not tell. [-]
    predictions : tuple of Prediction
        Of the tests that are still to come.
    capacities : tuple of Capacity
        Of parts that broke, and of those that carried more than was estimated.
    notes : tuple of Note
        What could not be used, or has to be asked.
    """

    inputs: Inputs
    changes: tuple[tuple[str, Any, Any], ...]
    level: float
    parameters: tuple[Parameter, ...]
    together: tuple[tuple[str, ...], ...]
    correlation: Array
    comparisons: tuple[Comparison, ...]
    dof: float
    scatter: float
    predictions: tuple[Prediction, ...]
    capacities: tuple[Capacity, ...]
    notes: tuple[Note, ...]

    @property
    def residuals(self) -> tuple[Comparison, ...]:
        """Measurements beside the model."""
        return tuple(row for row in self.comparisons if row.kind.is_measured)

    @property
    def sides(self) -> tuple[Comparison, ...]:
        """Stalls and holds beside the model."""
        return tuple(row for row in self.comparisons if not row.kind.is_measured)

    @property
    def broken(self) -> tuple[Capacity, ...]:
        """Parts that broke."""
        return tuple(row for row in self.capacities if row.broke)

    @property
    def bounds(self) -> tuple[Capacity, ...]:
        """Capacities that tests without a breakage showed to be higher than estimated."""
        return tuple(row for row in self.capacities if not row.broke)


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
    evidence, factors = gather(tests, pawl=build(inputs).pawl), find_factors(inputs)
    names = [factor.name for factor in factors]
    for name in only:
        if name not in names:
            raise DomainError("fit", name, "one or more of: " + ", ".join(names))
    factors = tuple(factor for factor in factors if not only or factor.name in only)
    case = Case(Bench(inputs, evidence.tests, factors), evidence)
    found, kept = without_outliers(case.problem, np.zeros(len(factors)))
    open_ = np.sqrt(np.diag(found.covariance)) > DETERMINED
    moving = ~(open_ & (np.abs(found.values) < BARELY))
    problem = replace(case.problem, low=moving * case.problem.low, high=moving * case.problem.high)
    found = fit(problem, moving * found.values, kept, found.scatter)
    predictions = predict(Bench(inputs, evidence.next_rungs, factors), found, level)
    calibrated = moved(inputs, case.bench.machine, factors, found.values)
    parts, asked = capacities(calibrated, evidence)
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
        comparisons=comparisons,
        dof=found.dof,
        scatter=found.scatter,
        predictions=tuple(_as_seen(row, comparisons, parts) for row in predictions),
        capacities=parts,
        notes=(*evidence.notes, *asked),
    )


class Case:
    """Tests beside their forecasts: the residuals at any place of the factors, and the best place.

    Parameters
    ----------
    bench : Bench
        With the tests of the evidence.
    evidence : Evidence
    """

    def __init__(self, bench: Bench, evidence: Evidence) -> None:
        self.bench, self.readings = bench, evidence.readings
        low, high = (np.array([getattr(f, end) for f in bench.factors]) for end in ("low", "high"))
        data = np.array([row.kind.is_measured for row in self.readings])
        self.problem = Problem(self.both, low, high, data)
        self._known: dict[bytes, tuple[Array, Array]] = {}
        goals = [self._turned(row, row.value) for row in self.readings]
        shares = [row.scatter / row.value if row.value else row.scatter for row in self.readings]
        self.goals = np.array(goals)
        self.scatters = np.array(shares) * np.where(data, self.goals, 1.0)
        upward = [row.kind in (Kind.LIFTED, Kind.HELD) for row in self.readings]
        self.signs = np.where(upward, -1.0, 1.0)

    def _turned(self, row: Reading, value: float) -> float:
        """A time as a mean speed, a mean speed as a time; other values stay."""
        if row.kind is not Kind.TIME:
            return value
        return float(self.bench.heights[row.test] / value) if value > 0 else np.inf

    def both(self, place: Array) -> tuple[Array, Array]:
        """Residuals of the readings and their change with the factors, (n,) and (n, p); of evidence
        from one side a negative one agrees."""
        if place.tobytes() not in self._known:
            found, slopes = forecast_with_slopes(self.bench, place)
            rows = [(row.kind.quantity, row.test) for row in self.readings]
            values = np.array([found[kind][test] for kind, test in rows])
            changes = np.array([slopes[kind][:, test] for kind, test in rows])
            weights = self.signs / self.scatters
            left, turns = weights * (values - self.goals), weights[:, None] * changes
            # no voltage where it stalls
            known = (np.where(np.isfinite(left), left, 0), np.where(np.isfinite(turns), turns, 0))
            self._known[place.tobytes()] = known
        return self._known[place.tobytes()]

    def comparisons(self, fit: Fit, kept: Mask) -> tuple[Comparison, ...]:
        """Every reading beside the model, fitted and as it was."""
        found = self.bench.forecast(np.array([fit.values, np.zeros(len(fit.values))]))
        rows = []
        for i, row in enumerate(self.readings):
            values = found[row.kind.quantity][:, row.test]
            if row.kind in (Kind.LIFTED, Kind.STALLED):
                values = np.exp(values)
            now, before = (self._turned(row, float(value)) for value in values)
            agrees = bool(kept[i])
            if not row.kind.is_measured:
                up = now > 1 if row.kind in (Kind.LIFTED, Kind.STALLED) else now >= 0
                agrees = up is (row.kind in (Kind.LIFTED, Kind.HELD))
            test, size = self.bench.tests[row.test], float(fit.residuals[i])
            rows.append(Comparison(test, row.kind, row.value, now, before, size, agrees))
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
