"""A stall: what the motors reach of the torque needed, on which layer, and what is in the way."""

from __future__ import annotations

import math

from winchsim.assessment.history import History
from winchsim.assessment.margins import Margins, margins
from winchsim.model import Event
from winchsim.physics.drum import Layer
from winchsim.simulation import RecordedEvent

LAYER_END = 0.05
"""Share of a turn that counts as the end of a layer: a drum that the next layer stops runs on to it
for a little. [-] Own assumption."""


def stall_margins(history: History, event: RecordedEvent) -> Margins:
    """Margins at the place and the temperatures of a stall; at a layer's end, of the next layer.

    Parameters
    ----------
    history : History
    event : RecordedEvent
        The stall.
    """
    lower = layer_that_ends(history, event)
    layer = int(history.record["layer"][history.at(event.time)]) - 1 if lower is None else lower + 1
    return _on_layer(history, event, layer)


def _on_layer(history: History, event: RecordedEvent, layer: int) -> Margins:
    m, (windings, cases) = history.machine, history.temperatures(event.time)
    phase = history.span_at(event.time).step
    raising = phase if phase.action == "raise" else None
    return margins(
        m, event.height / m.body.rise, layer, windings=windings, cases=cases, phase=raising
    )


def layer_that_ends(history: History, event: RecordedEvent) -> int | None:
    """Layer at whose end the drum stalled, though the motors raise the load on it; None otherwise.

    Parameters
    ----------
    history : History
    event : RecordedEvent
    """
    m = history.machine
    place = m.wound_at_start + float(history.record["rope_wound"][history.at(event.time)])
    near = [i for i, layer in enumerate(m.layers[:-1]) if abs(place - layer.end) <= _near(layer)]
    return near[0] if near and _on_layer(history, event, near[0]).moving >= 1 else None


def _near(layer: Layer) -> float:
    return LAYER_END * 2 * math.pi * layer.radius


def blocked_by(history: History, event: RecordedEvent) -> str:
    """What keeps the load where it stalled besides weight and friction; empty for nothing.

    Parameters
    ----------
    history : History
    event : RecordedEvent

    Returns
    -------
    str
        ``battery_empty``, ``snagged`` or ``top_stop``.
    """
    if any(empty.time <= event.time for empty in history.of(Event.EMPTY)):
        return "battery_empty"
    for other in history.of(Event.SNAGGED, Event.TOP_STOP):
        if other.time <= event.time and abs(other.height - event.height) < 1e-6:
            return "snagged" if other.event is Event.SNAGGED else "top_stop"
    return ""
