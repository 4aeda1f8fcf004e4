"""Calibration on lifts that another program made: a plain script of a winch under scipy, which
shares no code with ours."""

import numpy as np
import pytest
from calibrating import multiples, spans
from scipy.integrate import solve_ivp

from winchsim.studies.calibrate import LiftTest, calibrate

pytestmark = pytest.mark.slow

G = 9.80665

# What the scenario says of the winch (the small winch of these tests, on longer lifts).
MOTORS, K, R, IDLE = 2, 0.005, 4.0, 0.12
VOLTAGE, LEADS = 6.0, 0.2
RATIO, STAGES, EFFICIENCY, DRAG = 5.0, 3, 0.8, 1e-3
RADIUS, STIFFNESS, HEIGHT, SPAN = 0.006, 2e4, 0.4, 0.7
ROTOR, DRUM = 1e-7, 1e-6


def lift(
    mass: float, *, efficiency: float, drag: float, k: float, leads: float
) -> tuple[float, float, float]:
    """Time of a lift, current and voltage at the motors, from the equations of motion.

    One shaft after the other from the drum to the motor: each mesh asks for its output torque over
    ratio and efficiency, each shaft adds its drag. The rope is a spring that takes no push; the
    load stands until the rope carries it. The inertia of the rotors is carried by the same losses
    as any other torque.
    """
    ahead = RATIO**STAGES
    gain = efficiency**STAGES * ahead
    # Torque at the motor that turns the train with nothing on the rope, of the three shafts' drags.
    idle = sum(drag / (RATIO**n * efficiency**n) for n in range(1, STAGES + 1))
    inertia = DRUM + MOTORS * ROTOR * ahead * gain
    damping = 2 * 0.05 * np.sqrt(STIFFNESS / SPAN * mass)

    def electrics(speed):
        """Currents of one motor behind the leads that all share: U - n i Z = i R + k w."""
        current = (VOLTAGE - k * speed) / (R + MOTORS * leads)
        return current, VOLTAGE - MOTORS * current * leads

    def rates(t, state):
        turned, drum, up, speed = state
        wound = turned * RADIUS
        stretch = wound - up
        tension = (
            max(0.0, STIFFNESS / (SPAN - wound) * stretch + damping * (drum * RADIUS - speed))
            if stretch > 0
            else 0.0
        )
        current, _ = electrics(drum * ahead)
        push = MOTORS * k * (current - IDLE) - idle
        pull = tension - mass * G
        if up <= 0.0 and pull <= 0.0 and speed <= 0.0:
            pull = speed = 0.0
        return drum, (gain * push - tension * RADIUS) / inertia, speed, pull / mass

    def is_up(t, state):
        return state[2] - HEIGHT

    is_up.terminal = True
    done = solve_ivp(
        rates,
        (0.0, 200.0),
        [0.0, 1e-6, 0.0, 0.0],
        method="LSODA",
        events=is_up,
        rtol=1e-8,
        atol=1e-10,
    )
    time = done.t_events[0][0]
    middle = (done.t > 0.25 * time) & (done.t < 0.75 * time)
    current, voltage = electrics(
        np.interp(np.linspace(0.25, 0.75, 101) * time, done.t[middle], done.y[1][middle]) * ahead
    )
    return time, MOTORS * float(np.mean(current)), float(np.mean(voltage))


@pytest.fixture(scope="module")
def scenario(small, make_stage):
    stage = make_stage(RATIO, EFFICIENCY, shaft_drag=DRAG, repeat=STAGES, inertia=0.0)
    return small(stage=stage, load={"height": HEIGHT}, drum={"dead_turns": 0.0})


def sheet(masses, noise, seed=3, **really):
    truth = {"efficiency": EFFICIENCY, "drag": DRAG, "k": K, "leads": LEADS} | really
    generator, rows = np.random.default_rng(seed), []
    for number, mass in enumerate(masses, start=1):
        values = [value * (1 + noise * generator.normal()) for value in lift(mass, **truth)]
        rows.append(
            LiftTest(
                number=number,
                mass=mass,
                measured_time=values[0],
                measured_current=values[1],
                measured_voltage=values[2],
            )
        )
    return rows


MASSES = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0)
LOSS = 1.6
DRAGS = 2.5


def really(loss=1.0, drag=1.0):
    return {"efficiency": 1 / (1 + loss * (1 / EFFICIENCY - 1)), "drag": drag * DRAG}


def test_both_programs_agree_where_nothing_is_fitted(scenario):
    """The scenario's own numbers: what the script measures is what the full simulation predicts."""
    found = calibrate(scenario, sheet((2.0, 5.0), 0.0), only=["efficiency"])
    assert multiples(found)["efficiency"] == pytest.approx(1.0, abs=5e-3)
    assert all(row.predicted == pytest.approx(row.measured, rel=3e-3) for row in found.residuals)


def test_exact_lifts_give_the_losses_back(scenario):
    found = multiples(
        calibrate(
            scenario, sheet(MASSES, 0.0, **really(LOSS, DRAGS)), only=["efficiency", "shaft_drag"]
        )
    )
    assert (found["efficiency"], found["shaft_drag"]) == pytest.approx((LOSS, DRAGS), rel=0.01)


@pytest.mark.parametrize("seed", [1, 2])
def test_noisy_lifts_give_the_losses_back_within_their_intervals(scenario, seed):
    """Scatter of 1 %; intervals of 99 %, of all factors at once."""
    found = calibrate(scenario, sheet(MASSES, 0.01, seed, **really(LOSS, DRAGS)), level=0.99)
    inside = spans(found)
    assert inside["efficiency"][0] < LOSS < inside["efficiency"][1] < 1.5 * LOSS
    assert inside["shaft_drag"][0] < DRAGS < inside["shaft_drag"][1]


def test_a_weaker_magnet_and_longer_leads_are_found_among_all_factors(scenario):
    """Voltages at the motors were measured as well."""
    found = multiples(calibrate(scenario, sheet(MASSES, 0.0, k=0.93 * K, leads=2.0 * LEADS)))
    assert found["motor_constant"] == pytest.approx(0.93, rel=0.01)
    assert found["supply"] == pytest.approx(2.0, rel=0.05)


def test_a_stall_and_a_breakage_among_the_rungs_change_no_estimate(scenario):
    """Nothing in the other program stalls under 12 kg but this winch; a broken rung has no time
    that counts."""
    rows = sheet(MASSES[:5], 0.005, 5, **really(LOSS, DRAGS))
    stalled = LiftTest(number=8, mass=12.0, outcome="stalled")
    broke = LiftTest(number=9, mass=6.0, measured_time=3.0, outcome="broke", broke_link="rope")
    plain, found = (calibrate(scenario, tests) for tests in (rows, [*rows, stalled, broke]))
    assert multiples(found)["efficiency"] == pytest.approx(multiples(plain)["efficiency"], rel=0.03)
    assert [row.agrees for row in found.sides] == [True]
    assert found.broken[0].survived_mass == MASSES[4]


def test_the_next_lift_of_the_other_program_falls_into_the_interval(scenario):
    own = really(LOSS, DRAGS)
    rows = sheet(MASSES[:5], 0.01, 5, **own)
    row = calibrate(scenario, [*rows, LiftTest(number=9, mass=7.0)]).predictions[0]
    time, current, _ = lift(7.0, **own, k=K, leads=LEADS)
    assert row.time.low < time < row.time.high < 1.25 * time
    assert row.current.low < current < row.current.high < 1.25 * current
