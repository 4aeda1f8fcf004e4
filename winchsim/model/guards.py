"""The guards of a mode: values that rise through zero where the mode ends, for floats and arrays
alike."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from winchsim.elementwise import larger, smaller
from winchsim.hybrid import Guard, Mode
from winchsim.model.keys import LoadPlace, ModeKey, Trip
from winchsim.model.motion import SETTLED, Flow, Motion, friction_sign, sticking_force
from winchsim.physics import load, supply as sp
from winchsim.physics.chain import Branch, may_wedge

BAND = 1e-8
"""Disarm band of a guard, as a share of the scale of what it watches. [-]"""

SPEED_BAND = 1e-6
"""The same of a drum that stops, as a share of its free speed: as much as its speed is known to by
default. A drum that creeps where the motors pull next to nothing of the load would stop and start
on what the solver leaves open, and the damping of its rope would make slack of it. [-]"""

FOLLOWED_BOUNCES = 100.0
"""Bounce periods, in one phase, that are followed until each bounce has died down, were it never.
[-] Own choice."""

_GuardPart = tuple[tuple[Any, ...], tuple[float, ...], Callable[[Any, Flow], Sequence[Any]]]


def mode(motion: Motion, key: ModeKey) -> Mode:
    """The mode as the runner wants it."""
    parts = [*_drum_guards(motion, key), *_load_guards(motion, key), *_supply_guards(motion, key)]
    guards = tuple(
        Guard(name, band)
        for names, bands, _ in parts
        for name, band in zip(names, bands, strict=True)
    )
    functions = [function for _, _, function in parts]
    flow = motion.flow(key)

    def guard_values(t: Any, y: Any) -> list[Any]:
        now = flow(t, y)
        values: list[Any] = []
        for function in functions:
            values += function(y, now)
        return values

    return Mode(key, motion.rhs(key), guards, guard_values, key.until)


def _drum_guards(motion: Motion, key: ModeKey) -> list[_GuardPart]:
    m, scales = motion.machine, motion.machine.scales
    direction = key.drum
    parts: list[_GuardPart] = []
    if direction:
        parts.append(
            (
                (Trip.DRUM_STOPS,),
                (SPEED_BAND * scales.drum_speed,),
                lambda y, now: (-direction * y[1],),
            )
        )
        edge = (
            m.layers[key.layer].end if direction > 0 else m.layers[key.layer].start
        ) - m.wound_at_start
        if direction < 0:
            edge = max(edge, m.lowest_wound)
        name = (
            Trip.LAYER_UP
            if direction > 0
            else Trip.PAID_OUT
            if edge <= m.lowest_wound
            else Trip.LAYER_DOWN
        )
        parts.append(
            ((name,), (BAND * scales.stretch,), lambda y, now: (direction * (y[0] - edge),))
        )
        if may_wedge(motion.chain(key), direction):
            parts.append(_wedge_guard(motion, key))
    else:
        parts.append(_start_guards(motion, key))
    overload = _overload(motion, key)
    if overload is not None:
        parts.append(((Trip.OVERLOAD,), (1e-9,), overload))
    return parts


def _wedge_guard(motion: Motion, key: ModeKey) -> _GuardPart:
    """Above zero where no acceleration balances the torques of the chain."""
    chain, drum, radius = motion.chain(key), key.drum, motion.machine.layers[key.layer].radius

    def lacks(*state: float) -> float:
        *torques, rope_torque = state
        return 1.0 if motion.find_branch(chain, drum, torques, rope_torque) is None else -1.0

    def values(_: Any, now: Flow) -> tuple[Any]:
        state = (*now.torques, now.tension * radius)
        return (
            np.vectorize(lacks, otypes=[float])(*state)
            if isinstance(state[-1], np.ndarray)
            else lacks(*state),
        )

    return (Trip.WEDGES,), (0.5,), values


def _start_guards(motion: Motion, key: ModeKey) -> _GuardPart:
    margins, band = motion.start_margins(key), BAND * motion.machine.scales.torque
    if motion.pawl_grips(key):
        return (Trip.RAISES,), (band,), lambda y, now: margins(now)[:1]
    return (Trip.RAISES, Trip.RUNS_BACK), (band, band), lambda y, now: margins(now)


def _load_guards(motion: Motion, key: ModeKey) -> list[_GuardPart]:
    m, scales = motion.machine, motion.machine.scales
    falls, body, reach, place = m.line.falls, m.body, m.reach, key.load
    sticking = sticking_force(m)
    force = BAND * scales.pull
    take_up = SPEED_BAND * scales.drum_speed * m.layers[key.layer].radius
    damped = max(force, m.line.damping * take_up)
    stiffness = m.line.stiffness / m.free_rope
    parts: list[_GuardPart] = []
    if key.settled:
        return _travel_guards(motion, key) if key.drum else parts
    if motion.may_settle(key):
        parts.append(_settle_guard(motion, key))
    if key.taut:
        parts.append(((Trip.SLACK,), (damped,), lambda y, now: (-now.raw_tension,)))
    else:
        parts.append(
            (
                (Trip.TAUT,),
                (damped,),
                lambda y, now: (smaller(stiffness * now.stretch, now.raw_tension),),
            )
        )

    def excess(y: Any, now: Flow) -> Any:
        return falls * now.tension - load.pull_needed(body, reach - y[2])

    if place is LoadPlace.FLOOR:
        parts.append(((Trip.LIFTS,), (force,), lambda y, now: (excess(y, now) - sticking,)))
    elif place is LoadPlace.STUCK:
        parts.append(
            (
                (Trip.SLIPS_UP, Trip.SLIPS_DOWN),
                (force, force),
                lambda y, now: (excess(y, now) - sticking, -excess(y, now) - sticking),
            )
        )
    elif not place.moves:
        parts.append(((Trip.COMES_OFF,), (force,), lambda y, now: (-excess(y, now) - sticking,)))
    if place.moves:
        parts += _travel_guards(motion, key)
    if place in (LoadPlace.UP, LoadPlace.DOWN):
        sign = -friction_sign(place)
        parts.append(
            ((Trip.LOAD_STOPS,), (BAND * scales.load_speed,), lambda y, now: (sign * y[3],))
        )
    return parts


def _settle_guard(motion: Motion, key: ModeKey) -> _GuardPart:
    scales, after = motion.machine.scales, key.settle_after
    if key.brief:
        return (Trip.SETTLES,), (1e-3,), lambda y, now: ((now.time - after) / scales.bounce_period,)
    small, period = SETTLED * scales.stretch, scales.bounce_period

    def value(y: Any, now: Flow) -> tuple[Any]:
        periods = (now.time - after) / period
        calm = smaller(1.0 - motion.bounce(key, y, now) / small, periods)
        return (larger(calm, periods - FOLLOWED_BOUNCES),)

    return (Trip.SETTLES,), (1e-3,), value


def _travel_guards(motion: Motion, key: ModeKey) -> list[_GuardPart]:
    m, step = motion.machine, motion.machine.phases[key.phase]
    band = BAND * max(m.top_travel, m.scales.stretch)
    rising = [(Trip.TOP_STOP, m.stop_travel)]
    if m.snag_travel < m.stop_travel:
        rising.append((Trip.SNAG, m.snag_travel))
    if step.action == "raise" and step.until == "top":
        rising.append((Trip.TOP, m.top_travel))
    names = tuple(name for name, _ in rising)
    edges = tuple(edge for _, edge in rising)
    return [
        ((Trip.FLOOR,), (band,), lambda y, now: (-y[2],)),
        (names, (band,) * len(names), lambda y, now: [y[2] - edge for edge in edges]),
    ]


def _supply_guards(motion: Motion, key: ModeKey) -> list[_GuardPart]:
    m, source = motion.machine, motion.machine.source
    step, regime = m.phases[key.phase], key.regime
    limit = step.current_limit
    parts: list[_GuardPart] = []
    names = tuple(
        (Trip.REGIME, following)
        for following, _ in sp.regime_margins(regime, 0.0, 0.0, step.voltage, source, limit)
    )
    if names:
        amps = BAND * max(
            abs(step.voltage) * sum(g.count / g.motor.resistance for g in m.groups), 1e-9
        )
        volts = BAND * max(abs(step.voltage), 1e-9)
        bands = tuple(volts if following is sp.Regime.VOLTAGE else amps for _, following in names)
        parts.append(
            (
                names,
                bands,
                lambda y, now: [
                    margin
                    for _, margin in sp.regime_margins(
                        regime, now.voltage, now.total, now.open_voltage, source, limit
                    )
                ],
            )
        )
    cool = [i for i, hot in enumerate(key.hot) if not hot]
    if cool:
        rows = [(m.heat_state(i), m.groups[i].winding_limit) for i in cool]
        parts.append((tuple((Trip.HOT, i) for i in cool), (1e-6,) * len(cool),
                      lambda y, now: [y[at] - limit_c for at, limit_c in rows]))  # fmt: skip
    if step.powered and not key.empty and source.capacity < float("inf"):
        parts.append(
            ((Trip.EMPTY,), (BAND * source.capacity,), lambda y, now: (y[-1] - source.capacity,))
        )
    return parts


def _overload(motion: Motion, key: ModeKey) -> Callable[[Any, Flow], tuple[Any]] | None:
    """Guard of the link with the largest demand over capacity: that share, less 1."""
    if not motion.machine.links:
        return None
    channels, largest_share = motion.channels(key), motion.largest_share
    if not key.drum:
        return lambda _, now: (largest_share(channels(now)) - 1.0,)
    radius, find = motion.machine.layers[key.layer].radius, motion.branch_finder(key)
    readers: dict[Branch, Callable[[Sequence[float], float, float], float]] = {}

    def excess(_: Any, now: Flow) -> tuple[Any]:
        if isinstance(now.tension, np.ndarray):
            return (largest_share(channels(now)) - 1.0,)
        rope_torque = now.tension * radius
        at, acceleration = find(now.torques, rope_torque)
        read = readers.get(at)
        if read is None:
            read = readers[at] = largest_share.of_branch(at, radius)
        return (read(now.torques, rope_torque, acceleration) - 1.0,)

    return excess
