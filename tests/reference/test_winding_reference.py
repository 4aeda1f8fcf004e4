"""Rope on drum, edge and sheave, against published values and through whole lifts. Each check names
its source.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math

import numpy as np
import pytest

from winchsim.inputs import Drum, Edge, Phase, Sheave
from winchsim.model import Event
from winchsim.physics import drum, rope
from winchsim.simulation import simulate

pytestmark = pytest.mark.reference


class TestCapstan:
    """T1 = T2 exp(mu phi): an edge that the rope rubs over."""

    def test_hold_of_a_load_over_a_bar(self, ideal, make_motor):
        # University exercise on belt friction: 100 kg over a bar, friction 0.2, 3 pi/2. Printed:
        # 382.26 N hold it (recomputed 382.2576). A motor that pulls with a little more holds it
        # with certainty; with a little less, it runs back.
        edge = Edge(friction=0.2, angle=1.5 * math.pi)
        kept = rope.edge_efficiency(edge.friction, edge.angle)
        assert 100 * 9.81 * kept == pytest.approx(382.26, abs=0.005)
        radius, k = 0.1, 1.0
        for share, held in ((1.001, True), (0.999, False)):
            inputs = ideal(
                motors=make_motor(1.0, k, voltage=100.0),
                supply={"current_limit": 382.2576 * share * radius / k},
                radius=radius,
                span=5.0,
                edge=(edge,),
                load={"mass": 100.0, "start_height": 1.0},
                phase=(Phase(action="raise", until="time", time=0.1),),
            )
            record = simulate(inputs)
            assert (record.first(Event.RUNS_BACK) is None) is held
            assert np.all(record["drum_speed"] == 0.0) is np.bool_(held)
            assert record.energy.error <= 1e-4

    def test_pull_over_the_same_bar(self, ideal, make_motor):
        # The same rope against the friction: exp(mu phi) times the weight just moves it.
        edge = Edge(friction=0.2, angle=1.5 * math.pi)
        needed = 100 * 9.81 * math.exp(0.2 * 1.5 * math.pi)
        for share, moves in ((1.001, True), (0.999, False)):
            inputs = ideal(
                motors=make_motor(1.0, 1.0, voltage=1000.0),
                supply={"current_limit": needed * share * 0.1},
                radius=0.1,
                span=5.0,
                edge=(edge,),
                load={"mass": 100.0, "start_height": 1.0},
                phase=(Phase(action="raise", until="time", time=0.2),),
            )
            assert (simulate(inputs).first(Event.DRUM_STARTS) is not None) is moves

    @pytest.mark.parametrize(
        ("friction", "turns", "ratio", "places"),
        [
            (0.3, 1.0, 6.6, 0.05),  # exercise on belt friction: one and two turns at 0.3
            (0.3, 2.0, 43.4, 0.05),
            (
                0.25,
                0.75,
                500 / (15.7 * 9.81),
                0.005,
            ),  # R. C. Hibbeler, Statics, Ex. 8.9: 500 N lift 15.7 kg over two edges
        ],
    )
    def test_ratio_of_tensions(self, friction, turns, ratio, places):
        contacts = 1 / rope.edge_efficiency(friction, turns * 2 * math.pi)
        assert contacts == pytest.approx(ratio, abs=places)


class TestTackle:
    """Tackles and their sheaves."""

    @pytest.mark.parametrize(
        ("sheave", "advantage"), [(0.917, 3.236079), (0.962, 3.634), (0.98, 3.804), (0.96, 3.616)]
    )
    def test_four_falls_and_a_lead_sheave(self, sheave, advantage):
        # Pipeline Rules of Thumb Handbook, p. 6: mechanical advantage E (1 - E^n)/(1 - E); sheaves
        # 0.962 on rollers, 0.917 plain. Printed for n = 4, 0.917: 3.25, so that 1000 lb lift 3250
        # lb (0.5 %).
        found = 4 * rope.tackle_efficiency(4, sheave) * sheave
        assert found == pytest.approx(advantage, abs=6e-4)
        if sheave == 0.917:
            assert found == pytest.approx(3.25, rel=0.005)

    def test_pull_of_a_whole_lift(self, ideal, make_motor):
        # The first test's tackle as a winch: 3250 lb on four falls over plain sheaves and one lead
        # sheave take about 1000 lb (1004.3 by the formula).
        pound, radius, speed, k = 4.4482216, 0.1, 20.0, 1.0
        pull = 3250 / 3.236079 * pound
        inputs = ideal(
            motors=make_motor(
                0.01, k, voltage=k * speed + 0.01 * pull * radius / k, rotor_inertia=0.01
            ),
            radius=radius,
            span=5.0,
            sheave=(Sheave(efficiency=0.917),),
            rope={"falls": 4, "sheave_efficiency": 0.917},
            load={"mass": 3250 * pound / 9.81, "start_height": 0.001, "height": 0.5},
            phase=(Phase(action="raise", until="top"),),
        )
        record = simulate(inputs)
        effort = record["motor_1_torque"][-1] / radius / pound
        assert effort == pytest.approx(1004.3, abs=0.1)
        assert effort == pytest.approx(1000.0, rel=0.005)
        assert record.energy.error <= 1e-4


def test_short_formula():
    # Handbook of Oceanographic Winch, Wire and Cable Technology, 3rd ed., ch. 12: L[ft] = 0.2618 W
    # h (B + h)/d² in inches; width 10, depth 3, rope 0.5, core 8 give 345.576 ft; the sum over
    # layers is the same formula with pi/12.
    inch, foot = 0.0254, 0.3048
    stack = drum.layers(8 * inch, 10 * inch, 0.5 * inch, 345.0 * foot)
    assert len(stack) == 6
    assert stack[-1].end / foot == pytest.approx(345.576, rel=1e-5)


def test_dead_turns_that_stay_on_a_drum():
    # Two turns: 29 CFR 1910.179(h)(2)(iii)(a) and DGUV Vorschrift 54, section 35; three: 30 CFR
    # 75.1436.
    assert Drum(diameter=0.05, width=0.06).dead_turns == 3.0


@pytest.mark.parametrize("share", [0.962, 0.98, 0.96, 0.917])
def test_sheaves_that_are_left_out(share):
    # Pipeline Rules of Thumb Handbook, p. 6, and trade notes: 0.917 or 0.96 plain, 0.962 or 0.98 on
    # rollers.
    low, high, _ = Sheave.__dataclass_fields__["efficiency"].metadata["spec"].assumed
    assert low <= share <= high
