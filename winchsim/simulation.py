"""From a built winch to its record: every channel over time, every event, and the energy balance.

The record has the same shape however the run ended: arrays over the same times, named channels,
events in order.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from winchsim.frozen import replace
from winchsim.hybrid import Run, run
from winchsim.inputs import Inputs, Settings
from winchsim.model import (
    Event,
    LinkLimit,
    Machine,
    ModeKey,
    RecordedEvent,
    Term,
    WinchProblem,
    build,
    powers,
    stored_energy,
)
from winchsim.model.link_demands import demand
from winchsim.physics.supply import Regime
from winchsim.record import ENERGY_LIMIT, Channel, EnergyBalance, LinkDemand, Record
from winchsim.sampling import (
    INSIDE,
    LEAST_SAMPLES,
    MOST_LOOKED_INTO,
    looked_at,
    worth_keeping,
)

MOST_ON_A_GRID = 200_000
"""Most samples of a grid; the step of a finer one is taken several times over. [-]"""

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
    inputs, machine = (what, build(what)) if isinstance(what, Inputs) else (None, what)
    if rtol is None:
        rtol = inputs.settings.relative_tolerance if inputs is not None else RELATIVE_TOLERANCE
    wanted = np.unique(np.asarray([] if times is None else times, dtype=float))
    step = inputs.settings.sample_step if sampled and inputs is not None else None
    for runs in range(1, TIGHTENINGS + 1):
        record = replace(_run_once(machine, inputs, wanted, rtol, step), runs=runs)
        if record.energy.closes or not record.outcome.ok or rtol <= TIGHTEST:
            break
        rtol = max(rtol * TIGHTEN, TIGHTEST)
    return record


def _run_once(
    machine: Machine, inputs: Inputs | None, wanted: np.ndarray, rtol: float, step: float | None
) -> Record:
    """Record of one run; with a step, sampled at its multiples too."""
    problem = WinchProblem(machine)
    key, y0, begun = problem.begin()
    end = sum(phase.time for phase in machine.phases) + machine.stall_watch + 1.0
    done = run(
        problem,
        key,
        y0,
        0.0,
        end,
        rtol=rtol,
        atol=_absolute_tolerances(machine, rtol),
        max_switches=MOST_SWITCHES,
        max_rhs_calls=MOST_RHS_CALLS,
        max_steps=MOST_STEPS,
    )
    marked = (*begun, *(event for transition in done.events for event in transition.events))
    names, rows, starts, kept = _table(problem, done, (key, y0), _instants(done, wanted))
    kept = worth_keeping(rows[0], kept, rows[_LEADING:])
    rows, starts = rows[:, kept], (np.cumsum(kept) - 1)[starts]
    record = Record(
        machine=machine,
        inputs=inputs,
        outcome=done.outcome,
        **_samples(machine, names, rows, starts),
        events=tuple(sorted(marked, key=lambda event: event.time)),
        energy=_balance(problem, done, (key, y0), marked),
        demands=_demands(machine, dict(zip(names, rows, strict=True))),
        stats=done.stats,
        relative_tolerance=rtol,
    )
    if step is None:
        return record
    names, rows, starts, _ = _table(problem, done, (key, y0), _on_grid(step, done.t))
    return replace(record, sampled=replace(record, **_samples(machine, names, rows, starts)))


def _absolute_tolerances(m: Machine, rtol: float) -> np.ndarray:
    share = ABSOLUTE_SHARE * rtol / RELATIVE_TOLERANCE
    atol = np.full(m.states, TEMPERATURE_TOLERANCE)
    length = share * max(m.scales.stretch, LENGTH_SHARE * (m.top_travel - m.start_travel))
    atol[:5] = [
        length,
        share * m.scales.rope_speed / m.layers[0].radius,
        length,
        share * m.scales.rope_speed / m.line.falls,
        share * m.scales.stretch,
    ]
    atol[-1] = share * sum(g.count * g.fit.stall_current for g in m.groups)
    return atol


# --- samples

_Begin = tuple[ModeKey, np.ndarray]
"""Mode and state that a run began with."""

_Instants = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
"""From the ends of a segment's steps to its instants, and which are kept whatever they show."""


def _instants(done: Run, wanted: np.ndarray) -> _Instants:
    """Every instant that is looked at, the wanted times among them."""
    longest = max(done.t / LEAST_SAMPLES, 1e-9)
    inside = INSIDE if sum(segment.t.size for segment in done.segments) <= MOST_LOOKED_INTO else 0

    def instants(steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        time, kept = looked_at(steps, longest, inside)
        more = wanted[(wanted > time[0]) & (wanted < time[-1])]
        if more.size:
            kept_ones, time = np.union1d(time[kept], more), np.union1d(time, more)
            kept = np.isin(time, kept_ones)
        return time, kept

    return instants


def _on_grid(step: float, end: float) -> _Instants:
    """The multiples of a step and the ends of each segment; of a finer grid up to a time than
    `MOST_ON_A_GRID` samples, the multiples of several steps."""
    step *= max(1, math.ceil(end / step / MOST_ON_A_GRID))

    def instants(steps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        first, last = float(steps[0]), float(steps[-1])
        inside = np.arange(math.ceil(first / step), math.floor(last / step) + 1) * step
        time = np.concatenate([[first], inside[(inside > first) & (inside < last)], [last]])
        return time, np.ones(time.size, dtype=bool)

    return instants


def _table(
    problem: WinchProblem, done: Run, begin: _Begin, instants: _Instants
) -> tuple[tuple[Hashable, ...], np.ndarray, np.ndarray, np.ndarray]:
    """Names of all channels and demands, one row of samples for each, where each segment starts,
    and which samples are kept whatever they show.

    A break at the very instant of another switch has a sample of its own: a rope that runs onto a
    larger layer may break a tooth there and then, in a mode of no length whose torques broke it. A
    run that ended before its first step has one sample.
    """
    pieces = []
    for segment in done.segments:
        time, kept = instants(segment.t)
        pieces.append((segment.key, time, segment.at(time), kept))
    broke = [t for t in done.events[-1:] if any(k.event is Event.OVERLOAD for k in t.events)]
    alone = [
        (t.key_from, t.t, t.y_before) for t in broke if not pieces or pieces[-1][0] != t.key_from
    ]
    if not pieces and not alone:
        alone = [(begin[0], 0.0, begin[1])]
    pieces += [(key, np.array([t]), y[:, None], np.array([True])) for key, t, y in alone]
    ends = np.cumsum([time.size for _, time, _, _ in pieces])
    starts = np.append(0, ends[:-1])
    for (key, time, states, _), first, end in zip(pieces, starts, ends, strict=True):
        values = _sample(problem, key, time, states)
        if not first:
            names, rows = tuple(values), np.empty((len(values), ends[-1]))
        for row, value in zip(rows, values.values(), strict=True):
            row[first:end] = value
    return names, rows, starts, np.concatenate([kept for *_, kept in pieces])


_LEADING = 4
"""Rows of a table of samples that are no channels: time, phase, whether the drum is held, and the
supply at its limit."""

_CHANNELS = {
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
    "speed": ("rad/s", "Motor speed"),
    "torque": ("N·m", "Motor torque"),
    "current": ("A", "Motor current"),
    "winding": ("°C", "Motor winding temperature"),
    "case": ("°C", "Motor case temperature"),
}


def _sample(
    problem: WinchProblem, key: ModeKey, t: np.ndarray, y: np.ndarray
) -> dict[Hashable, Any]:
    """Every channel of one segment by its name, and every demand on links by the channel and index
    of these."""
    m, motion = problem.machine, problem.motion
    now = motion.flow(key)(t, list(y))
    at = motion.channels(key)(now)
    out: dict[Hashable, Any] = {
        "time": t,
        "phase": key.phase,
        "bound": key.drum == 0,
        "limited": key.regime is Regime.CURRENT,
        "height": m.height(y[2]),
        "speed": y[3],
        "tension": np.maximum(now.tension, 0.0),  # going slack it is 0 to within rounding
        "rope_wound": y[0],
        "drum_speed": y[1],
        "drum_torque": at.drum,
        "layer": key.layer + 1.0,
        "voltage": now.voltage,
        "current": now.total,
        "charge": y[-1],
    }
    for i, group in enumerate(m.groups):
        torque, warm = now.constants[i] * now.currents[i], m.heat_state(i)
        values = y[1] * group.ratio, torque, now.currents[i], y[warm], y[warm + 1]
        for what, value in zip(_MOTOR_CHANNELS, values, strict=True):
            out[f"motor_{group.number}_{what}"] = value
    for index in range(len(m.meshes)):
        out[f"mesh_{index + 1}_force"] = demand(m, "mesh", index, at)
    for link in m.links:
        name = _demand_name(link)
        if name not in out:
            out[name] = demand(m, link.channel, link.index, at)
    return out


def _demand_name(link: LinkLimit) -> Hashable:
    return f"mesh_{link.index + 1}_force" if link.channel == "mesh" else (link.channel, link.index)


def _samples(
    m: Machine, names: tuple[Hashable, ...], rows: np.ndarray, starts: np.ndarray
) -> dict[str, Any]:
    """The attributes of a record that hold its samples."""
    labels = dict(_CHANNELS)
    for group in m.groups:
        behind = f", group {group.number}" if len(m.groups) > 1 else ""
        for what, (unit, label) in _MOTOR_CHANNELS.items():
            labels[f"motor_{group.number}_{what}"] = unit, label + behind
    for number, mesh in enumerate(m.meshes, start=1):
        unit, what = ("N·m", "Input torque") if mesh.module is None else ("N", "Tooth force")
        labels[f"mesh_{number}_force"] = unit, f"{what}, {mesh.label}"
    at: dict[Any, np.ndarray] = dict(zip(names, rows, strict=True))
    return {
        "time": at["time"],
        "phase": at["phase"].astype(int),
        "bound": at["bound"].astype(bool),
        "limited": at["limited"].astype(bool),
        "segment_starts": starts,
        "channels": MappingProxyType(
            {name: Channel(name, *label, at[name]) for name, label in labels.items()}
        ),
    }


def _demands(m: Machine, at: dict[Hashable, np.ndarray]) -> tuple[LinkDemand, ...]:
    """The largest demand over capacity of each link."""
    found = []
    for index, link in enumerate(m.links):
        asked = at[_demand_name(link)]
        k = int(np.argmax(asked))
        time, height = float(at["time"][k]), float(at["height"][k])
        found.append(
            LinkDemand(index, float(asked[k]) / link.bears, time, height, bool(at["bound"][k]))
        )
    return tuple(found)


# --- energy


_LOST_UNDER = {Event.DRUM_STOPS: Term.BRAKE, Event.SETTLED: Term.ROPE_DAMPING}
"""Term of the energy that is lost at once with an event; with any other it is an impact."""


def _balance(
    problem: WinchProblem, done: Run, begin: _Begin, marked: Iterable[RecordedEvent]
) -> EnergyBalance:
    spent: defaultdict[str, float] = defaultdict(float)
    for segment in done.segments:
        t, weights, y = segment.gauss()
        for name, power in powers(problem.motion, segment.key, t, y).items():
            spent[name] += float(weights @ power)
    source = spent.pop(Term.SOURCE, 0.0)
    for term in (*_LOST_UNDER.values(), Term.IMPACTS):
        spent[term] += 0.0
    for lost in marked:
        spent[_LOST_UNDER.get(lost.event, Term.IMPACTS)] += lost.energy
    before = stored_energy(problem.motion, begin[0], 0.0, begin[1])
    after = stored_energy(problem.motion, problem.last_key, done.t, done.y)
    m = problem.machine
    return EnergyBalance(
        source,
        MappingProxyType(dict(spent)),
        MappingProxyType(before),
        MappingProxyType(after),
        residual=source - sum(spent.values()) - (sum(after.values()) - sum(before.values())),
        scale=max(
            abs(source),
            abs(after[Term.POTENTIAL] - before[Term.POTENTIAL]),
            sum(v for k, v in before.items() if k != Term.POTENTIAL),
            LEAST_SHARE * m.scales.pull * (m.top_travel - m.start_travel),
        ),
    )


__all__ = [
    "ENERGY_LIMIT",
    "RELATIVE_TOLERANCE",
    "EnergyBalance",
    "Record",
    "RecordedEvent",
    "simulate",
]
