"""What a run showed, as typed values: every rule in one place."""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.gear_flaws import gear_flaws
from winchsim.assessment.history import OFF_FLOOR, History, RunBack
from winchsim.assessment.kinds import Finding, FindingKind
from winchsim.assessment.margins import (
    blocked_by,
    hardest_margins,
    layer_that_ends,
    stall_margins,
    times_until_hot,
)
from winchsim.assessment.teeth import raising_time, tooth_warmth
from winchsim.model import AtGroup, Event, Machine
from winchsim.model.estimate import raising_phase
from winchsim.model.links import tooth_of
from winchsim.model.machine import LiveGroup
from winchsim.physics.sources import shares_of_ordinary
from winchsim.physics.supply import Regime
from winchsim.simulation import RecordedEvent
from winchsim.strength.line import winding_cautions
from winchsim.strength.link import LinkState
from winchsim.strength.materials import LINEAR_CREEP_SHARE, creeps

HARD_LANDING = 0.1
"""Speed of a landing that is worth a word. [m/s] Own assumption."""

FEWEST_SLIPS = 3
"""Slips in the guide that count as stick-slip. [-] Own assumption."""

FAR_BELOW = 0.5
"""Share of the nominal voltage below which a motor without brush drop and speed-dependent drag is
modelled poorly. [-]"""

WARMING_TIME = 300.0
"""Time of raising from which teeth come near their lasting temperature. [s] Own assumption."""


def find(history: History) -> tuple[Finding, ...]:
    """Every finding of a run, in the order of time, those without one last.

    Parameters
    ----------
    history : History
    """
    if not history.trusted:
        return (_not_trusted(history),)
    found = [finding for rule in RULES for finding in rule(history)]
    return tuple(sorted(found, key=lambda f: math.inf if f.time is None else f.time))


Rule = Callable[[History], Iterator[Finding]]


def _at(finding: FindingKind, event: RecordedEvent, /, **values: Any) -> Finding:
    return Finding(finding, values, event.time, event.height)


def _row(
    kind: FindingKind,
    when: Callable[[History], Sequence[RecordedEvent | RunBack | None]],
    numbers: Callable[[History, Any], dict[str, Any]] = lambda history, event: {},
) -> Rule:
    """A rule with one finding for each event that there is."""

    def rule(history: History) -> Iterator[Finding]:
        for event in when(history):
            if event is not None:
                yield Finding(kind, numbers(history, event), event.time, event.height)

    return rule


def _first(event: Event) -> Callable[[History], Sequence[RecordedEvent]]:
    return lambda history: history.of(event)[:1]


def _not_trusted(history: History) -> Finding:
    record = history.record
    often = Counter(event.event.value for event in record.events).most_common(2)
    values = {
        "reason": record.outcome.value,
        "energy_error": record.energy.error,
        "work": dict(often),
    }
    return Finding(FindingKind.NOT_TRUSTED, values, float(record.time[-1]))


def _broken(history: History, event: RecordedEvent) -> dict[str, Any]:
    limit = history.record.broken_link
    assert limit is not None
    capacity = limit.strength
    demand = (event.value or 1.0) * capacity.value
    return dict(
        part=limit.label, path=limit.where, kind=limit.kind.value, unit=capacity.unit,
        demand=demand, capacity=capacity.value, capacity_low=capacity.low,
        capacity_high=capacity.high, basis=capacity.basis,
        state=LinkState.MAY_BREAK if capacity.high > demand * (1 + 1e-6) else LinkState.BREAKS,
    )  # fmt: skip


def _fell(history: History) -> Iterator[Finding]:
    """The free fall after a part has broken: faster than any in which the rest of the train turns
    with the load."""
    broke, fallen = history.broke, history.record.fall
    if broke and fallen and fallen.energy > 0 and math.isfinite(fallen.time):
        yield _at(FindingKind.FELL, broke, landing_speed=fallen.speed, landing_energy=fallen.energy)


def _ran_back(_: History, back: RunBack) -> dict[str, Any]:
    return dict(
        from_height=back.height, to_height=back.to_height, speed=back.speed,
        powered=back.powered, in_guide=back.in_guide, stopped=back.stopped,
        landing_speed=back.landed.value if back.landed else None,
        landing_energy=back.landed.energy if back.landed else None,
    )  # fmt: skip


def _held(history: History) -> Iterator[Finding]:
    """The last watch of a load that was held; the first in which it was not, though it did not come
    back far."""
    kind, watches = FindingKind.HELD, history.watches()
    if history.held is False:
        if history.run_backs() or history.broke is not None:
            return
        kind, watches = FindingKind.CREEPS, [w for w in watches if not history.holds(w)][:1]
    for span in watches[-1:]:
        back = float(history.given_back(span.samples)[-1])
        height = float(history.record["height"][span.samples.stop - 1])
        values = {"let_down": back, "watched": span.end - span.start}
        yield Finding(kind, values, span.end, height)


def _stall(history: History, event: RecordedEvent) -> dict[str, Any]:
    found, step = stall_margins(history, event), history.span_at(event.time).step
    windings, cases = history.temperatures(event.time)
    return dict(
        torque_share=float(found.deciding),
        from_rest=bool(found.moving >= 1),
        layer_end=layer_that_ends(history, event) is not None,
        blocked_by=blocked_by(history, event),
        time_to_limit=min(times_until_hot(history.machine, step, windings, cases)),
    )


def _late(history: History, event: RecordedEvent) -> dict[str, Any]:
    step = history.span_at(event.time - 1e-9).step
    return dict(time_limit=step.time, action=step.action)


def _stop(history: History, event: RecordedEvent) -> dict[str, Any]:
    after = int(np.searchsorted(history.record.time, event.time))
    peak = float(history.record["tension"][after:].max())
    hanging = history.machine.scales.pull / history.machine.line.falls
    return dict(speed=event.value, energy=event.energy, tension=peak, hanging=hanging)


def _wedged(history: History, event: RecordedEvent) -> dict[str, Any]:
    energies = [each.energy for each in history.of(Event.WEDGED)]
    return dict(count=len(energies), drum_speed=event.value, energy=sum(energies))


def _stick_slip(history: History) -> Iterator[Finding]:
    slips = history.of(Event.SLIPS)
    if len(slips) < FEWEST_SLIPS:
        return
    first, last = slips[0].time, slips[-1].time
    stretch = slice(history.at(first), history.at(last) + 1)
    pulls = history.record["tension"][stretch] * history.machine.line.falls
    yield _at(
        FindingKind.STICK_SLIP,
        slips[0],
        count=len(slips),
        pull_low=float(pulls.min()),
        rate=(len(slips) - 1) / (last - first) if last > first else math.inf,
        pull_high=float(pulls.max()),
        averaged=history.record.first(Event.AVERAGED) is not None,
    )


def tripped(history: History) -> RecordedEvent | None:
    """When the supply switched itself off by overcurrent; None for never.

    Parameters
    ----------
    history : History
    """
    found = history.of(Event.SUPPLY)
    return next((event for event in found if event.target is Regime.TRIPPED), None)


def _rope_slack(history: History) -> Iterator[Finding]:
    height = history.record["height"]
    hanging = [e for e in history.of(Event.SLACK) if height[history.at(e.time)] > OFF_FLOOR]
    if history.broke is not None:
        hanging = [e for e in hanging if e.time < history.broke.time]
    if hanging:
        yield _at(FindingKind.ROPE_SLACK, hanging[0], count=len(hanging))


def _no_restart(history: History) -> Iterator[Finding]:
    """A load that the drum lifts because it turns already when the rope takes the load up."""
    if history.lifted and raising_phase(history.machine).action == "raise":
        margin = hardest_margins(history.machine).resting
        if margin < 1:
            yield Finding(FindingKind.NO_RESTART, {"margin": float(margin)})


def _hard_landings(history: History) -> list[RecordedEvent]:
    """When the load met the floor fast, unless it came back unasked."""
    back = {back.landed.time for back in history.run_backs() if back.landed is not None}
    landings = [event for event in history.of(Event.LANDED) if event.time not in back]
    return [event for event in landings if (event.value or 0.0) >= HARD_LANDING]


def _landing(history: History, event: RecordedEvent) -> dict[str, Any]:
    asked = history.span_at(event.time - 1e-9).descends
    return dict(speed=event.value, energy=event.energy, asked=asked)


def at_current_limit(history: History) -> tuple[float, float, float]:
    """Current limit of the first limited raise, time at it, and time of that raise. [A], [s], [s]

    Parameters
    ----------
    history : History
    """
    record = history.record
    for span in history.spans:
        limit = span.step.current_limit
        if span.step.action != "raise" or not math.isfinite(limit):
            continue
        at_limit = record["current"][span.samples] >= limit * (1 - 1e-6)
        both = at_limit[1:] & at_limit[:-1]
        lasts = float(np.sum(np.diff(record.time[span.samples])[both]))
        return limit, lasts, span.end - span.start
    return math.inf, 0.0, 0.0


def _supply(history: History) -> Iterator[Finding]:
    limit, lasts, whole = at_current_limit(history)
    if lasts > 0:
        values = {"current_limit": limit, "duration": lasts, "raising_time": whole}
        yield Finding(FindingKind.SUPPLY_LIMITED, values)
    yield from _not_described(history.machine)


def _trip(history: History, event: RecordedEvent) -> dict[str, Any]:
    return dict(current=float(history.record["current"][: history.at(event.time) + 1].max()))


def _empty(history: History, event: RecordedEvent) -> dict[str, Any]:
    charge = float(history.record["charge"][history.at(event.time)])
    return dict(charge=charge, charge_capacity=history.machine.source.capacity)


def _not_described(m: Machine) -> Iterator[Finding]:
    """A supply of no resistance and no limit, because neither was given."""
    voltage = max(abs(phase.voltage) for phase in m.phases)
    if (
        m.source.current_limit < math.inf
        or all(row.path != "supply.resistance" for row in m.assumed)
        or not voltage
    ):
        return
    inrush = sum(
        g.live * max(m.source.duty * voltage - g.motor.brush_drop, 0.0) / g.motor.resistance
        for g in m.groups
    )
    values = {"inrush": inrush, **shares_of_ordinary(m.source.duty * inrush)}
    yield Finding(FindingKind.SUPPLY_NOT_DESCRIBED, values)


def _motors(history: History) -> Iterator[Finding]:
    record, m = history.record, history.machine
    highest = m.source.duty * max((abs(span.step.voltage) for span in history.spans), default=0.0)
    for index, group in enumerate(m.groups):
        winding, nominal = record[f"motor_{group.number}_winding"], group.fit.voltage
        peak = float(winding.max())
        if peak > group.winding_limit + 1e-3:
            hot = next((e for e in history.of(Event.HOT) if e.target == AtGroup(index)), None)
            over = int(np.argmax(winding > group.winding_limit))
            k = over if hot is None else history.at(hot.time)
            values = dict(group=group.number, winding_peak=peak, winding_limit=group.winding_limit)
            time, height = float(record.time[k]), float(record["height"][k])
            yield Finding(FindingKind.OVERHEATED, values, time, height)
        values = {"group": group.number, "voltage": highest, "nominal": nominal}
        plain = group.motor.brush_drop == 0 and group.motor.drag_slope == 0
        if plain and 0 < highest < FAR_BELOW * nominal:
            yield Finding(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE, values)
        if highest > nominal * (1 + 1e-9):
            yield Finding(FindingKind.ABOVE_NOMINAL_VOLTAGE, values)
        yield from _dragged(history, group)


def _dragged(history: History, group: LiveGroup) -> Iterator[Finding]:
    """A group that takes power from the others over the middle of the lift."""
    torque, speed = history.steady(f"motor_{group.number}_torque"), history.steady("drum_speed")
    if torque is None or speed is None or len(history.machine.groups) < 2:
        return
    taken = (group.motor.drag - torque) * group.live * group.ratio * speed
    if torque < group.motor.drag:
        values = {"group": group.number, "power": taken}
        yield Finding(FindingKind.DRAGGED_GROUP, values)


def _no_path_down(history: History) -> Iterator[Finding]:
    if history.machine.pawl and any(span.step.action == "lower" for span in history.spans):
        yield Finding(FindingKind.NO_PATH_DOWN)


def _teeth_warm(history: History) -> Iterator[Finding]:
    tooth = next((warmth for warmth in tooth_warmth(history.record) if warmth.too_warm), None)
    if tooth is not None:
        values = dict(
            part=tooth.label, path=tooth.path, material=tooth.material.name, flank=tooth.flank,
            root=tooth.root, flank_limit=tooth.flank_limit, root_limit=tooth.root_limit,
            lasting=raising_time(history.record) >= WARMING_TIME,
        )  # fmt: skip
        yield Finding(FindingKind.TEETH_WARM, values)


def _rim_thin(history: History) -> Iterator[Finding]:
    """Printed teeth with a thinner rim than any published factor covers, where it may decide."""
    record, m = history.record, history.machine
    thin = []
    for asked in record.demands:
        link = m.links[asked.link]
        if record.inputs is None or not link.kind.is_tooth or asked.share * link.required * 2 <= 1:
            continue
        if tooth_of(record.inputs, m.meshes[link.index], link.kind).found.outside_published_range:
            thin.append((asked.share, link))
    if thin:
        share, link = max(thin, key=lambda pair: pair[0])
        ends = {"low": link.strength.low, "high": link.strength.high}
        factors = {key: end / link.strength.value / share for key, end in ends.items()}
        yield Finding(
            FindingKind.RIM_THIN,
            dict(part=link.label, path=link.where, more=len(thin) - 1, **factors),
        )


def _creep(history: History) -> Iterator[Finding]:
    """The tooth that a load left hanging uses most of, where its material goes on giving way."""
    record, m = history.record, history.machine
    if history.broke is not None or record["height"][-1] <= OFF_FLOOR:
        return
    lasting = [
        (
            float(record[f"mesh_{link.index + 1}_force"][-1]) / link.strength.value,
            link,
            link.material,
        )
        for link in m.links
        if link.material is not None and link.strength.value > 0
    ]
    found = [row for row in lasting if creeps(row[0], m.ambient, row[2])]
    if found:
        share, link, material = max(found, key=lambda row: row[0])
        values = dict(part=link.label, path=link.where, material=material.name, share=share,
                      share_limit=LINEAR_CREEP_SHARE, temperature=m.ambient)  # fmt: skip
        yield Finding(FindingKind.CREEP, values)


def _winding(history: History) -> Iterator[Finding]:
    inputs = history.record.inputs
    if inputs is not None:
        layers = int(history.record["layer"].max())
        rope = inputs.ropes[inputs.rope.material]
        for quantity, value, limit in winding_cautions(rope, layers, inputs.drum.dead_turns):
            yield Finding(
                FindingKind.WINDING, {"quantity": quantity, "value": value, "limit": limit}
            )


RULES: tuple[Rule, ...] = (
    _row(FindingKind.PART_BROKE, lambda h: [h.broke if h.record.broken_link else None], _broken),
    _fell,
    _row(FindingKind.BACK_DRIVEN, History.run_backs, _ran_back),
    _held,
    _row(FindingKind.DRUM_OVERFLOW, _first(Event.OVERFLOW)),
    _row(FindingKind.PAID_OUT, lambda h: [h.paid_out]),
    _row(FindingKind.STALLED, _first(Event.STALLED), _stall),
    _row(FindingKind.LATE, lambda h: h.of(Event.TIME_UP), _late),
    _row(FindingKind.SNAGGED, _first(Event.SNAGGED), _stop),
    _row(FindingKind.TOP_STOP, _first(Event.TOP_STOP), _stop),
    _stick_slip,
    _row(FindingKind.WEDGED, _first(Event.WEDGED), _wedged),
    _rope_slack,
    _no_restart,
    _row(FindingKind.LANDED_HARD, lambda h: _hard_landings(h)[:1], _landing),
    _supply,
    _row(FindingKind.SUPPLY_TRIPPED, lambda h: [tripped(h)], _trip),
    _row(FindingKind.BATTERY_EMPTY, _first(Event.EMPTY), _empty),
    _motors,
    _no_path_down,
    _teeth_warm,
    _rim_thin,
    _creep,
    _winding,
    gear_flaws,
)
"""Every rule; a new finding is a kind and a rule here."""
