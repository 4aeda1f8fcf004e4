"""Warmth of polymer teeth from the friction power of their meshes."""

from dataclasses import replace

import numpy as np
import pytest
from four_motors import FOUR_MOTORS

from winchsim import assess, simulate
from winchsim.assessment.kinds import FindingKind
from winchsim.assessment.teeth import tooth_warmth
from winchsim.inputs import Drum, Inputs, Load, Rope, Stage, Supply, with_value
from winchsim.scenario.materials_table import with_tables
from winchsim.strength.teeth import FLANK_HEATING, ROOT_HEATING


def _winch(**stage) -> Inputs:
    first = Stage(
        **{
            "pinion": 12,
            "gear": 48,
            "module": 1e-3,
            "width": 0.01,
            "material": "PETG",
            "shaft_drag": 0.0,
        }
        | stage
    )
    rest = Stage(
        repeat=3, pinion=14, gear=56, module=2e-3, width=0.02, material="PETG", shaft_drag=0.0
    )
    return with_tables(
        Inputs(
            motors=(FOUR_MOTORS,),
            supply=Supply(voltage=6.0),
            stage=(first, rest),
            drum=Drum(diameter=0.01, width=0.06),
            rope=Rope(diameter=0.003),
            load=Load(mass=10.0, height=0.2),
        )
    )


def test_the_first_pinion_is_warmed_by_its_share_of_the_friction_power():
    """By hand from the formula: rise = P mu H k / (b z (v m)^0.75), with P mu H the power that the
    mesh loses."""
    record = simulate(_winch())
    warmth = next(w for w in tooth_warmth(record) if "pinion" in w.label and w.path == "stage.1")
    m = record.machine
    speed = np.median(record["motor_1_speed"][record.phase == 0]) * 0.006
    force = np.median(record["mesh_1_force"][record.phase == 0])
    lost = force * speed * (1 - m.chain.elements[m.meshes[0].element].forward)
    per_watt = 1 / (10.0 * 12 * (speed * 1.0) ** 0.75)
    assert warmth.root - 20.0 == pytest.approx(lost * ROOT_HEATING["polymer"] * per_watt, rel=0.05)
    assert warmth.flank - 20.0 == pytest.approx(
        lost * FLANK_HEATING["polymer"] * per_watt, rel=0.05
    )


def test_the_common_gear_takes_the_heat_of_every_pinion():
    found = {w.label: w for w in tooth_warmth(simulate(_winch())) if w.path == "stage.1"}
    pinion, gear = (
        next(w for label, w in found.items() if side in label) for side in ("pinion", "gear tooth")
    )
    assert (gear.flank - 20.0) / (pinion.flank - 20.0) == pytest.approx(4 * 12 / 48, rel=1e-6)


def test_a_steel_pinion_cools_its_partner_and_has_no_row_of_its_own():
    alone = max(
        w.flank
        for w in tooth_warmth(simulate(_winch(friction=0.3)))
        if "gear tooth" in w.label and w.path == "stage.1"
    )
    found = [
        w
        for w in tooth_warmth(simulate(_winch(friction=0.3, pinion_material="steel")))
        if w.path == "stage.1"
    ]
    assert all("pinion" not in w.label for w in found)
    assert (found[0].flank - 20.0) / (alone - 20.0) == pytest.approx(0.7, rel=0.02)


def test_teeth_that_would_get_too_warm_are_found_and_whether_the_run_lasts_long_enough():
    """A lift of seconds does not heat a gear through; one of minutes comes near it."""
    short = _winch(width=0.0005, friction=0.4)
    long = replace(short, load=replace(short.load, mass=3.0, height=24.0))
    for inputs, lasting in ((short, False), (long, True)):
        record = simulate(with_value(inputs, "stage.1.tested_tooth_force", 1e6))
        found = assess(record, actions=False, ranges=False)
        warm = next(f for f in found.findings if f.kind is FindingKind.TEETH_WARM).values
        assert warm["lasting"] is lasting
        assert warm["flank"] > warm["flank_limit"]


def test_cool_teeth_are_no_finding():
    assert not assess(simulate(_winch()), actions=False, ranges=False).has(FindingKind.TEETH_WARM)


def test_without_a_scenario_nothing_is_known_of_materials():
    assert tooth_warmth(replace(simulate(_winch()), inputs=None)) == ()
