"""The slow lift: a whole batch raised cell by cell, its fast states at their balance."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from winchsim.constants import COPPER_MELTS
from winchsim.frozen import dataclass, replace
from winchsim.model.electric import Drive, DriveLaw
from winchsim.physics import heat, load
from winchsim.physics.chain import output_torques, raising_line, rotating_inertia
from winchsim.physics.motor import copper_loss
from winchsim.roots import root_between
from winchsim.slow.path import Path, find_path
from winchsim.slow.pickup import pick_up_force
from winchsim.slow.stacking import Batch

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass
class Course:
    """How a batch fared on its way up; arrays of its size, lists by live group.

    Attributes
    ----------
    path : Path
    alive : ndarray of bool
        Whether the drum still turned at the end of the path.
    reason : ndarray of int
        What stopped it: 0 nothing, 1 a stall, 2 a stall at a layer's end, 3 an empty battery, 4 a
        supply that switched itself off.
    wound : ndarray
        Rope wound on when it stopped, or at the path's end. [m]
    time : ndarray
        At steady speeds, spin-up left out. [s]
    windings, cases : list of ndarray
        Temperatures at the end. [°C]
    hottest : list of ndarray
        Hottest winding of each group on the way. [°C]
    charge, energy : ndarray
        Drawn from the supply at steady speeds. [C], [J]
    charges : list of ndarray
        Through one motor of each live group at steady speeds. [C]
    least_margin : ndarray
        Least of motor torque at rest over torque needed in motion. [-]
    first_speed, last_speed : ndarray
        Steady speed of the drum at its start, and at the end. [rad/s]
    last_slope : ndarray
        Torque at the common gear per speed of the drum there. [N·m·s/rad]
    last_push : ndarray
        Torque at the common gear that the motors gave at rest, where it ended. [N·m]
    first_current, last_current, peak_current : ndarray
        Of the supply, running: just after lift-off, at the end, and the most. [A]
    last_voltage : ndarray
        At the motors. [V]
    group_torques : list of ndarray
        Largest torque of each of the chain's groups, running. [N·m]
    tension, rope_torque : ndarray
        Largest with the bounce of pick-up and layer changes; that of the power going off is left
        out. [N], [N·m]
    """

    path: Path
    alive: Any
    reason: Any
    wound: Any
    time: Any
    windings: list[Any]
    cases: list[Any]
    hottest: list[Any]
    charge: Any
    energy: Any
    charges: list[Any]
    least_margin: Any
    first_speed: Any
    last_speed: Any
    last_slope: Any
    last_push: Any
    first_current: Any
    last_current: Any
    peak_current: Any
    last_voltage: Any
    group_torques: list[Any]
    tension: Any
    rope_torque: Any

    def note(self, here: Any, **values: Any) -> None:
        """Set values of some of the variants."""
        for name, value in values.items():
            setattr(self, name, np.where(here, value, getattr(self, name)))

    def stop(self, ends: Any, wound: Any, reason: Any) -> None:
        """End some of the variants with so much rope wound on."""
        self.note(ends, wound=wound, reason=reason)
        self.alive = self.alive & ~ends


STALLED, STALLED_AT_LAYER, EMPTY, TRIPPED = 1, 2, 3, 4

STANDING_STEPS = 8
"""Steps in which the warming of a stalled motor is followed. [-]"""

AT_LIMIT = 1.0 - 1e-9
"""Share of its limit from which on a supply is at it. [-]"""


class _Climb:
    """State of the climb between cells."""

    def __init__(self, batch: Batch, path: Path) -> None:
        m, n = batch.machine, batch.size
        self.batch, self.path = batch, path
        self.drag, self.per_torque = raising_line(m.chain)
        start, ambient = start_temperatures(batch)
        zero, infinite = np.zeros(n), np.full(n, np.inf)
        self.currents: Sequence[Any] = [zero for _ in m.groups]
        self.friction: Sequence[Any] = self.currents
        self.pick_up = pick_up_force(
            batch, path, DriveLaw(batch.machine, batch.raising, start, ambient)
        )
        self.margin, self.middle, self.radius, self.needed = infinite, zero, zero, zero
        self.at_limit = zero  # for how long the supply has been
        self.course = Course(
            path=path,
            alive=np.ones(n, dtype=bool),
            reason=np.zeros(n, dtype=int),
            wound=path.edges[-1].copy(),
            time=zero,
            windings=start,
            cases=ambient,
            hottest=list(start),
            charge=zero,
            charges=[zero for _ in m.groups],
            energy=zero,
            least_margin=infinite,
            first_speed=zero,
            last_speed=zero,
            last_slope=zero,
            last_push=zero,
            first_current=zero,
            last_current=zero,
            peak_current=zero,
            last_voltage=zero,
            group_torques=[zero for _ in m.units],
            tension=zero,
            rope_torque=zero,
        )

    def cell(self, index: int) -> None:
        """Go through one cell of the path."""
        batch, course, path = self.batch, self.course, self.path
        m = batch.machine
        length = path.edges[index + 1] - path.edges[index]
        if not np.any(length > 0):
            return
        tension, radius = path.tensions[index], path.radii[index]
        needed = self.drag + self.per_torque * tension * radius
        taken = length * (1 + tension / m.line.stiffness) / radius
        law = DriveLaw(batch.machine, batch.raising, *self._half_way(taken))
        at_rest, margin = law.at_rest(needed)
        margin = _known(margin)
        here = course.alive & (length > 0)
        self.stall(index, here & (margin <= 1), margin, radius)
        here &= course.alive
        speed = np.where(here, law.steady_speed(needed, at_rest), course.last_speed)
        time = np.where(here, taken / speed, 0.0)
        drive = law.drive(speed)
        time = self._empty(index, here, time, drive.total)
        time = self._trip(index, here, time, drive.total)
        self.friction = law.friction_heat(drive, speed)
        self._warm(np.minimum(time, self._powered()), drive.currents)
        course.time = course.time + time
        course.charge = course.charge + drive.total * time
        course.charges = [
            taken + current * time
            for taken, current in zip(course.charges, drive.currents, strict=True)
        ]
        course.energy = course.energy + batch.raising.voltage * drive.total * time
        self._note(index, here, speed, drive, tension, radius)
        course.note(here, least_margin=np.minimum(course.least_margin, margin), last_push=at_rest)
        self.currents = [
            np.where(here, now, old) for now, old in zip(drive.currents, self.currents, strict=True)
        ]
        self.margin = np.where(here, margin, self.margin)
        self.middle = np.where(here, path.middles[index], self.middle)
        self.radius = np.where(here, radius, self.radius)
        self.needed = np.where(here, needed, self.needed)

    def _half_way(self, taken: Any) -> tuple[list[Any], list[Any]]:
        """Temperatures expected in the middle of a cell: half of it at the last current."""
        speed = self.course.last_speed
        return self._heated(np.where(speed > 0, taken / speed / 2, 0.0), self.currents)

    def _heated(self, time: Any, currents: Sequence[Any]) -> tuple[list[Any], list[Any]]:
        """Temperatures of all groups after a time of constant current, exactly; molten copper is
        not followed any further, and what has overflowed counts as molten."""
        m, course, pairs = self.batch.machine, self.course, []
        for place, group in enumerate(m.groups):
            winding, case = course.windings[place], course.cases[place]
            loss, growth = copper_loss(group.motor, currents[place], winding)
            friction = self.friction[place]
            pairs.append(
                heat.step_exact(group.heat, loss, winding, case, m.ambient, time, growth, friction)
            )
        return [np.fmin(t, COPPER_MELTS) for t, _ in pairs], [
            np.fmin(t, COPPER_MELTS) for _, t in pairs
        ]

    def stall(self, index: int, stalls: Any, margin: Any, radius: Any) -> None:
        """Stop the variants that cannot go on; between two middles of one layer the margin is taken
        as straight."""
        if not np.any(stalls):
            return
        course, path = self.course, self.path
        new_layer = (radius != self.radius) & (self.radius > 0)
        share = np.clip((self.margin - 1) / (self.margin - margin), 0.0, 1.0)
        between = self.middle + share * (path.middles[index] - self.middle)
        between = np.where(np.isfinite(self.margin), between, path.edges[index])
        course.stop(
            stalls,
            np.where(new_layer, path.edges[index], between),
            np.where(new_layer, STALLED_AT_LAYER, STALLED),
        )
        course.note(stalls, least_margin=np.minimum(course.least_margin, margin))

    def _empty(self, index: int, here: Any, time: Any, total: Any) -> Any:
        """Stop the variants whose battery runs empty, and cut the cell's time short for them."""
        course, capacity = self.course, self.batch.machine.source.capacity
        if np.all(np.isinf(capacity)):
            return time
        drawn = total * time
        left = capacity - course.charge
        empties = here & (drawn >= left)
        return time * self.cut(index, empties, np.where(empties, left / drawn, 1.0), EMPTY)

    def cut(self, index: int, ends: Any, share: Any, reason: int) -> Any:
        """Stop the variants that end within a cell, after a share of it; the share of each."""
        start, end = self.path.edges[index : index + 2]
        self.course.stop(ends, start + share * (end - start), reason)
        return share

    def _trip(self, index: int, here: Any, time: Any, total: Any) -> Any:
        """Stop the variants whose supply has been at its limit for too long, and cut the cell's
        time short for them."""
        delay = self.batch.machine.source.trip_delay
        if np.all(np.isinf(delay)):
            return time
        limited = here & self.course.alive & _at_limit(self.batch, total)
        before = np.where(limited, self.at_limit, 0.0)
        self.at_limit = np.where(here, before + time * limited, self.at_limit)
        trips = limited & (self.at_limit >= delay)
        share = np.where(trips, np.maximum(delay - before, 0.0) / time, 1.0)
        return time * self.cut(index, trips, share, TRIPPED)

    def stand(self, held: Any) -> None:
        """Heat the motors of the variants that are held, under power as long as that lasts."""
        course, batch = self.course, self.batch
        if batch.powered_until == np.inf or not np.any(held):
            return
        left = np.where(held, self._powered(), 0.0)
        still = np.zeros(batch.size)
        self.friction = [still for _ in batch.machine.groups]
        for _ in range(STANDING_STEPS):
            law = DriveLaw(batch.machine, batch.raising, course.windings, course.cases)
            self._warm(left / STANDING_STEPS, law.drive(still).currents)

    def _powered(self) -> Any:
        """Time for which the power is still on. [s]"""
        return np.maximum(self.batch.powered_until - self.course.time, 0.0)

    def _warm(self, time: Any, currents: Sequence[Any]) -> None:
        """Warm all groups by a time of constant current."""
        course = self.course
        course.windings, course.cases = self._heated(time, currents)
        course.hottest = [
            np.maximum(most, now) for most, now in zip(course.hottest, course.windings, strict=True)
        ]

    def _note(
        self, index: int, here: Any, speed: Any, drive: Drive, tension: Any, radius: Any
    ) -> None:
        course, hanging = self.course, here & self.path.hanging[index]
        first = hanging & (course.first_current == 0)
        peak = tension + self._bounce(index, hanging, speed, radius)
        peak = np.where(first, np.maximum(peak, self.pick_up), peak)
        course.note(first, first_current=drive.total)
        course.note(here & (course.first_speed == 0), first_speed=speed)
        course.note(
            here,
            last_speed=speed,
            last_current=drive.total,
            peak_current=np.maximum(course.peak_current, drive.total),
            last_voltage=drive.voltage,
            tension=np.maximum(course.tension, peak),
            rope_torque=np.maximum(course.rope_torque, peak * radius),
        )
        course.group_torques = [
            np.where(here, np.maximum(most, np.abs(torque)), most)
            for most, torque in zip(course.group_torques, drive.torques, strict=True)
        ]

    def _bounce(self, index: int, hanging: Any, speed: Any, radius: Any) -> Any:
        """Rope force on top of the steady pull that the jump of the surface speed at a new layer
        makes. [N]"""
        layer_up = hanging & (radius > self.radius) & (self.radius > 0)
        return np.where(layer_up, speed * (radius - self.radius), 0.0) * self.path.impedances[index]


def _known(margin: Any) -> Any:
    """A margin to stall; none where it is not a number, so that what cannot be computed never
    lifts. [-]"""
    return np.where(np.isnan(margin), 0.0, margin)


def start_temperatures(batch: Batch) -> tuple[list[Any], list[Any]]:
    """Winding and case temperatures at the start, by live group. [°C]"""
    m, n = batch.machine, batch.size
    windings, cases = (
        [np.broadcast_to(np.asarray(getattr(g, name), dtype=float), (n,)) for g in m.groups]
        for name in ("winding_start", "case_start")
    )
    return windings, cases


def climb(batch: Batch) -> Course:
    """Raise every variant of a batch until it is up, stalls or runs out of charge.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    Course
    """
    path = find_path(batch)
    state = _Climb(batch, path)
    course = state.course
    _start(batch, path, course)
    trips = np.any(np.isfinite(batch.machine.source.trip_delay))
    if trips:
        state.at_limit = _inrush(batch, path)
        over = course.alive & (state.at_limit >= batch.machine.source.trip_delay)
        state.cut(0, over, 0.0, TRIPPED)
    for index in range(path.edges.shape[0] - 1):
        state.cell(index)
    law = DriveLaw(batch.machine, batch.raising, course.windings, course.cases)
    # Near a stall the last cell alone may warm the windings past it.
    margin = _known(law.at_rest(state.needed)[1])
    state.stall(-1, course.alive & (margin <= 1), margin, state.radius)
    held = np.isin(course.reason, (STALLED, STALLED_AT_LAYER)) | (course.alive & path.blocked)
    if trips:
        trips = held & np.isfinite(batch.machine.source.trip_delay)
        trips &= _at_limit(batch, law.drive(np.zeros(batch.size)).total)
        course.reason = np.where(trips, TRIPPED, course.reason)
        held &= ~trips
    state.stand(held)
    near = 0.98 * course.last_speed
    slope = (law.push(near) - law.push(course.last_speed)) / (course.last_speed - near)
    course.last_slope = np.where(course.last_speed > 0, slope, np.nan)
    return course


def _at_limit(batch: Batch, total: Any) -> Any:
    """Whether the supply is at its limit."""
    return total >= AT_LIMIT * np.asarray(batch.raising.current_limit)


def _inrush(batch: Batch, path: Path) -> Any:
    """Time for which the supply is at its limit while the drum spins up to the speed at which it
    can leave it; none under a rising voltage. [s]"""
    m, free = batch.machine, replace(batch.raising, current_limit=np.inf)
    limited, unlimited = (
        DriveLaw(m, phase, *start_temperatures(batch)) for phase in (batch.raising, free)
    )
    drag, per_torque = raising_line(m.chain)
    needed = drag + per_torque * path.tensions[0] * path.radii[0]
    limit, top = batch.raising.current_limit, limited.top_speed() + np.zeros(batch.size)

    def beyond(speed: Any) -> Any:
        return unlimited.drive(speed).total - limit

    first, last = beyond(np.zeros(batch.size)), beyond(top)
    over = (first > 0) & ~(np.asarray(batch.raising.ramp) > 0)
    left = root_between(
        beyond, (np.zeros(batch.size), first), (top, last), close=1e-9 * first, active=over
    )
    edge = np.where(over, np.minimum(left, limited.steady_speed(needed)), 0.0)
    inertia = rotating_inertia(m.chain, len(m.groups))
    time = _over_speeds(edge, lambda speed: inertia / (limited.push(speed) - needed))
    return np.maximum(time, 0.0)


def _over_speeds(top: Any, function: Callable[[Any], Any]) -> Any:
    """Integral of a function of the drum's speed from rest up to a speed."""
    return sum(
        weight / 2 * top * function(top * (node + 1) / 2)
        for node, weight in zip(_NODES, _WEIGHTS, strict=True)
    )


def _start(batch: Batch, path: Path, course: Course) -> None:
    """Stop the variants whose drum does not start from rest."""
    m = batch.machine
    law = DriveLaw(batch.machine, batch.raising, course.windings, course.cases)
    needed = output_torques(m.chain, 1, path.start_tension * path.radii[0], breakaway=m.breakaway)[
        0
    ]
    push, margin = law.at_rest(needed, m.breakaway)
    held = ~(push > needed)
    course.stop(held, 0.0, STALLED)
    course.note(held, least_margin=np.minimum(course.least_margin, _known(margin)))
    course.last_push = law.push(np.zeros(batch.size))


def spin_up(batch: Batch, course: Course) -> tuple[Any, Any]:
    r"""Time that the lift takes longer than at steady speeds, and the mechanical time constant.
    [s], [s]

    Parameters
    ----------
    batch : Batch
    course : Course

    Notes
    -----
    A drive whose torque falls along a straight line lags behind its steady speed with the time
    constant :math:`\tau = J/S`; whatever that speed did meanwhile, the angle it is short of in the
    end is :math:`\tau\,w_{end}`. Where a current limit bends the line, the angle lost until the
    first steady speed :math:`w_0` is :math:`\int_0^{w_0} J (w_0 - w)/(M(w) - M_0)\,dw`, and
    :math:`\tau (w_0 - w_{end})` of it is given back while the speed falls. The load's mass adds to
    the inertia. Own derivation, head of the package `slow`.
    """
    m, first = batch.machine, course.first_speed
    inertia = rotating_inertia(m.chain, len(m.groups))
    _, per_torque = raising_line(m.chain)
    tau = inertia / course.last_slope
    carried = (
        per_torque
        * load.inertia(m.body)
        * (course.path.radii[-1] / m.line.falls) ** 2
        / course.last_slope
    )
    law = DriveLaw(batch.machine, batch.raising, *start_temperatures(batch))
    needed = law.push(first)
    angle = _over_speeds(
        first, lambda speed: inertia * (first - speed) / (law.push(speed) - needed)
    )
    lost = (angle - tau * (first - course.last_speed)) / course.last_speed + carried
    return lost + _ramp_loss(batch, course), tau + carried


def _ramp_loss(batch: Batch, course: Course) -> Any:
    """Time lost while the voltage rises: half the ramp, and half the share of it in which the load
    cannot move yet. [s]"""
    ramp = batch.raising.ramp
    if not np.any(np.asarray(ramp) > 0):
        return 0.0
    return ramp * (1 + 1 / course.least_margin) / 2
