"""The closed-form balance: speed at which the motors just carry a pull, and the time that a lift
takes at it.

Used for time limits, for the margins to stall, and to bracket remedies; the full simulation
decides.
"""

import math
from typing import Any, NamedTuple

import numpy as np

from winchsim.elementwise import larger
from winchsim.model.electric import DriveLaw
from winchsim.model.machine import Machine, PhaseStep
from winchsim.physics import load
from winchsim.physics.chain import output_torques


def steady_speed(machine: Machine, rope_torque: float, phase: PhaseStep | None = None) -> float:
    """Drum speed at which the motors carry a rope torque, raising, as warm as at the start; 0 where
    they stall. [rad/s]

    Parameters
    ----------
    machine : Machine
    rope_torque : float
        Rope force times layer radius. [N·m]
    phase : PhaseStep, optional
        Left out: the first that raises.
    """
    windings = [g.winding_start for g in machine.groups]
    law = DriveLaw(
        machine, phase or raising_phase(machine), windings, [machine.ambient] * len(machine.groups)
    )
    return float(law.steady_speed(np.array(output_torques(machine.chain, 1, rope_torque)[:1]))[0])


def raising_phase(machine: Machine) -> PhaseStep:
    """The first phase that raises; where none does, the first phase."""
    return next((phase for phase in machine.phases if phase.action == "raise"), machine.phases[0])


def pull(machine: Machine, travel: Any, grip: float = 1.0) -> Any:
    """Rope force that raises the load steadily at a travel, guide friction included. [N]

    Parameters
    ----------
    machine : Machine
    travel : float or ndarray
        Of the load. [m]
    grip : float
        Friction of the guide over that in motion: 1 in motion, the machine's breakaway ratio to
        start from rest. [-]
    """
    body = machine.body
    return (
        load.pull_needed(body, machine.reach - travel) + grip * body.friction
    ) / machine.line.falls


class Hanging(NamedTuple):
    """Rope force of a load that was brought up and is to stay there, floats or arrays, none below
    0.

    Attributes
    ----------
    at_rest : float or ndarray
        That the rope was left with by the rising load, which a drum at rest has to bear. [N]
    sliding : float or ndarray
        Of a load that slides down in its guide: what a train that has been set going must bear to
        stop it. [N]
    """

    at_rest: Any
    sliding: Any


def hanging_pulls(machine: Machine, travel: Any) -> Hanging:
    """What decides whether a load stays up: its guide tightens the rope on the way up and carries
    part of the load after.

    Parameters
    ----------
    machine : Machine
    travel : float or ndarray
        Of the load. [m]

    Notes
    -----
    The drum starts back only if its losses at rest do not bear the first; once it turns it is
    stopped by its losses in motion, if they bear the second. Its momentum carries it past the pull
    at which the load breaks away: friction of the guide at rest does not count. Own derivation,
    head of `assessment/margins.py`.
    """
    return Hanging(larger(pull(machine, travel), 0.0), larger(pull(machine, travel, -1.0), 0.0))


def raise_time(machine: Machine, phase: PhaseStep | None = None) -> float:
    """Time to raise the load to the top at the steady speed of each layer; infinite where the
    motors stall. [s]

    Parameters
    ----------
    machine : Machine
    phase : PhaseStep, optional
        Left out: the first that raises.
    """
    span = machine.top_travel - machine.start_travel
    first = machine.wound_at_start
    last = first + machine.line.falls * span
    total = 0.0
    for layer in machine.layers:
        length = min(last, layer.end) - max(first, layer.start)
        if length <= 0:
            continue
        middle = (
            max(first, layer.start) + length / 2 - first
        ) / machine.line.falls + machine.start_travel
        speed = steady_speed(machine, pull(machine, middle) * layer.radius, phase)
        if speed <= 0:
            return math.inf
        total += length / (speed * layer.radius)
    return total
