"""Teeth in a run: how often it loads them and how many such runs they stand, and how warm their own
friction makes those of a polymer."""

import math
from collections.abc import Iterable

import numpy as np

from winchsim.assessment.kinds import ToothLife
from winchsim.frozen import dataclass
from winchsim.model.links import ToothCase, pitch_speed, tooth_of
from winchsim.model.machine import Mesh, gear_ratio, on_one_gear
from winchsim.simulation import Record
from winchsim.strength.link import LinkKind
from winchsim.strength.materials import Material, cycles_to_failure
from winchsim.strength.teeth import FLANK_HEATING, ROOT_HEATING, friction_temperature, mesh_cycles


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
    m = record.machine
    cases = [
        (link, tooth_of(record.inputs, m.meshes[link.index], link.kind))
        for link in m.links
        if link.kind.is_tooth
    ]
    found = [
        _warmth(record, link.index, case, link.label, link.kind)
        for link, case in cases
        if not case.material.is_metal
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
