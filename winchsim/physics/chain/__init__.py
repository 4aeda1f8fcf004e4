"""The lossy chain from the motors to the rope: its elements, its branches in motion, and what holds
at rest.

Every element has a ratio N, a forward efficiency e, a reverse efficiency q, a constant drag c at
its input and the inertia of the shaft behind it. The torque at the input that moves it in direction
d against an output torque T is ``d c + (T/N)(1/e if d T >= 0 else q)``. At rest, with the breakaway
ratio b, 1/e becomes ``1 + b (1/e - 1)``, q becomes ``1 - b (1 - q)`` and c becomes ``b c``.

- A q that is left out is ``2 - 1/e`` of each element: the friction torque is the same both ways.
  Losses are never combined over several elements: seven meshes of 0.9 back-drive, though the rule
  applied to their product says that they lock.
- Several motor groups meet at the common gear: ``sum g(M) = torque of the chain behind`` with
  ``g = (M - d c) N e`` while a group drives and ``(M - d c) N / q`` while it is dragged.
- In motion all torques are affine in rope torque and acceleration once the directions of power are
  known. Such a `Branch` is compiled once and cached; the branch of the last call is tried first.
  The balance is monotone, so the branch that holds gives the acceleration, whichever was tried
  first.
- At rest the torque of a shaft is not determined by statics: `RestingBounds` gives what it leaves
  open, at the losses of breakaway.
- The tooth force of a mesh is taken from its driving side, which carries more by its friction.
"""

from winchsim.physics.chain.branch import (
    Branch,
    ChainTorques,
    branch,
    find_branch,
    likely_branch,
    losses,
    may_wedge,
    moving_torques,
)
from winchsim.physics.chain.elements import (
    Chain,
    Element,
    GroupMesh,
    drum_inertia,
    drum_ratios,
    factors,
    group_factors,
    group_push,
    group_ratio,
    input_torque,
    output_torques,
    push_by,
    raising_line,
    reverse_of,
    rotating_inertia,
    shaft_ratios,
)
from winchsim.physics.chain.resting import (
    PiecewiseLine,
    RestingBounds,
    StartMargins,
    demand,
    driven_back,
    torque_margin,
)

__all__ = [
    "Branch",
    "Chain",
    "ChainTorques",
    "Element",
    "GroupMesh",
    "PiecewiseLine",
    "RestingBounds",
    "StartMargins",
    "branch",
    "demand",
    "driven_back",
    "drum_inertia",
    "drum_ratios",
    "factors",
    "find_branch",
    "group_factors",
    "group_push",
    "group_ratio",
    "input_torque",
    "likely_branch",
    "losses",
    "may_wedge",
    "moving_torques",
    "output_torques",
    "push_by",
    "raising_line",
    "reverse_of",
    "rotating_inertia",
    "shaft_ratios",
    "torque_margin",
]
