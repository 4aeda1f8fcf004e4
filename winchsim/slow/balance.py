"""Steady balance of motors, supply and chain for a whole batch: the torque law, its steady speed, and what holds at rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.model.electric import Drive, Motors
from winchsim.physics import supply as sp
from winchsim.physics.chain import Chain, group_push, output_torques, torque_margin
from winchsim.physics.supply import NOTHING_BACK, Regime
from winchsim.slow.stacking import Batch

MOST_STEPS = 60
"""Steps in which the speed is bracketed; the law is straight between a handful of kinks, so a few do. [-]"""

NEAR_TOP = 0.97
"""Share of the highest speed at which its line is looked at. [-]"""

CLOSE = 1e-11
"""Share of the stalled torque that a balance may be off by. [-]"""


class Law:
    """The torque law of a batch at given temperatures.

    Parameters
    ----------
    batch : Batch
    windings, cases : sequence of ndarray
        Temperatures of each live group. [°C]
    """

    def __init__(self, batch: Batch, windings: list[Any], cases: list[Any]) -> None:
        m = self._machine = batch.machine
        self._step, self._size = batch.raising, batch.size
        self._motors = Motors(m)
        self.resistances, self.constants = self._motors.at_temperatures(windings, cases)

    def top_speed(self) -> Any:
        """Speed of the drum at which no group draws a current any more. [rad/s]"""
        speeds = [
            np.maximum(self._machine.source.duty * self._step.voltage - g.motor.brush_drop, 0.0) / (k * g.ratio)
            for g, k in zip(self._machine.groups, self.constants, strict=True)
        ]
        return np.broadcast_to(np.maximum.reduce(np.broadcast_arrays(*speeds)), (self._size,))

    def drive(self, speed: Any) -> Drive:
        """Torques, currents and voltage at a drum speed.

        Parameters
        ----------
        speed : ndarray, shape (size,)
            [rad/s]
        """
        voltage, currents, total = self._supply(self._motors.emfs(self.constants, speed))
        return Drive(self._motors.torques(self.constants, currents, speed), currents, total, voltage)

    def friction_heat(self, drive: Drive, speed: Any) -> Sequence[Any]:
        """Heat of friction in the case of one motor of each live group at a drum speed. [W]"""
        return self._motors.friction_heat(self.constants, drive.currents, speed)

    def push(self, speed: Any, breakaway: Any = 1.0) -> Any:
        """Torque that all groups together give to the common gear at a drum speed, raising. [N·m]"""
        return group_push(self._machine.chain, 1, self.drive(speed).torques, breakaway)

    def at_rest(self, needed: Any, breakaway: Any = 1.0) -> tuple[Any, Any]:
        """Torque that all groups give to the common gear at rest, and the margin over the torque needed there. [N·m], [-]"""
        chain, torques = self._machine.chain, self.drive(np.zeros(self._size)).torques
        return group_push(chain, 1, torques, breakaway), torque_margin(chain, torques, needed, breakaway)

    def _supply(self, emfs: Sequence[Any]) -> tuple[Any, tuple[Any, ...], Any]:
        """Terminal voltage, currents and total, each variant in the regime that agrees with itself."""
        source, limit = self._machine.source, self._step.current_limit
        state = (self._step.voltage, source, self._motors.counts, self.resistances, emfs, self._motors.drops)
        found = sp.balance(Regime.VOLTAGE, *state, limit)
        over = sp.limited_current(source, found[2]) > limit
        if np.any(over):
            found = _chosen(over, sp.balance(Regime.CURRENT, *state, np.where(np.isfinite(limit), limit, 0.0)), found)
        if not source.takes_back:
            back = found[2] < -NOTHING_BACK
            if np.any(back):
                found = _chosen(back, sp.balance(Regime.NO_RETURN, *state, limit), found)
        return found


def _chosen(where: Any, first: Any, second: Any) -> tuple[Any, tuple[Any, ...], Any]:
    currents = tuple(np.where(where, a, b) for a, b in zip(first[1], second[1], strict=True))
    return np.where(where, first[0], second[0]), currents, np.where(where, first[2], second[2])


def steady_speed(law: Law, needed: Any, at_rest: Any) -> Any:
    """Drum speed at which the motors give just the torque needed; 0 where they cannot. [rad/s]

    Parameters
    ----------
    law : Law
    needed : ndarray
        Torque at the common gear. [N·m]
    at_rest : ndarray
        What the motors give there at rest (``law.push(0)``). [N·m]

    Notes
    -----
    The excess torque falls with the speed along straight lines between a few kinks (current limit, a group that begins to be
    dragged). The line that ends at the highest speed is tried first: for one group, and wherever no kink lies between, its
    zero is the balance. Else chords between two speeds around the balance follow, exact as soon as both lie on one line.
    """
    top = law.top_speed()
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = np.zeros_like(needed), top + 0.0 * needed
        above, below = at_rest - needed, law.push(high) - needed
        moves, close = above > 0, CLOSE * np.maximum(np.abs(at_rest), np.abs(needed))
        near = law.push(NEAR_TOP * high) - needed
        speed = high * (1 - (1 - NEAR_TOP) * below / (below - near))
        speed = np.where(moves & (speed > 0) & (speed < high), speed, high * moves / 2)
        last = np.zeros(needed.shape)
        for _ in range(MOST_STEPS):
            left = law.push(speed) - needed
            open_still = (np.abs(left) > close) & moves & (high - low > 1e-13 * high)
            if not np.any(open_still):
                break
            rises = left > 0
            # The end that stays twice loses half its weight, lest the chord creep along a kink.
            above, below = np.where(rises, left, above), np.where(rises, below, left)
            above = np.where(~rises & (last < 0), above / 2, above)
            below = np.where(rises & (last > 0), below / 2, below)
            low, high = np.where(rises, speed, low), np.where(rises, high, speed)
            last = np.where(rises, 1.0, -1.0)
            speed = np.where(open_still, low + (high - low) * (above / (above - below)), speed)
    return speed


# --- chain ----------------------------------------------------------------------------------------------------------


def raising_line(chain: Chain, breakaway: Any = 1.0) -> tuple[Any, Any]:
    """Torque at the common gear that raises: at no rope torque, and per rope torque. [N·m], [-]

    While raising every torque along the chain is forward, so the law is one straight line.
    """
    drag = output_torques(chain, 1, 0.0, breakaway=breakaway)[0]
    return drag, output_torques(chain, 1, 1.0, breakaway=breakaway)[0] - drag
