"""Links: factor, state, order and what an estimate rests on."""

import ast
import dataclasses
import math
from pathlib import Path

import pytest

import winchsim
from winchsim.inputs import Factors
from winchsim.strength.link import (
    LINKS,
    LinkKind,
    LinkState,
    combined_range,
    link_state,
    weakest_basis,
)


def _state(demand, low=80.0, high=150.0):
    """State of a link of 100 N that has to keep a factor of 2."""
    return link_state(*(end / demand if demand else math.inf for end in (100.0, low, high)), 2.0)


@pytest.mark.parametrize(
    ("demand", "state", "known"),
    [
        (0.0, LinkState.HOLDS, {}),
        (50.0, LinkState.HOLDS, {}),
        (50.1, LinkState.CAUTION, {}),
        (80.0, LinkState.CAUTION, {}),
        (80.1, LinkState.MAY_BREAK, {}),
        (150.0, LinkState.MAY_BREAK, {}),
        (150.1, LinkState.BREAKS, {}),
        (99.0, LinkState.CAUTION, {"low": 100.0, "high": 100.0}),
        (101.0, LinkState.BREAKS, {"low": 100.0, "high": 100.0}),
    ],
)
def test_it_may_break_where_its_range_crosses_the_demand_and_breaks_above_it(demand, state, known):
    assert _state(demand, **known) is state


def test_independent_ranges_combine_as_root_of_squares():
    assert combined_range((0.5, 1.0, 2.0)) == pytest.approx((0.5, 2.0))
    low, high = combined_range((1.0, 2.0, 4.0), (0.5, 1.0, 1.0))
    assert (low, high) == pytest.approx((math.exp(-math.sqrt(2) * math.log(2)), 2.0))
    assert combined_range() == (1.0, 1.0)


def test_an_estimate_is_only_as_good_as_its_worst_part():
    assert weakest_basis("given", "tabled") == "tabled"
    assert weakest_basis("tested", "from memory", "given") == "from memory"
    assert weakest_basis("tested") == "tested"


def test_every_kind_of_link_has_its_words():
    assert list(LINKS) == list(LinkKind)
    for words in LINKS.values():
        assert words.search_words == tuple(word.lower() for word in words.search_words) != ()
    assert len({words.part for words in LINKS.values()}) == len(LINKS)


def test_every_required_factor_belongs_to_a_kind_of_link():
    asked = {
        kind: words.required for kind, words in LINKS.items() if kind is not LinkKind.STAGE_LIMIT
    }
    assert set(asked.values()) == {field.name for field in dataclasses.fields(Factors)}
    assert LINKS[LinkKind.STAGE_LIMIT].required == ""


def test_tables_by_the_kind_of_link_are_those_that_are_known():
    package = Path(winchsim.__file__).parent
    known = {
        package / "strength" / "link.py",
        package / "assessment" / "actions.py",
        package / "studies" / "calibrate" / "evidence.py",
    }
    found = set()
    for file in package.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Dict | ast.DictComp) and any(
                isinstance(key, ast.Attribute) and ast.unparse(key.value).endswith("LinkKind")
                for key in getattr(node, "keys", None) or [getattr(node, "key", None)]
            ):
                found.add(file)
    assert found == known
