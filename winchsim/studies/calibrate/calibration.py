"""Calibration of a scenario by tests: one fit over all factors, each held by its prior."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import DomainError
from winchsim.inputs import Inputs, walk
from winchsim.model import build
from winchsim.studies.calibrate.breakage import Bound, Broken, look_into_all
from winchsim.studies.calibrate.evidence import (
    HOLD_SCATTER,
    STALL_SCATTER,
    Evidence,
    Kind,
    LiftTest,
    Note,
    Side,
    gather,
)
from winchsim.studies.calibrate.factors import Factor, find_factors
from winchsim.studies.calibrate.fit import Fit, fit, outlier
from winchsim.studies.calibrate.forecast import Bench, Forecast, forecast_with_slopes
from winchsim.studies.calibrate.prediction import Prediction, predict

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Progress = Callable[[int, int], None]

DETERMINED = 0.7
"""A factor is determined where the tests narrow it to this share of its prior's width. [-] Own
choice."""

FELT = 0.3
"""A factor stays as it is where a standard deviation of it moves the tests by less. [scatters]"""

UNMOVED = 1e-6
"""A factor of which a standard deviation moves every test by less keeps its prior. [expected
scatters]"""

MOST_FULL = 12
"""Most tests that are run in full; of more, those are that differ most in their load. [-]"""

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
    values : tuple of Value
    """

    factor: Factor
    place: float
    width: float
    values: tuple[Value, ...]

    @property
    def determined(self) -> bool:
        """Whether the tests tell it apart from its prior."""
        return self.width <= DETERMINED


@dataclass(frozen=True)
class Residual:
    """One measurement beside the calibrated model.

    Attributes
    ----------
    test : LiftTest
    kind : Kind
    measured, predicted, before : float
        Measured, by the calibrated model, and by the scenario as it was; infinite for the time of a
        lift that stalls. [SI]
    scatter : float
        Expected of the measurement. [SI]
    size : float
        Difference over expected scatter. [-]
    is_outlier : bool
        Left out of the fit.
    """

    test: LiftTest
    kind: Kind
    measured: float
    predicted: float
    before: float
    scatter: float
    size: float
    is_outlier: bool


@dataclass(frozen=True)
class SideCheck:
    """Something known from one side, beside the calibrated model.

    Attributes
    ----------
    test : LiftTest
    side : Side
    agrees : bool
        Whether the calibrated model shows the same.
    share : float
        Of lifting: torque at hand over torque needed. Of holding: friction to spare over the torque
        that raises the load; negative where it is too little. [-]
    """

    test: LiftTest
    side: Side
    agrees: bool
    share: float


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
    correlation : ndarray
        Of the factors, in that order.
    residuals : tuple of Residual
    sides : tuple of SideCheck
    dof : float
        Measurements, less the factors that they determine. [-]
    scatter : float
        Of the measurements, over what was expected; 1 where they do not tell. [-]
    quasi_static_off : float or None
        Largest difference of the quasi-static model to the full simulation in a lift time, taken
        into account. [-]
    predictions : tuple of Prediction
        Of the tests that are still to come.
    broken : tuple of Broken
    bounds : tuple of Bound
        Capacities that tests without a breakage showed to be higher than estimated.
    notes : tuple of Note
        What could not be used, or has to be asked.
    complete : bool
        Whether all full runs were made.
    """

    inputs: Inputs
    changes: tuple[tuple[str, Any, Any], ...]
    level: float
    parameters: tuple[Parameter, ...]
    correlation: Array
    residuals: tuple[Residual, ...]
    sides: tuple[SideCheck, ...]
    dof: float
    scatter: float
    quasi_static_off: float | None
    predictions: tuple[Prediction, ...]
    broken: tuple[Broken, ...]
    bounds: tuple[Bound, ...]
    notes: tuple[Note, ...]
    complete: bool

    @property
    def against(self) -> tuple[SideCheck, ...]:
        """Stalls and holds that the calibrated model does not show."""
        return tuple(row for row in self.sides if not row.agrees)

    @property
    def outliers(self) -> tuple[Residual, ...]:
        """Measurements that do not belong to the others."""
        return tuple(row for row in self.residuals if row.is_outlier)


def calibrate(
    inputs: Inputs,
    tests: Sequence[LiftTest],
    *,
    only: Sequence[str] = (),
    level: float = 0.9,
    on_progress: Progress | None = None,
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
    on_progress : callable, optional
        Called with the full runs that are done and their number.

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
    for name in only:
        if name not in {factor.name for factor in factors}:
            raise DomainError(
                "fit", name, "one or more of: " + ", ".join(factor.name for factor in factors)
            )
    factors = tuple(factor for factor in factors if not only or factor.name in only)
    case = Case(Bench(inputs, evidence.tests, factors), evidence)
    found, kept = case.settle()
    complete = case.run_in_full(found.values, on_progress)
    found = case.fit(found.values, kept, found.scatter)
    case.held = (np.sqrt(np.diag(found.covariance)) > DETERMINED) & (np.abs(found.values) < BARELY)
    found = case.fit(np.where(case.held, 0.0, found.values), kept, found.scatter)
    return _result(inputs, case, found, kept, level, complete)


class Case:
    """Tests beside their forecasts: the residuals at any place of the factors, and the best place.

    Parameters
    ----------
    bench : Bench
        With the tests of the evidence.
    evidence : Evidence
    """

    def __init__(self, bench: Bench, evidence: Evidence) -> None:
        self.bench, self.evidence = bench, evidence
        measured = evidence.measurements
        self.data = np.array([True] * len(measured) + [False] * len(evidence.sides))
        self.ratios = np.ones(len(measured))
        self.full: dict[int, dict[Kind, float]] = {}
        self.held = np.zeros(len(bench.factors), dtype=bool)
        lows, highs = ([getattr(f, end) for f in bench.factors] for end in ("low", "high"))
        self.bounds = np.array(lows), np.array(highs)
        self.moving = np.ones(len(bench.factors), dtype=bool)
        self._seen: dict[bytes, tuple[Forecast, Array]] = {}
        start = np.zeros(len(bench.factors))
        self.moving = np.abs(self.both(start)[1]).max(axis=0, initial=0.0) > UNMOVED
        self._seen.clear()

    def both(self, place: Array) -> tuple[Array, Array]:
        """Residuals, measurements first, then evidence from one side, and their change. (n,), (n,
        p)"""
        if place.tobytes() not in self._seen:
            self._seen[place.tobytes()] = forecast_with_slopes(self.bench, place, self.moving)
        said, steps = self._seen[place.tobytes()]
        rows, slopes = self.compare(said), np.zeros((len(self.data), len(place)))
        slopes[:, self.moving] = ((rows[1:] - rows[0]) / steps[:, None]).T
        return rows[0], slopes

    def compare(self, said: Forecast) -> Array:
        """Residuals of forecasts; of evidence from one side a negative one agrees. shape (k, n)"""
        rows = []
        for m, ratio in zip(self.evidence.measurements, self.ratios, strict=True):
            value = said.of(m.kind)[:, m.test] * ratio
            if m.kind is Kind.TIME:
                rows.append(
                    (m.value * value / self.bench.heights[m.test] - 1) / (m.scatter / m.value)
                )
            else:
                rows.append(np.where(np.isfinite(value), (m.value - value) / m.scatter, 0.0))
        for row in self.evidence.sides:
            margin, hold = np.log(said.margin[:, row.test]), said.hold[:, row.test]
            rows.append(
                {
                    Side.LIFTED: -margin / STALL_SCATTER,
                    Side.STALLED: margin / STALL_SCATTER,
                    Side.HELD: -hold / HOLD_SCATTER,
                    Side.RAN_BACK: hold / HOLD_SCATTER,
                }[row.side]
            )
        return np.array(rows).T

    def settle(self) -> tuple[Fit, Mask]:
        """Fit with the outliers found one by one and left out, and what was kept."""
        kept = np.ones(self.data.shape, dtype=bool)
        found = np.zeros(len(self.bench.factors))
        for _ in range(max(int(self.data.sum()) // 2, 1)):
            robust = self.fit(found, kept, robust=True)
            found = robust.values
            worst = outlier(robust.residuals, robust.slopes, found, kept, self.data)
            if worst is None:
                break
            kept[worst] = False
        return self.fit(found, kept), kept

    def fit(self, place: Array, kept: Mask, scatter: float = 1.0, *, robust: bool = False) -> Fit:
        """Fit of all factors that the kept residuals feel and that are not held."""
        felt = np.linalg.norm(self.both(place)[1] * kept[:, None], axis=0) > FELT * scatter
        return fit(
            self.both, place, self.bounds, kept, self.data,
            scatter=scatter, free=felt & ~self.held, robust=robust,
        )  # fmt: skip

    # --- full runs

    def run_in_full(self, place: Array, on_progress: Progress | None) -> bool:
        """Run the tests in full and keep what differs; False where the user cut it short."""
        tests = self.evidence.tests
        wanted = list(
            {tests[m.test].conditions: m.test for m in self.evidence.measurements}.values()
        )
        wanted.sort(key=lambda test: tests[test].mass)
        if len(wanted) > MOST_FULL:
            wanted = [
                wanted[i]
                for i in np.unique(np.linspace(0, len(wanted) - 1, MOST_FULL).round().astype(int))
            ]
        complete = True
        try:
            for done, test in enumerate(wanted):
                if on_progress:
                    on_progress(done, len(wanted))
                self.full[test] = self.bench.in_full(place, test)
        except KeyboardInterrupt:
            complete = False
        if self.full:
            self._correct(place)
        return complete

    def _correct(self, place: Array) -> None:
        said, tests = self.bench.foretell(place[None]), self.evidence.tests
        for i, m in enumerate(self.evidence.measurements):
            near = min(self.full, key=lambda test: _distance(tests[test], tests[m.test]))
            value, slow = self.full[near].get(m.kind), float(said.of(m.kind)[0, near])
            if value is not None and slow > 0:
                self.ratios[i] = value / slow


def _distance(test: LiftTest, other: LiftTest) -> tuple[bool, float]:
    return test.conditions[1:] != other.conditions[1:], abs(test.mass - other.mass)


# --- the result


def _result(
    inputs: Inputs, case: Case, found: Fit, kept: Mask, level: float, complete: bool
) -> Calibration:
    calibrated = case.bench.moved(inputs, found.values)
    parameters, order = _parameters(case, found, level)
    sides = _sides(case, found)
    bench = Bench(inputs, case.evidence.next_rungs, case.bench.factors)
    predictions, through = predict(bench, found, level, in_full=complete)
    broken, bounds, asked = look_into_all(calibrated, case.evidence)
    taken = {row.set_path for row in broken}
    raised = sorted(
        (row for row in bounds if row.set_path not in taken), key=lambda row: row.set_value or 0.0
    )
    for row in broken:
        calibrated = row.put_into(calibrated)
    for bound in raised:
        calibrated = bound.put_into(calibrated)
    times = [
        r
        for m, r in zip(case.evidence.measurements, case.ratios, strict=True)
        if m.kind is Kind.TIME
    ]
    errors = np.sqrt(np.diag(found.covariance))
    correlation = (found.covariance / np.outer(errors, errors))[np.ix_(order, order)]
    return Calibration(
        inputs=calibrated,
        changes=changes(inputs, calibrated),
        level=level,
        parameters=parameters,
        correlation=correlation,
        residuals=_residuals(case, found, kept),
        sides=sides,
        dof=found.dof,
        scatter=found.scatter,
        quasi_static_off=max((abs(ratio - 1) for ratio in times), default=0.0)
        if case.full
        else None,
        predictions=tuple(_as_seen(row, sides, broken) for row in predictions),
        broken=broken,
        bounds=bounds,
        notes=(*case.evidence.notes, *asked),
        complete=complete and through,
    )


def changes(before: Inputs, after: Inputs) -> tuple[tuple[str, Any, Any], ...]:
    """Values that differ between two scenarios with the same tables: path, old and new."""
    old = {path: value for path, value, _ in walk(before)}
    return tuple(
        (path, old.get(path), value) for path, value, _ in walk(after) if old.get(path) != value
    )


def _parameters(case: Case, found: Fit, level: float) -> tuple[tuple[Parameter, ...], list[int]]:
    widths = np.sqrt(np.diag(found.covariance))
    order = sorted(range(len(widths)), key=lambda i: widths[i])
    rows = []
    for i in order:
        factor, z = case.bench.factors[i], float(found.values[i])
        half = found.quantile(level) * float(widths[i])
        ends = (max(z - half, factor.low), min(z + half, factor.high))
        values = tuple(
            Value(row.path, row.value, row.at(z), *sorted(row.at(end) for end in ends))
            for row in factor.rows
        )
        rows.append(Parameter(factor, z, float(widths[i]), values))
    return tuple(rows), order


def _residuals(case: Case, found: Fit, kept: Mask) -> tuple[Residual, ...]:
    said = case.bench.foretell(np.array([found.values, np.zeros(len(found.values))]))
    rows = []
    for i, m in enumerate(case.evidence.measurements):
        values = said.of(m.kind)[:, m.test] * case.ratios[i]
        if m.kind is Kind.TIME:
            values = [float(case.bench.heights[m.test]) / v if v > 0 else np.inf for v in values]
        size = float(found.residuals[i])
        now, before = (float(value) for value in values)
        rows.append(
            Residual(
                case.evidence.tests[m.test],
                m.kind,
                m.value,
                now,
                before,
                m.scatter,
                size,
                not kept[i],
            )
        )
    return tuple(rows)


def _sides(case: Case, found: Fit) -> tuple[SideCheck, ...]:
    said, rows = case.bench.foretell(found.values[None]), []
    for row in case.evidence.sides:
        lifting = row.side in (Side.LIFTED, Side.STALLED)
        share = float((said.margin if lifting else said.hold)[0, row.test])
        shown = share > 1 if lifting else share >= 0
        agrees = shown is (row.side in (Side.LIFTED, Side.HELD))
        rows.append(SideCheck(case.evidence.tests[row.test], row.side, agrees, share))
    return tuple(rows)


def _as_seen(row: Prediction, sides: Sequence[SideCheck], broken: Sequence[Broken]) -> Prediction:
    """A forecast that no test contradicts.

    No load holds that is as heavy as one that ran back, and none that is heavier than what a part
    survived before it broke is to be tried before that part is mended.
    """
    held = all(row.test.mass < side.test.mass for side in sides if side.side is Side.RAN_BACK)
    blocked = tuple(b.test.number for b in broken if row.test.mass > (b.survived_mass or 0.0))
    return replace(row, holds=row.holds and held, blocked_by=blocked)
