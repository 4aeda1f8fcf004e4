"""Holding by friction at one place, from the torque that the train just holds: a second way."""

import math
from typing import NamedTuple

from winchsim.model import Machine
from winchsim.model.estimate import hanging_pulls
from winchsim.physics.chain import Chain, demand, group_push


def held_torque(chain: Chain, breakaway: float = 1.0) -> float:
    """Least torque of the rope that drives an idle train back; infinite for never. [N·m]"""
    line = demand(chain, -1, breakaway)
    level = group_push(chain, -1, [0.0] * len(chain.groups), breakaway)
    ends = (*line.knots[1:], math.inf)
    for knot, end, value, slope in zip(line.knots, ends, line.values, line.slopes, strict=True):
        if value > level:
            return knot
        if slope > 0 and knot + (level - value) / slope < end:
            return knot + (level - value) / slope
    return math.inf


class Holding(NamedTuple):
    """Pull that is just held over the pull of the load: at rest, and once it moves. [-]"""

    resting: float
    moving: float


def holding(machine: Machine, travel: float, layer: int) -> Holding:
    """Holding of a load with the power off; infinite where nothing sets the train going."""
    radius, chain = machine.layers[layer].radius, machine.braked_chain
    resting, moving = (
        held_torque(chain, grip) / (tension * radius) if tension > 0 else math.inf
        for tension, grip in zip(
            hanging_pulls(machine, travel), (machine.breakaway, 1.0), strict=True
        )
    )
    return Holding(max(resting, moving), moving)
