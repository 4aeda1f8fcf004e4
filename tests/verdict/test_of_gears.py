"""What is found about the geometry of gears."""

import math

import pytest

from winchsim.inputs import Stage
from winchsim.simulation import simulate
from winchsim.verdict.case import Case
from winchsim.verdict.finding import Severity
from winchsim.assessment.history import read_history
from winchsim.verdict.of_gears import LEAST_CLEARANCE, LEAST_CONTACT, LEAST_TIP, geometry

PAIR = {"pinion": 20, "gear": 60, "module": 1e-3, "width": 8e-3, "material": "steel", "efficiency": 0.9, "shaft_drag": 0.0}


@pytest.fixture(scope="module")
def found(small):
    """Maker of the findings about the gears of a winch whose stages have these values besides those of a good pair."""

    def make(*stages):
        inputs = small(stage=tuple(Stage(**{**PAIR, **values}) for values in stages), load={"mass": 1.0})
        return list(geometry(Case(read_history(simulate(inputs)))))

    return make


def test_a_good_pair_is_not_talked_of(found):
    assert found({}, {"pinion": 18}) == []


def test_undercut_begins_below_seventeen_teeth(found):
    # J. E. Shigley, Mechanical Engineering Design, §13-7: 17 teeth is the least that a rack cuts at 20 degrees without
    # interference; at 25 degrees it is 11 (2/sin² 25° = 11.2).
    assert found({"pinion": 17, "gear": 20}, {"pinion": 11, "gear": 20, "pressure_angle": math.radians(25)}) == []
    (plain,) = found({"pinion": 16, "gear": 20})
    assert plain.sentence == "Stage 1: the 16-tooth pinion is undercut, 17 teeth would not be."
    assert (plain.severity, plain.value, plain.limit) == (Severity.NOTE, 16, 17)
    assert "pinion_shift" in plain.help
    assert found({"pinion": 16, "gear": 20, "pinion_shift": 0.1, "gear_shift": -0.0}) == []


def test_tips_that_reach_below_the_base_circle_say_so(found):
    (cut,) = found({"pinion": 12, "gear": 60})
    assert cut.sentence == "Stage 1: the gear's tips reach below the base circle of the 12-tooth pinion, which is undercut."


def test_a_gear_that_is_shifted_too_far_down_is_undercut(found):
    (cut,) = found({"pinion": 20, "gear": 20, "pinion_shift": 0.4, "gear_shift": -0.4})
    assert cut.sentence.startswith("Stage 1: the 20-tooth gear is undercut, ")
    assert cut.help == "Less profile shift."


def test_stages_of_which_the_same_is_to_be_said_are_told_together(found):
    (cut,) = found({"pinion": 12}, {"pinion": 12, "module": 2e-3}, {"pinion": 12})
    assert cut.sentence.startswith("Stages 1, 2 and 3: ") and cut.about == "stage.1"
    assert len(found({"pinion": 12}, {"pinion": 13})) == 2


def test_a_contact_ratio_under_the_least(found):
    (rough,) = found({"pinion": 5, "gear": 60})
    assert rough.severity is Severity.CAUTION and rough.value < rough.limit == LEAST_CONTACT
    assert "5-tooth pinion, which is undercut; the contact ratio with the 5-tooth pinion is 0." in rough.sentence


def test_shift_takes_the_room_at_the_tips(found):
    # Own arithmetic with the working angle of ISO 21771: inv a' = inv 20° + 2 (x1 + x2)/(z1 + z2) tan 20° for 20 and 20 teeth
    # shifted by 0.6 each gives a' = 26.654°, axes 20 cos 20°/cos a' = 21.0285 modules apart: less 10 + 1.6 and 10 - 1.25 + 0.6.
    (near,) = found({"pinion": 20, "gear": 20, "pinion_shift": 0.6, "gear_shift": 0.6})
    assert near.severity is Severity.CAUTION and near.limit == LEAST_CLEARANCE
    assert near.value == pytest.approx(21.0285 - 11.6 - 9.35, abs=1e-4)
    assert near.sentence.count("only 0.079 modules are left between the tips of") == 2
    assert found({"pinion": 20, "gear": 20, "pinion_shift": 0.5, "gear_shift": 0.5}) == []
    (jams,) = found({"pinion": 20, "gear": 20, "pinion_shift": 0.8, "gear_shift": 0.8})
    assert jams.value < 0 and jams.sentence.count("no room is left between the tips of") == 2


def test_pointed_teeth(found):
    (pointed,) = found({"pinion": 12, "pinion_shift": 0.62, "gear_shift": -0.62})
    assert pointed.severity is Severity.CAUTION and 0 < pointed.value < pointed.limit == LEAST_TIP
    assert "the tips of the pinion's teeth are only 0." in pointed.sentence
