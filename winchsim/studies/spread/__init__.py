"""How the differences from part to part move the result of a lift.

`builds` has what may differ and makes machines of numbers between 0 and 1, `outcomes` lifts them in
chunks on any executor, `study` puts them together.

- What differs: the tolerances of the scenario, the declared tolerance of a given value, the range
  of an assumed one, and capacities within their range, one draw for all equal parts of a stage.
- Every running motor becomes a group of its own, so one is dragged by the chain's own law. What is
  unknown of a type (heat, rotor inertia) is drawn once for the group.
- Chunks have one size whatever the number of workers, so a seed gives the same numbers on any
  executor.
- Intervals of shares are those of Clopper and Pearson. Influence is Spearman's rank correlation
  against its 1 % limit of chance. Times are compared as speeds: a stall is the slowest.
"""

from winchsim.studies.spread.builds import Given, MotorsApart, Uncertain
from winchsim.studies.spread.outcomes import Ending
from winchsim.studies.spread.study import (
    FAILURES,
    LEVELS,
    QUANTITIES,
    RESULTS,
    TOLERATED,
    Probability,
    Spread,
    probability,
    spread,
)

__all__ = [
    "FAILURES",
    "LEVELS",
    "QUANTITIES",
    "RESULTS",
    "TOLERATED",
    "Ending",
    "Given",
    "MotorsApart",
    "Probability",
    "Spread",
    "Uncertain",
    "probability",
    "spread",
]
