"""Names and numbers in sentences."""

from __future__ import annotations

from dataclasses import replace

import pytest

from winchsim.model import build
from winchsim.verdict import words


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(25.0, "kg", "25 kg"), (0.5, "m", "0.5 m"), (7.0, "", "7"), (0.0078, "mm", "7.8 mm"), (3e7, "N", "3.000e+07 N")],
)
def test_given(value, unit, text):
    assert words.given(value, unit) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.5, "0.500 m"), (0.1, "0.100 m"), (0.03421, "34 mm"), (0.0, "0 mm")]
)  # fmt: skip
def test_length(value, text):
    assert words.length(value) == text


@pytest.mark.parametrize(("value", "text"), [(73.43, "73.4 s"), (0.00559, "5.59 ms"), (601.0, "10.0 min"), (0.0, "0 s")])
def test_duration(value, text):
    assert words.duration(value) == text


@pytest.mark.parametrize(("count", "text"), [(1, "1 motor"), (2, "2 motors"), (0, "0 motors")])
def test_counted(count, text):
    assert words.counted(count, "motor") == text


@pytest.mark.parametrize(
    ("names", "text"), [((), ""), (("a",), "a"), (("a", "b"), "a and b"), (("a", "b", "c"), "a, b and c")]
)  # fmt: skip
def test_listed(names, text):
    assert words.listed(names) == text


@pytest.mark.parametrize(
    ("label", "text"), [("stage 1", "stage 1"), ("stage 1, 5th of 5", "stage 1 (5th of 5)")]
)  # fmt: skip
def test_bracketed(label, text):
    assert words.bracketed(label) == text


def test_every_link_has_a_name_of_its_own(small):
    spur = {"kind": "spur", "ratio": None, "pinion": 12, "gear": 36, "module": 0.001, "width": 0.01, "shaft_diameter": 0.005,
            "torque_limit": 30.0, "repeat": 2}  # fmt: skip
    inputs = small(drum={"cross_pin_diameter": 0.002, "support_span": 0.06})
    machine = build(replace(inputs, stage=(replace(inputs.stage[0], **spur),)))
    names = [words.link_name(machine, link) for link in machine.links]
    assert len(set(names)) == len(names)
    assert "pinion tooth of stage 1 (2nd of 2)" in names and "output shaft of stage 1 (1st of 2)" in names
    assert "cross-pin of the drum" in names and "drum rod between its supports" in names


@pytest.mark.parametrize(("time", "text"), [(0.0, "at once"), (3.2, "after 3.20 s"), (0.004, "after 4.00 ms")])
def test_after(time, text):
    assert words.after(time) == text
