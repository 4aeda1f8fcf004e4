"""Learning from tests: timed lifts make a model with assumed losses a measured one.

`evidence` sorts what tests show, `factors` has what may be moved and its priors, `forecast` asks
the model, `fit` is least squares without a winch, `calibration` puts them together, `prediction`
forecasts the next rung, `breakage` bounds the capacity of what broke.
"""

from winchsim.studies.calibrate.breakage import Bound, Broken, look_into
from winchsim.studies.calibrate.calibration import (
    Calibration,
    Parameter,
    Residual,
    SideCheck,
    Value,
    calibrate,
)
from winchsim.studies.calibrate.evidence import Kind, LiftTest, Note, NoteKind, Side
from winchsim.studies.calibrate.prediction import Interval, Prediction

__all__ = [
    "Bound",
    "Broken",
    "Calibration",
    "Interval",
    "Kind",
    "LiftTest",
    "Note",
    "NoteKind",
    "Parameter",
    "Prediction",
    "Residual",
    "Side",
    "SideCheck",
    "Value",
    "calibrate",
    "look_into",
]
