"""The lossy chain: branches, what holds at rest, and floats against arrays."""

import itertools
import math

import numpy as np
import pytest
from holding import held_torque
from scipy.optimize import linprog

from winchsim.physics import chain as ch
from winchsim.physics.chain.branch import _imbalance


def _driven(rotor, *elements):
    """Chain of a single group without a drag of its own."""
    return ch.Chain((ch.GroupMesh((), rotor),), 0.0, elements)


def _train(count=3, ratio=4.0, forward=0.9, reverse=None, drag=1e-4, inertia=1e-7, rotor=8e-7):
    reverse = ch.reverse_of(forward) if reverse is None else reverse
    elements = [
        ch.Element(f"mesh of stage {i}", ratio, forward, reverse, drag, inertia)
        for i in range(2, count + 1)
    ]
    elements.append(ch.Element("drum bearings", 1.0, 1.0, 1.0, 2e-4, 1e-6))
    elements.insert(0, ch.Element("mesh of stage 1", ratio, forward, reverse, drag, inertia))
    return _driven(rotor, *elements)


def _two_groups(**kw):
    one = _train(**kw)
    first, second = (
        ch.Element("mesh", 4.0, 0.9, 0.88, 3e-4),
        ch.Element("mesh", 5.0, 0.85, 0.8, 1e-4),
    )
    return ch.Chain(
        (ch.GroupMesh((first,), 4e-7), ch.GroupMesh((second,), 2e-7)), 1e-7, one.elements[1:]
    )


def _balance_by_bisection(chain, d, torques, rope_torque):
    def f(x):
        return _imbalance(chain, d, torques, rope_torque, x)

    lo, hi = -1.0, 1.0
    while f(lo) > 0:
        lo *= 2
    while f(hi) < 0:
        hi *= 2
    for _ in range(200):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if f(mid) < 0 else (lo, mid)
    return (lo + hi) / 2


@pytest.mark.parametrize("chain", [_train(), _two_groups()], ids=["one group", "two groups"])
@pytest.mark.parametrize("d", [1, -1])
@pytest.mark.parametrize("motor", [-4e-3, -1e-4, 0.0, 3e-4, 5e-3])
@pytest.mark.parametrize("rope_torque", [0.0, 1e-3, 0.5])
def test_found_branch_balances_the_torques_as_bisection_does(chain, d, motor, rope_torque):
    torques = [motor * (1 - 0.6 * i) for i in range(len(chain.groups))]
    at = ch.find_branch(chain, d, torques, rope_torque)
    x = at.acceleration(torques, rope_torque)
    assert at.holds(torques, rope_torque, x)
    assert x == pytest.approx(
        _balance_by_bisection(chain, d, torques, rope_torque), rel=1e-9, abs=1e-9
    )


def test_a_branch_of_numpy_numbers_holds_as_one_of_floats():
    at = ch.likely_branch(_train(drag=np.float64(1.3e-4), forward=np.float64(0.91)), 1)
    assert at.holds([5e-3], 0.5, at.acceleration([5e-3], 0.5))


def test_only_one_branch_holds_whichever_is_tried():
    chain, torques, rope_torque = _two_groups(), [2e-3, -1e-3], 0.02
    found = []
    for loaded in itertools.product([True, False], repeat=len(chain.elements)):
        for driving in itertools.product([True, False], repeat=2):
            at = ch.branch(chain, 1, loaded, driving)
            x = at.acceleration(torques, rope_torque)
            if at.holds(torques, rope_torque, x):
                found.append(x)
    assert len(found) == 1


@pytest.mark.parametrize("chain", [_train(), _two_groups()], ids=["one group", "two groups"])
@pytest.mark.parametrize("d", [1, -1])
def test_arrays_give_what_floats_give(chain, d):
    rng = np.random.default_rng(4)
    torques = [rng.uniform(-5e-3, 5e-3, 60) for _ in chain.groups]
    rope = rng.uniform(0, 0.6, 60)
    many = ch.moving_torques(chain, d, torques, rope)
    for k in range(60):
        each = [float(t[k]) for t in torques]
        at = ch.find_branch(chain, d, each, float(rope[k]))
        assert many.acceleration[k] == pytest.approx(
            at.acceleration(each, float(rope[k])), rel=1e-9
        )


@pytest.mark.parametrize("d", [1, -1])
@pytest.mark.parametrize("count", [1, 3])
def test_no_torque_depends_on_the_branch_that_is_tried_first(d, count):
    chain = _two_groups()
    torques, rope = [np.full(count, 4e-3), np.full(count, 3e-3)], np.linspace(0.0, 0.4, count)
    expected = ch.moving_torques(chain, d, torques, rope)
    for loaded in itertools.product([True, False], repeat=len(chain.elements)):
        for driving in itertools.product([True, False], repeat=2):
            found = ch.moving_torques(chain, d, torques, rope, ch.branch(chain, d, loaded, driving))
            np.testing.assert_allclose(found.acceleration, expected.acceleration, rtol=1e-12)
            np.testing.assert_allclose(found.outputs, expected.outputs, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("chain", [_train(), _two_groups()], ids=["one group", "two groups"])
@pytest.mark.parametrize("d", [1, -1])
def test_losses_are_what_goes_in_less_what_comes_out_and_never_negative(chain, d):
    rng = np.random.default_rng(7)
    torques = [rng.uniform(-5e-3, 5e-3, 80) for _ in chain.groups]
    rope, speed = rng.uniform(0, 0.6, 80), d * rng.uniform(0.1, 3, 80)
    many = ch.moving_torques(chain, d, torques, rope)
    into = sum(t * speed * ch.group_ratio(chain, i) for i, t in enumerate(torques))
    drag = sum(g.drag * abs(speed) * ch.group_ratio(chain, i) for i, g in enumerate(chain.groups))
    kinetic = ch.drum_inertia(chain) * speed * many.acceleration
    lost = ch.losses(chain, many, speed)
    assert np.all(lost >= -1e-15)
    np.testing.assert_allclose(
        into - drag - kinetic - rope * speed, lost.sum(axis=0), rtol=1e-9, atol=1e-12
    )


def test_a_locking_element_holds_any_load_and_is_driven_down():
    worm = ch.Element("worm", 40.0, 0.45, 2 - 1 / 0.45, 0.0, 0.0)
    chain = _driven(1e-7, ch.Element("mesh", 3.0, 0.95, 0.947, 1e-4, 1e-7), worm)
    for rope_torque in (0.1, 10.0, 1e4):
        up, down = ch.StartMargins(chain, 1.0)([0.0], rope_torque)
        assert up < 0 > down
    assert ch.demand(chain, -1)(10.0) < ch.demand(chain, -1)(1.0) < 0


@pytest.mark.parametrize("push", np.linspace(-0.03, 0.0, 12).tolist())
def test_a_drum_that_starts_to_run_back_can_move(push):
    """Behind a worm that is pushed down, a lossy tackle at rest keeps more load from it than one
    that turns."""
    worm, tackle = ch.Element("worm", 40.0, 0.4, -0.3), ch.Element("tackle", 1.0, 0.6, 0.3)
    chain = _driven(1e-7, worm, tackle)
    starts = ch.StartMargins(chain, 1.3)([push], 10.0)[1] > 0
    assert starts == (push < -10.0 / 40 * 0.3 * 0.3)
    if starts:
        assert ch.find_branch(chain, -1, [push], 10.0).acceleration([push], 10.0) < 0


def test_at_rest_losses_grow_by_the_breakaway_ratio():
    element = ch.Element("mesh", 4.0, 0.9, 0.88, 1e-3)
    assert ch.input_torque(element, 1, 2.0, 1.3) == pytest.approx(
        1.3e-3 + 0.5 * (1 + 1.3 * (1 / 0.9 - 1))
    )
    assert ch.input_torque(element, -1, 2.0, 1.3) == pytest.approx(-1.3e-3 + 0.5 * (1 - 1.3 * 0.12))
    brake = ch.Element("brake", 1.0, 1.0, 1.0, 1e-3, grows_at_rest=(0.0, 0.0))
    assert ch.input_torque(brake, 1, 2.0, 1.3) == pytest.approx(2.001)


def test_demand_is_the_walk_through_the_elements_for_floats_and_arrays():
    chain = _train(drag=2e-3)
    torque = np.linspace(0, 0.2, 200)
    for d in (1, -1):
        line = ch.demand(chain, d, 1.3)
        walked = torque
        for element in reversed(chain.elements):
            walked = ch.input_torque(element, d, walked, 1.3)
        np.testing.assert_allclose(line(torque), walked, rtol=1e-12, atol=1e-15)
        np.testing.assert_allclose([line(float(t)) for t in torque], walked, rtol=1e-12, atol=1e-15)
    assert len(ch.demand(chain, 1).knots) == 1
    assert len(ch.demand(chain, -1).knots) > 1


@pytest.mark.parametrize("rope_torque", [0.0, 0.03, 0.2])
@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("chain", [_train(drag=2e-3), _two_groups(drag=2e-3)])
def test_output_torques_are_those_of_the_branch_that_holds(chain, direction, rope_torque):
    motors = [2e-3] * len(chain.groups)
    at = ch.find_branch(chain, direction, motors, rope_torque)
    x = at.acceleration(motors, rope_torque)
    common, *outputs = ch.output_torques(chain, direction, rope_torque, acceleration=x)
    wanted = [a + b * rope_torque + c * x for a, b, c in at.outputs]
    assert outputs == pytest.approx(wanted, rel=1e-10, abs=1e-15)
    assert _imbalance(chain, direction, motors, rope_torque, x) == pytest.approx(
        0.0, abs=1e-12 * (1 + abs(common))
    )


def test_output_torques_of_arrays_are_those_of_floats():
    torques, extra = np.array([0.0, 0.01, 0.2, 1.5]), np.array([1.0, 1.0, 1.3, 1.3])
    many = ch.output_torques(_train(), -1, torques, breakaway=extra)
    for k, (torque, breakaway) in enumerate(zip(torques, extra, strict=True)):
        assert [row[k] for row in many] == ch.output_torques(
            _train(), -1, float(torque), breakaway=float(breakaway)
        )
    assert (
        ch.shaft_ratios(_train()) == list(ch.drum_ratios(_train())) == [64.0, 16.0, 4.0, 1.0, 1.0]
    )


def test_rotating_inertia_is_that_of_the_raising_branch():
    for chain in (_train(), _two_groups()):
        assert ch.rotating_inertia(chain, len(chain.groups)) == pytest.approx(
            ch.likely_branch(chain, 1).inertia, rel=1e-12
        )
    dragged = ch.branch(chain, 1, (True,) * len(chain.elements), (True, False))
    assert ch.rotating_inertia(chain, 1) == pytest.approx(dragged.inertia, rel=1e-12)


def test_reverse_efficiency_has_the_friction_torque_of_the_forward_one():
    for forward in (1.0, 0.9, 0.5, 0.3):
        assert 1 - ch.reverse_of(forward) == pytest.approx(1 / forward - 1, abs=1e-15)
    assert (
        ch.reverse_of(0.5) == 0.0 > ch.reverse_of(0.4)
    )  # the rule that half the power lost is where it locks
    np.testing.assert_array_equal(
        ch.reverse_of(np.array([0.9, 0.5])), [ch.reverse_of(0.9), ch.reverse_of(0.5)]
    )


def test_a_branch_on_which_slowing_asks_more_of_the_motors_never_holds():
    # By hand: 2 x 1e-9 of the rotor, and -0.5/2 x 1 of the shaft behind the worm.
    chain = _driven(1e-9, ch.Element("worm", 2.0, 0.4, -0.5, 0.0, 1.0))
    backward = ch.branch(chain, -1, (False,), (False,))
    assert backward.inertia == pytest.approx(2e-9 - 0.25)
    assert not backward.holds([0.0], 0.5, -1.0) and ch.may_wedge(chain, -1)
    assert not ch.may_wedge(_driven(0.2, ch.Element("worm", 2.0, 0.4, -0.5, 0.0, 1.0)), -1)


@pytest.mark.parametrize(("inertia", "wedges"), [(0.3 / 2, True), (0.32 / 2, False)])
def test_losses_in_front_of_a_locking_element_make_it_wedge_sooner(inertia, wedges):
    # Behind the worm -0.5 x 1/2; a mesh of 0.8 in front, driven by the motor, makes that -0.25/0.8
    # = -0.3125.
    worm, mesh = (
        ch.Element("worm", 2.0, 0.4, -0.5, 0.0, 1.0),
        ch.Element("mesh", 1.0, 0.8, 0.75, 0.0, 0.0),
    )
    assert ch.may_wedge(_driven(inertia, mesh, worm), -1) is wedges


@pytest.mark.parametrize(
    ("direction", "motor", "rope_torque"), [(1, -1e-2, 0.5), (-1, 0.0, 0.5), (-1, 1e-3, 0.0)]
)
def test_torques_that_no_motion_balances_are_a_wedge(direction, motor, rope_torque):
    # Locked against the drum behind it, the stage turns back only while it is driven; more inertia
    # only jams it more.
    lock = ch.Element("worm", 4.0, 0.5, -0.5, 0.0, 1e-7)
    mesh, drum = (
        ch.Element("mesh", 4.0, 0.9, 0.88, 0.0, 1e-9),
        ch.Element("drum", 1.0, 1.0, 1.0, 0.0, 1e-3),
    )
    assert ch.find_branch(_driven(1e-9, mesh, lock, drum), direction, [motor], rope_torque) is None


def test_where_two_motions_balance_the_one_that_lasts_is_taken():
    # Forward 0.1 N·m x 2 x 0.4 speeds 1 kg·m² up. The other balance has the shaft drive the worm,
    # slowed by as much as jams it: the least disturbance drives it away from there.
    chain = _driven(1e-9, ch.Element("worm", 2.0, 0.4, -0.5, 0.0, 1.0))
    found = ch.find_branch(chain, 1, [0.1], 0.0)
    assert found.loaded == (True,) and found.inertia > 0
    assert found.acceleration([0.1], 0.0) == pytest.approx(0.1 * 2.0 * 0.4, rel=1e-6)


def _with_worm(chain):
    worm = ch.Element("worm", 5.0, 0.55, 0.1, 1e-4, 1e-7, rest=(0.45, -0.3))
    return ch.Chain(
        chain.groups, chain.common_inertia, (chain.elements[0], worm, *chain.elements[2:])
    )


RESTING = {
    "one group": (_train(drag=2e-4), (1.0,)),
    "much friction": (_train(drag=2e-4, reverse=0.4), (1.0,)),
    "locks": (_train(drag=2e-4, reverse=-0.5), (1.0,)),
    "a worm": (_with_worm(_train(drag=2e-4)), (1.0,)),
    "two groups": (_two_groups(drag=2e-4), (0.2, 0.15)),
    "a dead motor": (_two_groups(drag=2e-4), (0.3, 0.0)),
    "two groups and a worm": (_with_worm(_two_groups(drag=2e-4)), (0.2, 0.15)),
}


@pytest.mark.parametrize("name", RESTING)
@pytest.mark.parametrize(("motor", "rope"), [(0.0, 0.02), (2e-3, 0.3), (4e-3, 0.1), (1e-3, 0.5)])
def test_resting_bounds_are_the_least_that_statics_allows(name, motor, rope):
    """Linear programmes over all states of friction: the least torque of the common gear and of
    each shaft behind it. What a group gives the common gear lies between what it gives as it
    begins to raise, and as it begins to be driven back."""
    (chain, shares), breakaway = RESTING[name], 1.3
    torques = [motor * share for share in shares]
    rows = [(e.ratio, *_at_rest(e, breakaway)) for e in chain.elements]
    above, right = [], []
    for k, (ratio, forward, back, drag) in enumerate(
        rows
    ):  # back t/N - c <= t of the shaft before <= forward t/N + c
        for sign, factor in ((1.0, forward), (-1.0, back)):
            row = np.zeros(len(rows) + 1)
            row[k], row[k + 1] = sign, -sign * factor / ratio
            above.append(row)
            right.append(drag)
    given = sorted(
        sum(
            ch.group_push(ch.Chain((mesh,), 0.0, chain.elements), way, [torque], breakaway)
            for mesh, torque in zip(chain.groups, torques, strict=True)
        )
        for way in (1, -1)
    )
    ends = [(max(given[0], 0.0), given[1]), *[(0.0, None)] * (len(rows) - 1), (rope, rope)]
    found = ch.RestingBounds(chain, breakaway)(torques, rope)
    for k in range(len(rows)):
        least = linprog(
            np.eye(len(rows) + 1)[k], A_ub=above, b_ub=right, bounds=ends, method="highs"
        )
        if (
            least.status == 2
        ):  # the load is too heavy or too light for this push: nothing is at rest
            assert max(ch.StartMargins(chain, breakaway)(torques, rope)) > 0
            return
        assert [found.common, *found.outputs][k] == pytest.approx(least.fun, rel=1e-9, abs=1e-12)
    assert max(ch.StartMargins(chain, breakaway)(torques, rope)) <= 1e-12


def test_groups_at_rest_carry_what_they_make_or_hold_the_load_by_their_drag():
    """Pushing, each its torque less its drag, or nothing; hung on, each its part of the common
    gear's torque, in proportion to what its drag holds through its mesh backwards."""
    bounds = ch.RestingBounds(_two_groups(drag=2e-4), 1.0)
    assert bounds([5e-3, 1e-5], 0.0).groups == pytest.approx([5e-3 - 3e-4, 0.0])
    hung = bounds([0.0, 0.0], 0.5)
    first, second = hung.groups[0] * 4.0 * 0.9, hung.groups[1] * 5.0 * 0.85
    assert first + second == pytest.approx(hung.common)
    assert first / second == pytest.approx((3e-4 * 4.0 / 0.88) / (1e-4 * 5.0 / 0.8))


def _at_rest(element, breakaway):
    """Input torque per output torque over the ratio while raising and while running back, and the
    drag, at rest."""
    drag = ch.input_torque(element, 1, 0.0, breakaway)
    raising, back = (
        ch.input_torque(element, way, element.ratio, breakaway) - way * drag for way in (1, -1)
    )
    return raising, back, drag


def test_resting_bounds_cover_both_what_the_load_passes_up_and_the_motors_pass_down():
    up = ch.RestingBounds(_train(drag=0.0), 1.3)([np.array([1e-2, 0.0])], np.array([0.0, 0.5]))
    assert up.outputs[-1][1] == pytest.approx(0.5)
    assert up.outputs[-1][0] == pytest.approx(
        1e-2 * 64 / (1 + 1.3 * (1 / 0.9 - 1)) ** 3 - 2.6e-4, rel=1e-3
    )
    assert math.isclose(up.common[0], 1e-2)


@pytest.mark.parametrize(
    "chain", [_train(), _train(reverse=-0.3), _two_groups()], ids=["one", "locks", "two"]
)
@pytest.mark.parametrize("breakaway", [1.0, 1.3])
def test_what_drives_an_idle_train_back_rises_over_zero_where_it_is_just_held(chain, breakaway):
    held = held_torque(chain, breakaway)
    if held == math.inf:  # locks at any load
        assert np.all(ch.driven_back(chain, np.linspace(0, 10, 7), breakaway) < 0)
        return
    found = ch.driven_back(chain, held * np.array([0.9, 1.0, 1.1]), breakaway)
    assert found[0] < 0 < found[2] and found[1] == pytest.approx(0.0, abs=1e-12)
    idle = [0.0] * len(chain.groups)
    for share in (0.9, 1.1):  # the same rule that starts a train at rest
        assert ch.StartMargins(chain, breakaway)(idle, share * held)[1] == pytest.approx(
            ch.driven_back(chain, share * held, breakaway)
        )
