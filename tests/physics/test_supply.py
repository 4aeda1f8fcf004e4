"""Terminal voltage and currents in every regime, and the guards between them."""

import math

import numpy as np
import pytest

from winchsim.physics.supply import (
    NOTHING_BACK,
    LimitSide,
    Regime,
    Source,
    agreeing_balance,
    balance,
    first_regime,
    limited_current,
    regime_margins,
)
from winchsim.slow.stacking import unchecked

BENCH = Source(resistance=0.5)
BATTERY = Source(resistance=0.5, takes_back=True)
FREE = math.inf
ONE = ((2,), (4.0,), (2.5,), (0.0,))
TWO = ((2, 1), (4.0, 2.0), (2.5, 3.5), (0.0, 0.0))
TWO_WITH_DROP = ((2, 1), (4.0, 2.0), (2.5, 3.5), (0.5, 0.25))


def summed(groups, currents):
    return sum(n * i for n, i in zip(groups[0], currents, strict=True))


# --- balance


@pytest.mark.parametrize(
    ("regime", "groups", "voltage", "currents", "total"),
    [
        # 2 motors of 4 ohm are 2 ohm at 2.5 V; behind 0.5 ohm from 6 V: 3.5 V over 2.5 ohm.
        (Regime.VOLTAGE, ONE, 5.3, (0.7,), 1.4),
        # As above with 0.5 V less to drive the current: 3.0 V over 2.5 ohm.
        (Regime.VOLTAGE, ((2,), (4.0,), (2.5,), (0.5,)), 5.4, (0.6,), 1.2),
        # Equal motors on an open lead carry no current; joined terminals brake, and leave the
        # source alone.
        (Regime.OPEN, ONE, 2.5, (0.0,), 0.0),
        (Regime.SHORTED, TWO_WITH_DROP, 0.0, (-0.5, -1.625), 0.0),
        # With each open, half a siemens on 2.5 V and half on 3.5 V would show 3 V when joined.
        (Regime.EACH_OPEN, TWO, 3.0, (0.0, 0.0), 0.0),
    ],
)
def test_balance_worked_by_hand(regime, groups, voltage, currents, total):
    found = balance(regime, 6.0, BENCH, *groups, FREE)
    assert (found[0], *found[1], found[2]) == pytest.approx((voltage, *currents, total))


def test_brush_drop_keeps_a_band_without_current():
    groups = ((2,), (4.0,), (2.5,), (0.5,))
    for open_voltage in (2.0, 2.3, 3.0):
        assert balance(Regime.VOLTAGE, open_voltage, BENCH, *groups, FREE) == (
            open_voltage,
            (0.0,),
            0.0,
        )
    assert balance(Regime.VOLTAGE, 3.1, BENCH, *groups, FREE)[2] > 0.0
    assert balance(Regime.VOLTAGE, 1.9, BENCH, *groups, FREE)[2] < 0.0


def test_voltage_within_the_dead_band_when_nothing_flows():
    # Two groups whose bands overlap from 2.7 to 2.9 V: nothing taken back stands at the edge where
    # giving begins.
    groups = ((1, 1), (4.0, 4.0), (2.5, 3.1), (0.4, 0.4))
    cases = ((Regime.NO_RETURN, 6.0), (Regime.NO_RETURN, -6.0), (Regime.OPEN, 6.0))
    found = [balance(regime, voltage, BENCH, *groups, FREE)[0] for regime, voltage in cases]
    assert found == pytest.approx([2.7, 2.9, 2.8])
    assert balance(Regime.OPEN, 6.0, BENCH, *groups, FREE)[1] == (0.0, 0.0)


def test_no_live_motor_draws_nothing():
    for regime in Regime:
        assert balance(regime, 6.0, BENCH, (), (), (), (), 1.0)[1:] == ((), 0.0)
    assert balance(Regime.VOLTAGE, 6.0, BENCH, (), (), (), (), 1.0)[0] == 6.0


@pytest.mark.parametrize("groups", [ONE, TWO, TWO_WITH_DROP])
@pytest.mark.parametrize("regime", list(Regime))
def test_reversed_polarity_is_the_mirror(groups, regime):
    n, r, e, drop = groups
    voltage, currents, total = balance(regime, 6.0, BENCH, *groups, 1.5)
    mirrored = balance(regime, -6.0, BENCH, n, r, tuple(-x for x in e), drop, 1.5)
    assert mirrored[0] == pytest.approx(-voltage)
    assert mirrored[1] == pytest.approx(tuple(-i for i in currents))
    assert mirrored[2] == pytest.approx(-total)


# --- regimes


@pytest.mark.parametrize(
    ("open_voltage", "emf", "source", "limit", "regime"),
    [
        (6.0, 0.0, BENCH, FREE, Regime.VOLTAGE),
        (6.0, 0.0, BENCH, 2.0, Regime.CURRENT),
        (6.0, 5.0, BENCH, 2.0, Regime.VOLTAGE),
        (6.0, 7.0, BENCH, 2.0, Regime.NO_RETURN),
        (6.0, 7.0, BATTERY, 2.0, Regime.VOLTAGE),
        (
            6.0,
            16.0,
            BATTERY,
            2.0,
            Regime.VOLTAGE,
        ),  # more than the limit flows back: the limit is for giving
        (-6.0, 0.0, BENCH, 2.0, Regime.CURRENT),
        (-6.0, -7.0, BENCH, 2.0, Regime.NO_RETURN),
        (-6.0, -7.0, BATTERY, 2.0, Regime.VOLTAGE),
        (-6.0, 3.0, BENCH, 2.0, Regime.CURRENT),  # plugging
        (0.0, 0.0, BENCH, 2.0, Regime.VOLTAGE),  # a ramp that has not begun
        (0.0, 1.0, BENCH, 2.0, Regime.NO_RETURN),
        (0.0, -1.0, BENCH, 2.0, Regime.VOLTAGE),
        (-0.0, -1.0, BENCH, 2.0, Regime.NO_RETURN),  # a ramp downwards that has not begun
        (-0.0, 1.0, BENCH, 2.0, Regime.VOLTAGE),
    ],
)
def test_first_regime(open_voltage, emf, source, limit, regime):
    groups = ((2,), (4.0,), (emf,), (0.0,))
    assert first_regime(open_voltage, source, *groups, limit) is regime
    voltage, _, total = balance(regime, open_voltage, source, *groups, limit)
    for _, margin in regime_margins(regime, voltage, total, open_voltage, source, limit):
        assert margin <= 0.0


def margin_of(regime, following, open_voltage, source, groups, limit):
    voltage, _, total = balance(regime, open_voltage, source, *groups, limit)
    return dict(regime_margins(regime, voltage, total, open_voltage, source, limit))[following]


@pytest.mark.parametrize("drop", [0.0, 0.5])
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("before", "after", "emf", "step"),
    [
        # 6 V behind 0.5 ohm, limit 1 A, two motors of 4 ohm: the limit is reached at 3.5 V less the
        # drop.
        (Regime.VOLTAGE, Regime.CURRENT, lambda drop: 3.5 - drop, -1.0),
        (Regime.CURRENT, Regime.VOLTAGE, lambda drop: 3.5 - drop, 1.0),
        (Regime.VOLTAGE, Regime.NO_RETURN, lambda drop: 6.0 + drop, 1.0),
        (Regime.NO_RETURN, Regime.VOLTAGE, lambda drop: 6.0 + drop, -1.0),
    ],
)
def test_margins_cross_upward_where_the_next_regime_begins(before, after, emf, step, sign, drop):
    def margin(e):
        groups = ((2,), (4.0,), (sign * e,), (drop,))
        return margin_of(before, after, sign * 6.0, BENCH, groups, 1.0)

    at = emf(drop)
    assert margin(at - 1e-6 * step) < 0.0 < margin(at + 1e-6 * step)


def test_guard_against_return_does_not_stand_at_zero_in_the_dead_band():
    groups = ((2,), (4.0,), (6.2,), (0.5,))
    assert margin_of(Regime.VOLTAGE, Regime.NO_RETURN, 6.0, BENCH, groups, 1.0) == -NOTHING_BACK


def test_which_guards_there_are():
    following = [regime for regime, _ in regime_margins(Regime.VOLTAGE, 6.0, 0.0, 6.0, BENCH, 1.0)]
    assert following == [Regime.CURRENT, Regime.NO_RETURN]
    assert [
        regime for regime, _ in regime_margins(Regime.VOLTAGE, 6.0, 0.0, 6.0, BATTERY, 1.0)
    ] == [Regime.CURRENT]
    assert regime_margins(Regime.VOLTAGE, 6.0, 0.0, 6.0, BATTERY, FREE) == ()
    for regime in (Regime.OPEN, Regime.EACH_OPEN, Regime.SHORTED, Regime.EMPTY):
        assert regime_margins(regime, 0.0, 0.0, 6.0, BENCH, 1.0) == ()


def test_margins_of_arrays():
    emfs = np.linspace(0.0, 8.0, 9)
    voltage, _, total = balance(Regime.VOLTAGE, 6.0, BENCH, (2,), (4.0,), (emfs,), (0.0,), 1.0)
    margins = dict(regime_margins(Regime.VOLTAGE, voltage, total, 6.0, BENCH, 1.0))
    assert (margins[Regime.CURRENT] > 0.0).tolist() == (emfs < 3.5).tolist()
    assert (margins[Regime.NO_RETURN] > 0.0).tolist() == (emfs > 6.0).tolist()


# --- controllers and adapters

PAIR = ((2, 1), (4.0, 3.0), (1.5, 2.0), (0.0, 0.0))
BRUSHED = ((2, 1), (4.0, 3.0), (1.5, 2.0), (0.3, 0.2))


@pytest.mark.parametrize("groups", [PAIR, BRUSHED])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_controller_at_full_duty_is_not_there(groups, sign):
    turned = (*groups[:2], tuple(sign * e for e in groups[2]), groups[3])
    plain = balance(Regime.VOLTAGE, sign * 6.0, Source(0.5), *turned, math.inf)
    there = Source(0.5, limit_side=LimitSide.BATTERY)
    assert balance(Regime.VOLTAGE, sign * 6.0, there, *turned, math.inf)[2] == pytest.approx(
        plain[2]
    )


@pytest.mark.parametrize("groups", [PAIR, BRUSHED])
@pytest.mark.parametrize("side", list(LimitSide))
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_limiting_controller_passes_on_all_power(groups, side, sign):
    """Lossless: what the battery gives behind its resistance is what the motors take, whatever the
    duty."""
    turned = (*groups[:2], tuple(sign * e for e in groups[2]), groups[3])
    source = Source(0.5, limit_side=side)
    voltage, currents, total = balance(Regime.CURRENT, sign * 6.0, source, *turned, 0.6)
    motors = summed(turned, currents)
    assert voltage * motors == pytest.approx((sign * 6.0 - 0.5 * total) * total)
    assert sign * (motors if side is LimitSide.MOTOR else total) == pytest.approx(0.6)
    assert abs(total) < abs(motors) or abs(voltage) >= 6.0 - 0.5 * 0.6


@pytest.mark.parametrize("groups", [PAIR, tuple(row[:1] for row in PAIR)])
def test_a_supply_that_is_off_gives_nothing_at_each_of_many_speeds(groups):
    turned = (*groups[:2], tuple(e * np.linspace(0.0, 1.0, 5) for e in groups[2]), groups[3])
    _, currents, total = balance(Regime.OPEN, 0.0, Source(0.5), *turned, math.inf)
    assert total.shape == currents[0].shape == (5,) and not total.any()


def test_duty_shows_the_motors_less_voltage_and_the_battery_less_current():
    voltage, (current,), total = balance(
        Regime.VOLTAGE, 12.0, Source(0.5, duty=0.5), (1,), (2.0,), (1.0,), (0.0,), math.inf
    )
    assert (total, voltage) == (
        pytest.approx(0.5 * current),
        pytest.approx(0.5 * (12.0 - 0.5 * total)),
    )
    assert current == pytest.approx((6.0 - 1.0) / (2.0 + 0.25 * 0.5))


@pytest.mark.parametrize(
    "source",
    [
        Source(0.4, limit_side=LimitSide.MOTOR, duty=0.8),
        Source(0.4, limit_side=LimitSide.BATTERY, duty=0.8),
        Source(0.4, duty=0.8),
        Source(0.4, fold_to=0.2),
        Source(0.4, fold_to=0.2, duty=0.8),
        Source(0.4),
    ],
)
def test_at_the_limit_both_regimes_agree(source):
    """The current that the source gives does not jump where it begins to limit, and the guards of
    both are at zero."""
    groups = ((2,), (4.0,), (1.0,), (0.1,))
    voltage, currents, total = balance(Regime.VOLTAGE, 6.0, source, *groups, math.inf)
    limit = limited_current(source, total)
    held = balance(Regime.CURRENT, 6.0, source, *groups, limit)
    assert (held[0], held[1][0], held[2]) == (
        pytest.approx(voltage),
        pytest.approx(currents[0]),
        pytest.approx(total),
    )
    for regime, state in ((Regime.VOLTAGE, (voltage, total)), (Regime.CURRENT, (held[0], held[2]))):
        margin = regime_margins(regime, *state, 6.0, source, limit)[0][1]
        assert margin == pytest.approx(0.0, abs=1e-9)


def test_a_source_that_folds_back_gives_a_stalled_motor_hardly_more_than_its_floor():
    voltage, (current,), total = balance(
        Regime.CURRENT, 12.0, Source(0.0, fold_to=0.5), (1,), (1.0,), (0.0,), (0.0,), 3.0
    )
    assert (total, current) == pytest.approx([0.5 + 2.5 * voltage / 12.0] * 2)
    assert current == pytest.approx(0.5 / (1.0 - 2.5 / 12.0))


@pytest.mark.parametrize(("limit", "floor"), [(3.0, 0.5), (0.2, 0.2)])
def test_a_source_that_folds_back_at_the_start_of_a_ramp_stays_at_its_floor(limit, floor):
    """Half a volt against a motor of 1 ohm turned backwards at -3 V: 3.5 A would flow, over every
    limit. No point of the source's line from its floor at 0 V to its limit at 0.5 V, steeper than
    the motor's 1 A/V, is one of the motor's; a limit below the floor is the floor."""
    motor, source = ((1,), (1.0,), (-3.0,), (0.0,)), Source(0.0, fold_to=0.5)
    assert first_regime(0.5, source, *motor, limit) is Regime.CURRENT
    voltage, currents, total = balance(Regime.CURRENT, 0.5, source, *motor, limit)
    assert (voltage, currents[0], total) == pytest.approx((floor - 3.0, floor, floor))
    ((_, margin),) = regime_margins(Regime.CURRENT, voltage, total, 0.5, source, limit)
    assert margin < 0.0


@pytest.mark.parametrize("emf", [-1.0, 0.0, 2.0, 4.0])
def test_a_source_that_folds_back_behind_a_controller_is_transformed(emf):
    """An ideal transformer of ratio D: D of the voltage, 1/D of every current, D² of the
    resistance."""
    duty, groups = 0.6, ((2,), (1.5,), (emf,), (0.1,))
    behind = Source(0.4, fold_to=0.5, duty=duty)
    plain = Source(duty**2 * 0.4, fold_to=0.5 / duty)
    voltage, currents, total = balance(Regime.CURRENT, 12.0, behind, *groups, 2.0)
    seen = balance(Regime.CURRENT, duty * 12.0, plain, *groups, 2.0 / duty)
    assert (voltage, currents[0], total / duty) == pytest.approx((seen[0], seen[1][0], seen[2]))


def test_a_controller_that_limits_a_battery_too_weak_for_its_limit_stays_at_it():
    """Half a volt behind 5 ohm gives no 0.2 A by itself; a motor of 1 ohm turned backwards at -3 V
    does it: u = d (0.5 - 0.2 x 5), d = 0.2/(u + 3), so u = (-3 + √(9 - 0.4))/2 and d = 0.067 of at
    most 0.5."""
    motor, source = (
        ((1,), (1.0,), (-3.0,), (0.0,)),
        Source(5.0, duty=0.5, limit_side=LimitSide.BATTERY),
    )
    assert first_regime(0.5, source, *motor, 0.2) is Regime.CURRENT
    voltage, (current,), total = balance(Regime.CURRENT, 0.5, source, *motor, 0.2)
    assert (voltage, total) == pytest.approx(((math.sqrt(8.6) - 3.0) / 2, 0.2))
    ((_, margin),) = regime_margins(Regime.CURRENT, voltage, total, 0.5, source, 0.2)
    assert margin == pytest.approx(0.2 / current - 0.5)


@pytest.mark.parametrize("side", list(LimitSide))
def test_controllers_of_arrays_are_those_of_each_entry(side):
    source, emfs = Source(0.3, limit_side=side), np.linspace(0.0, 3.0, 7)
    many = balance(
        Regime.CURRENT,
        np.full(7, 6.0),
        unchecked(source, resistance=np.full(7, 0.3)),
        (2, 1),
        (4.0, 3.0),
        (emfs, 0.5 * emfs),
        (0.2, 0.0),
        0.8,
    )
    for k, e in enumerate(emfs.tolist()):
        one = balance(
            Regime.CURRENT, 6.0, source, (2, 1), (4.0, 3.0), (e, 0.5 * e), (0.2, 0.0), 0.8
        )
        assert (many[0][k], many[1][1][k]) == (pytest.approx(one[0]), pytest.approx(one[1][1]))
        assert np.broadcast_to(many[2], 7)[k] == pytest.approx(one[2])


@pytest.mark.parametrize("side", list(LimitSide))
def test_an_unlimited_entry_beside_a_limited_one_is_as_if_alone(side):
    """At an e.m.f. whose kink is at its own place only to rounding."""
    source, group = Source(0.3, limit_side=side), ((2,), (4.0,), (1.1,), (0.1,))
    both = agreeing_balance(np.full(2, 6.0), source, *group, np.array([0.1, math.inf]))
    alone = balance(Regime.VOLTAGE, 6.0, source, *group, math.inf)
    held = balance(Regime.CURRENT, 6.0, source, *group, 0.1)
    assert np.asarray(both[0]) == pytest.approx([held[0], alone[0]])
    assert np.asarray(both[2]) == pytest.approx([held[2], alone[2]])


def test_a_source_is_plain_only_where_every_controller_is_at_full_duty():
    full, one_below = (unchecked(BENCH, duty=np.array([1.0, duty])) for duty in (1.0, 0.6))
    assert full.plain and not one_below.plain
