"""Life of the teeth: how often a lift loads them, and how many lifts they stand where that is
known."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from winchsim.assessment.kinds import ToothLife
from winchsim.model.machine import gear_ratio, on_one_gear
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind
from winchsim.strength.materials import cycles_to_failure
from winchsim.strength.teeth import mesh_cycles


def tooth_lives(record: Record) -> tuple[ToothLife, ...]:
    """Mesh cycles of every pinion and gear in a run, and the lifts to fatigue where a line is
    known.

    Parameters
    ----------
    record : Record
        The stress in a tooth is taken as its worst of the run in every cycle; a link broken by the
        run has no life left.

    Returns
    -------
    tuple of ToothLife
        In the order of the links, from the motors on.
    """
    m = record.machine
    angle = drum_angle(record)
    found = []
    for index, link in enumerate(m.links):
        if link.channel != "mesh" or m.meshes[link.index].pinion_teeth is None:
            continue
        mesh = m.meshes[link.index]
        assert mesh.pinion_teeth is not None and mesh.gear_teeth is not None
        is_pinion = link.kind is LinkKind.TOOTH_PINION
        speed = gear_ratio(m.chain, mesh) * (
            mesh.gear_teeth / mesh.pinion_teeth if is_pinion else 1.0
        )
        met = (
            1
            if is_pinion
            else sum(m.meshes[place].pinions for place in on_one_gear(m.meshes, mesh))
        )
        cycles = float(mesh_cycles(angle * speed, met))
        assert link.material is not None
        own = link.strength
        spread = max(own.high / own.value, own.value / own.low) if own.low > 0 else math.inf
        ends = cycles_to_failure(record.demands[index].share, link.material, spread) or (None,) * 3
        low, best, high = (
            None if end is None else end / cycles if cycles else math.inf for end in ends
        )
        found.append(ToothLife(link.label, cycles, best, low, high))
    return tuple(found)


def damage(records: Iterable[Record]) -> dict[str, tuple[float, float, float]]:
    """Share of the life that unlike runs together take of each gear's teeth: low, best, high; those
    of which no line of stress over cycles is known are left out. [-]

    Parameters
    ----------
    records : iterable of Record
        Of the same build, in any order.

    References
    ----------
    Linear damage sum: M. A. Miner, Cumulative damage in fatigue, J. Appl. Mech. 12 (1945) A159-A164
    (from memory). Failure near 1; tests scatter from about 0.3 to 3.
    """
    found: dict[str, tuple[float, float, float]] = {}
    for record in records:
        for life in tooth_lives(record):
            if life.lifts is not None and life.low is not None and life.high is not None:
                ends = (1 / life.high, 1 / life.lifts, 1 / life.low)
                old = found.get(life.label, (0.0, 0.0, 0.0))
                found[life.label] = tuple(a + b for a, b in zip(old, ends, strict=True))  # type: ignore[assignment]
    return found


def drum_angle(record: Record) -> float:
    """Angle that the drum turned in a run, both ways added. [rad]"""
    if record.time.size < 2:
        return 0.0
    return float(np.trapezoid(np.abs(record["drum_speed"]), record.time))
