"""Tests as evidence: readings with their expected scatter, some of which bound from one side."""

import math
from collections.abc import Sequence
from enum import StrEnum

from winchsim.errors import Code, Fault, InputError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs
from winchsim.model.trial import trial_values


class Kind(StrEnum):
    """What was measured, or seen from one side."""

    TIME = "time"
    CURRENT = "current"
    VOLTAGE = "voltage"
    STALL_CURRENT = "stall_current"
    LIFTED = "lifted"
    STALLED = "stalled"
    HELD = "held"
    RAN_BACK = "ran_back"

    @property
    def is_measured(self) -> bool:
        """Whether it is a number; the others are bounds from one side."""
        return self in UNITS


UNITS = {Kind.TIME: "s", Kind.CURRENT: "A", Kind.VOLTAGE: "V", Kind.STALL_CURRENT: "A"}

SCATTERS = {
    Kind.TIME: (0.2, 0.01),
    Kind.CURRENT: (0.0, 0.02),
    Kind.VOLTAGE: (0.02, 0.01),
    Kind.STALL_CURRENT: (0.0, 0.05),
    Kind.LIFTED: (0.05, 0.0),
    Kind.STALLED: (0.05, 0.0),
    Kind.HELD: (0.1, 0.0),
    Kind.RAN_BACK: (0.1, 0.0),
}
"""Expected scatter: absolute, and as a share of the value. Of a time by hand, a current and a
voltage from a meter and a current read while the motors stand [s, A or V], [-]; of the torque at
which a lift just stalls, and just holds, as a share of it. Own choice; the fit finds by how much
the measurements were off."""


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
    rest : float or None
        Pause before it. [s]
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
    rest: float | None = None
    bare: bool = False

    @property
    def done(self) -> bool:
        """Whether anything is known of how it went."""
        return bool(self.broke_link) or any(
            seen is not None
            for seen in (self.time, self.current, self.motor_voltage, self.held, self.outcome)
        )

    @property
    def broke(self) -> bool:
        """Whether something broke."""
        return self.outcome == "broke" or (bool(self.broke_link) and self.outcome is None)

    @property
    def lifted(self) -> bool:
        """Whether its time is that of a lift."""
        return self.outcome in (None, "lifted") and not self.broke_link

    def values_in(self, inputs: Inputs) -> dict[str, float]:
        """What it changes in a scenario: values by path."""
        return trial_values(
            inputs,
            mass=self.mass,
            height=self.height,
            voltage=self.voltage,
            winding_start=self.winding_start,
        )


NoteKind = StrEnum("NoteKind", ["NOT_A_LIFT_TIME", "PAWL_HOLDS", "UNKNOWN_PART", "WHICH_PART"])
"""What could not be used of the tests, or has to be asked."""


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


@dataclass(frozen=True)
class Reading:
    """One measured number, or what was seen from one side; calibrated, it stands beside the model.

    Attributes
    ----------
    test : LiftTest
    kind : Kind
    measured : float
        [SI]; 0 for what was seen from one side.
    predicted, before : float
        By the calibrated model, and by the scenario as it was; infinite for the time of a lift that
        stalls [SI]. Of lifting and stalling: torque over torque needed. Of holding: friction to
        spare over the torque that raises the load; negative where it is too little. [-]
    size : float
        Difference over expected scatter. [-]
    agrees : bool
        Whether it belongs to the others; of what was seen from one side, whether the calibrated
        model shows the same.
    """

    test: LiftTest
    kind: Kind
    measured: float
    predicted: float = math.nan
    before: float = math.nan
    size: float = 0.0
    agrees: bool = True

    @property
    def is_outlier(self) -> bool:
        """Whether it is a measurement that was left out of the fit."""
        return self.kind.is_measured and not self.agrees


def expected_scatter(kind: Kind, value: float) -> float:
    """Scatter of a measurement as a share of its value; of what was seen from one side, as a share
    of the torque. [-]"""
    fixed, share = SCATTERS[kind]
    return math.hypot(fixed, share * value) / value if kind.is_measured else fixed


def gather(
    tests: Sequence[LiftTest], *, pawl: bool = False
) -> tuple[tuple[Reading, ...], tuple[Note, ...]]:
    """What tests show, and what of them could not be used.

    Parameters
    ----------
    tests : sequence of LiftTest
    pawl : bool
        Whether the winch has a pawl, so that what a load did with the power off tells nothing of
        friction.

    Raises
    ------
    InputError
        None of them says anything that could be fitted.
    """
    readings = tuple(reading for test in tests for reading in _readings(test, pawl))
    if not any(row.kind.is_measured for row in readings):
        raise InputError(
            (
                Fault(
                    "no row has a measured time or current of a lift: there is nothing to fit",
                    "measured_time_s",
                    hint="fill in measured_time_s, and measured_current_a where you can",
                    code=Code.NOTHING_TO_FIT,
                ),
            )
        )
    notes = [
        Note(NoteKind.NOT_A_LIFT_TIME, t) for t in tests if t.time is not None and not t.lifted
    ]
    if pawl and any(test.held is not None for test in tests):
        notes.append(Note(NoteKind.PAWL_HOLDS))
    return readings, tuple(notes)


def _readings(test: LiftTest, pawl: bool) -> list[Reading]:
    """What a test says, as far as it can be used."""
    stalled = test.outcome == "stalled"
    found = {Kind.STALL_CURRENT: test.current} if stalled else {}
    if test.lifted:
        found = {Kind.TIME: test.time, Kind.CURRENT: test.current, Kind.VOLTAGE: test.motor_voltage}
    tells = test.held is not None and not pawl and test.outcome not in ("broke", "stalled")
    seen = {
        Kind.STALLED: stalled,
        Kind.LIFTED: test.outcome == "lifted" and test.time is None,
        Kind.HELD if test.held else Kind.RAN_BACK: tells,
    }
    return [
        *(Reading(test, kind, value) for kind, value in found.items() if value),
        *(Reading(test, kind, 0.0) for kind, is_seen in seen.items() if is_seen),
    ]
