"""What findings, remedies and the verdict sentence are read from: the history of a run, its links, and the pull at stall."""

from __future__ import annotations

import math

from winchsim.assessment.history import History
from winchsim.assessment.margins import Margins, margins
from winchsim.model import Event
from winchsim.physics.drum import Layer
from winchsim.simulation import RecordedEvent
from winchsim.verdict.finding import LinkRow, StallPull
from winchsim.verdict.weakest import stall_pull, weakest_links
from winchsim.verdict.words import percent

LAYER_END = 0.05
"""Share of a turn that counts as the end of a layer: a drum that the next layer stops runs on to it for a little. [-] Own
assumption."""


class Case:
    """A run with its history, its links, and the pull at stall.

    Parameters
    ----------
    history : History
    """

    def __init__(self, history: History) -> None:
        self.history = history
        self.record = history.record
        self.machine = history.machine
        self.inputs = history.record.inputs
        self.rows: tuple[LinkRow, ...] = weakest_links(history.record)
        self.pull: StallPull = stall_pull(history.machine)


# --- stalls ---------------------------------------------------------------------------------------------------------


def stall_margins(case: Case, event: RecordedEvent) -> Margins:
    """Margins at the place and the temperatures of a stall; at a layer's end those of the layer that stops the drum."""
    lower = layer_that_ends(case, event)
    layer = int(case.record["layer"][case.history.at(event.time)]) - 1 if lower is None else lower + 1
    return _margins_on(case, event, layer)


def _margins_on(case: Case, event: RecordedEvent, layer: int) -> Margins:
    m, record, k = case.machine, case.record, case.history.at(event.time)
    windings = [float(record[f"motor_{g.number}_winding"][k]) for g in m.groups]
    cases = [float(record[f"motor_{g.number}_case"][k]) for g in m.groups]
    phase = case.history.span_at(event.time).step
    raising = phase if phase.action == "raise" else None
    return margins(m, event.height / m.body.rise, layer, windings=windings, cases=cases, phase=raising)


def shortfall(found: Margins) -> str:
    """What the motors give of what is needed, in words."""
    if found.deciding <= 0:
        return f"none of the torque that {found.telling_word}"
    close = 0.95 < found.deciding < 1
    share = percent(math.floor(1000 * found.deciding) / 1000, 3) if close else percent(found.deciding)
    return f"{share} of the torque that {found.telling_word}"


def layer_that_ends(case: Case, event: RecordedEvent) -> int | None:
    """Layer at whose end the drum stalled, because the motors carry the load on it and not on the next; None otherwise."""
    m = case.machine
    place = m.wound_at_start + float(case.record["rope_wound"][case.history.at(event.time)])
    near = [i for i, layer in enumerate(m.layers[:-1]) if abs(place - layer.end) <= _near(layer)]
    return near[0] if near and _margins_on(case, event, near[0]).moving >= 1 else None


def _near(layer: Layer) -> float:
    """Length of rope that counts as the end of a layer. [m]"""
    return LAYER_END * 2 * math.pi * layer.radius


def blocked_by(case: Case, event: RecordedEvent) -> str:
    """What keeps the load where it stalled, besides its weight and the friction; empty for nothing."""
    if any(empty.time <= event.time for empty in case.history.of(Event.EMPTY)):
        return "the battery is empty"
    for other in case.history.of(Event.SNAGGED, Event.TOP_STOP):
        if other.time <= event.time and abs(other.height - event.height) < 1e-6:
            return "the load has snagged" if other.event is Event.SNAGGED else "the load stands against its top stop"
    return ""


def lowering(case: Case) -> tuple[RecordedEvent, float] | None:
    """When a load that was meant to come down met the floor, and how long after its phase began; None for never. [s]"""
    for event in case.history.of(Event.LANDED):
        span = case.history.span_at(event.time - 1e-9)
        if span.descends and event.time > span.start:
            return event, event.time - span.start
    return None


def holding_part(case: Case) -> str:
    """The part that is fitted to hold the load; empty where only friction does."""
    if case.machine.pawl:
        return "pawl"
    braked = case.machine.chain is not case.machine.braked_chain
    return "brake" if braked else ""
