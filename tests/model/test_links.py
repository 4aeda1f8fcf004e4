"""Links of a built winch: what is judged, what a shaft's bending adds, and what cannot be made."""

import math
from dataclasses import replace

import pytest

from winchsim.errors import InputError
from winchsim.inputs import Edge, Factors, Gearbox, Stage
from winchsim.model import build
from winchsim.model.links import tooth_of
from winchsim.model.machine import bracketed
from winchsim.simulation import simulate
from winchsim.strength.link import LINKS, LinkKind

SPUR = {"pinion": 12, "gear": 36, "module": 1e-3, "width": 8e-3, "material": "PETG", "shaft_diameter": 5e-3}

EVERYTHING = {"drum": {"cross_pin_diameter": 0.002, "support_span": 0.06}, "edge": (Edge(friction=0.1, angle=1.0),)}
"""Parts that give a winch every kind of link that its drum and rope can have."""


@pytest.fixture(scope="module")
def geared(small):
    """Maker of a winch with two spur stages, values of the last one changed, and other parts."""

    def make(parts=None, **last):
        return small(stage=(Stage(**SPUR), Stage(**{**SPUR, **last})), **(parts or {}))

    return make


def _link(machine, kind, where):
    return next(link for link in machine.links if link.kind is kind and link.where == where)


def test_a_shaft_between_bearings_is_bent_by_what_its_gear_transmits(geared):
    free = _link(build(geared()), LinkKind.SHAFT, "stage.2")
    # Own arithmetic: the teeth push with 2/(z m)/cos(20°) per torque in the middle of 60 mm between bearings. Bending stress
    # 32 M/(pi d³), torsion 16 T/(pi d³), distortion energy: as much as a torque of sqrt(T² + 4/3 M²).
    span = 0.06
    moment = 2 / (36 * 1e-3) / math.cos(math.radians(20)) * span / 4
    bent = _link(build(geared(shaft_span=span)), LinkKind.SHAFT, "stage.2")
    assert bent.strength.value == pytest.approx(free.strength.value)
    assert bent.scale / free.scale == pytest.approx(math.sqrt(1 + 4 / 3 * moment**2), rel=1e-6)


def test_a_gearbox_is_judged_at_its_own_output(small, make_motor):
    motor = make_motor(4.0, 0.005, gearbox=Gearbox(ratio=10.0, efficiency=0.8, torque_limit=0.05), count=2)
    inputs = small(motors=replace(motor, no_load_speed=motor.no_load_speed / 10, stall_torque=motor.stall_torque * 8))
    record = simulate(inputs)
    place = next(i for i, link in enumerate(record.machine.links) if link.where == "motors.1.gearbox")
    link, demand = record.machine.links[place], record.demands[place]
    assert (link.kind, link.strength.value) == (LinkKind.STAGE_LIMIT, 0.05)
    # Each of two gearboxes carries half of what the first stage takes: at least the load's pull through three lossy stages.
    share = 8.0 * 9.80665 * 0.006 / (5 * 0.8) ** 3 / 2 / 0.05
    assert share < demand.share < 2 * share


def test_a_stated_torque_limit_is_one_to_work_at_whatever_it_is_of(small, make_motor, make_stage):
    boxed = make_motor(4.0, 0.005, gearbox=Gearbox(ratio=10.0, efficiency=0.8, torque_limit=0.05), count=2)
    for motors in (boxed, (boxed, boxed)):
        machine = build(small(motors=motors, stage=make_stage(10.0, 0.8, torque_limit=2.0), factors=Factors(tooth=7.0)))
        limits = [link for link in machine.links if link.kind is LinkKind.STAGE_LIMIT]
        assert {link.where.split(".")[0] for link in limits} == {"motors", "stage"}
        assert [link.required for link in limits] == [1.0] * len(limits)


@pytest.mark.parametrize(
    ("parts", "last", "key"),
    [
        ({}, {"bore": 0.0365}, "stage.2.bore"),
        ({}, {"bore": 0.034}, "stage.2.bore"),
        ({}, {"walls": 0, "infill": 0.0}, "stage.2.walls"),
        ({}, {"friction": 9.0}, "stage.2.friction"),
        ({"rope": {"free_length": 0.12, "lead": 0.0}}, {}, "rope.free_length"),
        ({"rope": {"falls": 2, "sheave_efficiency": 0.45}}, {}, "rope.sheave_efficiency"),
        ({"drum": {"flange_diameter": 0.0105}}, {}, "drum.flange_diameter"),
        ({"drum": {"flange_diameter": 0.0145, "width": 0.004}}, {}, "drum.flange_diameter"),
    ],
)
def test_what_cannot_be_made_is_refused_at_its_key(geared, parts, last, key):
    with pytest.raises(InputError) as refused:
        build(geared(parts, **last))
    assert [fault.key for fault in refused.value.faults] == [key]
    assert refused.value.faults[0].expected


def test_free_rope_places_the_drum(small):
    rope = {"free_length": 0.9, "lead": 0.1, "falls": 2}
    assert build(small(rope=rope)).reach == pytest.approx((0.9 - 0.1) / 2)
    assert build(small(load={"drum_height": 0.4})).reach == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("label", "text"),
    [("stage 1", "stage 1"), ("stage 1, 5th of 5", "stage 1 (5th of 5)"), ("stage 1, group 2", "stage 1 (group 2)")],
)  # fmt: skip
def test_bracketed(label, text):
    assert bracketed(label) == text


def test_every_link_has_a_name_of_its_own(small):
    spur = {**SPUR, "torque_limit": 30.0, "repeat": 2}
    machine = build(
        small(
            stage=Stage(**spur), drum={"cross_pin_diameter": 0.002, "support_span": 0.06}, edge=(Edge(friction=0.1, angle=1.0),)
        )
    )
    names = [link.label for link in machine.links]
    assert len(set(names)) == len(names)
    assert {link.kind for link in machine.links} == set(LinkKind)
    assert {"pinion tooth of stage 1 (2nd of 2)", "output shaft of stage 1 (1st of 2)", "reduction of stage 1 (2nd of 2)"} < {
        *names
    }


@pytest.mark.parametrize("kind", list(LinkKind))
def test_every_link_keeps_its_own_required_factor(small, kind):
    asked = {key: 2.0 + place for place, key in enumerate(("tooth", "shaft", "pin", "rope", "anchor"))}
    spur = {**SPUR, "torque_limit": 30.0}
    machine = build(small(stage=Stage(**spur), factors=Factors(**asked), **EVERYTHING))
    link = next(link for link in machine.links if link.kind is kind)
    assert link.required == (1.0 if kind is LinkKind.STAGE_LIMIT else asked[LINKS[kind].required])
    assert link.part == LINKS[kind].part


def test_a_tooth_is_what_its_link_judges(geared):
    for parts in (
        {"material": "POM"},
        {"material": "PETG", "walls": 3, "infill": 0.3},
        {"material": "steel", "pinion_width": 6e-3},
    ):
        inputs = geared(**parts)
        machine = build(inputs)
        for link in machine.links:
            if link.kind.is_tooth:
                case = tooth_of(inputs, machine.meshes[link.index], link.kind)
                assert case.found.force == link.strength.value
                assert case.tooth.width == min(8e-3, parts.get("pinion_width", 1.0)) or link.where == "stage.1"


def test_a_bore_of_nothing_is_a_gear_without_one(geared):
    solid, bored = (_link(build(geared(bore=bore)), LinkKind.TOOTH_GEAR, "stage.2") for bore in (0.0, 0.0285))
    assert bored.strength.value < solid.strength.value
    assert _link(build(geared(bore=0.0, shaft_diameter=0.0285)), LinkKind.TOOTH_GEAR, "stage.2").strength == solid.strength
    assert _link(build(geared(shaft_diameter=0.0285)), LinkKind.TOOTH_GEAR, "stage.2").strength == bored.strength
