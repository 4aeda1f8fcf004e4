"""Actions: each is tried in full, helps what it is for, and makes nothing fail that did not."""

from dataclasses import replace

import pytest

from winchsim import assess, simulate
from winchsim.assessment.actions import STEPS, Proposal, _towards, _tried
from winchsim.assessment.kinds import ActionKind, CheckKey, Status
from winchsim.inputs import Pawl, with_value
from winchsim.model import build


def _applied(inputs, action):
    for change in action.changes:
        if change.path == "pawl.fitted":
            inputs = replace(inputs, pawl=Pawl(fitted=change.after))
        else:
            inputs = with_value(inputs, change.path, change.after)
    return inputs


@pytest.fixture(scope="module")
def stalled():
    """A small winch under a load that it does not raise, assessed with actions."""
    from tests.conftest import small_winch

    inputs = small_winch(load={"mass": 22.0})
    return inputs, assess(simulate(inputs))


def test_actions_of_a_stall_raise_the_load_when_done(stalled):
    inputs, found = stalled
    assert not found.target.reached
    assert 1 <= len(found.actions) <= 3
    for action in found.actions:
        again = assess(simulate(_applied(inputs, action)), actions=False)
        assert again.counts == action.counts
        assert again.target.reached is action.reached
        assert not [
            effect
            for effect in action.effects
            if effect.after.status is Status.FAILS and effect.before.status is not Status.FAILS
        ]


def test_values_that_are_tried_are_even_steps_of_ratio_from_the_present_one(small):
    values = _towards(small(), "drum.diameter", 0.1)
    ratios = [values[0] / 0.010, *values[1:] / values[:-1]]
    assert ratios == pytest.approx([10 ** (1 / STEPS)] * len(values), abs=0.027)  # in round numbers


def test_actions_are_ranked_and_of_different_kinds(stalled):
    _, found = stalled
    ranks = [(not a.reached, a.counts[Status.FAILS], a.counts[Status.THIN]) for a in found.actions]
    assert ranks == sorted(ranks)
    assert len({action.kind for action in found.actions}) == len(found.actions)
    assert found.actions[0].reached


@pytest.mark.parametrize(("mass", "is_helpful"), [(4.0, True), (9.0, False)])
def test_a_change_that_helps_one_check_and_makes_two_thin_is_no_action(small, mass, is_helpful):
    """A rope that no jam breaks, but under a load that the motors hardly start."""
    winch = {"rope": {"breaking_force": 150.0}, "load": {"mass": 4.0}, "pawl": Pawl()}
    before = assess(simulate(small(**winch)), actions=False)
    inputs = small(pawl=Pawl(), rope={"breaking_force": 1000.0}, load={"mass": mass})
    change = Proposal(ActionKind.STRONGER_PART, (), inputs)
    assert (_tried(change, (CheckKey.JAM,), before) is not None) is is_helpful


def test_what_is_held_by_friction_gets_a_pawl_or_a_brake_that_carries_it_alone(small):
    """More than 1.25 times 8 kg on the drum, though friction carries it too. They come before what
    leaves fewer checks thin."""
    pawl, advised, other = assess(simulate(small())).actions
    assert (pawl.kind, advised.kind) == (ActionKind.PAWL, ActionKind.BRAKE)
    assert other.counts[Status.THIN] < pawl.counts[Status.THIN]
    assert pawl.effects[0].before.status is Status.THIN
    assert pawl.effects[0].after.status is Status.OK
    load = 8.0 * 9.80665 * build(small()).layers[0].radius
    assert 1.25 * load <= advised.changes[0].after < 1.3 * load


def test_a_jam_that_breaks_a_part_gets_a_current_limit(small):
    found = assess(
        simulate(
            small(
                pawl=Pawl(), rope={"breaking_force": 165.0}, load={"drum_height": 0.5, "mass": 5.0}
            )
        )
    )
    action = next(a for a in found.actions if a.kind is ActionKind.LOWER_CURRENT_LIMIT)
    assert action.changes[0].path == "supply.current_limit"
    assert action.changes[0].after <= found.jam.limit
    assert action.effects[0].before.key is CheckKey.JAM
