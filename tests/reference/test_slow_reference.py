"""The quasi-static model against the textbooks' drives: speeds, times, currents and energies of
ideal winches.

Each test names its source; g = 9.81 m/s² as in the sources. Ropes are so stiff that the books'
rigid rope is meant.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math

import numpy as np
import pytest

from winchsim.model import build
from winchsim.slow import lift_all, lift_machine
from winchsim.studies.sizing import most_power, size

pytestmark = pytest.mark.reference

RPM = 2 * math.pi / 60


# The linear motor: speed = no-load speed (1 - M/M_stall). Common to every machines text; own
# arithmetic.
NO_LOAD = 6.0 / 0.01 / 50 * 0.02  # of the load, m/s
STALL = 0.01 * 6.0 / 2.0 * 50 / 0.02 / 9.81  # kg


def test_most_power_at_half_the_stall_load(linear):
    # P_max = M_stall w_0 / 4 at half of both: e.g. MIT course 2.007, tutorial on D.C. motor
    # characteristics.
    found = most_power(size(linear(mass=1.0), "heaviest", margin=1.0))
    assert found.mass == pytest.approx(STALL / 2, rel=0.02)  # the loads tried are 1.5 % apart
    assert found.power == pytest.approx(STALL * 9.81 * NO_LOAD / 4, rel=3e-4)
    assert found.speed == pytest.approx(NO_LOAD / 2, rel=0.02)


# --- textbooks

TWO_LOADS = [
    # G. K. Dubey, Fundamentals of Electrical Drives, Ex. 2.1: wheel against 10 N·m behind a gear of
    # 0.1 at 0.9; 1000 kg at 1.5 m/s with 0.85; 1420 rpm. Printed 117.53 N·m (recomputed 117.5302).
    (10.0, 0.9, 1000.0, 1.5, 0.85, 1420.0, 117.53, 117.5302),
    # J. B. Gupta, Elements of Electric Drives, Ex. 4: 50 N·m at 0.9 behind 0.1; 600 kg at 2 m/s
    # with 0.88; 1500 rpm. Printed 90.72 N·m (recomputed 90.71794).
    (50.0, 0.9, 600.0, 2.0, 0.88, 1500.0, 90.72, 90.71794),
]


@pytest.mark.parametrize(
    ("resist", "gear_e", "mass", "speed", "hoist_e", "rpm", "printed", "torque"), TWO_LOADS
)
def test_motor_with_a_geared_wheel_and_a_hoist(
    ideal, make_motor, make_stage, resist, gear_e, mass, speed, hoist_e, rpm, printed, torque
):
    radius, motor_speed, k, resistance = 0.5, rpm * RPM, 2.0, 0.05
    ratio = motor_speed * radius / speed
    inputs = ideal(
        motors=make_motor(
            resistance, k, voltage=k * motor_speed + resistance * torque / k, rotor_inertia=0.2
        ),
        stages=(make_stage(10.0, shaft_drag=resist / gear_e), make_stage(ratio / 10, hoist_e)),
        radius=radius,
        span=20.0,
        load={"mass": mass, "start_height": 0.001, "height": 5.0},
    )
    row = lift_machine(build(inputs))
    assert row["last_speed"] == pytest.approx(speed, rel=1e-6)
    assert row["last_current"] * k == pytest.approx(torque, rel=1e-5)
    assert row["last_current"] * k == pytest.approx(printed, abs=0.006)


def test_winch_with_a_no_load_torque(ideal, make_motor, make_stage):
    # Gupta & Singhal, Fundamentals of Electric Drives and Control, Ex. 3.7: 400 kg at 1 m/s, motor
    # 1000 rpm, no-load torque 80 N·m. Printed 117.47 N·m (recomputed 117.4714).
    k, resistance, motor_speed, radius = 2.0, 0.02, 1000 * RPM, 0.25
    inputs = ideal(
        motors=make_motor(
            resistance, k, voltage=k * motor_speed + resistance * 117.4714 / k, idle_current=80 / k
        ),
        stages=(make_stage(motor_speed * radius),),
        radius=radius,
        span=10.0,
        load={"mass": 400.0, "start_height": 0.001, "height": 3.0},
    )
    row = lift_machine(build(inputs))
    assert row["last_current"] * k == pytest.approx(117.47, abs=0.006)
    assert row["last_speed"] == pytest.approx(1.0, rel=1e-5)


def test_energy_of_a_trip_with_a_counterweight(ideal, make_motor, make_stage):
    # Gupta & Singhal, Fundamentals of Electric Drives and Control, Ex. 1.1: net 3000 kg up and 2500
    # kg on the way down, 50 m in 90 s, hoist 0.8, motor 0.85. Printed 1 471 500 and 1 226 250 J,
    # 1.102 kWh a trip, 12 trips 13.224 kWh.
    spent = []
    for mass, work in ((3000.0, 1_471_500.0), (2500.0, 1_226_250.0)):
        radius, ratio, k = 0.5, 50.0, 5.0
        motor_speed = 50.0 / 90.0 / radius * ratio
        torque = mass * 9.81 * radius / (ratio * 0.8)
        voltage = k * motor_speed / 0.85
        inputs = ideal(
            motors=make_motor(
                0.15 * voltage / (torque / k), k, voltage=voltage, rotor_inertia=1e-6
            ),
            stages=(make_stage(ratio, 0.8),),
            radius=radius,
            span=60.0,
            load={"mass": mass, "start_height": 0.001, "height": 50.0},
        )
        row = lift_machine(build(inputs))
        assert row["lift_time"] == pytest.approx(
            90.0, rel=3e-4
        )  # the load is brought up to speed besides
        assert row["energy_in"] == pytest.approx(work / (0.8 * 0.85), rel=2e-3)
        spent.append(row["energy_in"])
    assert (sum(spent) / 3.6e6, 12 * sum(spent) / 3.6e6) == pytest.approx((1.102, 13.224), rel=2e-3)


@pytest.mark.parametrize(
    ("slope", "idle", "ratio", "weights", "efforts", "off"),
    [
        # S. S. Bhavikatti, Mechanics of Solids, Ex. 6.2: 150 N for 2400 N and 180 N for 3000 N, so
        # P = 0.05 W + 30; then 200 N lift 3400 N, at an efficiency of 56.67 %.
        (0.05, 30.0, 30.0, (2400, 3000, 3400), (150.0, 180.0, 3400 / 30 / 0.5667), 0.02),
        # The same book, Ex. 6.4: six lifts measured with a machine of velocity ratio 25; the
        # printed law P = 0.06 W + 10.5 goes through the second and the fifth.
        (0.06, 10.5, 25.0, (200, 500), (22.5, 40.5), 1e-3),
        (0.06, 10.5, 25.0, (100, 300, 400, 600), (16.0, 28.0, 34.0, 46.5), 0.51),
    ],
)
def test_law_of_the_machine(
    ideal, make_motor, make_stage, slope, idle, ratio, weights, efforts, off
):
    radius = 0.1  # the effort acts on a wheel of the drum's radius at the motor
    inputs = ideal(
        motors=make_motor(1.0, 1.0, voltage=1000.0, idle_current=idle * radius),
        stages=(make_stage(ratio, 1 / (slope * ratio)),),
        radius=radius,
        span=5.0,
        load={"mass": 100.0, "start_height": 0.001, "height": 1.0},
    )
    lifts = lift_all(inputs, {"load.mass": np.array(weights) / 9.81})
    assert lifts.last_current / radius == pytest.approx(
        efforts, abs=off
    )  # k = 1: the torque is the current
