"""Motors and supply over random builds: Kirchhoff's laws, energy, regimes, symmetry, and fits that
give back their motor."""

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from winchsim.physics.heat import HeatPath, step_exact, time_to_limit
from winchsim.physics.motor import (
    Motor,
    from_data_sheet,
    from_points,
    no_load,
    operating_point,
    stall,
)
from winchsim.physics.supply import (
    NOTHING_BACK,
    Regime,
    Source,
    balance,
    first_regime,
    regime_margins,
)

few = settings(max_examples=50, deadline=None)
NO_SOURCE = (Regime.NO_RETURN, Regime.OPEN, Regime.EMPTY, Regime.EACH_OPEN, Regime.SHORTED)

volts = st.floats(-48.0, 48.0).map(lambda v: 0.0 if abs(v) < 1e-6 else v)
sources = st.builds(
    Source, resistance=st.one_of(st.just(0.0), st.floats(1e-3, 5.0)), takes_back=st.booleans()
)
group = st.tuples(
    st.integers(1, 20),
    st.floats(0.02, 50.0),
    volts,
    st.one_of(st.just(0.0), st.floats(0.05, 3.0)),
)
groups = st.lists(group, min_size=1, max_size=4).map(lambda rows: tuple(zip(*rows, strict=True)))
limits = st.floats(0.05, 50.0)
motors = st.builds(
    Motor,
    resistance=st.floats(0.05, 50.0),
    constant=st.floats(5e-4, 0.5),
    drag=st.just(0.0),
)


def summed(rows, currents):
    return sum(n * i for n, i in zip(rows[0], currents, strict=True))


def size_of(rows, open_voltage, limit):
    """Currents and voltages that rounding is measured against."""
    emfs = [abs(e) for e in rows[2]]
    return (
        1.0
        + limit
        + sum(n * (max(emfs) + abs(open_voltage) + 3.0) / r for n, r, *_ in zip(*rows, strict=True))
    )


@few
@given(groups, sources, volts, limits, st.sampled_from(list(Regime)))
def test_kirchhoff_and_the_regime_hold(rows, source, open_voltage, limit, regime):
    voltage, currents, total = balance(regime, open_voltage, source, *rows, limit)
    size = size_of(rows, open_voltage, limit)
    for _, r, e, drop, i in zip(*rows, currents, strict=True):
        if regime is Regime.EACH_OPEN:
            assert i == 0.0
        elif i == 0.0:
            assert abs(voltage - e) <= drop + 1e-12 * size * r
        else:
            assert voltage == pytest.approx(
                e + r * i + math.copysign(drop, i), abs=1e-12 * size * r + 1e-9
            )
    if regime is Regime.VOLTAGE:
        assert summed(rows, currents) == pytest.approx(total, abs=1e-11 * size)
        assert voltage == pytest.approx(open_voltage - source.resistance * total, abs=1e-11 * size)
    if regime is Regime.CURRENT:
        assert total == math.copysign(limit, open_voltage)
        assert summed(rows, currents) == pytest.approx(total, abs=1e-11 * size)
    if regime in NO_SOURCE:
        assert total == 0.0
    if regime in NO_SOURCE[:3]:
        assert summed(rows, currents) == pytest.approx(0.0, abs=1e-11 * size)


@few
@given(groups, sources, volts)
def test_power_of_the_supply_goes_somewhere(rows, source, open_voltage):
    _, currents, total = balance(Regime.VOLTAGE, open_voltage, source, *rows, math.inf)
    copper = sum(n * i * i * r for n, r, _, _, i in zip(*rows, currents, strict=True))
    brushes = sum(n * abs(i) * drop for n, _, _, drop, i in zip(*rows, currents, strict=True))
    shafts = sum(n * i * e for n, _, e, _, i in zip(*rows, currents, strict=True))
    given_out = open_voltage * total
    taken = source.resistance * total * total + copper + brushes + shafts
    assert given_out == pytest.approx(taken, abs=1e-10 * size_of(rows, open_voltage, 0.0))


@few
@given(
    st.lists(groups.filter(lambda rows: len(rows[0]) == 2), min_size=1, max_size=3),
    sources,
    limits,
    st.data(),
)
def test_arrays_are_their_entries(variants, source, limit, data):
    regime = data.draw(st.sampled_from(list(Regime)))
    voltages = np.array(data.draw(st.lists(volts, min_size=len(variants), max_size=len(variants))))
    counts = variants[0][0]
    columns = [
        [np.array([rows[field][place] for rows in variants]) for place in range(2)]
        for field in (1, 2, 3)
    ]
    together = balance(regime, voltages, source, counts, *columns, limit)
    for n, rows in enumerate(variants):
        alone = balance(regime, float(voltages[n]), source, counts, *rows[1:], limit)
        size = size_of((counts, *rows[1:]), voltages[n], limit)
        assert together[0][n] == pytest.approx(alone[0], abs=1e-12 * size)
        for there, here in zip(together[1], alone[1], strict=True):
            assert np.broadcast_to(there, voltages.shape)[n] == pytest.approx(
                here, abs=1e-11 * size
            )
        assert together[2][n] == pytest.approx(alone[2], abs=1e-11 * size)


@few
@given(
    groups, sources, volts, limits, st.sampled_from(list(Regime)), st.randoms(use_true_random=False)
)
def test_order_of_groups_does_not_matter(rows, source, open_voltage, limit, regime, random):
    order = list(range(len(rows[0])))
    random.shuffle(order)
    shuffled = tuple(tuple(column[place] for place in order) for column in rows)
    voltage, currents, total = balance(regime, open_voltage, source, *rows, limit)
    again = balance(regime, open_voltage, source, *shuffled, limit)
    size = size_of(rows, open_voltage, limit)
    assert again[0] == pytest.approx(voltage, abs=1e-12 * size)
    assert again[1] == pytest.approx(tuple(currents[place] for place in order), abs=1e-11 * size)
    assert again[2] == pytest.approx(total, abs=1e-11 * size)


@few
@given(group, st.integers(1, 5), sources, volts, limits, st.sampled_from(list(Regime)))
def test_a_group_split_in_two_is_the_same_group(one, more, source, open_voltage, limit, regime):
    n, r, e, drop = one
    whole = ((n + more,), (r,), (e,), (drop,))
    split = ((n, more), (r, r), (e, e), (drop, drop))
    voltage, (current,), total = balance(regime, open_voltage, source, *whole, limit)
    again = balance(regime, open_voltage, source, *split, limit)
    size = size_of(whole, open_voltage, limit)
    assert again[0] == pytest.approx(voltage, abs=1e-12 * size)
    assert again[1] == pytest.approx((current, current), abs=1e-11 * size)
    assert again[2] == pytest.approx(total, abs=1e-11 * size)


@few
@given(groups, sources, volts, limits)
def test_first_regime_violates_no_guard(rows, source, open_voltage, limit):
    regime = first_regime(open_voltage, source, *rows, limit)
    voltage, _, total = balance(regime, open_voltage, source, *rows, limit)
    size = size_of(rows, open_voltage, limit)
    for _, margin in regime_margins(regime, voltage, total, open_voltage, source, limit):
        assert margin <= 1e-11 * size
    forward = math.copysign(1.0, open_voltage) * total
    assert forward <= limit + 1e-11 * size
    assert source.takes_back or forward >= -NOTHING_BACK


# --- fits


@few
@given(motors, st.floats(1.0, 48.0), st.floats(0.0, 0.3), st.floats(0.0, 1.0), st.floats(0.0, 0.2))
def test_data_sheet_round_trip(motor, voltage, idle_share, speed_share, drop_share):
    drop = drop_share * voltage
    idle = idle_share * (voltage - drop) / motor.resistance
    speed = (voltage - drop - motor.resistance * idle) / motor.constant
    drag = motor.constant * idle
    real = Motor(
        motor.resistance, motor.constant, (1 - speed_share) * drag, speed_share * drag / speed, drop
    )
    (w0, i0), (torque, current) = no_load(real, voltage), stall(real, voltage)
    fit = from_data_sheet(
        voltage, w0, i0, torque, current, brush_drop=drop, drag_speed_share=speed_share
    )
    assert (fit.motor.resistance, fit.motor.constant) == pytest.approx(
        (real.resistance, real.constant), rel=1e-9
    )
    assert fit.motor.drag == pytest.approx(real.drag, rel=1e-9, abs=1e-15)
    assert fit.motor.drag_slope == pytest.approx(real.drag_slope, rel=1e-9, abs=1e-18)
    assert (fit.no_load_speed, fit.no_load_current) == pytest.approx((w0, i0), rel=1e-9, abs=1e-12)
    assert (fit.stall_torque, fit.stall_current) == pytest.approx((torque, current), rel=1e-9)
    assert fit.output is None or fit.output.efficiency == pytest.approx(1.0, rel=1e-9)
    assert fit.notes == ()


@few
@given(
    motors,
    st.floats(1.0, 48.0),
    st.floats(0.0, 0.3),
    st.lists(st.floats(0.0, 0.9), min_size=2, max_size=6).filter(lambda x: max(x) - min(x) > 0.2),
)
def test_points_round_trip(motor, voltage, idle_share, shares):
    idle = idle_share * voltage / motor.resistance
    real = Motor(motor.resistance, motor.constant, motor.constant * idle)
    torques = [share * stall(real, voltage)[0] for share in shares]
    points = [operating_point(real, voltage, torque) for torque in torques]
    fit = from_points(voltage, torques, [p.speed for p in points], [p.current for p in points])
    assert fit.motor.resistance == pytest.approx(real.resistance, rel=1e-6)
    assert fit.motor.constant == pytest.approx(real.constant, rel=1e-6)
    assert fit.motor.drag == pytest.approx(real.drag, rel=1e-6, abs=1e-6 * stall(real, voltage)[0])


@few
@given(motors, st.floats(1.0, 48.0), st.floats(0.0, 0.3), st.floats(-1.5, 1.5), st.floats(0.0, 1.5))
def test_more_torque_never_runs_faster(motor, voltage, idle_share, share, more):
    idle = idle_share * voltage / motor.resistance
    real = Motor(motor.resistance, motor.constant, motor.constant * idle)
    pull = stall(real, voltage)[0]
    light = operating_point(real, voltage, share * pull)
    heavy = operating_point(real, voltage, (share + more) * pull)
    assert heavy.speed <= light.speed + 1e-12 * voltage / real.constant


# --- heat


@few
@given(
    st.builds(HeatPath, *[st.floats(0.1, 100.0)] * 4),
    st.floats(0.0, 100.0),
    st.floats(-20.0, 120.0),
    st.floats(-20.0, 120.0),
    st.floats(0.0, 1e4),
    st.floats(0.0, 0.004),
)
def test_a_heat_step_may_be_cut_anywhere(path, power, winding, case, time, feedback):
    whole = step_exact(path, power, winding, case, 20.0, time, feedback)
    half = step_exact(path, power, winding, case, 20.0, 0.5 * time, feedback)
    loss_by_then = power + feedback * (half[0] - winding)
    again = step_exact(path, loss_by_then, *half, 20.0, 0.5 * time, feedback)
    assert again == pytest.approx(whole, rel=1e-7, abs=1e-7)


@few
@given(
    st.builds(HeatPath, *[st.floats(0.1, 100.0)] * 4),
    st.floats(0.01, 100.0),
    st.floats(-20.0, 120.0),
    st.floats(-20.0, 120.0),
    st.floats(30.0, 300.0),
    st.floats(0.0, 1.0),
)
def test_time_to_limit_is_the_first_crossing(path, power, winding, case, limit, feedback_share):
    feedback = 0.01 * feedback_share * power
    time = time_to_limit(path, power, winding, case, 20.0, limit, feedback)
    if time == 0.0:
        assert winding >= limit
    elif math.isinf(time):
        later = step_exact(path, power, winding, case, 20.0, np.geomspace(1e-3, 1e5, 60), feedback)[
            0
        ]
        assert np.all(later <= limit + 1e-6)
    else:
        assert step_exact(path, power, winding, case, 20.0, time, feedback)[0] == pytest.approx(
            limit, rel=1e-7
        )
        before = step_exact(
            path, power, winding, case, 20.0, np.linspace(0.0, time, 60)[:-1], feedback
        )[0]
        assert np.all(before <= limit + 1e-6)
