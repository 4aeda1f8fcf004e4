"""Two descriptions of one machine: same record, same links, same energy, same answer."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Drum, Gearbox, Inputs, Load, MotorGroup, Phase, Rope, Settings, Stage, Supply
from winchsim.scenario.tables import with_tables
from winchsim.simulate import Record, simulate
from winchsim.slow import lift_all
from winchsim.verdict.finding import Verdict
from winchsim.verdict.judge import judge
from winchsim.verdict.life import tooth_lives
from winchsim.verdict.warmth import tooth_warmth

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


def _plain(name: str) -> str:
    """Name of a link without the group that it belongs to."""
    return re.sub(r" \(group \d+\)|, group \d+", "", name)


def _factors(verdict: Verdict) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in verdict.rows:
        name = _plain(row.label)
        found[name] = min(found.get(name, np.inf), row.link.factor)
    return found


def _full_pull(verdict: Verdict) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in verdict.full_pull.rows:
        name = _plain(row.label)
        found[name] = min(found.get(name, np.inf), row.link.factor)
    return found


def _heads(record: Record) -> dict[str, float]:
    """Energy by head, what is lost between motors and common gear together."""
    found: dict[str, float] = {"source": record.energy.source}
    for head, value in record.energy.spent.items():
        name = "front" if head in ("motor gearbox", "stage 1 mesh") or "mesh of" in head else head
        found[name] = found.get(name, 0.0) + value
    return {name: value for name, value in found.items() if value}


def _assert_same(found: object, expected: object, rel: float, name: str) -> None:
    if isinstance(expected, str):
        assert _plain(str(found)) == _plain(expected), name
    elif expected is None:
        assert found is None, name
    else:
        assert found == pytest.approx(expected, rel=rel, abs=1e-12, nan_ok=True), name


def assert_one_machine(first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3) -> None:
    """Both descriptions come to the same record, links, energy and findings, in full and by the slow model."""
    assert_one_lift(first, second, rel, links)
    one, other = (lift_all(inputs).row(0) for inputs in (first, second))
    assert one.keys() == other.keys()
    for key, value in one.items():
        if key == "hold_margin":  # said at the motors where there is one group, else at the common gear
            assert (value >= 0) == (other[key] >= 0)
            continue
        share = links if "factor" in key or "spare" in key or key == "spin_up_time" else rel
        values, others = (found if isinstance(found, list) else [found] for found in (value, other[key]))
        for before, after in zip(values, others, strict=True):
            _assert_same(after, before, share, key)


def assert_one_lift(first: Inputs, second: Inputs, rel: float = 1e-5, links: float = 1e-3) -> None:
    """Both come to the same record, links, energy and findings in full."""
    records = [simulate(inputs) for inputs in (first, second)]
    one, other = (judge(record, cures=False) for record in records)
    assert _plain(other.sentence) == _plain(one.sentence)
    assert {f.kind for f in other.findings} == {f.kind for f in one.findings}
    for name in ("height", "tension", "current", "charge", "drum_speed"):
        before, after = (record[name] for record in records)
        assert after[-1] == pytest.approx(before[-1], rel=rel, abs=rel * np.abs(before).max()), name
        assert after.max() == pytest.approx(before.max(), rel=max(rel, 1e-3)), name
    for key in ("lift_time", "steady_speed", "peak_winding", "energy_in", "stall_margin_cold", "stall_margin_hot"):
        _assert_same(getattr(other.summary, key), getattr(one.summary, key), rel, key)
    assert _heads(records[1]) == pytest.approx(_heads(records[0]), rel=max(rel, 1e-4), abs=rel * abs(one.summary.energy_in))
    assert _factors(other) == pytest.approx(_factors(one), rel=links)
    assert _full_pull(other) == pytest.approx(_full_pull(one), rel=max(rel, 1e-6))
    for key in ("current", "unlimited_current", "needed_current", "safe_current", "sentence"):
        _assert_same(getattr(other.full_pull, key), getattr(one.full_pull, key), rel, key)


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
        expected = {row.label: getattr(row, value) for row in found(whole)}
        for row in found(apart):
            assert getattr(row, value) == pytest.approx(expected[_plain(row.label)], rel=1e-4), row.label


def test_the_order_of_unequal_groups_does_not_matter():
    strong, weak = group(count=2, pinion=16), group(count=1, no_load_speed=900.0, stall_torque=5e-3, winding_limit=80.0)
    dead = group(count=2, dead=1, pinion=14)
    before, after = (winch(*groups, supply=Supply(voltage=5.0, resistance=0.1, current_limit=4.0))
                     for groups in ((strong, weak, dead), (dead, weak, strong)))  # fmt: skip
    assert_one_machine(before, after, 2e-5)
