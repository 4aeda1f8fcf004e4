"""How a load comes down again: under power, on joined leads, or not by itself."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from winchsim.assessment.history import OFF_FLOOR, History, Span, middle_mean, read_history
from winchsim.errors import TrustError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Phase
from winchsim.model.trial import first_raise
from winchsim.simulation import Record, simulate

PAUSE = 1.0
"""Power off between raising and lowering. [s] Own choice."""

SOME = 0.1
"""Torque of lowering motors over their own drag, below which the load does the work. [-] Own
choice."""


class Descent(StrEnum):
    """How the load comes down."""

    POWERED = "powered"
    OVERHAULS = "overhauls"
    """Under power, but the load drives the motors."""
    SHORTED = "joined_leads"
    NOT_DOWN = "not_down"
    """Not under power."""
    BREAKS = "breaks"
    """A part breaks as the motors lower."""


@dataclass(frozen=True)
class Lowering:
    """How the load of one rung comes down; where a pawl is fitted, with the pawl held open by hand.

    Attributes
    ----------
    descent : Descent
    time : float or None
        From the top to the floor. [s]
    current : float or None
        Of the supply on the way, its size. [A]
    speed : float or None
        Largest speed of the load downward. [m/s]
    part : str
        The part that breaks.
    """

    descent: Descent
    time: float | None = None
    current: float | None = None
    speed: float | None = None
    part: str = ""


def programme(inputs: Inputs, *after: Phase) -> Inputs:
    """Scenario that is raised to the top as it says, and then goes on with other phases."""
    return replace(inputs, phase=(replace(first_raise(inputs), until="top"), *after))


def lowered(inputs: Inputs, *, held: bool) -> tuple[Lowering, Record | None]:
    """How the load comes down under power; where it drives the motors, whether joined leads brake
    it.

    Parameters
    ----------
    inputs : Inputs
    held : bool
        Whether the load stays up with the power off, so that it can come to rest first.

    Returns
    -------
    (Lowering, Record or None)
        The record is that of the run under power; None where it could not be made.
    """
    usual = Phase(action="lower", until="floor")
    own = next((phase for phase in inputs.phase if phase.action == "lower"), usual)
    rest = (Phase(action="off", until="time", time=PAUSE),) if held else ()
    try:
        record = simulate(programme(inputs, *rest, replace(own, until="floor")))
    except TrustError:
        return Lowering(Descent.NOT_DOWN), None
    if record.broken_link is not None:
        return Lowering(Descent.BREAKS, part=record.broken_link.label), record
    history = read_history(record)
    found = _down(history, "lower")
    if found is None:
        return Lowering(Descent.NOT_DOWN), record
    if not _drives(history):
        return found, record
    return _on_joined_leads(inputs) or replace(found, descent=Descent.OVERHAULS), record


def _down(history: History, action: str) -> Lowering | None:
    """The last phase of a run as a descent to the floor; None where it is none."""
    span, record = history.spans[-1], history.record
    landed = record["height"][span.samples.stop - 1] <= OFF_FLOOR
    if span.step.action != action or not landed or span.end <= span.start:
        return None
    fastest = float(max(0.0, -record["speed"][span.samples].min()))
    current = _middle(record, span, np.abs(record["current"]))
    return Lowering(Descent.POWERED, float(span.end - span.start), current, fastest)


def _drives(history: History) -> bool:
    """Whether the load drives the lowering motors: their torque holds it back or is next to
    none."""
    record, span, push, drag = history.record, history.spans[-1], 0.0, 0.0
    for g in history.machine.groups:
        push += g.live * g.ratio * _middle(record, span, record[f"motor_{g.number}_torque"])
        drag += g.live * g.ratio * g.motor.drag
    return push >= -SOME * drag


def _middle(record: Record, span: Span, values: np.ndarray) -> float:
    """Mean of what was sampled over the middle half of a phase."""
    return middle_mean(record.time[span.samples], values[span.samples], span.start, span.end)


def _on_joined_leads(inputs: Inputs) -> Lowering | None:
    """Lowering on joined leads, where the load comes down no faster than twice the lift."""
    inputs = programme(replace(inputs, pawl=None), Phase(action="short", until="floor"))
    history = read_history(simulate(inputs))
    found, lift = _down(history, "short"), history.lift_time
    if found is None or found.time is None or lift is None or found.time < lift / 2:
        return None
    return replace(found, descent=Descent.SHORTED, current=0.0)
