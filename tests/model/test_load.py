"""What the load meets: slopes, guides, tackles, stops and snags, the rope's own weight, links that
break."""

import math
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import random_inputs

from winchsim.inputs import Brake, Edge, Phase, Sheave
from winchsim.model import Event, LoadPlace
from winchsim.model.guards import FOLLOWED_BOUNCES
from winchsim.simulation import simulate

WEIGHT = 8 * 9.80665


# --- a load on an incline


def test_pull_and_path_on_a_slope(lift, story):
    record = lift(load={"slope": math.radians(30), "slope_friction": 0.3})
    assert story(record) == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        Event.TOP,
        Event.DRUM_STOPS,
        Event.STICKS,
    ]
    steady = np.median(record["tension"][record.phase == 0])
    assert steady == pytest.approx(WEIGHT * (0.5 + 0.3 * math.sqrt(3) / 2), rel=1e-3)
    # Twice the rope of a straight lift of the same height; the channel "speed" is along the
    # path.
    assert record["rope_wound"].max() == pytest.approx(0.2, rel=0.02)
    assert record.energy.spent["guide and slope"] == pytest.approx(
        0.3 * WEIGHT * math.sqrt(3) / 2 * 0.2, rel=0.01
    )
    gained = record.energy.stored_after["potential"] - record.energy.stored_before["potential"]
    assert gained == pytest.approx(WEIGHT * 0.1, rel=0.01)


def test_gentle_slope_holds_the_load_by_itself(lift, sliding):
    """With more friction than slope the load stays where it is, whatever the train does."""
    record = lift(
        **{**sliding, "load": {"mass": 6.0, "slope": math.radians(10), "slope_friction": 0.3}}
    )
    stuck = record.first(Event.STICKS)
    assert stuck.height > 0.1
    assert record["height"][-1] == pytest.approx(stuck.height, abs=1e-9)


def test_lossless_slope_is_a_lighter_lift(lift):
    slope = lift(load={"slope": math.radians(30), "mass": 8.0})
    straight = lift(load={"mass": 4.0, "height": 0.2})
    assert slope.first(Event.TOP).time == pytest.approx(straight.first(Event.TOP).time, rel=5e-3)


def test_bounce_period_is_that_of_the_run_on_a_soft_rope(lift):
    """A load that stretches its rope by a tenth, on the held drum: its spring is as long as the
    rope is unstretched."""
    record = lift(
        rope={"axial_stiffness": 800.0, "damping_ratio": 0.01, "falls": 2, "lead": 0.3},
        load={"mass": 16.0, "start_height": 0.2, "height": 0.3},
        phase=(
            Phase(action="raise", until="time", time=0.05),
            Phase(action="off", until="time", time=6.0),
        ),
    )
    held = record.bound & (record.time > 0.2)
    time, speed = record.time[held], record["speed"][held]
    turns = np.flatnonzero((speed[:-1] < 0) & (speed[1:] >= 0))
    crossings = time[turns] - speed[turns] * np.diff(time)[turns] / np.diff(speed)[turns]
    assert crossings.size > 8
    assert np.diff(crossings).mean() == pytest.approx(record.machine.scales.bounce_period, rel=2e-3)


# --- friction in a guide, which sticks


def test_a_guide_rubs_under_power_and_holds_without(lift, story):
    record = lift(load={"guide_friction": 10.0})
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP]
    assert np.median(record["tension"][record.phase == 0]) == pytest.approx(WEIGHT + 10, rel=1e-3)
    # Static friction is higher by the breakaway ratio: that much has to be pulled before it
    # moves.
    lifted = record.first(Event.LIFT_OFF).time
    assert np.interp(lifted, record.time, record["tension"]) == pytest.approx(
        WEIGHT + 1.3 * 10, rel=1e-4
    )
    assert record.energy.spent["guide and slope"] == pytest.approx(
        10 * record["height"][-1], rel=0.01
    )
    sticks = record.first(Event.STICKS)
    assert sticks is not None
    after = record.time > sticks.time
    assert np.all(record["speed"][after] == 0.0) and np.ptp(record["height"][after]) == 0.0
    assert abs(record["tension"][-1] - WEIGHT) <= 13.0


def test_jerks_in_a_dry_guide_on_a_soft_rope(lift, make_stage):
    record = lift(
        supply={"voltage": 3.0},
        stage=make_stage(8.0, 0.85, repeat=3),
        load={"guide_friction": 30.0, "mass": 3.0},
        rope={"axial_stiffness": 1000.0, "damping_ratio": 0.01},
    )
    slips = [e for e in record.events if e.event is Event.SLIPS]
    sticks = [e for e in record.events if e.event is Event.STICKS]
    assert len(slips) >= 10 and record.first(Event.TOP) is not None
    # Each slip begins at the static friction; without losses the load would run past balance as
    # far as it was short of it.
    assert np.interp(
        [slip.time for slip in slips[:5]], record.time, record["tension"]
    ) == pytest.approx([3 * 9.80665 + 39] * 5, rel=1e-4)
    stiffness = 1000.0 / (0.4 - np.interp(slips[1].time, record.time, record["rope_wound"]))
    assert sticks[2].height - sticks[1].height == pytest.approx(2 * 9.0 / stiffness, rel=0.1)
    between = [
        record.time[(record.time > a.time) & (record.time < b.time)]
        for a, b in zip(sticks, slips, strict=False)
    ]
    for times in between[:5]:
        assert np.all(record["speed"][np.isin(record.time, times)] == 0.0)


def test_jerks_without_end_are_averaged(lift, make_stage):
    parts = {
        "supply": {"voltage": 3.0},
        "stage": make_stage(8.0, 0.85, repeat=3),
        "load": {"guide_friction": 30.0, "mass": 3.0, "height": 0.3},
    }
    record = lift(rope={"axial_stiffness": 1e4, "damping_ratio": 0.01}, **parts)
    averaged = record.first(Event.AVERAGED)
    assert len([e for e in record.events if e.event is Event.SLIPS]) == 40
    # From then on weight and friction in motion pull, and the load keeps the pace of one that
    # never stuck: 0.1 %.
    rest = (record.time > averaged.time) & (record.phase == 0)
    assert np.median(record["tension"][rest]) == pytest.approx(3 * 9.80665 + 30, rel=1e-3)
    smooth = lift(
        rope={"axial_stiffness": 1e4, "damping_ratio": 0.01},
        settings={"breakaway": 1.0},
        **parts,
    )
    assert record.first(Event.TOP).time == pytest.approx(smooth.first(Event.TOP).time, rel=2e-3)
    assert record.energy.spent["guide and slope"] == pytest.approx(
        30 * record["height"][-1], rel=2e-3
    )


def test_a_hanging_load_rubs_from_its_start_on(lift):
    record = lift(load={"start_height": 0.1, "height": 0.2, "guide_friction": 20.0})
    way = record["height"].max() - 0.1
    assert way > 0.15 and record.events[0].height == pytest.approx(0.1)
    assert record.energy.spent["guide and slope"] == pytest.approx(20.0 * way, rel=0.01)


def test_jerks_are_counted_anew_in_each_phase(lift, make_stage):
    record = lift(
        supply={"voltage": 3.0},
        stage=make_stage(8.0, 0.85, repeat=3),
        load={"guide_friction": 30.0, "mass": 3.0, "height": 0.3},
        rope={"axial_stiffness": 1e4, "damping_ratio": 0.01},
        phase=(Phase(action="raise", until="time", time=4.0), Phase(action="raise", until="top")),
    )
    slips = [e.time for e in record.events if e.event is Event.SLIPS]
    assert 0 < sum(time < 4.0 for time in slips) < 40 == sum(time >= 4.0 for time in slips)


def test_a_load_stays_stuck_that_the_motors_cannot_pull_free(lift, story):
    record = lift(load={"guide_friction": 60.0})
    assert story(record)[:3] == [Event.DRUM_STARTS, Event.DRUM_STOPS, Event.STALLED]
    assert record["height"].max() == 0.0


def test_bounces_without_end_are_averaged(lift, monkeypatch):
    """Each new layer throws a light load up on a rope that hardly damps: the time is that of a
    lift of which every bounce is followed, and so is the peak of the pull."""
    parts = {
        "load": {"mass": 0.5, "height": 0.6},
        "drum": {"width": 0.006},
        "rope": {"axial_stiffness": 2e5, "damping_ratio": 0.01},
    }
    record = lift(**parts)
    for module in ("guards", "switching"):
        monkeypatch.setattr(f"winchsim.model.{module}.FOLLOWED_BOUNCES", math.inf)
    followed = lift(**parts)
    assert record.first(Event.AVERAGED) is not None
    assert followed.first(Event.AVERAGED) is None
    layers = [e.time for e in followed.events if e.event is Event.LAYER]
    later = [run["tension"][run.time > layers[-1]].max() for run in (record, followed)]
    assert later[0] == pytest.approx(later[1], rel=0.01)
    assert 1.4 * record.stats.steps < followed.stats.steps
    assert record.first(Event.TOP).time == pytest.approx(followed.first(Event.TOP).time, rel=1e-3)


def test_a_bounce_about_another_pull_than_the_steady_one_is_averaged_in_time():
    """A gram on a steel wire, whose drum is slow to come up to speed."""
    inputs = random_inputs(203216)
    record = simulate(replace(inputs, phase=inputs.phase[:1]))
    periods = record.first(Event.AVERAGED).time / record.machine.scales.bounce_period
    assert FOLLOWED_BOUNCES < periods < 1.15 * FOLLOWED_BOUNCES


def test_bounces_are_counted_anew_in_each_phase(lift):
    record = lift(
        load={"mass": 0.5, "height": 0.6},
        drum={"width": 0.006},
        rope={"axial_stiffness": 2e5, "damping_ratio": 0.01},
        phase=(Phase(action="raise", until="time", time=0.7), Phase(action="raise", until="top")),
    )
    followed = FOLLOWED_BOUNCES * record.machine.scales.bounce_period
    assert record.first(Event.AVERAGED).time > 0.7 + followed > 1.0


def test_a_rope_that_is_wound_up_slack_is_no_bounce(lift):
    """The load waits on the floor longer than bounces are followed; then its own is."""
    rope = {"axial_stiffness": 2e5, "damping_ratio": 0.02, "slack": 0.2}
    record = lift(rope=rope, load={"height": 0.2})
    period, left = record.machine.scales.bounce_period, record.first(Event.LIFT_OFF).time
    assert left > FOLLOWED_BOUNCES * period
    assert record.first(Event.AVERAGED) is None
    assert record.first(Event.SETTLED).time > left + 10 * period


# --- several falls carry the load


@pytest.mark.parametrize("falls", [2, 3, 4])
def test_pull_path_and_energy_of_a_tackle(lift, story, falls):
    record = lift(rope={"falls": falls}, load={"mass": 8.0 * falls})
    assert story(record) == [Event.DRUM_STARTS, Event.LIFT_OFF, Event.TOP, Event.DRUM_STOPS]
    assert record["rope_wound"].max() == pytest.approx(falls * 0.1, rel=0.02)
    assert record["tension"][-1] == pytest.approx(WEIGHT, rel=2e-3)
    gained = record.energy.stored_after["potential"] - record.energy.stored_before["potential"]
    assert gained == pytest.approx(WEIGHT * falls * 0.1, rel=2e-3)
    sheaves = sum(0.95**k for k in range(falls)) / falls
    assert record.energy.spent["tackle"] == pytest.approx(gained * (1 / sheaves - 1), rel=0.02)


def test_a_load_runs_back_through_a_tackle(lift, story, sliding):
    record = lift(**{**sliding, "rope": {"falls": 2}, "load": {"mass": 15.0}})
    assert story(record)[3:6] == [Event.DRUM_STOPS, Event.RUNS_BACK, Event.LANDED]


def test_rope_weight_hangs_on_every_fall(lift):
    record = lift(rope={"falls": 2, "mass_per_length": 0.2}, load={"mass": 10.0, "height": 0.3})
    at_start = np.interp(record.first(Event.LIFT_OFF).time, record.time, record["tension"])
    assert at_start == pytest.approx((10 + 0.2 * 2 * 0.6) * 9.80665 / 2, rel=1e-4)
    top = record.first(Event.TOP)
    near = (record.time < top.time) & (record.time > 0.95 * top.time)
    assert np.median(record["tension"][near]) == pytest.approx(
        (10 + 0.2 * 2 * 0.3) * 9.80665 / 2, rel=5e-3
    )


# --- sheaves and edges between drum and load, and the rope's own weight


def test_sheaves_and_edges_take_their_share(lift):
    record = lift(
        sheave=(Sheave(efficiency=0.9, repeat=2),),
        edge=(Edge(friction=0.1, angle=math.pi / 2),),
    )
    plain = lift()
    at_top = np.interp(record.first(Event.TOP).time - 1e-6, record.time, record["motor_1_torque"])
    before = np.interp(plain.first(Event.TOP).time - 1e-6, plain.time, plain["motor_1_torque"])
    drag = 0.12 * 0.005 + 2 * 2e-4 / 5 / 0.8 / 2  # motors' own, and roughly the shafts'
    share = (at_top - drag) / (before - drag)
    assert share == pytest.approx(1 / 0.81 * math.exp(0.1 * math.pi / 2), rel=0.03)
    assert record.energy.spent["sheave 1"] > 0 and record.energy.spent["edge 1"] > 0


def test_friction_on_the_way_helps_to_hold(lift, sliding):
    assert lift(**sliding).first(Event.RUNS_BACK) is not None
    record = lift(
        **sliding, edge=(Edge(friction=0.2, angle=2 * math.pi),), supply={"voltage": 12.0}
    )
    assert record.first(Event.TOP) is not None
    assert record.first(Event.RUNS_BACK) is None


def test_rope_gets_lighter_on_the_way_up(lift):
    record = lift(
        rope={"mass_per_length": 0.5, "axial_stiffness": 1e5}, load={"height": 0.5, "mass": 4.0}
    )
    up = (record.phase == 0) & (record["height"] > 0.05)
    straight = (4 + 0.5 * (0.8 - record["height"][up])) * 9.80665
    assert record["tension"][up] == pytest.approx(straight, rel=0.02)


# --- rigid stops and snags: the load stands still at once, the rope takes the rest


@pytest.mark.parametrize(
    ("key", "event"), [("top_stop", Event.TOP_STOP), ("snag_height", Event.SNAGGED)]
)
def test_load_is_stopped_and_the_motors_stall(lift, story, key, event):
    record = lift(load={key: 0.05})
    assert story(record)[:5] == [
        Event.DRUM_STARTS,
        Event.LIFT_OFF,
        event,
        Event.DRUM_STOPS,
        Event.STALLED,
    ]
    hit = record.first(event)
    assert hit.height == pytest.approx(0.05, abs=1e-6)
    assert hit.energy == pytest.approx(8 * hit.value**2 / 2, rel=1e-3)
    assert record["height"].max() == pytest.approx(0.05, abs=1e-6)
    # At the end of the wind-up the motors hold more than they can raise steadily, never less.
    assert record["tension"].max() > 1.5 * WEIGHT
    off = [e.time for e in record.events if e.event is Event.PHASE_STARTS][1]
    after = [e.event for e in record.events if e.time >= off]
    assert Event.RUNS_BACK in after and Event.CAME_OFF in after and Event.LANDED in after
    # It blocks upward motion only: the load comes off as soon as the rope carries less than it.
    came_off = record.first(Event.CAME_OFF)
    assert np.interp(came_off.time, record.time, record["tension"]) == pytest.approx(
        WEIGHT, rel=1e-3
    )


def test_heavier_rotors_hit_harder(lift, make_motor):
    peaks = []
    for inertia in (1e-7, 4e-6):
        motors = make_motor(4.0, 0.005, idle_current=0.12, count=2, rotor_inertia=inertia)
        peaks.append(lift(motors=motors, load={"snag_height": 0.05})["tension"].max())
    assert peaks[1] > 1.2 * peaks[0]


# --- a link that breaks ends the lift, or lets the load go


def test_rope_that_breaks_stops_the_run(lift, story):
    record = lift(rope={"breaking_force": 140.0, "knot_efficiency": 0.5})
    assert story(record) == [Event.DRUM_STARTS, Event.OVERLOAD]
    worst = record.first(Event.OVERLOAD)
    link = record.broken_link
    assert link.label == "rope at its knot" and worst.value == pytest.approx(1.0, rel=1e-6)
    assert record["tension"].max() == pytest.approx(70.0, rel=1e-6)
    assert record.demands[worst.target.index].share == pytest.approx(1.0, rel=1e-6)


def test_the_load_falls_from_where_the_rope_broke(lift):
    record = lift(rope={"breaking_force": 1.05 * WEIGHT}, load={"start_height": 0.2})
    start, speed = record["height"][-1], record["speed"][-1]
    assert start >= 0.2 and record.fall.energy == pytest.approx(
        WEIGHT * start + WEIGHT / 9.80665 * speed**2 / 2
    )
    assert record.fall.time >= math.sqrt(2 * start / 9.80665)


def test_a_rope_breaks_on_a_drum_that_a_brake_has_stopped(lift):
    """The load swings on: 121 N on a knot that holds 115."""
    record = lift(
        load={"start_height": 0.3, "height": 0.4, "mass": 8.0},
        brake=Brake(torque=5.0),
        rope={"breaking_force": 150.0, "knot_efficiency": 1.0, "damping_ratio": 0.05},
        phase=(Phase(action="lower", until="time", time=0.5), Phase(action="off", time=1.0)),
    )
    assert record.first(Event.DRUM_STOPS).time < record.first(Event.OVERLOAD).time


def test_a_rope_that_is_strong_enough_does_not_break(lift):
    record = lift(rope={"breaking_force": 200.0})
    assert record.broken_link is None and record.fall is None
    knot = record.demands[0]
    assert 0.4 < knot.share < 0.8
    assert knot.time == pytest.approx(record.time[np.argmax(record["tension"])])


# --- flanges that are too low for the lift


def test_rope_climbs_over_low_flanges_only(lift, story):
    record = lift(drum={"width": 0.010, "flange_diameter": 0.0165}, load={"height": 0.4})
    assert story(record)[-1] is Event.OVERFLOW
    assert record.first(Event.TOP) is None
    full = record.machine.layers[-1].end - record.machine.wound_at_start
    assert record["rope_wound"][-1] == pytest.approx(full, abs=1e-9)
    assert lift(drum={"width": 0.010}, load={"height": 0.4}).first(Event.OVERFLOW) is None


def test_places_of_the_load_are_told_apart(lift):
    assert [place.moves for place in LoadPlace] == [False, True, True, True, False, False, False]
    record = lift(phase=(Phase(action="off", until="time", time=0.5),))
    assert record["height"].max() == 0.0 and record["tension"].max() == 0.0


def test_on_a_slope_the_height_is_vertical_and_the_speed_is_along_the_path(lift):
    record = lift(load={"slope": math.radians(30), "slope_friction": 0.1})
    k = np.flatnonzero((record["speed"] > 0.02) & (record.phase == 0))[10:-10]
    climbed = np.trapezoid(record["speed"][k], record.time[k]) * math.sin(math.radians(30))
    assert record["height"][k[-1]] - record["height"][k[0]] == pytest.approx(climbed, rel=1e-3)
