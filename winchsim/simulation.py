"""From a built winch to its record: every channel over time, every event, and the energy books.

The record has the same shape however the run ended: arrays over the same times, named channels, events in order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from winchsim.hybrid import Outcome, Run, Stats, run
from winchsim.inputs import Inputs, Settings
from winchsim.model import Event, Head, LoadPlace, Machine, ModeKey, WinchProblem, build, powers, start, stored_energy
from winchsim.model.keys import AtLink, Mark, Target
from winchsim.model.link_demands import link_shares, mesh_force
from winchsim.model.machine import LinkLimit
from winchsim.physics.load import Fall, fall
from winchsim.sampling import INSIDE, LEAST_SAMPLES, MOST_LOOKED_INTO, grid_step, looked_at, on_grid, worth_keeping

ENERGY_LIMIT = 1e-4
"""The books must close to this share of the largest of source energy, change of potential energy and stored energy. [-]"""

LEAST_SHARE = 1e-6
"""Share of the energy that the whole lift gives the load, to hold the books against where hardly anything has moved: what
rounding makes of nothing is far below it. [-] Own choice."""

RELATIVE_TOLERANCE = Settings().relative_tolerance
"""Relative tolerance of a machine that no scenario stands behind. [-]"""

ABSOLUTE_SHARE = 1e-6
"""Absolute tolerance of a state as a share of its scale: static stretch, steady speed. [-]"""

LENGTH_SHARE = 0.01
"""Share of the lift's height below which no length has to be known any better than to `ABSOLUTE_SHARE`. [-]"""

TIGHTENINGS = 3
TIGHTEN = 0.01
TIGHTEST = 1e-11
"""A run whose energy books do not close is done again with its tolerance times `TIGHTEN`, at most `TIGHTENINGS` runs in all."""

TEMPERATURE_TOLERANCE = 1e-5
"""Absolute tolerance of windings and cases. [K]"""

MOST_RHS_CALLS = 800_000
MOST_STEPS = 120_000
MOST_SWITCHES = 8_000
"""Budgets of one run: beyond them it ends unfinished, and no result of it is trusted. Own choice. [-]"""


@dataclass(frozen=True)
class Channel:
    """One quantity of the record over time.

    Attributes
    ----------
    name : str
        Key in CSV and JSON, without its unit.
    unit : str
        SI unit, one of quantity_text.PRINTED_UNITS.
    label : str
        For people.
    values : ndarray, shape (k,)
    """

    name: str
    unit: str
    label: str
    values: np.ndarray


@dataclass(frozen=True)
class RecordedEvent:
    """One event with when and where it happened.

    Attributes
    ----------
    event : Event
    time : float
        [s]
    height : float
        Of the load. [m]
    target : Target
        The link that breaks, the group that is hot, the new layer, the action of the phase, the new regime.
    value : float or None
        The number that belongs to it, in SI.
    energy : float
        Lost at once: of motion in an impact or a sudden stop, of a bounce where the rope settles. [J]
    """

    event: Event
    time: float
    height: float
    target: Target = None
    value: float | None = None
    energy: float = 0.0


@dataclass(frozen=True)
class EnergyBooks:
    """Where the energy went.

    Attributes
    ----------
    source : float
        Given by the source; negative where it took some back. [J]
    spent : Mapping of str to float
        Turned into heat, wound away or lost in impacts, by head. [J]
    stored_before, stored_after : Mapping of str to float
        [J]
    residual : float
        Source less spent less gained in store. [J]
    scale : float
        Largest of source energy, change of potential energy, initially stored energy and `LEAST_SHARE` of the energy that the
        whole lift gives the load; over 0. [J]
    """

    source: float
    spent: Mapping[str, float]
    stored_before: Mapping[str, float]
    stored_after: Mapping[str, float]
    residual: float
    scale: float

    @property
    def error(self) -> float:
        """Residual over scale. [-]"""
        return abs(self.residual) / self.scale

    @property
    def closes(self) -> bool:
        """Whether the books close to their limit."""
        return self.error <= ENERGY_LIMIT


@dataclass(frozen=True)
class LinkDemand:
    """The worst that was asked of one link, and when.

    Attributes
    ----------
    link : int
        Place in the machine's links.
    share : float
        Demand over strength. [-]
    time, height : float
        [s], [m]
    bound : bool
        Whether it is only the least of what friction leaves open (a held train).
    """

    link: int
    share: float
    time: float
    height: float
    bound: bool


@dataclass(frozen=True)
class Record:
    """Result of a simulation.

    Attributes
    ----------
    machine : Machine
    inputs : Inputs or None
        Scenario that it was built from.
    outcome : Outcome
        How the integration ended.
    time : ndarray, shape (k,)
        Ascending; at a switch two neighbouring samples share the time where something jumps. [s]
    channels : Mapping of str to Channel
        All of shape (k,).
    bound : ndarray of bool, shape (k,)
        Where the drum is held: tooth forces are the least there of what friction leaves open.
    segment_starts : ndarray of int
        First sample of each segment: nothing is to be interpolated across.
    phase : ndarray of int, shape (k,)
        Phase of each sample.
    events : tuple of RecordedEvent
    energy : EnergyBooks
    demands : tuple of LinkDemand
        One for each link of the machine, in its order.
    stats : Stats
    relative_tolerance : float
        That it was computed with: what was asked for, or a tighter one where the books did not close at that. [-]
    runs : int
        How many times it was run, each time with a tighter tolerance. [-]
    sampled : Record or None
        The same run at every ``settings.sample_step``, for tables; None where the scenario gives none or none was asked for.
        Nothing is judged on it: between its samples anything may happen.
    """

    machine: Machine
    inputs: Inputs | None
    outcome: Outcome
    time: np.ndarray
    channels: Mapping[str, Channel]
    bound: np.ndarray
    segment_starts: np.ndarray
    phase: np.ndarray
    events: tuple[RecordedEvent, ...]
    energy: EnergyBooks
    demands: tuple[LinkDemand, ...]
    stats: Stats
    relative_tolerance: float
    runs: int = 1
    sampled: Record | None = None

    def __getitem__(self, name: str) -> np.ndarray:
        """Values of a channel in SI, by name: ``record["height"]``."""
        return self.channels[name].values

    @property
    def broken_link(self) -> LinkLimit | None:
        """The link that broke, which ended the run."""
        broke = self.first(Event.OVERLOAD)
        return self.machine.links[broke.target.index] if broke is not None and isinstance(broke.target, AtLink) else None

    @property
    def fall(self) -> Fall | None:
        """Fall of the load after a break, free but for its own friction; None where nothing broke.

        So it falls where its rope has gone. Where a part in front of the drum has broken, what is left of the train turns
        with the load: it takes longer and lands slower, and this is the bound.
        """
        if self.broken_link is None:
            return None
        return fall(self.machine.body, float(self["height"][-1]) / self.machine.body.rise, float(self["speed"][-1]))

    def first(self, event: Event) -> RecordedEvent | None:
        """First event of a kind, or None."""
        return next((e for e in self.events if e.event is event), None)


def simulate(
    what: Inputs | Machine,
    *,
    times: Sequence[float] | np.ndarray | None = None,
    rtol: float | None = None,
    method: str = "LSODA",
    sampled: bool = False,
) -> Record:
    """Record of a lift.

    A run whose energy books do not close is done again with a tighter tolerance, so it may take up to `TIGHTENINGS` runs; the
    record is that of the last one.

    Parameters
    ----------
    what : Inputs or Machine
        A scenario, or a winch already built from one.
    times : array_like, optional
        Times that are to be samples besides the record's own, which are the integrator's steps, long ones divided, and what
        inside them is off the straight line or the most of anything. [s]
    rtol : float, optional
        Relative tolerance; left out, the scenario's. [-]
    method : str
        One of scipy's integrators.
    sampled : bool
        Whether also at every ``settings.sample_step``, where the scenario gives one.

    Returns
    -------
    Record

    Raises
    ------
    InputError
        The scenario cannot be built.
    TrustError
        A self-locking stage with much inertia behind it has no motion that could be computed.
    """
    inputs = what if isinstance(what, Inputs) else None
    machine = build(what) if isinstance(what, Inputs) else what
    if rtol is None:
        rtol = inputs.settings.relative_tolerance if inputs is not None else RELATIVE_TOLERANCE
    wanted = np.empty(0) if times is None else np.unique(np.asarray(times, dtype=float))
    for runs in range(1, TIGHTENINGS + 1):
        record = replace(_run_once(machine, inputs, wanted, rtol, method, sampled), runs=runs)
        if record.energy.closes or not record.outcome.ok or rtol <= TIGHTEST:
            break
        rtol = max(rtol * TIGHTEN, TIGHTEST)
    return record


def _run_once(machine: Machine, inputs: Inputs | None, wanted: np.ndarray, rtol: float, method: str, sampled: bool) -> Record:
    problem = WinchProblem(machine)
    key, y0, marks = start(machine)
    end = sum(phase.time for phase in machine.phases) + machine.stall_watch + 1.0
    done = run(
        problem, key, y0, 0.0, end,
        rtol=rtol, atol=_absolute_tolerances(machine, rtol), method=method,
        max_switches=MOST_SWITCHES, max_rhs_calls=MOST_RHS_CALLS, max_steps=MOST_STEPS,
    )  # fmt: skip
    begun = (key, y0, marks)
    record = _record(machine, inputs, problem, done, begun, wanted, rtol)
    step = inputs.settings.sample_step if sampled and inputs is not None else None
    return record if step is None else replace(record, sampled=_sampled(record, problem, done, begun, step))


def _absolute_tolerances(m: Machine, rtol: float) -> np.ndarray:
    share = ABSOLUTE_SHARE * rtol / RELATIVE_TOLERANCE
    atol = np.full(m.states, TEMPERATURE_TOLERANCE)
    length = share * max(m.scales.stretch, LENGTH_SHARE * (m.top_travel - m.start_travel))
    atol[:5] = [length, share * m.scales.drum_speed, length, share * m.scales.load_speed, share * m.scales.stretch]
    atol[-1] = share * sum(g.live * g.fit.stall_current for g in m.groups)
    return atol


# --- the record -----------------------------------------------------------------------------------------------------

_Begun = tuple[ModeKey, np.ndarray, tuple[Mark, ...]]
"""Mode, state and marks that a run began with."""


@dataclass(frozen=True)
class _Piece:
    """Times and states of one stretch of the record, its mode, and which of its samples are kept whatever they show."""

    time: np.ndarray
    states: np.ndarray
    key: ModeKey
    kept: np.ndarray


@dataclass(frozen=True)
class _Table:
    """Samples of all stretches behind each other; `shares` holds a row for each link."""

    time: np.ndarray
    values: Mapping[str, np.ndarray]
    shares: np.ndarray
    bound: np.ndarray
    phase: np.ndarray
    starts: np.ndarray

    def only(self, wanted: np.ndarray) -> _Table:
        """Some of the samples; those that begin a stretch have to be among them."""
        values = {name: row[wanted] for name, row in self.values.items()}
        starts = (np.cumsum(wanted) - 1)[self.starts]
        return _Table(self.time[wanted], values, self.shares[:, wanted], self.bound[wanted], self.phase[wanted], starts)


def _record(
    machine: Machine, inputs: Inputs | None, problem: WinchProblem, done: Run, begun: _Begun, wanted: np.ndarray, rtol: float
) -> Record:
    pieces = _with_breaks(done, _looked_at(done, wanted)) or [_at_the_start(begun)]
    fine = _table(problem, pieces)
    kept = np.concatenate([piece.kept for piece in pieces])
    table = fine.only(worth_keeping(fine.time, kept, (*fine.values.values(), *fine.shares)))
    return Record(
        machine=machine, inputs=inputs, outcome=done.outcome, time=table.time, channels=_channels(machine, table),
        bound=table.bound, segment_starts=table.starts, phase=table.phase, events=_events(machine, begun[2], done),
        energy=_books(problem, done, begun), demands=_demands(table), stats=done.stats, relative_tolerance=rtol,
    )  # fmt: skip


def _sampled(record: Record, problem: WinchProblem, done: Run, begun: _Begun, step: float) -> Record:
    """The same run at the multiples of a step."""
    grid = _table(problem, _with_breaks(done, _on_grid(done, grid_step(step, done.t))) or [_at_the_start(begun)])
    return replace(
        record, time=grid.time, channels=_channels(record.machine, grid), bound=grid.bound, segment_starts=grid.starts,
        phase=grid.phase,
    )  # fmt: skip


def _at_the_start(begun: _Begun) -> _Piece:
    """All that there is of a run that ended before its first step."""
    key, y0, _ = begun
    return _Piece(np.array([0.0]), y0[:, None], key, np.array([True]))


def _looked_at(done: Run, wanted: np.ndarray) -> list[_Piece]:
    """The segments at every instant that is looked at, the wanted times among them."""
    longest = max(done.t / LEAST_SAMPLES, 1e-9)
    inside = INSIDE if sum(segment.t.size for segment in done.segments) <= MOST_LOOKED_INTO else 0
    pieces = []
    for segment in done.segments:
        time, kept = looked_at(segment.t, longest, inside)
        more = wanted[(wanted > time[0]) & (wanted < time[-1])]
        if more.size:
            time, kept = np.union1d(time, more), np.union1d(time[kept], more)
            kept = np.isin(time, kept)
        pieces.append(_Piece(time, segment.at(time), segment.key, kept))
    return pieces


def _on_grid(done: Run, step: float) -> list[_Piece]:
    """The segments at the multiples of a step, and at their ends."""
    pieces = []
    for segment in done.segments:
        time = on_grid(float(segment.t[0]), float(segment.t[-1]), step)
        pieces.append(_Piece(time, segment.at(time), segment.key, np.ones(time.size, dtype=bool)))
    return pieces


def _with_breaks(done: Run, pieces: list[_Piece]) -> list[_Piece]:
    """The pieces, and a sample of its own for each break that came at the very instant of another switch.

    A rope that runs onto a larger layer may break a tooth there and then: the mode that breaks it has no length, but its
    torques are what broke it.
    """
    for transition in done.events:
        if not any(k.event is Event.OVERLOAD for k in transition.events):
            continue
        place = sum(1 for piece in pieces if piece.time[-1] <= transition.t)
        if place and pieces[place - 1].key == transition.key_from:
            continue
        instant = _Piece(np.array([transition.t]), transition.y_before[:, None], transition.key_from, np.array([True]))
        pieces.insert(place, instant)
    return pieces


def _table(problem: WinchProblem, pieces: Sequence[_Piece]) -> _Table:
    """Channels and shares of all pieces behind each other."""
    parts = [_segment_channels(problem, piece.key, piece.time, piece.states) for piece in pieces]
    lengths = [piece.time.size for piece in pieces]
    return _Table(
        time=np.concatenate([piece.time for piece in pieces]),
        values={name: np.concatenate([part[name] for part, _ in parts]) for name in parts[0][0]},
        shares=np.concatenate([shares for _, shares in parts], axis=1),
        bound=np.repeat([piece.key.drum == 0 for piece in pieces], lengths),
        phase=np.repeat([piece.key.phase for piece in pieces], lengths),
        starts=np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(int),
    )


def _segment_channels(
    problem: WinchProblem, key: ModeKey, t: np.ndarray, y: np.ndarray
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Every channel of one segment, and the share of every link's strength that is used."""
    m, motion = problem.machine, problem.motion
    now = motion.flow(key)(t, list(y))
    k = t.shape[0]
    at = motion.channels(key)(now)
    out = {
        "height": m.height(y[2]),
        "speed": y[3],
        "tension": np.maximum(now.tension, 0.0),  # at the instant of going slack it is 0 to within rounding
        "rope_wound": y[0],
        "drum_speed": y[1],
        "drum_torque": at.drum,
        "layer": np.full(k, key.layer + 1.0),
        "voltage": now.voltage,
        "current": now.total,
        "charge": y[-1],
    }
    for i, group in enumerate(m.groups):
        n = group.number
        w = y[1] * group.ratio
        out[f"motor_{n}_speed"] = w
        out[f"motor_{n}_torque"] = now.constants[i] * now.currents[i]
        out[f"motor_{n}_current"] = now.currents[i]
        out[f"motor_{n}_winding"] = y[m.heat_state(i)]
        out[f"motor_{n}_case"] = y[m.heat_state(i) + 1]
    for index in range(len(m.meshes)):
        out[f"mesh_{index + 1}_force"] = mesh_force(m, index, at)
    shares = np.array([np.broadcast_to(share, (k,)) for share in link_shares(m, at)]).reshape(len(m.links), k)
    return {name: np.array(np.broadcast_to(value, (k,)), dtype=float) for name, value in out.items()}, shares


def _channels(m: Machine, table: _Table) -> Mapping[str, Channel]:
    return MappingProxyType({channel.name: channel for channel in _named(m, table.values)})


def _named(m: Machine, values: Mapping[str, np.ndarray]) -> list[Channel]:
    plain = {
        "height": ("m", "Height of the load"),
        "speed": ("m/s", "Speed of the load"),
        "tension": ("N", "Rope tension"),
        "rope_wound": ("m", "Rope wound on"),
        "drum_speed": ("rad/s", "Drum speed"),
        "drum_torque": ("N·m", "Rope torque on the drum"),
        "layer": ("", "Layer on the drum"),
        "voltage": ("V", "Voltage at the motors"),
        "current": ("A", "Supply current"),
        "charge": ("C", "Charge drawn"),
    }
    motor = {
        "speed": ("rad/s", "speed"),
        "torque": ("N·m", "torque"),
        "current": ("A", "current"),
        "winding": ("°C", "winding temperature"),
        "case": ("°C", "case temperature"),
    }
    found = []
    for name, array in values.items():
        if name in plain:
            unit, label = plain[name]
        elif name.startswith("motor_"):
            _, number, quantity = name.split("_")
            unit, what = motor[quantity]
            label = f"Motor {what}" + (f", group {number}" if len(m.groups) > 1 else "")
        else:
            mesh = m.meshes[int(name.split("_")[1]) - 1]
            spur = mesh.module is not None
            unit, label = ("N" if spur else "N·m"), f"{'Tooth force' if spur else 'Input torque'}, {mesh.label}"
        found.append(Channel(name, unit, label, array))
    return found


def _events(m: Machine, marks: tuple[Mark, ...], done: Run) -> tuple[RecordedEvent, ...]:
    found = [RecordedEvent(k.event, 0.0, m.height(m.start_travel), k.target, k.value, k.energy) for k in marks]
    for transition in done.events:
        height = float(m.height(transition.y_after[2]))
        for k in transition.events:
            time = transition.t
            if k.event is Event.STALLED:  # it is confirmed later than it begins
                time = transition.key_from.held_since
            found.append(RecordedEvent(k.event, float(time), height, k.target, k.value, k.energy))
    return tuple(sorted(found, key=lambda e: e.time))


def _demands(table: _Table) -> tuple[LinkDemand, ...]:
    found = []
    for index, row in enumerate(table.shares):
        k = int(np.argmax(row))
        height = float(table.values["height"][k])
        found.append(LinkDemand(index, float(row[k]), float(table.time[k]), height, bool(table.bound[k])))
    return tuple(found)


# --- energy ---------------------------------------------------------------------------------------------------------


_LOST_UNDER = {Event.DRUM_STOPS: Head.BRAKE, Event.SETTLED: Head.ROPE_DAMPING}
"""Head of the energy that is lost at once with an event; with any other it is an impact."""


def _books(problem: WinchProblem, done: Run, begun: _Begun) -> EnergyBooks:
    key, y0, marks = begun
    spent: dict[str, float] = {}
    for segment in done.segments:
        t, weights, y = segment.gauss()
        for name, power in powers(problem.motion, segment.key, t, y).items():
            spent[name] = spent.get(name, 0.0) + float(weights @ power)
    source = spent.pop(Head.SOURCE, 0.0)
    for head in (*_LOST_UNDER.values(), Head.IMPACTS):
        spent.setdefault(head, 0.0)
    for lost in (*marks, *(k for transition in done.events for k in transition.events)):
        spent[_LOST_UNDER.get(lost.event, Head.IMPACTS)] += lost.energy
    last = problem.last_key or key
    before = stored_energy(problem.motion, key, 0.0, y0)
    after = stored_energy(problem.motion, last, done.t, done.y)
    gained = sum(after.values()) - sum(before.values())
    residual = source - sum(spent.values()) - gained
    lifted = after[Head.POTENTIAL] - before[Head.POTENTIAL]
    m = problem.machine
    asked = m.scales.pull * (m.top_travel - m.start_travel)
    scale = max(abs(source), abs(lifted), sum(v for k, v in before.items() if k != Head.POTENTIAL), LEAST_SHARE * asked)
    return EnergyBooks(source, MappingProxyType(spent), MappingProxyType(before), MappingProxyType(after), residual, scale)


__all__ = [
    "Channel",
    "EnergyBooks",
    "LinkDemand",
    "LoadPlace",
    "Record",
    "RecordedEvent",
    "simulate",
]
