"""What makers of geared lifting rigs see, as common practice with no published source."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Drum, Inputs, Load, MotorGroup, Rope, Settings, Stage, Supply
from winchsim.model import Event, build, steady_speed
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import simulate

RPM = 2 * math.pi / 60
FOUR_TO_ONE = Stage(
    pinion=13, gear=52, module=1e-3, width=8e-3, material="PETG", walls=5, infill=0.4
)


def hobby_motors(count: int) -> MotorGroup:
    """Small brushed motors of the size found in toys, on 6 V (own numbers, of the usual order)."""
    return MotorGroup(
        count=count,
        voltage=6.0,
        no_load_speed=11500 * RPM,
        no_load_current=0.09,
        stall_torque=6.1e-3,
        stall_current=1.4,
    )


def rig(
    motors: MotorGroup, stages: tuple[Stage, ...], mass: float, height: float, drum: float = 0.012
) -> Inputs:
    return with_tables(
        Inputs(
            motors=(motors,),
            supply=Supply(voltage=6.0, resistance=0.1, current_limit=12.0),
            stage=stages,
            drum=Drum(diameter=drum, width=0.06),
            rope=Rope(material="polyester", diameter=0.003),
            load=Load(mass=mass, height=height),
            settings=Settings(watch=10.0),
        )
    )


@pytest.mark.parametrize(("stages", "total"), [(5, 1024), (6, 4096)])
def test_four_to_one_again_and_again(stages, total):
    # Common practice, no published source: five stages of 4:1 make 1024:1, a further one 4096:1.
    machine = build(rig(hobby_motors(5), (replace(FOUR_TO_ONE, repeat=stages),), 20.0, 0.2))
    assert machine.groups[0].ratio == pytest.approx(total, rel=1e-12)
    assert len(machine.meshes) == stages


def test_a_gang_of_hobby_motors_raises_tens_of_kilograms_slowly_and_holds_them():
    # Common practice, no published source: a gang of small motors on some thousands to one and a
    # thin drum raises several tens of kilograms, at millimetres a second, and the load stays up
    # with the power off.
    stages = (
        Stage(
            pinion=13,
            gear=52,
            module=1e-3,
            width=8e-3,
            material="PETG",
            walls=5,
            infill=0.4,
            repeat=3,
        ),
        Stage(pinion=13, gear=52, module=2e-3, width=20e-3, material="PETG", repeat=3),
    )
    record = simulate(rig(hobby_motors(5), stages, 40.0, 0.10))
    machine = record.machine
    assert machine.groups[0].ratio == pytest.approx(4096)
    top = record.first(Event.TOP)
    assert top is not None
    assert 0.001 < 0.10 / top.time < 0.004
    assert steady_speed(machine, 40 * 9.80665 * machine.layers[0].radius) * machine.layers[
        0
    ].radius == pytest.approx(np.median(record["speed"][record.phase == 0]), rel=0.05)
    off = record.phase == 1
    assert record.time[-1] - top.time == pytest.approx(10.0, abs=1e-6)
    assert record.first(Event.RUNS_BACK) is None
    held = off & (record.time > record.first(Event.DRUM_STOPS).time)
    assert np.all(record["drum_speed"][held] == 0.0)
    assert np.ptp(record["rope_wound"][held]) == 0.0
    assert record["height"][-1] == pytest.approx(0.10, abs=0.002)


def test_the_same_motors_without_the_train_do_not_move_it():
    # Common practice, no published source: what the train does. On a single 4:1 stage the same
    # motors stall at once.
    record = simulate(rig(hobby_motors(5), (FOUR_TO_ONE,), 40.0, 0.10))
    assert record.first(Event.LIFT_OFF) is None
    assert record.first(Event.STALLED) is not None
    assert record["height"].max() == 0.0


def test_a_low_ratio_lifts_and_runs_back():
    # Common practice, no published source: with little reduction a lift is quick and falls back
    # when the power is cut.
    stages = (Stage(pinion=13, gear=52, module=2e-3, width=20e-3, material="PETG", repeat=2),)
    record = simulate(rig(hobby_motors(5), stages, 2.0, 0.20))
    assert record.first(Event.TOP) is not None
    assert record.first(Event.RUNS_BACK).time >= record.first(Event.TOP).time
    assert record.first(Event.LANDED).value > 0.05
    assert record["height"][-1] == 0.0
