"""The assessment of runs: statuses, target, holding, and that its parts cannot contradict each
other."""

import math
from dataclasses import replace

import pytest
from shipped import SCENARIOS

from winchsim import assess, read as load, simulate
from winchsim.assessment.candidates import HELD
from winchsim.assessment.kinds import CheckKey, End, FindingKind, Holding, Side, Status
from winchsim.assessment.margins import hardest_margins
from winchsim.assessment.readings import grade
from winchsim.inputs import Brake, Pawl, Phase, with_value
from winchsim.model import Event, build
from winchsim.physics.chain import shaft_ratios


@pytest.fixture(scope="module")
def assessed():
    """Assessments and records of the shipped scenarios, without actions, by the file's number."""
    found = {}
    for path in SCENARIOS:
        record = simulate(load(path))
        found[path.name[:2]] = (assess(record, actions=False), record)
    return found


@pytest.mark.parametrize(
    ("value", "low", "high", "side", "hard", "required", "status"),
    [
        (2.0, 1.5, 2.5, Side.LEAST, 1.0, 1.25, Status.OK),
        (2.0, 1.1, 2.5, Side.LEAST, 1.0, 1.25, Status.OK),
        (2.0, 0.9, 2.5, Side.LEAST, 1.0, 1.25, Status.THIN),
        (1.1, 1.05, 1.2, Side.LEAST, 1.0, 1.25, Status.THIN),
        (0.9, 0.5, 1.5, Side.LEAST, 1.0, 1.25, Status.FAILS),
        (100.0, 90.0, 130.0, Side.MOST, 120.0, 120.0, Status.THIN),
        (130.0, 90.0, 140.0, Side.MOST, 120.0, 120.0, Status.FAILS),
        (0.5, 0.4, 0.6, Side.LEAST, None, 1.0, Status.THIN),
        (2.0, None, None, Side.LEAST, 1.0, 1.25, Status.OK),
        (None, None, None, Side.LEAST, 1.0, 1.25, Status.NOT_CHECKED),
    ],
)
def test_a_range_that_crosses_the_hard_limit_is_never_ok(
    value, low, high, side, hard, required, status
):
    assert grade(value, low, high, side, hard, required) is status


def test_the_shipped_scenarios_end_as_their_files_say(assessed):
    ends = {number: found.target.end for number, (found, _) in assessed.items()}
    assert ends["01"] is End.REACHED
    assert ends["02"] is End.STALLED
    assert ends["04"] is End.PART_BROKE
    assert assessed["03"][0].held is Holding.NONE


def test_the_status_is_the_worst_check_and_the_exit_code_follows(assessed):
    for found, _ in assessed.values():
        assert found.status.rank == min(check.status.rank for check in found.checks)
        assert sum(found.counts.values()) == len(found.checks)
        good = found.target.reached and not found.counts[Status.FAILS]
        assert found.exit_code == (0 if good else 1)


def test_a_missed_target_fails_and_a_broken_part_fails(assessed):
    for found, record in assessed.values():
        assert (found.check(CheckKey.TARGET).status is Status.FAILS) is not found.target.reached
        broke = [
            row for row in found.parts if row.status is Status.FAILS and row.factor <= 1 + 1e-9
        ]
        assert bool(broke) is any(demand.share >= 1 for demand in record.demands)


def test_a_load_falls_freely_from_where_a_part_breaks(assessed):
    record = simulate(replace(assessed["06"][1].inputs, pawl=None))
    found = assess(record, actions=False)
    (fell,) = [finding for finding in found.findings if finding.kind is FindingKind.FELL]
    mass, height, speed = record.machine.body.mass, record["height"][-1], record["speed"][-1]
    falling = mass * (record.machine.body.gravity * height + speed**2 / 2)
    assert height > 0 and fell.values["landing_energy"] == pytest.approx(falling, rel=1e-9)
    assert fell.time == record.first(Event.OVERLOAD).time
    # A pawl on the drum holds a load whose train has broken.
    assert not any(assessed[held][0].has(FindingKind.FELL) for held in ("01", "06"))


def test_every_range_holds_its_value(assessed):
    ranges = [
        (item.low, item.factor if hasattr(item, "factor") else item.value, item.high)
        for found, _ in assessed.values()
        for item in (*found.checks, *found.readings, *found.parts)
        if item.low is not None
    ]
    ranges = [(low, value, high) for low, value, high in ranges if value is not None]
    assert len(ranges) > 10 * len(assessed)
    for low, value, high in ranges:
        assert low <= value * (1 + 1e-9) and value <= high * (1 + 1e-9)


def test_a_jam_under_its_own_limit_breaks_nothing(assessed):
    jams = [(record.inputs, found.jam) for found, record in assessed.values()]
    assert all((jam.limit is None) is (jam.no_limit is not None) for _, jam in jams)
    limited = [(inputs, jam) for inputs, jam in jams if jam.limit is not None]
    assert limited
    for inputs, jam in limited:
        inputs = with_value(inputs, "supply.current_limit", jam.limit * 0.999)
        assert not assess(simulate(inputs), actions=False, ranges=False).jam.breaks
        assert jam.limit >= jam.needed_current


def test_the_check_of_a_jam_and_the_jam_are_one_answer(assessed):
    for found, _ in assessed.values():
        check = found.check(CheckKey.JAM)
        assert check.value == found.jam.parts[0].dynamic
        assert found.jam.breaks is (check.value < 1)
        assert all(part.dynamic <= part.static * (1 + 1e-12) for part in found.jam.parts)


def test_friction_alone_is_at_best_thin_and_a_pawl_is_ok(small):
    plain = assess(simulate(small()), actions=False)
    assert plain.held is Holding.FRICTION
    assert plain.check(CheckKey.HOLD).value > 1
    assert plain.check(CheckKey.HOLD).status is Status.THIN
    pawl = assess(simulate(small(pawl=Pawl())), actions=False)
    assert pawl.held is Holding.PAWL
    assert pawl.check(CheckKey.HOLD).status is Status.OK


@pytest.mark.parametrize("place", ["drum", "motor"])
@pytest.mark.parametrize(
    ("margin", "held"),
    [(1e-4, Holding.WEAK_BRAKE), (1.24, Holding.WEAK_BRAKE), (1.26, Holding.BRAKE)],
)
def test_a_brake_is_ok_only_where_it_carries_the_load_by_itself(small, place, margin, held):
    """With 1.25 times the load's torque through the bare ratio, however much friction there is."""
    machine = build(small())
    ratio = shaft_ratios(machine.chain)[0] if place == "motor" else 1.0
    torque = margin * 8.0 * 9.80665 * machine.layers[0].radius / ratio
    found = assess(simulate(small(brake=Brake(torque=torque, place=place))), actions=False)
    assert found.held is held
    status = Status.OK if held is Holding.BRAKE else Status.THIN
    assert [found.check(key).status for key in HELD] == [status] * 2
    weak = found.finding(FindingKind.WEAK_BRAKE)
    assert weak is None if held is Holding.BRAKE else weak.values["margin"] == pytest.approx(margin)


def test_a_train_that_a_knock_sets_going_is_thin(small, make_stage):
    """At rest it holds, with the losses of motion it does not."""
    inputs = small(
        stage=make_stage(5.0, 0.95, repeat=2),
        load={"mass": 0.9},
        settings={"breakaway": 2.0, "watch": 1.0},
    )
    found = assess(simulate(inputs), actions=False, ranges=False)
    knocked = found.check(CheckKey.HOLD_DISTURBED)
    assert found.held is Holding.FRICTION and knocked.status is Status.THIN
    assert knocked.value < 1 < found.check(CheckKey.HOLD).value


def test_a_load_that_cannot_slide_down_its_slope_stays_by_friction(small):
    slope = {"slope": math.radians(10), "slope_friction": 0.6, "height": 0.02}
    found = assess(simulate(small(load=slope)), actions=False)
    assert found.held is Holding.FRICTION and found.has(FindingKind.HELD)
    for key in HELD:
        assert (found.check(key).value, found.check(key).status) == (math.inf, Status.THIN)


def test_what_is_not_described_is_not_checked_and_names_its_input(small):
    parts = assess(simulate(small()), actions=False).check(CheckKey.PARTS)
    assert parts.missing == ("stage.1.torque_limit",)
    assert parts.status is not Status.OK


def test_the_time_limit_is_an_assumed_one_unless_it_is_given(small):
    assert assess(simulate(small()), actions=False).check(CheckKey.LIFT_TIME).limit_assumed
    given = small(phase=(Phase(action="raise", until="top", time=60.0),))
    assert not assess(simulate(given), actions=False).check(CheckKey.LIFT_TIME).limit_assumed


def test_a_run_that_is_not_trusted_says_only_that(small):
    record = simulate(small())
    found = assess(replace(record, energy=replace(record.energy, residual=record.energy.scale)))
    assert found.exit_code == 3
    assert found.target.end is End.NOT_TRUSTED
    assert [check.key for check in found.checks] == [CheckKey.ENERGY]


def test_the_drop_is_from_the_floor_wherever_the_lift_starts(small):
    found = assess(
        simulate(small(load={"start_height": 1.0, "height": 0.5})), actions=False, ranges=False
    )
    assert (found.drop_height, found.drop_energy) == pytest.approx((1.5, 8.0 * 9.80665 * 1.5))
    assert found.drop_speed == pytest.approx(math.sqrt(2 * 9.80665 * 1.5))


TOP, FLOOR = Phase(action="raise", until="top"), Phase(action="lower", until="floor")
UP, DOWN, OFF = (
    Phase(action=action, until="time", time=1.0) for action in ("raise", "lower", "off")
)
HANGING = {"mass": 8.0, "start_height": 0.05, "height": 0.3}
TRIPS = {"current_limit": 1.0, "over_current": "trip", "trip_delay": 0.2}
SLIDES = {"stages": (4.0, 0.95, 3), "load": {**HANGING, "mass": 6.0}}


@pytest.mark.parametrize(
    ("parts", "end", "held"),
    [
        ({}, End.REACHED, Holding.FRICTION),
        ({"phase": (TOP, FLOOR)}, End.REACHED, Holding.FRICTION),
        ({"load": {"mass": 80.0}}, End.STALLED, None),
        ({"load": {"snag_height": 0.05}}, End.SNAGGED, None),
        ({"load": {"top_stop": 0.05}}, End.TOP_STOP, None),
        ({"rope": {"breaking_force": 140.0, "knot_efficiency": 0.5}}, End.PART_BROKE, None),
        (
            {"drum": {"width": 0.006, "flange_diameter": 0.020}, "load": {"height": 0.4}},
            End.DRUM_OVERFLOW,
            None,
        ),
        ({"supply": {"kind": "battery", "capacity": 1.0}}, End.BATTERY_EMPTY, None),
        ({"supply": TRIPS}, End.SUPPLY_TRIPPED, None),
        ({"phase": (replace(TOP, time=0.5),)}, End.LATE, None),
        ({"load": HANGING, "phase": (OFF,)}, End.DONE, Holding.FRICTION),
        ({"load": HANGING, "phase": (DOWN,)}, End.DONE, Holding.FRICTION),
        ({"load": HANGING, "phase": (UP, OFF)}, End.DONE, Holding.FRICTION),
        ({"load": {"mass": 8.0}, "phase": (OFF,)}, End.DONE, Holding.FRICTION),
        ({**SLIDES, "phase": (replace(OFF, time=0.1),)}, End.BACK_DRIVEN, Holding.NONE),
        ({"stages": (5.0, 0.97, 2), "load": {"mass": 3.0}}, End.REACHED, Holding.NONE),
    ],
)
def test_end_and_holding_of_a_programme(small, make_stage, parts, end, held):
    """What the load does in it, where it stops and why; what is not met or not held never
    passes."""
    parts = dict(parts)
    if "stages" in parts:
        ratio, efficiency, repeat = parts.pop("stages")
        parts["stage"] = make_stage(ratio, efficiency, repeat=repeat)
    found = assess(
        simulate(small(**{"settings": {"watch": 1.0, "stall_watch": 0.5}, **parts})),
        actions=False,
        ranges=False,
    )
    assert found.target.end is end
    missed = end not in (End.REACHED, End.DONE, End.BACK_DRIVEN)
    assert not missed or found.check(CheckKey.TARGET).status is Status.FAILS
    assert (found.exit_code == 0) is (end in (End.REACHED, End.DONE) and held is not Holding.NONE)
    assert held is None or found.held is held


def test_a_load_that_is_lifted_but_not_started_is_thin_and_says_why(small):
    """The drum turns before the rope pulls with the whole load: friction of motion is overcome,
    that of rest is not."""
    margins = hardest_margins(build(small()))
    mass = 8.0 * math.sqrt(
        margins.resting * margins.moving
    )  # between what starts and what keeps on
    found = assess(simulate(small(load={"mass": mass})), actions=False)
    check = found.check(CheckKey.START_COLD)
    assert (
        found.target.reached
        and check.value < 1
        and check.status is Status.THIN
        and check.hard is None
    )
    (note,) = [f for f in found.findings if f.kind is FindingKind.NO_RESTART]
    assert note.values["margin"] == pytest.approx(check.value, rel=1e-9)
    hanging = assess(simulate(small(load={"mass": mass, "start_height": 0.05})), actions=False)
    assert not hanging.target.reached
    assert hanging.check(CheckKey.START_COLD).status is Status.FAILS
    assert all(f.kind is not FindingKind.NO_RESTART for f in hanging.findings)
