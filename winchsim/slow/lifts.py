"""What a slow lift comes to, variant by variant."""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from enum import IntEnum
from typing import Any

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.model.build import LONGEST_RAISE
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import hanging_pulls, pull
from winchsim.model.link_demands import Channels, link_shares, on_drum, stalled_channels
from winchsim.physics import load
from winchsim.physics.chain import (
    Chain,
    RestingBounds,
    driven_back,
    group_push,
    output_torques,
    raising_line,
    rotating_inertia,
    shaft_ratios,
)
from winchsim.roots import root_between
from winchsim.slow.climb import (
    EMPTY,
    STALLED,
    STALLED_AT_LAYER,
    TRIPPED,
    Course,
    climb,
    spin_up,
    start_temperatures,
)
from winchsim.slow.path import Path, bounce_period, breakaway_pull, travel_at
from winchsim.slow.stacking import Batch, stack_machines
from winchsim.slow.variants import Columns, Variants, vary
from winchsim.strength.link import LinkKind

LONG_ENOUGH = 100.0
"""The quasi-static model holds for lifts that last so many mechanical time constants and bounce
periods. [-]"""

DOUBLINGS, CLOSE, TINY = 60, 1e-12, 1e-30
"""Of the search for the deceleration under a brake: most steps to bracket it, share of the torque
that may be left, and the least that it begins with. [-], [-], [rad/s²]"""

LEAST_FREE = 1e-3
"""Length of free rope below which no stop of the load is followed. [m]"""

MARGIN_ENOUGH = 1.05
"""And where the motors could give at least this many times the torque needed, all the way up.
[-]"""


class End(IntEnum):
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


class Hold(IntEnum):
    """What the load does with the power off."""

    RUNS_BACK = 0
    AT_REST_ONLY = 1
    """Friction at rest holds it, but a jolt may start it, and then it keeps running."""
    HOLDS = 2


@dataclass(frozen=True)
class Lifts:
    """Results of many slow lifts; every field is an array over the variants, NaN where it has no
    meaning.

    Attributes
    ----------
    end : ndarray of int
        One of `End`.
    height : ndarray
        Height gained over the start. [m]
    lift_time : ndarray
        From power on to the load being up. [s]
    spin_up_time : ndarray
        What spinning up costs of it. [s]
    stall_margin_cold, stall_margin_hot : ndarray
        Torque at rest over the torque that starts the load on the hardest layer: at the start's
        temperature, and with the windings at their limit. [-]
    least_margin : ndarray
        Least of torque at rest over torque needed in motion, on the way up. [-]
    standstill_current, first_current, last_current, peak_current : ndarray
        Of the supply: at rest under the full voltage; running just after lift-off, at the top, and
        the most. [A]
    mean_current : ndarray
        Over the lift. [A]
    motor_load : ndarray
        Mean current of the motors that are loaded most, over their stall current. [-]
    last_voltage : ndarray
        At the motors while running, at the top. [V]
    winding_end, case_end : ndarray
        Temperatures of the hottest group at the end. [°C]
    peak_winding : ndarray
        Hottest winding on the way. [°C]
    tight_winding, tight_limit : ndarray
        Hottest winding on the way of the group that came nearest to its limit, and that limit. [°C]
    charge, energy_in : ndarray
        Drawn from the supply. [C], [J]
    last_speed : ndarray
        Of the load at the top. [m/s]
    peak_tension : ndarray
        Largest rope force, with the bounce of pick-up. [N]
    factor : ndarray
        Least strength over demand of any link on the way up. [-]
    kind_factors, kind_factors_over_required : ndarray, shape (kinds, size)
        By kind of link, in the order of `LinkKind`: least factor, and least of factor over required
        factor; infinite for kinds that there are none of. [-]
    kind_short_links : ndarray of str, shape (kinds, size)
        The link that this is.
    weakest : ndarray of str
        The link of the least factor.
    stall_factor : ndarray
        Least factor of any link under everything that the motors can give at rest. [-]
    holding : ndarray of int
        One of `Hold`.
    hold_margin : ndarray
        Torque at the common gear by which friction exceeds what the load passes up, at rest or,
        where its guide carries part of it, once the drum turns; negative runs back. [N·m]
    layers : ndarray of int
        Layer that the rope ends on, from 1.
    last_pull : ndarray
        Most that the motors can pull the rope with on that layer, at the end's temperature. [N]
    time_constant, bounce_period : ndarray
        Mechanical time constant of the whole drive, and period of the load's bounce. [s]
    in_range : ndarray of bool
        Whether the quasi-static model holds.
    """

    end: np.ndarray
    height: np.ndarray
    lift_time: np.ndarray
    spin_up_time: np.ndarray
    stall_margin_cold: np.ndarray
    stall_margin_hot: np.ndarray
    least_margin: np.ndarray
    standstill_current: np.ndarray
    first_current: np.ndarray
    last_current: np.ndarray
    peak_current: np.ndarray
    mean_current: np.ndarray
    motor_load: np.ndarray
    last_voltage: np.ndarray
    winding_end: np.ndarray
    case_end: np.ndarray
    peak_winding: np.ndarray
    tight_winding: np.ndarray
    tight_limit: np.ndarray
    charge: np.ndarray
    energy_in: np.ndarray
    last_speed: np.ndarray
    peak_tension: np.ndarray
    factor: np.ndarray
    kind_factors: np.ndarray
    kind_factors_over_required: np.ndarray
    kind_short_links: np.ndarray
    weakest: np.ndarray
    stall_factor: np.ndarray
    holding: np.ndarray
    hold_margin: np.ndarray
    layers: np.ndarray
    last_pull: np.ndarray
    time_constant: np.ndarray
    bounce_period: np.ndarray
    in_range: np.ndarray

    @property
    def lifted(self) -> np.ndarray:
        """Whether each came up."""
        return self.end == End.LIFTED

    def __len__(self) -> int:
        return len(self.end)

    def row(self, index: int) -> dict[str, Any]:
        """One variant's results by name."""
        return {
            f.name: getattr(self, f.name)[..., index : index + 1].T.tolist()[0]
            for f in dataclasses.fields(self)
        }


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
    names = [f.name for f in dataclasses.fields(Lifts)]
    found = {name: _blank(name, variants.size) for name in names}
    for rows, batch in variants.batches:
        part = lift_batch(replace(batch, coarse=coarse))
        for name in names:
            found[name][..., rows] = getattr(part, name)
    found["end"][list(variants.problems)] = End.CANNOT_BE_BUILT
    return Lifts(**found)


_TYPES: Mapping[str, Any] = {
    **dict.fromkeys(("end", "holding", "layers"), int),
    "in_range": bool,
    **dict.fromkeys(("weakest", "kind_short_links"), object),
}

_BY_KIND = ("kind_factors", "kind_factors_over_required", "kind_short_links")


def _blank(name: str, size: int) -> np.ndarray:
    """Results of variants that cannot be built."""
    kind = _TYPES.get(name, float)
    shape = (len(LinkKind), size) if name in _BY_KIND else (size,)
    return np.full(shape, {float: np.nan, object: ""}.get(kind, 0), dtype=kind)


def lift_machine(machine: Machine) -> dict[str, Any]:
    """Slow lift of one machine, by name of `Lifts`."""
    return lift_batch(stack_machines([machine])).row(0)


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
    course = climb(batch)
    lost, tau = spin_up(batch, course)
    m, n, path = batch.machine, batch.size, course.path
    end = _ends(batch, course, lost)
    lifted = end == End.LIFTED
    time = course.time + np.where(np.isfinite(lost), lost, 0.0)
    cold, hot, standstill = starting_margins(batch)
    shares, at_stall = _shares(batch, course)
    drag, per_torque = raising_line(m.chain)
    holding, spare_torque = _holds(batch, course)
    height = m.height(travel_at(batch, np.minimum(course.wound, path.edges[-1])) - m.start_travel)
    period = np.broadcast_to(bounce_period(batch), (n,))
    spinning = (
        np.where(lost > 0, lost, 0.0) * standstill
    )  # the lag costs the lost time at the current of standstill
    hottest_group = np.argmax(course.windings, axis=0)[None, :]
    tight_winding, tight_limit = _nearest_to_limit(batch, course)
    slow_enough = time > LONG_ENOUGH * np.maximum(np.maximum(tau, lost), period)
    values = dict(
        end=end,
        height=np.where(course.wound <= path.lift_off, 0.0, height),
        lift_time=np.where(lifted | (end == End.LATE), time, np.nan),
        spin_up_time=np.where(lifted | (end == End.LATE), lost, np.nan),
        stall_margin_cold=cold,
        stall_margin_hot=hot,
        least_margin=course.least_margin,
        standstill_current=standstill,
        first_current=course.first_current,
        last_current=course.last_current,
        peak_current=course.peak_current,
        mean_current=(course.charge + spinning) / np.where(time > 0, time, np.inf),
        motor_load=_motor_load(batch, course, time),
        last_voltage=course.last_voltage,
        winding_end=np.take_along_axis(np.array(course.windings), hottest_group, 0)[0],
        case_end=np.take_along_axis(np.array(course.cases), hottest_group, 0)[0],
        peak_winding=np.maximum.reduce(course.hottest),
        tight_winding=tight_winding,
        tight_limit=tight_limit,
        charge=course.charge + spinning,
        energy_in=course.energy + batch.raising.voltage * spinning,
        last_speed=course.last_speed * path.radii[-1] / m.line.falls,
        peak_tension=course.tension,
        **_links(batch, shares, at_stall, lifted),
        holding=holding,
        hold_margin=spare_torque,
        layers=path.layer,
        last_pull=np.maximum(course.last_push - drag, 0.0) / per_torque / path.radii[-1],
        time_constant=tau,
        bounce_period=period,
        in_range=lifted & slow_enough & (course.least_margin > MARGIN_ENOUGH),
    )
    return Lifts(**{name: _full(value, n) for name, value in values.items()})


def _motor_load(batch: Batch, course: Course, time: Any) -> Any:
    """Mean current of the motors that are loaded most, over their stall current. [-]"""
    still = DriveLaw(batch.machine, batch.raising, *start_temperatures(batch))
    currents = still.drive(np.zeros(batch.size)).currents
    lost = np.maximum(time - course.time, 0.0)
    loads = [
        (charge + lost * current) / np.where(time > 0, time, np.inf) / group.stall_current
        for charge, current, group in zip(
            course.charges, currents, batch.machine.groups, strict=True
        )
    ]
    return np.maximum.reduce(loads)


def _nearest_to_limit(batch: Batch, course: Course) -> tuple[Any, Any]:
    """Hottest winding on the way of the group that came nearest to its limit, and that limit.
    [°C]"""
    limits = _rows([g.winding_limit for g in batch.machine.groups], batch.size)
    hottest = _rows(course.hottest, batch.size)
    group = np.argmax(hottest - limits, axis=0)[None, :]
    return np.take_along_axis(hottest, group, 0)[0], np.take_along_axis(limits, group, 0)[0]


def _full(value: Any, n: int) -> np.ndarray:
    """An array of its own over all variants."""
    return np.array(value if np.ndim(value) == 2 else np.broadcast_to(value, (n,)))


def _ends(batch: Batch, course: Course, lost: Any) -> np.ndarray:
    path, reason = course.path, course.reason
    time = course.time + np.where(np.isfinite(lost), lost, 0.0)
    ends = {
        End.STALLED: reason == STALLED,
        End.STALLED_AT_LAYER_END: reason == STALLED_AT_LAYER,
        End.BATTERY_EMPTY: reason == EMPTY,
        End.TRIPPED: reason == TRIPPED,
        End.OVERFLOW: ~path.fits,
        End.BLOCKED: path.blocked,
        End.LATE: time > np.minimum(batch.raising.time, LONGEST_RAISE),
    }
    return np.select(list(ends.values()), [int(end) for end in ends], int(End.LIFTED))


def starting_margins(batch: Batch) -> tuple[Any, Any, Any]:
    """Starting torque margins, cold and hot, on the fullest layer; and the supply's current at
    rest. [-], [-], [A]"""
    m, n = batch.machine, batch.size
    windings, cases = start_temperatures(batch)
    hot = [np.broadcast_to(np.asarray(g.winding_limit, dtype=float), (n,)) for g in m.groups]
    largest, _ = radii_used(batch)
    needed = output_torques(m.chain, 1, breakaway_pull(batch) * largest, breakaway=m.breakaway)[0]
    still = np.zeros(n)
    cold_law = DriveLaw(batch.machine, batch.raising, windings, cases)
    margins = [
        law.at_rest(needed, m.breakaway)[1]
        for law in (cold_law, DriveLaw(batch.machine, batch.raising, hot, cases))
    ]
    return *margins, cold_law.drive(still).total


def radii_used(batch: Batch) -> tuple[Any, Any]:
    """Radius of the fullest and of the emptiest layer that the lift winds onto. [m]"""
    m, n = batch.machine, batch.size
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    starts = np.concatenate([np.zeros((1, n)), batch.ends[:-1]])
    used = (starts < last) & (batch.ends > m.wound_at_start) & np.isfinite(batch.radii)
    largest = np.max(np.where(used, batch.radii, 0.0), axis=0)
    return largest, np.min(np.where(used, batch.radii, np.inf), axis=0)


def _holds(batch: Batch, course: Course) -> tuple[Any, Any]:
    """Whether the load stays up with the power off, and the torque by which friction holds it
    there. [-], [N·m]"""
    m, radius = batch.machine, course.path.radii[-1]
    resting, sliding = hanging_pulls(m, m.top_travel)
    swung = resting + _swing(batch, course)
    at_rest, through_swing, moving = (
        -driven_back(m.braked_chain, tension * radius, losses)
        for tension, losses in ((resting, m.breakaway), (swung, m.breakaway), (sliding, 1.0))
    )
    holds = np.where(through_swing >= 0, Hold.AT_REST_ONLY, Hold.RUNS_BACK)
    return np.where((moving >= 0) | m.pawl, Hold.HOLDS, holds), np.maximum(at_rest, moving)


def _swing(batch: Batch, course: Course) -> Any:
    """Rope force on top of the steady pull as the load swings back after the drum has stopped under
    it. [N]

    Notes
    -----
    A mass on a spring whose other end slows down evenly within t: the swing is that of a sudden
    stop times ``|sin(x)/x|``, ``x = pi t/period``; from ``x = pi/2`` on its envelope ``1/x`` is
    taken. It has lost three quarters of a period's damping when it pulls hardest. Own derivation,
    head of the package `slow`.
    """
    m, radius = batch.machine, course.path.radii[-1]
    stiffness = m.line.stiffness / (m.free_rope - course.wound)
    root = np.sqrt(stiffness * load.inertia(m.body)) / m.line.falls
    damping = np.clip(m.line.damping / (2 * root), 0.0, 0.99)
    sudden = (
        course.last_speed
        * radius
        * root
        * np.exp(-1.5 * math.pi * damping / np.sqrt(1 - damping**2))
    )
    x = math.pi * course.last_speed / _slowing(batch, course) / bounce_period(batch)
    gentler = np.where(x < math.pi / 2, np.sinc(x / math.pi), 1 / np.maximum(x, TINY))
    return np.maximum(sudden * gentler - m.body.friction, 0.0)


def _slowing(batch: Batch, course: Course) -> Any:
    """Deceleration of the drum as the power goes off at the top. [rad/s²]"""
    m = batch.machine
    slows = output_torques(m.braked_chain, 1, pull(m, m.top_travel) * course.path.radii[-1])[0]
    return np.maximum(slows, TINY) / rotating_inertia(m.chain, len(m.groups))


# --- links


def _shares(batch: Batch, course: Course) -> tuple[np.ndarray, np.ndarray]:
    """Share of each link's strength that is used on the way up, and under all that the motors can
    give at rest."""
    m, n = batch.machine, batch.size
    common, *outputs = output_torques(m.chain, 1, course.rope_torque)
    passed = _passed(m.chain, course.group_torques, common)
    drum = on_drum(m.chain, m.drum_element, 1, outputs, course.rope_torque)
    at_drum = course.tension * np.where(course.rope_torque > 0, drum / course.rope_torque, 1.0)
    rising = link_shares(m, Channels(course.tension, at_drum, drum, outputs, True, passed, common))
    windings, cases = start_temperatures(batch)
    torques = DriveLaw(batch.machine, batch.raising, windings, cases).drive(np.zeros(n)).torques
    at_stall = stalled_channels(m, torques, breakaway_pull(batch) + np.zeros(n), *radii_used(batch))
    moved = course.first_speed > 0
    up = np.maximum(_rows(rising, n), _rows(_starting(batch, course.path, torques), n)) * moved
    up = np.maximum(up, _rows(_running_on(batch, course), n) * (moved & (course.reason == 0)))
    if m.braked_chain is not m.chain:
        up = np.maximum(up, _rows(_stopping(batch, course), n) * (moved & (course.reason == 0)))
        up = np.maximum(up, _rows(_swinging(batch, course), n) * (moved & (course.reason == 0)))
    return up, _rows(link_shares(m, at_stall), n)


def _starting(batch: Batch, path: Path, torques: Sequence[Any]) -> list[Any]:
    """Share of each link's strength that is used as the drum starts under the full voltage: what
    the load does not take yet speeds up gears and rotors. A rising voltage starts it gently. [-]"""
    m, at_once = batch.machine, np.where(np.asarray(batch.raising.ramp) > 0, 0.0, 1.0)
    rope_torque = path.start_tension * path.radii[0]
    excess = np.maximum(
        group_push(m.chain, 1, torques) - output_torques(m.chain, 1, rope_torque)[0], 0.0
    )
    gain = excess / rotating_inertia(m.chain, len(m.groups))
    used = _accelerated(m, m.chain, path.start_tension, path.radii[0], gain, torques)
    return [at_once * share for share in used]


def _accelerated(
    m: Machine, chain: Chain, tension: Any, radius: Any, gain: Any, torques: Sequence[Any]
) -> list[Any]:
    """Share of each link's strength that is used at a rope force, an acceleration of the drum and
    torques of the motors. [-]"""
    common, *outputs = output_torques(chain, 1, tension * radius, acceleration=gain)
    common_gain = shaft_ratios(chain)[0] * gain
    passed = [
        torque - mesh.drag - mesh.inertia * mesh.ratio * common_gain
        for torque, mesh in zip(torques, chain.groups, strict=True)
    ]
    drum = on_drum(m.chain, m.drum_element, 1, outputs, tension * radius)
    return link_shares(m, Channels(tension, drum / radius, drum, outputs, True, passed, common))


def _stopping(batch: Batch, course: Course) -> list[Any]:
    """Share of each link's strength that is used as the brake grips at the top: the train stops
    what turns beyond it. [-]"""
    m, chain, radius = batch.machine, batch.machine.braked_chain, course.path.radii[-1]
    tension = pull(m, m.top_travel)
    ratio = shaft_ratios(chain)[0]

    def lacking(gain: Any) -> Any:
        """Torque of the train less what the rotors give by being slowed down."""
        rotors = [-mesh.inertia * mesh.ratio * ratio * gain for mesh in chain.groups]
        torques = output_torques(chain, 1, tension * radius, acceleration=gain)
        return torques[0] - group_push(chain, 1, rotors)

    still = np.zeros(batch.size)
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
    return _accelerated(m, chain, tension, radius, gain, [0.0] * len(chain.groups))


def _running_on(batch: Batch, course: Course) -> list[Any]:
    """Share of each link's strength that is used as a drum that runs on with the power off pulls
    the load against its stop.

    Notes
    -----
    What is left of the rotation's energy goes into the rope that is free there: ``T = T0 + w sqrt(k
    J)``, J at the drum as the train feels it, k the rope's stiffness, w the speed behind the even
    deceleration on the way. Own derivation.
    """
    m, radius = batch.machine, course.path.radii[-1]
    way = m.line.falls * (m.stop_travel - m.top_travel)
    squared = np.maximum(course.last_speed**2 - 2 * _slowing(batch, course) * way / radius, 0.0)
    drag, per_torque = raising_line(m.chain)
    inertia = rotating_inertia(m.chain, len(m.groups))
    stiffness = m.line.stiffness / np.maximum(m.free_rope - course.wound - way, LEAST_FREE)
    tension = pull(m, m.top_travel) + np.sqrt(squared * stiffness * inertia / per_torque)
    gain = np.where(squared > 0, -(drag + per_torque * tension * radius) / inertia, 0.0)
    return _accelerated(m, m.chain, tension, radius, gain, [0.0] * len(m.chain.groups))


def _swinging(batch: Batch, course: Course) -> list[Any]:
    """Share of each link's strength that is used as the load swings under the drum that a brake has
    stopped. [-]"""
    m, radius = batch.machine, course.path.radii[-1]
    tension = hanging_pulls(m, m.top_travel).at_rest + _swing(batch, course)
    idle = [np.zeros(batch.size) for _ in m.chain.groups]
    at = RestingBounds(m.braked_chain, m.breakaway)(idle, tension * radius)
    drum = at.outputs[m.drum_element]
    return link_shares(
        m, Channels(tension, drum / radius, drum, at.outputs, True, at.groups, at.common)
    )


def _passed(chain: Chain, torques: list[Any], common: Any) -> list[Any]:
    """Torque that each group passes on, together enough for the common gear's largest. [N·m]

    A bounce of the rope comes on top of what the motors give at their balance; each group takes its
    part of it.
    """
    net = [torque - mesh.drag for torque, mesh in zip(torques, chain.groups, strict=True)]
    steady = group_push(chain, 1, torques)
    share = np.where(steady > 0, np.maximum(common / np.where(steady > 0, steady, 1.0), 1.0), 1.0)
    return [np.maximum(torque, 0.0) * share for torque in net]


def _rows(shares: list[Any], n: int) -> np.ndarray:
    return np.array([np.broadcast_to(share, (n,)) for share in shares]).reshape(len(shares), n)


def _links(
    batch: Batch, shares: np.ndarray, at_stall: np.ndarray, lifted: np.ndarray
) -> dict[str, Any]:
    """Factors and names of the links that matter."""
    n = batch.size
    labels = np.array([link.label for link in batch.machine.links], dtype=object)
    worst = np.where(lifted, shares, np.maximum(shares, at_stall))
    found: dict[str, Any] = dict(
        factor=np.full(n, np.inf), stall_factor=np.full(n, np.inf), weakest=np.full(n, "", object)
    )
    if len(labels):
        first, stall = np.argmax(worst, axis=0)[None, :], np.max(at_stall, axis=0)
        least = np.take_along_axis(worst, first, 0)[0]
        found = dict(factor=1 / least, stall_factor=1 / stall, weakest=labels[first[0]])
    return found | _by_kind(batch, worst, labels)


def _by_kind(batch: Batch, worst: np.ndarray, labels: np.ndarray) -> dict[str, np.ndarray]:
    """Least factor, least share of the required factor and its link, for each kind of link."""
    links, every = batch.machine.links, np.arange(batch.size)
    short_of = worst * _rows([link.required for link in links], batch.size)
    names = _blank("kind_short_links", batch.size)
    factors, kept = np.full(names.shape, np.inf), np.full(names.shape, np.inf)
    for place, kind in enumerate(LinkKind):
        rows = np.flatnonzero([link.kind is kind for link in links])
        if len(rows):
            at = rows[np.argmax(short_of[rows], axis=0)]
            factors[place], kept[place] = 1 / worst[at, every], 1 / short_of[at, every]
            names[place] = labels[at]
    return dict(kind_factors=factors, kind_factors_over_required=kept, kind_short_links=names)
