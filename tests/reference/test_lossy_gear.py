"""A lossy gear between two inertias, against published reference results of a general-purpose
modelling library.

Source: Modelica Standard Library 4.0.0, Modelica Association (BSD-3-Clause), published reference
results of the library's own example (results repository, branch v4.0.0, commit d6a2b9b2): ratio 2,
efficiency 0.5 whichever side drives, no constant drag; 1 kg·m² on the fast side with a torque of 10
sin(2 pi t) N·m, 1.5 kg·m² on the slow side with -10 + 2.5 t N·m; at rest at first. There the second
efficiency is that of the slow side driving: the reverse efficiency here.

The chain is the package's own; the equations of motion around it are written here.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from winchsim.hybrid import Guard, Mode, Outcome, Switch, run
from winchsim.physics.chain import (
    Chain,
    Element,
    GroupMesh,
    StartMargins,
    find_branch,
)

pytestmark = pytest.mark.reference

DATA = np.loadtxt(
    Path(__file__).parent / "data" / "lossy_gear_1.csv", delimiter=",", comments="#", skiprows=4
)
TIME, SPEED, MODE = DATA.T
CHANGES = (0.0805, 0.1995, 0.3713, 0.4645)
"""When it sticks, goes forward, sticks, and goes backward again. [s]"""


class LossyGear:
    """State: speed and angle of the slow side; the key is the direction."""

    CHAIN = Chain((GroupMesh((), 1.0),), 0.0, (Element("gear", 2.0, 0.5, 0.5, 0.0, 1.5),))

    @staticmethod
    def torques(t):
        return 10.0 * np.sin(2.0 * math.pi * t), 10.0 - 2.5 * t

    def rhs(self, direction, t, y):
        if direction == 0:
            return (0.0, 0.0)
        drive, load = (float(value) for value in self.torques(t))
        at = find_branch(self.CHAIN, direction, [drive], load)
        return (at.acceleration([drive], load), float(y[0]))

    def mode(self, direction):
        def guard_values(t, y):
            if direction:
                return (-direction * y[0],)
            drive, load = self.torques(t)
            return StartMargins(self.CHAIN, 1.0)([drive], load)

        names = ("stops",) if direction else ("forward", "backward")
        return Mode(
            direction,
            lambda t, y: self.rhs(direction, t, y),
            tuple(Guard(n, 1e-9) for n in names),
            guard_values,
        )

    def switch(self, direction, fired, t, y):
        if fired[0] == "stops":
            y[0] = 0.0
            drive, load = self.torques(t)
            forward, backward = StartMargins(self.CHAIN, 1.0)([drive], load)
            return Switch(1 if forward > 0 else -1 if backward > 0 else 0, y)
        return Switch(1 if fired[0] == "forward" else -1, y)

    def progress(self, t, y):
        return (t * 1e3,)


@pytest.fixture(scope="module", params=["LSODA", "Radau"])
def result(request):
    return run(LossyGear(), 0, [0.0, 0.0], 0.0, 0.5, rtol=1e-8, atol=1e-10, method=request.param)


def test_speed_within_one_percent_of_its_range(result):
    assert result.outcome is Outcome.FINISHED
    found = np.full(TIME.size, np.nan)
    for segment in result.segments:
        inside = (segment.t[0] <= TIME) & (segment.t[-1] >= TIME)
        found[inside] = segment.at(TIME[inside])[0]
    assert TIME.size >= 40
    assert np.max(np.abs(found - SPEED)) < 0.01 * np.ptp(SPEED)
    assert (SPEED.min(), SPEED.max()) == pytest.approx((-0.020841, 0.013702), abs=2e-4)


def test_changes_of_mode(result):
    assert [segment.key for segment in result.segments] == [-1, 0, 1, 0, -1]
    ends = [segment.t[-1] for segment in result.segments[:-1]]
    assert ends == pytest.approx(CHANGES, abs=0.002)
    published = np.flatnonzero(np.diff(MODE[1:])) + 1  # the first row is the start at rest
    for end, k in zip(ends, published, strict=True):
        assert TIME[k] - 0.002 <= end <= TIME[k + 1] + 0.002


def test_stuck_is_exactly_still(result):
    still = [segment.y[0] for segment in result.segments if segment.key == 0]
    assert len(still) == 2 and not np.concatenate(still).any()
