"""The drawing of the build: distances, meshing, counts and words are those of the scenario."""

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.inputs import Stage, with_value
from winchsim.model import build
from winchsim.report.figures.look import COLUMN, LOOKS
from winchsim.report.figures.plan import outline, plan_of, turns_of
from winchsim.report.figures.schematic import schematic


@pytest.fixture(scope="module")
def plan(scenario):
    """Plan of the geared build."""
    return plan_of(scenario)


def _pairs(plan):
    """Each pinion with the gear that it drives."""
    common = next(gear for gear in plan.gears if not gear.driver)
    found = [(gear, common) for gear in plan.gears if gear.shaft == -1]
    rest = [gear for gear in plan.gears if gear.shaft >= 0 and gear is not common]
    found += zip(rest[::2], rest[1::2], strict=True)
    assert len(found) == 6
    return found


def test_pitch_circles_touch(plan):
    for pinion, gear in _pairs(plan):
        distance = math.hypot(pinion.x - gear.x, pinion.y - gear.y)
        assert distance == pytest.approx(pinion.radius + gear.radius)
        assert distance == pytest.approx((pinion.teeth + gear.teeth) * pinion.module / 2)


def test_a_tooth_meets_a_gap(plan):
    """On the line of centres the pinion and the gear are half a pitch apart."""
    for pinion, gear in _pairs(plan):
        towards = math.atan2(gear.y - pinion.y, gear.x - pinion.x)
        first = (towards - pinion.turn) / (2 * math.pi / pinion.teeth)
        second = (towards + math.pi - gear.turn) / (2 * math.pi / gear.teeth)
        assert math.cos(2 * math.pi * (first + second)) == pytest.approx(-1.0, abs=1e-6)


def test_gears_on_a_shaft_share_its_axis_and_the_last_is_the_drum(plan):
    for gear in plan.gears:
        if gear.shaft >= 0:
            assert (gear.x, gear.y) == pytest.approx(plan.shafts[gear.shaft])
    assert len(plan.shafts) == 4 and plan.drum == plan.shafts[3]


def test_outline_has_its_teeth(plan):
    gear = plan.gears[-1]
    radii = np.hypot(*(np.array(outline(gear)) - (gear.x, gear.y)).T)
    assert np.isclose(radii, gear.tip).sum() == 2 * gear.teeth
    assert gear.tip - gear.root == pytest.approx(2.25 * gear.module)


def test_motors_of_known_size_that_do_not_fit_are_told(scenario):
    body = with_value(scenario, "motors.1.body_diameter", 0.024)
    crowd = with_value(body, "motors.1.count", 12)
    few, many = (plan_of(inputs) for inputs in (body, crowd))
    assert not few.crowded and many.crowded
    spots = [(m.x, m.y) for m in few.motors]
    assert min(math.dist(a, b) for i, a in enumerate(spots) for b in spots[:i]) >= 0.024
    assert "the motors do not all fit around their gear" in _words(
        schematic(crowd, COLUMN, build(crowd))
    )


def _words(figure) -> str:
    return "\n".join(text.get_text() for text in figure.axes[0].texts)


def test_turns_are_those_of_the_drum(scenario):
    machine = build(scenario)
    turns = turns_of(machine, scenario)
    wound = sum(2 * math.pi * radius for _, radius, _ in turns)
    last = machine.wound_at_start + 0.25
    assert wound - 2 * math.pi * turns[-1][1] < last <= wound + 1e-9
    assert sum(dead for _, _, dead in turns) == 3
    assert {radius for _, radius, _ in turns} == {
        layer.radius for layer in machine.layers if layer.start < last
    }
    assert all(0.0015 <= along <= 0.0135 + 1e-12 for along, _, _ in turns)


def test_drawing_is_to_scale(scenario):
    figure = schematic(scenario, COLUMN, build(scenario))
    circles = [
        patch for patch in figure.axes[0].patches if str(patch.get_gid()).startswith("pitch-")
    ]
    drum = next(patch for patch in figure.axes[0].patches if patch.get_gid() == "drum")
    assert len(circles) == 3 + 1 + 2 * 3
    per = circles[-1].radius / (45 * 1.5e-3 / 2)
    assert drum.radius / per == pytest.approx(0.006)
    assert sorted({round(circle.radius / per, 9) for circle in circles}) == pytest.approx(
        [0.006, 0.01125, 0.024, 0.03375]
    )


def test_numbers_are_written(scenario):
    words = _words(schematic(scenario, COLUMN, build(scenario)))
    assert "3 motors, 6 V" in words and "6 kg" in words and "0.25 m" in words
    assert "stage 1: 3 times 12 to 48 teeth, module 1 mm, 4:1 each" in words
    assert "stage 2: 15 to 45 teeth, module 1.5 mm, 3:1" in words and "whole train 192:1" in words
    assert {"48", "45"} <= set(words.split("\n"))
    assert "0.472 in" in _words(schematic(scenario, replace(COLUMN, us=True), build(scenario)))


def test_a_wrong_tooth_count_is_seen(scenario):
    wrong = with_value(scenario, "stage.2.gear", 54)
    words = _words(schematic(wrong, COLUMN, build(wrong)))
    assert "54" in words.split("\n") and "45" not in words.split("\n") and "15 to 54 teeth" in words


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
@pytest.mark.parametrize(
    "name", ["as it is", "belt", "no train", "many stages", "falls", "big drum"]
)
def test_no_text_leaves_the_drawing(scenario, see, look, name):
    belt = Stage(kind="belt", ratio=3.0, efficiency=0.9)
    spur = Stage(pinion=14, gear=20, module=0.001, width=0.01, material="steel")
    fast = scenario.motors[0]
    slow = replace(
        fast, no_load_speed=fast.no_load_speed / 100, stall_torque=90 * fast.stall_torque
    )
    inputs = {
        "as it is": scenario,
        "belt": replace(scenario, stage=(scenario.stage[0], belt, belt)),
        "no train": replace(scenario, stage=(), motors=(slow,)),
        "many stages": replace(
            scenario, stage=tuple(replace(spur, pinion=12 + n) for n in range(12))
        ),
        "falls": replace(scenario, rope=replace(scenario.rope, falls=4)),
        "big drum": replace(scenario, drum=replace(scenario.drum, diameter=0.2, width=0.2)),
    }[name]
    figure = schematic(inputs, look, build(inputs))
    assert see.texts_beyond(figure) == []
    assert figure.axes[0].get_xlim() == (0, look.width)
    for patch in figure.axes[0].patches:
        if patch.get_gid() in ("motor", "drum"):
            x, _ = patch.center
            assert patch.radius - 0.01 <= x <= look.width - patch.radius + 0.01
