"""Two descriptions of one machine: same record, same links, same energy, same answer."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Drum, Gearbox, Inputs, Load, MotorGroup, Phase, Rope, Settings, Stage, Supply
from winchsim.model import Machine, build
from winchsim.scenario.read import loads
from winchsim.scenario.tables import with_tables
from winchsim.simulate import Record, simulate
from winchsim.slow import lift_all
from winchsim.verdict.finding import FullPullRow, LinkRow
from winchsim.verdict.judge import judge
from winchsim.verdict.life import tooth_lives
from winchsim.verdict.warmth import tooth_warmth
from winchsim.verdict.words import bracketed

BOX = Gearbox(ratio=3.0, efficiency=0.8, torque_limit=0.2)


def group(**changes) -> MotorGroup:
    sheet = {
        "count": 4, "voltage": 6.0, "no_load_speed": 1200.0, "no_load_current": 0.09, "stall_torque": 6e-3, "stall_current": 1.4
    }  # fmt: skip
    return MotorGroup(**{**sheet, **changes})


FIRST = Stage(pinion=12, gear=48, module=1e-3, width=0.01, material="PETG", shaft_diameter=0.004, shaft_span=0.03)
REST = Stage(repeat=3, pinion=14, gear=56, module=2e-3, width=0.02, material="PETG")


def winch(*groups: MotorGroup, **parts) -> Inputs:
    base = {
        "motors": groups or (group(),), "supply": Supply(voltage=6.0, resistance=0.05), "stage": (FIRST, REST),
        "drum": Drum(diameter=0.01, width=0.06), "rope": Rope(diameter=0.003), "load": Load(mass=8.0, height=0.1),
        "settings": Settings(watch=1.0, stall_watch=2.0),
    }  # fmt: skip
    return with_tables(Inputs(**{**base, **parts}))


def run(inputs: Inputs) -> Record:
    return simulate(inputs)


def _told(machine: Machine) -> Callable[[str], str]:
    """Turns names of links and heads into what they are called however the machine was described: groups left out, reductions
    counted through."""
    places: dict[str, str] = {}
    for mesh in machine.meshes:
        label = re.sub(r", group \d+", "", mesh.label)
        places.setdefault(label, f"reduction {len(places) + 1}")
    rows = [(name, place) for label, place in places.items() for name in (bracketed(label), label)]
    rows.sort(key=lambda row: -len(row[0]))

    def told(name: str) -> str:
        name = re.sub(r" \(group \d+\)|, group \d+", "", name)
        for label, place in rows:
            name = re.sub(rf"\b{re.escape(label)}(?!\d)", place, name)
        return name

    return told


def _least(rows: Sequence[LinkRow] | Sequence[FullPullRow], told: Callable[[str], str]) -> dict[str, float]:
    """Least factor of the links of each name."""
    found: dict[str, float] = {}
    for row in rows:
        name = told(row.label)
        found[name] = min(found.get(name, np.inf), row.link.factor)
    return found


def _heads(record: Record, told: Callable[[str], str]) -> dict[str, float]:
    """Energy by head, what is lost between motors and common gear together."""
    found: dict[str, float] = {"source": record.energy.source}
    for head, value in record.energy.spent.items():
        name = told(head)
        if name in ("motor gearbox", "reduction 1 mesh") or "mesh of" in head:
            name = "front"
        found[name] = found.get(name, 0.0) + value
    return {name: value for name, value in found.items() if value}


def _assert_same(found: object, expected: object, rel: float, name: str) -> None:
    if expected is None or isinstance(expected, str):
        assert found == expected, name
    else:
        assert found == pytest.approx(expected, rel=rel, abs=1e-12, nan_ok=True), name


def assert_one_machine(first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3) -> None:
    """Both descriptions come to the same record, links, energy and findings, in full and by the slow model."""
    assert_one_lift(first, second, rel, links)
    one, other = (lift_all(inputs).row(0) for inputs in (first, second))
    names = [_told(build(inputs)) for inputs in (first, second)]
    for key, value in one.items():
        if key == "hold_margin":  # said at the motors where there is one group, else at the common gear
            assert (value >= 0) == (other[key] >= 0)
            continue
        share = links if "factor" in key or "spare" in key or key == "spin_up_time" else rel
        values, others = (found if isinstance(found, list) else [found] for found in (value, other[key]))
        for before, after in zip(values, others, strict=True):
            if isinstance(before, str):
                before, after = names[0](before), names[1](after)
            _assert_same(after, before, share, key)


def assert_one_lift(first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3) -> None:
    """Both come to the same record, links, energy and findings in full."""
    records = [simulate(inputs) for inputs in (first, second)]
    told, renamed = (_told(record.machine) for record in records)
    one, other = (judge(record, cures=False) for record in records)
    assert renamed(other.sentence) == told(one.sentence)
    assert {f.kind for f in other.findings} == {f.kind for f in one.findings}
    for name in ("height", "tension", "current", "charge", "drum_speed"):
        before, after = (record[name] for record in records)
        assert after[-1] == pytest.approx(before[-1], rel=rel, abs=rel * np.abs(before).max()), name
        assert after.max() == pytest.approx(before.max(), rel=max(rel, 1e-3)), name
    for key in ("lift_time", "steady_speed", "peak_winding", "energy_in", "stall_margin_cold", "stall_margin_hot"):
        _assert_same(getattr(other.summary, key), getattr(one.summary, key), rel, key)
    heads = _heads(records[0], told)
    assert _heads(records[1], renamed) == pytest.approx(heads, rel=max(rel, 1e-4), abs=rel * abs(one.summary.energy_in))
    assert _least(other.rows, renamed) == pytest.approx(_least(one.rows, told), rel=links)
    assert _least(other.full_pull.rows, renamed) == pytest.approx(_least(one.full_pull.rows, told), rel=max(rel, 1e-6))
    for key in ("current", "unlimited_current", "needed_current", "safe_current"):
        _assert_same(getattr(other.full_pull, key), getattr(one.full_pull, key), rel, key)
    assert renamed(other.full_pull.sentence) == told(one.full_pull.sentence)


def split(inputs: Inputs, *counts: int, of: int = 0) -> Inputs:
    """The same motors told as several groups."""
    parts = tuple(replace(inputs.motors[of], count=count) for count in counts)
    return replace(inputs, motors=(*inputs.motors[:of], *parts, *inputs.motors[of + 1 :]))


# --- groups -----------------------------------------------------------------------------------------------------------

STRIPS = replace(FIRST, tested_tooth_force=0.5)
KINDS = {
    "lifts": winch(),
    "stalls": winch(load=Load(mass=80.0, height=0.1)),
    "strips": winch(stage=(STRIPS, REST)),
    "limits": winch(stage=(replace(FIRST, torque_limit=0.12), replace(REST, torque_limit=9.0))),
    "limited current": winch(supply=Supply(voltage=6.0, resistance=0.05, current_limit=2.0)),
    "gets hot": winch(group(winding_limit=31.0), load=Load(mass=30.0, height=0.1)),
    "runs back": winch(load=Load(mass=40.0, height=0.1), stage=(replace(FIRST, efficiency=0.97, shaft_drag=0.0),
                       replace(REST, efficiency=0.97, shaft_drag=0.0)), motors=(group(no_load_current=0.01),)),
    "lowers": winch(phase=(Phase(action="raise", until="top"), Phase(action="lower", until="floor"))),
    "with inductance": winch(group(inductance=1e-3, brush_drop=0.2)),
    "with a pawl's brake": winch(phase=(Phase(action="raise", until="top"), Phase(action="short", time=1.0))),
    "with gearboxes": winch(group(gearbox=BOX, stall_torque=15e-3)),
    "with gearboxes that give way": winch(group(gearbox=replace(BOX, torque_limit=0.01), stall_torque=15e-3)),
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_a_group_is_its_motors_told_apart(name):
    whole = KINDS[name]
    if whole.motors[0].gearbox:  # its output turns the pinions, which several groups have to book on the common gear
        assert_one_machine(whole, split(whole, 1, 3), 3e-3, 0.05)
    else:
        assert_one_machine(whole, split(whole, 1, 3), 2e-5)


@pytest.mark.parametrize("counts", [(2, 2), (3, 1), (1, 1, 1, 1)])
def test_teeth_of_the_common_gear_meet_every_pinion_however_the_motors_are_told(counts):
    polymer = replace(FIRST, material="POM", shaft_diameter=None)
    whole = simulate(winch(stage=(polymer, REST)))
    apart = simulate(split(winch(stage=(polymer, REST)), *counts))
    for found, value in ((tooth_lives, "cycles_per_lift"), (tooth_warmth, "flank")):
        told = _told(apart.machine)
        expected = {told(row.label): getattr(row, value) for row in found(whole)}
        for row in found(apart):
            assert getattr(row, value) == pytest.approx(expected[told(row.label)], rel=1e-4), row.label


def test_the_order_of_unequal_groups_does_not_matter():
    strong, weak = group(count=2, pinion=16), group(count=1, no_load_speed=900.0, stall_torque=5e-3, winding_limit=80.0)
    dead = group(count=2, dead=1, pinion=14)
    before, after = (winch(*groups, supply=Supply(voltage=5.0, resistance=0.1, current_limit=4.0))
                     for groups in ((strong, weak, dead), (dead, weak, strong)))  # fmt: skip
    assert_one_machine(before, after, 2e-5)


# --- units ------------------------------------------------------------------------------------------------------------

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
    ('"11500 rpm"', '"1204.277183876087 rad/s"'), ('"6.1 mN*m"', '"0.8638327892335333 oz*in"'), ('"28 g"', '"0.9876709345882515 oz"'),
    ('module = "1.27 mm"', 'diametral_pitch = "20 1/in"'), ('"12.7 mm"', '"1/2 in"'), ('"50.8 mm"', '"2 in"'),
    ('"3.175 mm"', '"1/8 in"'), ('"1334.4664845783785 N"', '"300 lbf"'), ('"9.07184740 kg"', '"20 lb"'), ('"0.1524 m"', '"1/2 ft"'),
    ('"25 °C"', '"77 °F"'), ('"0.5 mN*m"', '"0.0708059664 oz*in"'),
]  # fmt: skip


def test_the_same_winch_in_inches_and_pounds():
    """1 lbf = 4.4482216152605 N, 1 ozf = 1/16 lbf, 1 in = 25.4 mm exactly; a diametral pitch of 20 is a module of 25.4/20 mm."""
    text = METRIC
    for metric, inch in INCH:
        assert metric in text
        text = text.replace(metric, inch)
    assert_one_machine(loads(METRIC), loads(text), 1e-6, 1e-6)
