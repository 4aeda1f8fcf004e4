"""Timed lifts turned into the numbers of the model, as far as they tell them."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import DomainError, Fault, InputError
from winchsim.inputs import Inputs
from winchsim.studies.calibrate.evidence import HOLD_SCATTER, STALL_SCATTER, Evidence, Kind, LiftTest, Side, gather
from winchsim.studies.calibrate.fit import Fit, choose, fit, outlier, slopes_by_steps, telling
from winchsim.studies.calibrate.forecast import Bench, Forecast
from winchsim.studies.calibrate.knobs import LABELS, ORDER, Knob, knobs, turned
from winchsim.studies.calibrate.postmortem import Broken, look_into
from winchsim.studies.calibrate.prediction import Prediction, predict
from winchsim.verdict.words import listed

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

TELLS = 2.0
"""A value is fitted where the tests tell it at least so many times better than it was known before. [-] Own choice."""

FORCED = 1 / 3
"""One that the user asks for is refused where they tell it so much worse. [-] Own choice."""

SHARES_BLAME = 0.3
"""Part of a value in a direction that the tests do not feel, from which on it is named. [-] Own choice."""

NEAR, CLOSE = 1e-5, 1e-10
"""Relative change at which a search ends: on the way, and in the end. [-]"""

MOST_FULL = 24
"""Most tests that are run in full; of more, those are that differ most in their load. [-]"""


@dataclass(frozen=True)
class Parameter:
    """One number of the model and what the tests say of it.

    Attributes
    ----------
    knob : Knob
    factor : float
        On what the scenario said; 1 where it was not fitted. [-]
    error : float or None
        Standard error of the factor; None where it was not fitted, or where it lies on its bound. [-]
    low, high : float or None
        Interval of the factor. [-]
    fitted : bool
    on_bound : bool
    """

    knob: Knob
    factor: float
    error: float | None
    low: float | None
    high: float | None
    fitted: bool
    on_bound: bool = False


@dataclass(frozen=True)
class Residual:
    """One measurement beside the calibrated model.

    Attributes
    ----------
    test : LiftTest
    kind : Kind
    measured, predicted, before : float
        Measured, by the calibrated model, and by the scenario as it was; infinite for the time of a lift that stalls. [SI]
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
        Whether the calibrated model says the same.
    share : float
        Torque that it has over that it needs, to lift or to hold. [-]
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
        Scenario with the fitted numbers.
    level : float
        Of all intervals. [-]
    parameters : tuple of Parameter
        Fitted and not.
    correlation : ndarray
        Of the fitted ones, in their order.
    sentences : tuple of str
        What the tests cannot tell, and what was not used.
    residuals : tuple of Residual
    sides : tuple of SideCheck
    dof : int
        Measurements more than fitted values. [-]
    scatter : float
        How large the residuals are over what was expected of them; 1, as expected, without `dof`. [-]
    slow_model_off : float or None
        Largest difference of the slow model to the full simulation in a lift time, taken into account. [-]
    predictions : tuple of Prediction
        Of the tests that are still to come.
    broken : tuple of Broken
        What a breakage says of strength.
    complete : bool
        Whether it went through; False where the user cut the full runs short.
    """

    inputs: Inputs
    level: float
    parameters: tuple[Parameter, ...]
    correlation: Array
    sentences: tuple[str, ...]
    residuals: tuple[Residual, ...]
    sides: tuple[SideCheck, ...]
    dof: int
    scatter: float
    slow_model_off: float | None
    predictions: tuple[Prediction, ...]
    broken: tuple[Broken, ...]
    complete: bool

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
        Those without any result are taken as the next rungs, and foretold.
    only : sequence of str
        Names of the knobs to fit; left out: those that the tests can tell.
    level : float
        Probability of the intervals, between 0.5 and 0.999. [-]
    on_progress : callable, optional
        Told how many of how many full runs are done.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        Nothing can be fitted, or not what was asked for; or a test does not belong to this scenario.
    DomainError
        No knob has that name.
    """
    if not 0.5 <= level <= 0.999:
        raise DomainError("level", level, "a probability from 0.5 to 0.999")
    evidence = gather(tests)
    available, missing = knobs(inputs)
    _refuse_unknown(only, available, missing)
    case = _Case(inputs, evidence, available)
    chosen = tuple(only) or case.telling_knobs(_nominal(available))
    case.require(chosen, _nominal(available), asked=bool(only))
    found = case.settle(chosen)
    if not only:
        again = case.telling_knobs(found.factors)
        if again and again != chosen:
            found = case.settle(again)
    complete = case.run_in_full(found.factors, on_progress)
    return _result(case, case.polish(found), level, missing, complete)


def _nominal(available: tuple[Knob, ...]) -> dict[str, float]:
    return {knob.name: 1.0 for knob in available}


def _refuse_unknown(names: Sequence[str], available: tuple[Knob, ...], missing: Mapping[str, str]) -> None:
    known = {knob.name for knob in available}
    for name in names:
        if name in missing:
            raise InputError((Fault(f"{LABELS[name]} cannot be fitted: {missing[name]}", "fit", code="W-S33"),))
        if name not in known:
            raise DomainError("fit", name, "one or more of: " + ", ".join(ORDER))


# --- fitting ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Found:
    """A fit of some knobs, with the measurements that were kept."""

    names: tuple[str, ...]
    fit: Fit
    kept: NDArray[np.bool_]

    @property
    def factors(self) -> dict[str, float]:
        return dict(zip(self.names, self.fit.values.tolist(), strict=True))


class _Case:
    """Tests and scenario, with the residuals of any setting of the knobs."""

    def __init__(self, inputs: Inputs, evidence: Evidence, available: tuple[Knob, ...]) -> None:
        self.inputs, self.evidence, self.knobs = inputs, evidence, available
        self.bench = Bench(inputs, evidence.tests, available)
        self.by_name = {knob.name: knob for knob in available}
        measured = evidence.measurements
        self.places = np.array([m.test for m in measured])
        self.counted = np.array([True] * len(measured) + [False] * len(evidence.sides))
        self.ratios = np.ones(len(measured))
        self.full: dict[int, dict[Kind, float]] = {}

    # --- residuals

    def residuals(self, names: tuple[str, ...], sets: Array) -> Array:
        """Residuals of several settings. [expected scatters], shape (k, n)"""
        return self.compare(self.bench.foretell([dict(zip(names, row.tolist(), strict=True)) for row in sets]))

    def compare(self, said: Forecast) -> Array:
        """Residuals of a forecast, measurements first, then what is known from one side."""
        rows = []
        for m, ratio in zip(self.evidence.measurements, self.ratios, strict=True):
            value = said.of(m.kind)[:, m.test] * ratio
            if m.kind is Kind.TIME:
                rows.append((m.value * value / self.bench.heights[m.test] - 1) / (m.scatter / m.value))
            else:
                rows.append(np.where(np.isfinite(value), (m.value - value) / m.scatter, 0.0))
        for row in self.evidence.sides:
            short = {
                Side.LIFTED: -np.log(said.margin[:, row.test]) / STALL_SCATTER,
                Side.STALLED: np.log(said.margin[:, row.test]) / STALL_SCATTER,
                Side.HELD: -said.hold[:, row.test] / HOLD_SCATTER,
                Side.RAN_BACK: said.hold[:, row.test] / HOLD_SCATTER,
            }[row.side]
            rows.append(np.maximum(short, 0.0))
        return np.array(rows).T

    def slopes(self, names: tuple[str, ...], values: Array) -> Array:
        """Change of the residuals with the knobs. shape (n, p)"""
        low, high, scales = self.bounds(names)
        return slopes_by_steps(lambda sets: self.residuals(names, sets), values, scales, low, high)

    def bounds(self, names: tuple[str, ...]) -> tuple[Array, Array, Array]:
        """Lower and upper bounds, and widths, of some knobs."""
        chosen = [self.by_name[name] for name in names]
        return np.array([k.low for k in chosen]), np.array([k.high for k in chosen]), np.array([k.width for k in chosen])

    # --- what to fit

    def telling_knobs(self, at: Mapping[str, float]) -> tuple[str, ...]:
        """Knobs that the tests tell all together, the least known first."""
        names = tuple(knob.name for knob in self.knobs)
        slopes = self.slopes(names, np.array([at.get(name, 1.0) for name in names]))[self.counted]
        return tuple(names[i] for i in choose(slopes, self.bounds(names)[2], TELLS))

    def require(self, names: tuple[str, ...], at: Mapping[str, float], *, asked: bool) -> None:
        """Refuse what is under-determined.

        Raises
        ------
        InputError
        """
        count = int(self.counted.sum())
        if not names:
            raise _under_determined(
                "the tests tell none of the model's numbers better than they are known without them",
                "lift heavier loads, and measure the current as well as the time",
            )
        if len(names) > count:
            values = "1 measurement" if count == 1 else f"{count} measurements"
            raise _under_determined(f"{values} cannot tell {len(names)} numbers", self._advice(names))
        if asked:
            slopes = self.slopes(names, np.array([at.get(name, 1.0) for name in names]))[self.counted]
            told = telling(slopes, self.bounds(names)[2])
            if told.least < FORCED:
                raise _under_determined(self._cannot(names, told.direction), self._advice(names))

    def _cannot(self, names: tuple[str, ...], direction: Array) -> str:
        blamed = [LABELS[name] for name, part in zip(names, direction, strict=True) if abs(part) >= SHARES_BLAME]
        if len(blamed) == 1:
            return f"the tests hardly feel the {blamed[0]}"
        return f"the tests cannot tell {listed(blamed)} apart"

    def _advice(self, names: tuple[str, ...]) -> str:
        masses = [self.evidence.tests[place].mass for place in self.places]
        if max(masses) < 1.3 * min(masses) and {"mesh_loss", "drag"} & set(names):
            return "time a clearly lighter or heavier load as well"
        kinds = {m.kind for m in self.evidence.measurements}
        if Kind.CURRENT not in kinds:
            return "measure the current as well as the time"
        return "measure the voltage at the motors too, or fit fewer numbers"

    def puzzles(self, names: tuple[str, ...], at: Mapping[str, float]) -> tuple[str, ...]:
        """Sentences on the knobs that were left as they are."""
        every = tuple(knob.name for knob in self.knobs)
        slopes = self.slopes(every, np.array([at.get(name, 1.0) for name in every]))[self.counted]
        widths, said = self.bounds(every)[2], []
        for left in (name for name in every if name not in names):
            trial = [i for i, name in enumerate(every) if name in names or name == left]
            alone = float(np.linalg.norm(slopes[:, every.index(left)] * widths[every.index(left)]))
            told = telling(slopes[:, trial], widths[trial])
            blamed = [LABELS[every[i]] for i, part in zip(trial, told.direction, strict=True)
                      if abs(part) >= SHARES_BLAME and every[i] != left]  # fmt: skip
            if alone < TELLS or not blamed:
                said.append(f"The tests say too little of the {LABELS[left]}: it stays as the scenario has it.")
            else:
                said.append(
                    f"The tests cannot tell the {LABELS[left]} from the {listed(blamed)}: it stays as the scenario has it."
                )
        return tuple(said)

    # --- the fit

    def settle(self, names: tuple[str, ...], start: Mapping[str, float] | None = None) -> _Found:
        """Fit of some knobs, outliers found one by one and left out."""
        kept = np.ones(self.counted.shape, dtype=bool)
        first = np.array([(start or {}).get(name, 1.0) for name in names])
        most = int(self.counted.sum()) - len(names) - 1
        for _ in range(max(most, 0) // 2):
            steady = self.fit_once(names, kept, first, robust=True)
            first = steady.values
            place = outlier(steady, partial(self._leaving_out, names, kept, first), kept)
            if place is None:
                break
            kept = _without(kept, place)
        return _Found(names, self.fit_once(names, kept, first), kept)

    def _leaving_out(self, names: tuple[str, ...], kept: NDArray[np.bool_], start: Array, place: int) -> Fit:
        return self.fit_once(names, _without(kept, place), start)

    def polish(self, found: _Found) -> _Found:
        """The same fit to the last digit, with the same measurements."""
        return replace(found, fit=self.fit_once(found.names, found.kept, found.fit.values, tolerance=CLOSE))

    def fit_once(
        self, names: tuple[str, ...], kept: NDArray[np.bool_], start: Array, *, robust: bool = False, tolerance: float = NEAR
    ) -> Fit:
        """One fit to the residuals that are kept; those left out are still in its residuals."""
        low, high, scales = self.bounds(names)

        def left(x: Array) -> Array:
            return self.residuals(names, x[None])[0] * kept

        def slopes(x: Array) -> Array:
            return self.slopes(names, x) * kept[:, None]

        done = fit(
            left, start, low=low, high=high, scales=scales, jacobian=slopes, counted=kept & self.counted, robust=robust,
            tolerance=tolerance,
        )  # fmt: skip
        if kept.all():
            return done
        return replace(done, residuals=self.residuals(names, done.values[None])[0], jacobian=self.slopes(names, done.values))

    # --- full runs

    def run_in_full(self, factors: Mapping[str, float], on_progress: Progress | None) -> bool:
        """Run the tests in full and keep what differs; False where the user cut it short."""
        tests = self.evidence.tests
        wanted = list({tests[m.test].conditions: m.test for m in self.evidence.measurements}.values())
        wanted.sort(key=lambda place: tests[place].mass)
        if len(wanted) > MOST_FULL:
            wanted = [wanted[i] for i in np.unique(np.linspace(0, len(wanted) - 1, MOST_FULL).round().astype(int))]
        complete = True
        try:
            for done, place in enumerate(wanted):
                if on_progress:
                    on_progress(done, len(wanted))
                self.full[place] = self.bench.in_full(factors, place)
        except KeyboardInterrupt:
            complete = False
        if self.full:
            self._correct(factors)
        return complete

    def _correct(self, factors: Mapping[str, float]) -> None:
        said = self.bench.foretell([factors])
        tests = self.evidence.tests
        for i, m in enumerate(self.evidence.measurements):
            near = min(self.full, key=lambda place: _distance(tests[place], tests[m.test]))
            value = self.full[near].get(m.kind)
            slow = float(said.of(m.kind)[0, near])
            if value is not None and slow > 0:
                self.ratios[i] = value / slow


def _distance(test: LiftTest, other: LiftTest) -> tuple[bool, float]:
    return test.conditions[1:] != other.conditions[1:], abs(test.mass - other.mass)


def _without(kept: NDArray[np.bool_], place: int) -> NDArray[np.bool_]:
    found = kept.copy()
    found[place] = False
    return found


def _under_determined(message: str, hint: str) -> InputError:
    return InputError((Fault(message, hint=hint, code="W-S33"),))


# --- the result ------------------------------------------------------------------------------------------------------


def _result(case: _Case, found: _Found, level: float, missing: Mapping[str, str], complete: bool) -> Calibration:
    calibrated = turned(case.inputs, found.factors, case.knobs)
    sentences = [f"The {LABELS[name]} cannot be fitted: {why}." for name, why in missing.items()]
    sentences += [*case.puzzles(found.names, found.factors), *_entangled(found), *case.evidence.remarks]
    times = [ratio for m, ratio in zip(case.evidence.measurements, case.ratios, strict=True) if m.kind is Kind.TIME]
    return Calibration(
        inputs=calibrated,
        level=level,
        parameters=_parameters(case, found, level),
        correlation=found.fit.correlation,
        sentences=tuple(sentences),
        residuals=_residuals(case, found),
        sides=_sides(case, found),
        dof=found.fit.dof,
        scatter=found.fit.scatter,
        slow_model_off=max((abs(ratio - 1) for ratio in times), default=0.0) if case.full else None,
        predictions=_predictions(case, found, level),
        broken=tuple(look_into(calibrated, test, case.evidence.tests) for test in case.evidence.broken),
        complete=complete,
    )


def _parameters(case: _Case, found: _Found, level: float) -> tuple[Parameter, ...]:
    rows, quantile = [], found.fit.quantile(level)
    for knob in case.knobs:
        if knob.name not in found.names:
            rows.append(Parameter(knob, 1.0, None, None, None, fitted=False))
            continue
        place = found.names.index(knob.name)
        value, error = float(found.fit.values[place]), float(found.fit.errors[place])
        if not found.fit.free[place]:
            rows.append(Parameter(knob, value, None, None, None, fitted=True, on_bound=True))
        else:
            low, high = max(value - quantile * error, knob.low), min(value + quantile * error, knob.high)
            rows.append(Parameter(knob, value, error, low, high, fitted=True))
    return tuple(rows)


def _entangled(found: _Found) -> list[str]:
    """Fitted values of which one makes up for the other."""
    pairs = itertools.combinations(range(len(found.names)), 2)
    strong = [(i, j) for i, j in pairs if abs(found.fit.correlation[i, j]) > 0.9]
    return [
        f"The {LABELS[found.names[i]]} and the {LABELS[found.names[j]]} make up for each other in these tests "
        f"(correlation {found.fit.correlation[i, j]:.2f}): their sum is known better than either."
        for i, j in strong
    ]


def _residuals(case: _Case, found: _Found) -> tuple[Residual, ...]:
    after, before = case.bench.foretell([found.factors]), case.bench.foretell([{}])
    rows = []
    for i, m in enumerate(case.evidence.measurements):
        values = []
        for said in (after, before):
            value = float(said.of(m.kind)[0, m.test] * case.ratios[i])
            if m.kind is Kind.TIME:
                value = float(case.bench.heights[m.test]) / value if value > 0 else np.inf
            values.append(value)
        size = float(found.fit.residuals[i])
        rows.append(
            Residual(case.evidence.tests[m.test], m.kind, m.value, values[0], values[1], m.scatter, size, not found.kept[i])
        )
    return tuple(rows)


def _sides(case: _Case, found: _Found) -> tuple[SideCheck, ...]:
    said = case.bench.foretell([found.factors])
    rows = []
    for row in case.evidence.sides:
        margin, hold = float(said.margin[0, row.test]), float(said.hold[0, row.test])
        agrees = {Side.LIFTED: margin > 1, Side.STALLED: margin <= 1, Side.HELD: hold >= 0, Side.RAN_BACK: hold < 0}[row.side]
        share = margin if row.side in (Side.LIFTED, Side.STALLED) else 1 + hold
        rows.append(SideCheck(case.evidence.tests[row.test], row.side, agrees, share))
    return tuple(rows)


def _predictions(case: _Case, found: _Found, level: float) -> tuple[Prediction, ...]:
    if not case.evidence.next_rungs:
        return ()
    every = tuple(knob.name for knob in case.knobs)
    at = np.array([found.factors.get(name, 1.0) for name in every])
    slopes = case.slopes(every, at) * found.kept[:, None]
    bench = Bench(case.inputs, case.evidence.next_rungs, case.knobs)
    return predict(bench, every, at, found.names, found.fit, slopes[case.counted], level)
