"""Static balances behind the sentences: what the motors can give against what the load asks, at one place of its way."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from winchsim.model import Machine
from winchsim.model.estimate import chain_torques, raising_phase
from winchsim.model.machine import PhaseStep
from winchsim.physics import load
from winchsim.physics.chain import PiecewiseLine, demand, group_push


@dataclass(frozen=True)
class Margins:
    """Torque that the motors can give at zero speed over the torque that raising takes; 1 just stalls.

    Attributes
    ----------
    moving : float
        With the losses of motion: below 1 the drum slows down and stops. [-]
    resting : float
        With the losses at rest: below 1 a drum at rest does not start. [-]
    """

    moving: float
    resting: float

    @property
    def telling(self) -> float:
        """The one that explains a stall: motion, unless that was possible and only the start from rest was not. [-]"""
        return self.moving if self.moving < 1 else self.resting

    @property
    def telling_word(self) -> str:
        """What the motors fall short of."""
        return "raising the load takes" if self.moving < 1 else "starting it from rest takes"


def margins(
    machine: Machine,
    travel: float,
    layer: int,
    *,
    windings: Sequence[float] | None = None,
    cases: Sequence[float] | None = None,
    phase: PhaseStep | None = None,
) -> Margins:
    """Margins at one place of the load's way.

    Parameters
    ----------
    machine : Machine
    travel : float
        Of the load. [m]
    layer : int
        That the rope runs onto, from 0.
    windings, cases : sequence of float, optional
        Temperatures of each live group; left out, those of the start. [°C]
    phase : PhaseStep, optional
        Left out: the first that raises.
    """
    m = machine
    torques, _, _ = chain_torques(m, phase or raising_phase(m), 0.0, *_temperatures(m, windings, cases))
    radius = m.layers[layer].radius
    held = load.pull_needed(m.body, m.reach - travel)
    found = []
    for grip in (1.0, m.breakaway):
        pull = (held + grip * m.body.friction) / m.line.falls
        needed = demand(m.chain, 1, grip)(pull * radius)
        found.append(group_push(m.chain, 1, torques, grip) / needed if needed > 0 else math.inf)
    return Margins(*found)


def hardest_margins(machine: Machine, *, hot: bool = False) -> Margins:
    """Margins on the fullest layer of the lift, cold or with the windings at their limits.

    Parameters
    ----------
    machine : Machine
    hot : bool
        Windings at their limits; the cases stay at the temperature of the air.
    """
    m = machine
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    used = [i for i, layer in enumerate(m.layers) if layer.start < last and layer.end > m.wound_at_start]
    windings = [g.winding_limit for g in m.groups] if hot else None
    found = [margins(m, m.start_travel, i, windings=windings) for i in used or [len(m.layers) - 1]]
    return Margins(min(f.moving for f in found), min(f.resting for f in found))


def needed_current(machine: Machine, *, at_rest: bool = False) -> float | None:
    """Supply current at which the motors, at zero speed, just raise the load on the fullest layer; None where none does. [A]

    Parameters
    ----------
    machine : Machine
    at_rest : bool
        With the losses at rest, as for a load that hangs at the start.
    """
    phase = replace(raising_phase(machine), current_limit=math.inf)
    _, most, _ = chain_torques(machine, phase, 0.0, *_temperatures(machine, None, None))

    def enough(limit: float) -> bool:
        trial = replace(machine, phases=(replace(phase, current_limit=limit), *machine.phases[1:]))
        found = hardest_margins(trial)
        return (found.resting if at_rest else found.moving) >= 1

    if not enough(math.inf):
        return None
    return _edge(lambda share: enough(share * most)) * most


def _edge(good: Callable[[float], bool]) -> float:
    """Smallest share, 0 to 1, from which on something is true. [-]"""
    low, high = 0.0, 1.0
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


def _temperatures(
    m: Machine, windings: Sequence[float] | None, cases: Sequence[float] | None
) -> tuple[Sequence[float], Sequence[float]]:
    return windings or [g.winding_start for g in m.groups], cases or [m.ambient] * len(m.groups)


@dataclass(frozen=True)
class Holding:
    """How a train with the power off stands against the load that hangs on it.

    Attributes
    ----------
    resting, moving : float
        Pull that the losses at rest, or those of motion, just hold, over the pull of the load; infinite where the train
        locks by itself. At least 1 holds. [-]
    """

    resting: float
    moving: float

    @property
    def knock_proof(self) -> bool:
        """Whether a train set going by a knock comes to rest again."""
        return self.moving >= 1


def holding(machine: Machine, travel: float, layer: int, action: str = "off") -> Holding:
    """Holding of a load at one place of its way.

    Parameters
    ----------
    machine : Machine
    travel : float
        [m]
    layer : int
        From 0.
    action : str
        ``off`` or ``short``: with the brake, where there is one.
    """
    m = machine
    chain = m.chain_in(action)
    torque = load.pull_needed(m.body, m.reach - travel) / m.line.falls * m.layers[layer].radius
    idle = [0.0] * len(chain.groups)
    found = []
    for grip in (m.breakaway, 1.0):
        passed = demand(chain, -1, grip)
        found.append(_first_crossing(passed, group_push(chain, -1, idle, grip)) / torque)
    return Holding(*found)


def _first_crossing(line: PiecewiseLine, level: float) -> float:
    """Smallest torque from which on a piecewise line is above a level; infinite for never. [N·m]"""
    ends = (*line.knots[1:], math.inf)
    for knot, end, value, slope in zip(line.knots, ends, line.values, line.slopes, strict=True):
        if value > level:
            return knot
        if slope > 0 and knot + (level - value) / slope < end:
            return knot + (level - value) / slope
    return math.inf
