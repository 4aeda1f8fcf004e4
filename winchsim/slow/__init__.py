"""The quasi-static model: thousands of variants of a winch lifted at once.

It follows the slow states alone (travel, temperatures, charge) and takes the fast ones (speed, current, stretch of the rope) at
their balance: hence the name of the package. A *slow lift* is one that was lifted so.

Rooms: `stacking` makes one machine of many, with arrays for numbers; `variants` puts columns of changed values into a scenario;
`balance` has the torque law and its steady speed, `path` the way up, `climb` the climb itself, `lifts` what it comes to.
"""

from winchsim.slow.lifts import End, Hold, Lifts, lift_all, lift_batch, lift_machine
from winchsim.slow.stacking import Batch, stack_machines
from winchsim.slow.variants import Variants, vary, vary_freely

__all__ = [
    "Batch",
    "End",
    "Hold",
    "Lifts",
    "Variants",
    "lift_all",
    "lift_batch",
    "lift_machine",
    "stack_machines",
    "vary",
    "vary_freely",
]
