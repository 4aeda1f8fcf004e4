"""From the stages of a scenario to the elements of the chain: ratios, losses, drags and inertias,
stage by stage."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.elementwise import by_value, larger
from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Stage
from winchsim.model.assumptions import Notebook
from winchsim.model.machine import DriveGroup, Mesh, bracketed
from winchsim.model.reductions import Reduction, pinion_material_name, reduction, unroll
from winchsim.model.shaft_losses import (
    drum_bearings,
    motor_bearings,
    shaft_bearings,
    shaft_drags,
)
from winchsim.physics import drum as drum_room
from winchsim.physics import gears, rope
from winchsim.physics.bearings import ring_share
from winchsim.physics.chain import Chain, Element, GroupMesh, factors, reverse_of
from winchsim.physics.worm import Locking
from winchsim.strength.materials import Material
from winchsim.strength.printed import DEFAULT_WALLS, PrintedBody, fill_share

MOTOR_BEARINGS = "motor bearings"


@dataclass(frozen=True)
class Train:
    """Chain with and without the brake gripping, and where each reduction sits in it.

    Attributes
    ----------
    chain, braked : Chain
        The same where there is no brake.
    drum_element : int
        Which element of the chain is the drum's bearings.
    meshes : tuple of Mesh
        Every reduction as the links see it.
    reductions : tuple of Reduction
        From the motors of the first group to the drum.
    gearbox_element : int or None
        Which element is the gearbox on a single group's motors; None where there is none or several
        groups have their own.
    """

    chain: Chain
    braked: Chain
    drum_element: int
    meshes: tuple[Mesh, ...]
    reductions: tuple[Reduction, ...]
    gearbox_element: int | None


def printed_body(stage: Stage, material: Material) -> PrintedBody | None:
    """How a stage's gears were printed; None where they are solid."""
    if material.family != "printed polymer" or (stage.walls is None and stage.infill is None):
        return None
    infill = 1.0 if stage.infill is None else stage.infill
    walls = DEFAULT_WALLS if stage.walls is None else stage.walls
    return PrintedBody(walls, stage.line_width, infill, stage.print_direction)  # type: ignore[arg-type]


def build_train(inputs: Inputs, units: Sequence[DriveGroup], notebook: Notebook) -> Train:
    """Chain of a scenario: the groups' meshes, the stages with their shafts, the drum, and what the
    rope runs over.

    Parameters
    ----------
    inputs : Inputs
    units : sequence of DriveGroup
        The running motors first.
    notebook : Notebook
    """
    live = [unit for unit in units if unit.runs]
    first_group = inputs.motors[live[0].number - 1]
    single = len(units) == 1
    least = -math.inf if single else 1 - LEAST_SHARE / inputs.settings.breakaway
    own = [_first_reduction(inputs, unit, least, notebook) for unit in units]
    reductions = unroll(inputs, first_group, notebook, _free_speed(inputs, live[0]))
    carried = [motor_bearings(inputs, unit, notebook) for unit in units]
    meshes = [_group_mesh(inputs, *parts, least) for parts in zip(units, own, carried, strict=True)]
    inertias = _shaft_inertias(inputs, reductions, notebook)
    ring = ring_share(
        sum(unit.count for unit in live), sum(unit.count for unit in units[len(live) :])
    )
    row = _Row(
        reductions, inertias, shaft_drags(inputs, reductions, live, notebook),
        shaft_bearings(inputs, reductions, ring, notebook), inputs.settings.breakaway,
    )  # fmt: skip
    if inputs.brake is not None and inputs.brake.place == "motor":
        if not single:
            raise DomainError(
                "brake.place",
                "motor",
                "drum, where several groups or dead motors share the common gear",
            )
        row.add_brake()
    pinions = [
        u.count * _pinion_inertia(inputs, r) if u.fit.output.geared else 0.0
        for u, r in zip(units, own, strict=True)
    ]
    if single:
        row.add_front(meshes[0].elements, pinions[0])
    row.add_stages()
    if inputs.brake is not None and inputs.brake.place == "drum":
        row.add_brake()
    carries = drum_bearings(inputs, reductions, notebook)
    # Without a reduction no shaft before it carries the drum.
    row.add_drum(inputs.drum.drag, carries, 0.0 if reductions else drum_inertia(inputs, notebook))
    row.elements += _rope_side(inputs, notebook)
    if single:
        chain = Chain((GroupMesh((), meshes[0].inertia),), 0.0, tuple(row.elements))
    else:
        _refuse_locking_at_rest(units, meshes, inputs.settings.breakaway)
        turned = sum(_on_common_gear(*row) for row in zip(units, meshes, pinions, strict=True))
        chain = Chain(
            tuple(meshes), turned + (inertias[0] if reductions else 0.0), tuple(row.elements)
        )
    places = _mesh_places(reductions, units, own, row.meshes)
    return Train(chain, row.braked(chain, inputs), row.drum, places, reductions, row.gearbox)


def _on_common_gear(unit: DriveGroup, mesh: GroupMesh, inertia: float) -> float:
    """Inertia of pinions behind gearboxes as the common gear feels it through their mesh while
    raising: running motors drive it, dead ones are driven. Where the power goes the other way it is
    kept as it is for raising. [kg·m²]"""
    for e in mesh.elements[1:]:
        through = e.forward if unit.runs else 1 / e.reverse
        inertia = inertia * e.ratio**2 * through
    return inertia


def _refuse_locking_at_rest(
    units: Sequence[DriveGroup], meshes: list[GroupMesh], breakaway: float
) -> None:
    """Refuse groups side by side of which one locks when at rest by what is given: what the others
    have to hold is then undetermined."""
    for unit, mesh in zip(units, meshes, strict=True):
        own = f"motors.{unit.number}"
        paths = {
            "motor friction": f"{own}.reverse_efficiency",
            "motor and gearbox": f"{own}.gearbox.reverse_efficiency",
        }
        for e in mesh.elements:
            if np.any(factors(e, breakaway, -1)[1] <= 0):
                raise DomainError(
                    paths.get(e.name, "stage.1.reverse_efficiency"),
                    e.reverse,
                    f"over {1 - 1 / breakaway:.3g} where several motor groups share the common "
                    f"gear (at rest the losses are {breakaway:g} times as large)",
                )


class _Row:
    """Elements of a chain in the making, from the motors to the rope, and where the ones that
    matter sit.

    A shaft's drag acts at the input of the next element; it waits in `drag` until that is added.
    """

    def __init__(
        self,
        reductions: tuple[Reduction, ...],
        inertias: list[float],
        drags: list[float],
        bearings: list[Any],
        breakaway: float,
    ) -> None:
        self.breakaway = breakaway
        self.reductions = reductions
        self.inertias = inertias
        self.drags = drags
        self.bearings = bearings
        self.elements: list[Element] = []
        self.meshes: dict[int, int] = {}
        self.gearbox: int | None = None
        self.brake: int | None = None
        self.drum = 0
        self.drag = 0.0

    def _add(
        self,
        name: str,
        ratio: float,
        forward: Any,
        reverse: Any,
        inertia: float = 0.0,
        rest: tuple[float, float] | None = None,
    ) -> int:
        self.elements.append(Element(name, ratio, forward, reverse, self.drag, inertia, rest=rest))
        self.drag = 0.0
        return len(self.elements) - 1

    def _add_mesh(self, index: int) -> None:
        self.meshes[index] = len(self.elements)
        self.elements.append(
            replace(
                _mesh_element(self.reductions[index]), drag=self.drag, inertia=self.inertias[index]
            )
        )
        self.drag = 0.0

    def _add_bearings(self, index: int) -> None:
        self.drag += self.drags[index]
        e = self.bearings[index]
        if e is not None:
            self._add(
                f"bearings of {bracketed(self.reductions[index].label)}", 1.0, e, reverse_of(e)
            )

    def add_front(self, front: tuple[Element, ...], pinions: float) -> None:
        """What a single group's motors drive the first gear through, as ordinary elements; their
        drag is the first's.

        Behind a gearbox the pinions turn with its output; without one their inertia is part of the
        rotors'.
        """
        self.gearbox = len(self.elements)
        self.elements += [replace(front[0], inertia=pinions), *front[1:]]
        if self.reductions:
            self.meshes[0] = len(self.elements) - 1
            self.elements[-1] = replace(self.elements[-1], inertia=self.inertias[0])

    def add_stages(self) -> None:
        """Reductions behind the common gear, each with its output shaft's bearings."""
        for index in range(len(self.reductions)):
            if index > 0:
                self._add_mesh(index)
            self._add_bearings(index)

    def add_brake(self) -> None:
        """Place of a brake, open."""
        self.brake = len(self.elements)
        self.elements.append(Element("brake", 1.0, 1.0, 1.0, grows_at_rest=(0.0, 0.0)))

    def add_drum(self, drag: float, efficiency: Any, inertia: float) -> None:
        """Bearings of the drum."""
        self.drag += drag
        self.drum = self._add("drum bearings", 1.0, efficiency, reverse_of(efficiency), inertia)

    def braked(self, chain: Chain, inputs: Inputs) -> Chain:
        """The chain with its brake gripping."""
        if self.brake is None or inputs.brake is None:
            return chain
        gripping = replace(self.elements[self.brake], drag=inputs.brake.torque)
        return replace(
            chain,
            elements=(*chain.elements[: self.brake], gripping, *chain.elements[self.brake + 1 :]),
        )


def _free_speed(inputs: Inputs, group: DriveGroup) -> float:
    """Speed without load behind the motors and their gearbox. [rad/s]"""
    return inputs.supply.voltage / group.motor.constant / group.fit.output.ratio


def _group_mesh(
    inputs: Inputs,
    unit: DriveGroup,
    first: Reduction | None,
    bearings: float,
    least: float,
) -> GroupMesh:
    count, geared, breakaway = unit.count, unit.fit.output.geared, inputs.settings.breakaway
    name = "motor and gearbox" if geared else "motor friction"
    found = [
        Element(
            name,
            *_box(unit, breakaway),
            count * unit.motor.drag,
            grows_at_rest=_growth(unit, breakaway),
        )
    ]
    if bearings < 1:
        found.append(Element(MOTOR_BEARINGS, 1.0, bearings, max(reverse_of(bearings), least)))
    if first is not None:
        found.append(_mesh_element(first))
    return GroupMesh(
        tuple(found),
        count * (unit.motor.inertia + (0.0 if geared else _pinion_inertia(inputs, first))),
    )


def _mesh_element(r: Reduction) -> Element:
    return Element(f"mesh of {bracketed(r.label)}", r.ratio, r.forward, r.reverse, rest=r.rest)


def _growth(unit: DriveGroup, breakaway: float) -> tuple[float, float]:
    """Shares of the growth of friction at rest that a motor's losses take: raising, what its data
    leave open; back, all. [-]"""
    return min(1.0, (unit.fit.breakaway - 1.0) / (breakaway - 1.0)) if breakaway > 1.0 else 0.0, 1.0


def _box(unit: DriveGroup, breakaway: float) -> tuple[float, float, float]:
    """Ratio and efficiencies behind a motor's drag; a reverse efficiency that is only assumed locks
    nothing at rest. [-]"""
    found = unit.fit.output
    reverse = found.reverse if unit.runs else found.dragged
    if found.given_reverse is None:
        reverse = max(reverse, 1 - LEAST_SHARE / breakaway)
    return found.ratio, found.efficiency, reverse


LEAST_SHARE = 0.95
"""An assumed loss of a motor, or of what one of several groups drives the common gear through,
takes no more than this of what passes back at rest. [-] Own choice: a group that locks leaves open
what the others have to hold."""


def _pinion_inertia(inputs: Inputs, reduction: Reduction | None) -> float:
    if reduction is None or reduction.module is None or reduction.pinion_teeth is None:
        return 0.0
    stage = reduction.stage
    width = stage.width if stage.pinion_width is None else stage.pinion_width
    if width is None:
        return 0.0

    def of_one(name: str, teeth: int, module: float, width: float) -> float:
        material = inputs.materials.get(name)
        density = 0.0 if material is None else material.density
        return gears.gear_inertia(teeth, module, width, density)

    name = pinion_material_name(stage)
    return by_value(of_one, name, reduction.pinion_teeth, reduction.module, width)


def _shaft_inertias(
    inputs: Inputs, reductions: tuple[Reduction, ...], notebook: Notebook
) -> list[float]:
    """Inertia of the output shaft of each reduction: its gear, the next pinion, and on the last one
    the drum."""
    found = []
    for i, r in enumerate(reductions):
        if r.stage.inertia is not None:
            total = r.stage.inertia
        else:
            total = _gear_inertia(inputs, r, notebook)
            if i + 1 < len(reductions):
                total += _pinion_inertia(inputs, reductions[i + 1])
        if i + 1 == len(reductions):
            total += drum_inertia(inputs, notebook)
        found.append(total)
    return found


def _gear_inertia(inputs: Inputs, r: Reduction, notebook: Notebook) -> float:
    stage = r.stage
    if r.module is None or stage.gear is None or stage.width is None:
        return 0.0
    bore = stage.gear_bore

    def of_one(name: str, teeth: int, module: float, width: float) -> float:
        material = notebook.material(inputs, name, f"{r.path}.material")
        body = printed_body(stage, material)
        if bore >= teeth * module:
            raise DomainError(f"{r.path}.bore", bore, "a bore smaller than the gear")
        fill = 1.0 if body is None else fill_share(teeth * module, bore, body)
        return gears.gear_inertia(teeth, module, width, material.density, bore, fill)

    return by_value(of_one, stage.material, stage.gear, r.module, stage.width)


def drum_inertia(inputs: Inputs, notebook: Notebook) -> float:
    """Inertia of the drum, from its core where it is not given. [kg·m²]"""
    d = inputs.drum
    if d.inertia is not None:
        return d.inertia
    density = notebook.material(inputs, d.material, "drum.material").density
    value = drum_room.rod_inertia(d.diameter, d.width, density)
    return notebook.assume("drum.inertia", value, why=f"a solid core of {d.material}")


def _rope_side(inputs: Inputs, notebook: Notebook) -> list[Element]:
    """What the rope runs over, from the drum to the load."""
    found = []
    for number, sheave in enumerate(inputs.sheave, start=1):
        reverse = (
            reverse_of(sheave.efficiency)
            if sheave.reverse_efficiency is None
            else sheave.reverse_efficiency
        )
        found += [Element(f"sheave {number}", 1.0, sheave.efficiency, reverse)] * sheave.repeat
    for number, edge in enumerate(inputs.edge, start=1):
        kept = rope.edge_efficiency(edge.friction, edge.angle)
        found.append(Element(f"edge {number}", 1.0, kept, kept))
    if inputs.rope.falls > 1:
        path = "rope.sheave_efficiency"
        sheave_e = notebook.assume(path, inputs.rope.sheave_efficiency, why="default")
        back = reverse_of(sheave_e)
        if back <= 0:
            raise DomainError(path, sheave_e, "over 0.5: below it the tackle locks itself")
        forward = rope.tackle_efficiency(inputs.rope.falls, sheave_e)
        found.append(
            Element("tackle", 1.0, forward, rope.tackle_reverse_efficiency(inputs.rope.falls, back))
        )
    return found


def _first_reduction(
    inputs: Inputs, unit: DriveGroup, least: float, notebook: Notebook
) -> Reduction | None:
    """The reduction that a group's own pinion makes with the common gear; its reverse efficiency,
    unless it is given, is at least this."""
    if not inputs.stage:
        return None
    r = reduction(inputs, inputs.motors[unit.number - 1], 1, 0, Notebook())
    at_rest = 1 - LEAST_SHARE
    passes = np.all(r.reverse >= least) and (r.rest is None or r.rest[1] >= at_rest)
    if least < 0 or passes or r.stage.reverse_efficiency is not None:
        return r
    why = "the least that is not self-locking beside other groups, up to the root of the efficiency"
    found = replace(
        r, reverse=larger(r.reverse, least), rest=r.rest and (r.rest[0], max(r.rest[1], at_rest)),
        locking=r.locking and Locking.UNCERTAIN,
    )  # fmt: skip
    notebook.assume(
        f"{r.path}.reverse_efficiency",
        found.reverse,
        found.reverse,
        larger(found.reverse, r.forward**0.5),
        why=why,
    )
    return found


def _mesh_places(
    reductions: tuple[Reduction, ...],
    units: Sequence[DriveGroup],
    own: list[Reduction | None],
    places: dict[int, int],
) -> tuple[Mesh, ...]:
    found = []
    if 0 not in places:
        for k, (unit, r) in enumerate(zip(units, own, strict=True)):
            if unit.runs and r is not None:
                label = f"{r.label}, group {unit.number}"
                found.append(
                    Mesh(
                        r.path,
                        label,
                        None,
                        k,
                        unit.count,
                        r.pinion_teeth,
                        r.gear_teeth,
                        r.module,
                        r.locking,
                    )
                )
    for i, r in enumerate(reductions):
        if i in places:
            pinions = units[0].count if i == 0 else 1
            teeth = r.pinion_teeth, r.gear_teeth
            found.append(
                Mesh(r.path, r.label, places[i], None, pinions, *teeth, r.module, r.locking)
            )
    return tuple(found)
