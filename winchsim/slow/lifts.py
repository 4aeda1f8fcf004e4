"""What a slow lift comes to, variant by variant."""

import math
from collections.abc import Sequence
from enum import IntEnum
from typing import Any

import numpy as np

from winchsim.frozen import replace
from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.model.build import LONGEST_RAISE
from winchsim.model.electric import Drive
from winchsim.model.estimate import hanging_pulls, pull
from winchsim.model.link_demands import Channels, link_shares, on_drum, stalled_channels
from winchsim.physics import load
from winchsim.physics.chain import (
    Chain,
    ChainTorques,
    RestingBounds,
    driven_back,
    group_push,
    output_torques,
    raising_line,
    rotating_inertia,
    shaft_ratios,
    torque_margin,
)
from winchsim.roots import root_between
from winchsim.slow.climb import Climb, SlowEnd
from winchsim.slow.path import bounce_period, breakaway_pull, travel_at
from winchsim.slow.stacking import Batch, rows, stack_machines, start_temperatures
from winchsim.slow.variants import Columns, Variants, vary
from winchsim.strength.link import LinkKind

LONG_ENOUGH = 100.0
"""The quasi-static model holds for lifts that last so many mechanical time constants and bounce
periods. [-]"""

DOUBLINGS, CLOSE, TINY = 60, 1e-12, 1e-30
"""Of the search for the deceleration under a brake: most steps to bracket it, share of the torque
that may be left, and the least that it begins with. [-], [-], [rad/s²]"""

SWING_STEPS, FOLLOWED_STOP = 96, 3.0
"""Steps in which the swing of the load after the power went off is followed, half as many where a
comparison is all, and for how many periods of it before the drum's stop. [-]"""

LEAST_FREE = 1e-3
"""Length of free rope below which no stop of the load is followed. [m]"""

MARGIN_ENOUGH = 1.05
"""And where the motors could give at least this many times the torque needed, all the way up.
[-]"""


class Hold(IntEnum):
    """What the load does with the power off."""

    RUNS_BACK = 0
    AT_REST_ONLY = 1
    """Friction at rest holds it, but a jolt may start it, and then it keeps running."""
    HOLDS = 2


Lifts = np.recarray
"""Results of many slow lifts, a row each; NaN where there is no meaning. Fields:

end
    One of `SlowEnd`.
height
    Height gained over the start. [m]
lift_time
    From power on to the load being up. [s]
spin_up_time
    What spinning up costs of it. [s]
stall_margin_cold, stall_margin_hot
    Torque at rest over the torque that starts the load on the hardest layer: at the start's
    temperature, and with the windings at their limit. [-]
least_margin
    Least of torque at rest over torque needed in motion, on the way up. [-]
standstill_current, last_current, peak_current
    Of the supply: at rest under the full voltage; running at the top; and the most, the start
    included. [A]
mean_current
    Over the lift. [A]
steady_current, steady_voltage
    Means over the middle half of the lift's time, as a meter shows them: of the supply, and at
    the motors. [A], [V]
motor_load
    Mean current of the motors that are loaded most, over their stall current. [-]
winding_end, case_end
    Temperatures of the hottest group at the end. [°C]
peak_winding
    Hottest winding on the way. [°C]
tight_winding, tight_limit
    Hottest winding on the way of the group that came nearest to its limit, and that limit. [°C]
charge, energy_in
    Drawn from the supply. [C], [J]
last_speed
    Of the load at the top. [m/s]
peak_tension
    Largest rope force, with the bounce of pick-up, and with the swing as the drum stops where the
    power goes off at the top. [N]
factor
    Least strength over demand of any link on the way up and as the drum stops there. [-]
kind_factors, kind_factors_over_required
    By kind of link, in the order of `LinkKind`: least factor, and least of factor over required
    factor; infinite for kinds that there are none of. [-]
kind_short_links
    The link that this is.
weakest
    The link of the least factor.
stall_factor
    Least factor of any link under everything that the motors can give at rest. [-]
holding
    One of `Hold`.
hold_margin
    Torque at the common gear by which friction exceeds what the load passes up, at rest or,
    where its guide carries part of it, once the drum turns; negative runs back. [N·m]
layers
    Layer that the rope ends on, from 1.
last_pull
    Most that the motors can pull the rope with on that layer, at the end's temperature. [N]
time_constant, bounce_period
    Mechanical time constant of the whole drive, and period of the load's bounce. [s]
lifted, in_range
    Whether it came up, and whether the quasi-static model holds.
"""

_NUMBERS = (
    "height",
    "lift_time",
    "spin_up_time",
    "stall_margin_cold",
    "stall_margin_hot",
    "least_margin",
    "standstill_current",
    "last_current",
    "peak_current",
    "mean_current",
    "steady_current",
    "steady_voltage",
    "motor_load",
    "winding_end",
    "case_end",
    "peak_winding",
    "tight_winding",
    "tight_limit",
    "charge",
    "energy_in",
    "last_speed",
    "peak_tension",
    "factor",
    "stall_factor",
    "hold_margin",
    "last_pull",
    "time_constant",
    "bounce_period",
)
_AS_CLIMBED = ("least_margin", "last_current")
_BLANK = (SlowEnd.CANNOT_BE_BUILT, 0, 0, False, False, "", "", *[np.nan] * (len(_NUMBERS) + 2))


def _blank(size: int) -> Lifts:
    """Results of variants that cannot be built."""
    kinds = (len(LinkKind),)
    fields: list[Any] = [
        *(("end", int), ("holding", int), ("layers", int), ("lifted", bool), ("in_range", bool)),
        *(("weakest", object), ("kind_short_links", object, kinds)),
        *(("kind_factors", float, kinds), ("kind_factors_over_required", float, kinds)),
        *((name, float) for name in _NUMBERS),
    ]
    return np.repeat(np.array([_BLANK], dtype=fields), size).view(np.recarray)


def lift_all(
    what: Variants | Inputs, columns: Columns | None = None, *, coarse: bool = False
) -> Lifts:
    """Slow lifts of many variants of one scenario.

    Parameters
    ----------
    what : Variants or Inputs
        Variants, or a scenario to vary.
    columns : Mapping of str to sequence, optional
        With a scenario: values by path, see `vary`.
    coarse : bool
        Whether fewer steps do.

    Returns
    -------
    Lifts
        In the order of the variants.
    """
    variants = what if isinstance(what, Variants) else vary(what, columns or {})
    found = _blank(variants.size)
    for places, batch in variants.batches:
        found[places] = lift_batch(replace(batch, coarse=coarse))
    return found


def lift_machine(machine: Machine) -> dict[str, Any]:
    """Slow lift of one machine, by name of `Lifts`."""
    found = lift_batch(stack_machines([machine]))
    return dict(zip(found.dtype.names or (), found[0].item(), strict=True))


@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def lift_batch(batch: Batch) -> Lifts:
    """Slow lifts of a batch, with stalled variants and trains without drag.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    Lifts
    """
    up = Climb(batch)
    lost, tau = up.spin_up()
    m, n, path = batch.machine, batch.size, up.path
    lag = np.where(np.isfinite(lost), lost, 0.0)
    time = up.time + lag
    end = _ends(up, time)
    lifted, timed = end == SlowEnd.LIFTED, np.isin(end, (SlowEnd.LIFTED, SlowEnd.LATE))
    still = up.law.drive(np.zeros(n))
    margins = starting_margins(batch)
    caught = _caught(up)
    holding, spare_torque = _holds(up, caught)
    stays = up.batch.lets_go & lifted & (holding != Hold.RUNS_BACK)
    starts, share = _starts(up, still.torques)
    height = m.height(travel_at(batch, np.minimum(up.wound, path.edges[-1])) - m.start_travel)
    period = bounce_period(batch)
    slow_enough = time > LONG_ENOUGH * np.maximum(np.maximum(tau, lost), period)
    found = _blank(n)
    values = dict(
        end=end,
        lifted=lifted,
        height=np.where(up.wound <= path.lift_off, 0.0, height),
        lift_time=np.where(timed, time, np.nan),
        spin_up_time=np.where(timed, lost, np.nan),
        stall_margin_cold=margins[0],
        stall_margin_hot=margins[1],
        last_speed=up.last_speed * path.radii[-1] / m.line.falls,
        peak_tension=np.where(stays, np.maximum(up.tension, caught), up.tension),
        holding=holding,
        hold_margin=spare_torque,
        layers=path.layer,
        last_pull=np.maximum(up.last_push - up.drag, 0.0) / up.per_torque / path.radii[-1],
        time_constant=tau,
        bounce_period=period,
        in_range=lifted & slow_enough & (up.least_margin > MARGIN_ENOUGH),
        **{name: getattr(up, name) for name in _AS_CLIMBED},
        **_drawn(up, lost, lag, still, np.where(lifted, share, 1.0)),
        **_temperatures(up),
        **_links(up, still.torques, starts, lifted, np.where(stays, caught, 0.0)),
    )
    for name, value in values.items():
        found[name] = value
    return found


def _drawn(up: Climb, lost: Any, lag: Any, still: Drive, share: Any) -> dict[str, Any]:
    """Current, charge and energy, with the largest share of the motors' torque at standstill; the
    lag costs the lost time at the current of standstill, that of a ramp at the climb's."""
    time, start = up.time + lag, up.start
    per_time, climbing = (np.where(each > 0, each, np.inf) for each in (time, up.time))
    more = 1 + start.charged / climbing
    charge = more * up.charge + np.where(lost > 0, lost - start.delay, 0.0) * still.total
    stalled = rows([g.stall_current for g in up.batch.machine.groups], up.batch.size)
    spinning = np.maximum(lag - start.delay, 0.0) * np.array(still.currents)
    steady_current, steady_voltage = up.steady(lag)
    return dict(
        standstill_current=still.total,
        peak_current=np.maximum.reduce([up.peak_current, start.given.total, share * still.total]),
        mean_current=charge / per_time,
        steady_current=steady_current,
        steady_voltage=steady_voltage,
        motor_load=np.max((more * up.charges + spinning) / per_time / stalled, axis=0),
        charge=charge,
        energy_in=up.batch.raising.voltage * charge,
    )


def _temperatures(up: Climb) -> dict[str, Any]:
    """At the end those of the hottest group, on the way of the one nearest to its limit."""
    every = np.arange(up.batch.size)
    limits = rows([g.winding_limit for g in up.batch.machine.groups], up.batch.size)
    hottest, tightest = (np.argmax(v, axis=0) for v in (up.windings, up.hottest - limits))
    return dict(
        winding_end=up.windings[hottest, every],
        case_end=up.cases[hottest, every],
        peak_winding=np.max(up.hottest, axis=0),
        tight_winding=up.hottest[tightest, every],
        tight_limit=limits[tightest, every],
    )


def _ends(up: Climb, time: Any) -> np.ndarray:
    late = time > np.minimum(up.batch.raising.time, LONGEST_RAISE)
    at_top = np.select(
        [~up.path.fits, up.path.blocked, late],
        [SlowEnd.OVERFLOW, SlowEnd.BLOCKED, SlowEnd.LATE],
        SlowEnd.LIFTED,
    )
    return np.where(up.reason == SlowEnd.LIFTED, at_top, up.reason)


def starting_margins(batch: Batch) -> tuple[Any, Any]:
    """Starting torque margins, cold and hot, on the fullest layer. [-], [-]"""
    m = batch.machine
    limits = rows([g.winding_limit for g in m.groups], batch.size)
    torque = breakaway_pull(batch) * radii_used(batch)[0]
    needed = output_torques(m.chain, 1, torque, breakaway=m.breakaway)[0]
    cold, hot = (
        batch.law(at).at_rest(needed, m.breakaway)[1]
        for at in (None, (limits, start_temperatures(batch)[1]))
    )
    return cold, hot


def radii_used(batch: Batch) -> tuple[Any, Any]:
    """Radius of the fullest and of the emptiest layer that the lift winds onto. [m]"""
    m, n = batch.machine, batch.size
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    starts = np.concatenate([np.zeros((1, n)), batch.ends[:-1]])
    used = (starts < last) & (batch.ends > m.wound_at_start) & np.isfinite(batch.radii)
    largest = np.max(np.where(used, batch.radii, 0.0), axis=0)
    return largest, np.min(np.where(used, batch.radii, np.inf), axis=0)


def _holds(up: Climb, caught: Any) -> tuple[Any, Any]:
    """Whether the load stays up with the power off, also as the drum catches it, and the torque by
    which friction holds it there. [-], [N·m]"""
    m = up.batch.machine
    resting, sliding = hanging_pulls(m, m.top_travel)
    at_rest, through_swing, moving = (
        -driven_back(m.braked_chain, tension * up.path.radii[-1], losses)
        for tension, losses in (
            (resting, m.breakaway),
            (caught, m.breakaway),
            (sliding, 1.0),
        )
    )
    holds = np.where(through_swing >= 0, Hold.AT_REST_ONLY, Hold.RUNS_BACK)
    return np.where((moving >= 0) | m.pawl, Hold.HOLDS, holds), np.maximum(at_rest, moving)


def _caught(up: Climb) -> Any:
    """Largest rope force from the power going off at the top, if the drum stays where it stops. [N]

    Notes
    -----
    What turns is slowed down by the losses of the train and by the rope, ``T = k s + c s'``; the
    load runs on, may throw the rope slack, and swings back. Speeds are those of the rope at the
    drum, known in the middle of each step. Own derivation.
    """
    m, line, radius = up.batch.machine, up.batch.machine.line, up.path.radii[-1]
    steady, weight = pull(m, m.top_travel), pull(m, m.top_travel, 0.0)
    mass = load.inertia(m.body) / line.falls**2
    stiffness = line.stiffness / (m.free_rope - up.wound)
    period, speed = 2 * math.pi * np.sqrt(mass / stiffness), up.last_speed * radius
    drag, per_torque = raising_line(m.braked_chain)
    shared = 1 + per_torque * mass * radius**2 / up.inertia  # what slows down, over what turns
    slows = _slowing(up) * radius
    slowed = slows / shared
    late = speed > FOLLOWED_STOP * period * slowed  # by then the load is slowed down with the drum
    drum = rate = np.where(late, FOLLOWED_STOP * period * slowed, speed)
    stretch = (steady - np.where(late, mass * slowed, 0.0)) / stiffness
    lasts = 2 * speed * (1 / slows + mass / np.maximum(weight, TINY))
    steps, half = SWING_STEPS // 2 if up.batch.coarse else SWING_STEPS, 0.5
    step = (np.minimum(lasts, (FOLLOWED_STOP + 1) * period) + period) / steps
    most, rubbing = steady, steady - weight
    for _ in range(steps):
        tension = np.maximum(stiffness * stretch + line.damping * (drum - rate), 0.0)
        most = np.maximum(most, tension)
        slowing = (drag + per_torque * tension * radius) * radius / up.inertia
        drum = np.maximum(drum - half * step * slowing, 0.0)
        rate = rate + half * step * (tension - weight) / mass
        rubbed = half * step * rubbing / mass
        rate = rate - np.clip(rate, -rubbed, rubbed)
        flies = (drum <= 0) & (stretch < 0) & (rate > 0)  # until the rope is taut again
        high = rate**2 * mass / (weight + rubbing) / 2 - stretch
        back = -np.sqrt(2 * np.maximum((weight - rubbing) / mass * high, 0.0))
        rate, stretch = np.where(flies, back, rate), np.where(flies, 0.0, stretch)
        stretch, half = stretch + step * (drum - rate), 1.0
    return most


def _slowing(up: Climb) -> Any:
    """Deceleration of the drum as the power goes off at the top. [rad/s²]"""
    m = up.batch.machine
    slows = output_torques(m.braked_chain, 1, pull(m, m.top_travel) * up.path.radii[-1])[0]
    return np.maximum(slows, TINY) / up.inertia


# --- links


def _links(
    up: Climb, torques: Sequence[Any], starts: Sequence[Channels], lifted: Any, caught: Any
) -> dict[str, Any]:
    """Factors and names of the links that matter, with the motors' torques at standstill, what
    parts carry as the drum starts, and the rope force as it catches the load; what a lift misses
    its target by, all that they can give at rest counts."""
    m, n = up.batch.machine, up.batch.size
    held = breakaway_pull(up.batch) + np.zeros(n)
    at_stall = link_shares(m, stalled_channels(m, torques, held, *radii_used(up.batch)))
    standing, moved = rows(at_stall, n), up.first_speed > 0
    stopped = up.batch.lets_go & moved & (up.reason == SlowEnd.LIFTED)
    shares = [(_rising(up), moved), (_running_on(up), stopped), (_held(up, caught), stopped)]
    shares += [(link_shares(m, at), moved) for at in starts]
    if m.braked_chain is not m.chain:
        shares.append((_stopping(up), stopped))
    worst = np.maximum.reduce([rows(share, n) * counts for share, counts in shares])
    worst = np.where(lifted, worst, np.maximum(worst, standing))
    labels = np.array([link.label for link in m.links], dtype=object)
    short_of = worst * rows([link.required for link in m.links], n)
    shape, every = (n, len(LinkKind)), np.arange(n)
    factors, kept = np.full(shape, np.inf), np.full(shape, np.inf)
    names = np.full(shape, "", dtype=object)
    for place, kind in enumerate(LinkKind):
        of_kind = np.flatnonzero([link.kind is kind for link in m.links])
        if len(of_kind):
            at = of_kind[np.argmax(short_of[of_kind], axis=0)]
            factors[:, place], kept[:, place] = 1 / worst[at, every], 1 / short_of[at, every]
            names[:, place] = labels[at]
    return dict(
        factor=1 / np.max(worst, axis=0, initial=0.0),
        stall_factor=1 / np.max(standing, axis=0, initial=0.0),
        weakest=labels[np.argmax(worst, axis=0)] if len(labels) else "",
        kind_factors=factors,
        kind_factors_over_required=kept,
        kind_short_links=names,
    )


def _rising(up: Climb) -> list[Any]:
    """Share of each link's strength that is used on the way up. [-]

    A bounce of the rope comes on top of what the motors give at their balance; each group takes its
    part of it.
    """
    m, chain, torques = up.batch.machine, up.batch.machine.chain, up.group_torques
    common, *outputs = output_torques(chain, 1, up.rope_torque)
    steady = group_push(chain, 1, torques)
    share = np.where(steady > 0, np.maximum(common / np.where(steady > 0, steady, 1.0), 1.0), 1.0)
    passed = [
        np.maximum(torque - mesh.drag, 0.0) * share
        for torque, mesh in zip(torques, chain.groups, strict=True)
    ]
    drum = on_drum(chain, m.drum_element, 1, outputs, up.rope_torque)
    at_drum = up.tension * np.where(up.rope_torque > 0, drum / up.rope_torque, 1.0)
    return link_shares(m, Channels(up.tension, at_drum, drum, outputs, True, passed, common))


def _starts(up: Climb, torques: Sequence[Any]) -> tuple[list[Channels], Any]:
    """What parts carry as the drum starts, and the share of the motors' torques at standstill that
    this takes: as the losses at rest are overcome, as what the load does not take yet speeds up
    gears and rotors, and as the motors pull hardest on the load that bounces. [-]"""
    m, path, start = up.batch.machine, up.path, up.start
    force, radius = path.start_tension, path.radii[0]
    resting = RestingBounds(m.chain, m.breakaway)(start.given.torques, force * radius)
    found, most = [_resting(m, resting, force, radius)], np.zeros(up.batch.size)
    needed = up.drag + up.per_torque * force * radius
    at_once = np.maximum(group_push(m.chain, 1, torques) - needed, 0.0) / up.inertia
    for tension, lever, gain in ((force, radius, start.gain(at_once)), start.jolt):
        needed = up.drag + up.per_torque * tension * lever + up.inertia * gain
        share = np.minimum(1 / torque_margin(m.chain, torques, needed), 1.0)
        found.append(accelerated(m, m.chain, tension, lever, gain, [share * t for t in torques]))
        most = np.maximum(most, share)
    return found, most


def _resting(m: Machine, at: ChainTorques, tension: Any, radius: Any) -> Channels:
    """What parts carry while the drum rests."""
    drum = at.outputs[m.drum_element]
    return Channels(tension, drum / radius, drum, at.outputs, True, at.groups, at.common)


def accelerated(
    m: Machine, chain: Chain, tension: Any, radius: Any, gain: Any, torques: Sequence[Any]
) -> Channels:
    """What parts carry at a rope force [N], an acceleration of the drum [rad/s²] and torques of the
    motors [N·m], raising.

    Parameters
    ----------
    m : Machine
    chain : Chain
        Its own, or the one with the brake gripping.
    tension, radius, gain : float or ndarray
        Rope force, radius of the layer, acceleration.
    torques : sequence of float or ndarray
        Of each of the chain's groups.
    """
    common, *outputs = output_torques(chain, 1, tension * radius, acceleration=gain)
    common_gain = shaft_ratios(chain)[0] * gain
    passed = [
        torque - mesh.drag - mesh.inertia * mesh.ratio * common_gain
        for torque, mesh in zip(torques, chain.groups, strict=True)
    ]
    drum = on_drum(m.chain, m.drum_element, 1, outputs, tension * radius)
    return Channels(tension, drum / radius, drum, outputs, True, passed, common)


def _stopping(up: Climb) -> list[Any]:
    """Share of each link's strength that is used as the brake grips at the top: the train stops
    what turns beyond it. [-]"""
    m, chain, radius = up.batch.machine, up.batch.machine.braked_chain, up.path.radii[-1]
    tension, ratio = pull(m, m.top_travel), shaft_ratios(chain)[0]

    def lacking(gain: Any) -> Any:
        """Torque of the train less what the rotors give by being slowed down."""
        rotors = [-mesh.inertia * mesh.ratio * ratio * gain for mesh in chain.groups]
        torques = output_torques(chain, 1, tension * radius, acceleration=gain)
        return torques[0] - group_push(chain, 1, rotors)

    still = np.zeros(up.batch.size)
    above = lacking(still)
    slowest = np.minimum(-above / rotating_inertia(chain, len(m.groups)), -TINY)
    for _ in range(DOUBLINGS):
        below = lacking(slowest)
        if not np.any(below > 0):
            break
        slowest = np.where(below > 0, 2 * slowest, slowest)
    gain = root_between(
        lacking, (still, above), (slowest, below), close=CLOSE * np.abs(above), active=above > 0
    )
    at = accelerated(m, chain, tension, radius, gain, [0.0] * len(chain.groups))
    return link_shares(m, at)


def _running_on(up: Climb) -> list[Any]:
    """Share of each link's strength that is used as a drum that runs on with the power off pulls
    the load against its stop.

    Notes
    -----
    What is left of the rotation's energy goes into the rope that is free there: ``T = T0 + w sqrt(k
    J)``, J at the drum as the train feels it, k the rope's stiffness, w the speed behind the even
    deceleration on the way. Own derivation.
    """
    m, radius = up.batch.machine, up.path.radii[-1]
    way = m.line.falls * (m.stop_travel - m.top_travel)
    squared = np.maximum(up.last_speed**2 - 2 * _slowing(up) * way / radius, 0.0)
    stiffness = m.line.stiffness / np.maximum(m.free_rope - up.wound - way, LEAST_FREE)
    tension = pull(m, m.top_travel) + np.sqrt(squared * stiffness * up.inertia / up.per_torque)
    slowing = (up.drag + up.per_torque * tension * radius) / up.inertia
    gain = np.where(squared > 0, -slowing, 0.0)
    at = accelerated(m, m.chain, tension, radius, gain, [0.0] * len(m.chain.groups))
    return link_shares(m, at)


def _held(up: Climb, tension: Any) -> list[Any]:
    """Share of each link's strength that is used as a drum at rest bears a rope force [N]."""
    m, radius = up.batch.machine, up.path.radii[-1]
    idle = [np.zeros(up.batch.size) for _ in m.chain.groups]
    at = RestingBounds(m.braked_chain, m.breakaway)(idle, tension * radius)
    return link_shares(m, _resting(m, at, tension, radius))
