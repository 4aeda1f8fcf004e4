"""Links: factor, state, order and what an estimate rests on."""

import math

import pytest

from winchsim.errors import DomainError
from winchsim.strength.link import Link, LinkKind, LinkState, Strength, weakest_basis, worst_first


def _link(demand, required=2.0, value=100.0, low=80.0, high=150.0, where="stage.1"):
    return Link(LinkKind.TOOTH_GEAR, where, Strength(value, "N", "tabled", low, high), demand, required)


@pytest.mark.parametrize(
    ("demand", "state"),
    [(0.0, LinkState.HOLDS), (50.0, LinkState.HOLDS), (50.1, LinkState.CAUTION), (100.0, LinkState.CAUTION),
     (100.1, LinkState.BREAKS)],
)  # fmt: skip
def test_state_turns_at_the_required_factor_and_at_one(demand, state):
    assert _link(demand).state is state


def test_factor_and_its_range():
    assert _link(40.0).factor == pytest.approx(2.5)
    assert _link(40.0).factor_range == pytest.approx((2.0, 3.75))
    assert _link(0.0).factor == math.inf
    assert _link(0.0).factor_range == (math.inf, math.inf)


def test_weakest_link_comes_first_and_ties_keep_their_order():
    links = [_link(10.0, where="a"), _link(90.0, where="b"), _link(50.0, where="c"), _link(90.0, where="d")]
    assert [link.where for link in worst_first(links)] == ["b", "d", "c", "a"]


def test_an_estimate_is_only_as_good_as_its_worst_part():
    assert weakest_basis("given", "tabled") == "tabled"
    assert weakest_basis("tested", "from memory", "given") == "from memory"
    assert weakest_basis("tested") == "tested"
    with pytest.raises(DomainError):
        weakest_basis()


def test_impossible_values_are_refused():
    with pytest.raises(DomainError, match="demand"):
        _link(-1.0)
    with pytest.raises(DomainError, match="demand"):
        _link(math.nan)
    with pytest.raises(DomainError, match="range"):
        _link(1.0, low=110.0)
    with pytest.raises(DomainError, match="strength"):
        _link(1.0, value=-1.0)
