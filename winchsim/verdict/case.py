"""What findings, cures and the verdict sentence are read from: the history of a run, its links, and the full pull."""

from __future__ import annotations

from winchsim.model import Event
from winchsim.simulate import RecordedEvent
from winchsim.verdict.balance import Margins, margins
from winchsim.verdict.finding import FullPull, LinkRow
from winchsim.verdict.history import History
from winchsim.verdict.weakest import full_pull, weakest_links
from winchsim.verdict.words import percent


class Case:
    """A run with its history, its links, and the full pull.

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
        self.pull: FullPull = full_pull(history.machine)


# --- stalls ---------------------------------------------------------------------------------------------------------


def stall_margins(case: Case, event: RecordedEvent) -> Margins:
    """Margins at the place and the temperatures of a stall."""
    m, record, k = case.machine, case.record, case.history.at(event.time)
    windings = [float(record[f"motor_{g.number}_winding"][k]) for g in m.groups]
    cases = [float(record[f"motor_{g.number}_case"][k]) for g in m.groups]
    phase = case.history.span_at(event.time).step
    travel = event.height / m.body.rise
    layer = int(record["layer"][k]) - 1
    if at_layer_end(case, event):  # the fuller of the two layers is the one that stops it
        place = m.wound_at_start + float(record["rope_wound"][k])
        layer = next(i for i, full in enumerate(m.layers) if full.end > place + 1e-2 * m.scales.stretch)
    return margins(m, travel, layer, windings=windings, cases=cases, phase=phase if phase.action == "raise" else None)


def shortfall(found: Margins) -> str:
    """What the motors give of what is needed, in words."""
    share = percent(found.telling, 3 if 0.95 < found.telling < 1.05 else 2)
    return f"{share} of the torque that {found.telling_word}"


def at_layer_end(case: Case, event: RecordedEvent) -> bool:
    """Whether the drum stalled where the rope climbs onto the next layer."""
    m = case.machine
    place = m.wound_at_start + float(case.record["rope_wound"][case.history.at(event.time)])
    return any(abs(place - layer.end) <= 1e-3 * m.scales.stretch for layer in m.layers[:-1])


def blocked_by(case: Case, event: RecordedEvent) -> str:
    """What keeps the load where it stalled, if anything does; empty otherwise."""
    for other in case.history.of(Event.SNAGGED, Event.TOP_STOP):
        if other.time <= event.time and abs(other.height - event.height) < 1e-6:
            return "has snagged" if other.event is Event.SNAGGED else "stands against its top stop"
    return ""


def holding_part(case: Case) -> str:
    """The part that is fitted to hold the load; empty where only friction does."""
    if case.machine.pawl:
        return "pawl"
    braked = case.machine.chain is not case.machine.braked_chain
    return "brake" if braked else ""
