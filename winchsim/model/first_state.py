"""Mode and state in which a run begins."""

import math

import numpy as np

from winchsim.model.keys import LoadPlace, Mark, ModeKey
from winchsim.model.machine import Machine
from winchsim.model.switching import Step, WinchProblem
from winchsim.physics import rope
from winchsim.physics.supply import Regime


def start(machine: Machine) -> tuple[ModeKey, np.ndarray, tuple[Mark, ...]]:
    """Mode and state in which a run begins, and what happens at once."""
    y = np.zeros(machine.states)
    y[2] = machine.start_travel
    y[4] = rope.span(machine.line, machine.reach - machine.start_travel) - machine.free_rope
    for i, group in enumerate(machine.groups):
        y[machine.heat_state(i)] = group.winding_start
        y[machine.heat_state(i) + 1] = group.case_start
    wound, last = machine.wound_at_start, len(machine.layers) - 1
    layer = next((i for i, row in enumerate(machine.layers) if wound < row.end), last)
    hangs = LoadPlace.STUCK if machine.body.friction > 0 else LoadPlace.FREE
    key = ModeKey(
        phase=0,
        drum=0,
        layer=layer,
        layer_below=layer,
        taut=bool(y[4] >= 0),
        settled=False,
        settle_after=machine.scales.bounce_period,
        load=hangs if machine.start_travel > 0 else LoadPlace.FLOOR,
        regime=Regime.OPEN,
        hot=(False,) * len(machine.groups),
        empty=False,
        wedged=-1,
        stalled=False,
        phase_start=0.0,
        phase_end=math.inf,
        ramp_end=math.inf,
        ramp_from=0.0,
        held_since=0.0,
        confirm_at=math.inf,
    )
    problem = WinchProblem(machine)
    step = Step(key, 0.0, y)
    problem.enter_phase(step, 0)
    problem.settle(step)
    return step.key, step.y, tuple(step.marks)
