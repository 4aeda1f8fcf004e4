"""Warmth of polymer teeth from their own friction, for a run: what the friction power of each mesh
makes of root and flank."""

from __future__ import annotations

import numpy as np

from winchsim.frozen import dataclass
from winchsim.model.links import ToothCase, pitch_speed, tooth_of
from winchsim.model.machine import Mesh, on_one_gear
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind
from winchsim.strength.materials import Material
from winchsim.strength.teeth import FLANK_HEATING, ROOT_HEATING, friction_temperature


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
    material : Material
    """

    label: str
    path: str
    root: float
    flank: float
    material: Material

    @property
    def root_limit(self) -> float | None:
        """Temperature at which little strength is left; None where the table has none. [°C]"""
        return self.material.softening

    @property
    def flank_limit(self) -> float | None:
        """Highest temperature for lasting use, or the softening temperature where that is not
        known. [°C]"""
        return (
            self.material.softening
            if self.material.service_limit is None
            else self.material.service_limit
        )

    @property
    def too_warm(self) -> bool:
        """Whether root or flank passes its limit."""
        root, flank = self.root_limit, self.flank_limit
        return (root is not None and self.root > root) or (flank is not None and self.flank > flank)


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
    found = []
    for link in record.machine.links:
        if not link.kind.is_tooth:
            continue
        case = tooth_of(record.inputs, record.machine.meshes[link.index], link.kind)
        if case.material.is_metal:
            continue
        found.append(_warmth(record, link.index, case, link.label, link.kind))
    return tuple(sorted(found, key=lambda warmth: -warmth.flank))


def raising_time(record: Record) -> float:
    """Time for which the drum raised in a run. [s]"""
    return float(_raising_weights(record).sum())


def _raising_weights(record: Record) -> np.ndarray:
    """Time that each sample stands for while the drum raises: half of the gaps on its two sides.
    [s]"""
    gaps = np.diff(record.time)
    weights = np.zeros(record.time.size)
    weights[:-1] += gaps / 2
    weights[1:] += gaps / 2
    return weights * (record["drum_speed"] > 0)


def _warmth(record: Record, index: int, case: ToothCase, label: str, kind: LinkKind) -> ToothWarmth:
    m = record.machine
    mesh = m.meshes[index]
    weights, total = _raising_weights(record), raising_time(record)
    speed = pitch_speed(m.chain, mesh, np.abs(record["drum_speed"]))

    def lost(place: int) -> float:
        """Mean friction power that one pinion of a mesh makes. [W]"""
        carried = float((record[f"mesh_{place + 1}_force"] * speed * weights).sum()) / total
        return carried * (1 - _efficiency(record, m.meshes[place]))

    power = lost(index)
    if kind is LinkKind.TOOTH_GEAR:  # one that meets several pinions a turn takes the heat of each
        power = sum(m.meshes[place].pinions * lost(place) for place in on_one_gear(m.meshes, mesh))
    mean, partner = float((speed * weights).sum()) / total, _partner(record, case, kind)
    root, flank = (
        friction_temperature(m.ambient, power, 1.0, 1.0, case.tooth, mean, table[partner])
        for table in (ROOT_HEATING, FLANK_HEATING)
    )
    return ToothWarmth(label, mesh.path, float(root), float(flank), case.material)


def _efficiency(record: Record, mesh: Mesh) -> float:
    chain = record.machine.chain
    if mesh.element is not None:
        return chain.elements[mesh.element].forward
    assert mesh.chain_group is not None
    return chain.groups[mesh.chain_group].elements[-1].forward


def _partner(record: Record, case: ToothCase, kind: LinkKind) -> str:
    """What the other gear of the mesh is made of, as the table of heating asks."""
    assert record.inputs is not None
    stage = case.stage
    name = (
        stage.material if kind is LinkKind.TOOTH_PINION else stage.pinion_material or stage.material
    )
    return "metal" if record.inputs.materials[name].is_metal else "polymer"
