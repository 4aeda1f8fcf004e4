"""The jolt when a drum picks up its load or jerks a hanging one: here alone the quasi-static model
follows fast states.

Rope, load and drum are integrated by small steps through the take-up and the first bounce, all
variants at once. The drum follows its balance with its time constant, and no faster than its motors
can pull at rest: exact for one group of linear motors with a current limit. Own derivation, head of
the package `slow`.
"""

from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from winchsim.model.electric import DriveLaw
from winchsim.physics import load, rope
from winchsim.physics.chain import raising_line, rotating_inertia
from winchsim.slow.path import Path, breakaway_pull
from winchsim.slow.stacking import Batch

TAKE_UP_STEPS = 48
BOUNCE_STEPS = 72
"""Steps of the take-up, and of one period of the bounce. [-]"""

NEAR = 0.97
"""Share of the speed of balance at which the slope of the torque law is taken. [-]"""


class _Drum(NamedTuple):
    """How a drum follows its balance; arrays over the variants.

    Attributes
    ----------
    loose, loaded : ndarray
        Balance before the rope pulls, and at lift-off. [rad/s]
    pull : ndarray
        Rope force at lift-off. [N]
    tau : ndarray
        Time constant. [s]
    most, per_force : ndarray
        Acceleration at rest without rope force, and what each newton takes of it. [rad/s²],
        [rad/(N·s²)]
    """

    loose: Any
    loaded: Any
    pull: Any
    tau: Any
    most: Any
    per_force: Any

    def after(self, speed: Any, force: Any, time: Any) -> Any:
        """Speed after a time at a rope force, never below 0. [rad/s]"""
        balance = self.loose + (self.loaded - self.loose) * force / self.pull
        eased = speed + (balance - speed) * -np.expm1(-time / self.tau)
        return np.maximum(
            np.minimum(eased, speed + (self.most - self.per_force * force) * time), 0.0
        )


def pick_up_force(batch: Batch, path: Path, law: DriveLaw) -> Any:
    """Largest rope force of the pick-up; that of lift-off where the drum does not get so far. [N]

    Parameters
    ----------
    batch : Batch
    path : Path
    law : Law
        At the start's temperatures.
    """
    n = batch.size
    pull = np.broadcast_to(np.asarray(breakaway_pull(batch), dtype=float), (n,))
    first = np.argmax(path.hanging, axis=0)[None, :]
    radius = np.take_along_axis(path.radii, first, axis=0)[0]
    drum = _drum(batch, law, pull, radius)
    speed = np.where(path.lift_off > 0, _take_up(batch, path, drum, radius), 0.0)
    peak = _first_bounce(batch, path, drum, speed, radius)
    return np.where((drum.loaded > 0) & np.isfinite(peak), np.maximum(peak, pull), pull)


def _drum(batch: Batch, law: DriveLaw, pull: Any, radius: Any) -> _Drum:
    m = batch.machine
    drag, per_torque = raising_line(m.chain)
    inertia = rotating_inertia(m.chain, len(m.groups))
    at_rest = law.push(np.zeros(batch.size))
    idle = np.broadcast_to(np.asarray(drag + 0.0 * pull), pull.shape)
    needed = drag + per_torque * pull * radius
    loose, loaded = law.steady_speed(idle, at_rest), law.steady_speed(needed, at_rest)
    slope = (law.push(NEAR * loaded) - law.push(loaded)) / ((1 - NEAR) * loaded)
    return _Drum(
        loose,
        loaded,
        pull,
        inertia / slope,
        (at_rest - drag) / inertia,
        per_torque * radius / inertia,
    )


def _take_up(batch: Batch, path: Path, drum: _Drum, radius: Any) -> Any:
    """Speed of the drum when the load lifts off. [rad/s]"""
    m = batch.machine
    slack = m.free_rope - rope.span(m.line, m.reach - m.start_travel)
    shares = np.linspace(0.0, 1.0, TAKE_UP_STEPS + 1) ** 2  # fine where the drum is slow
    speed = np.zeros(batch.size)
    for before, after in pairwise(shares):
        length = (after - before) * path.lift_off
        wound = (before + after) / 2 * path.lift_off
        force = np.maximum(rope.elastic_tension(m.line, wound - slack, m.free_rope - wound), 0.0)
        push = np.maximum(drum.most - drum.per_force * force, 0.0)
        new = np.sqrt(
            speed**2 + 2 * push * length / radius
        )  # as if nothing but the pull at rest acted
        for _ in range(3):
            time = 2 * length / (radius * (speed + new))
            new = np.minimum(drum.after(speed, force, time), new)
        speed = new
    return speed


def _first_bounce(batch: Batch, path: Path, drum: _Drum, speed: Any, radius: Any) -> Any:
    """Largest rope force in one period of the bounce after lift-off. [N]"""
    m, falls = batch.machine, batch.machine.line.falls
    left, mass = m.free_rope - path.lift_off, load.inertia(m.body)
    stiffness = m.line.stiffness / left
    step = rope.bounce_period(m.line, left, mass) / BOUNCE_STEPS
    hang = (
        drum.pull * falls - (m.breakaway - 1) * m.body.friction
    )  # weight and friction of the moving load
    damping = m.line.damping
    stretch, rise = drum.pull / stiffness, np.zeros(batch.size)
    peak = drum.pull

    def force(stretch: Any, rise: Any, speed: Any) -> Any:
        return np.maximum(stiffness * stretch + damping * (radius * speed - falls * rise), 0.0)

    for _ in range(BOUNCE_STEPS):
        now = force(stretch, rise, speed)
        peak = np.maximum(peak, now)
        middle_speed = drum.after(speed, now, step / 2)
        middle_stretch = stretch + step / 2 * (radius * speed - falls * rise)
        middle_rise = rise + step / 2 * (falls * now - hang) / mass
        middle = force(middle_stretch, middle_rise, middle_speed)
        speed = drum.after(speed, middle, step)
        stretch = stretch + step * (radius * middle_speed - falls * middle_rise)
        rise = rise + step * (falls * middle - hang) / mass
    return peak
