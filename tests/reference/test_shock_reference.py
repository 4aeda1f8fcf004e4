"""Shock on an elastic rope: loads let go at once, dropped, or stopped, against worked examples of
strength of materials.

The examples speak of bars and beams; here a rope of the same stiffness takes their place.
Recomputed from the printed inputs.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Brake, Pawl, Phase
from winchsim.model import Event, build
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference

INCH, KIP = 0.0254, 4448.2216


def let_go(ideal, make_motor, weight, stiffness, span, slack):
    """Record of a load let go on an unstretched rope, with the drum held by its pawl."""
    inputs = ideal(
        motors=make_motor(1.0, 1.0),
        radius=0.2,
        span=span,
        drum={"drag": 1.0},
        rope={"axial_stiffness": stiffness * (span + slack), "damping_ratio": 0.0},
        load={"mass": weight / 9.81, "start_height": 2.0, "height": 0.05},
        pawl=Pawl(),
        phase=(Phase(action="off", until="time", time=0.3),),
    )
    machine = replace(build(inputs), free_rope=span + slack)
    return simulate(machine, times=np.linspace(0.0, 0.3, 20001), rtol=1e-9)


def test_load_let_go_on_an_unstretched_rope(ideal, make_motor):
    # R. C. Hibbeler, Mechanics of Materials, Ex. 14.8: 150 kip put at once on an aluminium pipe, 6
    # in outside, 5 in inside, 12 in long, E 10 000 ksi. Printed: static 0.0208 in, at once 0.0417
    # in: twice as much (recomputed 0.0208348, 0.0416697).
    weight = 150 * KIP
    stiffness = 1e4 * math.pi / 4 * (6**2 - 5**2) / 12 * KIP / INCH
    assert weight / stiffness / INCH == pytest.approx(0.0208, abs=5e-5)
    record = let_go(ideal, make_motor, weight, stiffness, 12 * INCH, 0.0)
    most = (2.0 - record["height"].min()) / INCH
    assert most == pytest.approx(0.0417, abs=5e-5)
    assert most == pytest.approx(0.0416697, rel=1e-5)
    assert record["tension"].max() == pytest.approx(2 * weight, rel=1e-5)
    assert np.all(record["drum_speed"] == 0.0)
    assert record.energy.error <= 1e-4


def rod(diameter, length, modulus=200e9):
    """Stiffness of a round bar. [N/m]"""
    return modulus * math.pi / 4 * diameter**2 / length


def disc(diameter):
    return math.pi / 4 * diameter**2


@pytest.mark.parametrize(
    ("weight", "stiffness", "height", "area", "stress", "off"),
    [
        # Weight, stiffness, fall before the rope is taut, area; greatest stress. R. C. Hibbeler,
        # Mechanics of Materials, Ex. 14.9: 1.5 kip fall 2 in onto a beam of 16 ft span, I 209 in⁴,
        # E 29 000 ksi: n = 1 + sqrt(1 + 2 h/d) is 11.51713.
        (
            1.5 * KIP,
            48 * 29000 * 209 / (16 * 12) ** 3 * KIP / INCH,
            2 * INCH,
            1.0,
            11.51713 * 1.5 * KIP,
            1e-5,
        ),
        # R. K. Bansal, Strength of Materials (published companion): Ex. 4.10, p. 155: printed 60.3
        # MPa.
        (100.0, 200e9 * 150e-6 / 1.5, 20e-3, 150e-6, 60.3e6, 1e-3),
        # Ex. 4.17, p. 162: printed 173.2 MPa leaves the static stretch out, exact 174.712; and
        # 188.85 MPa.
        (3e3, 200e9 * 2e-3 / 4.0, 0.2, 2e-3, 174.712e6, 1e-3),
        (30e3, 200e9 * 2e-3 / 4.0, 20e-3, 2e-3, 188.85e6, 1e-3),
        # Ex. 4.13 and 4.14: stiffness from 8 kN at 3 mm and 10 kN at 3.2 mm. Printed 170.578 and
        # 153.42 MPa.
        (800.0, 8e3 / 3e-3, 80e-3, disc(12e-3), 170.578e6, 1e-3),
        (700.0, 10e3 / 3.2e-3, 75e-3, disc(12.5e-3), 153.42e6, 1e-3),
        # S. S. Bhavikatti, Strength of Materials, Ex. 2.2.46 (published companion): 100 N on 400 mm
        # of 30 mm: 92.27 MPa.
        (100.0, rod(30e-3, 0.4), 60e-3, disc(30e-3), 92.27e6, 1e-3),
    ],
)
def test_dropped_load(ideal, make_motor, weight, stiffness, height, area, stress, off):
    record = let_go(ideal, make_motor, weight, stiffness, 1.0, height)
    assert record.first(Event.TAUT).time == pytest.approx(math.sqrt(2 * height / 9.81), rel=1e-6)
    assert record["tension"].max() / area == pytest.approx(stress, rel=off)
    assert record.energy.error <= 1e-4


def test_lowered_load_stopped_at_once(ideal, make_motor):
    # R. K. Bansal, Strength of Materials, Ex. 4.18, p. 163 (published companion): 10 kN lowered at
    # 40 m/min on 625 mm² of chain, E 210 GPa, stopped with 10 m out. Printed 123.37 MPa leaves out
    # the weight that hangs all the while: 16 MPa more.
    weight, area, speed, radius, k = 10e3, 625e-6, 40 / 60, 0.1, 1000.0
    resistance = 1e-3 * k * k * speed / radius / (weight * radius)
    inputs = ideal(
        motors=make_motor(
            resistance, k, voltage=k * speed / radius * (1 - 1e-3), rotor_inertia=1e-4
        ),
        radius=radius,
        span=9.0,
        rope={"axial_stiffness": 210e9 * area, "damping_ratio": 0.0},
        brake=Brake(torque=1e6, place="drum"),
        load={"mass": weight / 9.81, "start_height": 11.0, "height": 1.0},
        phase=(
            Phase(action="lower", until="time", time=3.0, ramp=3.0),
            Phase(action="off", until="time", time=0.3),
        ),
    )
    record = simulate(inputs, times=np.linspace(3.0, 3.3, 5001), rtol=1e-9)
    assert record["tension"].max() / area == pytest.approx(139.38e6, rel=5e-3)


def test_slack_rope_that_joins_a_drum_and_a_truck(ideal, make_motor):
    # R. S. Khurmi, J. K. Gupta, Theory of Machines, Ex. 3.7, p. 41 (published companion): drum of
    # 1250 kg, k 0.45 m, radius 0.5 m, coasts at 0.75 m/s into a rope whose other end holds 500 kg
    # at rest on the level. Printed: both go on at 0.502 m/s. A thousandth of the usual weight
    # stands for the level track.
    inputs = ideal(
        motors=make_motor(1e-3, 10.0, voltage=15.0, rotor_inertia=1e-4),
        radius=0.5,
        span=5.0,
        drum={"inertia": 1250 * 0.45**2},
        rope={"axial_stiffness": 1e6, "damping_ratio": 0.2, "slack": 0.1},
        load={"mass": 500.0, "height": 2.0},
        settings={"gravity": 1e-3},
        phase=(
            Phase(action="raise", until="time", time=0.05),
            Phase(action="off", until="time", time=0.5),
        ),
    )
    record = simulate(inputs, times=np.linspace(0.0, 0.5, 5001), rtol=1e-9)
    faster = record["speed"] >= 0.5 * record["drum_speed"]
    joined = int(np.flatnonzero(faster & (record.time > record.first(Event.TAUT).time))[0])
    assert record["speed"][joined] == pytest.approx(0.502, abs=2e-3)


MASS, SPEED = 80e3, 0.2
POST = 3 * 200e9 * 0.2 * 0.2**3 / 12 / 1.5**3
"""R. C. Hibbeler, Mechanics of Materials, Ex. 14.10: 80 t at 0.2 m/s are stopped by the end of a
post, 0.2 m square and 1.5 m long, E 200 GPa. Printed: the tip moves by 23.24 mm, half of which is
its deflection where it is hit; recomputed stiffness 2.370370e7 N/m, 11.61895 mm, 275 412 N = v
sqrt(k m)."""


@pytest.mark.parametrize("efficiency", [1.0, 0.7])
def test_snagged_load_is_stopped_by_the_rope_with_the_rotors_mass(
    ideal, make_motor, make_stage, efficiency
):
    # The moving mass is the rotor: referred to the rope through 100:1 it weighs 80 t, its load only
    # 1 t. It is brought to 0.2 m/s, then driven with just the load's weight, so that T = T0 + v
    # sqrt(k m) holds exactly. A mesh with a loss passes on only its share of what the rotor gives
    # as it stops: the rotor then weighs e times as much (own derivation).
    radius, ratio, k, load = 0.1, 100.0, 0.1, 1000.0
    weight = load * 9.81
    to_current = radius / ratio / k / efficiency
    inputs = ideal(
        motors=make_motor(
            0.01, k, voltage=100.0, rotor_inertia=MASS / efficiency * (radius / ratio) ** 2
        ),
        stages=(make_stage(ratio, efficiency),),
        radius=radius,
        span=10.0,
        rope={"axial_stiffness": POST * 9.0, "damping_ratio": 0.0},
        load={"mass": load, "start_height": 1.0, "snag_height": 2.0, "height": 5.0},
        phase=(
            Phase(
                action="raise",
                until="time",
                time=1.0,
                current_limit=(weight + (MASS + load) * SPEED) * to_current,
            ),
            Phase(action="raise", until="time", time=5.0, current_limit=weight * to_current),
        ),
    )
    record = simulate(inputs, times=np.linspace(5.0, 6.0, 10001), rtol=1e-9)
    snagged = record.first(Event.SNAGGED)
    # The load, on its undamped rope, still swings a little about the drum's speed; the 80 t do not.
    assert snagged.value == pytest.approx(SPEED, rel=0.02)
    assert np.interp(snagged.time, record.time, record["drum_speed"]) * radius == pytest.approx(
        SPEED, rel=1e-3
    )
    assert record["tension"].max() - weight == pytest.approx(
        SPEED * math.sqrt(MASS * POST), rel=2e-3
    )
    wound = record["rope_wound"].max() - np.interp(snagged.time, record.time, record["rope_wound"])
    assert wound * 1e3 == pytest.approx(11.61895, rel=3e-3)
    assert record["height"][record.time >= snagged.time].max() == pytest.approx(2.0, abs=1e-6)
    assert record.energy.error <= 1e-4


def test_load_lifted_off_by_a_drum_at_full_speed(ideal, make_motor, make_stage):
    # The same numbers the other way round: a drum that holds its speed takes up slack and lifts 80
    # t off. At lift-off the load is 0.2 m/s too slow, so the tension overshoots its weight by v
    # sqrt(k m).
    radius, ratio, span = 0.1, 100.0, 100.0
    motor_speed = SPEED / radius * ratio
    inputs = ideal(
        motors=make_motor(1e-3, 1000.0 / motor_speed, voltage=1000.0, rotor_inertia=1e-6),
        stages=(make_stage(ratio),),
        radius=radius,
        span=span,
        rope={"axial_stiffness": POST * span, "damping_ratio": 0.0, "slack": 0.02},
        load={"mass": MASS, "height": 0.3},
        phase=(Phase(action="raise", until="time", time=0.7),),
    )
    record = simulate(inputs, times=np.linspace(0.0, 0.7, 20001), rtol=1e-9)
    assert record.first(Event.LIFT_OFF).time > record.first(Event.TAUT).time > 0.09
    assert record["tension"].max() - MASS * 9.81 == pytest.approx(
        SPEED * math.sqrt(MASS * POST), rel=3e-3
    )
    assert record.energy.error <= 1e-4
