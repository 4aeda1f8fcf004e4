"""Tests as evidence: measurements with their expected scatter, and what bounds from one side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from winchsim.errors import Code, Fault, InputError
from winchsim.inputs import Inputs
from winchsim.model.trial import trial_values

TIMING = (0.2, 0.01)
READING = (0.0, 0.02)
VOLT_READING = (0.02, 0.01)
STALL_READING = (0.0, 0.05)
"""Expected scatter of a time by hand, of a current and of a voltage from a meter, and of a current
read while the motors stand: absolute, and as a share of the value. [s, A or V], [-] Own choice; the
fit finds by how much they were off."""

STALL_SCATTER = 0.05
HOLD_SCATTER = 0.1
"""Expected scatter of the torque at which a lift just stalls, and just holds, as a share of it. [-]
Own choice."""


class Kind(StrEnum):
    """What was measured."""

    TIME = "time"
    CURRENT = "current"
    VOLTAGE = "voltage"
    STALL_CURRENT = "stall_current"


UNITS = {Kind.TIME: "s", Kind.CURRENT: "A", Kind.VOLTAGE: "V", Kind.STALL_CURRENT: "A"}
_SCATTERS = {
    Kind.TIME: TIMING,
    Kind.CURRENT: READING,
    Kind.VOLTAGE: VOLT_READING,
    Kind.STALL_CURRENT: STALL_READING,
}


class Side(StrEnum):
    """What a test says from one side only."""

    LIFTED = "lifted"
    STALLED = "stalled"
    HELD = "held"
    RAN_BACK = "ran_back"


class NoteKind(StrEnum):
    """What could not be used of the tests, or has to be asked."""

    NOT_A_LIFT_TIME = "not_a_lift_time"
    PAWL_HOLDS = "pawl_holds"
    UNKNOWN_PART = "unknown_part"
    WHICH_PART = "which_part"


@dataclass(frozen=True)
class Note:
    """Something that the tests leave open.

    Attributes
    ----------
    kind : NoteKind
    test : LiftTest or None
        None where it is about all of them.
    choices : tuple of (str, float)
        Parts that may be meant, the likeliest first, with their probability; of an unknown part all
        of the build's, with 0.
    """

    kind: NoteKind
    test: LiftTest | None = None
    choices: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class LiftTest:
    """One test of a lift, in SI (°C for temperatures); None where it is not known.

    Attributes
    ----------
    number : int
        Row of the test sheet, from 1.
    mass : float
        [kg]
    rung : int or None
    height, voltage, winding_start : float or None
        Left out: the scenario's. [m], [V], [°C]
    time, current, motor_voltage : float or None
        Measured: from power on to the load being up, of the supply while it ran steadily, at the
        motors. [s], [A], [V]
    held : bool or None
        Whether the load stayed up with the power off.
    outcome : str or None
        ``lifted``, ``stalled``, ``broke`` or ``stopped``.
    broke_link : str
        What broke.
    bare : bool
        Whether it was a run without a load; `mass` is then next to nothing.
    """

    number: int
    mass: float
    rung: int | None = None
    height: float | None = None
    voltage: float | None = None
    winding_start: float | None = None
    time: float | None = None
    current: float | None = None
    motor_voltage: float | None = None
    held: bool | None = None
    outcome: str | None = None
    broke_link: str = ""
    bare: bool = False

    @property
    def done(self) -> bool:
        """Whether anything is known of how it went."""
        known = (self.time, self.current, self.motor_voltage, self.held, self.outcome)
        return any(value is not None for value in known) or bool(self.broke_link)

    @property
    def broke(self) -> bool:
        """Whether something broke."""
        return self.outcome == "broke" or (bool(self.broke_link) and self.outcome is None)

    @property
    def conditions(self) -> tuple[float | None, ...]:
        """What makes two tests the same test."""
        return self.mass, self.height, self.voltage, self.winding_start

    def values_in(self, inputs: Inputs) -> dict[str, float]:
        """What it changes in a scenario: values by path."""
        return trial_values(
            inputs,
            mass=self.mass,
            height=self.height,
            voltage=self.voltage,
            winding_start=self.winding_start,
        )


@dataclass(frozen=True)
class Measurement:
    """One measured number.

    Attributes
    ----------
    test : int
        Place of its test, from 0.
    kind : Kind
    value : float
        [SI]
    scatter : float
        Expected of it. [SI]
    """

    test: int
    kind: Kind
    value: float
    scatter: float


@dataclass(frozen=True)
class OneSided:
    """Something that a test says from one side.

    Attributes
    ----------
    test : int
        Place of its test, from 0.
    side : Side
    """

    test: int
    side: Side


@dataclass(frozen=True)
class Evidence:
    """What a set of tests says.

    Attributes
    ----------
    tests : tuple of LiftTest
        Those that went on; the places in the other fields count them.
    measurements : tuple of Measurement
    sides : tuple of OneSided
    next_rungs : tuple of LiftTest
        Tests of which nothing is known yet.
    broken : tuple of LiftTest
        Tests in which something broke.
    notes : tuple of Note
        What could not be used.
    """

    tests: tuple[LiftTest, ...]
    measurements: tuple[Measurement, ...]
    sides: tuple[OneSided, ...]
    next_rungs: tuple[LiftTest, ...]
    broken: tuple[LiftTest, ...]
    notes: tuple[Note, ...]


def gather(tests: Sequence[LiftTest], *, pawl: bool = False) -> Evidence:
    """Evidence of tests.

    Parameters
    ----------
    tests : sequence of LiftTest
    pawl : bool
        Whether the winch has a pawl, so that what a load did with the power off tells nothing of
        friction.

    Returns
    -------
    Evidence

    Raises
    ------
    InputError
        None of them says anything that could be fitted.
    """
    used: list[LiftTest] = []
    measurements: list[Measurement] = []
    sides: list[OneSided] = []
    notes: list[Note] = []
    for test in tests:
        place = len(used)
        found, one_sided = _measured(test, place), _one_sided(test, place, pawl)
        if test.time is not None and not _lifted(test):
            notes.append(Note(NoteKind.NOT_A_LIFT_TIME, test))
        if found or one_sided:
            used.append(test)
            measurements += found
            sides += one_sided
    if pawl and any(test.held is not None for test in tests):
        notes.append(Note(NoteKind.PAWL_HOLDS))
    if not measurements:
        message = "no row has a measured time or current of a lift: there is nothing to fit"
        hint = "fill in measured_time_s, and measured_current_a where you can"
        raise InputError((Fault(message, "measured_time_s", hint=hint, code=Code.NOTHING_TO_FIT),))
    return Evidence(
        tests=tuple(used),
        measurements=tuple(measurements),
        sides=tuple(sides),
        next_rungs=tuple(test for test in tests if not test.done),
        broken=tuple(test for test in tests if test.broke),
        notes=tuple(notes),
    )


def _lifted(test: LiftTest) -> bool:
    return test.outcome in (None, "lifted") and not test.broke_link


def _measured(test: LiftTest, place: int) -> list[Measurement]:
    """What was measured in a test, as far as it can be used."""
    values: dict[Kind, float | None] = {}
    if _lifted(test):
        values = {
            Kind.TIME: test.time,
            Kind.CURRENT: test.current,
            Kind.VOLTAGE: test.motor_voltage,
        }
    elif test.outcome == "stalled":
        values = {Kind.STALL_CURRENT: test.current}
    return [
        Measurement(place, kind, value, math.hypot(_SCATTERS[kind][0], _SCATTERS[kind][1] * value))
        for kind, value in values.items()
        if value
    ]


def _one_sided(test: LiftTest, place: int, pawl: bool) -> list[OneSided]:
    found = []
    if test.outcome == "stalled":
        found.append(OneSided(place, Side.STALLED))
    if test.outcome == "lifted" and test.time is None:
        found.append(OneSided(place, Side.LIFTED))
    if test.held is not None and not pawl and test.outcome not in ("broke", "stalled"):
        found.append(OneSided(place, Side.HELD if test.held else Side.RAN_BACK))
    return found
