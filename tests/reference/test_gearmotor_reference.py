"""Gearmotors and motors against makers' tables and measured lifts: what is given comes back, in the
law and in a lift.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math
from pathlib import Path

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.inputs import Gearbox, MotorGroup
from winchsim.model import Event
from winchsim.physics import motor
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference

RPM = 2.0 * math.pi / 60.0
KGMM = 9.80665e-3
G = 9.80665


def _table():
    lines = (
        (Path(__file__).parent / "data" / "gearmotors-12v.csv")
        .read_text(encoding="utf-8")
        .splitlines()
    )
    head, *rows = (line.split(",") for line in lines if not line.startswith("#"))
    return [
        {key: float(cell) if cell else None for key, cell in zip(head, row, strict=True)}
        for row in rows
    ]


TABLE = _table()
each_row = pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['ratio']:g}")
each_geared = pytest.mark.parametrize("row", TABLE[1:], ids=lambda row: f"{row['ratio']:g}")


def four(row):
    return {
        "voltage": 12.0,
        "no_load_speed": row["no_load_rpm"] * RPM,
        "no_load_current": row["no_load_A"],
        "stall_torque": row["stall_torque_kgmm"] * KGMM,
        "stall_current": row["stall_A"],
    }


def fit(row):
    return motor.from_data_sheet(
        **four(row), gearbox=motor.OutputGearbox(row["ratio"]) if row["ratio"] > 1 else None
    )


@each_row
def test_two_points_come_back_in_the_law(row):
    found, given = fit(row), four(row)
    free, held = (
        found.operating_point(12.0, 0.0),
        found.operating_point(12.0, given["stall_torque"] * (1 - 1e-9)),
    )
    assert (free.speed, free.current) == pytest.approx(
        (given["no_load_speed"], given["no_load_current"]), rel=1e-6
    )
    assert held.current == pytest.approx(given["stall_current"], rel=1e-6)
    assert held.speed == pytest.approx(0.0, abs=1e-6 * given["no_load_speed"])
    assert found.stall_torque == pytest.approx(given["stall_torque"])


@each_geared
def test_best_efficiency_is_near_that_of_the_table(row):
    # Speed within 12 %; current within 40 %, as the friction of a gearbox grows with its torque.
    point = fit(row).operating_point(12.0, row["eff_torque_kgmm"] * KGMM)
    assert point.speed / RPM == pytest.approx(row["eff_rpm"], rel=0.12)
    assert point.current == pytest.approx(row["eff_A"], rel=0.40)


def raised(small, row, share):
    """A gearmotor on the drum itself, with a share of its stall torque hanging there and no other
    loss."""
    given = four(row)
    group = MotorGroup(
        **given,
        gearbox=Gearbox(ratio=row["ratio"]) if row["ratio"] > 1 else None,
        rotor_inertia=1e-7,
        magnet_coefficient=0.0,
        winding_heat_capacity=1e6,
        case_heat_capacity=1e6,
        winding_to_case=1.0,
        case_to_ambient=1.0,
    )
    mass, radius = share * given["stall_torque"] / (0.006 * G), 0.006
    lag = radius * given["no_load_speed"] / G  # time constant with the load's mass on the drum
    height = max(0.02, 12.0 * lag * 0.05 * given["no_load_speed"] * radius)
    return simulate(
        small(
            motors=group,
            stage=(),
            supply={"voltage": 12.0, "resistance": 0.0},
            rope={"axial_stiffness": 1e3 * mass * G},
            drum={"bearing_efficiency": 1.0, "width": 0.5},
            load={"mass": mass, "height": height},
            settings={"watch": 0.0, "stall_watch": 0.2},
        )
    )


@each_row
def test_just_less_than_the_stall_torque_is_lifted_and_just_more_is_not(small, row):
    lifted, stalls = raised(small, row, 0.95), raised(small, row, 1.05)
    assert lifted.first(Event.TOP) is not None
    assert stalls.first(Event.STALLED) is not None and stalls["height"].max() < 5e-3, (
        "it may twitch, no more"
    )
    assert lifted["drum_speed"][lifted.time <= lifted.first(Event.TOP).time][-1] == pytest.approx(
        fit(row).operating_point(12.0, 0.95 * four(row)["stall_torque"]).speed, rel=1e-4
    )
    stalled = (stalls.phase == 0) & (stalls.time > stalls.first(Event.STALLED).time)
    assert stalls["motor_1_current"][stalled] == pytest.approx(row["stall_A"], rel=1e-4)


def test_the_gearbox_takes_what_the_bare_motor_does_not():
    # Same table: gearbox at a stall against the bare motor, 0.96 at 6.25:1 falling to 0.65 at
    # 150:1.
    bare = fit(TABLE[0]).output.efficiency
    shares = [fit(row).output.efficiency / bare for row in TABLE[1:]]
    assert shares[0] == pytest.approx(0.96, abs=0.005) and shares[-1] == pytest.approx(
        0.653, abs=0.005
    )


@pytest.mark.parametrize(
    ("name", "rpm"),
    [("M", (328.3, 239.9, 125.5)), ("L", (315.8, 258.8, 184.3)), ("XL", (197.1, 184.1, 165.8))],
)
def test_two_motors_on_one_shaft(name, rpm):
    # Philippe Hurbain, philohome.com/pfrec/coupling.htm (excerpt read, whole page): speed of a pair
    # of equal motors at 2.56, 6.40 and 11.5 N·cm. Half the torque each on a straight line through
    # the first and the last gives the middle.
    torque = np.array([0.0256, 0.0640, 0.115])
    speed = np.array(rpm) * RPM
    slope = (speed[0] - speed[2]) / (torque[2] - torque[0])
    free, held = speed[0] + slope * torque[0], (speed[0] + slope * torque[0]) / slope
    one = motor.from_data_sheet(9.0, free, 0.1, held / 2, 1.0 if name == "M" else 1.5, strict=False)
    assert one.no_load_speed == pytest.approx(free)
    assert one.operating_point(9.0, torque[1] / 2).speed / RPM == pytest.approx(rpm[1], rel=0.01)


def test_a_data_sheet_that_agrees_with_itself():
    # T. Wilmshurst, Designing Embedded Systems with PIC Microcontrollers, App. 3 (excerpt read,
    # whole table), motor of the RE280 type at 12 V: 8400 rpm and 0.1 A free, 100 g·cm stalled (0.9
    # A by its best point); best 6300 rpm, 0.3 A, 25 g·cm, 1.62 W, 45 %.
    gram_cm = 9.80665e-5
    found = motor.from_data_sheet(12.0, 8400 * RPM, 0.1, 100 * gram_cm, 0.9)
    best = found.operating_point(12.0, 25 * gram_cm)
    excess = 100 * gram_cm / found.stall_torque - 1
    assert found.output.efficiency == 1.0 and 0.005 < excess < 0.02, "1 % too much torque"
    assert best.speed / RPM == pytest.approx(6300.0, rel=0.01)
    power = best.torque * best.speed
    assert (best.current, power, power / (12.0 * best.current)) == pytest.approx(
        (0.3, 1.62, 0.45), rel=0.02
    )


def test_current_and_voltage_at_a_working_point():
    # Portescap catalogue V012024, p. 224 (excerpt read, whole example), motor 22DCP 32G1 213P.1: k
    # 8.48 mN·m/A, 4.3 ohm, 53 mA; 6 mN·m at 2000 rpm. Printed: 0.76 A, 5.0 V.
    rotor = motor.Motor(resistance=4.3, constant=8.48e-3, drag=8.48e-3 * 0.053)
    point = motor.operating_point(rotor, 5.0464, 6e-3)
    assert point.current == pytest.approx(0.76, abs=0.005)
    assert point.speed / RPM == pytest.approx(2000.0, rel=1e-4)


def test_a_label_that_contradicts_a_lever_test_is_noted():
    # gasstationwithoutpumps.wordpress.com, 1 August 2012 (excerpt read): Mitsumi M38E-3SC, 21.4 mA
    # free at 12.9 V; stalled 0.7 N on a wheel of 25 mm radius with 0.65 A. Its label, 2400 rpm at
    # 12 V, gives 1.8 times the constant before the free current is allowed for, 1.66 times after.
    found = motor.from_bench(12.0 / 0.65, 12.0, 2400 * RPM, 0.0214, 12.0, 0.65, 0.7, 0.025)
    assert found.output.efficiency == pytest.approx(1 / 1.66, rel=0.01)
    assert len(found.notes) == 1
    assert found.best_measurement is None, "every measurement was given"


def test_a_can_motor_of_a_kit_shop():
    # Adafruit, product 711 (read at second hand): 130-size, 6 V, 9100 rpm, 70 mA free, 0.5 A and 20
    # g·cm stalled. Torque and speed contradict each other: 20 g·cm is more than 0.43 A can make at
    # that speed unless the rotor lost next to nothing.
    found = motor.from_data_sheet(6.0, 9100 * RPM, 0.07, 20 * 9.80665e-5, 0.5)
    assert 0.8 < found.output.efficiency <= 1.0
    with pytest.raises(DomainError):
        motor.from_data_sheet(6.0, 9100 * RPM, 0.07, 2 * 20 * 9.80665e-5, 0.5)
