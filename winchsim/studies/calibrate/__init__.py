"""Learning from tests: timed lifts make a model with assumed losses a measured one.

`evidence` sorts what tests show and bounds the capacity of what broke, `forecast` has what may be
moved with its priors and asks the model, `calibration` fits it by least squares and predicts the
next rung.
"""

from winchsim.studies.calibrate.calibration import (
    Calibration,
    FittedValue,
    Interval,
    Parameter,
    Prediction,
    calibrate,
)
from winchsim.studies.calibrate.evidence import (
    UNITS,
    Capacity,
    Kind,
    LiftTest,
    MeasuredReading,
    Note,
    NoteKind,
    look_into,
)

__all__ = [
    "UNITS",
    "Calibration",
    "Capacity",
    "FittedValue",
    "Interval",
    "Kind",
    "LiftTest",
    "MeasuredReading",
    "Note",
    "NoteKind",
    "Parameter",
    "Prediction",
    "calibrate",
    "look_into",
]
