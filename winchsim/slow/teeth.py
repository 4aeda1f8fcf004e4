"""What the parts of a train bear whose teeth, modules and widths are arrays over variants."""

import math
from typing import Any

from winchsim.elementwise import by_value
from winchsim.frozen import replace
from winchsim.inputs import Inputs, Stage
from winchsim.model.links import output_shafts, shaft_scale, tooth_of
from winchsim.model.machine import LinkLimit, Mesh
from winchsim.model.reductions import pinion_material_name
from winchsim.model.train import Train
from winchsim.physics.chain import shaft_ratios
from winchsim.slow.stacking import unchecked
from winchsim.strength.link import LinkKind
from winchsim.strength.teeth import velocity_factor


def geared_strength(link: LinkLimit, inputs: Inputs, train: Train, drum_speed: Any) -> Any:
    """What a tooth, a gear's body or a shaft bears; None for other parts. [N or N·m]

    Parameters
    ----------
    link : LinkLimit
        Of a machine of the same shape, materials and stages.
    inputs : Inputs
        With arrays for the teeth, modules and widths of its spur stages.
    train : Train
        Built from it.
    drum_speed : float or ndarray
        Without load: what velocity factors are taken at. [rad/s]
    """
    stages = {r.path: r.stage for r in train.reductions}
    if link.channel == "mesh":
        mesh = train.meshes[link.index]
        stage, element = stages[mesh.path], mesh.element
        turns = shaft_ratios(train.chain)[0 if element is None else element + 1] * drum_speed
        speed = turns * mesh.gear_teeth * mesh.module / 2
        pinion = link.kind is LinkKind.TOOTH_PINION
        name = pinion_material_name(stage) if pinion else stage.material
        metal = by_value(lambda name: float(inputs.materials[name].is_metal), name)
        scale = stage.application_factor * (1 + metal * (velocity_factor(speed) - 1))
        return _strength(inputs, mesh, stage, link.kind) / scale
    if link.kind not in (LinkKind.GEAR_BODY, LinkKind.SHAFT):
        return None
    at = link.channel, link.index
    output = next(shaft for shaft in output_shafts(train) if (shaft.channel, shaft.place) == at)
    if link.kind is LinkKind.GEAR_BODY:
        return _strength(inputs, output.mesh, output.reduction.stage, link.kind)
    return link.strength.value / shaft_scale(output.reduction.stage, output.mesh, output.following)


def _strength(inputs: Inputs, mesh: Mesh, stage: Stage, kind: LinkKind) -> Any:
    """Force on a tooth, or torque on a gear's body, that breaks it. [N or N·m]"""
    place = int(mesh.path.partition(".")[2]) - 1

    def of_one(
        pinion: int, gear: int, module: float, width: float, own: float, *names: str
    ) -> float:
        plain = replace(
            stage, gear=gear, width=width, pinion_width=own, material=names[0],
            pinion_material=names[1],
        )  # fmt: skip
        one = replace(mesh, pinion_teeth=pinion, gear_teeth=gear, module=module)
        stages = (*inputs.stage[:place], plain, *inputs.stage[place + 1 :])
        case = tooth_of(unchecked(inputs, stage=stages), one, kind)
        if kind is not LinkKind.GEAR_BODY:
            return case.found.force
        return math.inf if case.body is None else case.body_strength.value

    width, names = stage.width, (stage.material, pinion_material_name(stage))
    own = width if stage.pinion_width is None else stage.pinion_width
    return by_value(of_one, mesh.pinion_teeth, mesh.gear_teeth, mesh.module, width, own, *names)
