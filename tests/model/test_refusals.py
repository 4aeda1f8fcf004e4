"""What no winch can be built from is refused with the key to change."""

import pytest

from winchsim.errors import InputError
from winchsim.inputs import Brake
from winchsim.model import build
from winchsim.physics.chain import factors

from ..conftest import motor, stage


def keys_of(refused):
    return [fault.key for fault in refused.value.faults]


ASSUMED_ROPE = {"axial_stiffness": None, "breaking_force": None}


@pytest.mark.parametrize(
    ("parts", "key"),
    [
        ({"rope": {"axial_stiffness": 1e11}}, "rope.axial_stiffness"),  # too stiff to stretch
        ({"rope": {"axial_stiffness": 100.0}}, "rope.axial_stiffness"),  # stretched by half
        ({"load": {"mass": 5e4}, "rope": ASSUMED_ROPE}, "load.mass"),  # to blame itself
        ({"load": {"drum_height": 0.14}}, "load.drum_height"),  # no room at the top
        ({"load": {"start_height": 0.1}, "rope": {"slack": 0.01}}, "rope.slack"),
        ({"motors": motor(4.0, 0.005, count=2, dead=2)}, "motors.1.dead"),
        ({"stage": stage(500.0, 0.9, repeat=3), "load": {"height": 50.0}}, "load.height"),  # a day
    ],
)
def test_what_cannot_be_built_is_refused_at_its_key(small, parts, key):
    with pytest.raises(InputError) as refused:
        build(small(**parts))
    assert keys_of(refused) == [key]


def test_first_stage_given_as_locking_under_several_groups(small, make_motor, make_stage):
    """Which group carries how much is then undetermined."""
    motors = (make_motor(4.0, 0.005), make_motor(5.0, 0.006))
    with pytest.raises(InputError) as refused:
        build(small(motors=motors, stage=(make_stage(125.0, 0.4, -0.5),)))
    assert keys_of(refused) == ["stage.1.reverse_efficiency"]
    assert build(small(motors=motors[0], stage=(make_stage(125.0, 0.4, -0.5),))).groups[
        0
    ].ratio == pytest.approx(125.0)


@pytest.mark.parametrize(
    "first",
    [
        {"efficiency": 0.4},
        {"kind": "worm", "efficiency": 0.35},
        {"kind": "worm", "efficiency": None, "starts": 1},
    ],
    ids=["efficiency", "worm by efficiency", "worm by starts"],
)
@pytest.mark.parametrize("partner", [{}, {"dead": 1}], ids=["a group", "a dead motor"])
def test_nothing_is_refused_for_an_assumed_reverse_efficiency(
    small, make_motor, make_stage, first, partner
):
    """Beside other motors it passes back a little at rest, and its range says so; one group alone
    may lock."""
    side = (
        (make_motor(4.0, 0.005, count=2, dead=1),)
        if partner
        else (make_motor(4.0, 0.005), make_motor(5.0, 0.006))
    )
    winch = build(small(motors=side, stage=(make_stage(60.0, **first),), load={"mass": 1.0}))
    for mesh in winch.chain.groups:
        assert all(factors(e, winch.breakaway, -1)[1] > 0 for e in mesh.elements)
    row = {a.path: a for a in winch.assumed}["stage.1.reverse_efficiency"]
    assert row.low == row.value == winch.chain.groups[0].elements[-1].reverse > 0
    assert row.low < row.high < 1
    alone = build(
        small(
            motors=side[0] if not partner else make_motor(4.0, 0.005),
            stage=(make_stage(60.0, **first),),
        )
    )
    assert any(factors(e, alone.breakaway, -1)[1] <= 0 for e in alone.chain.elements)


def test_motor_bearings_of_low_efficiency_under_several_groups(small, make_motor, make_stage):
    """What their efficiency leaves to pass back is assumed too."""
    motors = (make_motor(4.0, 0.005, bearing_efficiency=0.4), make_motor(5.0, 0.006))
    first = build(small(motors=motors, stage=(make_stage(125.0, 0.9),))).chain.groups[0]
    assert all(factors(e, 1.3, -1)[1] > 0 for e in first.elements)


def test_brake_on_the_motor_shaft_of_several_groups(small, make_motor):
    motors = (make_motor(4.0, 0.005), make_motor(5.0, 0.006))
    with pytest.raises(InputError) as refused:
        build(small(motors=motors, brake=Brake(torque=0.01, place="motor")))
    assert keys_of(refused) == ["brake.place"]
    fitted = build(small(motors=motors, brake=Brake(torque=0.01, place="drum")))
    assert len(fitted.chain.groups) == 2 and fitted.braked_chain is not fitted.chain


def test_every_contradiction_at_once(small, make_motor):
    with pytest.raises(InputError) as refused:
        build(
            small(
                motors=make_motor(4.0, 0.005, dead=3),
                load={"start_height": 0.1, "snag_height": 0.05},
                rope={"slack": 0.01},
            )
        )
    assert {"motors.1.dead", "load.snag_height", "rope.slack"} <= set(keys_of(refused))
