"""Static balances against hand calculation and against the full simulation."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.holding import holding
from winchsim.assessment.history import read_history
from winchsim.assessment.margins import (
    Margins,
    hardest_margins,
    margins,
    needed_current,
    stalled_until_hot,
    stalled_windings,
    times_until_hot,
)
from winchsim.inputs import Brake, Stage
from winchsim.model import Event, build
from winchsim.simulation import simulate
from winchsim.slow import Hold, lift_machine


def test_margin_of_one_stage_by_hand(ideal, make_motor, make_stage):
    """One motor of 20 mN·m/A on 6 V and 2 ohm, 100:1 at 0.8, drum radius 10 mm, 4 kg: statics."""
    winch = ideal(
        motors=make_motor(2.0, 0.02),
        radius=0.01,
        span=1.0,
        load={"mass": 4.0},
        stages=(make_stage(100.0, 0.8),),
    )
    found = margins(build(winch), 0.0, 0)
    torque = 0.02 * 6.0 / 2.0
    needed = 4.0 * 9.81 * 0.01 / 100.0 / 0.8
    assert found.moving == pytest.approx(torque / needed, rel=1e-9)
    assert found.resting == pytest.approx(found.moving, rel=1e-9), (
        "breakaway 1: at rest as in motion"
    )


def test_losses_grow_at_rest(small):
    found = hardest_margins(build(small()))
    assert found.resting < found.moving


def test_margin_tells_what_the_stall_was_about():
    assert (Margins(0.9, 0.7).deciding, Margins(1.2, 0.95).deciding) == (0.9, 0.95)


@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_full_run_stalls_on_one_side_of_the_margin_and_lifts_on_the_other(small, factor):
    """The load that closed form calls just too heavy, 3 % lighter and heavier."""
    base = small(settings={"stall_watch": 0.5, "watch": 0.5})
    low, high = 8.0, 30.0
    for _ in range(8):
        middle = (low + high) / 2
        low, high = (
            (middle, high)
            if hardest_margins(build(small(load={"mass": middle}))).moving > 1
            else (low, middle)
        )
    history = read_history(simulate(replace(base, load=replace(base.load, mass=factor * low))))
    assert history.lifted is (factor < 1)


def test_needed_current_is_the_least_limit_that_lifts_if_any_does(small):
    base = small(settings={"stall_watch": 0.5, "watch": 0.5})
    need = needed_current(build(base))
    for factor in (0.96, 1.04):
        limited = replace(base, supply=replace(base.supply, current_limit=factor * need))
        assert read_history(simulate(limited)).lifted is (factor > 1)
    assert needed_current(build(small(load={"mass": 80.0}))) is None


@pytest.mark.parametrize(
    ("train", "held"),
    [((100.0, 0.8, 0.6), 0.2e-3 * 100.0 / 0.6 / (1.0 * 9.81 * 0.01)), ((100.0, 0.4), math.inf)],
    ids=["a third of the load", "locks"],
)
def test_holding_by_hand(ideal, make_motor, make_stage, train, held):
    """A stage that passes 60 % back, and 0.2 mN·m of motor drag behind 100:1: statics. A locking
    one holds anything."""
    winch = ideal(
        motors=make_motor(2.0, 0.02, idle_current=0.01),
        radius=0.01,
        span=1.0,
        load={"mass": 1.0},
        stages=(make_stage(*train),),
        rope={"axial_stiffness": 1e6},
    )
    assert holding(build(winch), 0.0, 0).moving == pytest.approx(held, rel=1e-9)


def test_a_brake_adds_to_what_holds(small):
    bare, braked = (
        holding(build(small(**part)), 0.1, 0) for part in ({}, {"brake": Brake(torque=1.0)})
    )
    machine = build(small())
    pull = 8.0 * 9.80665
    gained = 1.0 / (pull * machine.layers[0].radius)
    assert braked.moving == pytest.approx(bare.moving + gained, rel=1e-6)


def test_a_guide_pulls_on_a_drum_at_rest_and_carries_part_of_the_load_once_it_turns(small):
    """Brought up, the load hangs with its guide's friction on the rope; to come down it has to
    slide against it."""
    free, guided = (build(small(load={"mass": 8.0, "guide_friction": f})) for f in (0.0, 3.0))
    weight = 8.0 * 9.80665
    bare, found = (holding(machine, machine.top_travel, 0) for machine in (free, guided))
    assert found.resting * (weight + 3.0) == pytest.approx(bare.resting * weight, rel=1e-9)
    assert found.moving * (weight - 3.0) == pytest.approx(bare.moving * weight, rel=1e-9)
    stuck = build(
        small(
            load={"mass": 8.0, "guide_friction": 80.0},
            stage=(Stage(kind="other", ratio=100.0, efficiency=0.99),),
        )
    )
    assert math.isinf(holding(stuck, stuck.top_travel, 0).moving) and math.isfinite(found.moving)


@pytest.mark.parametrize(
    ("mass", "friction", "holds"),
    [(0.5, 0.0, True), (3.0, 0.0, False), (0.8, 0.0, False), (0.8, 5.0, True)],
)
def test_holding_decides_the_full_run(small, make_stage, mass, friction, holds):
    """The full run, the slow lift and the balance agree, on either side of just holding at rest. A
    guide may hold what the train alone does not: the drum turns back, and stops before the load
    comes with it."""
    winch = small(
        stage=make_stage(5.0, 0.97, repeat=2),
        load={"mass": mass, "guide_friction": friction},
        settings={"watch": 3.0},
    )
    machine = build(winch)
    assert (holding(machine, machine.top_travel, 0).resting >= 1) is holds
    slow = lift_machine(machine)
    assert (slow["hold_margin"] >= 0) is (slow["holding"] != Hold.RUNS_BACK) is holds
    history = read_history(simulate(winch))
    assert history.up is not None and history.held is holds


@pytest.mark.parametrize("hold", [74.0, 79.0, 88.0, 125.0])
def test_a_drum_that_turns_carries_the_load_past_its_guide_s_friction_at_rest(
    small, make_motor, make_stage, hold
):
    """100 N in a guide of 20 N, 30 N at rest, on a train without losses: its brake must bear the 80
    N of the sliding load."""
    winch = small(
        motors=make_motor(4.0, 0.005, idle_current=1e-6, count=2),
        stage=make_stage(5.0, 1.0, repeat=3),
        load={"mass": 100 / 9.80665, "guide_friction": 20.0, "height": 0.2},
        brake=Brake(torque=hold * build(small()).layers[0].radius),
        settings={"breakaway": 1.5, "watch": 3.0},
    )
    machine = build(winch)
    holds = hold > 84
    assert (holding(machine, machine.top_travel, 0).moving >= 1) is (hold > 80)
    assert (lift_machine(machine)["holding"] == Hold.HOLDS) is (hold > 80)
    history = read_history(simulate(winch))
    assert history.up is not None and history.held is holds


HOT = {
    "winding_heat_capacity": 0.3,
    "case_heat_capacity": 6.0,
    "winding_to_case": 40.0,
    "case_to_ambient": 40.0,
}


@pytest.mark.parametrize("start", [20.0, 80.0])
@pytest.mark.parametrize("limit", [None, 2.1])
def test_stalled_motors_bear_what_the_full_run_shows(small, make_motor, limit, start):
    """Warmer from the start, and with a supply that keeps its voltage or its current up."""
    machine = build(
        small(
            motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, winding_start=start, **HOT),
            supply={"current_limit": limit},
            load={"mass": 80.0},
            settings={"stall_watch": 60.0},
        )
    )
    record = simulate(machine)
    stopped, hot = record.first(Event.STALLED).time, record.first(Event.HOT).time
    assert stalled_until_hot(machine) == pytest.approx(hot - stopped, rel=0.05)


@pytest.mark.parametrize("source", [0.0, 0.5, 2.0, 6.0])
@pytest.mark.parametrize("limit", [None, 0.9, 0.6])
def test_stalled_motors_behind_a_source_bear_what_the_full_run_shows(
    small, make_motor, source, limit
):
    """Six volts on the two cold motors: beside a source's own resistance the loss falls by less
    than 1/R, or rises."""
    current = 2 * 6.0 / 4.0
    supply = {
        "voltage": 6.0 + source * current,
        "resistance": source,
        "current_limit": limit and limit * current,
    }
    motors = make_motor(4.0, 0.005, idle_current=0.12, count=2, **HOT)
    machine = build(
        small(motors=motors, supply=supply, load={"mass": 80.0}, settings={"stall_watch": 200.0})
    )
    record = simulate(machine)
    stopped, hot = record.first(Event.STALLED).time, record.first(Event.HOT).time
    assert (
        hot - stopped < stalled_until_hot(machine) < 1.001 * hot
    )  # it is warmer than at the start when it stops
    k = int(np.searchsorted(record.time, stopped))
    winding, case = (float(record[f"motor_1_{part}"][k]) for part in ("winding", "case"))
    assert times_until_hot(machine, machine.phases[0], [winding], [case])[0] == pytest.approx(
        hot - stopped, rel=0.005
    )


def test_a_stalled_group_has_what_the_other_groups_leave_it(small, make_motor):
    """Two unlike groups on one source, each with its own time: the sooner of them is the full
    run's."""
    thick = {**HOT, "winding_heat_capacity": 3.0, "case_heat_capacity": 60.0}
    motors = (
        make_motor(4.0, 0.005, idle_current=0.12, **HOT),
        make_motor(4.0, 0.005, idle_current=0.12, **thick),
    )
    supply = {"voltage": 12.0, "resistance": 2.0}
    machine = build(
        small(motors=motors, supply=supply, load={"mass": 80.0}, settings={"stall_watch": 60.0})
    )
    light, heavy = times_until_hot(machine, machine.phases[0], [20.0, 20.0], [20.0, 20.0])
    assert light < heavy and stalled_until_hot(machine) == light
    record = simulate(machine)
    stopped, hot = record.first(Event.STALLED).time, record.first(Event.HOT).time
    assert light == pytest.approx(
        hot - stopped, rel=0.1
    )  # the heavy group is colder by then than it is taken to be


def test_a_limited_current_heats_sooner_than_one_that_falls(small, make_motor):
    """Both begin with 1.2 A a motor, where two of 4 ohm are on 4.8 V."""
    group = make_motor(4.0, 0.005, idle_current=0.12, count=2, **HOT)
    supplies = ({"voltage": 12.0, "current_limit": 2.4}, {"voltage": 4.8}, {"voltage": 0.04})
    machines = [
        build(small(motors=group, supply={"resistance": 0.0, **supply})) for supply in supplies
    ]
    held, falling, faint = (times_until_hot(m, m.phases[0], [20.0], [20.0])[0] for m in machines)
    assert 0 < held < 0.9 * falling
    assert math.isinf(faint)
    (at_once,) = times_until_hot(
        machines[0], machines[0].phases[0], [machines[0].groups[0].winding_limit], [20.0]
    )
    assert at_once == 0.0


def test_windings_that_stay_under_power_warm_as_in_a_longer_run(small, make_motor):
    """Ten more seconds of a stall, from where a run of ten seconds of it ends."""
    motors = make_motor(4.0, 0.005, idle_current=0.12, **{**HOT, "winding_limit": 500.0})
    short, longer = (
        simulate(small(motors=motors, load={"mass": 80.0}, settings={"stall_watch": time}))
        for time in (10.0, 20.0)
    )
    found = stalled_windings(read_history(short))
    assert found[1] == pytest.approx(longer["motor_1_winding"].max(), rel=0.02)
    assert found[1] > 1.1 * short["motor_1_winding"].max()
