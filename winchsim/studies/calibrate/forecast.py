"""Forecasts of tests: by the quasi-static model for many settings at once, in full for a few."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from winchsim.assessment.history import read_history
from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.inputs import Inputs, value_at, with_value
from winchsim.model import Machine, build
from winchsim.model.estimate import pull
from winchsim.model.trial import plain_raise, under_test
from winchsim.physics.chain import demand
from winchsim.simulation import simulate
from winchsim.slow import End, Lifts, Variants, lift_batch, vary
from winchsim.slow.stacking import join_batches
from winchsim.studies.calibrate.evidence import Kind, LiftTest
from winchsim.studies.calibrate.factors import Factor, moved

Array = NDArray[np.float64]

HAIR = 1e-9
"""Place that stands for 0 in forecasts: an assumed value that is derived differs a little from
the same value given, and that difference over a small step would pass for a slope. [standard
deviations]"""

LEAST_MARGIN = 1e-3
"""Margins are taken as no smaller: a lift that falls so short does not depend on it. [-]"""


@dataclass(frozen=True)
class Forecast:
    """What the model says of n tests with the factors at k places; every field has the shape (k,
    n).

    Attributes
    ----------
    speed : ndarray
        Mean speed of the lift, height over lift time; negative, by how much the torque falls short,
        where it stalls. [m/s]
    current, standstill_current : ndarray
        Of the supply: running steadily, and at rest. [A]
    voltage : ndarray
        At the motors, running. [V]
    margin : ndarray
        Torque at rest over the most that the lift asks for; 1 just stalls. [-]
    hold : ndarray
        Torque to spare by which friction or a brake holds the load, over the torque that raises it;
        0 just holds. [-]
    """

    speed: Array
    current: Array
    standstill_current: Array
    voltage: Array
    margin: Array
    hold: Array

    def of(self, kind: Kind) -> Array:
        """Forecast of a kind of measurement; a time comes as a speed."""
        return {
            Kind.TIME: self.speed,
            Kind.CURRENT: self.current,
            Kind.VOLTAGE: self.voltage,
            Kind.STALL_CURRENT: self.standstill_current,
        }[kind]


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
    pawl : bool
        Whether a pawl holds every load.
    """

    def __init__(
        self, inputs: Inputs, tests: Sequence[LiftTest], factors: Sequence[Factor]
    ) -> None:
        self.inputs, self.tests, self.factors = plain_raise(inputs), tuple(tests), tuple(factors)
        self.base = _lightest(self.inputs, self.tests)
        self._columns = _columns(self.inputs, self.tests)
        self.heights = np.array(
            [test.height if test.height is not None else inputs.load.height for test in self.tests]
        )
        self.machine = build(self.base)
        self._movable = np.array([factor.high > HAIR for factor in self.factors], dtype=bool)
        self._without_links = replace(self.machine, links=())
        self.pawl = self.machine.pawl
        self._loads = _raising_torques(self.machine, self.tests)
        self._refuse()

    def _refuse(self) -> None:
        """Refuse tests that the scenario cannot have seen, whatever its losses.

        Raises
        ------
        InputError
        """
        variants = vary(self.base, self._columns)
        for place, reason in variants.problems.items():
            raise _refused(self.tests[place], reason)
        for members, batch in variants.batches:
            for end, place in zip(lift_batch(batch).end, members, strict=True):
                if end in (End.OVERFLOW, End.BLOCKED):
                    raise _refused(
                        self.tests[place], "the rope or the load meets something on the way up"
                    )

    def foretell(self, places: Array) -> Forecast:
        """Forecast of every test with the factors at several places, shape (k, factors).

        A place with which no winch can be built lifts nothing.
        """
        parts = [self._variants(place) for place in places]
        good = [place for place, part in enumerate(parts) if part is not None]
        found = self._nothing_lifted(len(parts))
        for family in zip(*(part.batches for part in parts if part is not None), strict=True):
            lifts = lift_batch(join_batches([batch for _, batch in family]))
            members = family[0][0]
            values = _values(
                lifts,
                np.tile(self.heights[members], len(good)),
                np.tile(self._loads[members], len(good)),
            )
            for name, value in values.items():
                found[name][np.ix_(good, members)] = value.reshape(len(good), -1)
        return Forecast(**found)

    def moved(self, inputs: Inputs, place: Array) -> Inputs:
        """A scenario with the factors at a place."""
        return moved(inputs, self.machine, self.factors, place)

    def _variants(self, place: Array) -> Variants | None:
        place = np.where((place == 0) & self._movable, HAIR, place)
        try:
            found = vary(self.moved(self.base, place), self._columns, like=self._without_links)
        except (DomainError, InputError):
            return None
        return None if found.problems else found

    def _nothing_lifted(self, count: int) -> dict[str, Array]:
        shape = (count, len(self.tests))
        return {
            "speed": np.broadcast_to(self.heights * (1 - 1 / LEAST_MARGIN), shape).copy(),
            "current": np.zeros(shape),
            "standstill_current": np.zeros(shape),
            "voltage": np.full(shape, np.nan),
            "margin": np.full(shape, LEAST_MARGIN),
            "hold": np.full(shape, -1.0),
        }

    def in_full(self, place: Array, test: int) -> dict[Kind, float]:
        """Speed, current and voltage of one test by the full simulation; empty where it is not
        lifted or cannot be run."""
        values = {path: float(column[test]) for path, column in self._columns.items()}
        inputs = under_test(self.moved(self.inputs, place), values)
        quiet = replace(inputs, settings=replace(inputs.settings, watch=0.0, stall_watch=0.0))
        try:
            machine = build(quiet)
        except InputError:  # a load so light that its rope cannot be followed, say
            return {}
        unbroken = tuple(
            replace(k, scale=0.0) for k in machine.links
        )  # what breaks is not the question here
        record = simulate(replace(machine, links=unbroken), rtol=quiet.settings.relative_tolerance)
        history = read_history(record)
        time, current, voltage = (
            history.lift_time,
            history.steady("current"),
            history.steady("voltage"),
        )
        if time is None or current is None or voltage is None:
            return {}
        return {
            Kind.TIME: float(self.heights[test] / time),
            Kind.CURRENT: current,
            Kind.VOLTAGE: voltage,
        }


STEP = 1e-4
"""Step of a derivative, in standard deviations of the prior. [-]"""


def forecast_with_slopes(
    bench: Bench, place: Array, moving: NDArray[np.bool_]
) -> tuple[Forecast, Array]:
    """Forecast of all tests at a place, and one step away along each moving factor, all at once.

    Returns
    -------
    (Forecast of 1 + m places, ndarray of shape (m,))
        And the steps. [standard deviations of the prior]
    """
    high = np.array([factor.high for factor in bench.factors])
    steps = np.where(place + STEP > high, -STEP, STEP)
    return bench.foretell(np.concatenate([place[None], place + np.diag(steps)[moving]])), steps[
        moving
    ]


def _lightest(inputs: Inputs, tests: tuple[LiftTest, ...]) -> Inputs:
    """Scenario with the lightest load that it can be built with: settings that just stall the
    heaviest are settings still."""
    for mass in sorted(test.mass for test in tests):
        found = with_value(inputs, "load.mass", mass)
        try:
            build(found)
        except InputError:
            continue
        return found
    return inputs


def _columns(inputs: Inputs, tests: tuple[LiftTest, ...]) -> dict[str, Array]:
    """Values by path, one for each test; only those that any test gives, the scenario's for the
    others."""
    given = [test.values_in(inputs) for test in tests]
    return {
        path: np.array([values.get(path, _own(inputs, path)) for values in given])
        for path in dict.fromkeys(path for values in given for path in values)
    }


def _own(inputs: Inputs, path: str) -> float:
    """The scenario's value; windings that it says nothing of are as warm as the air."""
    value = value_at(inputs, path)
    return inputs.settings.ambient if value is None else float(value)


def _raising_torques(machine: Machine, tests: tuple[LiftTest, ...]) -> Array:
    """Torque at the common gear that raises each test's load off the ground: a scale for what holds
    it. [N·m]"""
    loaded = [replace(machine, body=replace(machine.body, mass=test.mass)) for test in tests]
    needed = demand(machine.chain, 1)
    return np.array(
        [max(needed(pull(m, m.start_travel) * m.layers[0].radius), 1e-12) for m in loaded]
    )


def _values(lifts: Lifts, heights: Array, loads: Array) -> dict[str, Array]:
    up = lifts.end == End.LIFTED
    with np.errstate(invalid="ignore", divide="ignore"):
        short = heights * (1 - 1 / np.clip(lifts.least_margin, LEAST_MARGIN, 1.0))
        speed = np.where(up, heights / lifts.lift_time, short)
    running = (lifts.first_current + lifts.last_current) / 2
    return {
        "speed": speed,
        "current": np.where(up, running, lifts.standstill_current),
        "standstill_current": lifts.standstill_current,
        "voltage": np.where(up, lifts.last_voltage, np.nan),
        "margin": np.maximum(lifts.least_margin, LEAST_MARGIN),
        "hold": lifts.hold_margin / loads,
    }


def _refused(test: LiftTest, reason: str) -> InputError:
    message = f"test {test.number} cannot be lifted by this scenario: {reason}"
    return InputError(
        (Fault(message, "mass_kg", got=f"{test.mass:g} kg", code=Code.NOTHING_TO_FIT),)
    )
