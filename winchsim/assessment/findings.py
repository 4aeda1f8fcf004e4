"""What a run showed, as typed values: every rule in one place."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.history import OFF_FLOOR, History, Span
from winchsim.assessment.kinds import Finding, FindingKind
from winchsim.assessment.margins import (
    BRAKE_REQUIRED,
    blocked_by,
    brake_margin,
    hardest_margins,
    layer_that_ends,
    stall_margins,
    times_until_hot,
)
from winchsim.assessment.teeth import gear_flaws, raising_time, tooth_warmth
from winchsim.model import LEAST_LEFT, AtGroup, Event, raising_phase, tooth_of
from winchsim.physics.sources import shares_of_ordinary
from winchsim.simulation import RecordedEvent
from winchsim.strength.line import winding_cautions
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
    found = [
        Finding(kind, numbers(history, event), event.time, event.height)
        for kind, when, numbers in EVENTS
        for event in when(history)
        if event is not None
    ]
    found += [finding for rule in RULES for finding in rule(history)]
    return tuple(sorted(found, key=lambda f: math.inf if f.time is None else f.time))


def _not_trusted(history: History) -> Finding:
    record = history.record
    return Finding(
        FindingKind.NOT_TRUSTED,
        dict(
            reason=record.outcome.value,
            energy_error=record.energy.error,
            work=dict(Counter(event.event.value for event in record.events).most_common(2)),
        ),
        float(record.time[-1]),
    )


# --- findings of single events ------------------------------------------------------------------

Values = Mapping[str, Any]
When = Callable[[History], Sequence[RecordedEvent | None]]


def _first(event: Event) -> When:
    return lambda history: history.of(event)[:1]


def _phase(history: History, event: RecordedEvent) -> Span:
    """The phase that an event ended."""
    return history.span_at(event.time - 1e-9)


def _hard_landings(history: History) -> Sequence[RecordedEvent]:
    """When the load first met the floor fast, unless it came back unasked."""
    back = {finding.values["landing_speed"] for finding in history.run_backs()}
    landings = [event for event in history.of(Event.LANDED) if event.value not in back]
    return [event for event in landings if (event.value or 0.0) >= HARD_LANDING][:1]


def _broken(history: History, _event: RecordedEvent) -> Values:
    limit = history.record.broken_link
    assert limit is not None
    capacity = limit.strength
    return dict(
        part=limit.label,
        path=limit.where,
        kind=limit.kind.value,
        unit=capacity.unit,
        capacity=capacity.value,
        capacity_low=capacity.low,
        capacity_high=capacity.high,
        basis=capacity.basis,
    )


def _stall(history: History, event: RecordedEvent) -> Values:
    found, step = stall_margins(history, event), history.span_at(event.time).step
    source, blocked = history.machine.source, blocked_by(history, event)
    record, now = history.record, history.at(event.time)
    return dict(
        torque_share=float(found.deciding),
        from_rest=bool(found.moving >= 1),
        layer_end=layer_that_ends(history, event) is not None,
        blocked_by=blocked,
        time_to_limit=min(
            times_until_hot(history.machine, step, *history.temperatures(event.time))
        ),
        supply_current=(
            float(record["current"][now]) if record.limited[now] and not blocked else None
        ),
        folds_back=source.fold_to is not None and source.limit_side is None,
    )


def _stop(history: History, event: RecordedEvent) -> Values:
    m, after = history.machine, int(np.searchsorted(history.record.time, event.time))
    return dict(
        speed=event.value,
        energy=event.energy,
        tension=float(history.record["tension"][after:].max()),
        hanging=m.scales.pull / m.line.falls,
    )


EVENTS: Sequence[tuple[FindingKind, When, Callable[[History, RecordedEvent], Values]]] = (
    (FindingKind.PART_BROKE, lambda h: [h.broke if h.record.broken_link else None], _broken),
    (FindingKind.DRUM_OVERFLOW, _first(Event.OVERFLOW), lambda h, e: {}),
    (FindingKind.PAID_OUT, lambda h: [h.paid_out], lambda h, e: {}),
    (FindingKind.STALLED, _first(Event.STALLED), _stall),
    (
        FindingKind.LATE,
        lambda h: h.of(Event.TIME_UP),
        lambda h, e: dict(time_limit=_phase(h, e).step.time, action=_phase(h, e).step.action),
    ),
    (FindingKind.SNAGGED, _first(Event.SNAGGED), _stop),
    (
        FindingKind.TOP_STOP,
        _first(Event.TOP_STOP),
        lambda h, e: {
            **_stop(h, e),
            "sheave": h.machine.stop_travel == h.machine.reach - LEAST_LEFT,
        },
    ),
    (
        FindingKind.WEDGED,
        _first(Event.WEDGED),
        lambda h, e: dict(
            count=len(h.of(Event.WEDGED)),
            drum_speed=e.value,
            energy=sum(each.energy for each in h.of(Event.WEDGED)),
        ),
    ),
    (
        FindingKind.LANDED_HARD,
        _hard_landings,
        lambda h, e: dict(speed=e.value, energy=e.energy, asked=_phase(h, e).descends),
    ),
    (
        FindingKind.SUPPLY_TRIPPED,
        lambda h: [h.tripped],
        lambda h, e: dict(current=float(h.record["current"][: h.at(e.time) + 1].max())),
    ),
    (
        FindingKind.BATTERY_EMPTY,
        _first(Event.EMPTY),
        lambda h, e: dict(
            charge=float(h.record["charge"][h.at(e.time)]),
            charge_capacity=h.machine.source.capacity,
        ),
    ),
)
"""By kind: the events that show it, and its values from each."""


# --- findings of whole runs ---------------------------------------------------------------------


def _fell(history: History) -> Iterator[Finding]:
    """The free fall after a part has broken: faster than any in which the rest of the train turns
    with the load."""
    broke, fallen = history.broke, history.record.fall
    if broke and fallen and fallen.energy > 0 and math.isfinite(fallen.time):
        yield Finding(
            FindingKind.FELL,
            dict(landing_speed=fallen.speed, landing_energy=fallen.energy),
            broke.time,
            broke.height,
        )


def _held(history: History) -> Iterator[Finding]:
    """The last watch of a load that was held; the first in which it was not, though it did not come
    back far."""
    watches = history.watches()
    sunk = [span for span in watches if not history.holds(span)][:1]
    if sunk and (history.run_backs() or history.broke is not None):
        return
    for span in sunk or watches[-1:]:
        let_down = float(history.given_back(span.samples)[-1])
        slips = {} if sunk else {"slips": let_down > history.allowed_sag}
        yield Finding(
            FindingKind.CREEPS if sunk else FindingKind.HELD,
            dict(let_down=let_down, watched=span.end - span.start, **slips),
            span.end,
            float(history.record["height"][span.samples.stop - 1]),
        )


def _weak_brake(history: History) -> Iterator[Finding]:
    margin = brake_margin(history.machine)
    if 0 < margin < BRAKE_REQUIRED and not history.machine.pawl:
        yield Finding(FindingKind.WEAK_BRAKE, dict(margin=margin, required=BRAKE_REQUIRED))


def _stick_slip(history: History) -> Iterator[Finding]:
    record, slips = history.record, history.of(Event.SLIPS)
    if len(slips) >= FEWEST_SLIPS:
        first, last = slips[0].time, slips[-1].time
        tension = record["tension"][history.at(first) : history.at(last) + 1]
        yield Finding(
            FindingKind.STICK_SLIP,
            dict(
                count=len(slips),
                pull_low=float(tension.min() * history.machine.line.falls),
                rate=(len(slips) - 1) / (last - first) if last > first else math.inf,
                pull_high=float(tension.max() * history.machine.line.falls),
                averaged=record.first(Event.AVERAGED) is not None,
            ),
            first,
            slips[0].height,
        )


def _rope_slack(history: History) -> Iterator[Finding]:
    end = math.inf if history.broke is None else history.broke.time
    slack = [event for event in history.of(Event.SLACK) if event.time < end]
    hanging = [e for e in slack if history.record["height"][history.at(e.time)] > OFF_FLOOR]
    for first in hanging[:1]:
        yield Finding(FindingKind.ROPE_SLACK, dict(count=len(hanging)), first.time, first.height)


def _no_restart(history: History) -> Iterator[Finding]:
    """A load that the drum lifts because it turns already when the rope takes the load up."""
    if history.lifted and raising_phase(history.machine).action == "raise":
        margin = hardest_margins(history.machine).resting
        if margin < 1:
            yield Finding(FindingKind.NO_RESTART, {"margin": float(margin)})


def at_current_limit(history: History) -> tuple[float, float, float]:
    """Current limit of the first limited raise, time at it, and time of that raise. [A], [s], [s]

    Parameters
    ----------
    history : History
    """
    for span in history.spans:
        limit = span.step.current_limit
        if span.step.action == "raise" and math.isfinite(limit):
            limited, times = history.record.limited[span.samples], history.record.time[span.samples]
            lasts = np.sum(np.diff(times)[limited[1:] & limited[:-1]])
            return limit, float(lasts), span.end - span.start
    return math.inf, 0.0, 0.0


def _supply_limited(history: History) -> Iterator[Finding]:
    limit, lasts, whole = at_current_limit(history)
    if lasts > 0:
        yield Finding(
            FindingKind.SUPPLY_LIMITED,
            dict(current_limit=limit, duration=lasts, raising_time=whole),
        )


def _supply_not_described(history: History) -> Iterator[Finding]:
    """A supply of no resistance and no limit, because neither was given."""
    m, source = history.machine, history.machine.source
    voltage = max(abs(phase.voltage) for phase in m.phases)
    assumed = any(row.path == "supply.resistance" for row in m.assumed)
    if source.current_limit == math.inf and assumed and voltage:
        inrush = sum(
            g.count * max(source.duty * voltage - g.motor.brush_drop, 0.0) / g.motor.resistance
            for g in m.groups
        )
        yield Finding(
            FindingKind.SUPPLY_NOT_DESCRIBED,
            {"inrush": inrush, **shares_of_ordinary(source.duty * inrush)},
        )


def _motors(history: History) -> Iterator[Finding]:
    record, m = history.record, history.machine
    highest = m.source.duty * max((abs(span.step.voltage) for span in history.spans), default=0.0)
    for index, group in enumerate(m.groups):
        winding, nominal = record[f"motor_{group.number}_winding"], group.fit.voltage
        peak = float(winding.max())
        if peak > group.winding_limit + 1e-3:
            hot = [event.time for event in history.of(Event.HOT) if event.target == AtGroup(index)]
            k = history.at(hot[0]) if hot else int(np.argmax(winding > group.winding_limit))
            yield Finding(
                FindingKind.OVERHEATED,
                dict(group=group.number, winding_peak=peak, winding_limit=group.winding_limit),
                float(record.time[k]),
                float(record["height"][k]),
            )
        values = {"group": group.number, "voltage": highest, "nominal": nominal}
        plain = group.motor.brush_drop == 0 and group.motor.drag_slope == 0
        if plain and 0 < highest < FAR_BELOW * nominal:
            yield Finding(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE, values)
        if highest > nominal * (1 + 1e-9):
            yield Finding(FindingKind.ABOVE_NOMINAL_VOLTAGE, values)
        # A group that takes power from the others over the middle of the lift.
        torque = history.steady(f"motor_{group.number}_torque")
        if len(m.groups) > 1 and torque is not None and torque < group.motor.drag:
            yield Finding(
                FindingKind.DRAGGED_GROUP,
                dict(
                    group=group.number,
                    power=(group.motor.drag - torque)
                    * group.count
                    * group.ratio
                    * (history.steady("drum_speed") or 0.0),
                ),
            )


def _no_path_down(history: History) -> Iterator[Finding]:
    """A pawl is lifted only while the motors lower."""
    if history.machine.pawl and any(s.descends and not s.step.powered for s in history.spans):
        yield Finding(FindingKind.NO_PATH_DOWN)


def _teeth_warm(history: History) -> Iterator[Finding]:
    for tooth in [warmth for warmth in tooth_warmth(history.record) if warmth.too_warm][:1]:
        yield Finding(
            FindingKind.TEETH_WARM,
            dict(
                part=tooth.label,
                path=tooth.path,
                material=tooth.material,
                flank=tooth.flank,
                root=tooth.root,
                flank_limit=tooth.flank_limit,
                root_limit=tooth.root_limit,
                lasting=raising_time(history.record) >= WARMING_TIME,
            ),
        )


def _rim_thin(history: History) -> Iterator[Finding]:
    """Printed teeth with a thinner rim than any published factor covers, where it may decide."""
    inputs, m = history.record.inputs, history.machine
    links = [(asked.share, m.links[asked.link]) for asked in history.record.demands]
    thin = [
        (share, link)
        for share, link in links
        if inputs is not None
        and link.kind.is_tooth
        and share * link.required * 2 > 1
        and tooth_of(inputs, m.meshes[link.index], link.kind).found.outside_published_range
    ]
    if thin:
        share, link = max(thin, key=lambda pair: pair[0])
        ends = [
            getattr(link.strength, end) / link.strength.value / share for end in ("low", "high")
        ]
        yield Finding(
            FindingKind.RIM_THIN,
            dict(part=link.label, path=link.where, more=len(thin) - 1, low=ends[0], high=ends[1]),
        )


def _creep(history: History) -> Iterator[Finding]:
    """The tooth that a load left hanging uses most of, where its material goes on giving way."""
    record, m = history.record, history.machine
    if history.broke is not None or record["height"][-1] <= OFF_FLOOR:
        return
    lasting = [
        (float(record[f"mesh_{k.index + 1}_force"][-1]) / k.strength.value, k.material, k)
        for k in m.links
        if k.material is not None and k.strength.value > 0
    ]
    found = [row for row in lasting if creeps(row[0], m.ambient, row[1])]
    if found:
        share, material, link = max(found, key=lambda row: row[0])
        yield Finding(
            FindingKind.CREEP,
            dict(
                part=link.label,
                path=link.where,
                material=material.name,
                share=share,
                share_limit=LINEAR_CREEP_SHARE,
                temperature=m.ambient,
            ),
        )


def _winding(history: History) -> Iterator[Finding]:
    inputs, layers = history.record.inputs, int(history.record["layer"].max())
    if inputs is not None:
        for row in winding_cautions(
            inputs.ropes[inputs.rope.material], layers, inputs.drum.dead_turns
        ):
            yield Finding(
                FindingKind.WINDING, dict(zip(("quantity", "value", "limit"), row, strict=True))
            )


RULES: tuple[Callable[[History], Iterable[Finding]], ...] = (
    _fell,
    History.run_backs,
    _weak_brake,
    _held,
    _stick_slip,
    _rope_slack,
    _no_restart,
    _supply_limited,
    _supply_not_described,
    _motors,
    _no_path_down,
    _teeth_warm,
    _rim_thin,
    _creep,
    _winding,
    lambda history: gear_flaws(history.record),
)
"""Every other rule; a new finding is a kind and a rule here, or a row of `EVENTS`."""
