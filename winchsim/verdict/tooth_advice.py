"""Advice on teeth: what weakens one."""

from __future__ import annotations

from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.model.links import ToothCase, tooth_of
from winchsim.model.machine import LinkLimit

CAUSES = {
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


def tooth_advice(case: ToothCase) -> str:
    """What would help a tooth, in two sentences.

    Parameters
    ----------
    case : ToothCase
    """
    if case.stage.tested_tooth_force is not None:
        return "A wider or coarser tooth, or a stronger material; its strength is that of your own test."
    return f"{CAUSES[case.found.main_cause]} A wider or coarser tooth, a stronger material, or less load."
