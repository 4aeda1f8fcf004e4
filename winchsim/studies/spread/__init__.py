"""How the differences from part to part move the result of a lift.

`tolerances` has what may differ, `builds` makes machines of numbers between 0 and 1, `outcomes`
lifts them, `parallel` does so in chunks on any executor, `study` puts them together.
"""

from winchsim.studies.spread.statistics import Probability, probability
from winchsim.studies.spread.study import LEVELS, QUANTITIES, RESULTS, Spread, spread
from winchsim.studies.spread.tolerances import Given, Uncertain

__all__ = [
    "LEVELS",
    "QUANTITIES",
    "RESULTS",
    "Given",
    "Probability",
    "Spread",
    "Uncertain",
    "probability",
    "spread",
]
