"""The quasi-static model against closed forms, worked out here."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.model import build
from winchsim.physics.chain import demand, raising_line
from winchsim.slow import SlowEnd, lift_all, lift_batch, lift_machine, stack_machines
from winchsim.slow.stacking import join, unchecked

# The linear motor: speed = no-load speed (1 - M/M_stall). Common to every machines text; own
# arithmetic.
NO_LOAD = 6.0 / 0.01 / 50 * 0.02  # of the load, m/s
STALL = 0.01 * 6.0 / 2.0 * 50 / 0.02 / 9.81  # kg


def never_warm(machine):
    """The machine with windings whose resistance stays that of 20 °C."""
    groups = tuple(
        replace(g, motor=replace(g.motor, copper_coefficient=0.0)) for g in machine.groups
    )
    return replace(machine, groups=groups)


def lifts_of(linear, masses, **load):
    return lift_batch(
        stack_machines([never_warm(build(linear(mass=float(mass), **load))) for mass in masses])
    )


def test_speed_and_time_of_the_linear_motor(linear):
    shares = np.array([0.05, 0.2, 0.5, 0.8, 0.94])
    lifts = lifts_of(linear, shares * STALL)
    np.testing.assert_allclose(lifts.last_speed, NO_LOAD * (1 - shares), rtol=1e-9)
    np.testing.assert_allclose(
        lifts.lift_time - lifts.spin_up_time, 1.0 / lifts.last_speed, rtol=1e-5
    )
    np.testing.assert_allclose(lifts.last_current, 3.0 * shares, rtol=1e-9)
    np.testing.assert_allclose(lifts.stall_margin_cold, 1 / shares, rtol=1e-9)


def test_stall_load_of_the_linear_motor(linear):
    lifts = lifts_of(linear, STALL * np.array([1 - 1e-6, 1 + 1e-6]), height=1e-3)
    assert lifts.end.tolist() == [SlowEnd.LIFTED, SlowEnd.STALLED]


def test_spin_up_costs_one_time_constant(ideal, make_motor, make_stage):
    # First-order lag of a linear motor: tau = J R / k². Own derivation; the load's mass is
    # negligible here.
    inputs = ideal(
        motors=make_motor(2.0, 0.01, rotor_inertia=4e-6),
        stages=(make_stage(50.0),),
        radius=0.02,
        span=2.0,
        load={"mass": 0.01, "start_height": 0.001, "height": 1.0},
    )
    row = lift_machine(build(inputs))
    tau = 4e-6 * 2.0 / 0.01**2
    assert (row["time_constant"], row["spin_up_time"]) == pytest.approx((tau, tau), rel=1e-3)


def test_spin_up_under_a_current_limit(ideal, make_motor, make_stage):
    # Constant torque up to the corner speed, then a lag: the lost angle is that of the two pieces.
    # Own derivation.
    k, r, j, limit = 0.01, 2.0, 4e-6, 1.0
    inputs = ideal(
        motors=make_motor(r, k, rotor_inertia=j),
        supply={"current_limit": limit},
        stages=(make_stage(50.0),),
        radius=0.02,
        span=2.0,
        load={"mass": 1e-6, "start_height": 0.001, "height": 1.0},
    )
    w0, corner = 6.0 / k, (6.0 - r * limit) / k
    lost = j / w0 * ((w0 * corner - corner**2 / 2) / (k * limit) + (w0 - corner) / (k * k / r))
    assert lift_machine(build(inputs))["spin_up_time"] == pytest.approx(
        lost, rel=0.02
    )  # six nodes across a corner


def test_layers_of_a_drum(small):
    # Layered drum, B 50, width 60, d 6 mm: ten turns a layer, L = sum of n pi (B + (2i - 1) d).
    # Rope wound when each layer is full, recomputed: 1.7593 ... 20.2319 m. 20 m need seven layers
    # (a school-maths exercise).
    full = [1.7593, 3.8956, 6.4089, 9.2991, 12.5664, 16.2106, 20.2319]
    heights = [value + shift for value in full for shift in (-0.004, 0.004)]
    inputs = small(
        drum={"diameter": 0.05, "width": 0.06, "dead_turns": 0.0},
        rope={"diameter": 0.006, "axial_stiffness": 1e7},
        load={"mass": 20.0, "drum_height": 30.0},
    )
    lifts = lift_all(inputs, {"load.height": heights})
    assert lifts.layers.tolist() == [layer for place in range(1, 8) for layer in (place, place + 1)]
    assert lift_all(inputs, {"load.height": [20.0]}).layers[0] == 7


def test_two_node_heat(ideal, make_motor, make_stage):
    # Two-node heat path, Cw 3 and Cc 20 J/K, R1 5 and R2 20 K/W, 2 W: rises of 4.917925 and
    # 0.260008 K after 10 s, 15.737522 and 6.853700 after 100 s, 45.116039 and 35.274604 after 1000
    # s. Recomputed by a matrix exponential.
    warm = {
        "winding_heat_capacity": 3.0,
        "case_heat_capacity": 20.0,
        "winding_to_case": 5.0,
        "case_to_ambient": 20.0,
    }
    torque = 0.01 * 1.0  # 1 A through 2 ohm
    speed = (6.0 - 2.0 * 1.0) / 0.01 / 50 * 0.02
    for time, winding, case in (
        (10, 4.917925, 0.260008),
        (100, 15.737522, 6.853700),
        (1000, 45.116039, 35.274604),
    ):
        inputs = ideal(
            motors=make_motor(2.0, 0.01, rotor_inertia=1e-12, **warm),
            stages=(make_stage(50.0),),
            radius=0.02,
            span=400.0,
            load={"mass": torque * 50 / 0.02 / 9.81, "start_height": 0.001, "height": speed * time},
            rope={"axial_stiffness": 1e9},
        )
        machine = build(inputs)
        # The source keeps the loss constant, so the resistance may not grow.
        row = lift_batch(stack_machines([never_warm(machine)]))[0]
        assert row["lift_time"] - row["spin_up_time"] == pytest.approx(time, rel=1e-6)
        assert row["winding_end"] - 20 == pytest.approx(winding, rel=2e-4)
        assert row["case_end"] - 20 == pytest.approx(case, rel=3e-4)


def test_chain_of_arrays_is_the_chain(small):
    """A batch's raising law is that of each machine alone: losses element by element, never
    lumped."""
    machines = []
    for efficiency in (0.7, 0.8, 0.9):
        inputs = small()
        stage = replace(inputs.stage[0], efficiency=efficiency)
        machines.append(build(replace(inputs, stage=(stage,))))
    drag, per_torque = raising_line(stack_machines(machines).machine.chain)
    for i, machine in enumerate(machines):
        law = demand(machine.chain, 1)
        assert np.broadcast_to(drag, 3)[i] == pytest.approx(law(0.0), rel=1e-12)
        assert per_torque[i] == pytest.approx(law(1.0) - law(0.0), rel=1e-9)
        assert per_torque[i] == pytest.approx(1 / (125 * (0.7, 0.8, 0.9)[i] ** 3), rel=1e-9)


def test_nothing_is_left_to_a_constructor(small):
    """Joining keeps equal numbers plain and makes arrays of the others."""
    first, second = build(small()), build(small(supply={"resistance": 0.3}))
    np.testing.assert_allclose(join([first.source, second.source], [1, 1]).resistance, [0.2, 0.3])
    assert unchecked(first.source, resistance=-1.0).resistance == -1.0
