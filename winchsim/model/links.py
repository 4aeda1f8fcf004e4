"""The links of a built winch: what each bears, and the channel that its demand is read from."""

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

from winchsim.elementwise import plain
from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Stage, spec_at, value_at
from winchsim.model.assumptions import look_up
from winchsim.model.machine import LinkLimit, Mesh, gear_ratio
from winchsim.model.reductions import Reduction
from winchsim.model.train import Train, printed_body
from winchsim.physics.chain import Chain, reverse_of
from winchsim.physics.drum import Layer
from winchsim.physics.gears import Contact, contact
from winchsim.physics.rope import tackle_efficiency
from winchsim.strength import line, shafts
from winchsim.strength.link import LINKS, LinkKind, Strength
from winchsim.strength.materials import Material
from winchsim.strength.printed import TEST_TEMPERATURE, PrintedBody, body_strength
from winchsim.strength.teeth import (
    Tooth,
    ToothStrength,
    dynamic_factor,
    tooth_force,
    tooth_strength,
)


def build_links(
    inputs: Inputs, train: Train, layers: tuple[Layer, ...], no_load_drum: float
) -> tuple[LinkLimit, ...]:
    """Every link that a scenario says enough of to judge.

    Parameters
    ----------
    inputs : Inputs
    train : Train
    layers : tuple of Layer
    no_load_drum : float
        Speed of the drum with no load: what velocity factors are taken at. [rad/s]
    """
    stages = {r.path: r.stage for r in train.reductions}
    outputs = output_shafts(train)
    return (
        *(
            tooth
            for index, mesh in enumerate(train.meshes)
            if stages[mesh.path].kind == "spur"
            for tooth in _teeth(inputs, mesh, index, pitch_speed(train.chain, mesh, no_load_drum))
        ),
        *(link for output in outputs for link in _behind(inputs, output)),
        *_shafts(inputs, outputs),
        *_gearboxes(inputs, train),
        *drum_links(inputs, layers),
        *_rope_links(inputs),
    )


@dataclass(frozen=True)
class ToothCase:
    """One tooth of a stage with what it is made of.

    Attributes
    ----------
    stage : Stage
    tooth : Tooth
    material : Material
    body : PrintedBody or None
        How it was printed; None for a solid one.
    temperature : float
        Of its root, as it is judged. [°C]
    found : ToothStrength
        What it bears.
    """

    stage: Stage
    tooth: Tooth
    material: Material
    body: PrintedBody | None
    temperature: float
    found: ToothStrength

    @property
    def body_strength(self) -> Strength:
        """What the body of a printed gear bears. [N·m]"""
        assert self.body is not None and self.stage.width is not None
        return body_strength(
            self.material,
            self.body,
            self.stage.width,
            self.tooth.bore,
            self.tooth.circles.root,
            self.temperature,
        )


def contact_of(stage: Stage, mesh: Mesh) -> Contact:
    """How the gears of a spur mesh touch, lengths in modules.

    Parameters
    ----------
    stage : Stage
        That of the mesh.
    mesh : Mesh
        With teeth.
    """
    assert mesh.pinion_teeth is not None and mesh.gear_teeth is not None
    return contact(
        mesh.pinion_teeth,
        mesh.gear_teeth,
        pressure_angle=stage.pressure_angle,
        shift1=stage.pinion_shift,
        shift2=stage.gear_shift,
    )


def tooth_of(inputs: Inputs, mesh: Mesh, kind: LinkKind) -> ToothCase:
    """The tooth of a spur mesh's pinion or gear, and what it bears.

    Parameters
    ----------
    inputs : Inputs
    mesh : Mesh
        With teeth and a module.
    kind : LinkKind
        Pinion's or gear's.

    Raises
    ------
    DomainError
        There is no such material, or no such tooth can be made; with the path of its key.
    """
    stage: Stage = value_at(inputs, mesh.path)
    assert (
        mesh.pinion_teeth is not None
        and mesh.gear_teeth is not None
        and mesh.module is not None
        and stage.width is not None
    )
    width = min(stage.width, stage.pinion_width or stage.width)  # that both gears share
    count, bore, shift, key = mesh.gear_teeth, stage.gear_bore, stage.gear_shift, "material"
    if kind is LinkKind.TOOTH_PINION:
        count, bore, shift = mesh.pinion_teeth, 0.0, stage.pinion_shift
        key = "pinion_material" if stage.pinion_material else key
    material = look_up(inputs.materials, getattr(stage, key), f"{mesh.path}.{key}")
    body = printed_body(stage, material)
    temperature = max(inputs.settings.ambient, TEST_TEMPERATURE)
    ratio = contact_of(stage, mesh).ratio
    try:
        tooth = Tooth(count, mesh.module, width, bore, stage.pressure_angle, shift)
        found = tooth_strength(
            tooth,
            material,
            body=body,
            temperature=temperature,
            contact_ratio=float(ratio),
            breaking_stress=stage.tooth_strength,
            tested_force=stage.tested_tooth_force,
        )
    except DomainError as error:
        key = error.argument.replace(" ", "_")
        key = key if key in _KEYS else "gear"
        raise DomainError(f"{mesh.path}.{key}", error.value, error.expected) from error
    return ToothCase(stage, tooth, material, body, temperature, found)


_KEYS = ("walls", "infill", "bore", "print_direction", "pinion_shift", "gear_shift")
"""Keys of a stage that a tooth may be refused for; for anything else it is the number of teeth."""


def _given(torque: float) -> Strength:
    return Strength(torque, "N·m", "given", torque, torque)


def link_limit(
    inputs: Inputs,
    kind: LinkKind,
    where: str,
    channel: str,
    strength: Strength,
    *,
    index: int = 0,
    scale: float = 1.0,
    part: str = "",
    place: str = "",
    material: Material | None = None,
) -> LinkLimit:
    """A link, called as its kind is unless a name is given, with the factor that the scenario asks
    of its kind: 1 where it asks none."""
    key, part = LINKS[kind].required, part or LINKS[kind].part
    return LinkLimit(
        kind,
        where,
        part,
        place,
        channel,
        index,
        scale,
        strength,
        float(getattr(inputs.factors, key)) if key else 1.0,
        material,
    )


def pitch_speed(chain: Chain, mesh: Mesh, drum_speed: Any) -> Any:
    """Pitch-line speed of a spur mesh at a speed of the drum, floats or arrays. [m/s]"""
    assert mesh.gear_teeth is not None and mesh.module is not None
    return drum_speed * gear_ratio(chain, mesh) * mesh.gear_teeth * mesh.module / 2


def _teeth(inputs: Inputs, mesh: Mesh, index: int, speed: float) -> Iterator[LinkLimit]:
    for kind in (LinkKind.TOOTH_PINION, LinkKind.TOOTH_GEAR):
        case = tooth_of(inputs, mesh, kind)
        yield link_limit(
            inputs,
            kind,
            mesh.path,
            "mesh",
            case.found,
            index=index,
            scale=float(dynamic_factor(case.material, speed, case.stage.application_factor)),
            place=mesh.label,
            material=case.material,
        )


class _OutputShaft(NamedTuple):
    """Output shaft of a reduction: a mesh whose gear it carries, the one that it drives, and where
    its torque is read from."""

    reduction: Reduction
    mesh: Mesh
    following: Mesh | None
    channel: str
    place: int

    def limit(
        self, inputs: Inputs, kind: LinkKind, strength: Strength, scale: float = 1.0
    ) -> LinkLimit:
        """A link that the torque of this shaft is asked of."""
        r = self.reduction
        return link_limit(
            inputs,
            kind,
            r.path,
            self.channel,
            strength,
            index=self.place,
            scale=scale,
            place=r.label,
        )


def output_shafts(train: Train) -> list[_OutputShaft]:
    """One for each reduction; that of the common gear carries what all groups give it."""
    common = [mesh for mesh in train.meshes if mesh.element is None][:1]
    firsts = [*common, *(mesh for mesh in train.meshes if mesh.element is not None)]
    return [
        _OutputShaft(r, mesh, following, "common", 0)
        if mesh.element is None
        else _OutputShaft(r, mesh, following, "output", mesh.element)
        for r, mesh, following in zip(train.reductions, firsts, [*firsts, None][1:], strict=True)
    ]


def _behind(inputs: Inputs, output: _OutputShaft) -> Iterator[LinkLimit]:
    """The body of a printed gear on a shaft of its own, as one without a bore is one piece with its
    pinion; and the torque limit of the stage."""
    stage = output.reduction.stage
    if stage.kind == "spur" and stage.width is not None and stage.gear_bore:
        case = tooth_of(inputs, output.mesh, LinkKind.TOOTH_GEAR)
        if case.body is not None:
            yield output.limit(inputs, LinkKind.GEAR_BODY, case.body_strength)
    if stage.torque_limit is not None:
        yield output.limit(inputs, LinkKind.STAGE_LIMIT, _given(stage.torque_limit))


def _shafts(inputs: Inputs, outputs: list[_OutputShaft]) -> Iterator[LinkLimit]:
    for output in outputs:
        r = output.reduction
        if r.stage.shaft_diameter is not None:
            strength = shafts.shaft_strength(
                look_up(inputs.materials, r.stage.shaft_material, f"{r.path}.shaft_material"),
                r.stage.shaft_diameter,
            )
            yield output.limit(
                inputs,
                LinkKind.SHAFT,
                strength,
                shaft_scale(r.stage, output.mesh, output.following),
            )


def _gearboxes(inputs: Inputs, train: Train) -> Iterator[LinkLimit]:
    """The gearboxes on the motors of each group, as far as it is known what they bear."""
    several = len(train.chain.groups) > 1
    numbered = [(n, g) for n, g in enumerate(inputs.motors, start=1) if g.count > g.dead]
    for place, (number, group) in enumerate(numbered):  # the chain's groups begin with these
        if group.gearbox is not None and group.gearbox.torque_limit is not None:
            part = f"motor gearbox (group {number})" if several else "motor gearbox"
            channel, index = ("gearbox", place) if several else ("output", train.gearbox_element)
            yield link_limit(
                inputs,
                LinkKind.STAGE_LIMIT,
                f"motors.{number}.gearbox",
                channel,
                _given(group.gearbox.torque_limit),
                index=index or 0,
                scale=1 / (group.count - group.dead),
                part=part,
            )


def shaft_scale(stage: Stage, mesh: Mesh, following: Mesh | None) -> Any:
    """Equivalent torque per torque: the pulls of its gear and of the next pinion bend it at the
    middle of its span."""
    if stage.shaft_span is None or mesh.gear_teeth is None or mesh.module is None:
        return 1.0
    pull = tooth_force(1.0, mesh.gear_teeth * mesh.module)
    if following is not None and following.pinion_teeth is not None:
        pull += tooth_force(1.0, 2 * following.pinion_radius)
    return plain(
        shafts.equivalent_torque(
            1.0, shafts.span_moment(pull / math.cos(stage.pressure_angle), stage.shaft_span)
        )
    )


def drum_links(inputs: Inputs, layers: tuple[Layer, ...]) -> Iterator[LinkLimit]:
    """Links of the drum: the rope's bend over it, its cross-pin and its shaft's bending, as far as
    their measures are given.

    Parameters
    ----------
    inputs : Inputs
    layers : tuple of Layer
    """
    d, rope = inputs.drum, inputs.rope
    at_drum = line.drum_strength(
        look_up(inputs.ropes, rope.material, "rope.material"),
        rope.diameter,
        d.diameter,
        given_breaking_force=rope.breaking_force,
    )
    yield link_limit(inputs, LinkKind.ROPE, "rope", "pull", at_drum)
    if d.cross_pin_diameter is not None:
        material = look_up(inputs.materials, d.cross_pin_material, "drum.cross_pin_material")
        try:
            strength = shafts.cross_pin_strength(material, d.cross_pin_diameter, d.diameter)
        except DomainError as error:
            raise DomainError("drum.cross_pin_diameter", error.value, error.expected) from error
        yield link_limit(inputs, LinkKind.CROSS_PIN, "drum", "drum", strength)
    if d.support_span is not None:
        material = look_up(inputs.materials, d.material, "drum.material")
        strength = shafts.drum_rod_strength(material, d.diameter)
        scale = float(
            shafts.drum_rod_moment(1.0, max(layer.radius for layer in layers), d.support_span)
        )
        yield link_limit(inputs, LinkKind.DRUM_BENDING, "drum", "pull", strength, scale=scale)


def _rope_links(inputs: Inputs) -> Iterator[LinkLimit]:
    r, d = inputs.rope, inputs.drum
    row = look_up(inputs.ropes, r.material, "rope.material")
    end = line.end_strength(
        row,
        r.diameter,
        given_breaking_force=r.breaking_force,
        given_efficiency=r.knot_efficiency,
        end=r.end,
    )
    # The fixed fall of a tackle carries most while lowering, and may keep that while it holds.
    yield link_limit(
        inputs,
        LinkKind.ROPE_KNOT,
        "rope",
        "tension",
        end,
        scale=1 / tackle_efficiency(r.falls, reverse_of(r.sheave_efficiency)),
        part=f"rope at its {r.end}",
    )
    path = "drum.anchor_friction"
    guess = None if path in inputs.given else spec_at(inputs, path).assumed
    anchor = line.anchor_strength(
        row,
        r.diameter,
        d.anchor_friction,
        d.dead_turns,
        friction_range=guess and guess[:2],
        hold=d.anchor_hold,
        given_breaking_force=r.breaking_force,
    )
    yield link_limit(inputs, LinkKind.ROPE_ANCHOR, "drum", "pull", anchor)
