"""How the winch moves inside one mode: forces, currents and the right-hand side, for floats and
arrays alike.

The state is ``[s, w, u, v, x, (winding, case temperature) per group, charge]``: unstretched rope
wound on [m], drum speed [rad/s], travel and speed of the load along its path [m, m/s], stretch of
the free rope [m] (negative when it is loose), temperatures [°C], charge drawn [C]. The stretch
follows from rope wound and travel, but as their small difference; as a state of its own it keeps
its digits on the stiffest rope.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from winchsim.elementwise import positive
from winchsim.frozen import replace
from winchsim.model.electric import Motors
from winchsim.model.keys import LoadPlace, ModeKey
from winchsim.model.link_demands import Channels, LargestShare, on_drum
from winchsim.model.machine import Machine
from winchsim.physics import heat, load, rope
from winchsim.physics.chain import (
    Branch,
    Chain,
    RestingBounds,
    StartMargins,
    drum_inertia,
    find_branch,
    likely_branch,
    moving_torques,
)
from winchsim.physics.supply import Regime, balance

SETTLED = 1e-3
"""Bounce, as a share of the static stretch, below which the load is taken to ride with the drum.
[-] Own assumption: not seen on a curve, and the energy in it is a millionth of the rope's."""

BRANCHES_KEPT = 6
"""Branches of a chain that are tried before one is looked for. [-] They decide nothing but the time
taken."""

GRIP = 1e-6
"""Pull beyond friction at rest that a load in its guide, or a drum, still does not move for, as a
share of the static pull. [-] Own choice: where the losses at rest are those of motion, what creeps
to its balance would else stop and start for ever."""

CALM = 3e-3
"""Bounce that a change of layer may stir up in a settled rope without unsettling it, as a share of
the static stretch. [-] Own assumption: hardly seen on a curve; it saves following a bounce at every
layer of a long lift."""


class Flow(NamedTuple):
    """Everything that follows at once from the state, floats or arrays.

    Attributes
    ----------
    time : float or ndarray
        [s]
    stretch, unstretched : float or ndarray
        Of the free rope. [m]
    elastic, tension : float or ndarray
        Elastic part of the rope force, and the rope force. [N]
    raw_tension : float or ndarray
        What the rope force would be if a rope could push. [N]
    taken_up : float or ndarray
        Unstretched rope wound on per time. [m/s]
    resistances, constants : sequence
        Of one motor of each live group, at its temperature. [ohm], [V·s/rad]
    voltage : float or ndarray
        At the motors' terminals. [V]
    open_voltage : float or ndarray
        Of the supply. [V]
    currents : sequence
        Of one motor of each live group. [A]
    total : float or ndarray
        Current that the supply gives. [A]
    torques : sequence
        Per group of the chain, all its motors together, before their constant drag. [N·m]
    """

    time: Any
    stretch: Any
    unstretched: Any
    elastic: Any
    tension: Any
    raw_tension: Any
    taken_up: Any
    resistances: Sequence[Any]
    constants: Sequence[Any]
    voltage: Any
    open_voltage: Any
    currents: Sequence[Any]
    total: Any
    torques: Sequence[Any]


class Motion:
    """Compiled motion of a machine in each of its modes.

    Parameters
    ----------
    machine : Machine

    Attributes
    ----------
    chain : callable
        From a mode to its chain: as `train`, but with a settled rope the load's mass turns with the
        drum.
    flow : callable
        From a mode to the function from time and state to its `Flow`; states are n floats or n
        arrays.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.chain = lru_cache(maxsize=64)(self._chain)
        self.flow = lru_cache(maxsize=64)(self._flow)
        self._same: dict[Chain, Chain] = {}
        self._branches: dict[
            tuple[Chain, int], tuple[Branch, ...]
        ] = {}  # the last ones found, the newest first
        self._motors = Motors(machine)
        self.largest_share = LargestShare(machine)

    def train(self, key: ModeKey) -> Chain:
        """Chain in force in a mode: braked when the power is off.

        Where the drum judders, each stop takes the motion of the shafts from the motors on: their
        inertia has no part in the mean motion, which follows the balance of torques without it.
        """
        m = self.machine
        chain = m.chain if m.phases[key.phase].powered else m.braked_chain
        if not key.judders:
            return chain
        return replace(
            chain,
            common_inertia=0.0,
            elements=tuple(replace(element, inertia=0.0) for element in chain.elements),
        )

    def _chain(self, key: ModeKey) -> Chain:
        chain, m = self.train(key), self.machine
        if key.settled and key.drum:
            *front, last = chain.elements
            inertia = (
                last.inertia
                + load.inertia(m.body) * (m.layers[key.layer].radius / m.line.falls) ** 2
            )
            chain = replace(chain, elements=(*front, replace(last, inertia=inertia)))
        # One object for equal chains: they are keys of what is kept of them.
        return self._same.setdefault(chain, chain)

    def open_voltage(self, key: ModeKey, t: Any) -> Any:
        """Open-circuit voltage of the supply at a time of a mode, signed. [V]"""
        step = self.machine.phases[key.phase]
        return (
            key.ramp_from + (step.voltage - key.ramp_from) * (t - key.phase_start) / step.ramp
            if key.ramping
            else step.voltage
        )

    def _flow(self, key: ModeKey) -> Callable[[Any, Sequence[Any]], Flow]:
        rope_part, motor_part = self._rope_part(key), self._motor_part(key)

        def flow(t: Any, y: Sequence[Any]) -> Flow:
            return Flow(t, *rope_part(y), *motor_part(t, y))

        return flow

    def _settled_part(self, key: ModeKey) -> Callable[[Sequence[Any]], tuple[Any, ...]]:
        """Rope whose stretch is that of the steady pull: own derivation, head of
        `physics/rope.py`."""
        m, line = self.machine, self.machine.line
        radius, held = m.layers[key.layer].radius, key.drum == 0

        def part(y: Sequence[Any]) -> tuple[Any, ...]:
            unstretched, pull = m.free_rope - y[0], self.steady_pull(key, y[2])
            taken_up = y[1] * 0.0 if held else rope.take_up(line, radius * y[1], pull)
            return pull * unstretched / line.stiffness, unstretched, pull, pull, pull, taken_up

        return part

    def steady_pull(self, key: ModeKey, travel: Any) -> Any:
        """Rope force that keeps the load moving as it does, or hanging, without acceleration.
        [N]"""
        m = self.machine
        return (
            load.pull_needed(m.body, m.reach - travel) + friction_sign(key.load) * m.body.friction
        ) / m.line.falls

    def riding_speed(self, key: ModeKey, y: Sequence[Any]) -> Any:
        """Speed of a load that rides with the drum on a settled rope. [m/s]"""
        m, line = self.machine, self.machine.line
        give = (m.free_rope - y[0]) * m.body.rope_weight / (line.falls * line.stiffness)
        return m.layers[key.layer].radius * y[1] / (line.falls - give)

    def bounce(self, key: ModeKey, y: Sequence[Any], now: Flow) -> Any:
        """Amplitude of the load's bounce about the steady pull, as rope stretch. [m]"""
        m, line = self.machine, self.machine.line
        steady = self.steady_pull(key, y[2]) * now.unstretched / line.stiffness
        softness = load.inertia(m.body) * now.unstretched / line.stiffness
        speed = y[3] if key.drum == 0 else y[3] - self.riding_speed(key, y)
        return ((now.stretch - steady) ** 2 + softness * speed * speed) ** 0.5

    def _rope_part(self, key: ModeKey) -> Callable[[Sequence[Any]], tuple[Any, ...]]:
        if key.settled:
            return self._settled_part(key)
        m, line = self.machine, self.machine.line
        falls, damping, free_rope = line.falls, line.damping, m.free_rope
        radius, taut, held = m.layers[key.layer].radius, key.taut, key.drum == 0

        def part(y: Sequence[Any]) -> tuple[Any, ...]:
            speed, rate, stretch = y[1], y[3], y[4]
            unstretched = free_rope - y[0]
            elastic = rope.elastic_tension(line, stretch, unstretched)
            pull = elastic if taut else positive(elastic)
            taken_up = speed * 0.0 if held else rope.take_up(line, radius * speed, pull)
            raw = elastic + damping * (taken_up - falls * rate)
            return stretch, unstretched, pull, raw if taut else pull * 0.0, raw, taken_up

        return part

    def _motor_part(self, key: ModeKey) -> Callable[[Any, Sequence[Any]], tuple[Any, ...]]:
        m, motors, regime = self.machine, self._motors, key.regime
        limit, first = m.phases[key.phase].current_limit, m.heat_state(0)
        open_voltage, ramping, steady = self.open_voltage, key.ramping, m.phases[key.phase].voltage
        source, counts, drops = m.source, motors.counts, motors.drops
        dead = not key.drum and regime in (Regime.OPEN, Regime.EACH_OPEN, Regime.SHORTED)

        def part(t: Any, y: Sequence[Any]) -> tuple[Any, ...]:
            speed, given = y[1], open_voltage(key, t) if ramping else steady
            resistances, constants = motors.at_temperatures(y[first:-1:2], y[first + 1 : -1 : 2])
            emfs = motors.emfs(constants, speed)
            voltage, currents, total = (
                (speed, emfs, speed)  # all zero: nothing turns, and nothing is given
                if dead
                else balance(regime, given, source, counts, resistances, emfs, drops, limit)
            )
            return (
                resistances,
                constants,
                voltage,
                given,
                currents,
                total,
                motors.torques(constants, currents, speed),
            )

        return part

    # --- right-hand side

    def rhs(self, key: ModeKey) -> Callable[[float, np.ndarray], list[float]]:
        """Right-hand side of a mode."""
        m, rope_part, motor_part = self.machine, self._rope_part(key), self._motor_part(key)
        radius, drum, settled = m.layers[key.layer].radius, key.drum, key.settled
        riding_speed, friction_heat = self.riding_speed, self._motors.friction_heat
        falls, body, reach = m.line.falls, m.body, m.reach
        moves, mass = key.load.moves, load.inertia(m.body)
        friction = friction_sign(key.load) * m.body.friction
        heats = [(m.heat_state(i), g.heat) for i, g in enumerate(m.groups)]
        ambient, rates, pull_needed = m.ambient, heat.rates, load.pull_needed
        find = self.branch_finder(key) if drum else None

        def rhs(t: float, y: np.ndarray) -> list[float]:
            state = y.tolist()
            _, _, _, tension, _, taken_up = rope_part(state)
            resistances, constants, _, _, currents, total, torques = motor_part(t, state)
            acceleration = 0.0 if find is None else find(torques, tension * radius)[1]
            rate = gain = 0.0
            if settled:
                if drum:
                    rate = riding_speed(key, state)
                    gain = acceleration * radius / falls
            elif moves:
                rate = state[3]
                gain = (falls * tension - pull_needed(body, reach - state[2]) - friction) / mass
            out = [taken_up, acceleration, rate, gain, taken_up - falls * rate]
            for (place, path), resistance, current, warms in zip(
                heats,
                resistances,
                currents,
                friction_heat(constants, currents, state[1]),
                strict=True,
            ):
                out += rates(
                    path,
                    resistance * current * current,
                    state[place],
                    state[place + 1],
                    ambient,
                    warms,
                )
            out.append(total)
            return out

        return rhs

    def branch_finder(
        self, key: ModeKey
    ) -> Callable[[Sequence[float], float], tuple[Branch, float]]:
        """The function from motor torques and rope torque to the branch of a moving drum and its
        acceleration (floats)."""
        chain, drum = self.chain(key), key.drum
        at = self.first_branch(chain, drum)

        def find(torques: Sequence[float], rope_torque: float) -> tuple[Branch, float]:
            nonlocal at
            acceleration = at.acceleration(torques, rope_torque)
            if not at.holds(torques, rope_torque, acceleration):
                at = self.find_branch(chain, drum, torques, rope_torque) or at
                acceleration = at.acceleration(torques, rope_torque)
            return at, acceleration

        return find

    def first_branch(self, chain: Chain, drum: int) -> Branch:
        """Branch to try first: the last one found. It decides nothing but the time taken."""
        known = self._branches.get((chain, drum))
        return known[0] if known else likely_branch(chain, drum)

    def find_branch(
        self, chain: Chain, drum: int, torques: Sequence[float], rope_torque: float
    ) -> Branch | None:
        """The branch that holds: mostly one of the last few, between which a bounce goes to and
        fro. None for a wedge."""
        known, state = self._branches.get((chain, drum), ()), (torques, rope_torque)
        holding = (branch for branch in known if branch.holds(*state, branch.acceleration(*state)))
        found = next(holding, None) or find_branch(chain, drum, *state)
        if found is None:
            return None
        if len(self._branches) > 64:
            self._branches.clear()
        self._branches[chain, drum] = (
            found,
            *[other for other in known if other is not found][: BRANCHES_KEPT - 1],
        )
        return found

    def pawl_grips(self, key: ModeKey) -> bool:
        """Whether the pawl keeps the drum from running back in this mode."""
        return self.machine.pawl and self.machine.phases[key.phase].action != "lower"

    def start_margins(self, key: ModeKey) -> Callable[[Flow], tuple[Any, Any]]:
        """How far a drum at rest is past the point where it raises, and where it runs back. [N·m]
        at the common gear"""
        m, chain = self.machine, self.chain(key)
        above, below = m.layers[key.layer].radius, m.layers[key.layer_below].radius
        at = StartMargins(chain, m.breakaway, GRIP)

        def margins(now: Flow) -> tuple[Any, Any]:
            found = at(now.torques, now.tension * above)
            return found if above == below else (found[0], at(now.torques, now.tension * below)[1])

        return margins

    def may_settle(self, key: ModeKey) -> bool:
        """Whether the load may come to ride with the drum in this mode."""
        if not key.taut or key.judders:
            return False
        riding = self.chain(replace(key, settled=True))
        if key.drum and self.first_branch(riding, key.drum).inertia <= 0.0:
            return False  # a load that rides with the drum would wedge the train
        return key.load is LoadPlace.FREE or (
            key.load.moves and key.drum == friction_sign(key.load)
        )

    def speeds_up(self, key: ModeKey, t: float, y: np.ndarray, share: float = CALM) -> bool:
        """Whether a load that rode with the drum would need a pull other than the steady one, by
        more than a share of it, to be speeded up or slowed."""
        if not key.drum:
            return False
        m, riding = self.machine, replace(key, settled=True)
        now = self.flow(riding)(t, y.tolist())
        lever = m.layers[riding.layer].radius
        at = find_branch(self.chain(riding), riding.drum, now.torques, float(now.tension) * lever)
        if at is None:
            return True
        gain = at.acceleration(now.torques, float(now.tension) * lever) * lever / m.line.falls
        return load.inertia(m.body) * abs(gain) > share * m.scales.pull

    def ride(self, key: ModeKey, y: np.ndarray) -> float:
        """Set the state of a load that rides with the drum from here on; the energy of its bounce,
        which the rope takes. [J]

        Its momentum is kept.
        """
        m, line = self.machine, self.machine.line
        left, mass = m.free_rope - float(y[0]), load.inertia(m.body)
        before, place = float(y[4]), float(y[2])
        for _ in range(3):  # the pull depends on the travel only through the rope's own weight
            stretch = self.steady_pull(key, float(y[2])) * left / line.stiffness
            y[2] -= (stretch - y[4]) / line.falls
            y[4] = stretch
        rubbed = friction_sign(key.load) * (float(y[2]) - place)  # under 0: so much less of its way
        lost = line.stiffness / left * (before - stretch) ** 2 / 2 + m.body.friction * rubbed
        if key.drum:
            turning, rate = drum_inertia(self.train(key)), float(y[3])
            slip = rate - self.riding_speed(key, y.tolist())
            lever = m.layers[key.layer].radius / line.falls
            shared = mass / (turning + mass * lever * lever)
            y[1] = float(y[1]) + shared * lever * slip
            y[3] = self.riding_speed(key, y.tolist())
            return lost + turning * shared * slip * slip / 2
        lost += mass * float(y[3]) ** 2 / 2
        y[3] = 0.0
        return lost

    # --- links

    def channels(self, key: ModeKey) -> Callable[[Flow], Channels]:
        """The function from a flow to the forces and torques that links are judged on."""
        m, chain, drum, place = self.machine, self.chain(key), key.drum, self.machine.drum_element
        radius = m.layers[key.layer].radius
        resting = None if drum else RestingBounds(chain, m.breakaway)

        def channels(now: Flow) -> Channels:
            rope_torque = now.tension * radius
            if resting is None:
                pushes, pull = [np.atleast_1d(t) for t in now.torques], np.atleast_1d(rope_torque)
                torques = moving_torques(chain, drum, pushes, pull, self.first_branch(chain, drum))
                pulled = on_drum(chain, place, drum, torques.outputs, rope_torque)
            else:
                torques = resting(now.torques, rope_torque)
                pulled = rope_torque if place + 1 == len(chain.elements) else torques.outputs[place]
            return Channels(
                now.tension,
                pulled / radius,
                pulled,
                torques.outputs,
                drum >= 0,
                torques.groups,
                torques.common,
            )

        return channels


def sticking_force(machine: Machine) -> float:
    """Force along its path that a load at rest in its guide bears without moving. [N]"""
    friction = machine.body.friction
    return machine.breakaway * friction + GRIP * machine.scales.pull if friction > 0 else 0.0


def friction_sign(place: LoadPlace) -> float:
    """Sense in which the guide's friction pulls the load down: +1 while it rises, -1 while it
    sinks. [-]"""
    return 1.0 if place is LoadPlace.UP else -1.0 if place is LoadPlace.DOWN else 0.0
