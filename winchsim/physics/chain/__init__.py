"""The lossy chain from the motors to the rope: its elements, its branches in motion, and what holds at rest."""

from winchsim.physics.chain.branch import (
    Branch,
    ChainTorques,
    branch,
    find_branch,
    likely_branch,
    losses,
    moving_torques,
)
from winchsim.physics.chain.elements import (
    Chain,
    Element,
    GroupMesh,
    drum_inertia,
    drum_ratios,
    group_push,
    group_ratio,
    input_torque,
    output_torques,
    reverse_of,
    rotating_inertia,
    shaft_ratios,
)
from winchsim.physics.chain.resting import (
    PiecewiseLine,
    RestingBounds,
    demand,
    start_margins,
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
    "branch",
    "demand",
    "drum_inertia",
    "drum_ratios",
    "find_branch",
    "group_push",
    "group_ratio",
    "input_torque",
    "likely_branch",
    "losses",
    "moving_torques",
    "output_torques",
    "reverse_of",
    "rotating_inertia",
    "shaft_ratios",
    "start_margins",
    "torque_margin",
]
