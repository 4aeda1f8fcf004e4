"""US units beside SI in finished text."""

from __future__ import annotations

import pytest

from winchsim.report.us import beside_us


@pytest.mark.parametrize(
    ("text", "both"),
    [
        ("Lifts 25 kg by 0.5 m in 73.4 s.", "Lifts 25 kg (55.1 lb) by 0.5 m (1.64 ft) in 73.4 s."),
        ("at 6.67 mm/s", "at 6.67 mm/s (0.263 in/s)"),
        ("passes 120 °C", "passes 120 °C (248 °F)"),
        ("bears 13.6 N·m and 85.2 N", "bears 13.6 N·m (120 lbf·in) and 85.2 N (19.2 lbf)"),
        ("down by -34 mm", "down by -34 mm (−1.34 in)"),
        ("falls with 123 J", "falls with 123 J (90.7 ft·lbf)"),
        ("1.50e+08 N", "1.50e+08 N (3.37e+07 lbf)"),
    ],
)
def test_both(text, both):
    assert beside_us(text) == both


@pytest.mark.parametrize(
    "text",
    [
        "7 walls, 5 min, 6.00 A",
        "stage 2 (3rd of 5)",
        "motors.1.rotor_inertia",
        "0.5 K/W",
        "3 N·m·s/rad",
        "12 kg·m²x",
    ],
)
def test_left_alone(text):
    assert beside_us(text) == text


def test_digits_follow_the_si_number():
    assert beside_us("9.80665 m/s²") == "9.80665 m/s² (32.174 ft/s²)"
