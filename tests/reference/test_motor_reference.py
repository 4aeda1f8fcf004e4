"""Motor and supply against worked examples of textbooks and published reference results.

Each test names its source. Tolerances: half a unit of the last printed digit, or what the source's own rounding allows,
which is then said; against a value recomputed from the printed inputs, 1e-5 relative.
"""

import math
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

from winchsim.physics.motor import (
    Motor,
    constant_at,
    from_bench,
    from_data_sheet,
    from_points,
    no_load,
    operating_point,
    resistance_at,
    shaft_torque,
    stall,
    steady_current,
)
from winchsim.physics.supply import Regime, Source, balance

pytestmark = pytest.mark.reference

RPM = 2.0 * math.pi / 60.0
UNLIMITED = math.inf


# --- steady running --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("no_load_rpm", "stall_torque", "best_rpm", "best_torque", "power"),
    [
        # MIT course 2.007 (Design and Manufacturing I), tutorial on D.C. motor characteristics: printed speed and torque
        # at maximum power; the power is recomputed from them.
        (600.0, 0.325, 300.0, 0.163, 5.10509),
        (3750.0, 0.0722, 1875.0, 0.0361, 7.08822),
        (92.0, 1.6, 46.0, 0.80, 3.85369),
    ],
)
def test_maximum_power_at_half_the_stall_torque(no_load_rpm, stall_torque, best_rpm, best_torque, power):
    voltage = 12.0
    stall_current = stall_torque * no_load_rpm * RPM / voltage  # of a motor without drag: k is the same both ways
    motor = from_data_sheet(voltage, no_load_rpm * RPM, 0.0, stall_torque, stall_current).motor
    best = minimize_scalar(
        lambda torque: -operating_point(motor, voltage, torque).output_power, bounds=(0.0, stall_torque), method="bounded"
    )
    point = operating_point(motor, voltage, best.x)
    assert point.speed / RPM == pytest.approx(best_rpm, rel=0.005)
    assert point.torque == pytest.approx(best_torque, rel=0.005)
    assert point.output_power == pytest.approx(power, rel=1e-5)


@pytest.mark.parametrize(
    ("idle", "stalled", "best_efficiency", "best_current"),
    [(0.1, 2.5, 0.640000, 0.5), (0.09, 1.4, 0.557193, 0.354965)],
)
def test_greatest_efficiency(idle, stalled, best_efficiency, best_current):
    # Lynch, Marchuk & Elwin, Embedded Computing and Mechatronics, ch. 25 (from memory): the efficiency of a motor with
    # constant drag is greatest at I = sqrt(I0 Is), where it is (1 - sqrt(I0/Is))². Figures worked from that identity.
    voltage, k = 6.0, 0.005
    resistance = voltage / stalled
    motor = Motor(resistance, k, drag=k * idle)
    best = minimize_scalar(
        lambda torque: -operating_point(motor, voltage, torque).efficiency,
        bounds=(0.0, k * (stalled - idle)),
        method="bounded",
        options={"xatol": 1e-12},
    )
    point = operating_point(motor, voltage, best.x)
    assert point.efficiency == pytest.approx(best_efficiency, rel=1e-6)
    assert point.current == pytest.approx(best_current, rel=1e-4)


def test_motor_from_resistance_and_one_unloaded_run():
    # Fitzgerald, Kingsley & Umans, Electric Machinery, Ex. 7.9 (as in its published solved-example companion): armature
    # 1.03 ohm, no load 50 V, 1.25 A, 2100 rpm; then 48 V at 1700 rpm. The book prints K 0.22 V·s/rad, rotational loss
    # 61 W and shaft power 275 W; it rounds K before going on (0.5 % in K), hence 3 % on the power.
    motor = from_bench(terminal_resistance=1.03, no_load_voltage=50.0, no_load_speed=2100 * RPM, no_load_current=1.25).motor
    assert motor.constant == pytest.approx(0.221510, rel=1e-5)
    assert motor.constant == pytest.approx(0.22, abs=0.005)
    assert motor.drag * 2100 * RPM == pytest.approx(60.8906, rel=1e-5)
    magnetic = motor.constant * steady_current(motor, 48.0, 1700 * RPM) * 1700 * RPM
    assert magnetic - 60.8906 == pytest.approx(267.065, rel=1e-5)  # the book keeps the loss power, not the torque
    assert shaft_torque(motor, 48.0, 1700 * RPM) * 1700 * RPM == pytest.approx(275.0, rel=0.03)


def test_motor_cold_and_hot():
    # Engineering examination problem on a permanent-magnet motor: 50 V, 1800 rpm at zero torque, 2 ohm, load 2.0 N·m.
    # The statement was found; the answers are worked by hand from U = R i + k w.
    motor = from_bench(terminal_resistance=2.0, no_load_voltage=50.0, no_load_speed=1800 * RPM, no_load_current=0.0).motor
    cold = operating_point(motor, 50.0, 2.0)
    assert motor.constant == pytest.approx(0.265258, rel=2e-6)
    assert cold.current == pytest.approx(7.53982, rel=1e-5)
    assert motor.constant * cold.speed == pytest.approx(34.9204, rel=1e-5)
    assert cold.speed / RPM == pytest.approx(1257.13, rel=1e-5)
    assert cold.output_power == pytest.approx(263.293, rel=1e-5)
    assert cold.efficiency == pytest.approx(0.698407, rel=1e-5)
    winding = brentq(lambda t: resistance_at(1.0, t) - 1.25, 20.0, 200.0)
    weaker = constant_at(motor.constant, 45.0)  # 25 K at -0.2 %/K: five per cent
    hot_motor = replace(motor, resistance=resistance_at(motor.resistance, winding), constant=weaker)
    hot = operating_point(hot_motor, 50.0, 2.0)
    assert hot.current == pytest.approx(7.93666, rel=1e-5)
    assert hot.speed / RPM == pytest.approx(1142.84, rel=1e-5)
    assert hot.output_power == pytest.approx(239.357, rel=1e-5)
    assert hot.efficiency == pytest.approx(0.603167, rel=1e-5)
    assert no_load(hot_motor, 50.0)[0] / RPM == pytest.approx(1894.74, rel=1e-5)


def test_linear_motor_drives_and_is_driven():
    # Hambley, Electrical Engineering: Principles and Applications, Ex. 16.2 (as in its published companion): a linear
    # machine, 2 V, 0.05 ohm, B l 0.3. The law is that of a motor with force for torque and B l for k.
    machine = Motor(resistance=0.05, constant=0.3, drag=0.0)
    force, current = stall(machine, 2.0)
    assert current == pytest.approx(40.0, abs=0.005)
    assert force == pytest.approx(12.0, abs=0.005)
    assert no_load(machine, 2.0)[0] == pytest.approx(6.67, abs=0.005)
    driving = operating_point(machine, 2.0, 4.0)
    assert driving.speed == pytest.approx(4.44, abs=0.005)
    assert driving.input_power == pytest.approx(26.67, abs=0.005)
    assert driving.output_power == pytest.approx(17.78, abs=0.005)
    assert driving.efficiency == pytest.approx(0.6667, abs=5e-5)
    driven = operating_point(machine, 2.0, -2.0)
    assert driven.speed == pytest.approx(7.78, abs=0.005)
    assert driven.output_power == pytest.approx(-15.56, abs=0.005)
    assert driven.input_power == pytest.approx(-13.33, abs=0.005)
    assert driven.input_power / driven.output_power == pytest.approx(0.8571, abs=5e-5)


def test_hoist_motor():
    # Hambley, Electrical Engineering, Ex. 16.4: 240 V, armature 0.065 ohm, field 10 A, 280 V induced at 1200 rpm,
    # rotational loss 1450 W there (constant torque), load 250 N·m. Printed 995.87 rpm and 85.28 %.
    speed = 1200 * RPM
    motor = Motor(resistance=0.065, constant=280.0 / speed, drag=1450.0 / speed)
    point = operating_point(motor, 240.0, 250.0)
    assert motor.constant == pytest.approx(2.228169, rel=1e-6)
    assert point.current == pytest.approx(117.378, rel=1e-5)
    assert point.speed / RPM == pytest.approx(995.87, abs=0.005)
    assert point.output_power == pytest.approx(26071.9, rel=1e-5)
    assert point.output_power / (point.input_power + 240.0 * 10.0) == pytest.approx(0.8528, abs=5e-5)


def test_regenerating_into_a_source():
    # Dubey, Fundamentals of Electrical Drives, Ex. 5.3 (published companion): 220 V, 200 A, 0.06 ohm, 800 rpm; at
    # 600 rpm it gives 160 A back to a source with 0.04 ohm. Printed: source e.m.f. 140 V.
    k = (220.0 - 200.0 * 0.06) / (800 * RPM)
    source = Source(resistance=0.04, takes_back=True)

    def total(emf):
        return balance(Regime.VOLTAGE, emf, source, (1,), (0.06,), (k * 600 * RPM,), (0.0,), UNLIMITED)[2]

    assert brentq(lambda emf: total(emf) + 160.0, 0.0, 220.0) == pytest.approx(140.0, abs=1e-6)


def test_plugging():
    # Dubey, Fundamentals of Electrical Drives, Ex. 5.8: 220 V, 100 A, 0.05 ohm, 970 rpm; reversed from 1000 rpm with at
    # most 200 A. Printed: 2.16 ohm to add, 423.3 N·m, 210.9 N·m at standstill (0.1 %: the book rounds the resistance).
    k = (220.0 - 100.0 * 0.05) / (970 * RPM)
    added = brentq(
        lambda r: balance(Regime.VOLTAGE, -220.0, Source(r), (1,), (0.05,), (k * 1000 * RPM,), (0.0,), 1e9)[1][0] + 200.0,
        0.1,
        10.0,
    )
    assert added == pytest.approx(2.16, rel=1e-3)
    motor = Motor(resistance=0.05 + added, constant=k, drag=0.0)
    assert shaft_torque(motor, -220.0, 1000 * RPM) == pytest.approx(-423.3, rel=1e-3)
    assert shaft_torque(motor, -220.0, 0.0) == pytest.approx(-210.9, rel=1e-3)


def test_steady_state_against_a_fan_like_load():
    # Gupta & Singhal, Fundamentals of Electric Drives and Control, Ex. 3.12: motor T = 15 - 0.5 w, load T = 0.5 w².
    # Printed: 5 rad/s, stable. Here R 2 ohm, k 1 V·s/rad and 30 V give that motor.
    motor = Motor(resistance=2.0, constant=1.0, drag=0.0)

    def excess(speed):
        return shaft_torque(motor, 30.0, speed) - 0.5 * speed * speed

    steady = brentq(excess, 0.1, 30.0, xtol=1e-12)
    assert steady == pytest.approx(5.0, rel=1e-9)
    assert excess(steady - 0.1) > 0.0 > excess(steady + 0.1)


def test_first_order_start():
    # GATE EE 2020 (Indian entrance examination), question 34: a motor on 5 V reaches 6.32 rad/s at 0.5 s and 10 rad/s in
    # the end. Printed transfer function 2/(0.5 s + 1).
    motor = Motor(resistance=1.0, constant=0.5, drag=0.0, inertia=0.125)
    start = solve_ivp(lambda t, w: shaft_torque(motor, 5.0, w) / motor.inertia, (0.0, 0.5), [1e-12], rtol=1e-9, atol=1e-12)
    assert start.y[0, -1] == pytest.approx(6.32, abs=0.005)
    assert no_load(motor, 5.0)[0] == pytest.approx(10.0, rel=1e-12)


def test_resistance_from_the_fall_of_speed():
    # Examination problem of the GATE kind, separately excited motor: 200 V, 1500 rpm unloaded, 1400 rpm at 5 N·m.
    # Printed 3.4 ohm (0.2 %).
    k = 200.0 / (1500 * RPM)
    fit = from_points(200.0, [0.0, 5.0], [1500 * RPM, 1400 * RPM], [0.0, 5.0 / k])
    assert fit.motor.resistance == pytest.approx(3.4, rel=2e-3)
    assert fit.motor.resistance == pytest.approx(3.395305, rel=1e-6)
    assert fit.motor.constant == pytest.approx(1.273240, rel=1e-6)
    assert operating_point(fit.motor, 200.0, 5.0).current == pytest.approx(3.926991, rel=1e-6)


def test_voltage_for_half_the_speed_of_a_fan():
    # Examination problem of the GATE kind, load with the square of the speed: 100 V, 1000 rpm, 10 A, 1 ohm; 500 rpm
    # needs 47.5 V.
    motor = Motor(resistance=1.0, constant=(100.0 - 10.0) / (1000 * RPM), drag=0.0)
    load = 10.0 * motor.constant / 4.0
    assert operating_point(motor, 47.5, load).speed / RPM == pytest.approx(500.0, rel=1e-12)


def test_currents_of_school_problems():
    # Common college-physics problems, as printed there: running and starting current against back e.m.f. and resistance.
    assert steady_current(Motor(115.0 / 21.5, 1.0, 0.0), 115.0, 80.23) == pytest.approx(6.5, abs=0.005)
    assert steady_current(Motor(0.5, 1.0, 0.0), 6.0, 4.5) == pytest.approx(3.0)
    assert stall(Motor(0.5, 1.0, 0.0), 6.0)[1] == pytest.approx(12.0)
    assert stall(Motor(13.0, 1.0, 0.0), 120.0)[1] == pytest.approx(9.23, abs=0.005)
    assert steady_current(Motor(13.0, 1.0, 0.0), 120.0, 66.0) == pytest.approx(4.15, abs=0.005)
    assert steady_current(Motor(0.15, 1.0, 0.0), 460.0, 442.0) == pytest.approx(120.0)
    assert steady_current(Motor(0.15, 1.0, 0.0), 460.0, 447.4) == pytest.approx(84.0)
    # OpenStax, College Physics, sect. 23.6 (from memory): 48 V, 0.4 ohm, back e.m.f. 40 V.
    assert steady_current(Motor(0.4, 1.0, 0.0), 48.0, 40.0) == pytest.approx(20.0)
    assert stall(Motor(0.4, 1.0, 0.0), 48.0)[1] == pytest.approx(120.0)


def test_start_at_constant_current():
    # J. B. Gupta, Elements of Electric Drives, Ex. 22: 37.5 kW, 500 rpm, 20 kg·m², load at rated torque, starting torque
    # between 1.1 and 1.4 times rated. Printed 5.85 s. A supply in its limit gives the mean torque all the way.
    rated = 37500.0 / (500 * RPM)
    k, source, limit = 4.0, Source(0.0), 1.25 * rated / 4.0

    def rate(t, state):
        current = balance(Regime.CURRENT, 500.0, source, (1,), (0.1,), (k * state[0],), (0.0,), limit)[1][0]
        return [(k * current - rated) / 20.0]

    def up_to_speed(t, state):
        return state[0] - 500 * RPM

    up_to_speed.terminal = True
    run = solve_ivp(rate, (0.0, 20.0), [0.0], events=up_to_speed, rtol=1e-9)
    assert run.t_events[0][0] == pytest.approx(5.85, abs=0.005)


# --- transients ------------------------------------------------------------------------------------------------


class TestVoltageStep:
    """Control Tutorials for MATLAB and Simulink (University of Michigan), "DC Motor Speed", modelling and analysis.

    J 0.01 kg·m², b 0.1 N·m·s, K 0.01, R 1 ohm, 1 V step. Printed: gain 0.1, the mechanical pole near -10.
    """

    motor = Motor(resistance=1.0, constant=0.01, drag=0.0, drag_slope=0.1, inertia=0.01)

    def test_gain(self):
        point = operating_point(self.motor, 1.0, 0.0)
        assert point.speed == pytest.approx(0.1, rel=0.005)
        assert point.speed == pytest.approx(0.0999001, rel=1e-6)
        assert point.current == pytest.approx(0.999001, rel=1e-6)

    def test_mechanical_pole(self):
        _, (stalled,), _ = balance(Regime.VOLTAGE, 1.0, Source(0.0), (1,), (1.0,), (0.0,), (0.0,), UNLIMITED)
        _, (turning,), _ = balance(Regime.VOLTAGE, 1.0, Source(0.0), (1,), (1.0,), (0.01,), (0.0,), UNLIMITED)
        slope = (0.01 * (turning - stalled) - 0.1) / 0.01
        assert slope == pytest.approx(-10.0, rel=0.005)


def test_end_of_the_short_circuit_braking_of_a_hanging_load():
    # Dubey, Fundamentals of Electrical Drives, Ex. 5.9: 220 V, 1000 rpm, 175 A, 0.08 ohm; braked from 1050 rpm on a resistor
    # that limits the first current to 350 A, load torque 15 % of rated keeps pulling. Printed: in the end the load runs the
    # motor backwards at 8.247 rad/s, at R T/k², with 26.25 A.
    k = (220.0 - 175.0 * 0.08) / (1000 * RPM)
    load = 0.15 * 175.0 * k
    resistance = k * 1050 * RPM / 350.0
    assert k == pytest.approx(1.967155, rel=1e-6)
    assert resistance == pytest.approx(0.618, rel=1e-3)
    back = operating_point(Motor(resistance=resistance, constant=k, drag=0.0), 0.0, load)
    assert back.speed == pytest.approx(-8.247, rel=2e-3)
    assert back.current == pytest.approx(26.25, rel=2e-3)


def test_start_by_a_voltage_ramp():
    # Modelica Standard Library 4.0.0, Modelica Association (BSD-3-Clause): published reference results of its example of a
    # permanent-magnet DC machine started by a voltage ramp. 0.05 ohm, 95 V at 149.22565 rad/s, 0.30 kg·m²; voltage 0 until
    # 0.2 s, then up to 100 V at 1.0 s; 63.66 N·m from 1.5 s. Its inductance of 1.5 mH is not in the law, so only the slow
    # parts may be compared: end of the ramp and 2.0 s, 0.5 %.
    motor = Motor(resistance=0.05, constant=95.0 / 149.22565, drag=0.0)
    source = Source(0.0)

    def rhs(t, state, volts, load):
        _, (current,), _ = balance(
            Regime.VOLTAGE, volts(t), source, (1,), (0.05,), (motor.constant * state[0],), (0.0,), UNLIMITED
        )
        return [(motor.constant * current - load) / 0.30]

    ramp = solve_ivp(rhs, (0.2, 1.0), [0.0], args=(lambda t: 125.0 * (t - 0.2), 0.0), rtol=1e-9)
    assert ramp.y[0, -1] == pytest.approx(149.81254, rel=0.005)
    idle = solve_ivp(rhs, (1.0, 1.5), ramp.y[:, -1], args=(lambda t: 100.0, 0.0), rtol=1e-9)
    loaded = solve_ivp(rhs, (1.5, 2.0), idle.y[:, -1], args=(lambda t: 100.0, 63.66), rtol=1e-9)
    assert loaded.y[0, -1] == pytest.approx(149.22785, rel=0.005)
    assert steady_current(motor, 100.0, loaded.y[0, -1]) == pytest.approx(99.9743, rel=0.005)
