"""Timed lifts turned into the numbers of the model, as far as they tell them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.inputs import Inputs
from winchsim.model import build
from winchsim.quantity_text import number
from winchsim.studies.calibrate.evidence import LABELS as KINDS
from winchsim.studies.calibrate.evidence import Kind, LiftTest, Side, gather
from winchsim.studies.calibrate.forecast import Bench
from winchsim.studies.calibrate.knobs import LABELS, ORDER, Knob, knobs, turned
from winchsim.studies.calibrate.postmortem import Broken, look_into
from winchsim.studies.calibrate.prediction import Prediction, predict
from winchsim.studies.calibrate.search import Found, Progress, Search
from winchsim.verdict.words import capital, counted, listed, percent

Array = NDArray[np.float64]


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


SEEN = {Side.LIFTED: "came up", Side.STALLED: "stalled", Side.HELD: "was held", Side.RAN_BACK: "ran back"}
"""What was seen, as a verb of a test."""


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
        Of lifting: the torque that it has over that it needs. Of holding: the torque that friction has to spare over the
        torque that raises the load; below 0 it lacks so much. [-]
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
    quasi_static_off : float or None
        Largest difference of the quasi-static model to the full simulation in a lift time, taken into account. [-]
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
    quasi_static_off: float | None
    predictions: tuple[Prediction, ...]
    broken: tuple[Broken, ...]
    complete: bool

    @property
    def sentence(self) -> str:
        """What it comes to, in one sentence."""
        kept = [row for row in self.residuals if not row.is_outlier]
        tests = counted(len({row.test.number for row in kept}), "test")
        told = [
            f"the {row.knob.label} {to_error(row.factor, row.error)} times"
            + (f" (± {number(row.error, 2)})" if row.error else "")
            for row in self.parameters
            if row.fitted
        ]
        text = f"{tests} say: {listed(told)} what the scenario had"
        times = [row for row in kept if row.kind is Kind.TIME and np.isfinite(row.predicted)]
        if times:
            off = float(np.sqrt(np.mean([(row.measured / row.predicted - 1) ** 2 for row in times])))
            text += f"; the lift times agree within {percent(off)}"
        if self.outliers:
            names = [f"the {KINDS[row.kind]} of test {row.test.number}" for row in self.outliers]
            words = "does not belong to the others and is" if len(names) == 1 else "do not belong to the others and are"
            text += f". {capital(listed(names))} {words} left out"
        for row in self.against:
            text += f". But test {row.test.number} {SEEN[row.side]}, and the calibrated model says otherwise"
        return text + "."

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
    evidence = gather(tests, pawl=build(inputs).pawl)
    available, missing = knobs(inputs)
    _refuse_unknown(only, available, missing)
    case = Search(Bench(inputs, evidence.tests, available), evidence)
    chosen = tuple(only) or case.telling_knobs(_nominal(available))
    case.require(chosen, _nominal(available), asked=bool(only))
    found = case.settle(chosen)
    if not only:
        again = case.telling_knobs(found.factors)
        if again and again != chosen:
            found = case.settle(again)
    complete = case.run_in_full(found.factors, on_progress)
    return _result(inputs, case, case.polish(found), level, missing, complete)


def to_error(value: float, error: float | None) -> str:
    """A number with as many decimals as its standard error deserves: two of its digits."""
    if not error or not math.isfinite(error):
        return number(value)
    return f"{value:.{min(max(1 - math.floor(math.log10(error)), 0), 6)}f}"


def _nominal(available: tuple[Knob, ...]) -> dict[str, float]:
    return {knob.name: 1.0 for knob in available}


def _refuse_unknown(names: Sequence[str], available: tuple[Knob, ...], missing: Mapping[str, str]) -> None:
    known = {knob.name for knob in available}
    for name in names:
        if name in missing:
            raise InputError((Fault(f"{LABELS[name]} cannot be fitted: {missing[name]}", "fit", code=Code.UNDERDETERMINED),))
        if name not in known:
            raise DomainError("fit", name, "one or more of: " + ", ".join(ORDER))


# --- the result ------------------------------------------------------------------------------------------------------


def _result(
    inputs: Inputs, case: Search, found: Found, level: float, missing: Mapping[str, str], complete: bool
) -> Calibration:
    calibrated = turned(inputs, found.factors, case.knobs)
    sentences = [f"The {LABELS[name]} cannot be fitted: {why}." for name, why in missing.items()]
    sentences += [*case.not_told(found.names, found.factors), *_entangled(found), *case.evidence.remarks]
    sides = _sides(case, found)
    predictions, through = _predictions(inputs, case, found, level, complete)
    predictions = _as_seen(predictions, sides)
    broken, unknown = _breakages(calibrated, case)
    sentences += unknown
    times = [ratio for m, ratio in zip(case.evidence.measurements, case.ratios, strict=True) if m.kind is Kind.TIME]
    return Calibration(
        inputs=calibrated,
        level=level,
        parameters=_parameters(case, found, level),
        correlation=found.fit.correlation,
        sentences=tuple(sentences),
        residuals=_residuals(case, found),
        sides=sides,
        dof=found.fit.dof,
        scatter=found.fit.scatter,
        quasi_static_off=max((abs(ratio - 1) for ratio in times), default=0.0) if case.full else None,
        predictions=predictions,
        broken=broken,
        complete=complete and through,
    )


def _parameters(case: Search, found: Found, level: float) -> tuple[Parameter, ...]:
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


def _entangled(found: Found) -> list[str]:
    """Fitted values of which one makes up for the other."""
    pairs = itertools.combinations(range(len(found.names)), 2)
    strong = [(i, j) for i, j in pairs if abs(found.fit.correlation[i, j]) > 0.9]
    return [
        f"The {LABELS[found.names[i]]} and the {LABELS[found.names[j]]} make up for each other in these tests "
        f"(correlation {found.fit.correlation[i, j]:.2f}): their sum is known better than either."
        for i, j in strong
    ]


def _residuals(case: Search, found: Found) -> tuple[Residual, ...]:
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


def _sides(case: Search, found: Found) -> tuple[SideCheck, ...]:
    said = case.bench.foretell([found.factors])
    rows = []
    for row in case.evidence.sides:
        margin, hold = float(said.margin[0, row.test]), float(said.hold[0, row.test])
        agrees = {Side.LIFTED: margin > 1, Side.STALLED: margin <= 1, Side.HELD: hold >= 0, Side.RAN_BACK: hold < 0}[row.side]
        share = margin if row.side in (Side.LIFTED, Side.STALLED) else hold
        rows.append(SideCheck(case.evidence.tests[row.test], row.side, agrees, share))
    return tuple(rows)


def _as_seen(predictions: Sequence[Prediction], sides: Sequence[SideCheck]) -> tuple[Prediction, ...]:
    """Forecasts in which no load is said to hold that is as heavy as one that ran back, whatever the model says of it."""
    least = min((row.test.mass for row in sides if row.side is Side.RAN_BACK), default=math.inf)
    return tuple(replace(row, holds=row.holds and row.test.mass < least) for row in predictions)


def _predictions(
    inputs: Inputs, case: Search, found: Found, level: float, in_full: bool
) -> tuple[tuple[Prediction, ...], bool]:
    if not case.evidence.next_rungs:
        return (), True
    every = tuple(knob.name for knob in case.knobs)
    at = np.array([found.factors.get(name, 1.0) for name in every])
    slopes = case.slopes(every, found.factors) * found.kept[:, None]
    bench = Bench(inputs, case.evidence.next_rungs, case.knobs)
    return predict(bench, every, at, found.names, found.fit, slopes[case.counted], level, in_full=in_full)


def _breakages(inputs: Inputs, case: Search) -> tuple[tuple[Broken, ...], list[str]]:
    """What each breakage says; and sentences on those that nothing can be said of."""
    found, sentences = [], []
    for test in case.evidence.broken:
        try:
            found.append(look_into(inputs, test, case.evidence.tests))
        except InputError as error:
            fault = error.faults[0]
            sentences.append(f"{fault.message}" + (f"; {fault.expected}." if fault.expected else "."))
    return tuple(found), sentences
