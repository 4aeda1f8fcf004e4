"""Findings about the geometry of gears: pairs that run roughly or jam, teeth that are undercut or pointed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from winchsim.inputs import Stage, value_at
from winchsim.model.links import contact_of
from winchsim.model.machine import Mesh
from winchsim.physics import gears
from winchsim.quantity_text import number
from winchsim.verdict.case import Case
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import listed

LEAST_CONTACT = 1.1
"""Contact ratio below which teeth pass the load on roughly. [-] Common practice, no published source: 1.2 is asked for, 1.1 is
the least."""

LEAST_CLEARANCE = 0.1
"""Room between the tips of one gear and the roots of the other below which they may touch, in modules. [-] Common practice, no
published source; the standard rack leaves 0.25."""

LEAST_TIP = 0.2
"""Thickness of a tooth at its tip below which it chips or does not print, in modules. [-] Common practice, no published
source."""

MORE_TEETH = "More teeth on the pinion, or profile shift: pinion_shift = 0.3 and gear_shift = -0.3."
LESS_SHIFT = "Less profile shift."


class Flaw(NamedTuple):
    """Something about a pair of gears that a maker should know.

    Attributes
    ----------
    clause : str
        What it is, for people.
    value, limit : float
        What is reached, and what should be. [-]
    help : str
    severity : Severity
    """

    clause: str
    value: float
    limit: float
    help: str
    severity: Severity


def geometry(case: Case) -> Iterator[Finding]:
    """Pairs of gears that run roughly, jam, are undercut or pointed; pairs of which the same is to be said in one finding.

    Parameters
    ----------
    case : Case
    """
    if case.inputs is None:
        return
    pairs = {(mesh.path, mesh.pinion_teeth): mesh for mesh in case.machine.meshes if mesh.pinion_teeth and mesh.gear_teeth}
    alike: dict[tuple[Flaw, ...], list[str]] = {}
    for mesh in pairs.values():
        flaws = tuple(_flaws(value_at(case.inputs, mesh.path), mesh))
        if flaws:
            alike.setdefault(flaws, []).append(mesh.path)
    for flaws, paths in alike.items():
        numbers = [path.split(".")[1] for path in paths]
        stages = f"Stage {numbers[0]}" if len(numbers) == 1 else f"Stages {listed(numbers)}"
        worst = max(flaws, key=lambda flaw: flaw.severity.rank)
        yield Finding(
            FindingKind.GEAR_GEOMETRY, worst.severity, f"{stages}: {'; '.join(flaw.clause for flaw in flaws)}.",
            value=worst.value, limit=worst.limit, help=" ".join(dict.fromkeys(flaw.help for flaw in flaws)), about=paths[0],
        )  # fmt: skip


def _flaws(stage: Stage, mesh: Mesh) -> Iterator[Flaw]:
    pair = contact_of(stage, mesh)
    sides = (("pinion", mesh.pinion_teeth, stage.pinion_shift), ("gear", mesh.gear_teeth, stage.gear_shift))
    for (side, teeth, shift), cut in zip(sides, (pair.cut_pinion, pair.cut_gear), strict=True):
        assert teeth is not None
        least = math.floor(gears.undercut_limit(stage.pressure_angle, shift=shift))  # as textbooks do: 17 teeth for 20°
        if cut and side == "pinion":
            clause = f"the gear's tips reach below the base circle of the {teeth}-tooth pinion, which is undercut"
            yield Flaw(clause, teeth, least, MORE_TEETH, Severity.NOTE)
        elif teeth < least:
            yield Flaw(f"the {teeth}-tooth {side} is undercut, {least} teeth would not be", teeth, least,
                       MORE_TEETH if side == "pinion" else LESS_SHIFT, Severity.NOTE)  # fmt: skip
    if pair.ratio < LEAST_CONTACT:
        clause = f"the contact ratio with the {mesh.pinion_teeth}-tooth pinion is {number(float(pair.ratio))}"
        yield Flaw(clause, float(pair.ratio), LEAST_CONTACT, MORE_TEETH, Severity.CAUTION)
    for (side, _, _), (other, _, _), room in zip(sides, sides[::-1], (pair.clearance1, pair.clearance2), strict=True):
        if room < LEAST_CLEARANCE - 1e-9:
            left = f"only {number(room, 2)} modules are left" if room > 0 else "no room is left"
            yield Flaw(f"{left} between the tips of the {side} and the roots of the {other}", room, LEAST_CLEARANCE,
                       LESS_SHIFT, Severity.CAUTION)  # fmt: skip
    for side, teeth, shift in sides:
        assert teeth is not None
        thick = gears.tip_thickness(teeth, shift=shift, pressure_angle=stage.pressure_angle)
        if thick < LEAST_TIP:
            clause = f"the tips of the {side}'s teeth are only {number(thick, 2)} modules thick"
            yield Flaw(clause, thick, LEAST_TIP, LESS_SHIFT, Severity.CAUTION)
