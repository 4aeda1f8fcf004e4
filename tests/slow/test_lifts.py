"""The slow climb: its path, its ends, its heat and its links, beside single full runs where these
are quick."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.holding import holding
from winchsim.assessment.history import read_history
from winchsim.assessment.readings import mean_current
from winchsim.constants import COPPER_MELTS
from winchsim.face import parse as loads, read as load
from winchsim.inputs import (
    Brake,
    Controller,
    Drum,
    Edge,
    Gearbox,
    Inputs,
    Load,
    MotorGroup,
    Pawl,
    Phase,
    Rope,
    Sheave,
    Supply,
    with_value,
)
from winchsim.model import Event, build
from winchsim.physics.supply import Regime
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import simulate
from winchsim.slow import Hold, SlowEnd, lift_all, lift_batch, lift_machine, stack_machines
from winchsim.slow.path import Path as RopePath, bounce_period, hanging_pull, travel_at, wound_at
from winchsim.strength.link import LinkKind


@pytest.fixture
def row(small):
    """Slow lift of the small winch with changed parts."""
    return lambda **parts: lift_machine(build(small(**parts)))


# --- path


@pytest.mark.parametrize(
    "rope", [{}, {"mass_per_length": 0.05}, {"falls": 3, "lead": 0.4, "mass_per_length": 0.2}]
)
def test_wound_rope_and_travel_are_inverse(small, rope):
    batch = stack_machines([build(small(rope=rope, load={"height": 0.5, "guide_friction": 5.0}))])
    travel = np.array([0.05, 0.2, 0.5])
    wound = wound_at(batch, travel)
    np.testing.assert_allclose(travel_at(batch, wound), travel, rtol=1e-12)
    m = batch.machine
    pull = (m.body.mass * 9.80665 + m.body.rope_weight * (m.reach - travel) + 5.0) / m.line.falls
    np.testing.assert_allclose(hanging_pull(batch, wound), pull, rtol=1e-12)


def test_the_load_lifts_off_where_the_stretch_carries_it(small):
    batch = stack_machines([build(small(rope={"slack": 0.01, "axial_stiffness": 5e3}))])
    path, m = RopePath(batch), batch.machine
    tension = 8.0 * 9.80665
    span = m.reach
    assert path.lift_off[0] == pytest.approx(m.free_rope - span / (1 + tension / 5e3), rel=1e-12)
    assert np.all(path.tensions[path.middles < 0.01] == 0.0)  # loose rope
    just_below = path.tensions[~path.hanging].max()
    assert 0.9 * tension < just_below < tension
    assert np.all(np.diff(path.edges, axis=0) >= 0)


def test_every_layer_has_its_radius(small):
    machine = build(small(drum={"width": 0.012}, load={"height": 0.9}))
    path = RopePath(stack_machines([machine]))
    for middle, radius in zip(path.middles[:, 0], path.radii[:, 0], strict=True):
        place = middle + machine.wound_at_start
        layer = next(layer for layer in machine.layers if layer.start <= place < layer.end)
        assert radius == layer.radius
    assert path.layer[0] > 2


def test_bounce_period(small):
    machine = build(small())
    assert bounce_period(stack_machines([machine])) == pytest.approx(
        machine.scales.bounce_period, rel=1e-12
    )


# --- ends


def test_stalls_before_lift_off(row):
    found = row(load={"mass": 60.0})
    assert (
        found["end"] == SlowEnd.STALLED
        and found["height"] == 0.0
        and math.isnan(found["lift_time"])
    )
    assert found["least_margin"] < 1 and found["stall_margin_cold"] < 1


def test_stalls_where_the_next_layer_begins(small):
    inputs = small(drum={"width": 0.012}, load={"mass": 10.0, "height": 0.9})
    found, machine = lift_machine(build(inputs)), build(inputs)
    assert found["end"] == SlowEnd.STALLED_AT_LAYER_END
    layer_ends = [layer.end - machine.wound_at_start for layer in machine.layers]
    assert min(abs(found["height"] - end) for end in layer_ends) < 0.01


def test_stalls_as_the_windings_warm(small, make_motor):
    warm = {
        "winding_heat_capacity": 1.0,
        "case_heat_capacity": 500.0,
        "winding_to_case": 20.0,
        "case_to_ambient": 5.0,
    }
    inputs = small(
        motors=make_motor(4.0, 0.005, idle_current=0.12, count=2, **warm),
        drum={"width": 0.2},
        load=Load(mass=10.0, height=0.6),
        phase=Phase(action="raise", until="top", time=600.0),
    )
    found = lift_machine(build(inputs))
    record = simulate(inputs)
    stalled = record.first(Event.STALLED)
    assert found["end"] == SlowEnd.STALLED and stalled is not None
    assert found["height"] == pytest.approx(stalled.height, rel=0.06)
    assert found["peak_winding"] > 80.0


def runaway(mass: float) -> Inputs:
    """Two unlike groups that only just carry a long wire rope: they all but stand still over the
    next layer."""
    geared = MotorGroup(
        voltage=3.0,
        no_load_speed=180.01715911789654,
        no_load_current=0.05506427019332649,
        stall_torque=0.27059207702788546,
        stall_current=21.505599886252753,
        gearbox=Gearbox(ratio=52.38900455580697, reverse_efficiency=0.7379687393279217),
        mass=0.06091,
        winding_to_case=7.235,
        case_to_ambient=20.67,
    )
    plain = MotorGroup(
        count=2,
        voltage=6.0,
        no_load_speed=692.26430830576,
        no_load_current=0.19940824702144144,
        stall_torque=0.01761897712000089,
        stall_current=2.522877901123166,
        brush_drop=0.30000000000000004,
        mass=0.02556,
        winding_to_case=12.91,
        case_to_ambient=36.88,
    )
    rope = Rope(
        material="steel wire 6x7",
        diameter=0.0018967123844950565,
        breaking_force=1609.858077304549,
        axial_stiffness=226.61361133195996,
        damping_ratio=0.02,
        mass_per_length=0.10732795455439341,
        falls=3,
        sheave_efficiency=0.7362419923182966,
        slack=0.008947625181135838,
    )
    drum = Drum(
        diameter=0.004982156042174735,
        width=0.17803700452006407,
        layering="nested",
        support_span=0.1,
        bearing_efficiency=1.0,
    )
    load = Load(mass=mass, height=19.038557639707808)
    supply = Supply(voltage=3.601402605571519)
    return with_tables(
        Inputs(motors=(geared, plain), supply=supply, stage=(), drum=drum, rope=rope, load=load)
    )


def test_a_winding_that_runs_away_melts_and_never_lifts():
    found = lift_all(runaway(0.0130), {"load.mass": [0.0130, 0.0129, 0.0131]})
    assert np.all(np.isfinite(found.lift_time) == found.lifted) and not found.lifted[0]
    assert np.all((found.winding_end <= COPPER_MELTS) & (found.peak_winding <= COPPER_MELTS))
    assert found.winding_end[0] == COPPER_MELTS and found.tight_winding[0] > found.tight_limit[0]
    assert found.least_margin[0] <= 1 and found.height[0] < 19


def test_nothing_is_hotter_than_molten_copper(small, make_motor):
    """Lifts that stall on the way, or all but stall: their heat has all the time there is."""
    no_cooling = {
        "winding_heat_capacity": 1.0,
        "case_heat_capacity": 5.0,
        "winding_to_case": 100.0,
        "case_to_ambient": 100.0,
    }
    inputs = small(
        motors=make_motor(
            4.0, 0.005, idle_current=0.12, count=2, magnet_coefficient=-0.002, **no_cooling
        ),
        drum={"width": 0.02},
        load=Load(mass=6.0, height=1.0),
        phase=Phase(action="raise", until="top", time=80000.0),
    )
    found = lift_all(
        inputs, {"load.mass": np.append(5.0, 5.1580805 + np.linspace(-1e-3, 1e-3, 41))}
    )
    assert np.all(found.peak_winding <= COPPER_MELTS) and np.any(found.peak_winding == COPPER_MELTS)
    assert np.any(found.lifted) and np.any(found.end == SlowEnd.STALLED)
    assert np.all(np.isfinite(found.lift_time[found.lifted]))


def test_the_battery_runs_empty(small):
    need = lift_machine(build(small()))["charge"]
    half = small(supply={"kind": "battery", "capacity": need / 2})
    found, record = lift_machine(build(half)), simulate(half)
    assert found["end"] == SlowEnd.BATTERY_EMPTY
    assert found["height"] == pytest.approx(record.first(Event.EMPTY).height, rel=0.01)
    assert found["charge"] == pytest.approx(need / 2, rel=0.05)


TRIPS = [
    ({"current_limit": 1.0, "trip_delay": 0.2}, {"mass": 8.0}),  # all the way up at the limit
    ({"current_limit": 1.0, "trip_delay": 0.2}, {"mass": 40.0}),  # never starts
    ({"current_limit": 1.0}, {"mass": 3.0, "start_height": 0.05}),
    ({"current_limit": 2.2, "trip_delay": 1.0}, {"mass": 8.0}),  # an inrush shorter than the delay
    ({"current_limit": 2.2, "trip_delay": 1e-5}, {"mass": 8.0}),  # and one longer
    ({"current_limit": 2.2}, {"mass": 8.0, "top_stop": 0.05}),  # at a stop
    ({"current_limit": 1.5, "controller": Controller(duty=0.5)}, {"mass": 6.0}),
]


@pytest.mark.parametrize(("supply", "load"), TRIPS)
def test_a_supply_that_trips_does_so_in_both_models(small, supply, load):
    inputs = small(supply={"over_current": "trip", **supply}, load=load)
    found, record = lift_machine(build(inputs)), simulate(inputs)
    trip = next((e for e in record.events if e.target is Regime.TRIPPED), None)
    up = record.first(Event.TOP)
    assert (found["end"] == SlowEnd.TRIPPED) == (trip is not None)
    assert (found["end"] == SlowEnd.LIFTED) == (up is not None)
    if trip is not None:
        rose = trip.height - record["height"][0]
        assert found["height"] == pytest.approx(rose, abs=0.03 * inputs.load.height)
    if up is not None:
        assert found["lift_time"] == pytest.approx(up.time, rel=5e-3)


def test_the_rope_climbs_over_the_flange(small):
    load = {"height": 0.9, "start_height": 0.1}
    inputs = small(drum={"width": 0.012, "flange_diameter": 0.0165}, load=load)
    found, record = lift_machine(build(inputs)), simulate(inputs)
    assert found["end"] == SlowEnd.OVERFLOW
    rose = record.first(Event.OVERFLOW).height - 0.1
    assert found["height"] == pytest.approx(rose, abs=1e-4)


@pytest.mark.parametrize("obstacle", [{"snag_height": 0.05}, {"top_stop": 0.05}])
def test_something_is_in_the_way(row, obstacle):
    found = row(load=obstacle)
    assert found["end"] == SlowEnd.BLOCKED and found["height"] == pytest.approx(0.05, rel=1e-9)


def test_the_time_of_the_phase_is_too_short(row):
    found = row(phase=Phase(action="raise", until="top", time=0.5))
    assert found["end"] == SlowEnd.LATE and found["lift_time"] > 0.5


def test_does_not_start_from_rest_though_it_would_keep_turning(small):
    inputs = small(load={"start_height": 0.2, "mass": 10.0}, settings={"breakaway": 1.6})
    found = lift_machine(build(inputs))
    assert found["end"] == SlowEnd.STALLED and found["height"] == 0.0
    moving = lift_machine(
        build(small(load={"start_height": 0.2, "mass": 10.0}, settings={"breakaway": 1.0}))
    )
    assert moving["end"] == SlowEnd.LIFTED


# --- numbers beside the full run


@pytest.fixture(scope="module")
def warm_lift(make_motor, small):
    warm = {
        "winding_heat_capacity": 2.0,
        "case_heat_capacity": 20.0,
        "winding_to_case": 6.0,
        "case_to_ambient": 15.0,
    }
    inputs = small(
        motors=make_motor(
            4.0, 0.005, idle_current=0.12, count=2, magnet_coefficient=-0.002, **warm
        ),
        drum={"width": 0.018},
        rope={"mass_per_length": 0.02, "slack": 0.004, "damping_ratio": 0.2},
        load=Load(mass=4.0, height=1.2),
        edge=(Edge(friction=0.1, angle=0.5),),
        sheave=(Sheave(efficiency=0.96),),
    )
    return lift_machine(build(inputs)), simulate(inputs)


def test_time_heat_current_and_charge(warm_lift):
    slow, record = warm_lift
    top = record.first(Event.TOP)
    at = int(np.searchsorted(record.time, top.time))
    assert slow["in_range"] and slow["layers"] == 3
    assert slow["lift_time"] == pytest.approx(top.time, rel=1e-3)
    assert slow["winding_end"] - 20 == pytest.approx(record["motor_1_winding"][at] - 20, rel=5e-3)
    assert slow["case_end"] - 20 == pytest.approx(record["motor_1_case"][at] - 20, rel=5e-3)
    assert slow["charge"] == pytest.approx(record["charge"][at], rel=3e-3)
    assert slow["energy_in"] == pytest.approx(6.0 * record["charge"][at], rel=3e-3)
    assert slow["last_current"] == pytest.approx(record["current"][at], rel=2e-3)
    assert slow["mean_current"] == pytest.approx(mean_current(read_history(record)), rel=3e-3)
    for name in ("current", "voltage"):
        assert slow[f"steady_{name}"] == pytest.approx(read_history(record).steady(name), rel=2e-3)
    assert slow["last_speed"] == pytest.approx(record["speed"][at], rel=2e-3)
    assert slow["standstill_current"] == pytest.approx(record["current"].max(), rel=1e-9)


def test_of_unlike_groups_the_one_nearest_to_its_limit_counts(small, make_motor):
    """The hotter group stands more."""
    motors = tuple(
        make_motor(
            resistance, 0.005, idle_current=0.12, winding_heat_capacity=1.0, winding_limit=limit
        )
        for resistance, limit in ((3.0, 180.0), (6.0, 60.0))
    )
    found = lift_machine(build(small(motors=motors, load={"mass": 4.0})))
    assert found["tight_limit"] == 60.0 and 20.0 < found["tight_winding"] < found["peak_winding"]


def test_the_rope_pulls_as_hard_as_in_the_full_run(warm_lift):
    slow, record = warm_lift
    assert slow["peak_tension"] == pytest.approx(record["tension"].max(), rel=0.02)


SCENARIOS = Path(__file__).parents[2] / "scenarios"
CATCHES = {
    "light rotors": ("13", {"motors.1.rotor_inertia": 5e-7}),
    "at once, by a brake": ("07", {}),
    "soft rope": ("12", {"rope.axial_stiffness": 4e3}),
    "flung, a pawl": ("09", {"pawl.fitted": True, "settings.ambient": 10.0}),
    "guided": ("12", {"load.guide_friction": 8.0, "motors.1.rotor_inertia": 5e-7}),
}
"""What decides how the stopping drum catches its load, and a scenario where it does."""


@pytest.mark.parametrize(("number", "values"), CATCHES.values(), ids=CATCHES)
def test_a_drum_that_stops_catches_the_load_as_in_the_full_run(number, values):
    (path,) = SCENARIOS.glob(f"{number}-*.toml")
    inputs = load(str(path))
    inputs = replace(inputs, pawl=inputs.pawl or Pawl(fitted=False))
    for key, value in values.items():
        inputs = with_value(inputs, key, value)
    record, slow = simulate(inputs), lift_machine(build(inputs))
    rising = record.time < record.first(Event.TOP).time
    assert record["tension"].max() > 1.03 * record["tension"][rising].max()
    assert slow["peak_tension"] == pytest.approx(record["tension"].max(), rel=0.025)
    for place, kind in enumerate(LinkKind):
        shares = [k.share for k in record.demands if record.machine.links[k.link].kind is kind]
        if shares:
            assert slow["kind_factors"][place] == pytest.approx(1 / max(shares), rel=0.05), kind


def test_a_new_layer_jerks_as_hard_as_in_the_full_run(small, make_motor):
    """The start is soft."""
    inputs = small(
        motors=make_motor(4.0, 0.005, idle_current=0.12, count=6),
        drum={"width": 0.012, "flange_diameter": 0.08},
        load={"mass": 3.0, "height": 0.9, "start_height": 0.05},
        rope={"damping_ratio": 0.02, "axial_stiffness": 5e3},
        phase=Phase(action="raise", until="top", ramp=1.0),
    )
    record = simulate(inputs)
    most = record["tension"][record.time <= record.first(Event.TOP).time].max()
    assert lift_machine(build(inputs))["peak_tension"] == pytest.approx(most, rel=0.02)
    assert most > 1.05 * 3 * 9.80665


def test_a_load_that_is_torn_off_its_guide_pulls_as_hard_as_in_the_full_run(small, make_motor):
    """It needs 72 N of friction to start and rubs with 40: the 32 N less swing about the pull of
    the motion."""
    inputs = small(
        motors=make_motor(4.0, 0.005, idle_current=0.12, count=12),
        load={"guide_friction": 40.0, "mass": 4.0},
        settings={"breakaway": 1.8},
        rope={"damping_ratio": 0.05, "axial_stiffness": 3e3},
        supply={"voltage": 12},
    )
    record = simulate(inputs)
    rising = record.time <= record.first(Event.TOP).time
    most = record["tension"][rising].max()
    assert lift_machine(build(inputs))["peak_tension"] == pytest.approx(most, rel=0.01)
    assert most > 4 * 9.80665 + 72 + 3


@pytest.mark.parametrize("damping", [0.02, 0.2, 0.45, 0.5, 0.8])
def test_jolt_of_a_pick_up_is_that_of_a_mass_on_a_spring_and_a_damper(small, damping):
    """The closed form against the integrated motion of a mass whose spring's other end starts at
    once."""
    machine = build(small(rope={"damping_ratio": damping}))
    stiffness, mass = machine.line.stiffness / machine.free_rope, machine.body.mass
    moved = solve_ivp(
        lambda t, y: (y[1], -(stiffness * y[0] + machine.line.damping * y[1]) / mass),
        (0.0, 0.2),
        (0.0, 1.0),
        rtol=1e-10,
        atol=1e-13,
        max_step=1e-3,
    )
    greatest = np.max(stiffness * moved.y[0] + machine.line.damping * moved.y[1])
    batch = stack_machines([machine])
    assert RopePath(batch).impedances[0, 0] == pytest.approx(greatest, rel=2e-3)


def test_a_ramp_costs_about_half_of_itself(small):
    plain = lift_machine(build(small(load={"height": 0.3})))["lift_time"]
    inputs = small(load={"height": 0.3}, phase=Phase(action="raise", until="top", ramp=0.4))
    slow, full = lift_machine(build(inputs)), simulate(inputs).first(Event.TOP).time
    assert 0.2 < slow["lift_time"] - plain < 0.4
    assert slow["lift_time"] == pytest.approx(full, rel=5e-3)
    assert not slow["in_range"]  # and it says so: the ramp is no hundredth of the lift


# --- power off


def test_what_holds_at_rest_and_in_motion(small):
    """Three stages: the static margin decides whether it starts back, the moving one whether it
    goes on."""
    for reverse, expected in ((0.2, Hold.HOLDS), (0.95, Hold.RUNS_BACK)):
        stage = replace(small().stage[0], efficiency=0.9, reverse_efficiency=reverse)
        assert lift_machine(build(small(stage=stage)))["holding"] == expected
    between = []
    for reverse in np.linspace(0.4, 0.9, 26):
        stage = replace(small().stage[0], efficiency=0.9, reverse_efficiency=float(reverse))
        between.append(lift_machine(build(small(stage=stage)))["holding"])
    assert between == sorted(between, reverse=True)  # more loss in reverse never holds less
    assert Hold.AT_REST_ONLY in between


def test_a_pawl_always_holds(small):
    stage = replace(small().stage[0], efficiency=0.95, reverse_efficiency=0.95)
    assert lift_machine(build(small(stage=stage, pawl=Pawl())))["holding"] == Hold.HOLDS


@pytest.mark.parametrize("reverse", [0.3, 0.9])
def test_holding_is_that_of_the_full_run(small, reverse):
    stage = replace(small().stage[0], efficiency=0.9, reverse_efficiency=reverse)
    inputs = small(stage=stage)
    record = simulate(inputs)
    sank = record["height"].max() - record["height"][-1] > 0.01
    assert (lift_machine(build(inputs))["holding"] == Hold.RUNS_BACK) == sank


# --- links


@pytest.mark.parametrize("torque", [1.0, 4.0])
def test_a_brake_that_grips_asks_of_the_teeth_what_it_does_in_the_full_run(torque):
    """The rotors are stopped through the train, which can take more than the lift itself."""
    scenario = load(
        str(Path(__file__).resolve().parents[2] / "scenarios" / "07-bicycle-by-bench-motor.toml")
    )
    braked = replace(scenario, brake=Brake(torque=torque, place="drum"))
    found = lift_machine(build(braked))
    assert found["factor"] == pytest.approx(
        min(1 / asked.share for asked in simulate(braked).demands), rel=0.02
    )
    bare = lift_machine(build(replace(scenario, brake=None)))
    assert (found["factor"] < 0.6 * bare["factor"]) is (torque > 1)


@pytest.mark.parametrize(("other", "inertia"), [(0.005, 1e-6), (0.006, 1e-3)])
def test_a_motors_gearbox_carries_what_it_does_in_the_full_run(
    small, make_motor, make_stage, other, inertia
):
    """As the load swings up, or as a heavy drum is set going by unlike motors: drag behind the
    gearbox loads it, that of the motor does not."""
    gearbox = Gearbox(ratio=5.0, data_at="motor", efficiency=0.8, torque_limit=1.0)
    inputs = small(
        motors=tuple(make_motor(4.0, k, idle_current=0.2, gearbox=gearbox) for k in (0.005, other)),
        stage=make_stage(5.0, 0.8, shaft_drag=5e-3, repeat=2),
        load={"mass": 6.0, "start_height": 0.05, "height": 0.15},
        drum={"inertia": inertia},
        rope={"damping_ratio": 0.02},
    )
    most = max(asked.share for asked in simulate(inputs).demands)
    assert lift_machine(build(inputs))["factor"] == pytest.approx(1 / most, rel=1e-3)


NEARLY_HELD = """
[[motors]]
voltage = "12 V"
no_load_speed = "6000 rpm"
no_load_current = "0.3 A"
stall_torque = "0.28 N*m"
stall_current = "15.5 A"
mass = "220 g"
[supply]
kind = "battery"
voltage = "12.6 V"
resistance = "60 mohm"
[[stage]]
repeat = 2
pinion = 16
gear = 72
module = "1.5 mm"
width = "15 mm"
material = "POM"
efficiency = 0.8157
shaft_drag = "9.6 mN*m"
shaft_diameter = "10 mm"
[drum]
bearing_efficiency = 1
diameter = "30 mm"
width = "60 mm"
[rope]
material = "polyester"
diameter = "5 mm"
[load]
mass = "MASS kg"
height = "0.3 m"
[settings]
breakaway = 1.26
"""


@pytest.mark.parametrize(("mass", "held"), [(1.6, True), (2.0, False)])
def test_the_swing_of_a_sudden_stop_can_set_going_what_friction_holds_at_rest(mass, held):
    """Losses at rest bear either load as it hangs; the heavier one swings back onto the stopped
    drum and takes it along."""
    winch = loads(NEARLY_HELD.replace("MASS", str(mass)), "nearly-held.toml")
    machine = build(winch)
    found = holding(machine, machine.top_travel, 0)
    assert found.resting > 1 > found.moving
    way = lift_machine(machine)["holding"]
    assert (way == Hold.AT_REST_ONLY, way == Hold.RUNS_BACK) == (held, not held)
    assert read_history(simulate(winch)).held is held


def test_factors_by_kind_are_behind_the_least_one(small):
    lifts = lift_all(
        small(drum={"support_span": 0.06}, rope={"breaking_force": 500.0}),
        {"load.mass": [4.0, 8.0]},
    )
    np.testing.assert_allclose(lifts.factor, lifts.kind_factors.min(axis=1))
    assert np.all(
        np.isfinite(lifts.kind_factors_over_required).sum(axis=1) == 4
    )  # drum rod, rope at knot and drum, its hold
    assert lifts.weakest.tolist() == ["drum rod between its supports"] * 2 or lifts.weakest[
        0
    ].startswith("rope")


def test_a_stalled_winch_is_judged_by_all_that_its_motors_give(small):
    lifts = lift_all(
        small(rope={"breaking_force": 400.0, "knot_efficiency": 0.5}), {"load.mass": [8.0, 60.0]}
    )
    assert lifts.end[1] == SlowEnd.STALLED and lifts.factor[1] <= lifts.stall_factor[1] * (1 + 1e-9)
    assert lifts.stall_factor[0] < lifts.factor[0]


def test_out_of_range_is_said(small):
    near_stall = lift_all(small(), {"load.mass": [8.0, 19.0]})
    assert near_stall.least_margin[0] > 1.05
    soft = lift_batch(stack_machines([build(small(rope={"axial_stiffness": 500.0}))]))
    assert not soft.in_range[0] and soft.lifted[0]


@pytest.mark.parametrize("torque", [0.3, 1.0])
def test_load_swings_under_a_brake_on_the_motor_shaft(torque):
    """The brake stops the drum in less than a bounce: the rope then carries more than on the way
    up."""
    inputs = load(Path(__file__).parents[2] / "scenarios" / "07-bicycle-by-bench-motor.toml")
    machine = build(replace(inputs, brake=Brake(place="motor", torque=torque)))
    record, slow = simulate(machine), lift_machine(machine)
    worst = max(
        record.demands,
        key=lambda demand: demand.share * (machine.links[demand.link].kind is LinkKind.ROPE_KNOT),
    )
    factors = dict(zip(LinkKind, slow["kind_factors"], strict=True))
    assert worst.time > record.first(Event.TOP).time
    assert factors[LinkKind.ROPE_KNOT] == pytest.approx(1 / worst.share, rel=0.02)
