"""The declarations of the inputs hang together: bounds, usual ranges, conditions, assumed
defaults."""

import math

import pytest

from winchsim.face import parse as loads
from winchsim.inputs import GROUPS, Inputs, out_of_bounds, specs
from winchsim.inputs.scenario import FACTORS
from winchsim.inputs.spec import positive
from winchsim.quantity_text import from_unit
from winchsim.scenario.starter import STARTER

STARTED = loads(STARTER)


def declared(table: type = Inputs, group: str = ""):
    """Every declaration with its table and key."""
    for key, spec in specs(table).items():
        yield pytest.param(table, key, spec, group or spec.group, id=f"{table.__name__}.{key}")
        if spec.table:
            yield from declared(spec.table, group or spec.group)


every = pytest.mark.parametrize(("table", "key", "spec", "group"), list(declared()))


@every
def test_a_declaration_is_complete(table, key, spec, group):
    assert group in GROUPS
    assert spec.meaning and spec.label
    default = spec.default
    if spec.kind in ("quantity", "number", "integer"):
        assert spec.low < spec.high and math.isfinite(spec.high - spec.low)
        low, high = spec.usual or (spec.low, spec.high)
        assert spec.low <= low < high <= spec.high
        if isinstance(default, float):
            assert out_of_bounds(spec, default) == ""
            counted = key == "dead_turns"  # on the drum, not estimated
            assert spec.assumed or spec.quiet or counted or group == FACTORS
    if spec.assumed:
        low, high, source = spec.assumed
        assert spec.low <= low <= default <= high <= spec.high and low < high
        assert source


def test_a_condition_names_a_choice_of_the_same_table():
    conditions = [
        (p.values[0], *p.values[2].condition) for p in declared() if p.values[2].condition
    ]
    assert len(conditions) > 10
    for table, other, values in conditions:
        assert set(values) <= set(specs(table)[other].choices)


def test_a_value_applies_where_its_condition_is_met():
    stage = STARTED.stage[0]
    assert specs(type(stage))["gear"].applies_to(stage)
    assert not specs(type(stage))["ratio"].applies_to(stage)
    assert specs(type(stage))["repeat"].applies_to(stage)


def test_names_refer_to_a_table_of_the_scenario():
    named = [param.values[2].names for param in declared() if param.values[2].names]
    assert set(named) == {"materials", "ropes"}
    assert all(getattr(STARTED, name) for name in named)


@pytest.mark.parametrize("value", [200000.0, 123456.0])
def test_a_bound_in_the_printed_unit_is_itself_accepted(value):
    spec = positive("speed", "rpm", value).metadata["spec"]
    assert out_of_bounds(spec, from_unit(value, "rpm")) == ""
    assert out_of_bounds(spec, value * math.pi * (1 / 30)) == ""
    assert f"at most {value:.0f} rpm" in out_of_bounds(spec, from_unit(value, "rpm") * 1.001)
    assert out_of_bounds(spec, 0.0)
