"""Learning from tests: timed lifts make a model with assumed losses a measured one.

`evidence` sorts what tests show, `forecast` has what may be moved with its priors and asks the
model, `fit` is least squares without a winch, `calibration` puts them together and predicts the
next rung, `breakage` bounds the capacity of what broke.
"""

from winchsim.studies.calibrate.breakage import Capacity, look_into
from winchsim.studies.calibrate.calibration import (
    Calibration,
    Interval,
    Parameter,
    Prediction,
    calibrate,
)
from winchsim.studies.calibrate.evidence import Kind, LiftTest, Note, NoteKind, Reading

__all__ = [
    "Calibration",
    "Capacity",
    "Interval",
    "Kind",
    "LiftTest",
    "Note",
    "NoteKind",
    "Parameter",
    "Prediction",
    "Reading",
    "calibrate",
    "look_into",
]
