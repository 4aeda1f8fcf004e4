"""The motors between supply and chain: each by its own law, whatever stands beside it, for floats
and arrays alike."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.model import build
from winchsim.model.electric import DriveLaw, Motors
from winchsim.model.estimate import raising_phase


@pytest.fixture(scope="module")
def machine(small, make_motor):
    groups = (
        make_motor(
            4.0,
            0.005,
            idle_current=0.12,
            count=3,
            dead=1,
            magnet_coefficient=-0.002,
            drag_speed_share=0.5,
        ),
        make_motor(6.0, 0.004, idle_current=0.1, count=2, brush_drop=0.3),
    )
    return build(small(motors=groups, brake=None))


def test_one_unit_for_each_of_the_chains_groups(machine):
    assert [(u.number, u.count) for u in machine.units] == [(1, 2), (2, 2), (1, 1)]
    assert len(machine.chain.groups) == 3
    assert machine.units[2].motor == machine.groups[0].motor


def test_constants_follow_their_own_temperatures(machine):
    resistances, constants = Motors(machine).at_temperatures([70.0, 20.0], [45.0, 20.0])
    assert resistances == pytest.approx([4.0 * (1 + 0.00393 * 50), 6.0])
    assert constants == pytest.approx([0.005 * (1 - 0.002 * 25), 0.004])


def test_torques_are_those_of_live_motors_less_what_grows_with_speed(machine):
    motors, speed = Motors(machine), 1.5
    first, second = machine.groups
    torques = motors.torques([0.005, 0.004], [0.8, 0.5], speed)
    slope = first.motor.drag_slope
    assert slope > 0
    wanted = [
        2 * (0.005 * 0.8 - slope * first.ratio * speed),
        2 * 0.004 * 0.5,
        -slope * first.ratio * speed,
    ]
    assert torques == pytest.approx(wanted)
    many = motors.torques([0.005, 0.004], [0.8, 0.5], np.array([0.0, speed]))
    assert [row[1] for row in many] == torques
    assert motors.emfs([0.005, 0.004], speed) == pytest.approx(
        [0.005 * first.ratio * speed, 0.004 * second.ratio * speed]
    )


@pytest.mark.parametrize("speed", [0.0, 0.5, 2.0])
def test_currents_and_voltage_of_a_drive_obey_kirchhoff(machine, speed):
    drive = DriveLaw(machine, raising_phase(machine), [20.0, 20.0], [20.0, 20.0]).drive(speed)
    assert drive.total == pytest.approx(
        sum(g.count * i for g, i in zip(machine.groups, drive.currents, strict=True))
    )
    assert drive.voltage == pytest.approx(6.0 - 0.2 * drive.total)
    for group, current in zip(machine.groups, drive.currents, strict=True):
        motor = group.motor
        emf = motor.constant * group.ratio * speed
        drop = motor.brush_drop if current > 0 else 0.0
        assert drive.voltage == pytest.approx(emf + motor.resistance * current + drop)


def test_values_read_off_carry_a_tolerance_unless_they_were_measured(small, make_motor):
    sheet = make_motor(4.0, 0.005, idle_current=0.12)
    read_off = {row.path: row for row in build(small(motors=sheet)).assumed}
    row = read_off["motors.1.stall_torque"]
    assert (row.low, row.high) == (
        pytest.approx(0.9 * sheet.stall_torque),
        pytest.approx(1.1 * sheet.stall_torque),
    )
    measured = build(small(motors=replace(sheet, measured=True)))
    assert "motors.1.stall_torque" not in [row.path for row in measured.assumed]


def test_turns_of_a_slow_shaft_stand_in_for_a_tachometer(small, make_motor, make_stage):
    """Ten turns of the drum, or of the gearbox, in the time that they take at the no-load speed:
    the same motor."""
    sheet = make_motor(4.0, 0.005, idle_current=0.12)
    counted = replace(
        sheet,
        no_load_speed=None,
        output_turns=10.0,
        output_time=10 * 2 * np.pi / (sheet.no_load_speed / 5.0**3),
        output_at="drum",
    )
    parts = {"stage": make_stage(5.0, 0.8, repeat=3)}
    assert (
        build(small(motors=counted, **parts)).groups[0].motor
        == build(small(motors=sheet, **parts)).groups[0].motor
    )
