"""The runner against published reference results of a general-purpose modelling library.

Source of both tables: Modelica Standard Library 4.0.0, Modelica Association (BSD-3-Clause),
published reference results of the library's own examples (results repository, branch v4.0.0, commit
d6a2b9b2): a rotational train with a clutch, a brake and a spring, and a mass between two elastic
gaps. Rows are thinned and rounded; SI units. The equations below are written from the description
of the set-ups; friction and contact are switched, nothing is smoothed.
"""

import math
from collections.abc import Hashable
from pathlib import Path

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Run, Switch, run

DATA = Path(__file__).parent / "data"
pytestmark = pytest.mark.reference
METHODS = ("LSODA", "Radau")


def table(name: str) -> dict[str, np.ndarray]:
    """Columns of a reference table by name; lines that start with # name the source."""
    lines = [line for line in (DATA / name).read_text().splitlines() if not line.startswith("#")]
    names = lines[0].split(",")
    rows = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return dict(zip(names, rows.T, strict=True))


def states(result: Run, times: np.ndarray) -> np.ndarray:
    """States (n, k) of a run at ascending times."""
    out = np.full((result.y.size, times.size), np.nan)
    for segment in result.segments:
        inside = (times >= segment.t[0]) & (times <= segment.t[-1])
        out[:, inside] = segment.at(times[inside])
    return out


def keys(result: Run, times: np.ndarray) -> list[Hashable]:
    """Mode of a run at each time."""
    found: list[Hashable] = [None] * times.size
    for segment in result.segments:
        for k in np.flatnonzero((times >= segment.t[0]) & (times <= segment.t[-1])):
            found[k] = segment.key
    return found


def error_of_range(got: np.ndarray, expected: np.ndarray) -> float:
    """Largest error as a part of the range of the expected values."""
    return float(np.max(np.abs(got - expected)) / np.ptp(expected))


class ClutchBrakeSpring:
    """Inertia 3, clutch, inertia 2, spring with damper, inertia 1 with a brake; state w3, w2, w1,
    twist.

    The key is (phase, clutch, brake): a clutch or brake that slides has the sign of its relative
    speed (right minus left), 0 when it sticks; the brake of phase 0 is open and slides without
    torque.
    """

    J3, J2, J1 = 1.0, 0.05, 1.0
    STIFFNESS, DAMPING = 160.0, 1.0
    CLUTCH, BRAKE = 80.0, 800.0
    PHASE_END = 0.5
    SPEED_BAND, TORQUE_BAND = 1e-7, 1e-6

    def motor(self, phase, t):
        return 200.0 * np.sin(100.0 * t) if phase == 0 else 0.0

    def torques(self, key, t, y):
        """Torques: the spring's on inertia 2, what the sticking clutch and the sticking brake must
        carry."""
        phase, clutch, _ = key
        _, w2, w1, twist = y
        spring = self.STIFFNESS * twist + self.DAMPING * (w1 - w2)
        motor = self.motor(phase, t)
        stuck = motor - self.J3 * (motor + spring) / (self.J3 + self.J2)
        on_clutch = stuck if clutch == 0 else -self.CLUTCH * clutch
        return spring, on_clutch, -spring

    def rhs(self, key, t, y):
        phase, clutch, brake = key
        w3, w2, w1, twist = y.tolist()
        spring, on_clutch, _ = self.torques(key, t, (w3, w2, w1, twist))
        dw3 = (float(self.motor(phase, t)) - on_clutch) / self.J3
        dw2 = dw3 if clutch == 0 else (on_clutch + spring) / self.J2
        braking = 0.0 if phase == 0 else self.BRAKE * brake
        dw1 = 0.0 if phase == 1 and brake == 0 else (-spring - braking) / self.J1
        return (dw3, dw2, dw1, w1 - w2)

    def mode(self, key):
        phase, clutch, brake = key

        def guard_values(t, y):
            w3, w2, w1, _ = y
            _, on_clutch, on_brake = self.torques(key, t, y)
            values = (
                [-clutch * (w2 - w3)]
                if clutch
                else [on_clutch - self.CLUTCH, -on_clutch - self.CLUTCH]
            )
            if phase == 1:
                values += (
                    [-brake * w1] if brake else [on_brake - self.BRAKE, -on_brake - self.BRAKE]
                )
            return values

        slides, slips = self.SPEED_BAND, self.TORQUE_BAND
        guards = (
            [Guard("clutch grips", slides)]
            if clutch
            else [Guard("clutch -", slips), Guard("clutch +", slips)]
        )
        if phase == 1:
            guards += (
                [Guard("brake grips", slides)]
                if brake
                else [Guard("brake +", slips), Guard("brake -", slips)]
            )
        until = self.PHASE_END if phase == 0 else math.inf
        return Mode(key, lambda t, y: self.rhs(key, t, y), tuple(guards), guard_values, until)

    def switch(self, key, fired, t, y):
        phase, clutch, brake = key
        for name in fired:
            if name == "until":
                phase, brake = 1, int(np.sign(y[2]))
            elif name == "clutch grips":
                y[0] = y[1] = (self.J3 * y[0] + self.J2 * y[1]) / (self.J3 + self.J2)
                clutch = 0
            elif name == "brake grips":
                y[2], brake = 0.0, 0
            elif name.startswith("clutch"):
                clutch = int(name[-1] + "1")
            else:
                brake = int(name[-1] + "1")
        _, on_clutch, on_brake = self.torques((phase, clutch, brake), t, y)
        if clutch == 0 and abs(on_clutch) > self.CLUTCH + self.TORQUE_BAND:
            clutch = -int(np.sign(on_clutch))
        if phase == 1 and brake == 0 and abs(on_brake) > self.BRAKE + self.TORQUE_BAND:
            brake = int(np.sign(on_brake))
        return Switch((phase, clutch, brake), y)

    def progress(self, t, y):
        return (y[0], y[2])


@pytest.mark.parametrize("method", METHODS)
def test_clutch_brake_and_spring(method):
    expected = table("clutch_brake_spring.csv")
    t = expected["time_s"]
    result = run(
        ClutchBrakeSpring(),
        (0, -1, 1),
        [100.0, 90.0, 90.0, 0.0],
        0.0,
        3.0,
        rtol=1e-7,
        atol=1e-7,
        method=method,
    )
    assert result.outcome is Outcome.FINISHED
    w3, w2, w1, twist = states(result, t)
    assert error_of_range(w3, expected["inertia3_speed"]) < 0.003
    assert error_of_range(w2 - w3, expected["clutch_rel_speed"]) < 0.003
    assert error_of_range(w1 - w2, expected["spring_rel_speed"]) < 0.003
    assert error_of_range(twist, expected["spring_twist_rad"]) < 0.005

    def published_modes(key):
        phase, clutch, brake = key
        return (clutch, 2 if phase == 0 else brake)

    modes = np.array([published_modes(key) for key in keys(result, t)])
    assert np.array_equal(
        modes, np.stack([expected["clutch_mode"], expected["brake_mode"]], axis=1)
    )
    # Sticking is exact: from the brake's grip on, inertia 1 stands still; from the clutch's on, it
    # does not slip.
    held = [segment for segment in result.segments if segment.key == (1, 0, 0)]
    assert len(held) == 1
    assert np.all(held[0].y[2] == 0.0)
    assert np.max(np.abs(held[0].y[0] - held[0].y[1])) < 1e-12


class TwoMassesBetweenWalls:
    """Two masses between walls at -2 m and +2 m, one on springs that also pull, one with contacts
    that only push.

    State: position and speed of the pulled mass, position and speed of the pushed one. The key is
    (side, regime) of the pushing contact. Its damper force is at most as large as its spring force,
    so it has four regimes: "open", "entering" (damper limited, pushing), "touching", and "leaving"
    (damper limited, so no force is left).
    """

    STIFFNESS, DAMPING, TOUCH = 10.0, 1.5, 0.5
    WALL = 2.0

    def rhs(self, key, t, y):
        side, regime = key
        x1, v1, x2, v2 = y.tolist()
        spring = self.STIFFNESS * (side * x2 - self.TOUCH)
        damper = self.DAMPING * side * v2
        push = {"open": 0.0, "entering": 2.0 * spring, "touching": spring + damper, "leaving": 0.0}[
            regime
        ]
        return (v1, -2.0 * self.STIFFNESS * x1 - 2.0 * self.DAMPING * v1, v2, -side * push)

    def mode(self, key):
        side, regime = key

        def guard_values(t, y):
            _, _, x2, v2 = y
            spring = self.STIFFNESS * (side * x2 - self.TOUCH)
            damper = self.DAMPING * side * v2
            return {
                "open": (x2 - self.TOUCH, -x2 - self.TOUCH),
                "entering": (spring - damper,),
                "touching": (-damper - spring,),
                "leaving": (-spring,),
            }[regime]

        names = {
            "open": ("+1", "-1"),
            "entering": ("touching",),
            "touching": ("leaving",),
            "leaving": ("open",),
        }[regime]
        guards = tuple(Guard(name, 1e-9) for name in names)
        return Mode(key, lambda t, y: self.rhs(key, t, y), guards, guard_values)

    def switch(self, key, fired, t, y):
        side, regime = key
        return Switch(
            (int(fired[0]), "entering") if regime == "open" else (side, fired[0]), y, fired
        )

    def progress(self, t, y):
        return (y[2],)


@pytest.mark.parametrize("method", METHODS)
def test_contact_that_only_pushes(method):
    expected = table("elastic_gap.csv")
    t = expected["time_s"]
    problem = TwoMassesBetweenWalls()
    result = run(
        problem,
        (1, "touching"),
        [2.0, 0.0, 2.0, 0.0],
        0.0,
        5.0,
        rtol=1e-7,
        atol=1e-8,
        method=method,
    )
    assert result.outcome is Outcome.FINISHED
    x1, v1, x2, v2 = states(result, t)
    assert error_of_range(v2, expected["mass2_speed_m_per_s"]) < 0.01
    assert error_of_range(problem.WALL - x2, expected["gap2_length_m"]) < 0.01
    assert error_of_range(v1, expected["mass1_speed_m_per_s"]) < 0.01
    assert error_of_range(problem.WALL - x1, expected["spring2_length_m"]) < 0.01
    # Between two contacts nothing acts on the pushed mass: its speed is constant to the last digit.
    flights = [segment for segment in result.segments if segment.key[1] in ("open", "leaving")]
    assert len(flights) >= 6
    assert max(np.ptp(flight.y[3]) for flight in flights) < 1e-12
