"""A self-locking stage with much inertia behind it: it wedges, the drum stops at once, and under
power it judders on."""

import math

import numpy as np
import pytest

from winchsim.inputs import Phase
from winchsim.model import Event

RATIO, LOCKED, INERTIA, ROTOR, RADIUS, MASS = 60.0, -1.0, 1e-2, 1e-7, 0.006, 8.0
UP = Phase(action="raise", until="top")


@pytest.fixture
def worm(lift, make_stage, make_motor):
    """A lift through a worm of which the load takes as much to be let down as it gives; the drum is
    a flywheel."""

    def run(**parts):
        return lift(
            motors=make_motor(1.0, 0.01, idle_current=0.1, count=1, rotor_inertia=ROTOR),
            stage=make_stage(RATIO, 0.4, LOCKED),
            drum={"inertia": INERTIA},
            rope={"damping_ratio": 0.5},
            **parts,
        )

    return run


def test_with_the_power_off_the_drum_stops_at_once_and_the_load_coasts(worm):
    record = worm()
    wedged = record.first(Event.WEDGED)
    assert wedged is not None and wedged.time == pytest.approx(
        record.first(Event.TOP).time, abs=1e-3
    )
    assert wedged.energy == pytest.approx(
        (INERTIA + ROTOR * RATIO**2) * wedged.value**2 / 2, rel=1e-6
    )
    after = record.time > wedged.time
    assert np.all(record["drum_speed"][after] == 0.0)
    # What the load's speed carries it on, and no more: it hangs on the rope of the drum that
    # stands.
    assert record["speed"][after].max() <= RADIUS * wedged.value * 1.01


def test_lowered_under_power_it_judders_at_the_static_speed(worm):
    record = worm(phase=(UP, Phase(action="off", time=1.0), Phase(action="lower", until="floor")))
    assert record.events[-2].event is Event.LANDED
    down = record.phase == 2
    assert any(e.event is Event.WEDGED and e.time > record.time[down][0] for e in record.events)
    # Own arithmetic: the motor makes what the worm asks for letting the load down, and its drag; U
    # = R i + k w.
    asked = -LOCKED * MASS * 9.80665 * RADIUS / RATIO
    current = asked / 0.01 + 0.1
    expected = (6.0 - (1.0 + 0.2) * current) / 0.01 / RATIO * RADIUS
    time, height = record.time[down], record["height"][down]
    middle = (height < 0.08) & (height > 0.02)
    speed = (height[middle][0] - height[middle][-1]) / (time[middle][-1] - time[middle][0])
    assert speed == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("efficiency", [0.20, 0.25, 0.31, 0.40, 0.45, 0.49, 0.60])
@pytest.mark.parametrize(("inertia", "mass"), [(1e-6, 1.0), (1e-4, 8.0), (1e-2, 20.0)])
def test_every_worm_winch_gets_an_answer(lift, make_stage, make_motor, efficiency, inertia, mass):
    lift(  # which holds its outcome and its books
        motors=make_motor(1.0, 0.01, idle_current=0.1, count=1, rotor_inertia=1e-8),
        stage=make_stage(RATIO, efficiency),
        drum={"inertia": inertia},
        load={"mass": mass, "height": 0.05},
        phase=(UP, Phase(action="off", time=0.5), Phase(action="lower", until="floor")),
    )


STEEP = math.radians(30.0)


@pytest.mark.parametrize(
    ("share", "thrown", "holds"),
    [(0.70, True, True), (0.95, True, False), (0.95, False, True), (1.05, False, False)],
)
def test_a_steep_worm_holds_by_the_drag_of_its_motor_alone(
    lift, make_stage, make_motor, share, thrown, holds
):
    """A load that hangs from the start is held up to the drag at rest; one that the end of the lift
    throws into its rope only up to the drag in motion, 1/1.3 of that."""
    drag, breakaway, efficiency = 1e-3, 1.3, 0.49
    # tan(lead) / tan(lead + phi) = efficiency, and back tan(lead - phi) / tan(lead).
    phi = math.atan(math.tan(STEEP) / efficiency) - STEEP
    passed_back = math.tan(STEEP - phi) / math.tan(STEEP)
    pull = share * breakaway * drag * RATIO / passed_back / RADIUS
    off = Phase(action="off", time=1.0)
    record = lift(
        motors=make_motor(1.0, 0.01, idle_current=0.1, count=1, rotor_inertia=1e-8),
        stage=make_stage(RATIO, efficiency, kind="worm", lead_angle=STEEP),
        load={"mass": pull / 9.80665, "height": 0.05, "start_height": 0.0 if thrown else 0.04},
        phase=(UP, off) if thrown else (off,),
    )
    after = record.phase == thrown
    tension, height = record["tension"][after], record["height"][after]
    assert (tension.max() > 1.1 * pull) == thrown
    assert (height[0] - height[-1] < 2e-3) == holds
