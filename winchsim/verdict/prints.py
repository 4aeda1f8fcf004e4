"""Advice on teeth: what weakens one, and how many walls would do."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.inputs import Inputs, Stage, value_at
from winchsim.model import Machine
from winchsim.model.machine import LinkLimit
from winchsim.model.train import module_of, pinion_material_name, printed_body
from winchsim.strength.link import LinkKind
from winchsim.strength.materials import Material
from winchsim.strength.printed import PrintedBody
from winchsim.strength.teeth import TEST_TEMPERATURE, Tooth, ToothStrength, tooth_strength, walls_needed
from winchsim.verdict.words import counted

CAUSES = {
    "walls": "its walls and infill leave it weak",
    "warmth": "its material is weakened by the warmth",
    "layers": "its layers run across the tooth",
    "thin rim": "the rim above its bore is thin",
    "size": "the tooth is too small for the force",
}


@dataclass(frozen=True)
class ToothCase:
    """One tooth of a stage with what it is made of.

    Attributes
    ----------
    stage : Stage
    tooth : Tooth
    material : Material
    body : PrintedBody or None
    temperature : float
        [°C]
    found : ToothStrength
        As it is judged.
    """

    stage: Stage
    tooth: Tooth
    material: Material
    body: PrintedBody | None
    temperature: float
    found: ToothStrength

    def walls_for(self, force: float) -> int | None:
        """Fewest walls with which it bears a tooth force; None where walls do not decide or not suffice."""
        if self.body is None or self.stage.tested_tooth_force is not None:
            return None
        return walls_needed(
            self.tooth, self.material, self.body, force,
            temperature=self.temperature, breaking_stress=self.stage.tooth_strength,
        )  # fmt: skip


def tooth_case(inputs: Inputs, machine: Machine, link: LinkLimit) -> ToothCase | None:
    """The tooth behind a link; None for a link that is no tooth.

    Parameters
    ----------
    inputs : Inputs
        Scenario that the machine was built from.
    machine : Machine
    link : LinkLimit
    """
    if link.kind not in (LinkKind.TOOTH_PINION, LinkKind.TOOTH_GEAR):
        return None
    stage, mesh = value_at(inputs, link.where), machine.meshes[link.index]
    module = module_of(stage)
    if module is None or mesh.pinion_teeth is None or stage.gear is None or stage.width is None:
        return None
    width = min(stage.width, stage.pinion_width or stage.width)
    if link.kind is LinkKind.TOOTH_PINION:
        name, tooth = (
            pinion_material_name(stage),
            Tooth(mesh.pinion_teeth, module, width, 0.0, stage.pressure_angle, stage.pinion_shift),
        )
    else:
        bore = stage.bore or stage.shaft_diameter or 0.0
        name, tooth = stage.material, Tooth(stage.gear, module, width, bore, stage.pressure_angle, stage.gear_shift)
    material: Material = inputs.materials[name]
    body = printed_body(stage, material)
    warmth = max(inputs.settings.ambient, TEST_TEMPERATURE)
    found = tooth_strength(
        tooth, material, body=body, temperature=warmth,
        breaking_stress=stage.tooth_strength, tested_force=stage.tested_tooth_force,
    )  # fmt: skip
    return ToothCase(stage, tooth, material, body, warmth, found)


def tooth_advice(case: ToothCase, force: float, required: float) -> str:
    """What would help a tooth that is asked to bear a force, in one or two sentences.

    Parameters
    ----------
    case : ToothCase
    force : float
        Demand on it. [N]
    required : float
        Factor that is wanted. [-]
    """
    if case.stage.tested_tooth_force is not None:
        return "A wider or coarser tooth, or a stronger material; its strength is that of your own test."
    cause = CAUSES[case.found.main_cause]
    just, enough = case.walls_for(force), case.walls_for(force * required)
    now = case.body.walls if case.body is not None else 0
    if case.body is not None and enough is not None and enough > now:
        held = f"{just} would just bear it and " if just is not None and now < just < enough else ""
        wanted = counted(enough, "wall")
        return (
            f"Most of all {cause}: printed with {counted(now, 'wall')}, {held}{wanted} would give the required factor of "
            f"{required:g}."
        )
    if case.body is not None and just is not None and just > now:
        return (
            f"Most of all {cause}: printed with {counted(now, 'wall')}, {just} would just bear it; for the required factor of "
            f"{required:g} it also needs a wider or coarser tooth, or a stronger material."
        )
    return f"Most of all {cause}: a wider or coarser tooth, a stronger material, or less load."
