"""The quasi-static model: thousands of variants of a winch lifted at once.

It follows the slow states alone (travel, temperatures, charge) and takes the fast ones (speed,
current, stretch of the rope) at their balance: hence the name of the package. A *slow lift* is one
that was lifted so.

`stacking` makes one machine of many, with arrays for numbers; `variants` puts columns of changed
values into a scenario; `path` is the way up, `start` how the drum starts on it, `climb` the climb
itself, `lifts` what it comes to.

- Path. The coordinate is the unstretched rope wound on. Take-up: ``T = EA (l0 - l_u)/l_u``.
  Hanging: ``T = (W + F + w (l_u - lead)/n)/(n - w l_u/(n EA))``. Cells of take-up, cells of the way
  up, and one more for the end of each layer.
- Balance. While raising all power goes forward, so the demand of the chain is one line in the rope
  pull. The torque of the motors falls with the speed along straight lines; the line that ends at
  the highest speed is tried first, then chords around the balance, bounded.
- Spin-up. A linear drive with the time constant tau ends ``tau w_end`` short in angle, so the lift
  takes tau longer. Under a current limit the lost angle is integrated by Gauss nodes.
- Jolt of a new layer: the surface speed jumps by ``w dr``, which makes a force of
  ``dv sqrt(K m) exp(-z phi / sqrt(1 - z^2))`` with
  ``tan phi = sqrt(1 - z^2)(1 - 4 z^2)/(z (3 - 4 z^2))``, and from z = 1/2 on ``2 z dv sqrt(K m)``.
- Power off. The load swings under the drum that stops: followed in equal steps. The drum turns back
  only if its losses at rest do not hold W + F. Once it turns, its losses of motion must stop a load
  that slides down with W - F.

It is within 1 % of the full simulation where the lift lasts over 100 time constants and 100 bounce
periods and the motors have over 1.05 times the torque needed all the way (`in_range`). It is not
where a jolt stops a drum near its stall, or where rotors carry a stalled load further up.
"""

from winchsim.slow.climb import SlowEnd
from winchsim.slow.lifts import Hold, Lifts, lift_all, lift_batch, lift_machine
from winchsim.slow.stacking import Batch, stack_machines
from winchsim.slow.variants import Variants, vary, vary_each

__all__ = [
    "Batch",
    "Hold",
    "Lifts",
    "SlowEnd",
    "Variants",
    "lift_all",
    "lift_batch",
    "lift_machine",
    "stack_machines",
    "vary",
    "vary_each",
]
