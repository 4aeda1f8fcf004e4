"""How fast each gear of a train turns, where one group or several drive the common gear."""

from dataclasses import replace

import pytest

from winchsim.assessment.teeth import drum_angle, tooth_lives, tooth_warmth
from winchsim.inputs import Drum, Gearbox, Inputs, Load, MotorGroup, Rope, Stage, Supply
from winchsim.model import build
from winchsim.model.links import pitch_speed
from winchsim.model.machine import gear_ratio
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import simulate
from winchsim.strength.link import LinkKind


def _group(**changes) -> MotorGroup:
    sheet = {
        "count": 2,
        "voltage": 6.0,
        "no_load_speed": 1200.0,
        "no_load_current": 0.09,
        "stall_torque": 6e-3,
        "stall_current": 1.4,
    }
    return MotorGroup(**{**sheet, **changes})


def _winch(*groups: MotorGroup, material: str = "steel") -> Inputs:
    stages = (
        Stage(pinion=12, gear=48, module=1e-3, width=0.01, material=material, shaft_drag=0.0),
        Stage(
            repeat=3, pinion=14, gear=56, module=2e-3, width=0.02, material=material, shaft_drag=0.0
        ),
    )
    return with_tables(
        Inputs(
            motors=groups,
            supply=Supply(voltage=6.0),
            stage=stages,
            drum=Drum(diameter=0.01, width=0.06),
            rope=Rope(diameter=0.003),
            load=Load(mass=8.0, height=0.05),
        )
    )


@pytest.mark.parametrize("groups", [1, 2, 3])
def test_the_common_gear_turns_as_fast_whoever_drives_it(groups):
    machine = build(_winch(*[_group() for _ in range(groups)]))
    ratios = [gear_ratio(machine.chain, mesh) for mesh in machine.meshes]
    assert ratios == pytest.approx([64.0] * groups + [16.0, 4.0, 1.0])
    # At 1 rad/s of the drum: 64 times the 24 mm of the common gear's pitch radius, 16 times 56 mm …
    speeds = [pitch_speed(machine.chain, mesh, 1.0) for mesh in machine.meshes]
    assert speeds == pytest.approx([64 * 0.024] * groups + [16 * 0.056, 4 * 0.056, 0.056])


def test_several_groups_do_not_speed_up_the_teeth():
    """The velocity factor on a metal tooth follows its pitch-line speed, which the number of groups
    does not change."""

    def factor(inputs: Inputs) -> float:
        return next(
            link.scale
            for link in build(inputs).links
            if link.kind is LinkKind.TOOTH_PINION and link.where == "stage.1"
        )

    assert factor(_winch(_group(), _group(), _group())) == pytest.approx(
        factor(_winch(_group())), rel=1e-9
    )


def test_a_gearbox_on_another_group_does_not_change_a_pinion_s_turns():
    """Turns of a pinion follow from the teeth alone, whatever stands between it and its motor."""
    geared = _group(
        gearbox=Gearbox(ratio=3.0, efficiency=0.9), no_load_speed=1200.0, stall_torque=6e-3
    )
    record = simulate(replace(_winch(geared, _group()), load=Load(mass=2.0, height=0.05)))
    turns = drum_angle(record) / 6.283185307179586
    pinions = [
        life for life in tooth_lives(record) if "pinion" in life.label and "stage 1" in life.label
    ]
    assert [life.cycles_per_lift for life in pinions] == pytest.approx([256 * turns] * 2)


def test_equal_groups_warm_their_pinions_alike():
    found = [
        w
        for w in tooth_warmth(simulate(_winch(_group(), _group(), material="POM")))
        if "pinion" in w.label
    ]
    first = [w.flank for w in found if w.path == "stage.1"]
    assert len(first) == 2
    assert first[0] == pytest.approx(first[1])
