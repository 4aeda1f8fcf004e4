"""Forecasts of tests by the quasi-static model, for many settings at once."""

from collections.abc import Sequence
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.frozen import replace
from winchsim.inputs import Inputs, value_at, with_value
from winchsim.model import Machine, build
from winchsim.model.estimate import pull
from winchsim.model.trial import plain_raise
from winchsim.physics.chain import demand
from winchsim.slow import End, lift_all, vary, vary_each
from winchsim.studies.calibrate.evidence import Kind, LiftTest, Reading
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


class Bench:
    """A scenario and what was read of its tests, forecast with its factors at any place.

    Parameters
    ----------
    inputs : Inputs
        Only its raising matters: its programme is left out.
    readings : sequence of Reading
    factors : sequence of Factor

    Attributes
    ----------
    tests : tuple of LiftTest
        Each once.
    machine : Machine
        With the lightest load.
    heights : ndarray
        Of the test of each reading. [m]

    Raises
    ------
    InputError
        A test that the scenario cannot have seen, whatever its losses.
    """

    def __init__(
        self, inputs: Inputs, readings: Sequence[Reading], factors: Sequence[Factor]
    ) -> None:
        self.readings, self.factors = readings, tuple(factors)
        self.tests = tuple(dict.fromkeys(row.test for row in readings))
        inputs = plain_raise(inputs)
        self.base = _lightest(inputs, self.tests)
        self._columns = _columns(inputs, self.tests)
        self._of_test = [self.tests.index(row.test) for row in readings]
        self._heights = np.array([test.height or inputs.load.height for test in self.tests])
        self.heights = self._heights[self._of_test]
        self.machine = build(self.base)
        self._loads = _raising_torques(self.machine, self.tests)
        variants = vary(self.base, self._columns)
        blocked = np.flatnonzero(np.isin(lift_all(variants).end, (End.OVERFLOW, End.BLOCKED)))
        meets = "the rope or the load meets something on the way up"
        problems = {**variants.problems, **dict.fromkeys(blocked.tolist(), meets)}
        if problems:
            raise InputError(
                tuple(
                    Fault(
                        f"test {test.number} cannot be lifted by this scenario: {problems[place]}",
                        "mass_kg",
                        got=f"{test.mass:g} kg",
                        code=Code.NOTHING_TO_FIT,
                    )
                    for place, test in enumerate(self.tests)
                    if place in problems
                )
            )

    def forecast(self, places: Array) -> Array:
        """What the model says of each of n readings with the factors at k places, shape (k, n).

        Of a time the mean speed of the lift, height over lift time; negative, by how much the
        torque falls short, where it stalls [m/s]. Of currents and voltages the same, of the supply
        and at the motors [A], [V]. Of lifting and stalling the logarithm of the torque at rest over
        the most that the lift asks for. Of holding and running back the torque to spare by which
        friction or a brake holds the load, over the torque that raises it. [-]

        Where no winch can be built nothing is lifted.
        """
        movable = np.array([factor.high for factor in self.factors]) > HAIR
        at = np.where((places == 0) & movable, HAIR, places)
        families = [self._moved(place) for place in at]
        lifts = lift_all(vary_each(families, like=replace(self.machine, links=())))
        heights, loads = (np.tile(each, len(at)) for each in (self._heights, self._loads))
        up, margin = lifts.end == End.LIFTED, np.fmax(lifts.least_margin, LEAST_MARGIN)
        standing = np.nan_to_num(lifts.standstill_current)
        holds = np.nan_to_num(lifts.hold_margin / loads, nan=-1.0)
        short = heights * (1 - 1 / np.minimum(margin, 1.0))
        running = (lifts.first_current + lifts.last_current) / 2
        found = {
            Kind.TIME: np.where(up, heights / lifts.lift_time, short),
            Kind.CURRENT: np.where(up, running, standing),
            Kind.STALL_CURRENT: standing,
            Kind.VOLTAGE: np.where(up, lifts.last_voltage, np.nan),
            **dict.fromkeys((Kind.LIFTED, Kind.STALLED), np.log(margin)),
            **dict.fromkeys((Kind.HELD, Kind.RAN_BACK), holds),
        }
        rows = [found[row.kind].reshape(len(at), -1) for row in self.readings]
        return np.stack([row[:, i] for row, i in zip(rows, self._of_test, strict=True)], axis=1)

    def _moved(self, place: Array) -> tuple[Inputs, dict[str, Array]]:
        """Scenario with the factors at a place, and what its tests change; where there are no such
        motors, loads that nothing lifts."""
        try:
            return moved(self.base, self.machine, self.factors, place), self._columns
        except DomainError:
            return self.base, self._columns | {"load.mass": np.full(len(self.tests), -1.0)}


def forecast_with_slopes(bench: Bench, place: Array) -> tuple[Array, Array]:
    """Forecast of n readings at a place, shape (n,), and its change with each of p factors, (p, n),
    from one batch. [of the quantity a standard deviation of the prior]
    """
    steps = np.where(place + STEP > [factor.high for factor in bench.factors], -STEP, STEP)
    found = bench.forecast(np.concatenate([place[None], place + np.diag(steps)]))
    return found[0], (found[1:] - found[0]) / steps[:, None]


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
