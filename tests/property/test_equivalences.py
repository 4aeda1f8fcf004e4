"""Two descriptions of one machine: same record, same links, same energy, same answer."""

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from holding import held_torque

from winchsim import assess, parse as loads
from winchsim.assessment.actions import smallest
from winchsim.assessment.kinds import ActionKind, Assessment, CheckKey, End, FindingKind
from winchsim.assessment.teeth import tooth_lives, tooth_warmth
from winchsim.inputs import (
    Drum,
    Edge,
    Gearbox,
    Inputs,
    Load,
    MotorGroup,
    MotorPoint,
    Pawl,
    Phase,
    Rope,
    Settings,
    Sheave,
    Stage,
    Supply,
    value_at,
    with_value,
)
from winchsim.model import Machine, build
from winchsim.model.link_demands import Channels, LargestShare, link_shares
from winchsim.physics.chain import StartMargins, demand, torque_margin
from winchsim.physics.motor import Motor
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import Record, simulate
from winchsim.slow import lift_all, vary
from winchsim.strength.link import LinkKind
from winchsim.studies.calibrate.evidence import LiftTest, look_into
from winchsim.studies.calibrate.forecast import find_factors, moved
from winchsim.studies.further_runs import snag_study
from winchsim.studies.sizing import size
from winchsim.studies.spread.builds import plan, shaft_drags
from winchsim.studies.spread.outcomes import lift_builds
from winchsim.studies.sweep import by_slow_model

BOX = Gearbox(ratio=3.0, efficiency=0.8, torque_limit=0.2)


def group(**changes) -> MotorGroup:
    sheet = {
        "count": 4,
        "voltage": 6.0,
        "no_load_speed": 1200.0,
        "no_load_current": 0.09,
        "stall_torque": 6e-3,
        "stall_current": 1.4,
    }
    return MotorGroup(**{**sheet, **changes})


NO_LOSS = {"stall_torque": (6.0 - 0.09 * 6.0 / 1.4) / 1200.0 * (1.4 - 0.09)}
"""A sheet whose torque constant is its speed constant: no loss but the drag."""

FIRST = Stage(
    pinion=12,
    gear=48,
    module=1e-3,
    width=0.01,
    material="PETG",
    shaft_diameter=0.004,
    shaft_span=0.03,
)
REST = Stage(repeat=3, pinion=14, gear=56, module=2e-3, width=0.02, material="PETG")


def winch(*groups: MotorGroup, **parts) -> Inputs:
    base = {
        "motors": groups or (group(),),
        "supply": Supply(voltage=6.0, resistance=0.05),
        "stage": (FIRST, REST),
        "drum": Drum(diameter=0.01, width=0.06),
        "rope": Rope(diameter=0.003, mass_per_length=0.0),
        "load": Load(mass=8.0, height=0.1),
        "settings": Settings(watch=1.0, stall_watch=2.0),
    }
    return with_tables(Inputs(**{**base, **parts}))


def _told(machine: Machine) -> Callable[[str], str]:
    """Turns names of links and heads into what they are called however the machine was described:
    groups left out, reductions counted through."""
    places: dict[str, str] = {}
    for mesh in machine.meshes:
        label = re.sub(r", group \d+", "", mesh.label)
        places.setdefault(label, f"reduction {len(places) + 1}")
    rows = [
        (name, place)
        for label, place in places.items()
        for name in (label, re.sub(", (.*)", r" (\1)", label))
    ]
    rows.sort(key=lambda row: -len(row[0]))

    def told(name: str) -> str:
        name = re.sub(r" \(group \d+\)|, group \d+", "", name)
        for label, place in rows:
            name = re.sub(rf"\b{re.escape(label)}(?!\d)", place, name)
        return name

    return told


OF_ITS_SHEET = {FindingKind.ABOVE_NOMINAL_VOLTAGE, FindingKind.FAR_BELOW_NOMINAL_VOLTAGE}
"""Findings about the voltage that the values of a motor are given at."""


def _least(factors: Iterable[tuple[str, float]], told: Callable[[str], str]) -> dict[str, float]:
    """Least factor of the parts of each name."""
    found: dict[str, float] = {}
    for label, factor in factors:
        name = told(label)
        found[name] = min(found.get(name, np.inf), factor)
    return found


def _assessed(record: Record) -> Assessment:
    return assess(record, actions=False, ranges=False)


def _outcome(found: Assessment, told: Callable[[str], str] = str) -> tuple[object, ...]:
    """How it ended, what broke, and what holds the load."""
    return found.target.end, found.target.reached, told(found.target.part), found.held


def _numbers(found: Assessment) -> dict[str, float | None]:
    """Values of all checks and readings, but for the error of the energy balance, and the lift
    time."""
    values = {
        item.key.value: item.value
        for item in (*found.checks, *found.readings)
        if item.key is not CheckKey.ENERGY
    }
    return {**values, "time": found.target.time, "torque_share": found.target.torque_share}


LIKE = (
    "time",
    "speed",
    "winding_temperature",
    "energy_in",
    "starting_margin_cold",
    "starting_margin_hot",
)
"""Numbers of an assessment that do not depend on how the machine is described."""


def _heads(record: Record, told: Callable[[str], str]) -> dict[str, float]:
    """Energy by head, what is lost between motors and common gear together."""
    found: dict[str, float] = {"source": record.energy.source}
    for head, value in record.energy.spent.items():
        name = told(head)
        if name in (
            "motor and gearbox",
            "motor friction",
            "motor bearings",
            "mesh of reduction 1",
        ) or re.match("mesh and (gearbox|motor friction) of (group|dead)", head):
            name = "front"
        found[name] = found.get(name, 0.0) + value
    return {name: value for name, value in found.items() if value}


def _assert_same(found: object, expected: object, rel: float, name: str) -> None:
    if expected is None or isinstance(expected, str):
        assert found == expected, name
    else:
        assert found == pytest.approx(expected, rel=rel, abs=1e-12, nan_ok=True), name


def assert_one_machine(
    first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3
) -> None:
    """Both descriptions come to the same record, links, energy and findings, in full and by the
    quasi-static model."""
    assert_one_lift(first, second, rel, links)
    one, other = (
        dict(zip(lifts.dtype.names, lifts[0].item(), strict=True))
        for lifts in map(lift_all, (first, second))
    )
    names = [_told(build(inputs)) for inputs in (first, second)]
    if first.motors[0].voltage != second.motors[0].voltage:
        one.pop("motor_load")  # over the stall current at the nominal voltage
    for key, value in one.items():
        if (
            key == "hold_margin"
        ):  # said at the motors where there is one group, else at the common gear
            assert (value >= 0) == (other[key] >= 0)
            continue
        share = links if "factor" in key or key == "spin_up_time" else rel
        values, others = (
            found if isinstance(found, np.ndarray) else [found] for found in (value, other[key])
        )
        for before, after in zip(values, others, strict=True):
            if isinstance(before, str):
                before, after = names[0](before), names[1](after)
            _assert_same(after, before, share, key)


def assert_one_lift(first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3) -> None:
    """Both come to the same record, links, energy and findings in full."""
    records = [simulate(inputs) for inputs in (first, second)]
    told, renamed = (_told(record.machine) for record in records)
    one, other = (_assessed(record) for record in records)
    assert _outcome(other, renamed) == _outcome(one, told)
    assert {f.kind for f in other.findings} - OF_ITS_SHEET == {
        f.kind for f in one.findings
    } - OF_ITS_SHEET
    for name in ("height", "tension", "current", "charge", "drum_speed"):
        before, after = (record[name] for record in records)
        assert after[-1] == pytest.approx(before[-1], rel=rel, abs=rel * np.abs(before).max()), name
        assert after.max() == pytest.approx(before.max(), rel=max(rel, 1e-3)), name
    numbers = [_numbers(found) for found in (one, other)]
    for key in LIKE:
        _assert_same(numbers[1].get(key), numbers[0].get(key), rel, key)
    heads = _heads(records[0], told)
    assert _heads(records[1], renamed) == pytest.approx(
        heads, rel=max(rel, 1e-4), abs=rel * abs(records[0].energy.source)
    )
    parts, others = (
        _least(((row.label, row.factor) for row in found.parts), names)
        for found, names in ((one, told), (other, renamed))
    )
    assert others == pytest.approx(parts, rel=links)
    assert (one.jam is None) is (other.jam is None)
    if one.jam is None or other.jam is None:
        return
    for kind, share in (("static", max(rel, 1e-6)), ("dynamic", links)):
        still, also = (
            _least(((part.label, getattr(part, kind)) for part in found.parts), names)
            for found, names in ((one.jam, told), (other.jam, renamed))
        )
        assert also == pytest.approx(still, rel=share), kind
    for key in ("current", "unlimited_current", "needed_current"):
        _assert_same(getattr(other.jam, key), getattr(one.jam, key), rel, key)
    _assert_same(other.jam.limit, one.jam.limit, links, "limit")
    assert other.jam.no_limit is one.jam.no_limit


def split(inputs: Inputs, *counts: int, of: int = 0) -> Inputs:
    """The same motors told as several groups."""
    parts = tuple(replace(inputs.motors[of], count=count) for count in counts)
    return replace(inputs, motors=(*inputs.motors[:of], *parts, *inputs.motors[of + 1 :]))


# --- groups

STRIPS = replace(FIRST, tested_tooth_force=0.5)
KINDS = {
    "lifts": winch(),
    "stalls": winch(load=Load(mass=80.0, height=0.1)),
    "never moves": winch(load=Load(mass=8.0, height=0.1), supply=Supply(voltage=0.1)),
    "strips": winch(stage=(STRIPS, REST)),
    "limits": winch(stage=(replace(FIRST, torque_limit=0.12), replace(REST, torque_limit=9.0))),
    "limited current": winch(supply=Supply(voltage=6.0, resistance=0.05, current_limit=2.0)),
    "gets hot": winch(group(winding_limit=31.0), load=Load(mass=30.0, height=0.1)),
    "runs back": winch(
        load=Load(mass=40.0, height=0.1),
        stage=(
            replace(FIRST, efficiency=0.97, shaft_drag=0.0),
            replace(REST, efficiency=0.97, shaft_drag=0.0),
        ),
        motors=(group(no_load_current=0.01),),
    ),
    "lowers": winch(
        phase=(Phase(action="raise", until="top"), Phase(action="lower", until="floor"))
    ),
    "with brushes": winch(group(brush_drop=0.2)),
    "with a pawl's brake": winch(
        phase=(Phase(action="raise", until="top"), Phase(action="short", time=1.0))
    ),
    "with gearboxes": winch(group(gearbox=BOX, no_load_speed=400.0, stall_torque=15e-3)),
    "with gearboxes that give way": winch(
        group(gearbox=replace(BOX, torque_limit=0.01), no_load_speed=400.0, stall_torque=15e-3)
    ),
}


@pytest.mark.parametrize("name", KINDS)
def test_a_group_is_its_motors_told_apart(name):
    whole = KINDS[name]
    if whole.motors[
        0
    ].gearbox:  # its output turns the pinions, which several groups have to book on the common gear
        assert_one_machine(whole, split(whole, 1, 3), 2e-4, 0.05)
    else:
        assert_one_machine(whole, split(whole, 1, 3), 2e-5)


SCREW = {"kind": "worm", "gear": 30, "starts": 4, "shaft_diameter": 0.004, "shaft_span": 0.03}


@pytest.mark.parametrize(
    "first", [FIRST, replace(FIRST, efficiency=0.9), Stage(**SCREW)], ids=["spur", "given", "worm"]
)
@pytest.mark.parametrize(
    "changes",
    [{}, {"bearing_efficiency": 0.93}, {"gearbox": BOX, "bearing_efficiency": 0.93}],
    ids=["motors", "bearings", "gearboxes"],
)
def test_friction_at_rest_of_one_group_is_that_of_its_motors_apart(first, changes):
    """The motor's own loss, its bearings and the mesh each grow at rest by themselves, on a common
    gear too."""
    whole = winch(group(**changes), stage=(first, REST))
    one, other = build(whole), build(split(whole, 2, 2))
    for torque in (0.0, 2e-3, 8e-3):
        for rope in (0.0, 0.3, 2.0):
            found = [
                (
                    torque_margin(
                        m.chain, shared, demand(m.chain, 1, m.breakaway)(rope), m.breakaway
                    ),
                    held_torque(m.chain, m.breakaway),
                    StartMargins(m.chain, m.breakaway)(shared, rope)[0] >= 0,
                )
                for m, shared in ((one, [torque]), (other, [torque / 2] * 2))
            ]
            assert found[1] == pytest.approx(found[0], rel=1e-9)


@pytest.mark.parametrize("counts", [(2, 2), (3, 1), (1, 1, 1, 1)])
def test_teeth_of_the_common_gear_meet_every_pinion_however_the_motors_are_told(counts):
    polymer = replace(FIRST, material="POM", shaft_diameter=None)
    whole = simulate(winch(stage=(polymer, REST)))
    apart = simulate(split(winch(stage=(polymer, REST)), *counts))
    for found, value in ((tooth_lives, "cycles_per_lift"), (tooth_warmth, "flank")):
        told = _told(apart.machine)
        expected = {told(row.label): getattr(row, value) for row in found(whole)}
        rows = found(apart)
        assert rows and [getattr(row, value) for row in rows] == pytest.approx(
            [expected[told(row.label)] for row in rows], rel=1e-4
        )


def test_the_order_of_unequal_groups_does_not_matter():
    strong, weak = (
        group(count=2, pinion=16),
        group(count=1, no_load_speed=900.0, stall_torque=5e-3, winding_limit=80.0),
    )
    dead = group(count=2, dead=1, pinion=14)
    before, after = (
        winch(*groups, supply=Supply(voltage=5.0, resistance=0.1, current_limit=4.0))
        for groups in ((strong, weak, dead), (dead, weak, strong))
    )
    assert_one_machine(before, after, 2e-5)


# --- units

METRIC = """
[[motors]]
count = 3
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "6.1 mN*m"
stall_current = "1.4 A"
mass = "28 g"
[supply]
voltage = "6 V"
[[stage]]
repeat = 4
pinion = 12
gear = 60
module = "1.27 mm"
width = "12.7 mm"
material = "PETG"
shaft_drag = "0.5 mN*m"
[drum]
diameter = "12.7 mm"
width = "50.8 mm"
[rope]
diameter = "3.175 mm"
breaking_force = "1334.4664845783785 N"
[load]
mass = "9.07184740 kg"
height = "0.1524 m"
[settings]
ambient = "25 °C"
watch = "1 s"
"""
INCH = [
    ('"11500 rpm"', '"1204.277183876087 rad/s"'),
    ('"6.1 mN*m"', '"0.8638327892335333 oz*in"'),
    ('"28 g"', '"0.9876709345882515 oz"'),
    ('module = "1.27 mm"', 'diametral_pitch = "20 1/in"'),
    ('"12.7 mm"', '"1/2 in"'),
    ('"50.8 mm"', '"2 in"'),
    ('"3.175 mm"', '"1/8 in"'),
    ('"1334.4664845783785 N"', '"300 lbf"'),
    ('"9.07184740 kg"', '"20 lb"'),
    ('"0.1524 m"', '"1/2 ft"'),
    ('"25 °C"', '"77 °F"'),
    ('"0.5 mN*m"', '"0.0708059664 oz*in"'),
]


def test_the_same_winch_in_inches_and_pounds():
    """1 lbf = 4.4482216152605 N, 1 ozf = 1/16 lbf, 1 in = 25.4 mm exactly; pitch 20 is a module of
    25.4/20 mm."""
    text = METRIC
    for metric, inch in INCH:
        assert metric in text
        text = text.replace(metric, inch)
    assert_one_machine(loads(METRIC), loads(text), 1e-6, 1e-6)


# --- stages and motors


def plain(ratio: float, efficiency: float = 1.0, **more) -> Stage:
    """A reduction that is not a spur pair, without drag unless said."""
    return Stage(
        **{"kind": "other", "ratio": ratio, "efficiency": efficiency, "shaft_drag": 0.0, **more}
    )


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (winch(), winch(stage=(FIRST, *[replace(REST, repeat=1)] * 3))),
        (winch(stage=(replace(FIRST, repeat=2), REST)), winch(stage=(FIRST, FIRST, REST))),
        (
            winch(group(pinion=16), group(), stage=(replace(FIRST, repeat=2), REST)),
            winch(group(pinion=16), group(), stage=(FIRST, FIRST, REST)),
        ),
    ],
    ids=["last", "first", "own pinion"],
)
def test_a_repeated_stage_is_its_stages_written_out(first, second):
    assert_one_machine(first, second)


def test_a_group_s_own_pinion_of_the_same_size_changes_nothing():
    assert_one_machine(
        winch(group(), group(count=1)), winch(group(pinion=12), group(count=1, pinion=12))
    )


def test_a_reduction_of_one_to_one_without_a_loss_is_nothing():
    first = replace(
        FIRST, bearing_efficiency=1.0
    )  # their forces follow from the pinion on the same shaft
    bare, more = (
        winch(group(), group(count=1), stage=stages)
        for stages in ((first, REST), (first, plain(1.0), REST))
    )
    one, other = simulate(bare), simulate(more)
    assert _outcome(_assessed(other)) == _outcome(_assessed(one))
    assert other.energy.source == pytest.approx(one.energy.source, rel=1e-9)
    assert lift_all(more).lift_time == pytest.approx(lift_all(bare).lift_time, rel=1e-9)
    forces = [
        [r[f"mesh_{place}_force"].max() for place in places]
        for r, places in ((one, (1, 2, 3, 5)), (other, (1, 2, 4, 6)))
    ]
    assert forces[1] == pytest.approx(forces[0], rel=1e-9)


def test_a_stage_by_its_teeth_is_one_by_its_ratio():
    spur = replace(REST, repeat=1, efficiency=0.93, inertia=1e-5, shaft_drag=1e-3)
    belt = plain(4.0, 0.93, inertia=1e-5, shaft_drag=1e-3)
    by_teeth, by_ratio = (
        winch(stage=(plain(4.0, 0.9, inertia=1e-5), middle, plain(16.0, 0.9, inertia=1e-4)))
        for middle in (spur, belt)
    )
    one, other = simulate(by_teeth), simulate(by_ratio)
    assert other["height"] == pytest.approx(one["height"], rel=1e-12)
    assert other["mesh_2_force"] == pytest.approx(one["mesh_2_force"] * 14 * 2e-3 / 2, rel=1e-12)
    assert lift_all(by_ratio).lift_time == pytest.approx(lift_all(by_teeth).lift_time, rel=1e-12)


def test_a_gearbox_on_the_motors_is_a_stage_before_the_first():
    """One motor without a loss of its own, so that one pinion turns behind either and all friction
    grows alike at rest."""
    stages = (replace(FIRST, shaft_drag=1e-3), replace(REST, shaft_drag=1e-3))
    bare = group(count=1, rotor_inertia=1e-7, breakaway=1.3, **NO_LOSS)
    geared = replace(
        bare, gearbox=replace(BOX, torque_limit=None, data_at="motor", reverse_efficiency=0.75)
    )
    assert_one_pull(
        winch(geared, stage=stages),
        winch(bare, stage=(plain(3.0, 0.8, reverse_efficiency=0.75), *stages)),
    )


def assert_one_pull(first: Inputs, second: Inputs) -> None:
    """Both lift alike and ask the same of the links from the last stage on."""
    records = [simulate(inputs) for inputs in (first, second)]
    found = [_assessed(record) for record in records]
    assert _outcome(found[1]) == _outcome(found[0])
    assert records[1].energy.source == pytest.approx(records[0].energy.source, rel=1e-6)
    numbers = [_numbers(one) for one in found]
    for key in LIKE:
        _assert_same(numbers[1].get(key), numbers[0].get(key), 1e-6, key)
    forces = [record[f"mesh_{len(record.machine.meshes)}_force"].max() for record in records]
    assert forces[1] == pytest.approx(forces[0], rel=1e-5)
    assert lift_all(second).lift_time == pytest.approx(lift_all(first).lift_time, rel=1e-9)


def test_dead_motors_are_a_drag_on_the_common_gear():
    """With lossless teeth, two dead motors of drag c at 4:1 hold the common gear back by 8 c: a
    shaft drag of that size."""
    free = replace(FIRST, efficiency=1.0, shaft_drag=0.0, inertia=1e-3)
    live = group(count=2, rotor_inertia=1e-9, bearing_efficiency=1.0, breakaway=1.3, **NO_LOSS)
    rest = replace(REST, shaft_drag=1e-3)
    drag = build(winch(live)).groups[0].motor.drag
    dead = winch(live, replace(live, dead=2), stage=(free, rest))
    dragged = winch(live, stage=(replace(free, shaft_drag=8 * drag), rest))
    one, other = (_numbers(_assessed(simulate(inputs))) for inputs in (dead, dragged))
    assert other["time"] == pytest.approx(
        one["time"], rel=1e-3
    )  # the pinions of the dead motors turn too
    assert other["winding_temperature"] == pytest.approx(one["winding_temperature"], rel=1e-3)
    assert other["starting_margin_cold"] == pytest.approx(one["starting_margin_cold"], rel=1e-6)


HEAT = {
    "winding_heat_capacity": 3.0,
    "case_heat_capacity": 20.0,
    "winding_to_case": 10.0,
    "case_to_ambient": 20.0,
}


def sheet(m: Motor, volts: float) -> dict[str, float]:
    """Data sheet of a motor at a voltage; it draws 90 mA unloaded."""
    stalled = volts / m.resistance
    return {
        "voltage": volts,
        "no_load_speed": (volts - 0.09 * m.resistance) / m.constant,
        "no_load_current": 0.09,
        "stall_current": stalled,
        "stall_torque": m.constant * (stalled - 0.09),
        **HEAT,
    }


def test_a_motor_by_points_by_bench_and_at_another_voltage_is_the_motor_of_its_sheet():
    fit = build(winch()).groups[0].fit
    m, stages = fit.motor, (replace(FIRST, shaft_drag=1e-3), replace(REST, shaft_drag=1e-3))

    def point(torque: float) -> MotorPoint:
        current = (torque + m.drag) / m.constant
        return MotorPoint(
            torque=torque, speed=(6.0 - current * m.resistance) / m.constant, current=current
        )

    common = {"count": 4, "voltage": 6.0, "rotor_inertia": m.inertia, **HEAT}
    by_points = MotorGroup(
        known_by="points", points=tuple(point(torque) for torque in (5e-4, 2e-3, 4e-3)), **common
    )
    by_bench = MotorGroup(
        known_by="bench",
        terminal_resistance=m.resistance,
        no_load_speed=sheet(m, 6.0)["no_load_speed"],
        no_load_current=0.09,
        lever_voltage=2.0,
        lever_current=2.0 / m.resistance,
        lever_arm=0.05,
        lever_force=(m.constant * 2.0 / m.resistance - m.drag) / 0.05,
        **common,
    )
    by_sheet, at_another = (
        group(**sheet(m, volts), rotor_inertia=m.inertia) for volts in (6.0, 4.0)
    )
    for other in (by_points, by_bench, at_another):
        assert_one_machine(winch(by_sheet, stage=stages), winch(other, stage=stages))


# --- supply and programme


@pytest.mark.parametrize(
    "supply",
    [
        Supply(voltage=6.0, resistance=0.05, current_limit=1e4),
        Supply(voltage=6.0, resistance=0.05, kind="battery"),
        Supply(voltage=6.0, resistance=0.05, kind="battery", capacity=1e7),
        Supply(voltage=6.0, resistance=0.05, off="each motor"),
    ],
    ids=["far limit", "battery", "large battery", "switch at each motor"],
)
def test_a_supply_that_is_never_stretched_is_a_plain_one(supply):
    several = (group(), group(count=1))
    assert_one_machine(winch(*several), winch(*several, supply=supply))


def test_what_a_phase_says_of_the_supply_is_what_the_supply_says():
    up, off = Phase(action="raise", until="top"), Phase(action="off", time=1.0)
    several = (group(), group(count=1))
    limited = winch(*several, supply=Supply(voltage=5.0, resistance=0.05, current_limit=2.0))
    assert_one_machine(
        limited, winch(*several, phase=(replace(up, voltage=5.0, current_limit=2.0), off))
    )
    assert_one_machine(winch(*several), winch(*several, phase=(up, off)))


def test_a_phase_in_two_halves_is_the_phase():
    def programme(*times: float) -> Inputs:
        parts = [Phase(action="raise", until="time", time=time) for time in times]
        return winch(group(), group(count=1), phase=(*parts, Phase(action="off", time=1.0)))

    one, other = simulate(programme(2.0)), simulate(programme(0.7, 1.3))
    for name in ("height", "charge", "motor_1_winding", "motor_2_winding"):
        assert other[name][-1] == pytest.approx(one[name][-1], rel=1e-4), name
    assert other.energy.source == pytest.approx(one.energy.source, rel=1e-4)


# --- drum, rope, load


@pytest.mark.parametrize(
    "parts",
    [
        {"drum": Drum(diameter=0.01, width=0.2, inertia=1e-6)},
        {"drum": Drum(diameter=0.01, width=0.06, inertia=1e-6, layering="nested")},
        {"drum": Drum(diameter=0.01, width=0.06, inertia=1e-6, flange_diameter=0.05)},
        {"rope": Rope(diameter=0.003, mass_per_length=0.0, free_length=0.4)},
        {"rope": Rope(diameter=0.003, mass_per_length=1e-9)},
        {"load": Load(mass=8.0, height=0.1, slope_friction=0.3)}, {"load": Load(mass=8.0, height=0.1, snag_height=0.35)},
        {"pawl": Pawl(fitted=False)},
    ],
    ids=["wide drum", "nested", "flanges", "free length", "light rope", "no slope", "far snag", "no pawl"],
)  # fmt: skip
def test_what_the_lift_never_meets_changes_nothing(parts):
    bare = {"drum": Drum(diameter=0.01, width=0.06, inertia=1e-6)}
    assert_one_machine(winch(**bare), winch(**{**bare, **parts}), 2e-5)


def test_sheaves_and_edges_without_friction_are_nothing_but_a_place_for_the_rope_to_break():
    bare, turned = (
        winch(),
        winch(sheave=(Sheave(efficiency=1.0, repeat=2),), edge=(Edge(friction=0.0, angle=1.0),)),
    )
    one, other = (_assessed(simulate(inputs)) for inputs in (bare, turned))
    assert _outcome(other) == _outcome(one)
    assert other.target.time == pytest.approx(one.target.time, rel=1e-9)
    factors = [{row.label: row.factor for row in found.parts} for found in (one, other)]
    assert {name: factors[1][name] for name in factors[0]} == pytest.approx(factors[0], rel=1e-9)


def _strong(**more) -> Rope:
    return Rope(
        **{
            "diameter": 0.003,
            "mass_per_length": 0.0,
            "axial_stiffness": 4e4,
            "sheave_efficiency": 1.0,
            **more,
        }
    )


def test_falls_are_a_lighter_load_raised_further():
    """n falls of a load m are one of m/n² in n times the gravity, raised n times as high."""
    tackle = winch(rope=_strong(falls=3), load=Load(mass=27.0, height=0.1, drum_height=0.5))
    single = winch(
        rope=_strong(),
        load=Load(mass=3.0, height=0.3, drum_height=1.5),
        settings=Settings(gravity=3 * Settings().gravity, watch=1.0, stall_watch=2.0),
    )
    one, other = simulate(tackle), simulate(single)
    for name in ("tension", "charge", "motor_1_winding", "drum_speed", "rope_wound"):
        assert other[name][-1] == pytest.approx(one[name][-1], rel=1e-4), name
        assert other[name].max() == pytest.approx(one[name].max(), rel=1e-4), name
    assert other.energy.source == pytest.approx(one.energy.source, rel=1e-5)
    assert lift_all(single).lift_time == pytest.approx(lift_all(tackle).lift_time, rel=1e-9)


def test_an_incline_is_a_guide_under_less_gravity():
    angle, rub = np.radians(40), 0.2
    incline = winch(
        rope=_strong(),
        load=Load(mass=10.0, height=0.1, drum_height=0.5, slope=angle, slope_friction=rub),
    )
    g = Settings().gravity
    guided = winch(
        rope=_strong(),
        settings=Settings(gravity=g * np.sin(angle), watch=1.0, stall_watch=2.0),
        load=Load(
            mass=10.0,
            height=0.1 / np.sin(angle),
            drum_height=0.5 / np.sin(angle),
            guide_friction=rub * 10 * g * np.cos(angle),
        ),
    )
    one, other = simulate(incline), simulate(guided)
    assert other["height"][-1] * np.sin(angle) == pytest.approx(one["height"][-1], rel=1e-5)
    assert dict(other.energy.spent) == pytest.approx(dict(one.energy.spent), rel=1e-3, abs=1e-6)
    assert lift_all(guided).lift_time == pytest.approx(lift_all(incline).lift_time, rel=1e-9)


def test_rope_between_drum_and_sheave_is_rope_above_the_load():
    led = winch(rope=_strong(lead=0.7), load=Load(mass=8.0, height=0.1, drum_height=0.4))
    straight = winch(rope=_strong(), load=Load(mass=8.0, height=0.1, drum_height=1.1))
    assert_one_machine(led, straight)


def test_twice_of_everything_is_twice_the_pull():
    """Twice the motors, drags, inertias, rope and load on leads of half the resistance: same
    speeds, twice the torques."""

    def scaled(k: int) -> Inputs:
        def stage(ratio: float) -> Stage:
            return plain(ratio, 0.9, shaft_drag=k * 1e-3, inertia=k * 1e-6)

        return winch(
            group(count=2 * k),
            group(count=k, dead=0, no_load_speed=1000.0),
            group(count=k, dead=k),
            supply=Supply(voltage=6.0, resistance=0.1 / k, current_limit=3.0 * k),
            stage=(stage(4.0), stage(16.0)),
            drum=Drum(diameter=0.01, width=0.06, inertia=k * 1e-6, drag=k * 1e-3),
            rope=_strong(axial_stiffness=4e4 * k),
            load=Load(mass=3.0 * k, height=0.1, guide_friction=k),
        )

    one, other = simulate(scaled(1)), simulate(scaled(2))
    for name, share in (
        ("tension", 2),
        ("charge", 2),
        ("motor_1_winding", 1),
        ("motor_2_winding", 1),
        ("height", 1),
    ):
        assert other[name][-1] == pytest.approx(share * one[name][-1], rel=1e-5), name
        assert other[name].max() == pytest.approx(share * one[name].max(), rel=1e-4), name
    assert dict(other.energy.spent) == pytest.approx(
        {k: 2 * v for k, v in one.energy.spent.items()}, rel=1e-4, abs=1e-6
    )
    assert lift_all(scaled(2)).lift_time == pytest.approx(lift_all(scaled(1)).lift_time, rel=1e-9)


# --- by hand from the record's own channels


def _mixed(speed: float) -> Inputs:
    """Three unequal groups on one gear: geared ones with a larger pinion, one with a dead motor
    among them, a single one."""
    geared = group(
        count=2,
        gearbox=BOX,
        no_load_speed=speed,
        stall_torque=5.9 / speed,
        pinion=16,
        drag_speed_share=0.3,
    )
    return winch(
        geared,
        group(count=3, dead=1, no_load_speed=1000.0),
        group(count=1, no_load_speed=900.0, brush_drop=0.2),
        stage=(replace(FIRST, torque_limit=5.0), REST),
        load=Load(mass=8.0, height=0.2),
        supply=Supply(voltage=6.0, resistance=0.1),
    )


@pytest.fixture(scope="module", params=[720.0, 400.0], ids=["all drive", "one is dragged"])
def mixed(request) -> Record:
    return simulate(_mixed(request.param), times=np.linspace(0.0, 25.0, 5001))


def _rows(record: Record):
    """Of each live group: the machine's group, ratio and efficiencies from its rotors to its
    pinions, mesh and its efficiencies."""
    m = record.machine
    for place, g in enumerate(m.groups):
        box = g.fit.output
        mesh = next(
            mesh
            for mesh in m.meshes
            if mesh.element is None and mesh.label.endswith(f"group {g.number}")
        )
        *front, last = m.chain.groups[place].elements
        bearings = 1.0 if box.geared else 0.98  # as assumed of a motor that carries its pinion
        assert len(front) == (1 if box.geared else 2)
        yield (
            g,
            (box.ratio, box.efficiency * bearings, box.reverse * (2 - 1 / bearings)),
            mesh,
            last.forward,
            2 - 1 / last.forward,
        )


def test_every_tooth_force_follows_from_the_currents_of_the_motors(mixed):
    """Steady raising: torque of a motor less its drag, through its gearbox, over the pinion's
    radius; behind the common gear the sum of all groups, through mesh after mesh. A group that is
    dragged loses the other way, and its gear drives."""
    m = mixed.machine
    steady = (mixed.phase == 0) & (mixed.time > 3.0)
    common, dragged = np.zeros(steady.sum()), 0
    for g, (ratio, box, box_back), mesh, efficiency, back in _rows(mixed):
        speed, current, case = (
            mixed[f"motor_{g.number}_{what}"][steady] for what in ("speed", "current", "case")
        )
        torque = (
            g.motor.constant * (1 - 0.002 * (case - 20.0)) * current
            - g.motor.drag
            - g.motor.drag_slope * speed
        )
        drives = torque > 0
        dragged += not drives.any()
        pinion = torque * ratio * np.where(drives, box, 1 / box_back)
        gear_side = pinion * np.where(drives, efficiency, 1 / back)
        teeth = mesh.pinion_teeth
        force = 2 * np.where(drives, pinion, -gear_side) / (teeth * 1e-3)
        assert mixed[f"mesh_{m.meshes.index(mesh) + 1}_force"][steady] == pytest.approx(
            force, rel=1e-3
        )
        common += g.count * gear_side * 48 / teeth
    assert dragged == (m.groups[0].fit.no_load_speed < 500.0)
    dead = m.dragged[0]
    *_, bearings, mesh = m.chain.groups[3].elements
    common -= (
        dead.motor.drag
        * 4.0
        / (dead.fit.output.dragged * (2 - 1 / bearings.forward) * (2 - 1 / mesh.forward))
    )
    torque, number = common, 4
    for e in m.chain.elements:
        torque = torque - e.drag
        if e.ratio > 1:
            assert mixed[f"mesh_{number}_force"][steady] == pytest.approx(
                2 * torque / (14 * 2e-3), rel=1e-3
            )
            number += 1
        torque = torque * e.ratio * e.forward
    assert number == 7
    drum = m.chain.elements[-1]
    assert (
        mixed["drum_torque"][steady] == pytest.approx(torque, rel=1e-3)
        and drum.name == "drum bearings"
    )


def test_limits_of_the_common_gear_and_of_gearboxes_are_asked_for_what_passes_there():
    record = simulate(_mixed(720.0))
    m = record.machine
    asked = {
        link.label: d.share * link.strength.value
        for link, d in zip(m.links, record.demands, strict=True)
    }
    assert asked["motor gearbox (group 1)"] == pytest.approx(
        record["mesh_1_force"].max() * 16 * 1e-3 / 2, rel=1e-6
    )
    given = 0.0
    for g, _, mesh, efficiency, _ in _rows(record):
        given = (
            given
            + g.count
            * record[f"mesh_{m.meshes.index(mesh) + 1}_force"]
            * 48
            * 1e-3
            / 2
            * efficiency
        )
    # Less what the dead motor takes, and what friction at rest keeps at the start.
    assert 0.85 * given.max() < asked["reduction of stage 1"] < given.max()
    shaft = next(link for link in m.links if link.label == "output shaft of stage 1")
    assert asked["output shaft of stage 1"] / shaft.scale == pytest.approx(
        asked["reduction of stage 1"], rel=1e-9
    )


def test_heat_charge_and_energy_are_integrals_of_the_channels(mixed):
    m, total = mixed.machine, partial(np.trapezoid, x=mixed.time)
    volts, amps = 6.0 * (mixed.phase == 0), mixed["current"]
    assert mixed["charge"][-1] == pytest.approx(total(amps), rel=1e-4)
    assert mixed.energy.source == pytest.approx(total(volts * amps), rel=1e-4)
    spent = mixed.energy.spent
    assert spent["source resistance"] == pytest.approx(total(0.1 * amps**2), rel=1e-3)
    copper = brushes = drag = 0.0
    for g, _, _, _, _ in _rows(mixed):
        n, own = g.number, g.motor
        current, winding, speed = (
            mixed[f"motor_{n}_{what}"] for what in ("current", "winding", "speed")
        )
        heat = own.resistance * (1 + 0.00393 * (winding - 20.0)) * current**2
        copper += g.count * total(heat)
        brushes += g.count * total(own.brush_drop * np.abs(current))
        drag += g.count * total((own.drag + own.drag_slope * np.abs(speed)) * np.abs(speed))
        flow = total((winding - mixed[f"motor_{n}_case"]) / g.heat.winding_to_case)
        assert g.heat.winding_capacity * (winding[-1] - winding[0]) == pytest.approx(
            total(heat) - flow, rel=1e-2
        )
    dead = m.dragged[0]
    drag += total(dead.motor.drag * np.abs(mixed["drum_speed"]) * dead.ratio)
    assert (spent["copper"], spent["brushes"]) == pytest.approx((copper, brushes), rel=1e-3)
    assert spent["motor drag"] == pytest.approx(drag, rel=1e-3)


def test_what_the_meshes_lose_is_their_force_times_speed_times_loss(mixed):
    m, total = mixed.machine, partial(np.trapezoid, x=mixed.time)
    turn = np.maximum(mixed["drum_speed"], 0.0)
    for g, (_, box, box_back), mesh, efficiency, back in _rows(mixed):
        carried = (
            g.count * mixed[f"mesh_{m.meshes.index(mesh) + 1}_force"] * turn * 64 * 48 * 1e-3 / 2
        )
        current = mixed[f"motor_{g.number}_current"]
        drives = (
            g.motor.constant * current
            > g.motor.drag + g.motor.drag_slope * mixed[f"motor_{g.number}_speed"]
        )
        forward = (1 - efficiency) + (1 / box - 1)  # of the mesh, and of the gearbox before it
        backward = (1 - back) + back * (1 - box_back)
        lost = total(carried * np.where(drives, forward, backward))
        head = "mesh and gearbox" if g.fit.output.geared else "mesh and motor friction"
        assert mixed.energy.spent[f"{head} of group {g.number}"] == pytest.approx(lost, rel=0.02)
    gears = [e for e in m.chain.elements if e.ratio > 1]
    for place, e in enumerate(gears):
        ratio = 4.0 ** (3 - place)
        speed = turn * ratio * 14 * 2e-3 / 2
        lost = total(
            mixed[f"mesh_{place + 4}_force"] * speed * (1 - e.forward) + e.drag * turn * ratio
        )
        assert mixed.energy.spent[e.name] == pytest.approx(lost, rel=0.01)
    assert len(gears) == 3


# --- sizing and learning with several groups


def test_each_group_s_windings_are_held_against_their_own_limit():
    """A hot group within its limit beside a cool one whose limit is low: within its limits. The
    other way round: not."""
    work = {"winding_limit": 180.0, "case_to_ambient": 40.0, "winding_to_case": 20.0}
    easy = {"winding_limit": 35.0, "winding_heat_capacity": 1e4}
    several = (group(count=1, **work), group(count=1, **easy))
    inputs = winch(*several, load=Load(mass=13.0, height=0.3))
    lifts = lift_all(inputs)
    record = simulate(inputs)
    peaks = [float(record[f"motor_{n}_winding"].max()) for n in (1, 2)]
    assert peaks[0] > 40.0 and peaks[1] < 35.0
    winding = by_slow_model(vary(inputs, {})).check(CheckKey.WINDING)
    assert lifts.tight_winding[0] <= lifts.tight_limit[0] and winding.value[0] < winding.hard[0]
    swapped = winch(
        replace(several[0], winding_limit=35.0),
        replace(several[1], winding_limit=180.0),
        load=inputs.load,
    )
    found = lift_all(swapped)
    winding = by_slow_model(vary(swapped, {})).check(CheckKey.WINDING)
    assert (
        found.tight_winding[0] > found.tight_limit[0] and winding.value[0] > winding.hard[0] == 35.0
    )
    builds = plan(swapped, ())
    out = lift_builds(builds, np.full((1, len(builds.draws)), 0.5))
    assert out.winding[0] == pytest.approx(peaks[0] - 35.0, abs=0.5)


def test_the_group_that_needs_fewest_gets_more_motors():
    """Three tiny motors beside a strong one: one more of the strong ones does what no number of
    tiny ones does."""
    tiny = group(count=3, stall_torque=1e-5, stall_current=2.3e-3, no_load_current=1e-4)
    inputs = winch(tiny, group(count=1), load=Load(mass=18.0, height=0.1))
    goals = [lambda lifts, _: lifts.stall_margin_hot >= 1]
    found = next(smallest(ActionKind.MORE_MOTORS, inputs, build(inputs), goals))
    (change,) = found.changes
    assert (change.path, change.before) == ("motors.2.count", 1) and change.after <= 3


def test_a_study_of_motors_varies_the_group_that_it_is_asked_about():
    several = winch(group(count=1), group(count=2), load=Load(mass=8.0, height=0.1))
    study = size(several, "motors", margin=1.5, group=2, high=5)
    assert study.path == "motors.2.count" and study.recommended is not None
    assert value_at(study.sweep.inputs, "motors.1.count") == 1


@pytest.mark.parametrize("breakaway", [1.0, 1.3, 2.0])
@pytest.mark.parametrize(
    "first", [FIRST, replace(FIRST, efficiency=0.9)], ids=["friction", "efficiency"]
)
def test_a_calibration_moves_no_value_further_than_several_groups_allow(breakaway, first):
    inputs = winch(
        group(), group(count=1), stage=(first, REST), settings=Settings(breakaway=breakaway)
    )
    machine = build(inputs)
    found = find_factors(inputs)
    assert all(factor.high > 0 for factor in found)
    for factor in found:
        for end in (factor.low, factor.high):
            build(moved(inputs, machine, (factor,), [end]))


def test_assumed_drag_said_again_is_felt_the_same_by_groups_with_pinions_of_their_own():
    """Exactly, where no mesh has a loss: the one number for all repeats leaves losses out. Each
    shaft's high end on its own against that number."""
    first, rest = replace(FIRST, efficiency=1.0), replace(REST, efficiency=1.0)
    several = group(pinion=16), group(count=1, pinion=10)
    apart = winch(*several, stage=(first, first, *[replace(rest, repeat=1)] * 3))
    for row in build(apart).assumed:
        if row.path.endswith("shaft_drag"):
            apart = with_value(apart, row.path, row.high)
    again = inputs = winch(*several, stage=(replace(first, repeat=2), rest))
    for path, drag in shaft_drags(inputs, build(inputs)).items():
        again = with_value(again, path, drag)
    one, other = (lift_all(found) for found in (apart, again))
    assert (other.stall_margin_cold[0], other.lift_time[0]) == pytest.approx(
        (one.stall_margin_cold[0], one.lift_time[0]), rel=1e-9
    )


def test_pinions_of_every_group_are_looked_at():
    """A gear of 48 teeth meshes well with one pinion and roughly with another, whichever group is
    told last."""
    fine, rough = group(), group(count=1, pinion=5)
    for several in ((fine, rough), (rough, fine)):
        found = _assessed(simulate(winch(*several))).findings
        assert any(f.kind is FindingKind.GEAR_GEOMETRY and f.values["teeth"] == 5 for f in found)


@pytest.mark.slow
def test_what_a_snag_does_is_the_same_however_the_motors_are_told():
    """As one group or two; and by their values at another voltage, which tell the same motors.
    Gently started, the teeth outlast the start, but not the stall."""
    fit = build(winch()).groups[0].fit
    m, stages = (
        fit.motor,
        (replace(STRIPS, tested_tooth_force=0.8, shaft_drag=1e-3), replace(REST, shaft_drag=1e-3)),
    )

    parts = {
        "stage": stages,
        "supply": Supply(voltage=6.0, resistance=0.05),
        "phase": (Phase(action="raise", until="top", ramp=1.0),),
    }
    told, at_another = (
        winch(group(**sheet(m, volts), rotor_inertia=1e-9), **parts) for volts in (6.0, 3.0)
    )
    first = snag_study(told)
    assert first is not None and first.safe is not None and first.as_built.broke
    for other in (split(told, 1, 3), at_another):
        found = snag_study(other)
        assert found is not None and found.safe is not None
        assert re.sub(r" \(group \d\)", "", found.as_built.broke) == first.as_built.broke
        assert found.safe.current_limit == pytest.approx(first.safe.current_limit, rel=1e-3)


def test_after_a_breakage_the_common_gear_is_not_told_as_the_next_to_break():
    """Its teeth are judged once with each group's pinion; they broke, or outlived them, all
    together."""
    weak = replace(FIRST, material="PLA", pinion_material="steel", shaft_diameter=None)
    inputs = split(winch(stage=(weak, REST)), 1, 3)
    found = look_into(
        inputs, LiftTest(number=1, mass=8.0, outcome="broke", broke_link="stage 1 gear")
    )
    assert found.at.link.label.startswith("gear tooth of stage 1")
    assert found.next is not None and "gear tooth of stage 1" not in found.next.link.label


@pytest.mark.parametrize(
    "inputs",
    [
        winch(),
        split(winch(), 1, 3),
        _mixed(720.0),
        winch(load=Load(mass=8.0, height=0.1, start_height=0.2)),
        winch(stage=(STRIPS, REST)),
    ],
    ids=["one group", "two", "three unequal", "hanging", "strips at once"],
)
def test_the_quasi_static_model_asks_of_every_link_what_the_full_run_does(inputs):
    """The start included, when the torque that the load does not take yet speeds up the train:
    hardest on the first stages."""
    found, lifts = _assessed(simulate(inputs)), lift_all(inputs)
    for row in found.parts:
        if row.time == 0.0 and np.isfinite(row.factor):
            kind = list(LinkKind).index(LinkKind(row.kind))
            assert lifts.kind_factors[0, kind] <= row.factor * 1.01, row.label
    weakest: dict[LinkKind, float] = {}
    for row in found.parts:
        weakest[LinkKind(row.kind)] = min(weakest.get(LinkKind(row.kind), np.inf), row.factor)
    if found.target.end is End.REACHED:
        slow = {kind: lifts.kind_factors[0, list(LinkKind).index(kind)] for kind in weakest}
        assert slow == pytest.approx(weakest, rel=0.02)
    else:
        assert (
            lifts.factor[0] == pytest.approx(min(weakest.values()), rel=1e-3)
            and lifts.factor[0] < 1
        )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_hardest_worked_link_is_the_same_for_every_kind_of_number(sign):
    machine = build(winch())
    elements = len(machine.chain.elements)

    def at(kind: Callable[[float], object]) -> Channels:
        return Channels(
            kind(50.0),
            kind(50.0),
            kind(0.3),
            [kind(sign * 0.4)] * elements,
            True,
            [kind(0.01)],
            kind(0.01),
        )

    worst = LargestShare(machine)
    shares = [
        float(np.max(worst(at(kind))))
        for kind in (float, np.float64, lambda value: np.array([value]))
    ]
    assert shares == pytest.approx([max(link_shares(machine, at(float)))] * 3, rel=1e-12)
