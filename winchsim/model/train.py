"""From the stages of a scenario to the elements of the chain: ratios, losses, drags and inertias,
stage by stage."""

import math
from collections.abc import Sequence

import numpy as np

from winchsim.elementwise import by_value, larger
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Stage, spec_at
from winchsim.model.assumptions import Assumptions, look_up
from winchsim.model.machine import DriveGroup, Mesh, bracketed
from winchsim.model.reductions import Reduction, pinion_material_name, reduction, unroll
from winchsim.model.shaft_losses import (
    drum_bearings,
    motor_bearings,
    shaft_bearings,
    shaft_drags,
)
from winchsim.physics import gears, rope
from winchsim.physics.bearings import ring_share
from winchsim.physics.chain import Chain, Element, GroupMesh, factors, reverse_of
from winchsim.physics.worm import Locking
from winchsim.strength.materials import Material
from winchsim.strength.printed import DEFAULT_WALLS, PrintedBody, fill_share

OPEN_BRAKE = Element("brake", 1.0, 1.0, 1.0, grows_at_rest=(0.0, 0.0))
"""A brake that does not grip, wherever it sits in a chain."""


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


def build_train(inputs: Inputs, units: Sequence[DriveGroup], assumptions: Assumptions) -> Train:
    """Chain of a scenario: the groups' meshes, the stages with their shafts, the drum, and what the
    rope runs over.

    Parameters
    ----------
    inputs : Inputs
    units : sequence of DriveGroup
        The running motors first.
    assumptions : Assumptions
    """
    first = units[0]
    single = len(units) == 1
    brake = _brake_place(inputs, single)
    least = -math.inf if single else 1 - LEAST_SHARE / inputs.settings.breakaway
    own = [_first_reduction(inputs, unit, least, assumptions) for unit in units]
    reductions = unroll(
        inputs,
        inputs.motors[first.number - 1],
        assumptions,
        inputs.supply.voltage / first.motor.constant / first.fit.output.ratio,
    )
    meshes = [
        _group_mesh(inputs, unit, mesh, motor_bearings(inputs, unit, assumptions), least)
        for unit, mesh in zip(units, own, strict=True)
    ]
    inertias = _shaft_inertias(inputs, reductions, assumptions)
    pinions = [
        u.count * _pinion_inertia(inputs, r) if u.fit.output.geared else 0.0
        for u, r in zip(units, own, strict=True)
    ]
    elements, at = [OPEN_BRAKE] if brake == "motor" else [], {}
    gearbox = len(elements) if single else None
    if single:
        # Behind a gearbox the pinions turn with its output; else they are part of the rotors.
        front, *others = meshes[0].elements
        elements += [replace(front, inertia=pinions[0]), *others]
        if reductions:
            at[0] = len(elements) - 1
            elements[-1] = replace(elements[-1], inertia=inertias[0])
    drag = _add_stages(inputs, elements, at, units, reductions, inertias, assumptions)
    if brake == "drum":
        elements.append(OPEN_BRAKE)
    drum = len(elements)
    elements.append(_drum_element(inputs, reductions, drag, assumptions))
    elements += _rope_side(inputs, assumptions)
    if single:
        chain = Chain((GroupMesh((), meshes[0].inertia),), 0.0, tuple(elements))
    else:
        _refuse_locking_at_rest(units, meshes, inputs.settings.breakaway)
        turned = sum(_on_common_gear(*row) for row in zip(units, meshes, pinions, strict=True))
        turned += inertias[0] if reductions else 0.0
        chain = Chain(tuple(meshes), turned, tuple(elements))
    braked = chain if inputs.brake is None else _gripped(chain, inputs.brake.torque)
    return Train(chain, braked, drum, _meshes(reductions, units, own, at), reductions, gearbox)


def _brake_place(inputs: Inputs, single: bool) -> str:
    """Where the brake sits, empty for none; refused where it cannot."""
    place = "" if inputs.brake is None else inputs.brake.place
    refuse_if(
        place == "motor" and not single,
        "brake.place",
        place,
        "drum, where several groups or dead motors share the common gear",
    )
    return place


def _gripped(chain: Chain, torque: float) -> Chain:
    """The chain with its brake gripping at a torque. [N·m]"""
    elements = (replace(OPEN_BRAKE, drag=torque) if e is OPEN_BRAKE else e for e in chain.elements)
    return replace(chain, elements=tuple(elements))


def _drum_element(
    inputs: Inputs, reductions: tuple[Reduction, ...], drag: float, assumptions: Assumptions
) -> Element:
    """Bearings of the drum, with the drag of the shafts before them.

    Without a reduction no shaft before it carries the drum.
    """
    carries = drum_bearings(inputs, reductions, assumptions)
    return Element(
        "drum bearings",
        1.0,
        carries,
        reverse_of(carries),
        drag + inputs.drum.drag,
        0.0 if reductions else drum_inertia(inputs, assumptions),
    )


def _add_stages(
    inputs: Inputs,
    elements: list[Element],
    at: dict[int, int],
    units: Sequence[DriveGroup],
    reductions: tuple[Reduction, ...],
    inertias: list[float],
    assumptions: Assumptions,
) -> float:
    """Add the reductions behind the common gear, noting the element of each, every one with its
    output shaft's bearings; the drag of the last shaft.

    A shaft's drag acts at the input of the next element. [N·m]
    """
    live = [unit for unit in units if unit.runs]
    ring = ring_share(
        sum(unit.count for unit in live), sum(unit.count for unit in units[len(live) :])
    )
    drags = shaft_drags(inputs, reductions, live, assumptions)
    bearings = shaft_bearings(inputs, reductions, ring, assumptions)
    drag = 0.0
    for index, (r, efficiency) in enumerate(zip(reductions, bearings, strict=True)):
        if index > 0:
            at[index] = len(elements)
            elements.append(replace(_mesh_element(r), drag=drag, inertia=inertias[index]))
            drag = 0.0
        drag += drags[index]
        if efficiency is not None:
            elements.append(
                Element(
                    f"bearings of {bracketed(r.label)}",
                    1.0,
                    efficiency,
                    reverse_of(efficiency),
                    drag,
                )
            )
            drag = 0.0
    return drag


def _on_common_gear(unit: DriveGroup, mesh: GroupMesh, inertia: float) -> float:
    """Inertia of pinions behind gearboxes as the common gear feels it through their mesh while
    raising: running motors drive it, dead ones are driven. Where the power goes the other way it is
    kept as it is for raising. [kg·m²]"""
    for e in mesh.elements[1:]:
        inertia = inertia * e.ratio**2 * (e.forward if unit.runs else 1 / e.reverse)
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


def _group_mesh(
    inputs: Inputs,
    unit: DriveGroup,
    first: Reduction | None,
    bearings: float,
    least: float,
) -> GroupMesh:
    count, output, breakaway = unit.count, unit.fit.output, inputs.settings.breakaway
    reverse = output.reverse if unit.runs else output.dragged
    if output.given_reverse is None:  # only assumed: it locks nothing at rest
        reverse = max(reverse, 1 - LEAST_SHARE / breakaway)
    # Raising, its losses grow at rest by what its data leave open; back, as all others do.
    raising = min(1.0, (unit.fit.breakaway - 1.0) / (breakaway - 1.0)) if breakaway > 1.0 else 0.0
    found = [
        Element(
            "motor and gearbox" if output.geared else "motor friction",
            output.ratio,
            output.efficiency,
            reverse,
            count * unit.motor.drag,
            grows_at_rest=(raising, 1.0),
        )
    ]
    if bearings < 1:
        found.append(Element("motor bearings", 1.0, bearings, max(reverse_of(bearings), least)))
    if first is not None:
        found.append(_mesh_element(first))
    return GroupMesh(
        tuple(found),
        count * (unit.motor.inertia + (0.0 if output.geared else _pinion_inertia(inputs, first))),
    )


def _mesh_element(r: Reduction) -> Element:
    return Element(f"mesh of {bracketed(r.label)}", r.ratio, r.forward, r.reverse, rest=r.rest)


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
        return gears.gear_inertia(
            teeth, module, width, 0.0 if material is None else material.density
        )

    return by_value(
        of_one, pinion_material_name(stage), reduction.pinion_teeth, reduction.module, width
    )


def _shaft_inertias(
    inputs: Inputs, reductions: tuple[Reduction, ...], assumptions: Assumptions
) -> list[float]:
    """Inertia of the output shaft of each reduction: its gear, the next pinion, and on the last one
    the drum."""
    found = []
    for i, r in enumerate(reductions):
        if r.stage.inertia is not None:
            total = r.stage.inertia
        else:
            total = _gear_inertia(inputs, r)
            if i + 1 < len(reductions):
                total += _pinion_inertia(inputs, reductions[i + 1])
        if i + 1 == len(reductions):
            total += drum_inertia(inputs, assumptions)
        found.append(total)
    return found


def _gear_inertia(inputs: Inputs, r: Reduction) -> float:
    stage = r.stage
    if r.module is None or stage.gear is None or stage.width is None:
        return 0.0
    bore = stage.gear_bore

    def of_one(name: str, teeth: int, module: float, width: float) -> float:
        material = look_up(inputs.materials, name, f"{r.path}.material")
        body = printed_body(stage, material)
        if bore >= teeth * module:
            raise DomainError(f"{r.path}.bore", bore, "a bore smaller than the gear")
        return gears.gear_inertia(
            teeth,
            module,
            width,
            material.density,
            bore,
            1.0 if body is None else fill_share(teeth * module, bore, body),
        )

    return by_value(of_one, stage.material, stage.gear, r.module, stage.width)


def drum_inertia(inputs: Inputs, assumptions: Assumptions) -> float:
    """Inertia of the drum, from its core where it is not given. [kg·m²]"""
    d = inputs.drum
    density = look_up(inputs.materials, d.material, "drum.material").density
    core = gears.disc_inertia(d.diameter, 0.0, d.width, density)
    return assumptions.fill_in(d.inertia, "drum.inertia", core, why=f"a solid core of {d.material}")


def _rope_side(inputs: Inputs, assumptions: Assumptions) -> list[Element]:
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
        low, high, why = spec_at(inputs, path).assumed or (None, None, "")
        sheave_e = assumptions.assume(path, inputs.rope.sheave_efficiency, low, high, why=why)
        back = reverse_of(sheave_e)
        refuse_if(back <= 0, path, sheave_e, "over 0.5: below it the tackle locks itself")
        found.append(
            Element(
                "tackle",
                1.0,
                rope.tackle_efficiency(inputs.rope.falls, sheave_e),
                rope.tackle_reverse_efficiency(inputs.rope.falls, back),
            )
        )
    return found


def _first_reduction(
    inputs: Inputs, unit: DriveGroup, least: float, assumptions: Assumptions
) -> Reduction | None:
    """The reduction that a group's own pinion makes with the common gear; its reverse efficiency,
    unless it is given, is at least this."""
    if not inputs.stage:
        return None
    r = reduction(inputs, inputs.motors[unit.number - 1], 1, 0, Assumptions())
    at_rest = 1 - LEAST_SHARE
    passes = np.all(r.reverse >= least) and (r.rest is None or r.rest[1] >= at_rest)
    if least < 0 or passes or r.stage.reverse_efficiency is not None:
        return r
    why = "the least that is not self-locking beside other groups, up to the root of the efficiency"
    found = replace(
        r,
        reverse=larger(r.reverse, least),
        rest=r.rest and (r.rest[0], max(r.rest[1], at_rest)),
        locking=r.locking and Locking.UNCERTAIN,
    )
    assumptions.assume(
        f"{r.path}.reverse_efficiency",
        found.reverse,
        found.reverse,
        larger(found.reverse, r.forward**0.5),
        why=why,
    )
    return found


def _meshes(
    reductions: tuple[Reduction, ...],
    units: Sequence[DriveGroup],
    own: Sequence[Reduction | None],
    at: dict[int, int],
) -> tuple[Mesh, ...]:
    """Every reduction as the links see it; `at` holds the elements of those that are some."""

    def mesh(r: Reduction, label: str, place: int | None, group: int | None, pinions: int) -> Mesh:
        return Mesh(
            r.path,
            label,
            place,
            group,
            pinions,
            r.pinion_teeth,
            r.gear_teeth,
            r.module,
            r.locking,
        )

    common = [
        mesh(r, f"{r.label}, group {unit.number}", None, group, unit.count)
        for group, (unit, r) in enumerate(zip(units, own, strict=True))
        if unit.runs and r is not None and 0 not in at
    ]
    pinions = {0: units[0].count}
    return (
        *common,
        *(
            mesh(reductions[i], reductions[i].label, place, None, pinions.get(i, 1))
            for i, place in at.items()
        ),
    )
