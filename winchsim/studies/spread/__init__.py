"""How the differences from part to part move the result of a lift.

Rooms: `tolerances` has what may differ, `builds` makes machines of numbers between 0 and 1, `outcomes` lifts them, `parallel`
does so in chunks on any executor, `intervals` and `importance` are statistics that know no winch, `study` puts them together.
"""

from winchsim.studies.spread.intervals import Probability, probability
from winchsim.studies.spread.study import LEVELS, RESULTS, Spread, describe, findings, spread
from winchsim.studies.spread.tolerances import Given, Uncertain

__all__ = [
    "LEVELS",
    "RESULTS",
    "Given",
    "Probability",
    "Spread",
    "Uncertain",
    "describe",
    "findings",
    "probability",
    "spread",
]
