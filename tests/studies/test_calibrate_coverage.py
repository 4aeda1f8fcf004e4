"""Whether the interval of the next rung holds its share of the measurements: many repeats on a
winch of one formula."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from winchsim.studies.calibrate.calibration import PREDICTED, Case, fit, predict
from winchsim.studies.calibrate.evidence import Kind, LiftTest, MeasuredReading, gather
from winchsim.studies.calibrate.forecast import Factor

pytestmark = pytest.mark.slow

MASSES = (2.0, 4.0, 6.0, 8.0, 10.0)
NEXT = 13.0
LEVEL = 0.9

WIDTHS = {"loss": 0.4, "drag": 0.8, "constant": 0.06}
"""Standard deviations of the logarithms of the factors. [-]"""


@dataclass
class FormulaBench:
    """A winch by its formula: motors with a straight line, a loss that grows with the load, and a
    drag that does not."""

    readings: tuple[MeasuredReading, ...]
    factors: tuple[Factor, ...]
    raises = SimpleNamespace(action="raise", current_limit=np.inf)
    machine = SimpleNamespace(pawl=False, phases=(raises,))

    @property
    def tests(self):
        return tuple(dict.fromkeys(row.test for row in self.readings))

    @property
    def heights(self):
        return np.full(len(self.readings), 1.0)

    def forecast(self, places):
        def column(name):
            places_of = [i for i, factor in enumerate(self.factors) if factor.name == name]
            z = places[:, places_of[0]] if places_of else np.zeros(len(places))
            return np.exp(WIDTHS[name] * z)[:, None]

        mass = np.array([[row.test.mass for row in self.readings]])
        loss, drag, k = column("loss"), column("drag"), column("constant")
        needed = 0.06 * drag + 0.02 * mass * (
            1 + 0.5 * loss
        )  # torque, in stall torques of the estimated motor
        current = 10.0 * needed / k
        speed = 0.05 * (1.0 - needed / k) / k
        values = {Kind.TIME: speed, Kind.CURRENT: current, Kind.LIFTED: np.log(k / needed)}
        values[Kind.HELD] = np.ones(speed.shape)
        kinds = [row.kind for row in self.readings]
        return np.stack([values[kind][:, i] for i, kind in enumerate(kinds)], axis=1)


def factors(names):
    return tuple(Factor(name, ()) for name in names)


def bench(masses, names):
    tests = [LiftTest(number=i, mass=m) for i, m in enumerate(masses, 1)]
    asked = (MeasuredReading(test, kind, 0.0) for test in tests for kind in PREDICTED)
    return FormulaBench(tuple(asked), factors(names))


def at(names, truth):
    """Place of a truth given as multiples."""
    return np.array([np.log(truth.get(name, 1.0)) / WIDTHS[name] for name in names])


def measured(bench, truth, generator, scatter=1.0):
    """Tests with the scatter that is expected of times and currents, or a multiple of it."""
    said = bench.forecast(truth[None]).reshape(-1, len(PREDICTED)).tolist()
    rows = []
    for place, (test, (speed, amps, *_)) in enumerate(zip(bench.tests, said, strict=True)):
        time = 1.0 / speed
        time *= 1 + scatter * np.hypot(0.2, 0.01 * time) / time * generator.normal()
        current = amps * (1 + scatter * 0.02 * generator.normal())
        rows.append(
            LiftTest(number=place + 1, mass=test.mass, measured_time=time, measured_current=current)
        )
    return rows


EVERY = ("loss", "drag", "constant")


def fitted(tests, names):
    """Fit to all tests, without a search for outliers."""
    readings, _ = gather(tests)
    case = Case(FormulaBench(readings, factors(names)))
    return fit(case.problem, np.zeros(len(names)), np.ones(len(readings), dtype=bool))


def share_held(names, draw, repeats, *, scatter=1.0, masses=MASSES, seed=5):
    """How many of the next measurements fall into their intervals: of the time, and of the
    current."""
    generator, held = np.random.default_rng(seed), np.zeros(2)
    for _ in range(repeats):
        truth = at(EVERY, draw(generator))
        fit = fitted(measured(bench(masses, EVERY), truth, generator, scatter), names)
        row = predict(bench((NEXT,), names), fit, LEVEL)[0]
        real = measured(bench((NEXT,), EVERY), truth, generator, scatter)[0]
        held += [
            row.time.low <= real.measured_time <= row.time.high,
            row.current.low <= real.measured_current <= row.current.high,
        ]
    return held


def within(held, repeats, level=LEVEL):
    low, high = stats.binom.ppf([1e-4, 1 - 1e-4], repeats, level)
    return np.all((held >= low) & (held <= high))


def near_truth(generator):
    return {"loss": 1.3, "drag": 2.0}


def anywhere(generator):
    """A truth from the priors."""
    return {name: np.exp(width * generator.normal()) for name, width in WIDTHS.items()}


@pytest.mark.parametrize(
    "scatter", [1.0, 3.0], ids=["expected scatter", "three times the expected scatter"]
)
def test_the_interval_holds_its_share(scatter):
    """The scatter is found from the tests, whatever was expected of it."""
    held = share_held(("loss", "drag"), near_truth, 300, scatter=scatter)
    assert within(held, 300), held


@pytest.mark.parametrize("scatter", [1.0, 2.0])
def test_the_interval_holds_its_share_of_truths_from_the_priors(scatter):
    """Three factors, of which five tests determine two: the third keeps its prior, and counts."""
    held = share_held(EVERY, anywhere, 300, scatter=scatter)
    assert np.all(held >= stats.binom.ppf(1e-4, 300, LEVEL)), held


def any_drag(generator):
    return {"loss": 1.3, "drag": np.exp(WIDTHS["drag"] * generator.normal())}


def test_a_factor_that_is_not_determined_widens_it_by_what_it_may_do():
    """All tests under one load, which cannot separate drag from loss: without the drag far too few
    would be held."""
    one_load = (5.0,) * 5
    held = share_held(("loss", "drag"), any_drag, 150, masses=one_load)
    assert np.all(held >= stats.binom.ppf(1e-4, 150, LEVEL)), held
    without = share_held(("loss",), any_drag, 150, masses=one_load)
    assert np.all(without < 110), without


def mean_width(count, repeats=60):
    """Mean width of the interval of the next current, with the first `count` of a row of tests."""
    generator, names = np.random.default_rng(11), ("loss", "drag")
    masses = (2.0, 8.0, 5.0, 10.0, 3.0, 9.0, 6.0, 4.0)
    widths = []
    for _ in range(repeats):
        tests = measured(bench(masses, names), at(names, near_truth(generator)), generator)[:count]
        row = predict(bench((NEXT,), names), fitted(tests, names), LEVEL)[0]
        widths.append(row.current.high - row.current.low)
    return np.mean(widths)


def test_more_tests_never_widen_the_interval_on_average():
    widths = [mean_width(count) for count in (2, 3, 4, 6, 8)]
    assert widths == sorted(widths, reverse=True), widths
