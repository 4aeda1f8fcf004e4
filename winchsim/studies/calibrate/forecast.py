"""Forecasts of tests by the quasi-static model, for many settings at once."""

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.frozen import replace
from winchsim.inputs import Inputs, value_at, with_value
from winchsim.model import Machine, build
from winchsim.model.estimate import pull
from winchsim.model.trial import plain_raise
from winchsim.physics.chain import demand
from winchsim.slow import End, Lifts, lift_all, lift_batch, vary, vary_each
from winchsim.studies.calibrate.evidence import Kind, LiftTest
from winchsim.studies.calibrate.factors import Factor, moved

Array = NDArray[np.float64]

HAIR = 1e-9
"""Place that stands for 0 in forecasts: an assumed value that is derived differs a little from
the same value given, and that difference over a small step would pass for a slope. [standard
deviations]"""

STEP = 1e-4
"""Step of a derivative. [standard deviations of the prior]"""

LEAST_MARGIN = 1e-3
"""Margins are taken as no smaller: a lift that falls so short does not depend on it. [-]"""


Forecast = dict[Kind, Array]
"""What the model says of n tests with the factors at k places, by `Kind.quantity`, each of the
shape (k, n):

TIME
    Mean speed of the lift, height over lift time; negative, by how much the torque falls short,
    where it stalls. [m/s]
CURRENT, STALL_CURRENT
    Of the supply: running steadily, and at rest. [A]
VOLTAGE
    At the motors, running. [V]
LIFTED
    Logarithm of the torque at rest over the most that the lift asks for; 0 just stalls. [-]
HELD
    Torque to spare by which friction or a brake holds the load, over the torque that raises it; 0
    just holds. [-]
"""


class Bench:
    """A scenario and tests, forecast with its factors at any place.

    Parameters
    ----------
    inputs : Inputs
        Only its raising matters: its programme is left out.
    tests : sequence of LiftTest
    factors : sequence of Factor

    Attributes
    ----------
    machine : Machine
        With the lightest load.
    heights : ndarray
        Of each test. [m]

    Raises
    ------
    InputError
        A test that the scenario cannot have seen, whatever its losses.
    """

    def __init__(
        self, inputs: Inputs, tests: Sequence[LiftTest], factors: Sequence[Factor]
    ) -> None:
        self.inputs, self.tests, self.factors = plain_raise(inputs), tuple(tests), tuple(factors)
        self.base = _lightest(self.inputs, self.tests)
        self._columns = _columns(self.inputs, self.tests)
        self.heights = np.array([test.height or inputs.load.height for test in self.tests])
        self.machine = build(self.base)
        self._without_links = replace(self.machine, links=())
        self._movable = np.array([factor.high > HAIR for factor in self.factors], dtype=bool)
        self._nothing_lifted: dict[Kind, Any] = {
            Kind.TIME: self.heights * (1 - 1 / LEAST_MARGIN),
            Kind.CURRENT: 0.0,
            Kind.STALL_CURRENT: 0.0,
            Kind.VOLTAGE: np.nan,
            Kind.LIFTED: np.log(LEAST_MARGIN),
            Kind.HELD: -1.0,
        }
        self._loads = _raising_torques(self.machine, self.tests)
        variants = vary(self.base, self._columns)
        blocked = np.flatnonzero(np.isin(lift_all(variants).end, (End.OVERFLOW, End.BLOCKED)))
        meets = "the rope or the load meets something on the way up"
        problems = {**variants.problems, **dict.fromkeys(blocked.tolist(), meets)}
        if problems:
            raise InputError(
                tuple(
                    Fault(
                        f"test {tests[place].number} cannot be lifted by this scenario: {reason}",
                        "mass_kg",
                        got=f"{tests[place].mass:g} kg",
                        code=Code.NOTHING_TO_FIT,
                    )
                    for place, reason in problems.items()
                )
            )

    def forecast(self, places: Array) -> Forecast:
        """Forecast of every test with the factors at several places, shape (k, factors).

        Where no winch can be built nothing is lifted.
        """
        good, families = [], []
        for k, place in enumerate(np.where((places == 0) & self._movable, HAIR, places)):
            with suppress(DomainError):
                there = moved(self.base, self.machine, self.factors, place)
                families.append((there, self._columns))
                good.append(k)
        blank = np.zeros((len(places), len(self.tests)))
        found = {kind: blank + value for kind, value in self._nothing_lifted.items()}
        for rows, batch in vary_each(families, like=self._without_links).batches:
            k, members = np.array(good)[rows // len(self.tests)], rows % len(self.tests)
            values = _values(lift_batch(batch), self.heights[members], self._loads[members])
            for kind, value in values.items():
                found[kind][k, members] = value
        return found


def forecast_with_slopes(bench: Bench, place: Array) -> tuple[Forecast, Forecast]:
    """Forecast of n tests at a place, shape (n,) a quantity, and its change with each of p factors,
    (p, n), from one batch. [of the quantity a standard deviation of the prior]
    """
    high = np.array([factor.high for factor in bench.factors])
    steps = np.where(place + STEP > high, -STEP, STEP)
    found = bench.forecast(np.concatenate([place[None], place + np.diag(steps)]))
    slopes = {kind: (rows[1:] - rows[0]) / steps[:, None] for kind, rows in found.items()}
    return {kind: rows[0] for kind, rows in found.items()}, slopes


def _lightest(inputs: Inputs, tests: tuple[LiftTest, ...]) -> Inputs:
    """Scenario with the lightest load that it can be built with: settings that just stall the
    heaviest are settings still."""
    for mass in sorted(test.mass for test in tests):
        with suppress(InputError):
            found = with_value(inputs, "load.mass", mass)
            build(found)
            return found
    return inputs


def _columns(inputs: Inputs, tests: tuple[LiftTest, ...]) -> dict[str, Array]:
    """Values by path, one for each test; only those that any test gives, the scenario's for the
    others. Windings that it says nothing of are as warm as the air."""
    given = [test.values_in(inputs) for test in tests]
    own = {path: value_at(inputs, path) for values in given for path in values}
    usual = {path: inputs.settings.ambient if v is None else float(v) for path, v in own.items()}
    return {path: np.array([v.get(path, usual[path]) for v in given]) for path in usual}


def _raising_torques(machine: Machine, tests: tuple[LiftTest, ...]) -> Array:
    """Torque at the common gear that raises each test's load off the ground: a scale for what holds
    it. [N·m]"""
    loaded = [replace(machine, body=replace(machine.body, mass=test.mass)) for test in tests]
    needed = demand(machine.chain, 1)
    return np.array(
        [max(needed(pull(m, m.start_travel) * m.layers[0].radius), 1e-12) for m in loaded]
    )


def _values(lifts: Lifts, heights: Array, loads: Array) -> Forecast:
    up, margin = lifts.end == End.LIFTED, np.maximum(lifts.least_margin, LEAST_MARGIN)
    with np.errstate(invalid="ignore", divide="ignore"):
        short = heights * (1 - 1 / np.minimum(margin, 1.0))
        speed = np.where(up, heights / lifts.lift_time, short)
    running = (lifts.first_current + lifts.last_current) / 2
    return {
        Kind.TIME: speed,
        Kind.CURRENT: np.where(up, running, lifts.standstill_current),
        Kind.STALL_CURRENT: lifts.standstill_current,
        Kind.VOLTAGE: np.where(up, lifts.last_voltage, np.nan),
        Kind.LIFTED: np.log(margin),
        Kind.HELD: lifts.hold_margin / loads,
    }
