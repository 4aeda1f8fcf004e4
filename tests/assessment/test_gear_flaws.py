"""What is found about the geometry of gears."""

import math

import pytest

from winchsim.assessment.kinds import GearFlaw
from winchsim.assessment.teeth import LEAST_CLEARANCE, LEAST_CONTACT, LEAST_TIP, gear_flaws
from winchsim.inputs import Stage
from winchsim.simulation import simulate

PAIR = {
    "pinion": 20,
    "gear": 60,
    "module": 1e-3,
    "width": 8e-3,
    "material": "steel",
    "efficiency": 0.9,
}


@pytest.fixture(scope="module")
def found(small):
    """Maker of the flaws of a winch whose stages have these values besides those of a good pair."""

    def make(*stages):
        inputs = small(
            stage=tuple(Stage(**{**PAIR, **values}) for values in stages), load={"mass": 1.0}
        )
        return [flaw.values for flaw in gear_flaws(simulate(inputs))]

    return make


def _of(found, kind):
    return [values for values in found if values["flaw"] == kind.value]


def test_a_good_pair_has_no_flaw(found):
    assert found({}, {"pinion": 18}) == []


def test_undercut_begins_below_seventeen_teeth(found):
    # J. E. Shigley, Mechanical Engineering Design, §13-7: 17 teeth is the least that a rack cuts at
    # 20 degrees without interference; at 25 degrees it is 11 (2/sin² 25° = 11.2).
    assert (
        found(
            {"pinion": 17, "gear": 20},
            {"pinion": 11, "gear": 20, "pressure_angle": math.radians(25)},
        )
        == []
    )
    (plain,) = found({"pinion": 16, "gear": 20})
    assert (plain["flaw"], plain["side"], plain["value"], plain["limit"]) == (
        GearFlaw.UNDERCUT.value,
        "pinion",
        16,
        17,
    )
    assert found({"pinion": 16, "gear": 20, "pinion_shift": 0.1, "gear_shift": -0.0}) == []


def test_tips_may_reach_below_the_base_circle(found):
    (cut,) = found({"pinion": 12, "gear": 60})
    assert cut["flaw"] == GearFlaw.CUT_BY_GEAR.value and cut["teeth"] == 12


def test_a_gear_that_is_shifted_too_far_down_is_undercut(found):
    (cut,) = found({"pinion": 20, "gear": 20, "pinion_shift": 0.4, "gear_shift": -0.4})
    assert (cut["flaw"], cut["side"], cut["teeth"]) == (GearFlaw.UNDERCUT.value, "gear", 20)


def test_stages_with_the_same_flaw_stand_together(found):
    (cut,) = found({"pinion": 12}, {"pinion": 12, "module": 2e-3}, {"pinion": 12})
    assert cut["paths"] == ("stage.1", "stage.2", "stage.3")
    assert len(found({"pinion": 12}, {"pinion": 13})) == 2


def test_a_contact_ratio_under_the_least(found):
    (rough,) = _of(found({"pinion": 5, "gear": 60}), GearFlaw.CONTACT_RATIO)
    assert 0 < rough["value"] < rough["limit"] == LEAST_CONTACT


def test_shift_takes_the_room_at_the_tips(found):
    # Own arithmetic with the working angle of ISO 21771: inv a' = inv 20° + 2 (x1 + x2)/(z1 + z2)
    # tan 20° for 20 and 20 teeth shifted by 0.6 each gives a' = 26.654°, axes 20 cos 20°/cos a' =
    # 21.0285 modules apart: less 10 + 1.6 and 10 - 1.25 + 0.6.
    near = _of(
        found({"pinion": 20, "gear": 20, "pinion_shift": 0.6, "gear_shift": 0.6}),
        GearFlaw.CLEARANCE,
    )
    assert [values["side"] for values in near] == ["pinion", "gear"]
    for values in near:
        assert values["limit"] == LEAST_CLEARANCE and values["value"] == pytest.approx(
            21.0285 - 11.6 - 9.35, abs=1e-4
        )
    assert found({"pinion": 20, "gear": 20, "pinion_shift": 0.5, "gear_shift": 0.5}) == []
    jams = _of(
        found({"pinion": 20, "gear": 20, "pinion_shift": 0.8, "gear_shift": 0.8}),
        GearFlaw.CLEARANCE,
    )
    assert len(jams) == 2 and all(values["value"] < 0 for values in jams)


def test_pointed_teeth(found):
    (pointed,) = _of(
        found({"pinion": 12, "pinion_shift": 0.62, "gear_shift": -0.62}), GearFlaw.TIP_THICKNESS
    )
    assert pointed["side"] == "pinion" and 0 < pointed["value"] < pointed["limit"] == LEAST_TIP
