"""Three lifts against a general-purpose solver: the equations written out once more and integrated
by CVODE.

CVODE is the variable-order BDF solver of SUNDIALS (A. C. Hindmarsh et al., "SUNDIALS: Suite of
nonlinear and differential/algebraic equation solvers", ACM Transactions on Mathematical Software
31, 2005), reached through the package scikit-sundae. The right-hand side below shares no code with
winchsim: it is written for one winch, with its numbers.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from sksundae.cvode import CVODE

from winchsim.inputs import Phase
from winchsim.model import Event
from winchsim.simulation import simulate

pytestmark = pytest.mark.slow

GRAVITY, AMBIENT = 9.80665, 20.0
MOTORS, RESISTANCE, CONSTANT, DRAG, ROTOR = 2, 4.0, 0.005, 0.005 * 0.12, 3e-7
SUPPLY, SUPPLY_RESISTANCE = 6.0, 0.2
WINDING, CASE, INSIDE, OUTSIDE, FERRITE, COPPER = 2.0, 15.0, 8.0, 30.0, -0.002, 0.00393
SHAFT_DRAG, DRUM_INERTIA = 2e-4, 2e-6
STIFFNESS, HALF_DAMPING = 2e4, 0.05
ROPE, CORE, TURNS, DEAD = 0.002, 0.010, 4, 3
SPAN = 0.4


@dataclass
class PlainWinch:
    """One lift: `ratio` and `e` of each of three stages, a mass, and the equations of motion in
    each of its states.

    State: rope wound on, drum speed, travel and speed of the load, temperatures of winding and
    case.
    """

    ratio: float
    e: float
    mass: float

    def __post_init__(self):
        self.q = 2 - 1 / self.e
        self.damping = 2 * HALF_DAMPING * math.sqrt(STIFFNESS / SPAN * self.mass)
        self.first_layer = (TURNS - DEAD) * 2 * math.pi * (CORE + ROPE) / 2

    def radius(self, layer):
        return (CORE + ROPE) / 2 + layer * ROPE

    def tension(self, y, layer):
        """Force, elastic force and rope taken up per time."""
        wound, speed, travel, rate = y[:4]
        left = SPAN - wound
        elastic = STIFFNESS * (SPAN - travel - left) / left
        taken_up = self.radius(layer) * speed / (1 + elastic / STIFFNESS)
        return elastic + self.damping * (taken_up - rate), elastic, taken_up

    def current(self, y, volts):
        """Current of one motor: 0 with the lead open, for equal motors joined in parallel drive no
        current around."""
        if volts == 0.0:
            return 0.0
        k = CONSTANT * (1 + FERRITE * (y[5] - AMBIENT))
        r = RESISTANCE * (1 + COPPER * (y[4] - 20.0))
        return (volts - k * self.ratio**3 * y[1]) / (r + MOTORS * SUPPLY_RESISTANCE)

    def acceleration(self, direction, pull, y, volts, layer):
        """Drum acceleration at which the torques balance, stage by stage: Newton's steps on a
        piecewise straight line."""
        motor = MOTORS * CONSTANT * (1 + FERRITE * (y[5] - AMBIENT)) * self.current(y, volts)
        at = 0.0
        for _ in range(30):
            torque, slope = (
                pull * self.radius(layer) + direction * SHAFT_DRAG + DRUM_INERTIA * at,
                DRUM_INERTIA,
            )
            for drag in (SHAFT_DRAG, SHAFT_DRAG, MOTORS * DRAG):
                factor = (1 / self.e if direction * torque >= 0 else self.q) / self.ratio
                torque, slope = direction * drag + factor * torque, factor * slope
            torque += MOTORS * ROTOR * self.ratio**3 * at
            slope += MOTORS * ROTOR * self.ratio**3
            step = (motor - torque) / slope
            at += step
            if abs(step) <= 1e-12 * abs(at) + 1e-15:
                break
        return at

    def stretch(self, span, *, volts, direction, on_floor, layer, stop):
        """Times, states and end of one smooth stretch; `stop` gives the values whose zero ends
        it."""
        weight = self.mass * GRAVITY

        def rhs(t, y, out):
            force, _, taken_up = self.tension(y, layer)
            out[0] = taken_up if direction else 0.0
            out[1] = self.acceleration(direction, force, y, volts, layer) if direction else 0.0
            out[2] = 0.0 if on_floor else y[3]
            out[3] = 0.0 if on_floor else force / self.mass - GRAVITY
            amps = self.current(y, volts)
            between = (y[4] - y[5]) / INSIDE
            out[4] = (amps**2 * RESISTANCE * (1 + COPPER * (y[4] - 20.0)) - between) / WINDING
            rubbed = DRAG * abs(self.ratio**3 * y[1])
            out[5] = (between + rubbed - (y[5] - AMBIENT) / OUTSIDE) / CASE

        def events(t, y, out):
            out[:] = stop(y, self.tension(y, layer)[0] - weight)

        times, y0 = span
        count = len(stop(y0, 0.0))
        extra = {"eventsfn": events, "num_events": count} if count else {}
        solver = CVODE(rhs, rtol=1e-8, atol=1e-10, max_num_steps=100000, **extra)
        done = solver.solve(times, np.array(y0, dtype=float))
        assert done.success
        return done

    def lift(self, steps, times):
        """Values at given times of stretches that follow each other: (until, settings, stop, what
        changes at its end)."""
        t, y = 0.0, np.array([0.0, 0.0, 0.0, 0.0, AMBIENT, AMBIENT])
        rows, ends = [], []
        for until, settings, stop, change in steps:
            inside = times[(times > t) & (times < until)]
            done = self.stretch((np.concatenate([[t], inside, [until]]), y), stop=stop, **settings)
            for at, state in zip(done.t[1:-1], done.y[1:-1], strict=True):
                force = self.tension(state, settings["layer"])[0]
                amps = MOTORS * self.current(state, settings["volts"])
                rows.append((at, state[2], state[3], force, amps, state[4], state[1]))
            t, y = float(done.t[-1]), done.y[-1].copy()
            change(y)
            ends.append(t)
        return np.array(rows), ends, y


def nothing(y):
    """No jump at the end of a stretch."""


def stand(y):
    """The drum has come to rest."""
    y[1] = 0.0


def inputs_of(plain, small, make_motor, make_stage, **more):
    motors = make_motor(
        RESISTANCE,
        CONSTANT,
        idle_current=DRAG / CONSTANT,
        count=MOTORS,
        rotor_inertia=ROTOR,
        magnet_coefficient=FERRITE,
        winding_heat_capacity=WINDING,
        case_heat_capacity=CASE,
        winding_to_case=INSIDE,
        case_to_ambient=OUTSIDE,
    )
    parts = {
        "motors": motors,
        "stage": make_stage(plain.ratio, plain.e, shaft_drag=SHAFT_DRAG, repeat=3),
        "drum": {"inertia": DRUM_INERTIA, "width": TURNS * ROPE, "dead_turns": float(DEAD)},
        "load": {"mass": plain.mass, "height": 0.1, "drum_height": SPAN},
        "settings": {"relative_tolerance": 1e-8},
    }
    return small(**{**parts, **more})


def compare(record, rows, mass):
    """Height within 0.02 mm, speed within 1.5 % of the fastest, tension within 0.5 % of the weight,
    current 0.5 % of the peak, winding within 0.05 K; at times where both have a sample. The speed
    is the coarsest: winchsim takes a bounce below a thousandth of the static stretch as over. The
    books close."""
    assert record.energy.error <= 1e-4
    t = rows[:, 0]
    at = np.searchsorted(record.time, t)
    assert record.time[at] == pytest.approx(t, abs=1e-12)
    assert record["height"][at] == pytest.approx(rows[:, 1], abs=2e-5)
    assert record["speed"][at] == pytest.approx(rows[:, 2], abs=0.015 * np.abs(rows[:, 2]).max())
    assert record["tension"][at] == pytest.approx(rows[:, 3], abs=0.005 * mass * GRAVITY)
    assert record["current"][at] == pytest.approx(rows[:, 4], abs=0.005 * np.abs(rows[:, 4]).max())
    assert record["motor_1_winding"][at] == pytest.approx(rows[:, 5], abs=0.05)
    assert record["drum_speed"][at] == pytest.approx(
        rows[:, 6], abs=0.01 * np.abs(rows[:, 6]).max()
    )


def test_lift_over_two_layers_that_holds(small, make_motor, make_stage):
    plain = PlainWinch(5.0, 0.8, 6.0)
    up = {"volts": SUPPLY, "direction": 1}
    off = {"volts": 0.0, "on_floor": False, "layer": 1}
    # Times that both sides sample: none at a switch.
    times = np.arange(1, 700) * 0.0101
    steps = [
        (9.0, {**up, "on_floor": True, "layer": 0}, lambda y, excess: (excess,), nothing),
        (
            9.0,
            {**up, "on_floor": False, "layer": 0},
            lambda y, excess: (y[0] - plain.first_layer,),
            nothing,
        ),
        (9.0, {**up, "on_floor": False, "layer": 1}, lambda y, excess: (y[2] - 0.1,), nothing),
        (9.0, {**off, "direction": 1}, lambda y, excess: (y[1],), stand),
        (9.0, {**off, "direction": 0}, lambda y, excess: (), nothing),
    ]
    rows, ends, _ = plain.lift(steps, times)
    record = simulate(
        inputs_of(
            plain,
            small,
            make_motor,
            make_stage,
            settings={"watch": 2.0, "relative_tolerance": 1e-8},
        ),
        times=times,
    )
    wanted = (Event.LIFT_OFF, Event.LAYER, Event.TOP, Event.DRUM_STOPS)
    assert [record.first(event).time for event in wanted] == pytest.approx(ends[:4], abs=2e-4)
    assert record.first(Event.RUNS_BACK) is None
    compare(record, rows[rows[:, 0] < record.time[-1]], plain.mass)
    assert np.all(record["drum_speed"][record.time > record.first(Event.DRUM_STOPS).time] == 0.0)


def test_power_cut_halfway_and_run_back_to_the_floor(small, make_motor, make_stage):
    plain = PlainWinch(4.0, 0.95, 6.0)
    up = {"volts": SUPPLY, "direction": 1, "layer": 0}
    off = {"volts": 0.0, "on_floor": False, "layer": 0}
    times = np.arange(1, 900) * 0.00101
    cut = 0.25
    steps = [
        (cut, {**up, "on_floor": True}, lambda y, excess: (excess,), nothing),
        (cut, {**up, "on_floor": False}, lambda y, excess: (), nothing),
        (9.0, {**off, "direction": 1}, lambda y, excess: (y[1],), stand),
        (9.0, {**off, "direction": -1}, lambda y, excess: (y[2],), nothing),
    ]
    rows, ends, last = plain.lift(steps, times)
    phases = (
        Phase(action="raise", until="time", time=cut),
        Phase(action="off", until="time", time=5.0),
    )
    record = simulate(inputs_of(plain, small, make_motor, make_stage, phase=phases), times=times)
    wanted = (Event.LIFT_OFF, Event.DRUM_STOPS, Event.RUNS_BACK, Event.LANDED)
    assert [record.first(event).time for event in wanted] == pytest.approx(
        [ends[0], ends[2], ends[2], ends[3]], abs=2e-4
    )
    assert record.first(Event.LAYER) is None
    compare(record, rows, plain.mass)
    assert record.first(Event.LANDED).value == pytest.approx(-last[3], rel=1e-3)


def test_stall_as_the_second_layer_begins(small, make_motor, make_stage):
    plain = PlainWinch(5.0, 0.8, 11.0)
    up = {"volts": SUPPLY, "direction": 1}
    times = np.arange(1, 700) * 0.0101
    steps = [
        (9.0, {**up, "on_floor": True, "layer": 0}, lambda y, excess: (excess,), nothing),
        (
            9.0,
            {**up, "on_floor": False, "layer": 0},
            lambda y, excess: (y[0] - plain.first_layer,),
            nothing,
        ),
        (9.0, {**up, "on_floor": False, "layer": 1}, lambda y, excess: (y[1],), stand),
    ]
    rows, ends, _ = plain.lift(steps, times)
    record = simulate(inputs_of(plain, small, make_motor, make_stage), times=times)
    assert record.first(Event.LIFT_OFF).time == pytest.approx(ends[0], abs=2e-4)
    assert record.first(Event.LAYER).time == pytest.approx(ends[1], abs=2e-3)
    assert record.first(Event.DRUM_STOPS).time == pytest.approx(ends[2], abs=2e-3)
    assert record.first(Event.STALLED).time >= ends[2] - 2e-3
    compare(record, rows, plain.mass)
