"""The links of a built winch: what each bears, and the channel that its demand is read from."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from winchsim.errors import DomainError
from winchsim.inputs import Inputs, Stage
from winchsim.model.assumptions import Notebook
from winchsim.model.machine import LinkLimit, Mesh, gear_ratio
from winchsim.model.train import Reduction, Train, module_of, pinion_material_name, printed_body
from winchsim.physics import gears
from winchsim.physics.drum import Layer
from winchsim.strength import line, shafts, teeth
from winchsim.strength.link import LinkKind, Strength
from winchsim.strength.materials import Material


def build_links(
    inputs: Inputs, train: Train, layers: tuple[Layer, ...], no_load_drum: float, notebook: Notebook
) -> tuple[LinkLimit, ...]:
    """Every link that a scenario says enough of to judge.

    Parameters
    ----------
    inputs : Inputs
    train : Train
    layers : tuple of Layer
    no_load_drum : float
        Speed of the drum with no load: what velocity factors are taken at. [rad/s]
    notebook : Notebook
        Takes what is assumed.
    """
    found: list[LinkLimit] = []
    by_path = {r.path: r for r in train.reductions}
    for index, mesh in enumerate(train.meshes):
        reduction = by_path[mesh.path]
        if reduction.stage.kind == "spur":
            found += _teeth(inputs, reduction, mesh, index, _pitch_speed(train, mesh, no_load_drum), notebook)
    outputs = _output_shafts(train)
    for output in outputs:
        found += _stage_limit(output)
    found += _shafts(inputs, outputs, notebook)
    found += _gearboxes(inputs, train)
    found += drum_links(inputs, layers, notebook)
    found += _rope_links(inputs, train, notebook)
    return tuple(found)


def _given(value: float, unit: str) -> Strength:
    return Strength(value, unit, "given", value, value)


def _pitch_speed(train: Train, mesh: Mesh, no_load_drum: float) -> float:
    """Pitch-line speed of a spur mesh with no load on the hook. [m/s]"""
    assert mesh.gear_teeth is not None and mesh.module is not None
    return no_load_drum * gear_ratio(train.chain, mesh) * mesh.gear_teeth * mesh.module / 2


def _teeth(inputs: Inputs, r: Reduction, mesh: Mesh, index: int, speed: float, notebook: Notebook) -> list[LinkLimit]:
    stage, module = r.stage, module_of(r.stage)
    assert module is not None and stage.width is not None and mesh.pinion_teeth is not None and stage.gear is not None
    width = min(stage.width, stage.pinion_width or stage.width)
    contact = gears.contact(
        mesh.pinion_teeth, stage.gear,
        pressure_angle=stage.pressure_angle, shift1=stage.pinion_shift, shift2=stage.gear_shift,
    )  # fmt: skip
    found = []
    for kind, count, shift, bore, name in (
        (LinkKind.TOOTH_PINION, mesh.pinion_teeth, stage.pinion_shift, 0.0, pinion_material_name(stage)),
        (LinkKind.TOOTH_GEAR, stage.gear, stage.gear_shift, stage.bore or stage.shaft_diameter or 0.0, stage.material),
    ):
        key = "pinion_material" if kind is LinkKind.TOOTH_PINION and stage.pinion_material else "material"
        material = notebook.material(inputs, name, f"{r.path}.{key}")
        tooth = _tooth_strength(inputs, r, count, module, width, bore, shift, material, float(contact.ratio))
        scale = float(teeth.dynamic_factor(material, speed, stage.application_factor))
        side = "pinion" if kind is LinkKind.TOOTH_PINION else "gear"
        found.append(
            LinkLimit(
                kind,
                r.path,
                f"{mesh.label}, {side} tooth",
                "mesh",
                index,
                scale,
                tooth.as_strength(),
                inputs.factors.tooth,
                tooth.stress * tooth.temperature_factor,
                material.fatigue_line,
            )
        )
    return found


def _tooth_strength(
    inputs: Inputs, r: Reduction, count: int, module: float, width: float, bore: float, shift: float,
    material: Material, contact_ratio: float,
) -> teeth.ToothStrength:  # fmt: skip
    stage = r.stage
    try:
        tooth = teeth.Tooth(count, module, width, bore, stage.pressure_angle, shift)
        return teeth.tooth_strength(
            tooth,
            material,
            body=printed_body(stage, material),
            temperature=max(inputs.settings.ambient, teeth.TEST_TEMPERATURE),
            contact_ratio=contact_ratio,
            breaking_stress=stage.tooth_strength,
            tested_force=stage.tested_tooth_force,
        )
    except DomainError as error:
        raise DomainError(f"{r.path}.{_key_of(error)}", error.value, error.expected) from error


def _key_of(error: DomainError) -> str:
    key = error.argument.replace(" ", "_")
    return key if key in ("walls", "infill", "bore", "print_direction", "pinion_shift", "gear_shift") else "gear"


class _OutputShaft(NamedTuple):
    """Output shaft of a reduction: a mesh whose gear it carries, the one that it drives, and where its torque is read from."""

    reduction: Reduction
    mesh: Mesh
    following: Mesh | None
    channel: str
    place: int


def _output_shafts(train: Train) -> list[_OutputShaft]:
    """One for each reduction; that of the common gear carries what all groups give it."""
    behind = [mesh for mesh in train.meshes if mesh.element is not None]
    firsts = [*[mesh for mesh in train.meshes if mesh.element is None][:1], *behind]
    found = []
    for place, (r, mesh) in enumerate(zip(train.reductions, firsts, strict=True)):
        following = firsts[place + 1] if place + 1 < len(firsts) else None
        channel, index = ("common", 0) if mesh.element is None else ("output", mesh.element)
        found.append(_OutputShaft(r, mesh, following, channel, index))
    return found


def _stage_limit(output: _OutputShaft) -> list[LinkLimit]:
    r, limit = output.reduction, output.reduction.stage.torque_limit
    if limit is None:
        return []
    bears = _given(limit, "N·m")
    return [LinkLimit(LinkKind.STAGE_LIMIT, r.path, r.label, output.channel, output.place, 1.0, bears, 1.0)]


def _shafts(inputs: Inputs, outputs: list[_OutputShaft], notebook: Notebook) -> list[LinkLimit]:
    found = []
    for r, mesh, following, channel, place in outputs:
        if r.stage.shaft_diameter is None:
            continue
        material = notebook.material(inputs, r.stage.shaft_material, f"{r.path}.shaft_material")
        strength = shafts.shaft_strength(material, r.stage.shaft_diameter)
        scale = _shaft_scale(r.stage, mesh, following)
        found.append(
            LinkLimit(LinkKind.SHAFT, r.path, f"{r.label}, output shaft", channel, place, scale, strength, inputs.factors.shaft)
        )
    return found


def _gearboxes(inputs: Inputs, train: Train) -> list[LinkLimit]:
    """The gearboxes on the motors of each group, as far as it is known what they bear."""
    several, found, place = len(train.chain.groups) > 1, [], 0
    for number, group in enumerate(inputs.motors, start=1):
        if group.count <= group.dead:
            continue
        if group.gearbox is not None and group.gearbox.torque_limit is not None:
            label = f"motor gearbox, group {number}" if several else "motor gearbox"
            channel, index = ("gearbox", place) if several else ("output", train.gearbox_element)
            bears = _given(group.gearbox.torque_limit, "N·m")
            found.append(
                LinkLimit(LinkKind.STAGE_LIMIT, f"motors.{number}.gearbox", label, channel, index or 0,
                          1 / (group.count - group.dead), bears, inputs.factors.tooth)
            )  # fmt: skip
        place += 1  # the chain's groups begin with the running ones, in their order
    return found


def _shaft_scale(stage: Stage, mesh: Mesh, following: Mesh | None) -> float:
    """Equivalent torque per torque: the pulls of its gear and of the next pinion bend it at the middle of its span."""
    if stage.shaft_span is None or mesh.gear_teeth is None or mesh.module is None:
        return 1.0
    pull = 2 / (mesh.gear_teeth * mesh.module)
    if following is not None and following.pinion_teeth is not None:
        pull += 1 / following.pinion_radius
    moment = float(shafts.span_moment(pull / math.cos(stage.pressure_angle), stage.shaft_span))
    return float(shafts.equivalent_torque(1.0, moment))


def drum_links(inputs: Inputs, layers: tuple[Layer, ...], notebook: Notebook) -> list[LinkLimit]:
    """Links of the drum rod: its cross-pin, and its bending between the supports, as far as their measures are given.

    Parameters
    ----------
    inputs : Inputs
    layers : tuple of Layer
    notebook : Notebook
        Takes what is assumed.
    """
    d, found = inputs.drum, []
    if d.cross_pin_diameter is not None:
        material = notebook.material(inputs, d.cross_pin_material, "drum.cross_pin_material")
        try:
            strength = shafts.cross_pin_strength(material, d.cross_pin_diameter, d.diameter)
        except DomainError as error:
            raise DomainError("drum.cross_pin_diameter", error.value, error.expected) from error
        found.append(
            LinkLimit(LinkKind.CROSS_PIN, "drum", "cross-pin of the drum", "drum", 0, 1.0, strength, inputs.factors.pin)
        )
    if d.support_span is not None:
        material = notebook.material(inputs, d.material, "drum.material")
        strength = shafts.drum_rod_strength(material, d.diameter)
        scale = float(shafts.drum_rod_moment(1.0, float(np.max([layer.radius for layer in layers])), d.support_span))
        found.append(
            LinkLimit(LinkKind.DRUM_BENDING, "drum", "drum rod between its supports", "pull", 0, scale, strength,
                      inputs.factors.shaft)
        )  # fmt: skip
    return found


def _rope_links(inputs: Inputs, train: Train, notebook: Notebook) -> list[LinkLimit]:
    r, d = inputs.rope, inputs.drum
    row = notebook.rope(inputs)
    knot = line.knot_strength(row, r.diameter, given_breaking_force=r.breaking_force, given_efficiency=r.knot_efficiency)
    anchor = line.anchor_strength(
        row, r.diameter, d.anchor_friction, d.dead_turns, hold=d.anchor_hold, given_breaking_force=r.breaking_force
    )
    found = [
        LinkLimit(LinkKind.ROPE_KNOT, "rope", "rope at its knot", "tension", 0, 1.0, knot, inputs.factors.rope),
        LinkLimit(LinkKind.ROPE_ANCHOR, "drum", "rope's hold on the drum", "pull", 0, 1.0, anchor, inputs.factors.anchor),
    ]
    if train.drum_element + 1 < len(train.chain.elements):  # the pull at the drum is another than at the knot
        whole = line.knot_strength(row, r.diameter, given_breaking_force=r.breaking_force, given_efficiency=1.0)
        found.append(LinkLimit(LinkKind.ROPE, "rope", "rope at the drum", "pull", 0, 1.0, whole, inputs.factors.rope))
    return found
