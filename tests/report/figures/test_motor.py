"""The torque–speed line against the law of the motor, and the path on it."""

import numpy as np
import pytest

from winchsim.inputs import with_value
from winchsim.model import build
from winchsim.report.figures.curves import motor_line, torque_speed
from winchsim.report.figures.look import COLUMN


def _line(machine, winding=20.0):
    return motor_line(machine, 0, [winding], [20.0])


def test_line_is_the_law_of_the_motors_behind_their_supply(scenario):
    """U = R i + k w for each of n motors and U = E - R_s n i for the supply: i = (E - k w)/(R + n
    R_s), own derivation."""
    machine = build(with_value(scenario, "supply.current_limit", 1e3))
    motor, (speed, torque) = machine.groups[0].motor, _line(machine)
    current = (6.0 - motor.constant * speed) / (motor.resistance + 3 * 0.15)
    pulls = current > 0
    assert np.allclose(torque[pulls], motor.constant * current[pulls], rtol=1e-9)
    assert np.allclose(torque[~pulls], 0.0, atol=1e-12)


def test_line_bends_at_the_current_limit(scenario):
    machine = build(scenario)
    _, torque = _line(machine)
    assert torque.max() == pytest.approx(
        machine.groups[0].motor.constant * 1.0
    )  # 3 A through three motors
    assert np.sum(np.isclose(torque, torque.max())) > 5


def test_a_hot_winding_pulls_less(scenario):
    machine = build(with_value(scenario, "supply.current_limit", 1e3))
    assert _line(machine, 100.0)[1][0] < 0.85 * _line(machine)[1][0]


def test_the_path_is_the_record(lift, see):
    (axes,) = see.panels(torque_speed(lift, COLUMN))
    (path,) = see.labelled(axes, "path of this lift")
    x, y = see.drawn(path)
    assert np.allclose(x, 1e3 * lift["motor_1_torque"], rtol=1e-12)
    assert np.allclose(y, lift["motor_1_speed"] * 30 / np.pi, rtol=1e-12)
    assert (
        axes.get_xlabel() == "Torque of one motor, its own drag included (mN·m)"
        and axes.get_ylabel() == "Motor speed (rpm)"
    )


def test_the_path_lies_on_the_line_while_power_is_on(lift):
    powered = (lift.phase == 0) & (lift["motor_1_speed"] >= 0)
    speed, torque = _line(lift.machine)
    on_line = np.interp(lift["motor_1_speed"][powered], speed, torque)
    assert np.allclose(lift["motor_1_torque"][powered], on_line, atol=0.04 * torque.max())


def test_moments_are_numbered_and_named_below(lift, see):
    (axes,) = see.panels(torque_speed(lift, COLUMN))
    numbers = [text.get_text() for text in axes.texts[:-1]]
    key = axes.texts[-1].get_text()
    assert numbers == [str(n) for n in range(1, len(numbers) + 1)] and all(
        f"{n} " in key for n in numbers
    )
    assert all(name in key for name in ("start", "lift-off", "up", "midway"))
    legend = [text.get_text() for text in axes.get_legend().get_texts()]
    assert legend[0] == "path of this lift" and legend[1] == "at 6 V, winding 20 °C"
