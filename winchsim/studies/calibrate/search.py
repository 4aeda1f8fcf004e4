"""The setting of the knobs that fits the tests best: which can be told, and which tests do not belong to the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import Code, Fault, InputError
from winchsim.studies.calibrate.evidence import HOLD_SCATTER, STALL_SCATTER, Evidence, Kind, LiftTest, Side
from winchsim.studies.calibrate.fit import Fit, choose, fit, outlier, telling, with_slopes
from winchsim.studies.calibrate.forecast import Bench, Forecast
from winchsim.studies.calibrate.knobs import LABELS
from winchsim.verdict.words import listed

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

TELLS = 2.0
"""A value is fitted where the tests tell it at least so many times better than it was known before. [-] Own choice."""

FORCED = 1 / 3
"""One that the user asks for is refused where they tell it so much worse. [-] Own choice."""

SHARES_BLAME = 0.3
"""Part that a value has in a direction which the tests do not feel, or in making up for another one, from which on it is named.
[-] Own choice."""

NEAR, CLOSE = 1e-4, 1e-10
"""Relative change at which a search ends: on the way, and in the end. [-]"""

MOST_FULL = 12
"""Most tests that are run in full; of more, those are that differ most in their load. [-]"""


@dataclass(frozen=True)
class Found:
    """A fit of some knobs.

    Attributes
    ----------
    names : tuple of str
    fit : Fit
    kept : ndarray of bool
        Residuals that were not left out as outliers.
    """

    names: tuple[str, ...]
    fit: Fit
    kept: NDArray[np.bool_]

    @property
    def factors(self) -> dict[str, float]:
        """Factors by the names of the knobs."""
        return dict(zip(self.names, self.fit.values.tolist(), strict=True))


class Search:
    """Tests and a bench that foretells them: the residuals of any setting of the knobs, and the setting that fits best.

    Parameters
    ----------
    bench : Bench
        With the tests of the evidence.
    evidence : Evidence
    """

    def __init__(self, bench: Bench, evidence: Evidence) -> None:
        self.bench, self.evidence, self.knobs = bench, evidence, bench.knobs
        self.by_name = {knob.name: knob for knob in bench.knobs}
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

    def both(self, names: tuple[str, ...], values: Array) -> tuple[Array, Array]:
        """Residuals, and their change with the knobs. shapes (n,), (n, p)"""
        _, high, scales = self.bounds(names)
        return with_slopes(lambda sets: self.residuals(names, sets), values, scales, high)

    def slopes(self, names: tuple[str, ...], at: Mapping[str, float]) -> Array:
        """Change of the residuals with the knobs, 1 where nothing is said of them. shape (n, p)"""
        return self.both(names, np.array([at.get(name, 1.0) for name in names]))[1]

    def bounds(self, names: tuple[str, ...]) -> tuple[Array, Array, Array]:
        """Lower and upper bounds, and widths, of some knobs."""
        chosen = [self.by_name[name] for name in names]
        return np.array([k.low for k in chosen]), np.array([k.high for k in chosen]), np.array([k.width for k in chosen])

    # --- what to fit

    def telling_knobs(self, at: Mapping[str, float]) -> tuple[str, ...]:
        """Knobs that the tests tell all together, the least known first."""
        names = tuple(knob.name for knob in self.knobs)
        slopes = self.slopes(names, at)[self.counted]
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
            slopes = self.slopes(names, at)[self.counted]
            told = telling(slopes, self.bounds(names)[2])
            if told.least < FORCED:
                raise _under_determined(self._cannot(names, told.direction), self._advice(names))

    def _cannot(self, names: tuple[str, ...], direction: Array) -> str:
        blamed = [f"the {LABELS[name]}" for name, part in zip(names, direction, strict=True) if abs(part) >= SHARES_BLAME]
        if len(blamed) == 1:
            return f"the tests hardly feel {blamed[0]}"
        return f"the tests cannot tell {listed(blamed)} apart"

    def _advice(self, names: tuple[str, ...]) -> str:
        masses = [self.evidence.tests[place].mass for place in self.places]
        if max(masses) < 1.3 * min(masses) and {"mesh_loss", "drag"} & set(names):
            return "time a clearly lighter or heavier load as well"
        kinds = {m.kind for m in self.evidence.measurements}
        if Kind.CURRENT not in kinds:
            return "measure the current as well as the time"
        return "measure the voltage at the motors too, or fit fewer numbers"

    def not_told(self, names: tuple[str, ...], at: Mapping[str, float]) -> tuple[str, ...]:
        """Sentences on the knobs that were left as they are."""
        every = tuple(knob.name for knob in self.knobs)
        slopes = self.slopes(every, at)[self.counted] * self.bounds(every)[2]
        chosen, said = slopes[:, [every.index(name) for name in names]], []
        for left in (name for name in every if name not in names):
            own = slopes[:, every.index(left)]
            parts = np.linalg.norm(chosen * np.linalg.lstsq(chosen, own, rcond=None)[0], axis=0)
            size = float(np.linalg.norm(own))
            blamed = [f"the {LABELS[name]}" for name, part in zip(names, parts, strict=True) if part >= SHARES_BLAME * size]
            if size < TELLS or not blamed:
                said.append(f"The tests say too little about the {LABELS[left]}: it stays as the scenario has it.")
            else:
                said.append(f"The tests cannot tell the {LABELS[left]} from {listed(blamed)}: it stays as the scenario has it.")
        return tuple(said)

    # --- the fit

    def settle(self, names: tuple[str, ...]) -> Found:
        """Robust fit of some knobs, outliers found one by one and left out."""
        kept = np.ones(self.counted.shape, dtype=bool)
        found = Found(names, self.fit_once(names, kept, np.ones(len(names)), robust=True), kept)
        for _ in range(max(int(self.counted.sum()) - len(names) - 1, 0) // 2):
            place = outlier(found.fit, kept, self.counted)
            if place is None:
                break
            kept = kept.copy()
            kept[place] = False
            found = Found(names, self.fit_once(names, kept, found.fit.values, robust=True), kept)
        return found

    def polish(self, found: Found) -> Found:
        """Ordinary fit to the last digit, with the same measurements."""
        return replace(found, fit=self.fit_once(found.names, found.kept, found.fit.values, tolerance=CLOSE))

    def fit_once(
        self, names: tuple[str, ...], kept: NDArray[np.bool_], start: Array, *, robust: bool = False, tolerance: float = NEAR
    ) -> Fit:
        """One fit to the residuals that are kept; those left out are still in its residuals."""
        low, high, scales = self.bounds(names)
        seen: dict[bytes, tuple[Array, Array]] = {}

        def both(x: Array) -> tuple[Array, Array]:
            if x.tobytes() not in seen:
                seen[x.tobytes()] = self.both(names, x)
            return seen[x.tobytes()]

        done = fit(
            lambda x: both(x)[0] * kept, start, low=low, high=high, scales=scales,
            jacobian=lambda x: both(x)[1] * kept[:, None], counted=kept & self.counted, robust=robust, tolerance=tolerance,
        )  # fmt: skip
        residuals, slopes = both(done.values)
        return replace(done, residuals=residuals, jacobian=slopes)

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


def _under_determined(message: str, hint: str) -> InputError:
    return InputError((Fault(message, hint=hint, code=Code.UNDERDETERMINED),))
