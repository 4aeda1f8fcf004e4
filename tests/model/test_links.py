"""Links of a built winch: what is judged, what a shaft's bending adds, and what cannot be made."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.errors import InputError
from winchsim.inputs import Edge, Factors, Gearbox, Settings, Stage
from winchsim.model import Event, build
from winchsim.model.link_demands import Channels, link_shares
from winchsim.model.links import tooth_of
from winchsim.model.machine import bracketed
from winchsim.simulation import simulate
from winchsim.strength.link import LINKS, LinkKind

SPUR = {
    "pinion": 12,
    "gear": 36,
    "module": 1e-3,
    "width": 8e-3,
    "material": "PETG",
    "shaft_diameter": 5e-3,
}

PRINTED = {"walls": 3, "infill": 0.3}

EVERYTHING = {
    "drum": {"cross_pin_diameter": 0.002, "support_span": 0.06},
    "edge": (Edge(friction=0.1, angle=1.0),),
}
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
    # Own arithmetic: the teeth push with 2/(z m)/cos(20°) per torque in the middle of 60 mm between
    # bearings. Bending stress 32 M/(pi d³), torsion 16 T/(pi d³), distortion energy: as much as a
    # torque of sqrt(T² + 4/3 M²).
    span = 0.06
    moment = 2 / (36 * 1e-3) / math.cos(math.radians(20)) * span / 4
    bent = _link(build(geared(shaft_span=span)), LinkKind.SHAFT, "stage.2")
    assert bent.strength.value == pytest.approx(free.strength.value)
    assert bent.scale / free.scale == pytest.approx(math.sqrt(1 + 4 / 3 * moment**2), rel=1e-6)


def test_a_gearbox_is_judged_at_its_own_output(small, make_motor):
    motor = make_motor(
        4.0, 0.005, gearbox=Gearbox(ratio=10.0, data_at="output", torque_limit=0.05), count=2
    )
    inputs = small(
        motors=replace(
            motor, no_load_speed=motor.no_load_speed / 10, stall_torque=motor.stall_torque * 8
        )
    )
    record = simulate(inputs)
    place = next(
        i for i, link in enumerate(record.machine.links) if link.where == "motors.1.gearbox"
    )
    link, demand = record.machine.links[place], record.demands[place]
    assert (link.kind, link.strength.value) == (LinkKind.STAGE_LIMIT, 0.05)
    # Each of two gearboxes carries half of what the first stage takes: at least the load's pull
    # through three lossy stages.
    share = 8.0 * 9.80665 * 0.006 / (5 * 0.8) ** 3 / 2 / 0.05
    assert share < demand.share < 2 * share


def test_a_stated_torque_limit_is_one_to_work_at_whatever_it_is_of(small, make_motor, make_stage):
    boxed = make_motor(
        4.0, 0.005, gearbox=Gearbox(ratio=10.0, data_at="output", torque_limit=0.05), count=2
    )
    for motors in (boxed, (boxed, boxed)):
        machine = build(
            small(
                motors=motors,
                stage=make_stage(10.0, 0.8, torque_limit=2.0),
                factors=Factors(tooth=7.0),
            )
        )
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
    [
        ("stage 1", "stage 1"),
        ("stage 1, 5th of 5", "stage 1 (5th of 5)"),
        ("stage 1, group 2", "stage 1 (group 2)"),
    ],
)
def test_bracketed(label, text):
    assert bracketed(label) == text


def test_every_link_has_a_name_of_its_own(small):
    machine = build(
        small(
            stage=Stage(**{**SPUR, **PRINTED, "torque_limit": 30.0, "repeat": 2}),
            drum={"cross_pin_diameter": 0.002, "support_span": 0.06},
            edge=(Edge(friction=0.1, angle=1.0),),
        )
    )
    names = [link.label for link in machine.links]
    assert len(set(names)) == len(names)
    assert {link.kind for link in machine.links} == set(LinkKind)
    assert {
        "pinion tooth of stage 1 (2nd of 2)",
        "output shaft of stage 1 (1st of 2)",
        "reduction of stage 1 (2nd of 2)",
    } < {*names}


@pytest.mark.parametrize("kind", list(LinkKind))
def test_every_link_keeps_its_own_required_factor(small, kind):
    asked = {
        key: 2.0 + place for place, key in enumerate(("tooth", "shaft", "pin", "rope", "anchor"))
    }
    spur = {**SPUR, **PRINTED, "torque_limit": 30.0}
    machine = build(small(stage=Stage(**spur), factors=Factors(**asked), **EVERYTHING))
    link = next(link for link in machine.links if link.kind is kind)
    assert link.required == (1.0 if kind is LinkKind.STAGE_LIMIT else asked[LINKS[kind].required])
    assert link.part == LINKS[kind].part


@pytest.mark.parametrize(
    "parts",
    [
        {"material": "POM"},
        {"material": "PETG", "walls": 3, "infill": 0.3},
        {"material": "steel", "pinion_width": 6e-3},
    ],
)
def test_a_tooth_is_what_its_link_judges(geared, parts):
    inputs = geared(**parts)
    machine = build(inputs)
    teeth = [link for link in machine.links if link.kind.is_tooth]
    assert {link.where for link in teeth} == {"stage.1", "stage.2"}
    for link in teeth:
        case = tooth_of(inputs, machine.meshes[link.index], link.kind)
        assert case.found.value == link.strength.value
        width = min(8e-3, parts.get("pinion_width", 1.0))
        assert case.tooth.width == width or link.where == "stage.1"


def test_a_bore_of_nothing_is_a_gear_without_one(geared):
    solid, bored = (
        _link(build(geared(bore=bore)), LinkKind.TOOTH_GEAR, "stage.2") for bore in (0.0, 0.0285)
    )
    assert bored.strength.value < solid.strength.value
    assert (
        _link(
            build(geared(bore=0.0, shaft_diameter=0.0285)), LinkKind.TOOTH_GEAR, "stage.2"
        ).strength
        == solid.strength
    )
    assert (
        _link(build(geared(shaft_diameter=0.0285)), LinkKind.TOOTH_GEAR, "stage.2").strength
        == bored.strength
    )


def test_a_printed_body_carries_the_torque_of_its_gear(geared):
    machine = build(geared(**PRINTED))
    body, shaft = (_link(machine, kind, "stage.2") for kind in (LinkKind.GEAR_BODY, LinkKind.SHAFT))
    assert (body.channel, body.index, body.scale) == (shaft.channel, shaft.index, 1.0)
    # Own arithmetic: hub of 2.5 mm and three walls of 0.45 mm, PETG of 50.8 MPa, 30 % infill.
    torque = 2 * math.pi * 3.85e-3**2 * 8e-3 * 0.34 * 50.8e6 * 0.3**0.26
    assert body.strength.value == pytest.approx(torque)
    assert body.strength.high / body.strength.low == pytest.approx(2.5**2)
    kinds = [link.kind for link in build(geared()).links]
    assert LinkKind.GEAR_BODY not in kinds  # said to be solid
    assert LinkKind.GEAR_BODY not in [
        link.kind for link in build(geared(bore=0.0, **PRINTED)).links
    ]


def test_infill_without_walls_is_printed_with_common_ones(geared):
    found = [
        _link(build(geared(infill=0.3, walls=walls)), LinkKind.GEAR_BODY, "stage.2").strength
        for walls in (None, 3)
    ]
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("material", "kept"), [("PLA", 1 - 0.9 * 17 / 37), ("ABS", 1 - 0.9 * 17 / 77), ("steel", 1.0)]
)
def test_teeth_and_bodies_lose_strength_in_a_warm_room(geared, material, kept):
    # 40 °C against 20 °C: linear from 23 °C to a tenth at the softening temperature, 60 °C of PLA
    # and 100 °C of ABS.
    cold, warm = (
        build(geared({"settings": Settings(ambient=at)}, material=material, **PRINTED)).links
        for at in (20.0, 40.0)
    )
    parts = (LinkKind.TOOTH_PINION, LinkKind.TOOTH_GEAR, LinkKind.GEAR_BODY)
    pairs = [
        (a, b) for a, b in zip(cold, warm, strict=True) if a.where == "stage.2" and a.kind in parts
    ]
    assert len(pairs) == (2 if material == "steel" else 3)
    for before, after in pairs:
        assert after.strength.value == pytest.approx(kept * before.strength.value)
        if kept < 1:
            assert (
                after.strength.low / after.strength.value
                < before.strength.low / before.strength.value
            )


@pytest.mark.parametrize(("ambient", "broke"), [(20.0, False), (40.0, True)])
def test_a_warm_room_can_break_a_tooth_that_holds_in_a_cool_one(small, ambient, broke):
    thin = {**SPUR, "material": "PLA", "shaft_diameter": None}
    cool = simulate(small(stage=(Stage(**thin), Stage(**thin)), settings=Settings(ambient=20.0)))
    worst = max(
        demand.share
        for link, demand in zip(cool.machine.links, cool.demands, strict=True)
        if link.kind.is_tooth
    )
    width = 8e-3 * worst / 0.8  # four fifths of what a tooth bears at 20 °C
    thin["width"] = width
    record = simulate(
        small(stage=(Stage(**thin), Stage(**thin)), settings=Settings(ambient=ambient))
    )
    event = record.first(Event.OVERLOAD)
    assert (event is not None and record.machine.links[event.target.index].kind.is_tooth) is broke


def test_the_drum_shaft_is_judged_on_the_outer_layer(small):
    drum = {"support_span": 0.06, "width": 0.004, "flange_diameter": 0.05}
    machine = build(small(drum=drum, load={"height": 0.4, "mass": 2.0}))
    assert len(machine.layers) > 1
    link = _link(machine, LinkKind.DRUM_BENDING, "drum")
    # Own arithmetic: pull in the middle of 60 mm, its torque at the outer layer, distortion energy.
    outer = machine.layers[-1].radius
    assert outer > machine.layers[0].radius
    assert link.scale == pytest.approx(math.sqrt(0.015**2 + 0.75 * outer**2))


def test_dead_motors_leave_more_for_the_gearboxes_of_the_others(small, make_motor):
    def limit(count, dead):
        motor = make_motor(
            4.0,
            0.005,
            gearbox=Gearbox(ratio=10.0, data_at="output", torque_limit=0.05),
            count=count,
            dead=dead,
        )
        return _link(
            build(small(motors=motor, load={"mass": 1.0})), LinkKind.STAGE_LIMIT, "motors.1.gearbox"
        )

    whole, half = limit(4, 0), limit(4, 2)
    assert (whole.scale, half.scale) == (1 / 4, 1 / 2)
    assert (whole.strength, half.scale) == (half.strength, limit(2, 0).scale)


def test_the_knot_of_a_tackle_is_asked_for_its_largest_fall_in_lowering(small):
    # By hand: sheaves that keep 0.8 raising keep q = 2 - 1/0.8 = 0.75 lowering. Three falls carry
    # a, a/0.75 and a/0.75² from the lead on, together three times their mean: the last is 3/(1 +
    # 0.75 + 0.75²) = 1.297 of the mean.
    knot = _link(
        build(small(rope={"falls": 3, "sheave_efficiency": 0.8})), LinkKind.ROPE_KNOT, "rope"
    )
    assert knot.channel == "tension" and knot.scale == pytest.approx(1.297, abs=5e-4)
    assert _link(build(small()), LinkKind.ROPE_KNOT, "rope").scale == 1.0


def test_a_load_that_drives_asks_more_of_the_teeth_than_it_passes_on(small, make_motor):
    motor, asked = make_motor(2.0, 0.01, bearing_efficiency=1.0), []
    for back in (0.8, 0.4):
        first = Stage(**SPUR, efficiency=0.9, reverse_efficiency=back)
        m = build(small(motors=(motor, motor), stage=(first, Stage(**SPUR))))
        idle = dict.fromkeys(Channels._fields, 0.0) | {"outputs": [0.0] * len(m.chain.elements)}
        tooth = m.links.index(_link(m, LinkKind.TOOTH_PINION, "stage.1"))
        for torque in (1.0, -1.0):
            carried = Channels(**idle | {"forward": True, "groups": [torque, 0.0]})
            asked.append(float(np.max(link_shares(m, carried)[tooth])))
    # The gear drives: its teeth push with what the pinion passes on, over the reverse efficiency.
    ahead, behind, same, twice = asked
    assert ahead > 0
    assert (same, behind, twice) == pytest.approx((ahead, ahead / 0.8, ahead / 0.4), rel=1e-9)
