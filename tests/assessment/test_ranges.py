"""Ranges from what was assumed: grouping, combination, and what may turn the outcome over."""

import itertools
import math
from dataclasses import replace
from functools import partial, reduce
from pathlib import Path

import numpy as np
import pytest

from tests.holding import holding
from winchsim import assess, read as load
from winchsim.assessment.history import read_history
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import CheckKey, ReadingKey, Status
from winchsim.assessment.margins import hardest_margins
from winchsim.assessment.ranges import HoldShare, end_of, find_ranges, group_causes, hold_shares
from winchsim.assessment.readings import find_readings, motor_load
from winchsim.inputs import Controller, MotorGroup, Phase, Stage, Supply, with_value
from winchsim.model import Event, build
from winchsim.model.machine import Assumed
from winchsim.simulation import simulate
from winchsim.slow import stack_machines
from winchsim.slow.path import HANGING_CELLS, TAKE_UP_CELLS

from ..conftest import motor, stage


def test_like_values_are_wrong_together_and_what_follows_from_another_counts_once():
    rows = [
        Assumed("stage.1.friction", 0.1, "", 0.05, 0.15, ""),
        Assumed("stage.2.friction", 0.1, "", 0.05, 0.15, ""),
        Assumed("stage.1.efficiency", 0.95, "", 0.9, 0.97, ""),
        Assumed("stage.3.efficiency", 0.95, "", 0.9, 0.97, ""),
        Assumed("settings.ambient", 20.0, "°C", None, None, ""),
    ]
    found = group_causes(rows)
    assert [row.path for row in found["mesh_friction"]] == ["stage.1.friction", "stage.2.friction"]
    assert [row.path for row in found["efficiency"]] == ["stage.3.efficiency"]
    assert set(found) == {"mesh_friction", "efficiency"}


@pytest.mark.parametrize(
    ("key", "margins", "together"),
    [
        (CheckKey.START_COLD, hardest_margins, False),
        (CheckKey.START_HOT, partial(hardest_margins, hot=True), True),
    ],
)
def test_the_ends_of_the_starting_margin_are_those_of_its_worst_and_best_builds(
    small, key, margins, together
):
    """The two worst causes of a start with hot windings together make its low end lower."""
    inputs = small()
    inputs = replace(inputs, motors=tuple(replace(group, measured=True) for group in inputs.motors))
    machine = build(inputs)
    low, high = find_ranges(inputs, machine).span(key)
    base = margins(machine).resting
    worst, best = [], []
    for rows in group_causes(machine.assumed).values():
        moves = [0.0]
        for end in ("low", "high"):
            changed = inputs
            for row in rows:
                changed = with_value(changed, row.path, end_of(row, end))
            moves.append(math.log(margins(build(changed, strict=False)).resting / base))
        worst.append(min(moves))
        best.append(max(moves))
    expected = math.exp(-math.hypot(*worst))
    corner = math.exp(sum(sorted(worst)[:2]))
    assert low == pytest.approx(corner if together else expected, rel=0.005)
    assert high == pytest.approx(math.exp(math.hypot(*best)), rel=0.02)
    assert math.log(high) < -0.8 * math.log(low), "else either side would do for the other"


@pytest.mark.parametrize(
    "load", [{}, {"mass": 3.0}, {"guide_friction": 20.0}, {"guide_friction": 80.0}]
)
def test_holding_by_arrays_is_holding_by_numbers(small, load):
    """Also where the losses of motion hold what those at rest do not, and where no load can
    slide."""
    machine = build(small(load=load))
    shares = hold_shares(stack_machines([machine]))
    scalar = holding(machine, machine.top_travel, machine.layers_used[-1])
    found = {key: HoldShare(*(float(v[0]) for v in pair)).margin for key, pair in shares.items()}
    assert found[CheckKey.HOLD_DISTURBED] == pytest.approx(scalar.moving, rel=1e-8)
    assert found[CheckKey.HOLD] == pytest.approx(scalar.resting, rel=1e-8)


def test_a_train_that_locks_has_no_finite_margin_but_a_finite_share():
    locked, near, back = HoldShare(-0.2, -0.1), HoldShare(-0.01, 0.05), HoldShare(0.3, 0.5)
    assert locked.margin == math.inf
    assert near.margin == pytest.approx(1.2)
    assert back.margin < 1
    assert locked.compared_to(back) == pytest.approx(0.5)


HEAT = ("winding_heat_capacity", "case_heat_capacity", "winding_to_case", "case_to_ambient")


def test_a_margin_that_may_be_under_one_makes_the_target_thin(small):
    """The load is raised as described, but not with the losses that are possible; then it stalls,
    and a winding is as hot as it may be."""
    inputs = small(
        stage=stage(5.0, 0.8, shaft_drag=None, repeat=3),
        settings={"stall_watch": 300.0},
        phase=Phase(action="raise", until="top", time=400.0),
    )
    unknown = replace(inputs.motors[0], **dict.fromkeys(HEAT))
    inputs = replace(inputs, motors=(unknown,))
    loads = [8.0 * 1.02**k for k in range(60)]
    found = None
    for mass in loads:
        heavier = with_value(inputs, "load.mass", mass)
        ranges = find_ranges(heavier, build(heavier))
        if ranges.never:
            found = assess(simulate(heavier), actions=False)
            if found.target.reached:
                break
    assert found is not None and found.target.reached
    assert found.check(CheckKey.TARGET).status is Status.THIN
    assert found.check(CheckKey.LIFT_TIME).high == math.inf
    assert found.check(CheckKey.TARGET).cause and found.check(CheckKey.TARGET).about == "stalled"
    winding, limit = found.check(CheckKey.WINDING), build(heavier).groups[0].winding_limit
    stalled = simulate(with_value(heavier, "load.mass", 2 * mass))["motor_1_winding"].max()
    assert winding.value < limit and winding.high == pytest.approx(stalled) == limit
    assert winding.status is Status.THIN


def test_what_matters_most_comes_first(small):
    found = assess(simulate(small(stage=stage(5.0, 0.8, shaft_drag=None, repeat=3))), actions=False)
    effects = [row.effect for row in found.assumed]
    assert effects[0] > 0
    assert found.assumed[0].effect_on is not None
    assert all(row.effect == 0 for row in found.assumed if row.low is None)


def test_a_margin_below_one_counts_as_near_as_one_above(small):
    parts = {"stage": stage(5.0, 0.8, 0.75, shaft_drag=None, repeat=3), "load": {"mass": 14.0}}
    found = assess(simulate(small(**parts)), actions=False)
    first = found.assumed[0]
    assert 0.5 < found.check(CheckKey.HOLD).value < 1  # and no other margin is as near to its limit
    assert (first.path, first.effect_on) == ("settings.breakaway", CheckKey.HOLD)


RUNS_BACK = {
    "stage": Stage(
        kind="spur",
        pinion=12,
        gear=60,
        module=1e-3,
        width=0.01,
        repeat=2,
        friction=0.08,
        bearing="ball",
    ),
    "load": {"mass": 3.0},
}


def causes_at_both_ends(inputs, machine):
    """The scenario with every value of one cause at its low end, and at its high end, cause by
    cause."""
    for rows in group_causes(machine.assumed).values():
        yield [
            reduce(lambda made, row: with_value(made, row.path, end_of(row, end)), rows, inputs)
            for end in ("low", "high")
        ]


@pytest.mark.parametrize(
    ("parts", "keys"),
    [
        (RUNS_BACK, (ReadingKey.BACK_DRIVING_SPEED, ReadingKey.PEAK_CURRENT)),
        ({"load": {"mass": 40.0}}, (ReadingKey.PEAK_CURRENT, ReadingKey.MEAN_CURRENT)),
    ],
)
def test_ranges_of_speed_and_current_are_those_of_full_runs(small, parts, keys):
    """Each cause at both ends in full; also the currents of a load that is not lifted."""
    inputs = small(**parts, supply={"resistance": 0.5})
    machine = build(inputs)

    def readings(changed, ranges=None):
        record = simulate(build(changed, strict=False))
        found = find_readings(read_history(record), ranges)
        return {reading.key: reading for reading in found}

    known = readings(inputs, find_ranges(inputs, machine))
    moves = {key: [] for key in keys}
    for pair in causes_at_both_ends(inputs, machine):
        ends = [readings(changed) for changed in pair]
        for key, found in moves.items():
            found.append([math.log(end[key].value / known[key].value) for end in ends])
    for key, found in moves.items():
        low, high = (
            known[key].value * math.exp(sign * math.hypot(*(most(0.0, *ends) for ends in found)))
            for most, sign in ((min, -1), (max, 1))
        )
        assert known[key].low < known[key].value < known[key].high
        assert (known[key].low, known[key].high) == pytest.approx((low, high), rel=0.05), key


def test_the_range_of_a_jam_has_that_of_its_demand(small):
    """A capacity without a range against what each cause asks at both its ends."""
    inputs = small(rope={"breaking_force": 300.0}, supply={"resistance": 0.5})
    inputs = with_value(inputs, "motors.1.rotor_inertia", 1e-10)
    machine = build(inputs)
    base, *_ = jam(machine).parts
    moves = [
        [math.log(jam(build(end, strict=False)).parts[0].dynamic / base.dynamic) for end in pair]
        for pair in causes_at_both_ends(inputs, machine)
    ]
    found = assess(simulate(inputs), actions=False)
    own, check = found.jam.parts[0], found.check(CheckKey.JAM)
    assert (check.low, check.value, check.high) == (own.low, own.dynamic, own.high)
    for most, sign, end, of_capacity in (
        (min, -1, own.low, base.low),
        (max, 1, own.high, base.high),
    ):
        demand = math.hypot(*(most(0.0, *ends) for ends in moves))
        expected = sign * math.hypot(math.log(of_capacity / base.dynamic), demand)
        assert demand > 0.03 and math.log(end / own.dynamic) == pytest.approx(expected, rel=0.01)


def test_a_load_that_overpowers_its_motors_has_no_range_of_speed(small):
    """Friction alone does not say how fast it sinks."""
    inputs = small(stage=RUNS_BACK["stage"], load={"mass": 20.0, "start_height": 0.05})
    found = find_readings(read_history(simulate(inputs)), find_ranges(inputs, build(inputs)))
    assert [row.low for row in found if row.key is ReadingKey.BACK_DRIVING_SPEED] == [None]


@pytest.mark.parametrize("load", [{"mass": 40.0}, {"mass": 5.0, "top_stop": 0.05}])
def test_the_winding_temperature_of_a_missed_lift_has_the_range_of_full_runs(small, load):
    """Every run stands under power up to the same time."""
    inputs = small(load=load, phase=Phase(action="raise", until="top", time=40.0))
    unknown = replace(inputs.motors[0], winding_limit=900.0, **dict.fromkeys(HEAT))
    inputs = replace(inputs, motors=(unknown,))
    machine = build(inputs)

    def rise(changed):
        record = simulate(build(changed, strict=False))
        assert record.first(Event.TOP) is None
        return float(record["motor_1_winding"].max()) - record.machine.ambient

    base = rise(inputs)
    moves = [
        [math.log(rise(changed) / base) for changed in pair]
        for pair in causes_at_both_ends(inputs, machine)
    ]
    rises = [
        base * (math.exp(sign * math.hypot(*(most(0.0, *ends) for ends in moves))) - 1)
        for most, sign in ((min, -1), (max, 1))
    ]
    # The air, 20 °C (10 to 30 °C), comes on top.
    expected = [
        machine.ambient + base + math.copysign(math.hypot(more, 10.0), more) for more in rises
    ]
    found = assess(simulate(inputs), actions=False).check(CheckKey.WINDING)
    assert (found.low, found.high) == pytest.approx(expected, rel=0.05)
    assert found.high > 1.2 * found.low


@pytest.mark.parametrize(
    ("number", "powered_for"), [("03", math.inf), ("05", math.inf), ("10", 114.5), ("14", math.inf)]
)
def test_ranges_do_not_hang_on_the_coarse_steps_of_their_variants(number, powered_for, monkeypatch):
    """Nor where the rope reaches a new layer near the top, or variants stall by their heat."""
    (path,) = (Path(__file__).parents[2] / "scenarios").glob(f"{number}-*.toml")
    inputs = load(str(path))
    machine = build(inputs)
    usual = find_ranges(inputs, machine, powered_for)
    monkeypatch.setattr("winchsim.slow.path.COARSE_CELLS", (TAKE_UP_CELLS, HANGING_CELLS))
    finer = find_ranges(inputs, machine, powered_for)
    assert (usual.never, usual.end) == (finer.never, finer.end)
    for key, ends in finer.spans.items():
        near = 0.025 * math.log(ends[1] / ends[0]) + 1e-4
        np.testing.assert_allclose(np.log(usual.spans[key]), np.log(ends), atol=near, err_msg=key)


@pytest.mark.parametrize(
    ("number", "path", "end"),
    [
        ("07", "rope.axial_stiffness", "low"),
        ("07", "rope.damping_ratio", "low"),
        ("11", "motors.1.rotor_inertia", "low"),
        ("13", "motors.1.rotor_inertia", "low"),
    ],
)
def test_peaks_as_the_stopped_drum_catches_the_load_are_in_the_range(number, path, end):
    (file,) = (Path(__file__).parents[2] / "scenarios").glob(f"{number}-*.toml")
    inputs = load(str(file))
    found = assess(simulate(inputs), actions=False)
    peak = next(row for row in found.readings if row.key is ReadingKey.PEAK_TENSION)
    (value,) = (getattr(row, end) for row in build(inputs).assumed if row.path == path)
    other = simulate(with_value(inputs, path, value))["tension"].max()
    assert abs(other / peak.value - 1) > 0.03
    assert 0.98 * peak.low < other < 1.02 * peak.high


def test_the_sheaves_of_a_tackle_are_assumed_with_a_range_like_any_other(small):
    """Bad blocks alone are no worse, and good ones no better, than the range says."""
    inputs = small(rope={"falls": 4}, load={"mass": 16.0})
    machine = build(inputs)
    (row,) = (row for row in machine.assumed if row.path == "rope.sheave_efficiency")
    assert (row.low, row.high) == (0.85, 0.98) and row.source != "default"
    assert "rope.sheave_efficiency" in find_ranges(inputs, machine).groups
    cold = hardest_margins(machine).resting
    ends = [
        hardest_margins(build(with_value(inputs, row.path, end))).resting / cold
        for end in (row.low, row.high)
    ]
    low, high = find_ranges(inputs, machine).span(CheckKey.START_COLD)
    assert low <= ends[0] < 0.95 and 1.02 < ends[1] <= high
    given = build(with_value(inputs, row.path, 0.95))
    assert row.path not in {assumed.path for assumed in given.assumed}


@pytest.mark.parametrize("load", [{}, {"mass": 1.0}, {"mass": 0.3}])
def test_no_cause_alone_takes_a_holding_margin_out_of_its_range(small, load):
    """Motors known by a label hold by a drag that is a guess, behind teeth of unknown friction."""
    label = MotorGroup(known_by="label", voltage=6.0, no_load_speed=1000.0, stall_current=1.5)
    pair = replace(RUNS_BACK["stage"], repeat=2)
    inputs = small(motors=label, stage=pair, load=load)
    machine = build(inputs)
    known = find_ranges(inputs, machine)
    for key, (middle, least, most) in known.hold.items():
        assert most.margin <= middle.margin <= least.margin
        assert least.net <= middle.net <= most.net
        for changed in itertools.chain(*causes_at_both_ends(inputs, machine)):
            net, slope = hold_shares(stack_machines([build(changed, strict=False)]))[key]
            alone = HoldShare(float(net[0]), float(slope[0])).margin
            assert most.margin * (1 - 1e-4) <= alone <= least.margin * (1 + 1e-4), key


def test_a_winding_may_be_as_much_warmer_as_the_air(small):
    """A lift that hardly warms it: its temperature is that of the air, which is not known; given,
    it adds nothing."""
    inputs = small()
    found = assess(simulate(inputs), actions=False).check(CheckKey.WINDING)
    assert found.value - 20.0 < 0.5
    for air, end in ((10.0, found.low), (30.0, found.high)):
        warm = assess(simulate(with_value(inputs, "settings.ambient", air)), actions=False)
        assert warm.check(CheckKey.WINDING).value == pytest.approx(end, abs=0.5)
    given = assess(simulate(with_value(inputs, "settings.ambient", 20.0)), actions=False)
    assert given.check(CheckKey.WINDING).high - given.check(CheckKey.WINDING).low < 0.5


def test_a_load_runs_back_as_fast_as_its_rotors_let_it(small):
    """Rotors of a third, or twice, the inertia that is assumed."""
    inputs = small(**RUNS_BACK)
    rotor = replace(inputs.motors[0], rotor_inertia=None, reverse_efficiency=1.0)
    inputs = replace(inputs, motors=(rotor,))
    machine = build(inputs)
    (row,) = (row for row in machine.assumed if row.path == "motors.1.rotor_inertia")

    def speed(changed, known=None):
        found = find_readings(read_history(simulate(build(changed))), known)
        return next(row for row in found if row.key is ReadingKey.BACK_DRIVING_SPEED)

    known = speed(inputs, find_ranges(inputs, machine))
    light, heavy = (speed(with_value(inputs, row.path, end)).value for end in (row.low, row.high))
    assert known.low <= 1.02 * heavy < known.value < light <= 1.02 * known.high
    assert light / heavy > 1.1
    given = with_value(inputs, row.path, row.value)
    alone = speed(given, find_ranges(given, build(given)))
    assert known.high / known.low > 1.05 * alone.high / alone.low


def test_of_causes_that_alone_stall_a_lift_the_strongest_is_named(small):
    """Where friction of the teeth may stall it, the air's temperature is not what to measure."""
    unsure = stage(5.0, None, kind="planetary", material="POM", shaft_drag=None, repeat=2)
    motors = motor(4.0, 0.005, idle_current=0.12, count=2, magnet_coefficient=-0.002)
    inputs = small(stage=unsure, motors=motors)
    both = 0
    for mass in np.arange(2.0, 5.0, 0.05):
        heavier = with_value(inputs, "load.mass", mass)
        found = find_ranges(heavier, build(heavier))
        turning = {cause.name for cause in found.causes if cause.turns is CheckKey.TARGET}
        if found.never and {"ambient", "efficiency"} <= turning:
            both += 1
            assert found.never == "efficiency"
    assert both


def test_motors_behind_a_controller_have_the_range_of_their_own_current(small):
    """The supply gives what its limit is, whatever the friction; the motors carry more of it."""
    limited = Supply(
        voltage=6.0, resistance=0.2, controller=Controller(limit=1.0, limit_side="battery")
    )
    inputs = small(supply=limited, stage=stage(5.0, None, kind="belt", repeat=3))
    machine = build(inputs)

    def motor_share(changed):
        record = simulate(build(changed, strict=False))
        assert record.limited.any()
        return motor_load(read_history(record), 0)

    base, known = motor_share(inputs), find_ranges(inputs, machine)
    low, high = known.around(CheckKey.CONTINUOUS_CURRENT, base)
    ends = [
        motor_share(changed) for changed in itertools.chain(*causes_at_both_ends(inputs, machine))
    ]
    assert 0.97 * low <= min(ends) and max(ends) <= 1.03 * high
    assert max(ends) > 1.05 * base


def test_a_pause_on_the_way_leaves_the_ranges_of_the_lift(small):
    """The time of the first raise is no limit of the lift that the second one ends."""
    way = (
        Phase(action="raise", until="time", time=0.5),
        Phase(action="off", until="time", time=1.0),
        Phase(action="raise", until="top"),
    )
    plain, paused = (find_ranges(each, build(each)) for each in (small(), small(phase=way)))
    assert paused.end == plain.end and paused.never == plain.never
    for key in (CheckKey.LIFT_TIME, CheckKey.WINDING, ReadingKey.ENERGY_IN):
        assert paused.span(key) == pytest.approx(plain.span(key)) and plain.span(key)[1] > 1.05
    for end in ("top", "time"):  # what is given is a limit
        late = small(phase=(Phase(action="raise", until=end, time=0.5),))
        assert find_ranges(late, build(late)).end.name == "LATE"
