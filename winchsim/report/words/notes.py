"""What the data of the motors show, and which keys of a scenario are no longer used, in words."""

from winchsim.inputs import Inputs, without_numbers
from winchsim.inputs.retired import REMOVED
from winchsim.model import Machine
from winchsim.physics.motor.fitted import FitNote, Remark
from winchsim.report.document import Text, Value, say
from winchsim.report.words.values import rough

_STALLED = (
    "clamp the motor, let a lever on its shaft {} behind a guard, apply {{}} for two seconds at "
    "most, and read {} together."
)
_NEXT = "The measurement that would help most is "
_WORDS = {
    Remark.FITTED: (
        "Fitted to {} points: speed within {} of the no-load speed, current within {} of the stall "
        "current.",
        ("", "%", "%"),
    ),
    Remark.METER_DISAGREES: (
        "The meter reads {}, the stalled motor shows {}. The latter is used, because brushes carry "
        "small currents badly.",
        ("ohm", "ohm"),
    ),
    Remark.CONTRADICTION: (
        "Speed and torque contradict each other: {} of the torque is left out.",
        ("%",),
    ),
    Remark.LOW_EFFICIENCY: (
        "Speed and torque leave an efficiency of {}, which is low: measure one again.",
        ("%",),
    ),
    Remark.FREE_RUN: (
        _NEXT + "the no-load current: let the motor run free at {}, with nothing on the shaft that "
        "can fly off.",
        ("V",),
    ),
    Remark.STALL: (
        _NEXT
        + "the stall current: "
        + _STALLED.format("rest against a stop", "voltage and current"),
        ("V",),
    ),
    Remark.LEVER: (
        _NEXT
        + "the stalled pull: "
        + _STALLED.format("press on a kitchen scale", "scale, voltage and current"),
        ("V",),
    ),
    Remark.WORKING_POINT: (
        _NEXT + "another working point, near half the no-load speed at {}: a light brake on the "
        "shaft for a few seconds.",
        ("V",),
    ),
}
"""By remark: its sentence, and the units of its values."""


def notes(inputs: Inputs, machine: Machine) -> tuple[Text, ...]:
    """Keys that are no longer used, then what the data of each motor group show."""
    unused = (say(f"{p} is no longer used: {REMOVED[without_numbers(p)]}.") for p in inputs.unused)
    return (*unused, *(_of_group(number, note) for number, note in machine.notes))


def _of_group(number: int, found: FitNote) -> Text:
    template, units = _WORDS[found.kind]
    values = (Value(rough(v), unit) for v, unit in zip(found.values, units, strict=True))
    return say(f"Motor group {number}: {template}", *values)
