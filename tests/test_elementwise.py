"""Choices for floats and arrays: the array's answer is each float's."""

import numpy as np
import pytest

from winchsim.elementwise import dead_band, larger, pick, plain, positive, smaller

_A = np.array([-2.0, 0.0, 3.0, 0.5])
_B = np.array([1.0, 0.0, -3.0, 0.7])


@pytest.mark.parametrize(
    ("function", "expected"), [(larger, [1.0, 0.0, 3.0, 0.7]), (smaller, [-2.0, 0.0, -3.0, 0.5])]
)
def test_of_two(function, expected):
    assert function(_A, _B).tolist() == expected
    assert [function(float(a), float(b)) for a, b in zip(_A, _B, strict=True)] == expected
    assert function(_A, 0.6).tolist() == [function(float(a), 0.6) for a in _A]


def test_positive_part():
    assert positive(_A).tolist() == [positive(float(a)) for a in _A] == [0.0, 0.0, 3.0, 0.5]


def test_pick():
    assert pick(_A > 0, 1.0, _B).tolist() == [
        pick(bool(a > 0), 1.0, float(b)) for a, b in zip(_A, _B, strict=True)
    ]


def test_dead_band():
    wanted = [-1.4, 0.0, 2.4, 0.0]
    assert dead_band(_A, 0.6) == pytest.approx(wanted)
    assert [dead_band(float(a), 0.6) for a in _A] == pytest.approx(wanted)
    assert dead_band(_A, np.abs(_B)).tolist() == [
        dead_band(float(a), abs(float(b))) for a, b in zip(_A, _B, strict=True)
    ]
    assert [dead_band(float(a), 0.0) for a in _A] == _A.tolist()


def test_plain_numbers():
    for single in (2, 2.0, np.float64(2.0), np.array(2)):
        assert plain(single) == 2.0 and type(plain(single)) is float
    assert plain([1, 2]).tolist() == [1.0, 2.0] and plain([1, 2]).dtype == float
