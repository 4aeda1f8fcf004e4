"""From a built winch to its record: every channel over time, every event, and the energy balance.

The record has the same shape however the run ended: arrays over the same times, named channels,
events in order.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.hybrid import Run, run
from winchsim.inputs import Inputs, Settings
from winchsim.model import (
    Event,
    Machine,
    ModeKey,
    Term,
    WinchProblem,
    build,
    powers,
    start,
    stored_energy,
)
from winchsim.model.keys import Mark
from winchsim.model.link_demands import demand, mesh_force
from winchsim.model.machine import LinkLimit
from winchsim.record import ENERGY_LIMIT, Channel, EnergyBalance, LinkDemand, Record, RecordedEvent
from winchsim.sampling import (
    INSIDE,
    LEAST_SAMPLES,
    MOST_LOOKED_INTO,
    grid_step,
    looked_at,
    on_grid,
    worth_keeping,
)

LEAST_SHARE = 1e-6
"""Share of the energy that the whole lift gives the load, to hold the balance against where hardly
anything has moved: what rounding makes of nothing is far below it. [-] Own choice."""

RELATIVE_TOLERANCE = Settings().relative_tolerance
"""Relative tolerance of a machine that no scenario stands behind. [-]"""

ABSOLUTE_SHARE = 1e-6
"""Absolute tolerance of a state as a share of its scale: static stretch, steady speed. [-]"""

LENGTH_SHARE = 0.01
"""Share of the lift's height below which no length has to be known any better than to
`ABSOLUTE_SHARE`. [-]"""

TIGHTENINGS = 3
TIGHTEN = 0.01
TIGHTEST = 1e-11
"""A run whose energy balance does not close is done again with its tolerance times `TIGHTEN`, at
most `TIGHTENINGS` runs in all."""

TEMPERATURE_TOLERANCE = 1e-5
"""Absolute tolerance of windings and cases. [K]"""

MOST_RHS_CALLS = 800_000
MOST_STEPS = 120_000
MOST_SWITCHES = 8_000
"""Budgets of one run: beyond them it ends unfinished, and no result of it is trusted. Own choice.
[-]"""


def simulate(
    what: Inputs | Machine,
    *,
    times: Sequence[float] | np.ndarray | None = None,
    rtol: float | None = None,
    sampled: bool = False,
) -> Record:
    """Record of a lift.

    A run whose energy balance does not close is done again with a tighter tolerance, so it may take
    up to `TIGHTENINGS` runs; the record is that of the last one.

    Parameters
    ----------
    what : Inputs or Machine
        A scenario, or a winch already built from one.
    times : array_like, optional
        Times that are to be samples besides the record's own, which are the integrator's steps,
        long ones divided, and what inside them is off the straight line or the most of anything.
        [s]
    rtol : float, optional
        Relative tolerance; left out, the scenario's. [-]
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
        record = replace(_run_once(machine, inputs, wanted, rtol, sampled), runs=runs)
        if record.energy.closes or not record.outcome.ok or rtol <= TIGHTEST:
            break
        rtol = max(rtol * TIGHTEN, TIGHTEST)
    return record


def _run_once(
    machine: Machine,
    inputs: Inputs | None,
    wanted: np.ndarray,
    rtol: float,
    sampled: bool,
) -> Record:
    problem = WinchProblem(machine)
    key, y0, marks = start(machine)
    end = sum(phase.time for phase in machine.phases) + machine.stall_watch + 1.0
    done = run(
        problem, key, y0, 0.0, end,
        rtol=rtol, atol=_absolute_tolerances(machine, rtol),
        max_switches=MOST_SWITCHES, max_rhs_calls=MOST_RHS_CALLS, max_steps=MOST_STEPS,
    )  # fmt: skip
    begun = (key, y0, marks)
    record = _record(machine, inputs, problem, done, begun, wanted, rtol)
    step = inputs.settings.sample_step if sampled and inputs is not None else None
    return (
        record
        if step is None
        else replace(record, sampled=_sampled(record, problem, done, begun, step))
    )


def _absolute_tolerances(m: Machine, rtol: float) -> np.ndarray:
    share = ABSOLUTE_SHARE * rtol / RELATIVE_TOLERANCE
    atol = np.full(m.states, TEMPERATURE_TOLERANCE)
    length = share * max(m.scales.stretch, LENGTH_SHARE * (m.top_travel - m.start_travel))
    atol[:5] = [
        length,
        share * m.scales.drum_speed,
        length,
        share * m.scales.load_speed,
        share * m.scales.stretch,
    ]
    atol[-1] = share * sum(g.live * g.fit.stall_current for g in m.groups)
    return atol


# --- the record

_Begun = tuple[ModeKey, np.ndarray, tuple[Mark, ...]]
"""Mode, state and marks that a run began with."""


@dataclass(frozen=True)
class _Piece:
    """Times and states of one stretch of the record, its mode, and which of its samples are kept
    whatever they show."""

    time: np.ndarray
    states: np.ndarray
    key: ModeKey
    kept: np.ndarray


@dataclass(frozen=True)
class _Table:
    """Samples of all stretches behind each other; `rows` holds one row for each name, a channel or
    a demand."""

    time: np.ndarray
    names: tuple[Hashable, ...]
    rows: np.ndarray
    bound: np.ndarray
    phase: np.ndarray
    starts: np.ndarray

    def only(self, wanted: np.ndarray) -> _Table:
        """Some of the samples; those that begin a stretch have to be among them."""
        starts = (np.cumsum(wanted) - 1)[self.starts]
        return _Table(
            self.time[wanted],
            self.names,
            self.rows[:, wanted],
            self.bound[wanted],
            self.phase[wanted],
            starts,
        )


def _record(
    machine: Machine,
    inputs: Inputs | None,
    problem: WinchProblem,
    done: Run,
    begun: _Begun,
    wanted: np.ndarray,
    rtol: float,
) -> Record:
    pieces = _with_breaks(done, _looked_at(done, wanted)) or [_at_the_start(begun)]
    fine = _table(problem, pieces)
    kept = np.concatenate([piece.kept for piece in pieces])
    table = fine.only(worth_keeping(fine.time, kept, fine.rows))
    return Record(
        machine=machine,
        inputs=inputs,
        outcome=done.outcome,
        time=table.time,
        channels=_channels(machine, table),
        bound=table.bound,
        segment_starts=table.starts,
        phase=table.phase,
        events=_events(machine, begun[2], done),
        energy=_balance(problem, done, begun),
        demands=_demands(machine, table),
        stats=done.stats,
        relative_tolerance=rtol,
    )


def _sampled(
    record: Record, problem: WinchProblem, done: Run, begun: _Begun, step: float
) -> Record:
    """The same run at the multiples of a step."""
    grid = _table(
        problem,
        _with_breaks(done, _on_grid(done, grid_step(step, done.t))) or [_at_the_start(begun)],
    )
    return replace(
        record,
        time=grid.time,
        channels=_channels(record.machine, grid),
        bound=grid.bound,
        segment_starts=grid.starts,
        phase=grid.phase,
    )


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
    """The pieces, and a sample of its own for each break that came at the very instant of another
    switch.

    A rope that runs onto a larger layer may break a tooth there and then: the mode that breaks it
    has no length, but its torques are what broke it.
    """
    for transition in done.events:
        if not any(k.event is Event.OVERLOAD for k in transition.events):
            continue
        place = sum(1 for piece in pieces if piece.time[-1] <= transition.t)
        if place and pieces[place - 1].key == transition.key_from:
            continue
        instant = _Piece(
            np.array([transition.t]),
            transition.y_before[:, None],
            transition.key_from,
            np.array([True]),
        )
        pieces.insert(place, instant)
    return pieces


def _table(problem: WinchProblem, pieces: Sequence[_Piece]) -> _Table:
    """Channels and demands of all pieces behind each other."""
    ends = np.cumsum([piece.time.size for piece in pieces])
    starts = np.append(0, ends[:-1])
    names: tuple[Hashable, ...] = ()
    rows = np.empty((0, 0))
    for piece, first, end in zip(pieces, starts, ends, strict=True):
        values = _sample(problem, piece.key, piece.time, piece.states)
        if not names:
            names, rows = tuple(values), np.empty((len(values), ends[-1]))
        for row, value in zip(rows, values.values(), strict=True):
            row[first:end] = value
    lengths = ends - starts
    return _Table(
        time=np.concatenate([piece.time for piece in pieces]),
        names=names,
        rows=rows,
        bound=np.repeat([piece.key.drum == 0 for piece in pieces], lengths),
        phase=np.repeat([piece.key.phase for piece in pieces], lengths),
        starts=starts,
    )


def _sample(
    problem: WinchProblem, key: ModeKey, t: np.ndarray, y: np.ndarray
) -> dict[Hashable, Any]:
    """Every channel of one segment by its name, and every demand on links by the channel and index
    of these."""
    m, motion = problem.machine, problem.motion
    now = motion.flow(key)(t, list(y))
    at = motion.channels(key)(now)
    out: dict[Hashable, Any] = {
        "height": m.height(y[2]),
        "speed": y[3],
        "tension": np.maximum(
            now.tension, 0.0
        ),  # at the instant of going slack it is 0 to within rounding
        "rope_wound": y[0],
        "drum_speed": y[1],
        "drum_torque": at.drum,
        "layer": key.layer + 1.0,
        "voltage": now.voltage,
        "current": now.total,
        "charge": y[-1],
    }
    for i, group in enumerate(m.groups):
        n = group.number
        out[f"motor_{n}_speed"] = y[1] * group.ratio
        out[f"motor_{n}_torque"] = now.constants[i] * now.currents[i]
        out[f"motor_{n}_current"] = now.currents[i]
        out[f"motor_{n}_winding"] = y[m.heat_state(i)]
        out[f"motor_{n}_case"] = y[m.heat_state(i) + 1]
    for index in range(len(m.meshes)):
        out[f"mesh_{index + 1}_force"] = mesh_force(m, index, at)
    for link in m.links:
        name = _demand_name(link)
        if name not in out:
            out[name] = demand(m, link.channel, link.index, at)
    return out


def _demand_name(link: LinkLimit) -> Hashable:
    return f"mesh_{link.index + 1}_force" if link.channel == "mesh" else (link.channel, link.index)


_PLAIN_CHANNELS = {
    "height": ("m", "Height of the load"),
    "speed": ("m/s", "Speed of the load along its path"),
    "tension": ("N", "Rope tension above the load"),
    "rope_wound": ("m", "Rope wound on"),
    "drum_speed": ("rad/s", "Drum speed"),
    "drum_torque": ("N·m", "Rope torque on the drum"),
    "layer": ("", "Layer on the drum"),
    "voltage": ("V", "Voltage at the motors"),
    "current": ("A", "Supply current"),
    "charge": ("C", "Charge drawn"),
}

_MOTOR_CHANNELS = {
    "speed": ("rad/s", "speed"),
    "torque": ("N·m", "torque"),
    "current": ("A", "current"),
    "winding": ("°C", "winding temperature"),
    "case": ("°C", "case temperature"),
}


def _channels(m: Machine, table: _Table) -> Mapping[str, Channel]:
    found = {}
    for name, values in zip(table.names, table.rows, strict=True):
        if isinstance(name, str):
            found[name] = Channel(name, *_unit_and_label(m, name), values)
    return MappingProxyType(found)


def _unit_and_label(m: Machine, name: str) -> tuple[str, str]:
    if name in _PLAIN_CHANNELS:
        return _PLAIN_CHANNELS[name]
    if name.startswith("motor_"):
        _, number, quantity = name.split("_")
        unit, what = _MOTOR_CHANNELS[quantity]
        return unit, f"Motor {what}" + (f", group {number}" if len(m.groups) > 1 else "")
    mesh = m.meshes[int(name.split("_")[1]) - 1]
    spur = mesh.module is not None
    return ("N" if spur else "N·m"), f"{'Tooth force' if spur else 'Input torque'}, {mesh.label}"


def _events(m: Machine, marks: tuple[Mark, ...], done: Run) -> tuple[RecordedEvent, ...]:
    found = [
        RecordedEvent(k.event, 0.0, m.height(m.start_travel), k.target, k.value, k.energy)
        for k in marks
    ]
    for transition in done.events:
        height = float(m.height(transition.y_after[2]))
        for k in transition.events:
            time = transition.t
            if k.event is Event.STALLED:  # it is confirmed later than it begins
                time = transition.key_from.held_since
            found.append(RecordedEvent(k.event, float(time), height, k.target, k.value, k.energy))
    return tuple(sorted(found, key=lambda e: e.time))


def _demands(m: Machine, table: _Table) -> tuple[LinkDemand, ...]:
    """The largest demand over capacity of each link."""
    places = {name: row for row, name in enumerate(table.names)}
    largest = np.argmax(table.rows, axis=1)
    heights = table.rows[places["height"]]
    found = []
    for index, link in enumerate(m.links):
        row = places[_demand_name(link)]
        k = largest[row]
        share = float(table.rows[row, k]) / link.bears
        found.append(
            LinkDemand(index, share, float(table.time[k]), float(heights[k]), bool(table.bound[k]))
        )
    return tuple(found)


# --- energy


_LOST_UNDER = {Event.DRUM_STOPS: Term.BRAKE, Event.SETTLED: Term.ROPE_DAMPING}
"""Term of the energy that is lost at once with an event; with any other it is an impact."""


def _balance(problem: WinchProblem, done: Run, begun: _Begun) -> EnergyBalance:
    key, y0, marks = begun
    spent: dict[str, float] = {}
    for segment in done.segments:
        t, weights, y = segment.gauss()
        for name, power in powers(problem.motion, segment.key, t, y).items():
            spent[name] = spent.get(name, 0.0) + float(weights @ power)
    source = spent.pop(Term.SOURCE, 0.0)
    for term in (*_LOST_UNDER.values(), Term.IMPACTS):
        spent.setdefault(term, 0.0)
    for lost in (*marks, *(k for transition in done.events for k in transition.events)):
        spent[_LOST_UNDER.get(lost.event, Term.IMPACTS)] += lost.energy
    last = problem.last_key or key
    before = stored_energy(problem.motion, key, 0.0, y0)
    after = stored_energy(problem.motion, last, done.t, done.y)
    gained = sum(after.values()) - sum(before.values())
    residual = source - sum(spent.values()) - gained
    lifted = after[Term.POTENTIAL] - before[Term.POTENTIAL]
    m = problem.machine
    asked = m.scales.pull * (m.top_travel - m.start_travel)
    scale = max(
        abs(source),
        abs(lifted),
        sum(v for k, v in before.items() if k != Term.POTENTIAL),
        LEAST_SHARE * asked,
    )
    return EnergyBalance(
        source,
        MappingProxyType(spent),
        MappingProxyType(before),
        MappingProxyType(after),
        residual,
        scale,
    )


__all__ = [
    "ENERGY_LIMIT",
    "RELATIVE_TOLERANCE",
    "EnergyBalance",
    "Record",
    "RecordedEvent",
    "simulate",
]
