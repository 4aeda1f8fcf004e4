"""Advice on teeth: what weakens one, and how many walls would do."""

from __future__ import annotations

from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.model.links import ToothCase, tooth_of
from winchsim.model.machine import LinkLimit
from winchsim.verdict.words import counted

CAUSES = {
    "walls": "Its walls and infill weaken it most.",
    "warmth": "Its warmth weakens it most.",
    "layers": "Layers that run across the tooth weaken it most.",
    "thin rim": "The thin rim above its bore weakens it most.",
    "size": "It is too small for its load.",
}


def tooth_case(inputs: Inputs, machine: Machine, link: LinkLimit) -> ToothCase | None:
    """The tooth behind a link; None for a link that is no tooth.

    Parameters
    ----------
    inputs : Inputs
        Scenario that the machine was built from.
    machine : Machine
    link : LinkLimit
    """
    return tooth_of(inputs, machine.meshes[link.index], link.kind) if link.kind.is_tooth else None


def tooth_advice(case: ToothCase, force: float, required: float) -> str:
    """What would help a tooth under a load, in two or three sentences.

    Parameters
    ----------
    case : ToothCase
    force : float
        Demand on it. [N]
    required : float
        Its required factor. [-]
    """
    if case.stage.tested_tooth_force is not None:
        return "A wider or coarser tooth, or a stronger material; its strength is that of your own test."
    cause = CAUSES[case.found.main_cause]
    just, enough = case.walls_for(force), case.walls_for(force * required)
    now = case.body.walls if case.body is not None else 0
    if case.body is not None and enough is not None and enough > now:
        held = f"{just} would just bear it, " if just is not None and now < just < enough else ""
        return f"{cause} It has {counted(now, 'wall')}: {held}{enough} would give the required factor of {required:g}."
    if case.body is not None and just is not None and just > now:
        return (
            f"{cause} It has {counted(now, 'wall')}: {just} would just bear it; for the required factor of "
            f"{required:g} it also takes a wider or coarser tooth, or a stronger material."
        )
    return f"{cause} A wider or coarser tooth, a stronger material, or less load."
