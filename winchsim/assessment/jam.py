"""What a jam asks of every part: the motors' pull at standstill, and the rotors' momentum on top.

The load stops dead on its way while the power stays on. The drum winds on, the rope stretches, and
the rotors come to rest on it. Two states (drum speed, rope stretch) are followed for many current
limits at once; behind a high ratio the rotors' share exceeds that of the motors by far.
"""

import math
from typing import Any, NamedTuple

import numpy as np

from winchsim.assessment.kinds import Jam, JamPart, NoLimit
from winchsim.assessment.margins import needed_current
from winchsim.frozen import replace
from winchsim.model import (
    Channels,
    DriveLaw,
    Machine,
    link_shares,
    pull,
    raising_phase,
    stalled_channels,
)
from winchsim.physics.chain import raising_line, rotating_inertia
from winchsim.slow import Batch, stack_machines
from winchsim.slow.lifts import TINY, accelerated, radii_used
from winchsim.slow.path import breakaway_pull
from winchsim.slow.stacking import rows

LIMITS = 16
"""Current limits that are tried at once between the current needed and that of standstill. [-]"""

ABOVE_NEED = 1.02
"""Least current limit that is tried, over the current that just raises the load. [-] Own choice."""

STEPS_PER_RADIAN, MOST_STEPS, SPEEDS = 20, 120, 17
"""Time steps per radian of the drum's swing on the rope, their largest number, and stations of the
motors' torque over the speed. [-]"""


class Stop(NamedTuple):
    """Shares of capacity and rope forces at a jam, for many current limits.

    Attributes
    ----------
    static, dynamic : ndarray, shape (parts, limits)
        Demand over capacity at standstill, and the most with the rotors. [-]
    tension, static_tension : ndarray, shape (limits,)
        [N]
    current : ndarray, shape (limits,)
        Of the supply at standstill. [A]
    speed : ndarray, shape (limits,)
        Of the load as it jams. [m/s]
    """

    static: np.ndarray
    dynamic: np.ndarray
    tension: np.ndarray
    static_tension: np.ndarray
    current: np.ndarray
    speed: np.ndarray


def jam(machine: Machine) -> Jam | None:
    """Jam of a winch on its way up; None where its programme does not raise.

    Parameters
    ----------
    machine : Machine
    """
    m, phase = machine, raising_phase(machine)
    if phase.action != "raise":
        return None
    need = needed_current(m, at_rest=True)
    found = stops(_limited(m, np.array([phase.current_limit, math.inf])))
    worst = found.dynamic.max(axis=0, initial=0.0)
    limit, reason = None, NoLimit.NOT_NEEDED
    if worst.max() > 1:
        reason = NoLimit.NOT_RAISED if need is None else NoLimit.RAISING_BREAKS
        if need is not None:
            least = ABOVE_NEED * need
            limit = _largest_limit(m, least, min(phase.current_limit, found.current[1]))
            if limit is None and stops(_limited(m, np.array([least]))).static.max() <= 1:
                reason = NoLimit.ROTORS
    return Jam(
        parts=_rows(m, found),
        breaks=bool(worst[0] > 1),
        breaks_static=bool(found.static.max(axis=0, initial=0.0)[0] > 1),
        current=float(found.current[0]),
        unlimited_current=float(found.current[1]),
        needed_current=need,
        limit=limit,
        no_limit=reason if limit is None else None,
        tension=float(found.tension[0]),
        static_tension=float(found.static_tension[0]),
        speed=float(found.speed[0]),
    )


def _limited(m: Machine, limits: Any) -> Batch:
    """One winch under many current limits."""
    one, n = stack_machines([m]), len(limits)
    radii, ends = (np.repeat(rows, n, axis=1) for rows in (one.radii, one.ends))
    raising, counts = replace(one.raising, current_limit=limits), np.repeat(one.layer_counts, n)
    return Batch(n, one.machine, raising, False, radii, ends, counts)


def _rows(m: Machine, found: Stop) -> tuple[JamPart, ...]:
    rows = []
    for link, *shares in zip(m.links, found.static[:, 0], found.dynamic[:, 0], strict=True):
        capacity, scale = link.strength, link.strength.value
        still, caught = (float(1 / share) if share > 0 else math.inf for share in shares)
        spread = [end / scale if scale else 1.0 for end in (capacity.low, capacity.high)]
        rows.append(
            JamPart(
                label=link.label,
                kind=link.kind.value,
                path=link.where,
                unit=capacity.unit,
                capacity=capacity.value,
                static=still,
                dynamic=caught,
                low=caught * spread[0],
                high=caught * spread[1],
            )
        )
    return tuple(sorted(rows, key=lambda row: row.dynamic))


def _largest_limit(m: Machine, low: float, high: float) -> float | None:
    """Largest current limit under which no part breaks, rotors included; None for none. [A]"""
    for _ in range(2):
        if not high > low:
            return None
        limits = np.geomspace(low, high, LIMITS)
        good = stops(_limited(m, limits)).dynamic.max(axis=0, initial=0.0) <= 1
        if not good[0]:
            return None
        last = LIMITS - 1 if good.all() else int(np.argmin(good)) - 1
        if last == LIMITS - 1:
            return float(limits[last])
        low, high = float(limits[last]), float(limits[last + 1])
    return low


def stops(batch: Batch) -> Stop:
    """A jam at the start and at the top of the lift, whichever asks more of each part.

    Parameters
    ----------
    batch : Batch
    """
    m, n = batch.machine, batch.size
    largest, least = radii_used(batch)
    law, nothing = batch.law(), np.zeros(n)
    still = law.drive(nothing)
    held = breakaway_pull(batch) + nothing
    # A load on the floor pulls no harder than the motors can.
    reach = stalled_channels(m, still.torques, nothing, largest, 1.0).tension / largest
    held = np.where(np.asarray(m.start_travel) > 0, held, np.minimum(held, reach))
    at_stall = stalled_channels(m, still.torques, held, largest, least)
    static, pulled = rows(link_shares(m, at_stall), n), at_stall.tension + nothing
    dynamic, tension, speed = static, pulled, nothing
    for travel, radius in ((m.start_travel, least), (m.top_travel, largest)):
        at, peak, drum_speed = _swing(batch, law, travel, radius)
        moves = (
            drum_speed > 0
        )  # what does not turn has no momentum, and its load may be out of reach
        dynamic = np.maximum(dynamic, np.where(moves, rows(link_shares(m, at), n), 0.0))
        tension = np.maximum(tension, np.where(moves, peak, 0.0))
        speed = np.maximum(speed, drum_speed * radius / m.line.falls)
    return Stop(static, dynamic, tension, pulled, still.total + nothing, speed)


def _swing(batch: Batch, law: DriveLaw, travel: Any, radius: Any) -> tuple[Channels, Any, Any]:
    """Channels at the largest rope force after a dead stop, that force, and the speed before.

    Notes
    -----
    ``J w' = M(w) - (c + p T r)``, ``T = T0 + k r theta + d r w`` with J, c and p of a chain that
    raises, k the stiffness of the free rope and d its damping; implicit midpoint rule, exact up to
    the second order and stable however stiff the motors are. Own derivation.
    """
    m, n = batch.machine, batch.size
    chain, line, nothing = m.chain, m.line, np.zeros(batch.size)
    pulled = pull(m, travel) + nothing
    free = np.maximum(m.free_rope - line.falls * (travel - m.start_travel), 1e-3)
    inertia = rotating_inertia(chain, len(m.groups))
    drag, per_torque = raising_line(chain)
    speed = law.steady_speed(drag + per_torque * pulled * radius)
    spacing = np.maximum(speed, TINY) / (SPEEDS - 1)
    pushes = np.array([law.push(k * spacing) for k in range(SPEEDS)])
    slopes = -np.diff(pushes, axis=0) / spacing
    spring, damper = line.stiffness / free * radius, line.damping * radius
    stiff_rate = spring * radius * per_torque / inertia
    rope_damping = damper * radius * per_torque / inertia
    step = 1 / (STEPS_PER_RADIAN * np.sqrt(stiff_rate))
    columns, half, omega, angle = np.arange(n), step / 2, speed + 0.0, nothing
    peak, peak_speed, moving = pulled + damper * omega, omega, omega > 0
    stiff = half * half * stiff_rate
    for _ in range(MOST_STEPS):
        if not moving.any():
            break
        cell = np.minimum((omega / spacing).astype(int), SPEEDS - 2)
        slope = slopes[cell, columns]
        push = pushes[cell, columns] - slope * (omega - cell * spacing)
        tension = pulled + spring * angle + damper * omega
        gain = (push - drag - per_torque * tension * radius) / inertia
        damping = slope / inertia + rope_damping
        moved = np.where(
            moving,
            np.maximum(
                (omega * (1 + half * damping - stiff) + step * gain) / (1 + half * damping + stiff),
                0.0,
            ),
            0.0,
        )
        angle = angle + half * (omega + moved) * moving
        omega, moving = moved, moved > 1e-4 * speed
        tension = pulled + spring * angle + damper * omega
        larger = tension > peak
        peak, peak_speed = np.where(larger, tension, peak), np.where(larger, omega, peak_speed)
    gain = (law.push(peak_speed) - drag - per_torque * peak * radius) / inertia
    return accelerated(m, chain, peak, radius, gain, law.drive(peak_speed).torques), peak, speed
