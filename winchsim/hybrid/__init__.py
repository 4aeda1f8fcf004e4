"""A small runner for switched ordinary differential equations: modes, guards, switches, on scipy's
solvers.

A problem says what each mode is (`Mode`: right-hand side, guards, a time that ends it at the
latest), what follows when guards fire (`switch` gives the next mode and state) and what counts as
progress. `run` returns a `Run` of the same shape however it ended.

**Guards.** A guard fires when its value rises through zero. Guards that cross together, within the
tolerance of the root, are handled together, earliest first. The event is the last point of its
segment; times grow inside a segment and never fall from one to the next. The right-hand side must
be good for one step beyond the guards, because the solver looks there before the crossing is found.

**Arming.** At the start of a segment a guard within its band is disarmed until it is below `-band`;
while disarmed it fires above `+band`. So a guard that was just handled and stands at zero does not
fire again at the same instant, and one that went the wrong way is still noticed. The band lies well
above the error of the state and well below anything of interest.

**Finding crossings.** After each step only the ends are looked at. Inside the steps the guards are
evaluated in batches, at 4 points a step (8 for one-step methods). A sampled peak below zero whose
parabola could reach zero is looked at again on finer grids. A guard that swings faster than the
state can be missed: such a time belongs into `until`.

**Chatter.** More than 50 switches in a row in which no component of `progress` moves by 1 end the
run, and so do the budgets of switches, steps and calls. Time is no progress.

**Why not `solve_ivp`.** Its terminal events fire again on a guard that is zero at a restart, lose
two crossings inside a step, and leave the event out of the record; its LSODA reports success with
NaN in the state. `tests/hybrid/test_traps.py` has a test for each. LSODA is the default because it
takes the fewest right-hand sides; a segment that it cannot do is done again with Radau.
"""

from winchsim.hybrid.integrate import UNTIL, run
from winchsim.hybrid.problem import (
    Guard,
    Mode,
    Outcome,
    Problem,
    Run,
    Segment,
    Stats,
    Switch,
    Transition,
)

__all__ = [
    "UNTIL",
    "Guard",
    "Mode",
    "Outcome",
    "Problem",
    "Run",
    "Segment",
    "Stats",
    "Switch",
    "Transition",
    "run",
]
