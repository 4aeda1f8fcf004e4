"""Teeth in a run: how often it loads them and how many such runs they stand, how warm their own
friction makes those of a polymer, and pairs whose shapes do not suit each other."""

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from winchsim.assessment.kinds import Finding, FindingKind, GearFlaw, ToothLife
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Stage, value_at
from winchsim.model import (
    LinkLimit,
    Machine,
    Mesh,
    contact_of,
    gear_ratio,
    on_one_gear,
    pitch_speed,
    tooth_of,
)
from winchsim.physics import gears
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind
from winchsim.strength.materials import cycles_to_failure
from winchsim.strength.teeth import FLANK_HEATING, ROOT_HEATING, friction_temperature

LEAST_CONTACT = 1.1
"""Contact ratio below which teeth pass the load on roughly. [-] Common practice, no published
source: 1.2 is asked for, 1.1 is the least."""

LEAST_CLEARANCE = 0.1
"""Room between the tips of one gear and the roots of the other below which they may touch, in
modules. [-] Common practice, no published source; the standard rack leaves 0.25."""

LEAST_TIP = 0.2
"""Thickness of a tooth at its tip below which it chips or does not print, in modules. [-] Common
practice, no published source."""

Flaw = tuple[GearFlaw, str, int, float, float]
"""What is wrong, on which side, with how many teeth, what is reached, and what should be."""


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
    m, angle = record.machine, drum_angle(record)
    found = []
    for asked, link in zip(record.demands, m.links, strict=True):
        mesh = m.meshes[link.index] if link.channel == "mesh" else None
        if mesh is None or mesh.pinion_teeth is None:
            continue
        assert mesh.gear_teeth is not None and link.material is not None
        speed = gear_ratio(m.chain, mesh)
        met = sum(m.meshes[place].pinions for place in on_one_gear(m.meshes, mesh))
        if link.kind is LinkKind.TOOTH_PINION:
            speed, met = speed * (mesh.gear_teeth / mesh.pinion_teeth), 1
        cycles, own = angle * speed / (2 * math.pi) * met, link.strength
        spread = max(own.high / own.value, own.value / own.low) if own.low > 0 else math.inf
        ends = cycles_to_failure(asked.share, link.material, spread) or (None,) * 3
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
    found: dict[str, Any] = {}
    for life in (life for record in records for life in tooth_lives(record)):
        if life.lifts is not None:
            ends = 1 / np.array([life.high, life.lifts, life.low], dtype=float)
            found[life.label] = found.get(life.label, 0.0) + ends
    return {label: tuple(ends.tolist()) for label, ends in found.items()}


def drum_angle(record: Record) -> float:
    """Angle that the drum turned in a run, both ways added. [rad]"""
    return float(np.trapezoid(np.abs(record["drum_speed"]), record.time))


@dataclass(frozen=True)
class ToothWarmth:
    """Temperatures of one polymer gear's teeth in lasting running at the mean power of the raise.

    Attributes
    ----------
    label : str
        Which pinion or gear.
    path : str
        Its stage.
    root, flank : float
        [°C]
    root_limit : float or None
        Temperature at which little strength is left; None where the table has none. [°C]
    flank_limit : float or None
        Highest temperature for lasting use, or `root_limit` where that is not known. [°C]
    material : str
        Its name.
    """

    label: str
    path: str
    root: float
    flank: float
    root_limit: float | None
    flank_limit: float | None
    material: str

    @property
    def too_warm(self) -> bool:
        """Whether root or flank passes its limit."""
        pairs = (self.root, self.root_limit), (self.flank, self.flank_limit)
        return any(limit is not None and found > limit for found, limit in pairs)


def tooth_warmth(record: Record) -> tuple[ToothWarmth, ...]:
    """Warmth of every polymer pinion and gear of a run, warmest flank first.

    Parameters
    ----------
    record : Record
        Made from a scenario; without one there are no materials, and the answer is empty.

    Notes
    -----
    The friction power of a mesh is what it carries times one less its efficiency. Steady running at
    the mean power of the raise: a short lift stays cooler. From memory of the guideline for plastic
    gears, good to a factor of two.
    """
    if record.inputs is None or not raising_time(record) > 0:
        return ()
    found = [
        _warmth(record, record.inputs, link)
        for link in record.machine.links
        if link.kind.is_tooth and link.material is not None and not link.material.is_metal
    ]
    return tuple(sorted(found, key=lambda warmth: -warmth.flank))


def raising_time(record: Record) -> float:
    """Time for which the drum raised in a run. [s]"""
    return float(_raising_weights(record).sum())


def _raising_weights(record: Record) -> np.ndarray:
    """Time that each sample stands for while the drum raises: half of the gaps on its two sides.
    [s]"""
    gaps = np.diff(record.time, prepend=record.time[0], append=record.time[-1])
    return np.convolve(gaps, [0.5, 0.5], "valid") * (record["drum_speed"] > 0)


def _warmth(record: Record, inputs: Inputs, link: LinkLimit) -> ToothWarmth:
    m, mesh = record.machine, record.machine.meshes[link.index]
    case = tooth_of(inputs, mesh, link.kind)
    weights, total = _raising_weights(record), raising_time(record)
    speed = pitch_speed(m.chain, mesh, np.abs(record["drum_speed"]))

    def lost(place: int) -> float:
        """Mean friction power that one pinion of a mesh makes. [W]"""
        carried = float((record[f"mesh_{place + 1}_force"] * speed * weights).sum()) / total
        return carried * (1 - _efficiency(m, m.meshes[place]))

    power, partner = lost(link.index), case.stage.material
    if link.kind is LinkKind.TOOTH_GEAR:  # it takes the heat of each pinion that it meets in a turn
        power = sum(m.meshes[place].pinions * lost(place) for place in on_one_gear(m.meshes, mesh))
        partner = case.stage.pinion_material or partner
    pair = "metal" if inputs.materials[partner].is_metal else "polymer"
    mean = float((speed * weights).sum()) / total
    root, flank = (
        friction_temperature(m.ambient, power, 1.0, 1.0, case.tooth, mean, table[pair])
        for table in (ROOT_HEATING, FLANK_HEATING)
    )
    own, soft = case.material, case.material.softening
    lasting = soft if own.service_limit is None else own.service_limit
    return ToothWarmth(link.label, mesh.path, float(root), float(flank), soft, lasting, own.name)


def _efficiency(m: Machine, mesh: Mesh) -> float:
    if mesh.element is not None:
        return m.chain.elements[mesh.element].forward
    assert mesh.chain_group is not None
    return m.chain.groups[mesh.chain_group].elements[-1].forward


# --- shape -------------------------------------------------------------------------------------


def gear_flaws(record: Record) -> Iterator[Finding]:
    """Pairs of gears that run roughly or jam, teeth that are undercut or pointed; those of which
    the same is to be said in one finding.

    Parameters
    ----------
    record : Record
        Made from a scenario; without one there are no shapes of teeth, and no finding.
    """
    meshes, inputs = record.machine.meshes if record.inputs else (), record.inputs
    pairs = {(m.path, m.pinion_teeth): m for m in meshes if m.pinion_teeth and m.gear_teeth}
    alike = defaultdict(list)
    for mesh in pairs.values():
        for flaw in _flaws(value_at(inputs, mesh.path), mesh):
            alike[flaw].append(mesh.path)
    for (kind, side, teeth, value, limit), paths in alike.items():
        yield Finding(
            FindingKind.GEAR_GEOMETRY,
            dict(
                paths=tuple(paths),
                flaw=kind.value,
                side=side,
                teeth=teeth,
                value=value,
                limit=limit,
            ),
        )


def _flaws(stage: Stage, mesh: Mesh) -> Iterator[Flaw]:
    pair = contact_of(stage, mesh)
    pinion, gear = mesh.pinion_teeth or 0, mesh.gear_teeth or 0
    sides = (
        ("pinion", pinion, stage.pinion_shift, pair.cut_pinion, pair.clearance1),
        ("gear", gear, stage.gear_shift, pair.cut_gear, pair.clearance2),
    )
    for side, teeth, shift, cut, room in sides:
        # As textbooks do, 17 teeth for 20 degrees.
        least = math.floor(gears.undercut_limit(stage.pressure_angle, shift=shift))
        if cut and side == "pinion":
            yield GearFlaw.CUT_BY_GEAR, side, teeth, teeth, least
        elif teeth < least:
            yield GearFlaw.UNDERCUT, side, teeth, teeth, least
        if room < LEAST_CLEARANCE - 1e-9:
            yield GearFlaw.CLEARANCE, side, teeth, float(room), LEAST_CLEARANCE
        thick = gears.tip_thickness(teeth, shift=shift, pressure_angle=stage.pressure_angle)
        if thick < LEAST_TIP:
            yield GearFlaw.TIP_THICKNESS, side, teeth, float(thick), LEAST_TIP
    if pair.ratio < LEAST_CONTACT:
        yield GearFlaw.CONTACT_RATIO, "", pinion, float(pair.ratio), LEAST_CONTACT
