"""The weakest-link table of a run, and the same links under the pull of the stalled motors."""

from __future__ import annotations

import math
from dataclasses import replace

from winchsim.assessment.margins import needed_current
from winchsim.model import AtLink, Machine
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import pull, raising_phase
from winchsim.model.link_demands import link_shares, stalled_channels
from winchsim.quantity_text import number, quantity
from winchsim.simulation import Record
from winchsim.strength.link import Link
from winchsim.verdict.finding import LinkRow, StallPull, StallPullRow


def weakest_links(record: Record) -> tuple[LinkRow, ...]:
    """Every link with the worst that was asked of it, the smallest factor first."""
    m = record.machine
    straight = m.drum_element + 1 == len(m.chain.elements)  # nothing but the rope's pull is on the drum
    settled = {"tension", "pull", "drum"} if straight else {"tension"}  # also while the train is held
    broke = {event.target.index for event in record.events if isinstance(event.target, AtLink)}
    rows = []
    for asked in record.demands:
        limit = m.links[asked.link]
        link = Link(
            limit.kind, limit.where, limit.strength, asked.share * limit.strength.value, limit.required,
            asked.time, asked.height, asked.bound and limit.channel not in settled,
        )  # fmt: skip
        rows.append(LinkRow(limit.label, link, asked.link, asked.link in broke))
    return tuple(sorted(rows, key=lambda row: row.link.factor))


# --- pull at stall --------------------------------------------------------------------------------------------------


def stall_pull(machine: Machine) -> StallPull:
    """What a stall or a snag asks of the links, with the current limit in force and without any.

    Parameters
    ----------
    machine : Machine

    Notes
    -----
    Static, on the layers of the lift: see `winchsim.model.link_demands.stalled_channels`.
    """
    phase = raising_phase(machine)
    limited, current = _shares(machine, phase.current_limit)
    unlimited, most = _shares(machine, math.inf)
    rows = []
    for limit, share, other in zip(machine.links, limited, unlimited, strict=True):
        link = Link(limit.kind, limit.where, limit.strength, share * limit.strength.value, limit.required)
        rows.append(StallPullRow(limit.label, link, other * limit.strength.value))
    rows.sort(key=lambda row: row.link.factor)
    needed = needed_current(machine, at_rest=machine.start_travel > 0)
    safe = _safe_current(machine, most) if max(unlimited, default=0.0) > 1 else None
    bare = StallPull(tuple(rows), current, most, needed, safe, "")
    return replace(bare, sentence=_sentence(bare))


def _shares(machine: Machine, current_limit: float) -> tuple[list[float], float]:
    """Share of each link's strength at zero speed under a current limit, and the current of the supply. [-], [A]"""
    m = machine
    phase = replace(raising_phase(m), current_limit=current_limit)
    windings = [g.winding_start for g in m.groups]
    held = DriveLaw(m, phase, windings, [m.ambient] * len(m.groups)).drive(0.0)
    radii = [m.layers[i].radius for i in m.layers_used]
    at = stalled_channels(m, held.torques, pull(m, m.start_travel, m.breakaway), max(radii), min(radii))
    return [float(share) for share in link_shares(m, at)], held.total


def _safe_current(machine: Machine, most: float) -> float:
    """Largest current limit under which no link breaks. [A]"""
    low, high = 0.0, most
    for _ in range(40):
        middle = (low + high) / 2
        if max(_shares(machine, middle)[0]) > 1:
            high = middle
        else:
            low = middle
    return low


def _sentence(found: StallPull) -> str:
    if not found.rows:
        return "Nothing is known of what any link bears."
    worst = found.rows[0]
    if worst.link.factor >= 1:
        margin = f"the {worst.label} bears {number(worst.link.factor, 2)} times their pull at stall"
        if found.safe_current is None:
            return f"The motors stall before any link breaks: {margin}."
        broken = min(found.rows, key=lambda row: row.unlimited_factor)
        return (
            f"The current limit keeps the motors from breaking a link: {margin}; without the limit they could break "
            f"the {broken.label}."
        )
    text = f"The motors can break the {worst.label} before they stall"
    if found.safe_current is None or found.needed_current is None:
        return text + "."
    if found.safe_current <= found.needed_current:
        return (
            f"{text}; no current limit prevents that, because raising the load alone takes "
            f"{quantity(found.needed_current, 'A')}."
        )
    return (
        f"{text}; a current limit of {quantity(found.safe_current, 'A')} would prevent it, and raising the load "
        f"takes {quantity(found.needed_current, 'A')}."
    )
