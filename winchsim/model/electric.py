"""The motors of a winch between supply and chain: what their temperatures make of them, and what
they give the chain.

Whatever asks for the torque of motors at a voltage, a speed and temperatures asks here: the
equations of motion in a known regime of the supply (`Motors.drive`), everything that is
quasi-static in the regime that agrees with itself (`DriveLaw`).
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from winchsim.elementwise import positive
from winchsim.model.machine import Machine, PhaseStep
from winchsim.physics import supply as sp
from winchsim.physics.chain import group_factors, group_push, push_by, torque_margin
from winchsim.physics.motor import constant_at, resistance_at
from winchsim.roots import root_between

CLOSE = 1e-11
"""Share of the stalled torque that a balance of torques may be off by. [-]"""

NEAR_TOP = 0.97
"""Share of the highest speed at which its line is looked at. [-]"""


class Drive(NamedTuple):
    """What supply and motors do at a drum speed, floats or arrays.

    Attributes
    ----------
    torques : sequence
        Of each of the chain's groups, all its motors together, before their constant drag. [N·m]
    currents : sequence
        Of one motor of each live group. [A]
    total : float or ndarray
        Current of the supply. [A]
    voltage : float or ndarray
        At the motors' terminals. [V]
    """

    torques: Sequence[Any]
    currents: Sequence[Any]
    total: Any
    voltage: Any


class Motors:
    """All motors of a machine as the supply and the chain meet them; numbers may be arrays.

    Parameters
    ----------
    machine : Machine

    Attributes
    ----------
    counts : tuple of int
        Running motors of each live group. [-]
    drops : tuple of float
        Brush drop of one motor of each live group. [V]
    """

    def __init__(self, machine: Machine) -> None:
        live = machine.groups
        self._source = machine.source
        self.counts = tuple(g.count for g in live)
        self.drops = tuple(g.motor.brush_drop for g in live)
        self._ratios = tuple(g.ratio for g in live)
        self._laws = tuple(
            (
                g.motor.resistance,
                g.motor.copper_coefficient,
                g.motor.constant,
                g.motor.magnet_coefficient,
            )
            for g in live
        )
        self._friction = tuple(
            (g.motor.drag, g.motor.drag_slope, 1.0 - g.own_efficiency) for g in live
        )
        self._units = tuple(
            (place if u.runs else None, u.count, u.motor.drag_slope * u.ratio)
            for place, u in enumerate(machine.units)
        )

    def at_temperatures(self, windings: Any, cases: Any) -> tuple[Sequence[Any], Sequence[Any]]:
        """Resistance [ohm] and constant [V·s/rad] of one motor of each live group.

        Parameters
        ----------
        windings, cases : sequence of float or ndarray
            Temperatures of each live group. [°C]
        """
        if (
            len(self._laws) == 1
        ):  # the common case, spelt out because it stands in the innermost loop
            ((r20, copper, k20, magnet),) = self._laws
            return (resistance_at(r20, windings[0], copper),), (constant_at(k20, cases[0], magnet),)
        rows = list(zip(self._laws, windings, cases, strict=True))
        return (
            [resistance_at(r20, winding, copper) for (r20, copper, _, _), winding, _ in rows],
            [constant_at(k20, case, magnet) for (_, _, k20, magnet), _, case in rows],
        )

    def emfs(self, constants: Sequence[Any], drum_speed: Any) -> Sequence[Any]:
        """Back e.m.f. of one motor of each live group at a drum speed [rad/s]. [V]"""
        if len(constants) == 1:
            return (constants[0] * self._ratios[0] * drum_speed,)
        return [k * ratio * drum_speed for k, ratio in zip(constants, self._ratios, strict=True)]

    def torques(
        self, constants: Sequence[Any], currents: Sequence[Any], drum_speed: Any
    ) -> Sequence[Any]:
        """Torque of each of the chain's groups, all its motors together, before their constant
        drag. [N·m]

        Parameters
        ----------
        constants, currents : sequence of float or ndarray
            Of one motor of each live group. [V·s/rad], [A]
        drum_speed : float or ndarray
            [rad/s]
        """
        found = []  # in loops, which are faster here: this stands in the innermost one
        for place, count, slope in self._units:
            made = 0.0 if place is None else constants[place] * currents[place]
            found.append(count * (made - slope * drum_speed))
        return found

    def drive(
        self,
        regime: sp.Regime | None,
        voltage: Any,
        limit: Any,
        resistances: Sequence[Any],
        constants: Sequence[Any],
        speed: Any,
    ) -> Drive:
        """What supply and motors do at a drum speed.

        Parameters
        ----------
        regime : Regime or None
            Of the supply; None for the one that agrees with itself.
        voltage, limit : float or ndarray
            Of the supply: open-circuit voltage, and current limit in force. [V], [A]
        resistances, constants : sequence of float or ndarray
            Of one motor of each live group. [ohm], [V·s/rad]
        speed : float or ndarray
            Of the drum. [rad/s]
        """
        state = (
            voltage,
            self._source,
            self.counts,
            resistances,
            self.emfs(constants, speed),
            self.drops,
            limit,
        )
        terminal, currents, total = (
            sp.agreeing_balance(*state) if regime is None else sp.balance(regime, *state)
        )
        return Drive(self.torques(constants, currents, speed), currents, total, terminal)

    def friction_heat(
        self, constants: Sequence[Any], currents: Sequence[Any], drum_speed: Any
    ) -> Sequence[Any]:
        """Heat that drag and load-dependent loss make in the case of one motor of each live group.
        [W]

        Parameters
        ----------
        constants, currents : sequence of float or ndarray
            Of one motor of each live group. [V·s/rad], [A]
        drum_speed : float or ndarray
            [rad/s]
        """
        found = []
        for (drag, slope, lost), ratio, k, i in zip(
            self._friction, self._ratios, constants, currents, strict=True
        ):
            speed = ratio * abs(drum_speed)
            held = drag + slope * speed
            found.append(speed * (held + lost * positive(abs(k * i) - held)))
        return found


class DriveLaw:
    """Torque law of supply and motors at given temperatures, for one machine or a stack of them.

    Parameters
    ----------
    machine : Machine
    phase : PhaseStep
        Gives voltage and current limit.
    windings, cases : sequence of float or ndarray
        Temperatures of each live group. [°C]
    """

    def __init__(self, machine: Machine, phase: PhaseStep, windings: Any, cases: Any) -> None:
        self._machine, self._phase, self._motors = machine, phase, Motors(machine)
        self._resistances, self._constants = self._motors.at_temperatures(windings, cases)
        self._factors = [group_factors(mesh, 1.0, 1) for mesh in machine.chain.groups]

    def drive(self, speed: Any) -> Drive:
        """Torques, currents and voltage at a steady drum speed. [rad/s]"""
        phase = self._phase
        return self._motors.drive(
            None if phase.powered else sp.Regime.OPEN,
            phase.voltage,
            phase.current_limit,
            self._resistances,
            self._constants,
            speed,
        )

    def friction_heat(self, drive: Drive, speed: Any) -> Sequence[Any]:
        """Heat of friction in the case of one motor of each live group at a drum speed. [W]"""
        return self._motors.friction_heat(self._constants, drive.currents, speed)

    def push(self, speed: Any) -> Any:
        """Torque that all groups together give to the common gear at a drum speed, raising.
        [N·m]"""
        return push_by(self._factors, 1, self.drive(speed).torques)

    def at_rest(self, needed: Any, breakaway: Any = 1.0) -> tuple[Any, Any]:
        """Torque that all groups give to the common gear at rest, and the margin over the torque
        needed there. [N·m], [-]"""
        chain, torques = self._machine.chain, self.drive(np.zeros_like(needed)).torques
        return group_push(chain, 1, torques, breakaway), torque_margin(
            chain, torques, needed, breakaway
        )

    def top_speed(self) -> Any:
        """Speed of the drum at which no group draws a current any more. [rad/s]"""
        given = self._machine.source.duty * self._phase.voltage
        speeds = [
            np.maximum(given - g.motor.brush_drop, 0.0) / (k * g.ratio)
            for g, k in zip(self._machine.groups, self._constants, strict=True)
        ]
        return np.maximum.reduce(np.broadcast_arrays(*speeds))

    def steady_speed(self, needed: Any, at_rest: Any = None) -> np.ndarray:
        """Drum speed at which the motors give just the torque needed; 0 where they cannot. [rad/s]

        Parameters
        ----------
        needed : ndarray
            Torque at the common gear. [N·m]
        at_rest : ndarray, optional
            What the motors give there at rest (``push(0)``). [N·m]

        Notes
        -----
        The excess torque falls with the speed along straight lines between a few kinks (current
        limit, a group that begins to be dragged). The line that ends at the highest speed is tried
        first: for one group, and wherever no kink lies between, its zero is the balance.
        """
        if at_rest is None:
            at_rest = self.push(np.zeros_like(needed))
        top = self.top_speed() + np.zeros_like(needed)
        with np.errstate(divide="ignore", invalid="ignore"):
            above, below = at_rest - needed, self.push(top) - needed
            moves, close = above > 0, CLOSE * np.maximum(np.abs(at_rest), np.abs(needed))
            near = self.push(NEAR_TOP * top) - needed
            guess = top * (1 - (1 - NEAR_TOP) * below / (below - near))
            guess = np.where(moves & (guess > 0) & (guess < top), guess, top * moves / 2)
            return root_between(
                lambda speed: self.push(speed) - needed,
                (np.zeros_like(top), above),
                (top, below),
                close=close,
                guess=guess,
                active=moves,
            )
