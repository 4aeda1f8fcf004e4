"""Names and numbers in sentences."""

from __future__ import annotations

import pytest

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


@pytest.mark.parametrize(
    ("share", "plain", "signed"),
    [
        (0.0057, "0.57 %", "+0.57 %"),
        (-0.023, "-2.30 %", "-2.30 %"),
        (0.0, "0.00 %", "+0.00 %"),
        (12.3456, "1234.6 %", "+1234.6 %"),
    ],
)
def test_fixed_percent(share, plain, signed):
    assert (words.fixed_percent(share, 2), words.fixed_percent(share, 2, signed=True)) == (plain, signed)


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
