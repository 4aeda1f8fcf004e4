"""The motors of a winch between supply and chain: what their temperatures make of them, and what they give the chain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from winchsim.elementwise import positive
from winchsim.model.machine import Machine
from winchsim.physics.motor import constant_at, resistance_at


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
        self.counts = tuple(g.live for g in live)
        self.drops = tuple(g.motor.brush_drop for g in live)
        self._ratios = tuple(g.ratio for g in live)
        self._laws = tuple(
            (g.motor.resistance, g.motor.copper_coefficient, g.motor.constant, g.motor.magnet_coefficient) for g in live
        )
        self._friction = tuple((g.motor.drag, g.motor.drag_slope, 1.0 - g.own_efficiency) for g in live)
        self._units = tuple((u.place if u.live else None, u.count, u.motor.drag_slope * u.ratio) for u in machine.units)

    def at_temperatures(self, windings: Sequence[Any], cases: Sequence[Any]) -> tuple[Sequence[Any], Sequence[Any]]:
        """Resistance [ohm] and constant [V·s/rad] of one motor of each live group.

        Parameters
        ----------
        windings, cases : sequence of float or ndarray
            Temperatures of each live group. [°C]
        """
        if len(self._laws) == 1:  # the common case, spelt out because it stands in the innermost loop
            ((r20, copper, k20, magnet),) = self._laws
            return (resistance_at(r20, windings[0], copper),), (constant_at(k20, cases[0], magnet),)
        resistances, constants = [], []
        for (r20, copper, k20, magnet), winding, case in zip(self._laws, windings, cases, strict=True):
            resistances.append(resistance_at(r20, winding, copper))
            constants.append(constant_at(k20, case, magnet))
        return resistances, constants

    def emfs(self, constants: Sequence[Any], drum_speed: Any) -> Sequence[Any]:
        """Back e.m.f. of one motor of each live group at a drum speed [rad/s]. [V]"""
        if len(constants) == 1:
            return (constants[0] * self._ratios[0] * drum_speed,)
        return [k * ratio * drum_speed for k, ratio in zip(constants, self._ratios, strict=True)]

    def torques(self, constants: Sequence[Any], currents: Sequence[Any], drum_speed: Any) -> Sequence[Any]:
        """Torque of each of the chain's groups, all its motors together, before their constant drag. [N·m]

        Parameters
        ----------
        constants, currents : sequence of float or ndarray
            Of one motor of each live group. [V·s/rad], [A]
        drum_speed : float or ndarray
            [rad/s]
        """
        found = []
        for place, count, slope in self._units:
            made = 0.0 if place is None else constants[place] * currents[place]
            found.append(count * (made - slope * drum_speed))
        return found

    def friction_heat(self, constants: Sequence[Any], currents: Sequence[Any], drum_speed: Any) -> Sequence[Any]:
        """Heat that drag and load-dependent loss make in the case of one motor of each live group. [W]

        Parameters
        ----------
        constants, currents : sequence of float or ndarray
            Of one motor of each live group. [V·s/rad], [A]
        drum_speed : float or ndarray
            [rad/s]
        """
        found = []
        for (drag, slope, lost), ratio, k, i in zip(self._friction, self._ratios, constants, currents, strict=True):
            speed = ratio * abs(drum_speed)
            held = drag + slope * speed
            found.append(speed * (held + lost * positive(abs(k * i) - held)))
        return found
