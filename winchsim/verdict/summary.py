"""The numbers of a lift that everyone asks for."""

from __future__ import annotations

import math

import numpy as np

from winchsim.verdict.finding import Summary
from winchsim.assessment.history import History, Span
from winchsim.assessment.margins import hardest_margins, hot_margins


def summarise(history: History) -> Summary:
    """Summary of a run.

    Parameters
    ----------
    history : History
    """
    record, m = history.record, history.machine
    windings = [float(record[f"motor_{group.number}_winding"].max()) for group in m.groups]
    return Summary(
        lift_time=history.lift_time,
        final_height=float(record["height"][-1]),
        highest=float(record["height"].max()),
        steady_speed=_steady_speed(history),
        peak_current=float(record["current"].max()),
        mean_current=_mean_current(history),
        peak_tension=float(record["tension"].max()),
        peak_winding=max(windings),
        energy_in=record.energy.source,
        efficiency=_efficiency(history),
        charge=float(record["charge"][-1]),
        stall_margin_cold=hardest_margins(m).resting,
        stall_margin_hot=hot_margins(m).resting,
    )


def _mean_current(history: History) -> float:
    """Over the lift, from the start of the phase that raised the load; over all time under power if it did not come up. [A]"""
    record = history.record
    if history.up is not None and history.lift_began is not None:
        began, ended = np.interp([history.lift_began, history.up.time], record.time, record["charge"])
        return float(ended - began) / (history.up.time - history.lift_began)
    powered = sum(span.end - span.start for span in history.spans if span.step.powered)
    return float(record["charge"][-1]) / powered if powered > 0 else 0.0


def _steady_speed(history: History) -> float | None:
    """Mean speed of the load over the middle half of the height; None where it did not come so far. [m/s]"""
    m, record = history.machine, history.record
    bottom, top = m.height(m.start_travel), m.height(m.top_travel)
    raising = next((span for span in history.spans if span.step.action == "raise"), None)
    if raising is None:
        return None
    height, time = record["height"][raising.samples], record.time[raising.samples]
    crossings = []
    for share in (0.25, 0.75):
        wanted = bottom + share * (top - bottom)
        above = np.flatnonzero(height >= wanted)
        if not above.size or above[0] == 0:
            return None
        k = int(above[0])
        rise = height[k] - height[k - 1]
        part = (wanted - height[k - 1]) / rise if rise > 0 else 1.0
        crossings.append((time[k - 1] + part * (time[k] - time[k - 1]), wanted))
    (t0, h0), (t1, h1) = crossings
    return float((h1 - h0) / (t1 - t0)) if t1 > t0 else None


def _efficiency(history: History) -> float | None:
    """Gain of potential energy over the source's energy, over all raising up to the top; None where it was not lifted. [-]"""
    up = history.up
    if up is None:
        return None
    body = history.machine.body
    spent = sum(_source_energy(history, span) for span in history.spans if span.step.action == "raise")
    gained = body.mass * body.gravity * (up.height - history.machine.height(history.machine.start_travel))
    return gained / spent if spent > 0 and math.isfinite(spent) else None


def _source_energy(history: History, span: Span) -> float:
    """Energy that the source gave in a phase, from its charge. [J]"""
    record, step = history.record, span.step
    charge = record["charge"][span.samples]
    if step.ramp <= 0:
        return float(step.voltage * (charge[-1] - charge[0]))
    current, time = record["current"][span.samples], record.time[span.samples]
    voltage = record["voltage"][span.samples] + history.machine.source.resistance * current
    return float(np.trapezoid(voltage * current, time))
