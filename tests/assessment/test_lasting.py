"""Findings of what lasts or is wound: creep of teeth, layers and dead turns; and "breaks" against
"may break"."""

from dataclasses import replace

import pytest

from winchsim.assessment.findings import find
from winchsim.assessment.history import read_history
from winchsim.assessment.kinds import Finding, FindingKind
from winchsim.assessment.readings import part_rows
from winchsim.inputs import Inputs, Stage
from winchsim.simulation import simulate
from winchsim.strength.link import LinkState

TEETH = Stage(
    repeat=3,
    pinion=12,
    gear=60,
    module=1e-3,
    width=8e-3,
    material="PLA",
    efficiency=0.8,
    shaft_drag=2e-4,
)


def found(inputs: Inputs, kind: FindingKind) -> list[Finding]:
    return [finding for finding in find(read_history(simulate(inputs))) if finding.kind is kind]


def loaded(small, force: float, **stage) -> Inputs:
    return small(stage=replace(TEETH, tested_tooth_force=force, **stage))


def hanging_force(small) -> float:
    record = simulate(loaded(small, 1e4))
    assert record["height"][-1] > 0.09
    return float(record["mesh_3_force"][-1])


def test_polymer_teeth_over_half_used_by_a_hanging_load_creep(small):
    held = hanging_force(small)
    assert not found(loaded(small, held / 0.3), FindingKind.CREEP)
    (creep,) = found(loaded(small, held / 0.55), FindingKind.CREEP)
    assert (
        creep.values["share"] == pytest.approx(0.55, rel=1e-6)
        and creep.values["share_limit"] == 0.5
    )
    assert creep.values["part"].endswith("stage 1 (3rd of 3)")
    assert not found(loaded(small, held / 0.55, material="steel"), FindingKind.CREEP)


def test_layers_and_dead_turns_of_a_fibre_rope_have_their_limits(small):
    def quantities(**drum):
        findings = found(small(drum=drum, load={"mass": 1.0, "height": 0.2}), FindingKind.WINDING)
        return {f.values["quantity"]: (f.values["value"], f.values["limit"]) for f in findings}

    assert quantities(width=0.2, dead_turns=8.0) == {}
    assert quantities(width=0.2, dead_turns=7.0) == {"dead_turns": (7.0, 8.0)}
    crowded = quantities(width=0.003, dead_turns=8.0)
    assert crowded["layers"][0] > 3 and crowded["layers"][1] == 3.0


def test_a_part_breaks_only_where_its_capacity_has_no_range_left(small):
    strips = loaded(small, 2.0)
    (broke,) = found(strips, FindingKind.PART_BROKE)
    rows = {row.label: row.state for row in part_rows(simulate(strips), None)}
    assert rows[broke.values["part"]] is LinkState.BREAKS
    printed = replace(
        strips, stage=(replace(strips.stage[0], tested_tooth_force=None, width=5e-4),)
    )
    (broke,) = found(printed, FindingKind.PART_BROKE)
    rows = {row.label: row.state for row in part_rows(simulate(printed), None)}
    assert rows[broke.values["part"]] is LinkState.MAY_BREAK
