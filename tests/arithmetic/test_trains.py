"""Running back of trains, element by element and lumped: identities and common practice."""

import math

import numpy as np
import pytest

from tests.screws import screw
from winchsim.inputs import Phase
from winchsim.model import Event, build
from winchsim.physics.chain import Chain, Element, GroupMesh, StartMargins, demand
from winchsim.simulation import simulate

INCH, POUND_FORCE = 0.0254, 4.4482216


@pytest.mark.parametrize(
    ("degrees", "friction", "e", "q", "rule"),
    [(5.0, 0.1, 0.4626, -0.1418, -0.1619), (10.0, 0.15, 0.5260, 0.1455, 0.0990)],
)
def test_exact_reverse_efficiency_against_the_rule(degrees, friction, e, q, rule):
    # Identity: 2 - 1/e, the same friction torque both ways, is a little pessimistic for a screw.
    # Recomputed.
    found = screw(0.02, 0.02 * math.pi * math.tan(math.radians(degrees)), friction)
    assert (found.forward, found.reverse) == pytest.approx((e, q), abs=6e-5)
    assert 2 - 1 / found.forward == pytest.approx(rule, abs=6e-5)


@pytest.mark.parametrize(
    ("efficiency", "reverse"),
    [
        (0.98, 0.979592),
        (0.95, 0.947368),
        (0.9, 0.888889),
        (0.8, 0.75),
        (0.7, 0.571429),
        (0.6, 1 / 3),
        (0.5, 0.0),
        (0.4, -0.5),
    ],
)
def test_default_reverse_efficiency(ideal, make_motor, make_stage, efficiency, reverse):
    # Identity: the same friction torque in both directions, q = 2 - 1/e.
    inputs = ideal(
        motors=make_motor(1.0, 1.0),
        stages=(make_stage(4.0, efficiency),),
        radius=0.05,
        span=5.0,
        load={"mass": 1.0},
    )
    element = next(e for e in build(inputs).chain.elements if e.name == "mesh of stage 1")
    assert element.reverse == pytest.approx(reverse, abs=1e-6)


class TestLumpingTrap:
    """Identity: one half is the limit of one element, not of a train. Per mesh against lumped,
    recomputed."""

    CASES = (
        (0.9, 7, 0.4783, 0.43846, -0.0908),
        (0.9, 5, 0.5905, 0.5549, 0.3065),
        (0.95, 5, 0.7738, 0.7631, 0.7076),
        (0.85, 5, 0.4437, 0.3788, -0.2537),
    )

    @pytest.mark.parametrize(("mesh", "count", "forward", "reverse", "lumped"), CASES)
    def test_torques(self, mesh, count, forward, reverse, lumped):
        elements = [Element(f"mesh {i}", 1.0, mesh, 2 - 1 / mesh) for i in range(count)]
        train = Chain((GroupMesh((), 1e-6),), 0.0, tuple(elements))
        assert 1 / demand(train, 1)(1.0) == pytest.approx(forward, abs=5e-5)
        assert demand(train, -1)(1.0) == pytest.approx(reverse, abs=6e-5)
        assert 2 - 1 / mesh**count == pytest.approx(lumped, abs=5e-5)
        assert (
            StartMargins(train, 1.0)([0.0], 1.0)[1] > 0
        )  # it runs back, whatever the lumped number says

    @pytest.mark.parametrize(("mesh", "count"), [(0.9, 7), (0.85, 5)])
    def test_whole_lift(self, ideal, make_motor, make_stage, mesh, count):
        """Power off: the train mesh by mesh runs back; one reduction of the same total efficiency
        would hold for ever."""

        def lift(stages):
            return simulate(
                ideal(
                    motors=make_motor(1.0, 1.0, rotor_inertia=1e-5),
                    stages=stages,
                    radius=0.05,
                    span=5.0,
                    load={"mass": 20.0, "start_height": 1.0},
                    phase=(Phase(action="off", until="time", time=1.0),),
                )
            )

        train = lift((make_stage(2.0, mesh, repeat=count),))
        lumped = lift((make_stage(2.0**count, mesh**count),))
        assert train.first(Event.RUNS_BACK) is not None and train["height"][-1] < 0.99
        assert lumped.first(Event.RUNS_BACK) is None and np.all(lumped["rope_wound"] == 0.0)
        assert lumped["height"] == pytest.approx(1.0, abs=1e-9)
        assert train.energy.error <= 1e-4 and lumped.energy.error <= 1e-4


def test_losses_at_rest_are_larger(ideal, make_motor, make_stage):
    # Common practice, no published source: friction at rest exceeds running friction, so a train
    # may stay when it is let go gently and yet run on once it moves. (A worm gear is not accepted
    # as a holding brake: OSHA interpretation of 15 November 2005 on 29 CFR 1910.179(f)(1)(i).) Here
    # q = 0.05 in motion and below 0 at rest.
    inputs = ideal(
        motors=make_motor(1.0, 1.0, rotor_inertia=1e-5),
        stages=(make_stage(20.0, 0.5, reverse=0.05),),
        radius=0.05,
        span=5.0,
        load={"mass": 20.0, "start_height": 1.0},
        settings={"breakaway": 1.3},
        phase=(
            Phase(action="off", until="time", time=0.5),
            Phase(action="lower", until="time", time=0.5, voltage=2.0),
            Phase(action="off", until="time", time=1.0),
        ),
    )
    record = simulate(inputs)
    first, last = record.phase == 0, record.phase == 2
    assert np.all(record["rope_wound"][first] == 0.0)
    assert record["drum_speed"][last][-1] < record["drum_speed"][last][0] < 0  # faster and faster
    assert record.energy.error <= 1e-4
