"""Pairs of gears that run roughly or jam, teeth that are undercut or pointed."""

import math
from collections.abc import Iterator

from winchsim.assessment.history import History
from winchsim.assessment.kinds import Finding, FindingKind, GearFlaw
from winchsim.inputs import Stage, value_at
from winchsim.model.links import contact_of
from winchsim.model.machine import Mesh
from winchsim.physics import gears

LEAST_CONTACT = 1.1
"""Contact ratio below which teeth pass the load on roughly. [-] Common practice, no published
source: 1.2 is asked for, 1.1 is the least."""

LEAST_CLEARANCE = 0.1
"""Room between the tips of one gear and the roots of the other below which they may touch, in
modules. [-] Common practice, no published source; the standard rack leaves 0.25."""

LEAST_TIP = 0.2
"""Thickness of a tooth at its tip below which it chips or does not print, in modules. [-] Common
practice, no published source."""

Flaw = tuple[GearFlaw, str, int, float, float]
"""What is wrong, on which side, with how many teeth, what is reached, and what should be."""


def gear_flaws(history: History) -> Iterator[Finding]:
    """Flaws of all pairs, those of which the same is to be said in one finding.

    Parameters
    ----------
    history : History
    """
    inputs = history.record.inputs
    if inputs is None:
        return
    meshes = history.machine.meshes
    pairs = {(m.path, m.pinion_teeth): m for m in meshes if m.pinion_teeth and m.gear_teeth}
    alike: dict[Flaw, list[str]] = {}
    for mesh in pairs.values():
        for flaw in _flaws(value_at(inputs, mesh.path), mesh):
            alike.setdefault(flaw, []).append(mesh.path)
    for (kind, side, teeth, value, limit), paths in alike.items():
        values = dict(
            paths=tuple(paths), flaw=kind.value, side=side, teeth=teeth, value=value, limit=limit
        )
        yield Finding(FindingKind.GEAR_GEOMETRY, values)


def _flaws(stage: Stage, mesh: Mesh) -> Iterator[Flaw]:
    pair = contact_of(stage, mesh)
    pinion, gear = mesh.pinion_teeth or 0, mesh.gear_teeth or 0
    sides = (
        ("pinion", pinion, stage.pinion_shift, pair.cut_pinion, pair.clearance1),
        ("gear", gear, stage.gear_shift, pair.cut_gear, pair.clearance2),
    )
    for side, teeth, shift, cut, room in sides:
        # As textbooks do, 17 teeth for 20 degrees.
        least = math.floor(gears.undercut_limit(stage.pressure_angle, shift=shift))
        if cut and side == "pinion":
            yield GearFlaw.CUT_BY_GEAR, side, teeth, teeth, least
        elif teeth < least:
            yield GearFlaw.UNDERCUT, side, teeth, teeth, least
        if room < LEAST_CLEARANCE - 1e-9:
            yield GearFlaw.CLEARANCE, side, teeth, float(room), LEAST_CLEARANCE
        thick = gears.tip_thickness(teeth, shift=shift, pressure_angle=stage.pressure_angle)
        if thick < LEAST_TIP:
            yield GearFlaw.TIP_THICKNESS, side, teeth, float(thick), LEAST_TIP
    if pair.ratio < LEAST_CONTACT:
        yield GearFlaw.CONTACT_RATIO, "", pinion, float(pair.ratio), LEAST_CONTACT
