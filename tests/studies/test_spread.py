"""A spread: what is drawn, how motors are told apart, what comes of it, and that it does not matter
who lifts."""

import pickle
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from winchsim.assessment.kinds import Holding, Status
from winchsim.errors import DomainError, InputError
from winchsim.inputs import Brake, MotorPoint, Pawl, Phase, Stage, spec_at, value_at, with_value
from winchsim.model import Event, build
from winchsim.simulation import simulate
from winchsim.studies.spread import spread
from winchsim.studies.spread.builds import (
    MOST_SINGLE,
    BuildPlan,
    MotorsApart,
    Uncertain,
    plan,
    uncertain,
)
from winchsim.studies.spread.outcomes import CHUNK, Ending, Outcomes, lift_builds, lift_everywhere
from winchsim.studies.spread.study import TOLERATED, probability, rank_correlation, result

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def winch(small, make_stage):
    return small(stage=make_stage(5.0, 0.8, shaft_drag=1e-3, repeat=3), load={"mass": 5.0})


@pytest.fixture(scope="module")
def geared(small):
    first = Stage(pinion=12, gear=60, module=1e-3, width=8e-3, material="PETG", friction=0.2)
    return small(stage=(replace(first, repeat=3, walls=3, infill=0.3),), load={"mass": 5.0})


@pytest.fixture(scope="module")
def done(geared):
    return spread(geared, [("load.mass", 0.8, "uniform")], builds=160, random_seed=3)


def rows_of(inputs, given=()):
    return plan(inputs, uncertain(inputs, build(inputs), given))


def draws_of(made, path):
    """Places of what is drawn for a row."""
    return [place for place, (row, _) in enumerate(made.draws) if row.path == path]


def same(first: Outcomes, second: Outcomes) -> bool:
    names = ("time", "current", "winding", "factor", "hold", "torques", "currents")
    return all(np.array_equal(getattr(first, n), getattr(second, n), equal_nan=True) for n in names)


# --- what is drawn


@pytest.mark.parametrize(
    ("path", "low", "center", "high", "links"),
    [("load.mass", 4.0, 4.0, 4.0, ()), ("strength of x", 0.8, 1.0, 1.2, (0,))],
    ids=["a tolerance of nothing", "a strength has no path"],
)
def test_the_middle_of_a_triangle_is_its_value(path, low, center, high, links):
    row = Uncertain(path, center, low, high, "triangular", "", False, links=links)
    assert row.quantile(np.array([0.5]))[0] == pytest.approx(center)
    assert low <= row.quantile(np.array([0.9]))[0] <= high


def test_values_keep_to_their_bounds(winch):
    wide = next(
        row
        for row in rows_of(winch, [("stage.1.efficiency", 0.9, "uniform")]).rows
        if "efficiency" in row.path
    )
    drawn = wide.quantile(np.array([0.0, 0.5, 1.0]))
    assert 0 < drawn[0] < 1e-6 and drawn[2] == 1.0


def test_what_is_given_stands_before_what_is_assumed(geared):
    rows = {row.path: row for row in rows_of(geared, [("load.mass", 0.5, "uniform")]).rows}
    assert (rows["load.mass"].low, rows["load.mass"].high, rows["load.mass"].shape) == (
        4.5,
        5.5,
        "uniform",
    )
    assert not rows["load.mass"].assumed
    usual = rows["motors.1.stall_torque"]
    assert usual.assumed and usual.each and usual.high / usual.center == pytest.approx(1.1)


def test_motors_of_a_group_share_what_is_not_their_own(geared):
    shared = ["motors.1.voltage", "motors.1.winding_start", "motors.1.winding_limit"]
    own = ["motors.1.stall_torque", "motors.1.no_load_speed"]
    for path, value in zip(shared[1:], (25.0, 120.0), strict=True):
        geared = with_value(geared, path, value)
    made = rows_of(geared, [(path, 1e-3, "uniform") for path in (*shared, *own)])
    assert [len(draws_of(made, path)) for path in (*shared, *own)] == [1, 1, 1, 2, 2]


def test_a_default_that_is_an_assumption_has_its_declared_range(geared):
    rows = {row.path: row for row in rows_of(replace(geared, given=frozenset())).rows}
    low, high, _ = spec_at(geared, "settings.breakaway").assumed
    assert (rows["settings.breakaway"].low, rows["settings.breakaway"].high) == (low, high)
    given = replace(geared, given=frozenset({"settings.breakaway"}))
    row = {row.path: row for row in rows_of(given).rows}["settings.breakaway"]
    assert row.high == pytest.approx(1.1 * geared.settings.breakaway), "given: a usual tolerance"


def test_what_the_scenario_leaves_out_lies_in_the_range_of_its_estimate(geared):
    rows = {row.path: row for row in rows_of(geared).rows}
    drag = rows["stage.1.shaft_drag"]
    assert drag.low == drag.center == 0.0 < drag.high
    assert rows["stage.1.friction"].shape == "normal", "given: a usual tolerance"
    without = {
        row.path: row
        for row in rows_of(replace(geared, stage=(replace(geared.stage[0], friction=None),))).rows
    }
    assert without["stage.1.friction"].shape == "triangular", "left out: the range of the estimate"
    strength = rows["strength of the teeth of stage 1"]
    assert len(strength.links) == 8, "a mesh for each motor and two more, two teeth each"


def test_a_given_strength_is_no_estimate(geared):
    rows = {
        row.path for row in rows_of(with_value(geared, "stage.1.tested_tooth_force", 40.0)).rows
    }
    assert "stage.1.tested_tooth_force" in rows and "strength of the teeth of stage 1" not in rows


@pytest.mark.parametrize("given", [
    ("load.colour", 1.0, "uniform"), ("motors.1.count", 1.0, "uniform"), ("drum.inertia2", 1.0, "normal"),
    ("load.mass", 1.0, "lumpy"), ("stage.1.line_width", 0.1, "square"),
])  # fmt: skip
def test_a_tolerance_of_nothing_that_can_differ_is_refused(winch, given):
    with pytest.raises(DomainError):
        spread(winch, [given], builds=10)


@pytest.mark.parametrize("more", [{"builds": 3}, {"level": 1.2}, {"random_seed": -1}])
def test_arguments_are_checked(winch, more):
    with pytest.raises(DomainError):
        spread(winch, **{"builds": 10, **more})


# --- motors one by one


def test_motors_are_told_apart_and_dead_ones_stay_dead(small, make_motor):
    inputs = small(
        motors=(
            make_motor(4.0, 0.005, idle_current=0.12, count=3, dead=1),
            make_motor(5.0, 0.005, count=2),
        )
    )
    made = rows_of(inputs)
    assert made.owners == (1, 1, 2, 2)
    assert [(g.count, g.dead) for g in made.inputs.motors] == [
        (1, 0),
        (1, 0),
        (1, 0),
        (1, 0),
        (1, 1),
    ]
    own = [made.draws[place][1] for place in draws_of(made, "motors.2.stall_torque")]
    assert own == [("motors.3.stall_torque",), ("motors.4.stall_torque",)]


def test_what_is_one_for_all_motors_of_a_group_is_drawn_once(winch):
    made = rows_of(replace(winch, motors=(replace(winch.motors[0], rotor_inertia=None),)))
    (place,) = draws_of(made, "motors.1.rotor_inertia")
    assert len(made.draws[place][1]) == 2
    scenario = made.scenario(made.values(np.full((1, len(made.draws)), 0.3))[0])
    assert scenario.motors[0].rotor_inertia == scenario.motors[1].rotor_inertia


def test_equal_motors_told_apart_lift_like_their_group(winch):
    """All draws in the middle: several groups of one motor are the same winch as one group of
    several."""
    made = rows_of(winch)
    machine = made.machines(np.full((1, len(made.draws)), 0.5))[0]
    whole, apart = simulate(winch).first(Event.TOP), simulate(machine).first(Event.TOP)
    assert apart.time == pytest.approx(whole.time, rel=2e-4)
    slow = lift_builds(made, np.full((1, len(made.draws)), 0.5))
    assert slow.currents[0] == pytest.approx([slow.currents[0, 0]] * 2)
    assert slow.torques[0, 0] > 0


def test_the_weaker_motor_is_dragged_as_its_own_law_says(winch):
    """At one speed w a motor of constant k and resistance R draws (U - k w)/R and pulls k times
    that, less its drag."""
    light, slow_one = (
        with_value(winch, "load.mass", 0.5),
        [("motors.1.no_load_speed", 300.0, "uniform")],
    )
    made = rows_of(light, slow_one)
    shares = np.full((1, len(made.draws)), 0.5)
    shares[0, draws_of(made, "motors.1.no_load_speed")] = (0.02, 0.98)
    found = lift_builds(made, shares)
    machine = made.machines(shares)[0]
    currents, voltage = found.currents[0], 6.0 - 0.2 * found.currents[0].sum()
    speeds = []
    for group, current, torque in zip(machine.groups, currents, found.torques[0], strict=True):
        speeds.append((voltage - current * group.motor.resistance) / group.motor.constant)
        assert torque == pytest.approx(
            group.motor.constant * current - group.motor.drag, rel=1e-6, abs=1e-9
        )
    assert speeds[0] == pytest.approx(speeds[1], rel=1e-6), "both turn at one speed"
    assert found.torques[0, 0] < 0 < found.torques[0, 1]
    assert spread(light, slow_one, builds=40).motors[0].dragged.count > 0


def test_motors_that_cannot_be_told_apart_are_equal_and_it_is_said(winch, make_stage):
    locked = replace(
        winch, stage=(make_stage(30.0, 0.45, reverse=-0.2, shaft_drag=1e-4), make_stage(5.0, 0.9))
    )
    found = spread(locked, builds=12)
    assert not found.plan.owners and not found.motors
    assert found.plan.motors is MotorsApart.NOT_APART
    braked = spread(replace(winch, brake=Brake(torque=0.01, place="motor")), builds=12)
    assert braked.plan.motors is MotorsApart.NOT_APART


def test_very_many_motors_go_in_bundles(small, make_motor):
    made = rows_of(small(motors=make_motor(4.0, 0.005, count=50)))
    assert len(made.owners) <= MOST_SINGLE and sum(g.count for g in made.inputs.motors) == 50
    assert made.motors is MotorsApart.BUNDLED


# --- what comes of it


def test_slow_and_full_builds_agree(geared):
    made = rows_of(geared)
    shares = np.random.default_rng(5).random((3, len(made.draws)))
    slow, full = lift_builds(made, shares), lift_builds(made, shares, simulated=True)
    assert slow.ending.tolist() == full.ending.tolist() == [Ending.LIFTED] * 3
    assert slow.time == pytest.approx(full.time, rel=0.01)
    assert slow.current == pytest.approx(full.current, rel=0.03)
    assert slow.teeth == pytest.approx(full.teeth, rel=0.1)
    assert np.array_equal(slow.torques, full.torques)


@pytest.mark.parametrize("name", ["hold", "factor"])
def test_results_are_the_outcomes(done, name):
    assert np.ptp(done.outcomes.hold) > 0
    np.testing.assert_array_equal(result(done.outcomes, name), done.outcomes[name])


def test_a_spread_of_everything(done):
    assert done.complete and len(done.outcomes) == 160
    assert done.probabilities["lifted"].share == 1.0
    assert done.probabilities["ran_back"].share > TOLERATED and done.status is Status.FAILS
    times = done.percentiles["time"]
    assert list(times) == sorted(times) and times[2] == pytest.approx(np.median(done.outcomes.time))
    assert done.slow_difference < 0.02
    shares = np.array([row.share[0] for row in done.motors])
    assert (
        len(shares) == 2
        and shares[0] < 1 < shares[1]
        and shares.sum() == pytest.approx(2.0, abs=0.01)
    )


def test_what_matters_is_found(done):
    by_path = {row.path: ranks for row, ranks in zip(done.plan.rows, done.ranks, strict=True)}
    assert abs(by_path["stage.1.shaft_drag"]["time"]) < done.noise["time"]
    assert by_path["supply.voltage"]["time"] < -0.5 * done.noise["time"]
    assert by_path["strength of the teeth of stage 1"]["teeth"] > 0.5
    assert abs(by_path["strength of the teeth of stage 1"]["time"]) < done.noise["time"]
    assert by_path["load.mass"]["teeth"] < -0.5 * done.noise["teeth"]


def test_a_lift_counts_from_its_own_phase_on_in_full_too(winch):
    """A programme that waits first lifts no slower."""
    waits = (Phase(action="off", until="time", time=30.0), Phase(action="raise", until="top"))
    made = rows_of(replace(winch, phase=waits), [("load.mass", 0.5, "uniform")])
    shares = np.full((1, len(made.draws)), 0.5)
    slow, full = lift_builds(made, shares), lift_builds(made, shares, simulated=True)
    assert full.time == pytest.approx(slow.time, rel=0.01) and full.current == pytest.approx(
        slow.current, rel=0.01
    )


def test_bad_builds_are_counted_and_fail(winch):
    heavy_load = with_value(winch, "load.mass", 12.0)
    found = spread(heavy_load, [("load.mass", 8.0, "uniform")], builds=60, random_seed=2)
    stalled = found.probabilities["stalled"]
    assert 0 < stalled.count < 60 and stalled.low < stalled.share < stalled.high
    assert stalled.count + found.probabilities["lifted"].count == 60
    assert found.status is Status.FAILS
    heavy = found.values[:, draws_of(found.plan, "load.mass")][:, 0]
    assert heavy[found.outcomes.ending == Ending.STALLED].min() > np.median(heavy)


def test_breakages_say_what_goes_first(geared):
    weak = replace(geared, stage=tuple(replace(s, tooth_strength=4e6) for s in geared.stage))
    found = spread(weak, builds=40)
    assert found.probabilities["tooth_overload"].count == sum(found.first_to_break.values()) > 0
    assert all("tooth" in name for name in found.first_to_break)
    assert found.status is Status.FAILS


def test_overheating_and_running_back_are_counted(small, make_stage):
    hot = small(stage=make_stage(5.0, 0.95, shaft_drag=1e-5, repeat=3), load={"mass": 6.0})
    hot = replace(
        hot,
        motors=tuple(
            replace(g, winding_limit=30.0, winding_heat_capacity=0.05, winding_to_case=50.0)
            for g in hot.motors
        ),
    )
    found = spread(hot, builds=30)
    assert found.probabilities["overheated"].count > 0 and found.probabilities["ran_back"].count > 0


def test_builds_that_cannot_be_made_are_left_out_and_none_at_all_is_refused(winch):
    odd = [("motors.1.no_load_current", 2.4, "uniform")]
    some = spread(replace(winch, motors=(replace(winch.motors[0], count=3),)), odd, builds=40)
    assert 0 < some.probabilities["lifted"].of < 40
    assert {place.dragged.of for place in some.motors} == {some.probabilities["lifted"].of}
    none = lift_builds(rows_of(winch, odd), np.ones((2, len(rows_of(winch, odd).draws))))
    assert none.ending.tolist() == [Ending.CANNOT_BE_BUILT] * 2


def test_a_scenario_of_which_no_build_can_be_made_is_refused(winch, monkeypatch):
    monkeypatch.setattr(BuildPlan, "machines", lambda self, shares: {})
    with pytest.raises(InputError, match="no build"):
        spread(winch, builds=10)


# --- who lifts


def test_the_same_whoever_lifts(winch):
    """Here, in two and three processes, in threads: chunks are the same, so every number is."""
    here = spread(winch, builds=3 * CHUNK - 5, random_seed=4)
    for pool in (ProcessPoolExecutor(2), ThreadPoolExecutor(3)):
        with pool:
            there = spread(winch, builds=3 * CHUNK - 5, random_seed=4, executor=pool)
        assert same(here.outcomes, there.outcomes)
        assert there.probabilities == here.probabilities
    assert not same(here.outcomes, spread(winch, builds=3 * CHUNK - 5, random_seed=5).outcomes)


def test_plans_go_to_workers_small(geared):
    assert len(pickle.dumps(rows_of(geared))) < 200_000


class Interrupted(ThreadPoolExecutor):
    """An executor whose user stops after some tasks."""

    def __init__(self, after):
        super().__init__(1)
        self.left = after

    def submit(self, *args, **more):
        if self.left == 0:
            raise KeyboardInterrupt
        self.left -= 1
        future = Future()
        future.set_result(args[0](*args[1:], **more))
        return future


def test_an_interruption_keeps_what_is_done(winch):
    steps = []

    def stop(done, total):
        steps.append(done)
        if done >= 2 * CHUNK:
            raise KeyboardInterrupt

    found = spread(winch, builds=4 * CHUNK, random_seed=4, on_progress=stop)
    assert not found.complete and len(found.outcomes) == 2 * CHUNK and found.asked == 4 * CHUNK
    whole = spread(winch, builds=4 * CHUNK, random_seed=4)
    assert np.array_equal(found.outcomes.time, whole.outcomes.time[: 2 * CHUNK], equal_nan=True)
    with pytest.raises(KeyboardInterrupt):
        spread(winch, builds=20, executor=Interrupted(0))


def test_finished_tasks_of_an_executor_are_kept(winch):
    made = rows_of(winch)
    shares = np.random.default_rng(1).random((2 * CHUNK, len(made.draws)))

    class Late(Interrupted):
        """Stops while it waits for the second task."""

        def submit(self, *args, **more):
            if self.left == 0:
                future = Future()
                future.set_exception(KeyboardInterrupt())
                return future
            return super().submit(*args, **more)

    _, rows = lift_everywhere(made, shares, Late(1))
    assert rows.tolist() == list(range(CHUNK))


def test_progress_counts_every_lift(winch):
    steps = []
    spread(winch, builds=50, on_progress=lambda done, total: steps.append((done, total)))
    assert steps[-1][0] == steps[-1][1] == 50
    assert [done for done, _ in steps] == sorted(done for done, _ in steps)


# --- statistics


def test_what_a_pawl_holds_and_nothing_befalls_is_ok_and_friction_never_is(winch):
    """One build in a hundred that stalls is a rare exception, thin; two are not."""
    pawled = spread(replace(winch, pawl=Pawl()), builds=20)
    assert pawled.status is Status.OK and pawled.as_given.held is Holding.PAWL
    for count, status in ((1, Status.THIN), (2, Status.FAILS)):
        stalled = {**pawled.probabilities, "stalled": probability(count, 100, 0.95)}
        assert replace(pawled, probabilities=stalled).status is status


def test_a_tolerance_acts_on_the_value_that_the_scenario_gives(winch):
    """On the resistance of a motor on the bench, and on a point of a motor known by points."""
    motor = winch.motors[0]
    bench = replace(
        motor, known_by="bench", terminal_resistance=3.0, stall_torque=None, stall_current=None
    )
    points = tuple(
        MotorPoint(torque=torque, speed=speed, current=current)
        for torque, speed, current in ((0.0, 900.0, 0.12), (0.005, 480.0, 1.0))
    )
    for known, path in (
        (bench, "terminal_resistance"),
        (replace(motor, known_by="points", points=points), "points.2.current"),
    ):
        given = [(f"motors.1.{path}", 0.01, "uniform")]
        found = spread(replace(winch, motors=(known,)), given, builds=20)
        values = found.values[:, draws_of(found.plan, f"motors.1.{path}")]
        center = 3.0 if path == "terminal_resistance" else 1.0
        assert np.abs(values - center).max() <= 0.01 and values.shape[1] == 2
        drawn = found.plan.scenario(found.plan.values(np.zeros((1, len(found.plan.draws))))[0])
        assert drawn.motors[0].known_by == known.known_by
        assert value_at(drawn, f"motors.1.{path}") == pytest.approx(center - 0.01)


def test_of_nothing_any_probability_is_possible():
    none = probability(0, 0, 0.95)
    assert (none.low, none.high, none.share) == (0.0, 1.0, 0.0)


@pytest.mark.parametrize("true", [0.02, 0.1, 0.37, 0.5])
def test_the_exact_interval_holds_its_share(true):
    """All counts of 30 trials at several probabilities: never less than the level, by
    enumeration."""
    chances = stats.binom.pmf(np.arange(31), 30, true)
    held = sum(
        c
        for k, c in enumerate(chances)
        if probability(k, 30, 0.9).low <= true <= probability(k, 30, 0.9).high
    )
    assert held >= 0.9


def test_rank_correlation_leaves_gaps_out_and_takes_means_over_motors():
    generator = np.random.default_rng(2)
    wide, other = generator.random((400, 3)), generator.random((400, 1))
    result = wide.sum(axis=1) ** 3
    result[::7] = np.nan
    found, noise = rank_correlation([wide, other], result)
    assert found[0] == pytest.approx(1.0, abs=1e-12) and abs(found[1]) < noise < 0.2
    assert np.all(rank_correlation([wide], np.ones(400))[0] == 0)
    spearman = stats.spearmanr(other[:, 0], result, nan_policy="omit").statistic
    assert found[1] == pytest.approx(spearman)


def test_chance_passes_the_noise_limit_as_often_as_it_says():
    generator = np.random.default_rng(3)
    columns = [generator.random((100, 1)) for _ in range(600)]
    found, noise = rank_correlation(columns, generator.random(100))
    assert (
        stats.binom.ppf(1e-4, 600, 0.01)
        <= np.sum(np.abs(found) > noise)
        <= stats.binom.ppf(1 - 1e-4, 600, 0.01)
    )
