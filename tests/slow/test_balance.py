"""The torque law of a batch and its steady speed, against the shared scalar balance."""

import numpy as np
import pytest
from scipy.optimize import brentq

from winchsim.model import build
from winchsim.model.electric import DriveLaw
from winchsim.physics.chain import raising_line
from winchsim.slow import stack_machines

DRIVES = {
    "one group": {},
    "current limit": {"supply": {"current_limit": 0.6}},
    "brush drop": {"motors": {"brush_drop": 0.6, "count": 2}},
    "drag that grows": {"motors": {"drag_speed_share": 0.5}},
    "drag that grows under a limit": {
        "motors": {"drag_speed_share": 0.5},
        "supply": {"current_limit": 0.55},
    },
}


@pytest.fixture(params=DRIVES)
def drive(request, small, make_motor):
    parts = dict(DRIVES[request.param])
    motor = {"idle_current": 0.12, "count": 2, **parts.pop("motors", {})}
    return small(motors=make_motor(4.0, 0.005, **motor), **parts)


@pytest.fixture
def mixed(small, make_motor):
    """Two unlike groups and a dead motor on one gear, on a supply that gives little: kinks wherever
    one looks."""
    groups = (
        make_motor(4.0, 0.005, idle_current=0.12, count=3, dead=1),
        make_motor(2.0, 0.009, idle_current=0.08, count=1),
    )
    return small(motors=groups, supply={"current_limit": 1.2, "kind": "battery"})


def speeds(inputs, shares):
    """Steady speeds at shares of the stalled torque, by both ways."""
    machine = build(inputs)
    batch = stack_machines([machine] * len(shares))
    temperatures = [np.full(len(shares), 20.0) for _ in machine.groups]
    law = DriveLaw(batch.machine, batch.raising, temperatures, temperatures)
    at_rest = law.push(np.zeros(len(shares)))
    drag, per_torque = raising_line(machine.chain)
    rope = np.maximum((at_rest * shares - drag) / per_torque, 0.0)
    needed = drag + per_torque * rope
    found = law.steady_speed(needed, at_rest)
    return found, np.array([single_speed(machine, float(torque)) for torque in needed]), law, rope


def single_speed(machine, needed):
    """Steady speed of one machine, searched by halving."""
    cold = [20.0] * len(machine.groups)
    law = DriveLaw(machine, machine.phases[0], cold, cold)

    def excess(speed):
        return law.push(speed) - needed

    top = 1.01 * float(np.max(law.top_speed()))
    return brentq(excess, 0.0, top, xtol=1e-14 * top) if excess(0.0) > 0 else 0.0


def test_steady_speed_is_that_of_the_scalar_balance(drive):
    found, expected, _, _ = speeds(drive, np.array([0.05, 0.3, 0.6, 0.9, 0.999, 1.001, 2.0]))
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12)
    assert np.all(found[-2:] == 0) and np.all(found[:5] > 0)


def test_several_groups_over_all_their_kinks(mixed):
    found, expected, law, _ = speeds(mixed, np.linspace(0.02, 0.99, 60))
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    currents = law.drive(found).currents
    assert np.any(currents[0] < 0) or np.any(law.drive(found).total > 1.2 - 1e-9)


def test_the_limit_of_the_supply_is_kept(mixed):
    batch = stack_machines([build(mixed)] * 4)
    law = DriveLaw(batch.machine, batch.raising, [np.full(4, 20.0)] * 2, [np.full(4, 20.0)] * 2)
    drive = law.drive(np.array([0.0, 1.0, 3.0, 6.0]))
    assert np.all(drive.total <= 1.2 + 1e-12)


def test_a_bench_supply_takes_nothing_back(drive):
    batch = stack_machines([build(drive)] * 2)
    law = DriveLaw(batch.machine, batch.raising, [np.full(2, 20.0)], [np.full(2, 20.0)])
    beyond = law.drive(1.5 * law.top_speed())
    np.testing.assert_allclose(beyond.total, 0.0, atol=1e-12)
