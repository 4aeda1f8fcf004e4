"""The guards of a mode: values that rise through zero where the mode ends, for floats and arrays
alike."""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from functools import cache, partial
from typing import Any

import numpy as np

from winchsim.elementwise import larger, smaller
from winchsim.hybrid import Guard, Mode
from winchsim.model.keys import LoadPlace, ModeKey, Trip
from winchsim.model.motion import SETTLED, Flow, Motion, friction_sign, sticking_force
from winchsim.physics import load, supply as sp
from winchsim.physics.chain import may_wedge

BAND = 1e-8
"""Disarm band of a guard, as a share of the scale of what it watches. [-]"""

SPEED_BAND = 1e-6
"""The same of a drum that stops, as a share of the scale of its speed: as much as that is known to
by default. A drum that creeps where the motors pull next to nothing of the load would stop and
start on what the solver leaves open, and the damping of its rope would make slack of it. [-]"""

FOLLOWED_BOUNCES = 80.0
"""Bounce periods, in one phase, after which no bounce is followed any more until it has died down.
[-] Own choice."""

_GuardPart = tuple[Mapping[Hashable, float], Callable[[Any, Flow], Sequence[Any]]]
"""Guards with their bands, and the function from state and flow to their values."""


def mode(motion: Motion, key: ModeKey) -> Mode:
    """The mode as the runner wants it."""
    parts = [*_drum_guards(motion, key), *_load_guards(motion, key), *_supply_guards(motion, key)]
    guards = tuple(Guard(name, band) for bands, _ in parts for name, band in bands.items())
    functions = [function for _, function in parts]
    flow = motion.flow(key)

    def guard_values(t: Any, y: Any) -> list[Any]:
        now = flow(t, y)
        values: list[Any] = []
        for function in functions:
            values += function(y, now)
        return values

    return Mode(key, motion.rhs(key), guards, guard_values, key.until)


def _drum_guards(motion: Motion, key: ModeKey) -> Iterator[_GuardPart]:
    m, direction, layer = motion.machine, key.drum, motion.machine.layers[key.layer]
    if direction:
        band = SPEED_BAND * m.scales.rope_speed / layer.radius
        yield {Trip.DRUM_STOPS: band}, lambda y, now: (-direction * y[1],)
        least = m.lowest_in(key.phase, loose=key.load is LoadPlace.FLOOR or not key.taut)
        lowest = max(layer.start - m.wound_at_start, least)
        edge = layer.end - m.wound_at_start if direction > 0 else lowest
        back = Trip.PAID_OUT if lowest <= least else Trip.LAYER_DOWN
        name = Trip.LAYER_UP if direction > 0 else back
        yield {name: BAND * m.scales.stretch}, lambda y, now: (direction * (y[0] - edge),)
        if may_wedge(motion.chain(key), direction):
            yield _wedge_guard(motion, key)
    else:
        margins, band = motion.start_margins(key), BAND * m.scales.torque
        if motion.pawl_grips(key):
            yield {Trip.RAISES: band}, lambda y, now: margins(now)[:1]
        else:
            yield {Trip.RAISES: band, Trip.RUNS_BACK: band}, lambda y, now: margins(now)
    if m.links:
        yield {Trip.OVERLOAD: 1e-9}, _overload(motion, key)


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

    return {Trip.WEDGES: 0.5}, values


def _load_guards(motion: Motion, key: ModeKey) -> Iterator[_GuardPart]:
    m, scales, place = motion.machine, motion.machine.scales, key.load
    sticking = sticking_force(m)
    force = BAND * scales.pull
    damped = max(force, m.line.damping * SPEED_BAND * scales.rope_speed)

    def excess(y: Any, now: Flow) -> Any:
        return m.line.falls * now.tension - load.pull_needed(m.body, m.reach - y[2])

    if key.settled:
        if key.drum:
            yield from _travel_guards(motion, key)
        return
    if motion.may_settle(key):
        yield _settle_guard(motion, key)
    if key.taut:
        yield {Trip.SLACK: damped}, lambda y, now: (-now.raw_tension,)
    else:
        stiffness = m.line.stiffness / m.free_rope
        yield (
            {Trip.TAUT: damped},
            lambda y, now: (smaller(stiffness * now.stretch, now.raw_tension),),
        )
    if place is LoadPlace.FLOOR:
        yield {Trip.LIFTS: force}, lambda y, now: (excess(y, now) - sticking,)
    elif place is LoadPlace.STUCK:
        yield (
            {Trip.SLIPS_UP: force, Trip.SLIPS_DOWN: force},
            lambda y, now: (excess(y, now) - sticking, -excess(y, now) - sticking),
        )
    elif not place.moves:
        yield {Trip.COMES_OFF: force}, lambda y, now: (-excess(y, now) - sticking,)
    else:
        yield from _travel_guards(motion, key)
    if place in (LoadPlace.UP, LoadPlace.DOWN):
        sign, band = -friction_sign(place), BAND * scales.rope_speed / m.line.falls
        yield {Trip.LOAD_STOPS: band}, lambda y, now: (sign * y[3],)


def _settle_guard(motion: Motion, key: ModeKey) -> _GuardPart:
    scales, after = motion.machine.scales, key.settle_after
    period = scales.bounce_period
    if key.brief:
        return {Trip.SETTLES: 1e-3}, lambda y, now: ((now.time - after) / period,)
    small = SETTLED * scales.stretch

    def value(y: Any, now: Flow) -> tuple[Any]:
        periods = (now.time - after) / period
        calm = smaller(1.0 - motion.bounce(key, y, now) / small, periods)
        return (larger(calm, periods - FOLLOWED_BOUNCES),)

    return {Trip.SETTLES: 1e-3}, value


def _travel_guards(motion: Motion, key: ModeKey) -> Iterator[_GuardPart]:
    m, step = motion.machine, motion.machine.phases[key.phase]
    band = BAND * max(m.top_travel, m.scales.stretch)
    yield {Trip.FLOOR: band}, lambda y, now: (-y[2],)
    rising = {Trip.TOP_STOP: m.stop_travel}
    if m.snag_travel < m.stop_travel:
        rising[Trip.SNAG] = m.snag_travel
    if step.action == "raise" and step.until == "top":
        rising[Trip.TOP] = m.top_travel
    edges = list(rising.values())
    yield dict.fromkeys(rising, band), lambda y, now: [y[2] - edge for edge in edges]


def _supply_guards(motion: Motion, key: ModeKey) -> Iterator[_GuardPart]:
    m, source, regime = motion.machine, motion.machine.source, key.regime
    step = m.phases[key.phase]
    limit, volts = step.current_limit, BAND * max(abs(step.voltage), 1e-9)
    conductance = sum(g.count / g.motor.resistance for g in m.groups)
    amps = BAND * max(abs(step.voltage) * conductance, 1e-9)
    bands: dict[Hashable, float] = {
        (Trip.REGIME, following): volts if following is sp.Regime.VOLTAGE else amps
        for following, _ in sp.regime_margins(regime, 0.0, 0.0, step.voltage, source, limit)
    }
    if bands:
        yield (
            bands,
            lambda y, now: [
                margin
                for _, margin in sp.regime_margins(
                    regime, now.voltage, now.total, now.open_voltage, source, limit
                )
            ],
        )
    cool = [i for i in range(len(m.groups)) if i not in key.hot]
    rows = [(m.heat_state(i), m.groups[i].winding_limit) for i in cool]
    yield (
        {(Trip.HOT, i): 1e-6 for i in cool},
        lambda y, now: [y[at] - most for at, most in rows],
    )
    if step.powered and not key.empty and source.capacity < float("inf"):
        yield {Trip.EMPTY: BAND * source.capacity}, lambda y, now: (y[-1] - source.capacity,)


def _overload(motion: Motion, key: ModeKey) -> Callable[[Any, Flow], tuple[Any]]:
    """Guard of the link with the largest demand over capacity: that share, less 1."""
    channels, largest_share = motion.channels(key), motion.largest_share
    if not key.drum:
        return lambda _, now: (largest_share(channels(now)) - 1.0,)
    radius, find = motion.machine.layers[key.layer].radius, motion.branch_finder(key)
    reader = cache(partial(largest_share.of_branch, radius=radius))

    def excess(_: Any, now: Flow) -> tuple[Any]:
        if isinstance(now.tension, np.ndarray):
            return (largest_share(channels(now)) - 1.0,)
        rope_torque = now.tension * radius
        at, acceleration = find(now.torques, rope_torque)
        return (reader(at)(now.torques, rope_torque, acceleration) - 1.0,)

    return excess
