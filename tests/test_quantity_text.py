"""Numbers as text: how many digits are printed, and never more than they deserve."""

import math

import pytest
from hypothesis import given, settings, strategies as st

from winchsim.quantity_text import number, quantity, round_numbers, rounded, show


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 3, "0"), (1.0, 3, "1"), (0.012345, 3, "0.0123"), (999.6, 3, "1000"), (9.996, 3, "10"), (1234.4, 3, "1230"),
        (56784.0, 3, "56800"), (123456.0, 2, "120000"), (-56784.0, 3, "−56800"), (123456.0, 6, "123456"),
        (12345678.0, 3, "1.23e+07"),
        (4.2e-5, 2, "4.2e−05"), (math.nan, 3, "not known"), (math.inf, 3, "no limit"), (-math.inf, 3, "−no limit"),
    ],
)  # fmt: skip
def test_significant_digits(value, digits, text):
    assert number(value, digits) == text


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-4, 9e6), st.integers(1, 6))
def test_what_is_printed_is_within_half_a_unit_of_its_last_digit(value, digits):
    last = 10.0 ** (math.floor(math.log10(value)) + 1 - digits)
    assert (
        abs(float(number(value, digits).replace("−", "-")) - value)
        <= 0.5 * last * (1 + 1e-9) + 1e-12 * value
    )


def test_a_unit_follows_its_number():
    assert (quantity(12.3456, "kg"), quantity(None, "kg")) == ("12.3 kg", "not known")


def test_rounding_down_never_goes_up_nor_up_down():
    for value in (0.0123456, 1.23999, 13.88, 99.99, 1234.5, 25.0, 0.007, 9.999):
        low, high = rounded(value, 3), rounded(value, 3, up=True)
        assert low <= value * (1 + 1e-9) and high >= value * (1 - 1e-9)
        assert high <= low * 1.0101
    assert rounded(25.0, 3) == rounded(25.0, 3, up=True) == 25.0
    assert (rounded(7.089, 2), rounded(7.089, 2, up=True)) == (7.0, 7.1)


def test_numbers_of_three_digits_between_two():
    assert round_numbers(0.9975, 1.025) == [0.998, 0.999, 1.0, 1.01, 1.02]
    assert round_numbers(1.23, 1.24) == []
    assert len(round_numbers(1e-3, 1.0)) == 3 * 900 - 1


@pytest.mark.parametrize(
    ("numbers", "texts"),
    [
        ((2.604, 1.912, 3.087), ("2.6", "1.9", "3.1")),
        ((1.149, 0.951, 1.402), ("1.15", "0.95", "1.40")),
        ((570.6, 0.0, 2282.0), ("600", "0", "2300")),
        ((0.996, 0.83, 1.21, 1.0), ("0.996", "0.830", "1.210")),
        ((0.5, 0.4, 120.0), ("0.5", "0.4", "120")),
        ((0.05,), ("0.05", "", "")),
        ((1234.5,), ("1230", "", "")),
        ((120.4, None, None, 120.0), ("120.4", "", "")),
        ((0.0, 0.0, 0.0), ("0", "0", "0")),
        ((-0.31, -0.92, 0.41, 0.0), ("−0.3", "−0.9", "0.4")),
        ((5.0, 1.0, math.inf), ("5.0", "1.0", "no limit")),
    ],
)
def test_a_number_with_its_range(numbers, texts):
    assert show(*numbers) == texts


def test_a_range_in_a_printed_unit():
    assert show(0.0123, 0.011, 0.0136, unit="mm") == ("12.3", "11.0", "13.6")


finite = st.floats(1e-3, 1e6) | st.floats(-1e6, -1e-3) | st.just(0.0)


@given(st.tuples(finite, finite, finite), st.none() | finite)
@settings(max_examples=2000, deadline=None)
def test_a_shown_range_keeps_order_and_its_value_the_side_of_the_limit(numbers, limit):
    low, value, high = sorted(numbers)
    back = [float(text.replace("−", "-")) for text in show(value, low, high, limit)]
    assert back[1] <= back[0] <= back[2]
    for exact, read in zip((value, low, high), back, strict=True):
        assert abs(read - exact) <= max(0.06 * abs(exact), 0.51 * (high - low))
    if limit is not None:
        sides = (value > limit, value < limit), (back[0] > limit, back[0] < limit)
        assert sides[0] == sides[1] or math.isclose(value, limit, rel_tol=1e-11)  # twelve digits
