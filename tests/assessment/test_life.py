"""Life of the teeth: cycles per lift from the turns of the drum, and lifts to fatigue by a sourced
S–N line."""

import math
from dataclasses import replace

import pytest
from four_motors import FOUR_MOTORS

from winchsim.assessment.teeth import drum_angle, tooth_lives
from winchsim.inputs import Drum, Inputs, Load, OwnMaterial, Rope, Stage, Supply
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import simulate


def _winch(**own) -> Inputs:
    stages = (
        Stage(
            repeat=3,
            pinion=12,
            gear=48,
            module=1e-3,
            width=0.01,
            material="own polymer",
            shaft_drag=0.0,
        ),
        Stage(pinion=14, gear=56, module=2e-3, width=0.02, material="own polymer", shaft_drag=0.0),
    )
    material = OwnMaterial(
        name="own polymer",
        family="printed polymer",
        tensile_strength=60e6,
        softening=80.0,
        friction=0.2,
        **own,
    )
    return with_tables(
        Inputs(
            motors=(FOUR_MOTORS,),
            supply=Supply(voltage=6.0),
            stage=stages,
            drum=Drum(diameter=0.01, width=0.06),
            rope=Rope(diameter=0.003),
            load=Load(mass=5.0, height=0.2),
            material=(material,),
        )
    )


@pytest.fixture(scope="module")
def lives():
    record = simulate(_winch())
    return record, tooth_lives(record)


def test_the_drum_turns_as_often_as_the_rope_says(lives):
    record, _ = lives
    wound = record["rope_wound"].max()
    assert drum_angle(record) == pytest.approx(wound / record.machine.layers[0].radius, rel=0.02)


def test_cycles_follow_the_ratios_and_the_pinions_on_the_common_gear(lives):
    record, found = lives
    turns = drum_angle(record) / (2 * math.pi)
    by_label = {life.label: life.cycles_per_lift for life in found}
    cycles = list(by_label.values())
    assert cycles[-1] == pytest.approx(turns)  # the last gear sits on the drum
    assert cycles[-2] == pytest.approx(4 * turns)
    assert cycles[0] == pytest.approx(4**4 * turns)  # a motor's pinion
    assert cycles[1] == pytest.approx(4**3 * turns * 4)  # the common gear meets four pinions a turn


def test_without_a_line_no_number_of_lifts_is_claimed(lives):
    _, found = lives
    assert all(life.lifts is None for life in found)


def test_a_line_gives_lifts_that_fall_with_its_slope():
    line = {
        "fatigue_stress": 20e6,
        "fatigue_cycles": 1e7,
        "fatigue_slope": 6.0,
        "fatigue_source": "invented for this test",
    }
    record = simulate(_winch(**line))
    found = tooth_lives(record)
    worst = min(found, key=lambda life: life.lifts)
    index = [k for k, link in enumerate(record.machine.links) if link.channel == "mesh"][
        found.index(worst)
    ]
    share = record.demands[index].share  # the line meets 20 of 60 MPa at a third
    assert worst.lifts == pytest.approx(1e7 * (1 / 3 / share) ** 6 / worst.cycles_per_lift)
    assert worst.low <= worst.lifts / 2**6 * (1 + 1e-9) and worst.high >= worst.lifts * 2**6 * (
        1 - 1e-9
    )


def test_a_run_without_teeth_has_no_lives():
    inputs = replace(_winch(), stage=(Stage(kind="planetary", ratio=250.0, efficiency=0.7),))
    assert tooth_lives(simulate(inputs)) == ()
