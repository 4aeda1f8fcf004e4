"""Brushed DC motors: their linear law, and their constants from whatever is known of them.

The rotor is a resistance, a constant k (torque per ampere and back e.m.f. per rad/s are the same
number in SI), a drag and perhaps a brush drop. Behind the drag stands a loss in proportion to the
torque, with the gearbox if there is one: an ordinary element of the chain. Signs: positive speed,
torque and current drive in the raising sense. Resistance and constant are stated at 20 °C and
follow their own temperatures by linear laws. Temperatures are in °C throughout.

Each way of describing a motor ends in a `MotorFit`: the motor and its output, what they give back
beside what was given, what was assumed with its range, and the one measurement that would help
most.
"""

from winchsim.physics.motor.descriptions import from_bench, from_data_sheet, from_label, from_points
from winchsim.physics.motor.fitted import DISAGREEMENT, FitNote, MotorFit
from winchsim.physics.motor.law import (
    Motor,
    OperatingPoint,
    constant_at,
    copper_loss,
    no_load,
    operating_point,
    resistance_at,
    shaft_torque,
    stall,
    steady_current,
)
from winchsim.physics.motor.output import Output, OutputGearbox

__all__ = [
    "DISAGREEMENT",
    "FitNote",
    "Motor",
    "MotorFit",
    "OperatingPoint",
    "Output",
    "OutputGearbox",
    "constant_at",
    "copper_loss",
    "from_bench",
    "from_data_sheet",
    "from_label",
    "from_points",
    "no_load",
    "operating_point",
    "resistance_at",
    "shaft_torque",
    "stall",
    "steady_current",
]
