"""How a load comes down again: under power, on joined leads, or not by itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from winchsim.assessment.history import OFF_FLOOR, History, Span, middle_mean, read_history
from winchsim.errors import TrustError
from winchsim.inputs import Inputs, Phase
from winchsim.model.trial import first_raise
from winchsim.quantity_text import quantity
from winchsim.simulation import Record, simulate
from winchsim.verdict.words import duration, speed

SOME = 0.1
"""Torque of lowering motors, as a share of their own drag, below which the load does the work. [-] Own choice."""


class Descent(StrEnum):
    """How the load comes down."""

    POWERED = "powered lowering"
    OVERHAULS = "overhauls the motors"
    SHORTED = "on joined leads"
    NOT_DOWN = "does not come down"
    NOTHING = "nothing hangs on the hook"


@dataclass(frozen=True)
class Lowering:
    """How the load of one rung comes down.

    Attributes
    ----------
    descent : Descent
    time : float or None
        From the top to the floor. [s]
    current : float or None
        Of the supply on the way, its size. [A]
    speed : float or None
        Largest speed of the load downward. [m/s]
    words : str
        What to do, one sentence.
    """

    descent: Descent
    time: float | None
    current: float | None
    speed: float | None
    words: str


def programme(inputs: Inputs, *after: Phase) -> Inputs:
    """Scenario that is raised to the top as it says, and then goes on with other phases."""
    return replace(inputs, phase=(replace(first_raise(inputs), until="top"), *after))


def nothing_to_lower() -> Lowering:
    """What stands for the descent of a load that never got up."""
    return Lowering(Descent.NOTHING, None, None, None, "It does not come up.")


def lowered(inputs: Inputs, raised: Record) -> tuple[Lowering, Record]:
    """How the load comes down under power; where it drives the motors, whether joined leads brake it.

    Parameters
    ----------
    inputs : Inputs
    raised : Record
        Of its lift: given back where the way down cannot be computed.
    """
    own = next((phase for phase in inputs.phase if phase.action == "lower"), Phase(action="lower", until="floor"))
    try:
        record = simulate(programme(inputs, replace(own, until="floor")))
    except TrustError:
        return _stays_up(), raised
    history = read_history(record)
    span = history.spans[-1] if history.spans[-1].step.action == "lower" else None
    landed = history.record.time[-1] if span is None else _landed(history, span)
    if span is None or landed is None or landed <= span.start:
        return _stays_up(), record
    fastest = float(max(0.0, -record["speed"][span.samples].min()))
    time, current = float(landed - span.start), _middle(record, span, np.abs(record["current"]))
    if not _drives(history):
        words = (
            f"Reverse the polarity: it comes down in {duration(time)} at {quantity(current, 'A')}, at up to {speed(fastest)}."
        )
        return Lowering(Descent.POWERED, time, current, fastest, words), record
    on_leads = _on_joined_leads(inputs)
    if on_leads is not None:
        return on_leads, record
    words = (
        f"Under power the load drives the motors, down in {duration(time)} at up to {speed(fastest)}: "
        "lower it on a second line that brakes, or prop it and take the weight off in parts."
    )
    return Lowering(Descent.OVERHAULS, time, current, fastest, words), record


def _landed(history: History, span: Span) -> float | None:
    """When the load stood on the floor again; None where it did not."""
    last = span.samples.stop - 1
    return span.end if history.record["height"][last] <= OFF_FLOOR else None


def _drives(history: History) -> bool:
    """Whether the load drives the motors while they lower: their torque holds it back, or they give next to none."""
    record, span, push, drag = history.record, history.spans[-1], 0.0, 0.0
    for g in history.machine.groups:
        push += g.live * g.ratio * _middle(record, span, record[f"motor_{g.number}_torque"])
        drag += g.live * g.ratio * g.motor.drag
    return push >= -SOME * drag


def _middle(record: Record, span: Span, values: np.ndarray) -> float:
    """Mean of what was sampled over the middle half of a phase."""
    return middle_mean(record.time[span.samples], values[span.samples], span.start, span.end)


def _on_joined_leads(inputs: Inputs) -> Lowering | None:
    """Lowering on joined leads, where that brings the load down no faster than twice the lift."""
    record = simulate(programme(inputs, Phase(action="short", until="floor")))
    history = read_history(record)
    span = history.spans[-1]
    if span.step.action != "short" or _landed(history, span) is None:
        return None
    fastest = float(max(0.0, -record["speed"][span.samples].min()))
    time = span.end - span.start
    lift = history.lift_time
    if lift is None or time < lift / 2:
        return None
    words = f"Power off and join the motors' leads: they brake it down in {duration(time)}, at up to {speed(fastest)}."
    return Lowering(Descent.SHORTED, float(time), 0.0, fastest, words)


def _stays_up() -> Lowering:
    words = "It does not come down under power: have a prop or a second line ready before it goes up."
    return Lowering(Descent.NOT_DOWN, None, None, None, words)
