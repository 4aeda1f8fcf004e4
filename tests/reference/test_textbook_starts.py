"""Starts, steady hauls and stops of textbook drives, run as lifts of a whole ideal winch.

Unless a row says otherwise, its example was read in a published collection of the book's worked
examples (data, solution and printed answer), not on the book's own page. A printed answer that is
wrong is replaced by the right one, with the reason.
"""

import math
from typing import NamedTuple

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from winchsim.inputs import Brake, Phase
from winchsim.model import Event
from winchsim.physics.chain import Chain, Element, GroupMesh, find_branch
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference

RPM = 2 * math.pi / 60
G = 9.81
FOOT, INCH, POUND_FORCE = 0.3048, 0.0254, 4.4482216152605
FOOT_POUND = FOOT * POUND_FORCE
HORSEPOWER = 746.0


# --- starts with a constant torque ----------------------------------------------------------------


class Start(NamedTuple):
    """Motor inertia and torque, ratio and efficiency, inertia, load torque and final speed of the
    drum shaft, printed time and its tolerance."""

    rotor: float
    torque: float
    ratio: float
    efficiency: float
    drum: float
    resist: float
    speed: float
    time: float
    off: float


def rated(power: float, rpm: float, drive: float, inertia: float, time: float, off: float) -> Start:
    """Start of a machine that carries its rated torque and is driven with a multiple of it."""
    torque = power / (rpm * RPM)
    return Start(1e-3, drive * torque, 1.0, 1.0, inertia, torque, rpm * RPM, time, off)


def stored(energy: float, rpm: float) -> float:
    return 2 * energy / (rpm * RPM) ** 2


CONVEYOR = 100e3 / 3600 * 200 / 1.2
STARTS = {
    # R. S. Khurmi, J. K. Gupta, Theory of Machines, Ex. 3.17, p. 55: to 60 rpm in printed 3.7 s.
    "geared machine": Start(0.6, 30.0, 9.0, 0.95, 45.0, 100.0, 60 * RPM, 3.66, 2e-3),
    # The same, Ex. 3.14, p. 51: at a ratio of 4 printed 6.25 rad/s² of the machine.
    "inertia alone": Start(2.0, 100.0, 4.0, 1.0, 32.0, 0.0, 6.25, 1.0, 1e-3),
    # A. N. Gobby, Solutions to Problems in Applied Mechanics, ch. 2, Ex. 10, p. 22 (figure not
    # seen): drum of 2240 lb, k 3 ft; rope pull 364.9 lbf on 4 ft; to 20 ft/s in 150 ft: 15 s with
    # printed 1668.30 lbf·ft.
    "hauling drum": Start(
        1e-3, 1668.30 * FOOT_POUND, 1.0, 1.0, 2240 / 32.2 * 9 * FOOT_POUND, 4 * 364.9 * FOOT_POUND,
        5.0, 15.0, 1e-3,
    ),
    # B. L. Theraja, Electrical Technology, vol. II, Ex. 29.18, p. 1008: 1.6 times rated, load held.
    # Printed 46.405 s takes 3.14 for pi.
    "75 hp": rated(55950.0, 750.0, 1.6, 252.8, 46.4521, 1e-3),
    # Ex. 29.19: 1.2 times rated. Printed 4.4055 s, pi as before.
    "20 hp": rated(14920.0, 400.0, 1.2, 7.5, 4.41001, 1e-3),
    # J. B. Gupta, Elements of Electric Drives, ch. 1, Ex. 23, p. 80: 660 kgf·m stored a kW, twice
    # the load's torque. Printed 12.95 s.
    "stored in kgf·m": rated(37500.0, 500.0, 2.0, stored(660 * 37.5 * G, 500.0), 12.95, 1e-3),
    # The same, Ex. 21, p. 80: 100 against 30 N·m, 10 Hz in a second: printed 1.114 kg·m².
    "inertia from a start": Start(1e-6, 100.0, 1.0, 1.0, 1.114, 30.0, 20 * math.pi, 1.0, 1e-3),
    # C. L. Wadhwa, Generation, Distribution and Utilization, drives, Ex. 9, p. 212: 5000 J stored a
    # hp, 1.5 times rated. Printed 26.81 s.
    "150 hp": rated(150 * HORSEPOWER, 955.0, 1.5, stored(150 * 5000.0, 955.0), 26.81, 1e-3),
    # J. B. Gupta, Hoist Ex. 22: 37.5 kW, 500 rpm, 20 kg·m², 1.25 times rated. Printed 5.85 s.
    "mean of 1.1 and 1.4": rated(37500.0, 500.0, 1.25, 20.0, 5.85, 1e-3),
    # Gupta and Singhal, Electric Drives and Control, Ex. 3.6, p. 36: conveyor of 100 t/h at 1.2
    # m/s over 200 m, 1200 rpm, 0.1 kg·m², 8 s: printed 8.2 N·m.
    "conveyor": Start(
        0.1, 8.2, 120 * RPM * 10 * 0.05 / 1.2, 1.0, CONVEYOR * 0.05**2, 0.0, 1.2 / 0.05, 8.0, 2e-3
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", STARTS)
def test_time_of_a_start(ideal, make_motor, make_stage, name):
    start = STARTS[name]
    radius = 1e-3
    mass = max(start.resist / G / radius, 1e-3)
    record = simulate(
        ideal(
            motors=make_motor(1.0, 1.0, voltage=1e5, rotor_inertia=start.rotor),
            supply={"current_limit": start.torque},
            stages=() if start.ratio == 1.0 else (make_stage(start.ratio, start.efficiency),),
            radius=radius,
            span=10.0,
            drum={"inertia": start.drum - mass * radius**2 - (start.ratio == 1.0) * start.rotor},
            load={"mass": mass, "start_height": 1e-3, "height": 5.0},
            settings={"gravity": G},
            phase=(Phase(action="raise", until="time", time=1.5 * start.time),),
        )
    )
    taken = float(np.interp(start.speed, record["drum_speed"], record.time))
    assert taken == pytest.approx(start.time, rel=start.off)
    assert record.energy.error <= 1e-4


@pytest.mark.parametrize(
    ("rotor", "torque", "efficiency", "drum", "resist", "best"),
    [
        # R. S. Khurmi, J. K. Gupta, Theory of Machines, Ex. 3.14, p. 51: ratio of the greatest
        # acceleration, printed 4.
        (2.0, 100.0, 1.0, 32.0, 0.0, 4.0),
        # Ex. 3.17, p. 55: printed 13.235 uses 27.5 N·m for 30 times 0.95; right is 13.0617.
        (0.6, 30.0, 0.95, 45.0, 100.0, 13.0617),
    ],
)
def test_ratio_of_the_greatest_acceleration(rotor, torque, efficiency, drum, resist, best):
    def slowness(ratio):
        gear = Element("gear", ratio, efficiency, efficiency, 0.0, drum)
        chain = Chain((GroupMesh((), rotor),), 0.0, (gear,))
        return -find_branch(chain, 1, [torque], resist).acceleration([torque], resist)

    found = minimize_scalar(slowness, bounds=(1.0, 40.0), method="bounded", options={"xatol": 1e-6})
    assert found.x == pytest.approx(best, rel=1e-4)


def test_cage_raised_with_a_constant_torque(ideal, make_motor):
    # R. K. Bansal, Engineering Mechanics, Ex. 15.41, p. 591: cage of 2940 N, drum of 1.2 m and 735
    # N, k 0.55 m, 4000 N·m. Printed: 10.27 m/s², 6019.71 N, 20 m in 1.97 s.
    record = simulate(
        ideal(
            motors=make_motor(1.0, 10.0, voltage=1e4),
            supply={"current_limit": 400.0},
            radius=0.6,
            span=40.0,
            drum={"inertia": 75 * 0.55**2},
            load={"mass": 300.0, "start_height": 1e-3, "height": 20.0},
            settings={"gravity": 9.8},
            phase=(Phase(action="raise", until="top"),),
        )
    )
    time = record.first(Event.TOP).time
    assert time == pytest.approx(1.97, abs=5e-3)
    middle = (record.time > 0.3 * time) & (record.time < 0.9 * time)
    pull, rate = (
        np.median(record["tension"][middle]),
        np.polyfit(record.time[middle], record["speed"][middle], 1)[0],
    )
    assert pull == pytest.approx(6019.71, rel=3e-4)
    assert rate == pytest.approx(10.27, abs=5e-3)


def test_torque_for_an_acceleration_of_a_geared_hoist(ideal, make_motor, make_stage):
    # Hoist of a mechanics course with solution, askfilo.com, example 2-1 (excerpt): 70 kg at 1 m/s²
    # on a radius of 0.2 m, 20/100 teeth, 0.8 and 10 kg·m²: printed 60.3 N·m. Another printed
    # answer, 959.7 N·m (gauthmath.com, excerpt), adds inertias without the ratio: wrong.
    record = simulate(
        ideal(
            motors=make_motor(1.0, 1.0, voltage=1e4, rotor_inertia=0.8),
            supply={"current_limit": 60.3},
            stages=(make_stage(5.0),),
            radius=0.2,
            span=10.0,
            drum={"inertia": 10.0},
            load={"mass": 70.0, "start_height": 1e-3, "height": 5.0},
            phase=(Phase(action="raise", until="time", time=2.0),),
        )
    )
    assert np.polyfit(record.time, record["speed"], 1)[0] == pytest.approx(1.0, abs=2e-3)


# --- steady hauls ---------------------------------------------------------------------------------


class Haul(NamedTuple):
    """Mass, gravity, guide friction, speed and train of a haul, and the motor power it takes."""

    mass: float
    gravity: float
    friction: float
    speed: float
    efficiency: float
    power: float
    off: float


POUND = 0.45359237
HAULS = {
    # A. Beiser, Schaum's Physical Science, Ex. 5.8, p. 32: 500 kg by 80 m in printed 32.842 s.
    "20 hp hoist": Haul(500.0, 9.8, 0.0, 80 / 32.842, 0.8, 20 * 746.0, 1e-4),
    # NCERT, Physics XI, part I, Ex. 6.11: printed 44 000 W.
    "elevator with friction": Haul(1800.0, 10.0, 4000.0, 2.0, 1.0, 44000.0, 1e-4),
    # H. C. Verma, Concepts of Physics 1, ch. 8: printed 1.3137 hp.
    "half a tonne": Haul(500.0, 9.8, 0.0, 0.2, 1.0, 1.3137 * 746, 1e-4),
    # drjackthetutor.com, question 1829233 (excerpt, complete): 10 hp (7457 W), 12 in drum at 30
    # rpm; printed 3503 lb with 3.14 for pi, right is 3501.4.
    "truck winch": Haul(3501.4 * POUND, 9.80665, 0.0, math.pi / 2 * FOOT, 1.0, 7457.0, 2e-4),
    # S. B. Junnarkar, Mechanics of Structures, ch. 12, Ex. 12, p. 466: 10 long tons at 25 ft/min
    # through 0.64: 26.515 hp of 33 000 ft·lbf/min (the printed shaft of 2.010 in follows from it).
    "crane": Haul(
        22400 * POUND, 9.80665, 0.0, 25 * FOOT / 60, 0.64, 26.515 * 550 * FOOT_POUND, 1e-4
    ),
    # physicsforums.com, thread 387295 (excerpt, complete): 0.2 kg by 2 m in 5 s from 6 V and 0.25 A
    # at printed 53 %, which with g = 10 is 53.33 %.
    "toy": Haul(0.2, 10.0, 0.0, 0.4, 0.5333, 1.5, 2e-4),
}


@pytest.mark.parametrize("name", HAULS)
def test_power_of_a_steady_haul(ideal, make_motor, make_stage, name):
    haul = HAULS[name]
    radius, ratio = 0.1, 10.0
    motor_speed = haul.speed / radius * ratio
    resistance = 0.05 * motor_speed**2 / haul.power
    record = simulate(
        ideal(
            motors=make_motor(resistance, 1.0, voltage=1.05 * motor_speed, rotor_inertia=1e-4),
            stages=(make_stage(ratio, haul.efficiency),),
            radius=radius,
            span=20.0,
            load={
                "mass": haul.mass,
                "start_height": 1e-3,
                "height": 1.0,
                "guide_friction": haul.friction,
            },
            settings={"gravity": haul.gravity},
            phase=(Phase(action="raise", until="top"),),
        )
    )
    assert record["speed"][-1] == pytest.approx(haul.speed, rel=1e-4)
    power = record["motor_1_torque"][-1] * record["motor_1_speed"][-1]
    assert power == pytest.approx(haul.power, rel=haul.off)


# --- stops ----------------------------------------------------------------------------------------


class Stop(NamedTuple):
    """Inertia of a drum, the torque that slows it, its speeds before and after, printed time."""

    inertia: float
    torque: float
    rpm: float
    down_to: float
    time: float
    off: float
    by: str


STOPS = {
    # B. K. Sarkar, Theory of Machines, ch. 10, Ill. 8, p. 274: 80 kg, k 0.5 m, band of 260° at 0.23
    # on 0.32 m: 41.2098 N·m. Printed 12.7 s.
    "band brake": Stop(20.0, 41.2098, 250.0, 0.0, 12.7, 2e-3, "brake"),
    # Ill. 10, p. 275: 12 blocks, 2 t, k 0.5 m. Printed 2481.63 N·m, 7.59 s (its degree is 1/57.3).
    "block brake": Stop(500.0, 2482.27, 360.0, 0.0, 7.59, 1e-3, "brake"),
    # J. B. Gupta, Elements of Electric Drives, Ex. 42, p. 125: 1.4 + 165 kgf·m. Printed 30.3 s.
    "constant braking torque": Stop(630.0, 166.4 * G, 750.0, 0.0, 30.3, 1e-3, "brake"),
    # U. A. Bakshi, DC Machines, Ex. 3.19, p. 42: run-down from 1030 to 970 rpm, 36 s without field
    # (1368.75 W at 1000 rpm), 15 s with it (1916.25 W more), 74.89 kg·m².
    "run-down": Stop(74.89, 1368.75 / (1000 * RPM), 1030.0, 970.0, 36.0, 1e-3, "drag"),
    "run-down, field on": Stop(74.89, 3285.0 / (1000 * RPM), 1030.0, 970.0, 15.0, 1e-3, "drag"),
    # Ex. 3.20: 40 and 20 s, 55.96 kg·m², 920.45 W each.
    "second run-down": Stop(55.96, 920.45 / (1000 * RPM), 1030.0, 970.0, 40.0, 1e-3, "drag"),
    "second, field on": Stop(55.96, 1840.9 / (1000 * RPM), 1030.0, 970.0, 20.0, 1e-3, "drag"),
}


@pytest.mark.parametrize("name", STOPS)
def test_time_of_a_stop(ideal, make_motor, name):
    stop = STOPS[name]
    k, rotor, before = 2.0, 1e-4, 60.0
    idle = stop.torque / k if stop.by == "drag" else 0.0
    fast = stop.rpm * RPM * 1.001
    record = simulate(
        ideal(
            motors=make_motor(
                1e-3, k, voltage=k * fast + 1e-3 * idle, rotor_inertia=rotor, idle_current=idle
            ),
            radius=1e-4,
            span=10.0,
            drum={"inertia": stop.inertia - rotor},
            brake=Brake(torque=stop.torque, place="drum") if stop.by == "brake" else None,
            load={"mass": 1e-3, "start_height": 1e-3, "height": 5.0},
            phase=(
                Phase(action="raise", until="time", time=before),
                Phase(action="off", until="time", time=1.5 * stop.time),
            ),
        ),
        times=np.linspace(before, before + 1.45 * stop.time, 3001),
    )
    slowing = record.phase == 1
    speed, time = record["drum_speed"][slowing][::-1], record.time[slowing][::-1]
    at = np.interp([stop.down_to * RPM + 1e-3, stop.rpm * RPM], speed, time)
    assert at[0] - at[1] == pytest.approx(stop.time, rel=stop.off)
    assert record.energy.error <= 1e-4
