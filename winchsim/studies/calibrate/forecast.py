"""What a calibration may change, and the forecasts of tests with it changed, for many settings at
once by the quasi-static model.

There is one factor for each cause of the ranges, with its prior. A factor is counted in standard
deviations of its prior: 0 is the scenario as it stands, and the declared low and high ends of its
values lie at -1.645 and 1.645, so that nine parts in ten are expected between them. In between and
beyond the logarithm of each value (of its loss, for an efficiency) is moved; a value that is
declared with its default at one end can only go the other way.
"""

import math
import re
from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from winchsim.assessment.ranges import group_causes
from winchsim.errors import Code, DomainError, Fault, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, is_number, spec_at, value_at, walk, with_value, with_values
from winchsim.model import Assumed, Machine, build, plain_raise, pull, with_data_sheets
from winchsim.physics.chain import demand
from winchsim.physics.motor import MotorFit
from winchsim.slow import SlowEnd, lift_all, vary, vary_each
from winchsim.studies.calibrate.evidence import END, Kind, LiftTest, MeasuredReading

REACH = (5.0, 4.0, 3.0, 2.0, END, 1.0, 0.5)
"""Farthest that a factor is moved: the first of these with which the winch can be built. [-]"""

ROUND = 0.1
"""Part of the scale around the default where a lopsided range turns from one slope to the other.
[-]"""

CONSTANT, RESISTANCE, IDLE = "motor_constant", "motor_resistance", "motor_no_load_current"
"""Factors on the motors' given data: speed and torque that both follow from another torque
constant, stall torque and current that both follow from another resistance, and the no-load
current. The motors' efficiency stays."""

MOTOR_RANGES = {CONSTANT: 1.1, RESISTANCE: 1.1, IDLE: 1.3}
"""Catalogue values of motors lie within so many times. [-] Own choice, as in the ranges."""

NO_FACTOR = re.compile(
    r"motors\.\d+\.(no_load_speed|no_load_current|stall_torque|stall_current|rotor_inertia)"
    r"|rope\.(axial_stiffness|damping_ratio)|stage\.\d+\.reverse_efficiency"
)
"""Data of motors are declared singly as well; moved singly they would change the motors'
efficiency, most of all beyond 1. Rotors and the rope's spring move no time or steady current. What
a stage passes back follows its efficiency."""

GIVEN = (
    (r"(stage\.\d+|drum)\.(efficiency|friction|bearing_friction|bearing_efficiency)", 2.0),
    (r"stage\.\d+\.shaft_drag|drum\.drag", 4.0),
    (r"supply\.resistance", 2.3),
)
"""Losses that a scenario gives are rarely measured ones: how many times less or more they may be.
[-] Own choice."""

LEADS = 0.04
"""High end of the resistance of supply and leads where none is given, over that of all motors
stalled in parallel; its low end is none. [-] Own assumption."""


@dataclass(frozen=True)
class ForecastRow:
    """One value that a factor moves.

    Attributes
    ----------
    path : str
    low, value, high : float
        Declared, in SI.
    """

    path: str
    low: float
    value: float
    high: float

    def at(self, z: float) -> float:
        """Value at a place of the factor. [SI]"""
        low, mid, high = sorted(_loss(self.path, v) for v in (self.low, self.value, self.high))
        if mid in (low, high):  # the default is one end
            far = high if mid == low else low
            return _loss(self.path, max(mid + (far - mid) * abs(z) / END, min(0.0, low)), back=True)
        up = math.log(high / mid)
        down = math.log(mid / low) if low > 0 else up
        bend = (math.hypot(z, ROUND) - ROUND) / (math.hypot(END, ROUND) - ROUND)
        moved_by = z * (up + down) / (2 * END) + bend * (up - down) / 2
        return _loss(self.path, mid * math.exp(moved_by), back=True)

    @property
    def one_sided(self) -> bool:
        """Whether the default is one end of its range."""
        return self.value in (self.low, self.high)


def _loss(path: str, value: float, *, back: bool = False) -> float:
    """Loss of an efficiency, or with `back` the efficiency of a loss; other values stay."""
    if not path.endswith("efficiency"):
        return value
    if "reverse" in path:
        return 1 - value
    return 1 / (1 + value) if back else 1 / value - 1


@dataclass(frozen=True)
class Factor:
    """One cause: values that are wrong together.

    Attributes
    ----------
    name : str
        Of the cause, as in the ranges.
    rows : tuple of ForecastRow
    low, high : float
        Bounds. [standard deviations of the prior]
    """

    name: str
    rows: tuple[ForecastRow, ...]
    low: float = -REACH[0]
    high: float = REACH[0]


def find_factors(inputs: Inputs) -> tuple[Factor, ...]:
    """Factors of a scenario, each as far as a winch can be built with it.

    Parameters
    ----------
    inputs : Inputs

    Raises
    ------
    InputError
        The scenario cannot be built.
    """
    machine = build(inputs)
    declared = [
        row
        for row in machine.assumed
        if not NO_FACTOR.fullmatch(row.path) and is_number(inputs, row.path)
    ]
    motor = {
        name: (ForecastRow(name, 1 / times, 1.0, times),) for name, times in MOTOR_RANGES.items()
    }
    causes = {
        name: tuple(
            ForecastRow(r.path, *(float(v or 0.0) for v in (r.low, r.value, r.high))) for r in rows
        )
        for name, rows in group_causes([*_given(inputs, machine), *declared]).items()
    }
    return tuple(_bounded(inputs, machine, Factor(*item)) for item in (causes | motor).items())


def _given(inputs: Inputs, machine: Machine) -> list[Assumed]:
    """Losses that the scenario gives, with how far they may be off."""
    found = []
    for path, value, _ in walk(inputs):
        times = next((times for pattern, times in GIVEN if re.fullmatch(pattern, path)), 0.0)
        loss = _loss(path, value) if times and isinstance(value, float) else 0.0
        if loss > 0:
            low, high = sorted(_loss(path, loss * by, back=True) for by in (1 / times, times))
            found.append(Assumed(path, value, "", low, high, ""))
    if not inputs.supply.resistance:
        together = sum(group.count / group.motor.resistance for group in machine.groups)
        found.append(Assumed("supply.resistance", 0.0, "", 0.0, LEADS / together, ""))
    return found


def _bounded(inputs: Inputs, machine: Machine, factor: Factor) -> Factor:
    """A factor with the bounds up to which a winch can be built."""

    def builds(place: float) -> bool:
        try:
            build(moved(inputs, machine, (factor,), [place]))
        except (DomainError, InputError):
            return False
        return True

    both = not all(row.one_sided for row in factor.rows)
    return replace(
        factor,
        low=next((-far for far in REACH if both and builds(-far)), 0.0),
        high=next((far for far in REACH if builds(far)), 0.0),
    )


def moved(
    inputs: Inputs,
    machine: Machine,
    factors: Sequence[Factor],
    places: Sequence[float] | np.ndarray,
) -> Inputs:
    """Scenario with factors moved; one at 0 leaves its values as they are.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    factors : sequence of Factor
    places : sequence of float
        Of each factor. [standard deviations of the prior]
    """
    at = {f.name: (f.rows, float(z)) for f, z in zip(factors, places, strict=True) if z}
    motor = {name: rows[0].at(z) for name, (rows, z) in at.items() if name in MOTOR_RANGES}
    if motor:
        groups = tuple(replace(g, fit=_idling(g.fit, motor.get(IDLE, 1.0))) for g in machine.groups)
        inputs = with_data_sheets(
            inputs,
            replace(machine, groups=groups),
            motor.get(CONSTANT, 1.0),
            motor.get(RESISTANCE, 1.0),
        )
    values = {
        row.path: min(row.at(z), spec_at(inputs, row.path).high)
        for name, (rows, z) in at.items()
        for row in rows
        if name not in MOTOR_RANGES and not (row.one_sided and z < 0)
    }
    return with_values(inputs, values)


def _idling(fit: MotorFit, times: float) -> MotorFit:
    """A motor with another no-load current, and the drag that goes with it."""
    return replace(
        fit,
        motor=replace(fit.motor, drag=times * fit.motor.drag),
        no_load_current=times * fit.no_load_current,
    )


# --- forecasts

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
    readings : sequence of MeasuredReading
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
        self, inputs: Inputs, readings: Sequence[MeasuredReading], factors: Sequence[Factor]
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
        blocked = np.flatnonzero(
            np.isin(lift_all(variants).end, (SlowEnd.OVERFLOW, SlowEnd.BLOCKED))
        )
        problems = dict(variants.problems) | dict.fromkeys(
            blocked.tolist(), "the rope or the load meets something on the way up"
        )
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

    def forecast(self, places: np.ndarray) -> np.ndarray:
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
        like = replace(self.machine, links=())
        lifts = lift_all(vary_each([self._moved(place) for place in at], like=like))
        heights, loads = (np.tile(each, len(at)) for each in (self._heights, self._loads))
        up, margin = lifts.end == SlowEnd.LIFTED, np.fmax(lifts.least_margin, LEAST_MARGIN)
        standing = np.nan_to_num(lifts.standstill_current)
        holds = np.nan_to_num(lifts.hold_margin / loads, nan=-1.0)
        short = heights * (1 - 1 / np.minimum(margin, 1.0))
        found = {
            Kind.TIME: np.where(up, heights / lifts.lift_time, short),
            Kind.CURRENT: np.where(up, lifts.steady_current, standing),
            Kind.STALL_CURRENT: standing,
            Kind.VOLTAGE: np.where(up, lifts.steady_voltage, np.nan),
            **dict.fromkeys((Kind.LIFTED, Kind.STALLED), np.log(margin)),
            **dict.fromkeys((Kind.HELD, Kind.RAN_BACK), holds),
        }
        rows = zip(self.readings, self._of_test, strict=True)
        return np.stack([found[row.kind][test :: len(self.tests)] for row, test in rows], axis=1)

    def _moved(self, place: np.ndarray) -> tuple[Inputs, dict[str, np.ndarray]]:
        """Scenario with the factors at a place, and what its tests change; where there are no such
        motors, loads that nothing lifts."""
        try:
            return moved(self.base, self.machine, self.factors, place), self._columns
        except DomainError:
            return self.base, self._columns | {"load.mass": np.full(len(self.tests), -1.0)}


def forecast_with_slopes(bench: Bench, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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


def _columns(inputs: Inputs, tests: tuple[LiftTest, ...]) -> dict[str, np.ndarray]:
    """Values by path, one for each test; only those that any test gives, the scenario's for the
    others. Windings that it says nothing of are as warm as the air."""
    given = [test.values_in(inputs) for test in tests]
    own = {path: value_at(inputs, path) for values in given for path in values}
    usual = {path: inputs.settings.ambient if v is None else float(v) for path, v in own.items()}
    return {path: np.array([v.get(path, usual[path]) for v in given]) for path in usual}


def _raising_torques(machine: Machine, tests: tuple[LiftTest, ...]) -> np.ndarray:
    """Torque at the common gear that raises each test's load off the ground: a scale for what holds
    it. [N·m]"""
    loaded = [replace(machine, body=replace(machine.body, mass=test.mass)) for test in tests]
    needed = demand(machine.chain, 1)
    return np.array(
        [max(needed(pull(m, m.start_travel) * m.layers[0].radius), 1e-12) for m in loaded]
    )
