r"""How the drum starts, under a voltage that is on at once or rises: through the take-up of the
rope and the first bounces of the load.

Only here fast states are followed, all variants at once. The drum follows its balance with its time
constant, and no faster than its motors can pull at rest: exact for one group of linear motors with
a current limit.

Ramp. While the voltage rises evenly, so does the balance. The drum starts as the torque of the
motors meets the losses at rest; what these take more than the losses of motion is free at once and
gives the acceleration :math:`g_0`. With :math:`g_1` that under the full voltage and x the rest of
the ramp over the time constant, the acceleration goes one way from :math:`g_0` to :math:`(g_1 -
g_0)(1 - e^{-x})/x + g_0 e^{-x}` as the ramp ends. Own derivation, like all of this file.
"""

from typing import Any

import numpy as np

from winchsim.frozen import replace
from winchsim.model.electric import DriveLaw
from winchsim.physics import load, rope
from winchsim.physics.chain import group_push, output_torques, raising_line, rotating_inertia
from winchsim.slow.path import Path, breakaway_pull
from winchsim.slow.stacking import Batch

TAKE_UP_STEPS = 48
BOUNCE_STEPS = 72
"""Steps of winding in the slack, of the take-up, and of the bounce after it; half as many where
variants are only compared with each other. [-]"""

RAMPED_PERIODS = 2.0
"""Periods of the bounce that are followed under a rising voltage, where the second may pull harder;
else one. [-]"""

NEAR = 0.97
"""Share of the speed of balance at which the slope of the torque law is taken. [-]"""

TINY = 1e-30
"""Keeps an angle of nothing from being divided by. [rad]"""


class Start:
    """How a drum follows its balance while it picks up its load or jerks a hanging one.

    Parameters
    ----------
    batch : Batch
    path : Path
    law : DriveLaw
        At the start's temperatures.

    Attributes
    ----------
    pull, radius : ndarray
        Rope force at lift-off, and radius of its layer. [N], [m]
    loose, held, loaded : ndarray
        Balance under the full voltage without rope force, with that of the start, and at lift-off.
        [rad/s]
    tau : ndarray
        Time constant. [s]
    most, per_force : ndarray
        Acceleration at rest without rope force, and what each newton takes of it. [rad/s²],
        [rad/(N·s²)]
    ramp, begins : ndarray
        Times at which the voltage is full, and at which the drum starts. [s]
    given : Drive
        Of the motors as the drum breaks away; nothing where the voltage is on at once, so that it
        never rests under power.
    freed, rise : ndarray
        Balance as it has just broken away, and by how much it rises per time from then on. [rad/s],
        [rad/s²]
    delay, charged : ndarray
        Time that the ramp costs, and the time in which running motors draw as much as they do
        meanwhile. [s]
    jolt : tuple of ndarray
        Rope force, radius of the layer and acceleration of the drum as the motors give most to the
        load that bounces. [N], [m], [rad/s²]
    peak : ndarray
        Largest rope force; that of lift-off where the drum does not get so far. [N]
    """

    def __init__(self, batch: Batch, path: Path, law: DriveLaw) -> None:
        m, nothing = batch.machine, np.zeros(batch.size)
        self.batch, self.path = batch, path
        self.pull = breakaway_pull(batch) + nothing
        self.radius = path.radii[np.argmax(path.hanging, axis=0), np.arange(batch.size)]
        drag, per_torque = raising_line(m.chain)
        inertia, at_rest = rotating_inertia(m.chain, len(m.groups)), law.push(nothing)
        self.loose, self.loaded = (
            law.steady_speed(drag + per_torque * force * self.radius, at_rest)
            for force in (nothing, self.pull)
        )
        near = NEAR * self.loaded
        slope = (law.push(near) - law.push(self.loaded)) / (self.loaded - near)
        self.tau, self.most = inertia / slope, (at_rest - drag) / inertia
        self.per_force = per_torque * self.radius / inertia
        self.held = self.loose + (self.loaded - self.loose) * path.start_tension / self.pull
        self.ramp = np.asarray(batch.raising.ramp) + nothing
        self.begins = self.freed = nothing
        self.given = self._part(nothing).drive(nothing)
        if np.any(self.ramp > 0):
            self._break_away(slope)
        self.rise = (self.held - self.freed) / (self.ramp - self.begins)
        carries = np.clip(self.ramp - self.loaded / self.rise, self.begins, self.ramp)
        waits = np.where(path.lift_off > 0, carries, self.begins)
        rest = self.ramp - waits
        behind = np.where(rest * self.loaded > 0, self.rise * rest**2 / 2 / self.loaded, 0.0)
        self.delay, self.charged = waits + behind, waits / 2 + behind
        peak = self._first_bounce(*self.take_up())
        bounces = (self.loaded > 0) & np.isfinite(peak)
        self.peak = np.where(bounces, np.maximum(peak, self.pull), self.pull)

    def _part(self, part: Any) -> DriveLaw:
        """Torque law under a part of the voltage, without a limit of the current."""
        full = self.batch.raising
        phase = replace(full, voltage=part * full.voltage, current_limit=np.inf)
        return replace(self.batch, raising=phase).law()

    def _break_away(self, slope: Any) -> None:
        """Set when and how a rising voltage starts the drum."""
        m, nothing = self.batch.machine, 0.0 * self.ramp
        torque = self.path.start_tension * self.path.radii[0]
        moving, resting = (
            output_torques(m.chain, 1, torque, breakaway=losses)[0] for losses in (1.0, m.breakaway)
        )
        whole, half = (
            group_push(m.chain, 1, self._part(part).drive(nothing).torques, m.breakaway)
            for part in (1.0, 0.5)
        )
        part = np.clip(1 - (whole - resting) / (whole - half) / 2, 0.0, 1.0) * (self.ramp > 0)
        self.begins, self.given = part * self.ramp, self._part(part).drive(nothing)
        free = group_push(m.chain, 1, self.given.torques) - moving
        self.freed = np.clip(free / slope, 0.0, self.held) * (self.ramp > 0)

    def gain(self, at_once: Any) -> Any:
        """Largest acceleration of the drum as it starts, of what it is under the full voltage.
        [rad/s²]"""
        first = np.where(self.held > 0, self.freed / self.held, 1.0)
        x = (self.ramp - self.begins) / self.tau
        last = np.where(x > 0, (1 - first) * -np.expm1(-x) / x + first * np.exp(-x), 1.0)
        unlimited = np.fmax(at_once, self.held / self.tau)
        return np.fmin(at_once, unlimited * np.maximum(first, last))

    def _short(self, time: Any) -> Any:
        """By how much a rising voltage leaves the balance below that of the full one. [rad/s]"""
        return np.fmax(self.rise * (self.ramp - time), 0.0)

    def _after(self, speed: Any, force: Any, time: Any, start: Any) -> Any:
        """Speed after a time from a start on at a rope force, never below 0. [rad/s]"""
        balance = self.loose + (self.loaded - self.loose) * force / self.pull
        balance = balance - self._short(start + time / 2)
        eased = speed + (balance - speed) * -np.expm1(-time / self.tau)
        pulled = speed + (self.most - self.per_force * force) * time
        return np.maximum(np.minimum(eased, pulled), 0.0)

    def take_up(self) -> tuple[Any, Any]:
        """Speed of the drum when the load lifts off, and that time. [rad/s], [s]"""
        m, speed, time = self.batch.machine, np.zeros(self.batch.size), self.begins
        way = self.path.lift_off / self.radius
        slack = (m.free_rope - rope.span(m.line, m.reach - m.start_travel)) / self.radius
        loose = np.clip(slack, 0.0, way)
        for turns, end, force in ((loose, self.loose, 0.0), (way - loose, self.loaded, self.pull)):
            if np.any(turns > 0):
                there = self._turn(turns, end, force, speed, time)
                speed, time = (
                    np.where(turns > 0, *pair) for pair in zip(there, (speed, time), strict=True)
                )
        return speed, time

    def _turn(self, way: Any, end: Any, force: Any, speed: Any, time: Any) -> tuple[Any, Any]:
        """Speed of the drum and the time after it has turned by an angle [rad], to which its
        balance under the full voltage falls evenly, and the rope force rises. [rad/s], [s]

        Notes
        -----
        Steps of an implicit rule that weighs their ends with 2/3, which stiff ropes do not upset.
        They are equal parts of a time that the drum does not need longer than: once the voltage
        carries the force, it would turn as far from rest against all of it.
        """
        bend, pulls = (self.held - end) / way, (force - self.path.start_tension) / way
        carries = np.clip(self.ramp - end / self.rise, time, np.maximum(self.ramp, time))
        rising = np.cbrt(6 * self.tau * way / self.rise) + np.sqrt(2 * way / self.rise)
        least = np.minimum(end / self.tau, self.most - self.per_force * force)
        full = np.maximum(self.ramp - carries, 0.0) + way / end + np.sqrt(2 * way / least)
        longest = carries - time + np.where(carries + rising < self.ramp, rising, full)
        steps = TAKE_UP_STEPS // (1 + self.batch.coarse)
        step = longest / steps
        inert, angle, there = 1.5 * self.tau / step, 0.0 * speed, (speed, time)
        for _ in range(steps):
            balance = self.held - bend * angle - self._short(time + 2 / 3 * step)
            mean = (inert * speed + balance) / (inert + 1 + 2 / 3 * step * bend)
            pull = self.path.start_tension + pulls * angle
            most = speed + step * np.maximum(self.most - self.per_force * pull, 0.0)
            new = np.maximum(np.minimum((3 * mean - speed) / 2, most), 0.0)
            turned = step * (speed + 2 * new) / 3
            share = np.minimum((way - angle) / np.maximum(turned, TINY), 1.0)
            now = speed + share * (new - speed), time + share * step
            there = tuple(np.where(angle < way, *pair) for pair in zip(now, there, strict=True))
            speed, time, angle = new, time + step, angle + turned
        return there

    def _first_bounce(self, speed: Any, time: Any) -> Any:
        """Largest rope force in the first bounces after lift-off at a drum speed and a time. [N]"""
        m, line = self.batch.machine, self.batch.machine.line
        left, mass = m.free_rope - self.path.lift_off, load.inertia(m.body)
        periods = np.where(self.ramp > 0, RAMPED_PERIODS, 1.0)
        stiffness = line.stiffness / left
        steps = BOUNCE_STEPS // (1 + self.batch.coarse)
        step = periods * rope.bounce_period(line, left, mass) / steps
        # Weight and friction of the moving load.
        hang = self.pull * line.falls - (m.breakaway - 1) * m.body.friction
        stretch, rise, peak = self.pull / stiffness, np.zeros(self.batch.size), self.pull
        hardest, most = self.path.start_tension, np.zeros(self.batch.size)
        swift = most

        def forces(stretch: Any, rise: Any, speed: Any) -> tuple[Any, Any, Any]:
            """Of the rope, and on the load; and how fast the rope is stretched."""
            growth = self.radius * speed - line.falls * rise
            force = np.maximum(stiffness * stretch + line.damping * growth, 0.0)
            return force, line.falls * force - hang, growth

        for _ in range(steps):
            force, net, growth = forces(stretch, rise, speed)
            peak = np.maximum(peak, force)
            middle = stretch + step / 2 * growth, rise + step / 2 * net / mass
            force, net, growth = forces(*middle, self._after(speed, force, step / 2, time))
            before, speed = speed, self._after(speed, force, step, time)
            stretch, rise, time = stretch + step * growth, rise + step * net / mass, time + step
            gain = (speed - before) / step
            push = self.per_force * force + gain
            harder = push > most
            most, hardest, swift = (
                np.where(harder, *pair) for pair in ((push, most), (force, hardest), (gain, swift))
            )
        self.jolt = hardest, self.radius, swift
        return peak
