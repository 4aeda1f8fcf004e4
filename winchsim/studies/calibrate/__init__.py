"""Learning from tests: timed lifts make a model with assumed losses a measured one.

Rooms: `evidence` sorts what tests say, `knobs` has what may be turned, `forecast` asks the model, `fit` is least squares that
knows no winch, `calibration` puts them together, `prediction` foretells the next rung, `postmortem` looks into a breakage.
"""

from winchsim.studies.calibrate.calibration import Calibration, Parameter, Residual, SideCheck, calibrate
from winchsim.studies.calibrate.evidence import Kind, LiftTest, Side
from winchsim.studies.calibrate.postmortem import Broken, look_into
from winchsim.studies.calibrate.prediction import Interval, Prediction

__all__ = [
    "Broken",
    "Calibration",
    "Interval",
    "Kind",
    "LiftTest",
    "Parameter",
    "Prediction",
    "Residual",
    "Side",
    "SideCheck",
    "calibrate",
    "look_into",
]
