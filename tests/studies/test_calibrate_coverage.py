"""Whether the interval of the next rung holds its share of the measurements: many repeats on a winch of one formula."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats

from winchsim.studies.calibrate.evidence import LiftTest, gather
from winchsim.studies.calibrate.forecast import Forecast
from winchsim.studies.calibrate.knobs import Knob
from winchsim.studies.calibrate.prediction import predict
from winchsim.studies.calibrate.search import Search

MASSES = (2.0, 4.0, 6.0, 8.0, 10.0)
NEXT = 13.0
LEVEL = 0.9

WIDTHS = {"mesh_loss": 0.4, "drag": 1.5, "motor_constant": 0.1}


def not_turned(inputs, factors):
    raise AssertionError("this winch has no scenario")


@dataclass
class FormulaBench:
    """A winch by its formula: motors with a straight line, a loss that grows with the load, and a drag that does not."""

    tests: tuple[LiftTest, ...]
    knobs: tuple[Knob, ...]
    pawl: bool = False

    @property
    def heights(self):
        return np.full(len(self.tests), 1.0)

    def foretell(self, settings):
        def column(name):
            return np.array([[factors.get(name, 1.0)] for factors in settings])

        mass = np.array([[test.mass for test in self.tests]])
        loss, drag, k = column("mesh_loss"), column("drag"), column("motor_constant")
        needed = 0.06 * drag + 0.02 * mass * (1 + 0.5 * loss)  # torque, in stall torques of the estimated motor
        current = 10.0 * needed / k
        speed = 0.05 * (1.0 - needed / k) / k
        shape = np.broadcast_shapes(speed.shape, current.shape)
        fill = np.broadcast_to
        stalled = np.full(shape, 10.0)
        return Forecast(
            fill(speed, shape), fill(current, shape), stalled, np.full(shape, np.nan), fill(k / needed, shape), np.ones(shape)
        )

    def in_full(self, factors, place):
        return {}


def knobs(names):
    return tuple(Knob(name, name, WIDTHS[name], 0.0, 10.0, not_turned) for name in names)


def measured(bench, truth, generator, scatter=1.0):
    """Tests with the scatter that is expected of times and currents, or a multiple of it."""
    said = bench.foretell([truth])
    rows = []
    for place, test in enumerate(bench.tests):
        time = 1.0 / said.speed[0, place]
        time *= 1 + scatter * np.hypot(0.2, 0.01 * time) / time * generator.normal()
        current = said.current[0, place] * (1 + scatter * 0.02 * generator.normal())
        rows.append(LiftTest(number=place + 1, mass=test.mass, time=time, current=current))
    return rows


def share_held(names, fitted, draw, repeats, *, scatter=1.0, masses=MASSES, seed=5):
    """How many of the next measurements fall into their intervals: of the time, and of the current."""
    generator, held = np.random.default_rng(seed), np.zeros(2)
    blank = FormulaBench(tuple(LiftTest(number=i, mass=m) for i, m in enumerate(masses, 1)), knobs(names))
    coming = FormulaBench((LiftTest(number=9, mass=NEXT),), knobs(names))
    for _ in range(repeats):
        truth = draw(generator)
        evidence = gather(measured(blank, truth, generator, scatter))
        search = Search(FormulaBench(evidence.tests, knobs(names)), evidence)
        kept = np.ones(search.counted.shape, dtype=bool)
        fit = search.fit_once(fitted, kept, np.ones(len(fitted)))
        at = np.array([dict(zip(fitted, fit.values, strict=True)).get(name, 1.0) for name in names])
        row = predict(coming, names, at, fitted, fit, search.both(names, at)[1], LEVEL)[0][0]
        real = measured(coming, truth, generator, scatter)[0]
        held += [row.time.low <= real.time <= row.time.high, row.current.low <= real.current <= row.current.high]
    return held


def within(held, repeats, level=LEVEL):
    low, high = stats.binom.ppf([1e-4, 1 - 1e-4], repeats, level)
    return np.all((held >= low) & (held <= high))


def near_truth(generator):
    return {"mesh_loss": 1.3, "drag": 2.0, "motor_constant": 1.0}


@pytest.mark.parametrize("scatter", [1.0, 3.0], ids=["expected scatter", "three times the expected scatter"])
def test_the_interval_holds_its_share(scatter):
    """All numbers told; the scatter is found from the tests, whatever was expected of it."""
    held = share_held(("mesh_loss", "drag"), ("mesh_loss", "drag"), near_truth, 300, scatter=scatter)
    assert within(held, 300), held


def any_drag(generator):
    """A drag as far off as it is thought to be, no less than nothing."""
    return {"mesh_loss": 1.3, "drag": max(1 + WIDTHS["drag"] * generator.normal(), 0.0)}


def test_a_number_that_was_not_fitted_widens_it_by_what_it_may_do():
    """All tests under one load, which cannot tell drag from loss: without the drag's part far too few would be held."""
    one_load = (5.0,) * 5
    held = share_held(("mesh_loss", "drag"), ("mesh_loss",), any_drag, 150, masses=one_load)
    assert np.all(held >= stats.binom.ppf(1e-4, 150, LEVEL)), held
    without = share_held(("mesh_loss",), ("mesh_loss",), any_drag, 150, masses=one_load)
    assert np.all(without < 100), without


def mean_width(count, repeats=60):
    """Mean width of the interval of the next current, with the first `count` of a row of tests."""
    generator, names = np.random.default_rng(11), ("mesh_loss", "drag")
    masses = (2.0, 8.0, 5.0, 10.0, 3.0, 9.0, 6.0, 4.0)
    every = FormulaBench(tuple(LiftTest(number=i, mass=m) for i, m in enumerate(masses, 1)), knobs(names))
    coming = FormulaBench((LiftTest(number=9, mass=NEXT),), knobs(names))
    widths = []
    for _ in range(repeats):
        evidence = gather(measured(every, near_truth(generator), generator)[:count])
        search = Search(FormulaBench(evidence.tests, knobs(names)), evidence)
        fit = search.fit_once(names, np.ones(search.counted.shape, dtype=bool), np.ones(2))
        row = predict(coming, names, fit.values, names, fit, search.both(names, fit.values)[1], LEVEL)[0][0]
        widths.append(row.current.high - row.current.low)
    return np.mean(widths)


def test_more_tests_never_widen_the_interval_on_average():
    widths = [mean_width(count) for count in (2, 3, 4, 6, 8)]
    assert widths == sorted(widths, reverse=True), widths
