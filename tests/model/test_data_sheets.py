"""What a build assumed or fitted, said again as values of a scenario: the same winch comes of
it."""

from dataclasses import replace

import pytest

from winchsim.errors import DomainError
from winchsim.inputs import MotorPoint
from winchsim.model import build
from winchsim.model.motors import data_sheet, with_data_sheets
from winchsim.studies.spread.builds import shaft_drags
from winchsim.studies.spread.study import as_data_sheets


def measured(group, fit):
    """The same motor known by two measured points."""
    motor = fit.motor
    rows = []
    for speed in (200.0, 800.0):
        current = (fit.voltage - motor.constant * speed) / motor.resistance
        rows.append(
            MotorPoint(torque=motor.constant * current - motor.drag, speed=speed, current=current)
        )
    return replace(group, known_by="points", points=tuple(rows))


def test_motors_known_otherwise_become_the_same_motors_by_data_sheet(small):
    inputs = small()
    fit = build(inputs).groups[0].fit
    points = replace(inputs, motors=(measured(inputs.motors[0], fit),))
    before = build(points)
    again = as_data_sheets(points, before)
    assert again.motors[0].known_by == "data sheet" and again.motors[0].voltage == fit.voltage
    old, new = before.groups[0].motor, build(again).groups[0].motor
    assert (new.constant, new.resistance, new.drag) == pytest.approx(
        (old.constant, old.resistance, old.drag)
    )


def test_data_sheets_that_stand_there_are_left_alone(small):
    inputs = small()
    assert as_data_sheets(inputs, build(inputs)) is inputs


def test_a_resistance_that_no_motor_can_have_is_refused(small):
    fit = build(small()).groups[0].fit
    with pytest.raises(DomainError, match="stalled than running free"):
        data_sheet(fit, resistance=fit.stall_current / fit.no_load_current)


def test_both_factors_at_once(small):
    inputs = small()
    machine = build(inputs)
    turned = build(with_data_sheets(inputs, machine, 1.1, 0.9)).groups[0].motor
    assert turned.constant == pytest.approx(1.1 * machine.groups[0].motor.constant)
    assert turned.resistance == pytest.approx(0.9 * machine.groups[0].motor.resistance)


def test_drags_that_are_given_are_said_as_they_are(small, make_stage):
    inputs = small(
        stage=(make_stage(5.0, 0.9, shaft_drag=3e-4), make_stage(4.0, 0.9, shaft_drag=None))
    )
    machine = build(inputs)
    found = shaft_drags(inputs, machine)
    assert found["stage.1.shaft_drag"] == 3e-4
    stalled = 2 * machine.groups[0].motor.constant * machine.groups[0].fit.stall_current
    assert found["stage.2.shaft_drag"] == pytest.approx(0.003 * stalled * 20)
