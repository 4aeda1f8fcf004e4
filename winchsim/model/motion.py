"""How the winch moves inside one mode: the right-hand side and the guards, for floats and arrays alike.

The state is ``[s, w, u, v, (currents), (winding, case temperature) per group, charge]``: unstretched rope wound on [m], drum
speed [rad/s], travel and speed of the load along its path [m, m/s], current of one motor of each group [A] where
inductances are given, temperatures [°C], charge drawn [C].
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from winchsim.hybrid import Guard, Mode
from winchsim.model.keys import LoadPlace, ModeKey
from winchsim.model.machine import Machine
from winchsim.physics import heat, load, rope
from winchsim.physics import supply as sp
from winchsim.physics.chain import (
    Branch,
    Chain,
    find_branch,
    likely_branch,
    moving_torques,
    resting_bounds,
    start_margins,
)
from winchsim.physics.motor import constant_at, resistance_at

BAND = 1e-8
"""Disarm band of a guard, as a share of the scale of what it watches. [-]"""


class Flow(NamedTuple):
    """Everything that follows at once from the state, floats or arrays.

    Attributes
    ----------
    stretch, unstretched : float or ndarray
        Of the free rope. [m]
    elastic, tension : float or ndarray
        Elastic part of the rope force, and the rope force. [N]
    raw_tension : float or ndarray
        What the rope force would be if a rope could push. [N]
    taken_up : float or ndarray
        Unstretched rope wound on per time. [m/s]
    resistances, constants : tuple
        Of one motor of each live group, at its temperature. [ohm], [V·s/rad]
    voltage : float or ndarray
        At the motors' terminals. [V]
    open_voltage : float or ndarray
        Of the supply. [V]
    currents, current_rates : tuple
        Of one motor of each live group. [A], [A/s]
    total : float or ndarray
        Current that the supply gives. [A]
    torques : tuple
        Per group of the chain, all its motors together, before their constant drag. [N·m]
    """

    stretch: Any
    unstretched: Any
    elastic: Any
    tension: Any
    raw_tension: Any
    taken_up: Any
    resistances: tuple[Any, ...]
    constants: tuple[Any, ...]
    voltage: Any
    open_voltage: Any
    currents: tuple[Any, ...]
    current_rates: tuple[Any, ...]
    total: Any
    torques: tuple[Any, ...]


class Motion:
    """Compiled motion of a machine in each of its modes.

    Parameters
    ----------
    machine : Machine
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._flows: dict[ModeKey, Callable[[Any, Sequence[Any]], Flow]] = {}

    def chain(self, key: ModeKey) -> Chain:
        """Chain in force in a mode."""
        return self.machine.chain_in(self.machine.phases[key.phase].action)

    def flow(self, key: ModeKey) -> Callable[[Any, Sequence[Any]], Flow]:
        """The function from time and state to `Flow` of a mode; states are n floats or n arrays."""
        found = self._flows.get(key)
        if found is None:
            if len(self._flows) > 64:
                self._flows.clear()
            found = self._flows[key] = self._compile_flow(key)
        return found

    def open_voltage(self, key: ModeKey, t: Any) -> Any:
        """Open-circuit voltage of the supply at a time of a mode, signed. [V]"""
        step = self.machine.phases[key.phase]
        if not key.ramping:
            return step.voltage
        return key.ramp_from + (step.voltage - key.ramp_from) * (t - key.phase_start) / step.ramp

    def _compile_flow(self, key: ModeKey) -> Callable[[Any, Sequence[Any]], Flow]:
        rope_part, motor_part = self._rope_part(key), self._motor_part(key)

        def flow(t: Any, y: Sequence[Any]) -> Flow:
            return Flow(*rope_part(y), *motor_part(t, y))

        return flow

    def _rope_part(self, key: ModeKey) -> Callable[[Sequence[Any]], tuple[Any, ...]]:
        m, line = self.machine, self.machine.line
        falls, damping, lead = line.falls, line.damping, line.lead
        reach, free_rope = m.reach, m.free_rope
        radius, taut, held = m.layers[key.layer].radius, key.taut, key.drum == 0

        def part(y: Sequence[Any]) -> tuple[Any, ...]:
            wound, speed, travel, rate = y[0], y[1], y[2], y[3]
            unstretched = free_rope - wound
            stretch = falls * (reach - travel) + lead - unstretched
            elastic = rope.elastic_tension(line, stretch, unstretched)
            pull = elastic if taut else _positive(elastic)
            taken_up = speed * 0.0 if held else rope.take_up(line, radius * speed, pull)
            raw = elastic + damping * (taken_up - falls * rate)
            return stretch, unstretched, pull, raw if taut else pull * 0.0, raw, taken_up

        return part

    def _motor_part(self, key: ModeKey) -> Callable[[Any, Sequence[Any]], tuple[Any, ...]]:
        m, regime, source = self.machine, key.regime, self.machine.source
        limit = m.phases[key.phase].current_limit
        counts = tuple(float(g.live) for g in m.groups)
        drops = tuple(g.motor.brush_drop for g in m.groups)
        rows = [
            (
                m.heat_state(i),
                g.motor.resistance,
                g.motor.copper_coefficient,
                g.motor.constant,
                g.motor.magnet_coefficient,
                g.ratio,
            )
            for i, g in enumerate(m.groups)
        ]
        torque_rows = [
            (live, i, m.groups[i].live if live else m.dragged[i].count,
             (m.groups[i] if live else m.dragged[i]).motor.drag_slope * (m.groups[i] if live else m.dragged[i]).ratio)
            for live, i in m.chain_groups
        ]  # fmt: skip
        open_voltage = self.open_voltage
        inductances = tuple(g.motor.inductance for g in m.groups)
        first_current = m.current_state(0)
        sense = key.sense or None

        def part(t: Any, y: Sequence[Any]) -> tuple[Any, ...]:
            speed, supply_voltage = y[1], open_voltage(key, t)
            resistances, constants, emfs = [], [], []
            for at, r20, copper, k20, magnet, ratio in rows:
                resistances.append(resistance_at(r20, y[at], copper))
                k = constant_at(k20, y[at + 1], magnet)
                constants.append(k)
                emfs.append(k * ratio * speed)
            if m.inductive:
                currents = tuple(y[first_current + i] for i in range(len(rows)))
                voltage, rates, total = sp.balance_inductive(
                    regime, supply_voltage, source, counts, resistances, emfs, drops, inductances, currents, limit, sense
                )
            else:
                voltage, currents, total = sp.balance(regime, supply_voltage, source, counts, resistances, emfs, drops, limit)
                rates = ()
            torques = []
            for live, i, count, slope in torque_rows:
                torque = constants[i] * currents[i] if live else 0.0
                torques.append(count * (torque - slope * speed) if slope else count * torque)
            return (
                tuple(resistances), tuple(constants), voltage, supply_voltage, currents, rates, total, tuple(torques)
            )  # fmt: skip

        return part

    # --- right-hand side ---------------------------------------------------------------------------------------------

    def rhs(self, key: ModeKey) -> Callable[[float, np.ndarray], list[float]]:
        """Right-hand side of a mode."""
        m, flow, chain = self.machine, self.flow(key), self.chain(key)
        radius, drum = m.layers[key.layer].radius, key.drum
        falls, body, reach = m.line.falls, m.body, m.reach
        moves, friction, mass = key.load.moves, _friction_sign(key.load) * m.body.friction, load.inertia(m.body)
        heats = [(m.heat_state(i), g.heat) for i, g in enumerate(m.groups)]
        ambient = m.ambient
        at: Branch | None = likely_branch(chain, drum) if drum else None

        def rhs(t: float, y: np.ndarray) -> list[float]:
            nonlocal at
            state = y.tolist()
            now = flow(t, state)
            acceleration = 0.0
            if at is not None:
                rope_torque = now.tension * radius
                acceleration = at.acceleration(now.torques, rope_torque)
                if not at.holds(now.torques, rope_torque, acceleration):
                    at = find_branch(chain, drum, now.torques, rope_torque)
                    acceleration = at.acceleration(now.torques, rope_torque)
            rate = gain = 0.0
            if moves:
                rate = state[3]
                gain = (falls * now.tension - load.pull_needed(body, reach - state[2]) - friction) / mass
            out = [now.taken_up, acceleration, rate, gain, *now.current_rates]
            for (place, path), resistance, current in zip(heats, now.resistances, now.currents, strict=True):
                out += heat.rates(path, resistance * current * current, state[place], state[place + 1], ambient)
            out.append(now.total)
            return out

        return rhs

    # --- guards ------------------------------------------------------------------------------------------------------

    def mode(self, key: ModeKey) -> Mode:
        """The mode as the runner wants it."""
        parts = [*self._drum_guards(key), *self._load_guards(key), *self._supply_guards(key)]
        guards = tuple(Guard(name, band) for names, bands, _ in parts for name, band in zip(names, bands, strict=True))
        functions = [function for _, _, function in parts]
        flow = self.flow(key)

        def guard_values(t: Any, y: Any) -> list[Any]:
            now = flow(t, y)
            values: list[Any] = []
            for function in functions:
                values += function(y, now)
            return values

        return Mode(key, self.rhs(key), guards, guard_values, key.until)

    def _drum_guards(self, key: ModeKey) -> list[_GuardPart]:
        m, scales = self.machine, self.machine.scales
        direction = key.drum
        parts: list[_GuardPart] = []
        if direction:
            parts.append((("drum_stops",), (BAND * scales.drum_speed,), lambda y, now: (-direction * y[1],)))
            edge = (m.layers[key.layer].end if direction > 0 else m.layers[key.layer].start) - m.wound_at_start
            if direction < 0:
                edge = max(edge, m.lowest_wound)
            name = "layer_up" if direction > 0 else "paid_out" if edge <= m.lowest_wound else "layer_down"
            parts.append(((name,), (BAND * scales.stretch,), lambda y, now: (direction * (y[0] - edge),)))
        else:
            parts.append(self._start_guards(key))
        overload = self._overload(key)
        if overload is not None:
            parts.append((("overload",), (1e-9,), overload))
        return parts

    def _start_guards(self, key: ModeKey) -> _GuardPart:
        margins, band = self.start_margins(key), BAND * self.machine.scales.torque
        if self.pawl_grips(key):
            return ("raises",), (band,), lambda y, now: margins(now)[:1]
        return ("raises", "runs_back"), (band, band), lambda y, now: margins(now)

    def pawl_grips(self, key: ModeKey) -> bool:
        """Whether the pawl keeps the drum from running back in this mode."""
        return self.machine.pawl and self.machine.phases[key.phase].action != "lower"

    def start_margins(self, key: ModeKey) -> Callable[[Flow], tuple[Any, Any]]:
        """How far a drum at rest is past the point where it raises, and where it runs back. [N·m] at the common gear"""
        m, chain = self.machine, self.chain(key)
        above, below = m.layers[key.layer].radius, m.layers[key.layer_below].radius
        breakaway = m.breakaway

        def margins(now: Flow) -> tuple[Any, Any]:
            if above == below:
                return start_margins(chain, now.torques, now.tension * above, breakaway)
            up, _ = start_margins(chain, now.torques, now.tension * above, breakaway)
            _, down = start_margins(chain, now.torques, now.tension * below, breakaway)
            return up, down

        return margins

    def _load_guards(self, key: ModeKey) -> list[_GuardPart]:
        m, scales = self.machine, self.machine.scales
        falls, body, reach, place = m.line.falls, m.body, m.reach, key.load
        sticking = m.breakaway * body.friction
        force = BAND * scales.pull
        stiffness = m.line.stiffness / m.free_rope
        parts: list[_GuardPart] = []
        if key.taut:
            parts.append((("slack",), (force,), lambda y, now: (-now.raw_tension,)))
        else:
            parts.append((("taut",), (force,), lambda y, now: (_smaller(stiffness * now.stretch, now.raw_tension),)))

        def excess(y: Any, now: Flow) -> Any:
            return falls * now.tension - load.pull_needed(body, reach - y[2])

        if place is LoadPlace.FLOOR:
            parts.append((("lifts",), (force,), lambda y, now: (excess(y, now) - sticking,)))
        elif place is LoadPlace.STUCK:
            parts.append((("slips_up", "slips_down"), (force, force),
                          lambda y, now: (excess(y, now) - sticking, -excess(y, now) - sticking)))  # fmt: skip
        elif not place.moves:
            parts.append((("comes_off",), (force,), lambda y, now: (-excess(y, now) - sticking,)))
        if place.moves:
            parts += self._travel_guards(key)
        if place in (LoadPlace.UP, LoadPlace.DOWN):
            sign = -_friction_sign(place)
            parts.append((("load_stops",), (BAND * scales.load_speed,), lambda y, now: (sign * y[3],)))
        return parts

    def _travel_guards(self, key: ModeKey) -> list[_GuardPart]:
        m, step = self.machine, self.machine.phases[key.phase]
        band = BAND * max(m.top_travel, m.scales.stretch)
        rising = [("top_stop", m.stop_travel)]
        if m.snag_travel < m.stop_travel:
            rising.append(("snag", m.snag_travel))
        if step.action == "raise" and step.until == "top":
            rising.append(("top", m.top_travel))
        names = tuple(name for name, _ in rising)
        edges = tuple(edge for _, edge in rising)
        return [
            (("floor",), (band,), lambda y, now: (-y[2],)),
            (names, (band,) * len(names), lambda y, now: [y[2] - edge for edge in edges]),
        ]

    def _supply_guards(self, key: ModeKey) -> list[_GuardPart]:
        m, source = self.machine, self.machine.source
        step, regime = m.phases[key.phase], key.regime
        limit = step.current_limit
        parts: list[_GuardPart] = []
        names = tuple(
            f"regime:{following.name}" for following, _ in sp.regime_margins(regime, 0.0, 0.0, step.voltage, source, limit)
        )
        if names:
            amps = BAND * max(abs(step.voltage) * sum(g.live / g.motor.resistance for g in m.groups), 1e-9)
            bands = tuple(BAND * max(abs(step.voltage), 1e-9) if name == "regime:VOLTAGE" else amps for name in names)
            parts.append((names, bands, lambda y, now: [
                margin for _, margin in sp.regime_margins(regime, now.voltage, now.total, now.open_voltage, source, limit)
            ]))  # fmt: skip
        cool = [i for i, hot in enumerate(key.hot) if not hot]
        if cool:
            rows = [(m.heat_state(i), m.groups[i].winding_limit) for i in cool]
            parts.append((tuple(f"hot:{i}" for i in cool), (1e-6,) * len(cool),
                          lambda y, now: [y[at] - limit_c for at, limit_c in rows]))  # fmt: skip
        if step.powered and not key.empty and source.capacity < float("inf"):
            parts.append((("empty",), (BAND * source.capacity,), lambda y, now: (y[-1] - source.capacity,)))
        if key.sense:
            parts.append(self._sense_guards(key))
        return parts

    def _sense_guards(self, key: ModeKey) -> _GuardPart:
        m, sense = self.machine, key.sense
        drops = tuple(g.motor.brush_drop for g in m.groups)
        ratios = tuple(g.ratio for g in m.groups)

        def margins(y: Any, now: Flow) -> list[tuple[int, int, Any]]:
            emfs = [k * ratio * y[1] for k, ratio in zip(now.constants, ratios, strict=True)]
            return list(sp.conduction_margins(sense, now.voltage, emfs, drops, now.currents))

        names: list[str] = []
        bands: list[float] = []
        for group, own in enumerate(sense):
            following = (0,) if own else (1, -1)
            names += [f"sense:{group}:{other}" for other in following]
            unit = m.groups[group].fit.stall_current if own else drops[group]
            bands += [BAND * unit] * len(following)
        return tuple(names), tuple(bands), lambda y, now: [margin for _, _, margin in margins(y, now)]

    # --- links -------------------------------------------------------------------------------------------------------

    def _overload(self, key: ModeKey) -> Callable[[Any, Flow], tuple[Any]] | None:
        m = self.machine
        if not m.links:
            return None
        channels = self.channels(key)

        def worst(y: Any, now: Flow) -> tuple[Any]:
            worst_share: Any = 0.0
            for share in link_shares(m, channels(y, now)):
                worst_share = _larger(worst_share, share)
            return (worst_share - 1.0,)

        return worst

    def channels(self, key: ModeKey) -> Callable[[Any, Flow], Channels]:
        """The function from state and flow to the forces and torques that links are judged on."""
        m, chain, drum = self.machine, self.chain(key), key.drum
        radius, breakaway = m.layers[key.layer].radius, m.breakaway
        branches = {"at": likely_branch(chain, drum)} if drum else {}

        def channels(y: Any, now: Flow) -> Channels:
            rope_torque = now.tension * radius
            if not drum:
                torques = resting_bounds(chain, now.torques, rope_torque, breakaway)
                return Channels(now.tension, rope_torque, torques.outputs, torques.inputs, torques.groups)
            if isinstance(rope_torque, np.ndarray):
                torques = moving_torques(chain, drum, now.torques, rope_torque)
                return Channels(now.tension, rope_torque, torques.outputs, torques.inputs, torques.groups)
            at = branches["at"]
            x = at.acceleration(now.torques, rope_torque)
            if not at.holds(now.torques, rope_torque, x):
                at = branches["at"] = find_branch(chain, drum, now.torques, rope_torque)
                x = at.acceleration(now.torques, rope_torque)
            outputs, inputs = at.walk(chain, rope_torque, x)
            passed = [torque - lever * x - drum * drag for torque, (lever, drag, _) in zip(now.torques, at.groups, strict=True)]
            return Channels(now.tension, rope_torque, outputs, inputs, passed)

        return channels


_GuardPart = tuple[tuple[str, ...], tuple[float, ...], Callable[[Any, Flow], Sequence[Any]]]


class Channels(NamedTuple):
    """Forces and torques that links are judged on, floats or arrays.

    Attributes
    ----------
    tension : float or ndarray
        [N]
    drum : float or ndarray
        Torque of the rope on the drum. [N·m]
    outputs, inputs : sequence
        Per chain element. [N·m]
    groups : sequence
        Per group of the chain: torque into its mesh. [N·m]
    """

    tension: Any
    drum: Any
    outputs: Any
    inputs: Any
    groups: Any


def mesh_force(machine: Machine, mesh: int, at: Channels) -> Any:
    """Tooth force of one mesh, of the one pinion where several share; for other reductions the input torque. [N]

    The two sides of a mesh differ by its friction; the driving side carries more and is taken.
    """
    place = machine.meshes[mesh]
    if place.element is None:
        assert place.chain_group is not None
        torque = abs(at.groups[place.chain_group])
    else:
        element = machine.chain.elements[place.element]
        through = abs(at.outputs[place.element]) / element.ratio
        torque = _larger(abs(at.inputs[place.element]) - element.drag, through)
    return torque / (place.pinion_radius * place.pinions)


def link_shares(machine: Machine, at: Channels) -> list[Any]:
    """Demand over strength of every link of a machine, in its order. [-]"""
    shares = []
    for link in machine.links:
        if link.channel == "mesh":
            value = mesh_force(machine, link.index, at)
        elif link.channel == "output":
            value = abs(at.outputs[link.index])
        else:
            value = at.tension if link.channel == "tension" else at.drum
        shares.append(value / link.bears)
    return shares


def _friction_sign(place: LoadPlace) -> float:
    return 1.0 if place is LoadPlace.UP else -1.0 if place is LoadPlace.DOWN else 0.0


def _positive(value: Any) -> Any:
    return np.maximum(value, 0.0) if isinstance(value, np.ndarray) else max(value, 0.0)


def _larger(a: Any, b: Any) -> Any:
    return np.maximum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else max(a, b)


def _smaller(a: Any, b: Any) -> Any:
    return np.minimum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else min(a, b)
