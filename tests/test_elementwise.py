"""Choices for floats and arrays: the array's answer is each float's."""

import numpy as np
import pytest

from winchsim.elementwise import larger, pick, positive, smaller

_A = np.array([-2.0, 0.0, 3.0, 0.5])
_B = np.array([1.0, 0.0, -3.0, 0.7])


@pytest.mark.parametrize(("function", "expected"), [(larger, [1.0, 0.0, 3.0, 0.7]), (smaller, [-2.0, 0.0, -3.0, 0.5])])
def test_of_two(function, expected):
    assert function(_A, _B).tolist() == expected
    assert [function(float(a), float(b)) for a, b in zip(_A, _B, strict=True)] == expected
    assert function(_A, 0.6).tolist() == [function(float(a), 0.6) for a in _A]


def test_positive_part():
    assert positive(_A).tolist() == [positive(float(a)) for a in _A] == [0.0, 0.0, 3.0, 0.5]


def test_pick():
    assert pick(_A > 0, 1.0, _B).tolist() == [pick(bool(a > 0), 1.0, float(b)) for a, b in zip(_A, _B, strict=True)]
