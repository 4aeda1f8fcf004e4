"""The ladder: a plan of test loads from an unloaded run to the target."""

from winchsim.studies.ladder.descent import Descent, Lowering
from winchsim.studies.ladder.plan import Ladder, Rung, plan_ladder

__all__ = ["Descent", "Ladder", "Lowering", "Rung", "plan_ladder"]
