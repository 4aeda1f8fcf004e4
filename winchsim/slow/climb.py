"""The slow lift: a whole batch raised cell by cell, its fast states at their balance."""

from collections.abc import Callable
from enum import IntEnum
from typing import Any

import numpy as np

from winchsim.constants import COPPER_MELTS
from winchsim.frozen import replace
from winchsim.physics import heat, load
from winchsim.physics.chain import output_torques, raising_line, rotating_inertia
from winchsim.physics.motor import copper_loss
from winchsim.roots import root_between
from winchsim.slow.path import Path
from winchsim.slow.stacking import Batch, start_temperatures
from winchsim.slow.start import Start

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)

STANDING_STEPS = 8
"""Steps in which the warming of a stalled motor is followed. [-]"""

AT_LIMIT = 1.0 - 1e-9
"""Share of its limit from which on a supply is at it. [-]"""


class SlowEnd(IntEnum):
    """How a slow lift ends."""

    LIFTED = 0
    STALLED = 1
    STALLED_AT_LAYER_END = 2
    BATTERY_EMPTY = 3
    OVERFLOW = 4
    BLOCKED = 5
    LATE = 6
    CANNOT_BE_BUILT = 7
    TRIPPED = 8


class Climb:
    """How a batch fares on its way up: raised until it is up, stalls or runs out of charge.

    Parameters
    ----------
    batch : Batch

    Attributes
    ----------
    path : Path
    law : DriveLaw
        At the start's temperatures.
    start : Start
    drag, per_torque : float or ndarray
        Torque at the common gear that raises: at no rope torque, and per rope torque. [N·m], [-]
    inertia : float or ndarray
        Torque at the common gear per acceleration of the drum. [N·m·s²/rad]
    alive : ndarray of bool
        Whether the drum still turned at the end of the path.
    hung : ndarray of bool
        Whether the load has lifted off.
    reason : ndarray of int
        The `SlowEnd` that stopped it on the way; `LIFTED` for none.
    wound : ndarray
        Rope wound on when it stopped, or at the path's end. [m]
    time : ndarray
        At steady speeds, spin-up left out. [s]
    windings, cases, hottest : ndarray, shape (live groups, size)
        Temperatures at the end, and the hottest winding on the way. [°C]
    charge : ndarray
        Drawn from the supply at steady speeds. [C]
    charges : ndarray, shape (live groups, size)
        Through one motor of each live group at steady speeds. [C]
    least_margin : ndarray
        Least of motor torque at rest over torque needed in motion. [-]
    first_speed, last_speed : ndarray
        Steady speed of the drum at its start, and at the end. [rad/s]
    last_slope : ndarray
        Torque at the common gear per speed of the drum there. [N·m·s/rad]
    last_push : ndarray
        Torque at the common gear that the motors gave at rest, where it ended. [N·m]
    last_current, peak_current : ndarray
        Of the supply, running: at the end, and the most. [A]
    passed : list of tuple of ndarray
        Of each cell: time, current of the supply and voltage at the motors. [s], [A], [V]
    group_torques : ndarray, shape (groups of the chain, size)
        Largest torque of each, running. [N·m]
    tension, rope_torque : ndarray
        Largest with the bounce of pick-up and layer changes; that of the power going off is left
        out. [N], [N·m]
    """

    def __init__(self, batch: Batch) -> None:
        m, zero = batch.machine, np.zeros(batch.size)
        self.batch, self.path = batch, Path(batch)
        self.drag, self.per_torque = raising_line(m.chain)
        self.inertia = rotating_inertia(m.chain, len(m.groups))
        self.windings, self.cases = start_temperatures(batch)
        self.law = batch.law()
        self.start = Start(batch, self.path, self.law)
        self.alive, self.reason = np.ones(batch.size, dtype=bool), np.zeros(batch.size, dtype=int)
        self.hung = ~self.alive
        self.wound, self.hottest = self.path.edges[-1], self.windings
        self.time = self.charge = self.at_limit = zero
        self.first_speed = self.last_speed = self.last_push = zero
        self.last_current = self.peak_current = zero
        self.passed: list[tuple[Any, Any, Any]] = [(zero, zero, zero)]
        self.tension = self.rope_torque = zero
        self.charges = self.currents = self.friction = np.zeros((len(m.groups), batch.size))
        self.group_torques = np.zeros((len(m.units), batch.size))
        self.margin = self.least_margin = np.full(batch.size, np.inf)
        self.middle = self.radius = self.needed = zero
        self._start()
        for index in range(len(self.path.edges) - 1):
            self._cell(index)
        self._finish()

    def _note(self, here: Any, **values: Any) -> None:
        """Set values of some of the variants."""
        for name, value in values.items():
            setattr(self, name, np.where(here, value, getattr(self, name)))

    def _stop(self, ends: Any, wound: Any, reason: Any) -> None:
        """End some of the variants with so much rope wound on."""
        self._note(ends, wound=wound, reason=reason)
        self.alive = self.alive & ~ends

    def _start(self) -> None:
        """Stop the variants whose drum does not start from rest, or whose supply does not stand
        it."""
        m, delay = self.batch.machine, self.batch.machine.source.trip_delay
        rope_torque = self.path.start_tension * self.path.radii[0]
        needed = output_torques(m.chain, 1, rope_torque, breakaway=m.breakaway)[0]
        push, margin = self.law.at_rest(needed, m.breakaway)
        held = ~(push > needed)
        self._stop(held, 0.0, SlowEnd.STALLED)
        self._note(held, least_margin=np.minimum(self.least_margin, _known(margin)))
        self.last_push = self.law.push(np.zeros(self.batch.size))
        if np.any(np.isfinite(delay)):
            self.at_limit = self._inrush()
            self._cut(0, self.alive & (self.at_limit >= delay), 0.0, SlowEnd.TRIPPED)

    def _inrush(self) -> Any:
        """Time for which the supply is at its limit while the drum spins up to the speed at which
        it can leave it; none under a rising voltage. [s]"""
        raising, nothing = self.batch.raising, np.zeros(self.batch.size)
        free = replace(raising, current_limit=np.inf)
        unlimited = replace(self.batch, raising=free).law()
        needed = self.drag + self.per_torque * self.path.tensions[0] * self.path.radii[0]
        top = self.law.top_speed() + nothing

        def beyond(speed: Any) -> Any:
            return unlimited.drive(speed).total - raising.current_limit

        first, last = beyond(nothing), beyond(top)
        over = (first > 0) & ~(np.asarray(raising.ramp) > 0)
        left = root_between(beyond, (nothing, first), (top, last), close=1e-9 * first, active=over)
        edge = np.where(over, np.minimum(left, self.law.steady_speed(needed)), 0.0)
        time = _over_speeds(edge, lambda speed: self.inertia / (self.law.push(speed) - needed))
        return np.maximum(time, 0.0)

    def _cell(self, index: int) -> None:
        """Go through one cell of the path."""
        path, line = self.path, self.batch.machine.line
        length = path.edges[index + 1] - path.edges[index]
        if not np.any(length > 0):
            return
        tension, radius = path.tensions[index], path.radii[index]
        needed = self.drag + self.per_torque * tension * radius
        taken, before = length * (1 + tension / line.stiffness) / radius, self.last_speed
        # Temperatures expected in the middle of the cell: half of it at the last current.
        law = self.batch.law(
            self._heated(np.where(before > 0, taken / before / 2, 0.0), self.currents)
        )
        at_rest, margin = law.at_rest(needed)
        margin = _known(margin)
        here = self.alive & (length > 0)
        self._stall(index, here & (margin <= 1), margin, radius)
        here &= self.alive
        speed = np.where(here, law.steady_speed(needed, at_rest), before)
        drive = law.drive(speed)
        time = self._empty(index, here, np.where(here, taken / speed, 0.0), drive.total)
        time = self._trip(index, here, time, drive.total)
        currents = np.array(drive.currents)
        self.friction = np.array(law.friction_heat(drive, speed))
        self._pass(time, currents, drive.total)
        self.passed.append((time, drive.total, drive.voltage))
        hanging = here & path.hanging[index]
        first = hanging & ~self.hung
        peak = tension + self._bounce(index, hanging, speed, radius)
        peak = np.where(first, np.maximum(peak, self.start.peak), peak)
        self.hung = self.hung | hanging
        self._note(here & (self.first_speed == 0), first_speed=speed)
        self._note(
            here,
            last_speed=speed,
            last_current=drive.total,
            peak_current=np.maximum(self.peak_current, drive.total),
            tension=np.maximum(self.tension, peak),
            rope_torque=np.maximum(self.rope_torque, peak * radius),
            group_torques=np.maximum(self.group_torques, np.abs(drive.torques)),
            least_margin=np.minimum(self.least_margin, margin),
            last_push=at_rest,
            currents=currents,
            margin=margin,
            middle=path.middles[index],
            radius=radius,
            needed=needed,
        )

    def _pass(self, time: Any, currents: Any, total: Any) -> None:
        """Let a time at constant current go by: it warms the motors and draws on the supply."""
        self._warm(np.minimum(time, self._powered()), currents)
        self.time = self.time + time
        self.charge = self.charge + total * time
        self.charges = self.charges + currents * time

    def _heated(self, time: Any, currents: Any) -> tuple[np.ndarray, np.ndarray]:
        """Temperatures of all groups after a time of constant current, exactly; molten copper is
        not followed any further, and what has overflowed counts as molten."""
        m, pairs = self.batch.machine, []
        for place, group in enumerate(m.groups):
            winding, case = self.windings[place], self.cases[place]
            loss, growth = copper_loss(group.motor, currents[place], winding)
            friction = self.friction[place]
            pairs.append(
                heat.step_exact(group.heat, loss, winding, case, m.ambient, time, growth, friction)
            )
        windings, cases = np.fmin(np.array(pairs).swapaxes(0, 1), COPPER_MELTS)
        return windings, cases

    def _stall(self, index: int, stalls: Any, margin: Any, radius: Any) -> None:
        """Stop the variants that cannot go on; between two middles of one layer the margin is taken
        as straight."""
        if not np.any(stalls):
            return
        path, new_layer = self.path, (radius != self.radius) & (self.radius > 0)
        share = np.clip((self.margin - 1) / (self.margin - margin), 0.0, 1.0)
        between = self.middle + share * (path.middles[index] - self.middle)
        known = np.isfinite(self.margin) & ~new_layer
        reason = np.where(new_layer, SlowEnd.STALLED_AT_LAYER_END, SlowEnd.STALLED)
        self._stop(stalls, np.where(known, between, path.edges[index]), reason)
        self._note(stalls, least_margin=np.minimum(self.least_margin, margin))

    def _empty(self, index: int, here: Any, time: Any, total: Any) -> Any:
        """Stop the variants whose battery runs empty, and cut the cell's time short for them."""
        capacity = self.batch.machine.source.capacity
        if np.all(np.isinf(capacity)):
            return time
        drawn, left = total * time, capacity - self.charge
        empties = here & (drawn >= left)
        share = np.where(empties, left / drawn, 1.0)
        return time * self._cut(index, empties, share, SlowEnd.BATTERY_EMPTY)

    def _cut(self, index: int, ends: Any, share: Any, reason: SlowEnd) -> Any:
        """Stop the variants that end within a cell, after a share of it; the share of each."""
        start, end = self.path.edges[index : index + 2]
        self._stop(ends, start + share * (end - start), reason)
        return share

    def _trip(self, index: int, here: Any, time: Any, total: Any) -> Any:
        """Stop the variants whose supply has been at its limit for too long, and cut the cell's
        time short for them."""
        delay = self.batch.machine.source.trip_delay
        if np.all(np.isinf(delay)):
            return time
        limited = here & self.alive & self._is_at_limit(total)
        before = np.where(limited, self.at_limit, 0.0)
        self._note(here, at_limit=before + time * limited)
        trips = limited & (self.at_limit >= delay)
        share = np.where(trips, np.maximum(delay - before, 0.0) / time, 1.0)
        return time * self._cut(index, trips, share, SlowEnd.TRIPPED)

    def _is_at_limit(self, total: Any) -> Any:
        return total >= AT_LIMIT * np.asarray(self.batch.raising.current_limit)

    def _bounce(self, index: int, hanging: Any, speed: Any, radius: Any) -> Any:
        """Rope force on top of the steady pull that the jump of the surface speed at a new layer
        makes. [N]"""
        layer_up = hanging & (radius > self.radius) & (self.radius > 0)
        return np.where(layer_up, speed * (radius - self.radius), 0.0) * self.path.impedances[index]

    def _powered(self) -> Any:
        """Time for which the power is still on. [s]"""
        return np.maximum(self.batch.powered_until - self.time, 0.0)

    def _warm(self, time: Any, currents: Any) -> None:
        """Warm all groups by a time of constant current."""
        self.windings, self.cases = self._heated(time, currents)
        self.hottest = np.maximum(self.hottest, self.windings)

    def _finish(self) -> None:
        """Stop what the last cell alone has warmed past a stall, and heat what is held."""
        still, law = np.zeros(self.batch.size), self.batch.law((self.windings, self.cases))
        margin = _known(law.at_rest(self.needed)[1])
        self._stall(-1, self.alive & (margin <= 1), margin, self.radius)
        held = np.isin(self.reason, (SlowEnd.STALLED, SlowEnd.STALLED_AT_LAYER_END))
        held |= self.alive & self.path.blocked
        trips = held & np.isfinite(self.batch.machine.source.trip_delay)
        trips &= self._is_at_limit(law.drive(still).total)
        self._note(trips, reason=SlowEnd.TRIPPED)
        self._stand(held & ~trips)
        near = 0.98 * self.last_speed
        slope = (law.push(near) - law.push(self.last_speed)) / (self.last_speed - near)
        self.last_slope = np.where(self.last_speed > 0, slope, np.nan)

    def _stand(self, held: Any) -> None:
        """Heat the motors of the variants that are held, under power as long as that lasts."""
        if self.batch.powered_until == np.inf or not np.any(held):
            return
        left, still = np.where(held, self._powered(), 0.0), np.zeros(self.batch.size)
        self.friction = 0.0 * self.charges
        for _ in range(STANDING_STEPS):
            law = self.batch.law((self.windings, self.cases))
            self._warm(left / STANDING_STEPS, law.drive(still).currents)

    def spin_up(self) -> tuple[Any, Any]:
        r"""Time that the lift takes longer than at steady speeds, and the mechanical time constant.
        [s], [s]

        Notes
        -----
        A drive whose torque falls along a straight line lags behind its steady speed with the time
        constant :math:`\tau = J/S`; whatever that speed did meanwhile, the angle it is short of in
        the end is :math:`\tau\,w_{end}`. Where a current limit bends the line, the angle lost until
        the first steady speed :math:`w_0` is :math:`\int_0^{w_0} J (w_0 - w)/(M(w) - M_0)\,dw`, and
        :math:`\tau (w_0 - w_{end})` of it is given back while the speed falls. The load's mass adds
        to the inertia. What a ramp costs comes on top. Own derivation, head of the package `slow`.
        """
        m, first, law, inertia = self.batch.machine, self.first_speed, self.law, self.inertia
        tau, lever = inertia / self.last_slope, self.path.radii[-1] / m.line.falls
        carried = self.per_torque * load.inertia(m.body) * lever**2 / self.last_slope
        needed = law.push(first)
        angle = _over_speeds(
            first, lambda speed: inertia * (first - speed) / (law.push(speed) - needed)
        )
        lost = (angle - tau * (first - self.last_speed)) / self.last_speed + carried
        return lost + self.start.delay, tau + carried

    def steady(self, lost: Any) -> tuple[Any, Any]:
        """Mean current of the supply and voltage at the motors over the middle half of the lift's
        time, of which so much is lost to spin-up; what `History.steady` finds. [A], [V]"""
        times, currents, voltages = map(np.array, zip(*self.passed, strict=True))
        ends = lost + np.cumsum(times, axis=0)
        first, last = ends[-1] / 4, 3 * ends[-1] / 4
        inside = np.clip(ends, first, last) - np.clip(ends - times, first, last)
        whole = np.sum(inside, axis=0)
        return np.sum(inside * currents, axis=0) / whole, np.sum(inside * voltages, axis=0) / whole


def _over_speeds(top: Any, function: Callable[[Any], Any]) -> Any:
    """Integral of a function of the drum's speed from rest up to a speed."""
    return sum(
        weight / 2 * top * function(top * (node + 1) / 2)
        for node, weight in zip(_NODES, _WEIGHTS, strict=True)
    )


def _known(margin: Any) -> Any:
    """A margin to stall; none where it is not a number, so that what cannot be computed never
    lifts. [-]"""
    return np.where(np.isnan(margin), 0.0, margin)
