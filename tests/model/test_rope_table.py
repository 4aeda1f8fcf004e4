"""What a winch takes from the table of ropes where its scenario does not say it, and how the rope
ends."""

import pytest

from winchsim.model import build
from winchsim.scenario.materials_table import load_ropes
from winchsim.simulation import simulate
from winchsim.strength.link import LinkKind

LEFT_OUT = {
    "mass_per_length": None,
    "axial_stiffness": None,
    "breaking_force": None,
    "knot_efficiency": None,
}


def _assumed(machine, path):
    return next((row for row in machine.assumed if row.path == path), None)


@pytest.mark.parametrize("material", ["polyester", "steel wire 6x19"])
def test_weight_and_stretch_come_from_the_table_and_are_listed(small, material):
    row, area = load_ropes()[material], 0.002**2
    machine = build(small(rope={**LEFT_OUT, "material": material}))
    assert machine.line.mass_per_length == pytest.approx(row.mass_per_volume * area)
    assert machine.line.stiffness == pytest.approx(
        row.stiffness_ratio * row.strength_per_area * area
    )
    weight = _assumed(machine, "rope.mass_per_length")
    assert (weight.value, weight.unit) == (machine.line.mass_per_length, "g/m")
    assert (weight.low, weight.high) == pytest.approx(
        [density * area for density in row.span("mass_per_volume")]
    )


def test_a_weight_that_is_given_is_not_assumed(small):
    bare = build(small(rope={"mass_per_length": 0.0}, given=frozenset({"rope.mass_per_length"})))
    assert bare.line.mass_per_length == 0.0 and _assumed(bare, "rope.mass_per_length") is None
    assert bare.body.rope_mass == 0.0


def test_ten_metres_of_wire_rope_weigh_on_the_motors(small):
    # 6 mm wire rope 6x7 weighs 124 g/m (EN 12385 family, factor 0.345 of K. Feyrer, Wire Ropes,
    # Table 1.9): of 10 m hang 10.
    rope = {"material": "steel wire 6x7", "diameter": 0.006, "breaking_force": None}
    load = {"mass": 4.0, "height": 0.1, "drum_height": 10.0}
    drum = {"diameter": 0.012, "width": 0.2}
    weighs = build(small(rope={**rope, "mass_per_length": None}, load=load, drum=drum))
    bare = build(small(rope=rope, load=load, drum=drum))
    assert weighs.scales.pull - bare.scales.pull == pytest.approx(
        10.0 * 0.0345 * 0.36 * 9.80665 * 10, rel=4e-3
    )


def test_a_splice_keeps_more_than_a_knot(small):
    def end(**rope):
        return next(
            k for k in build(small(rope={**LEFT_OUT, **rope})).links if k.kind is LinkKind.ROPE_KNOT
        )

    knot, splice = end(), end(end="splice")
    assert (knot.label, splice.label) == ("rope at its knot", "rope at its splice")
    row = load_ropes()["polyester"]
    assert splice.strength.value / knot.strength.value == pytest.approx(
        row.splice_efficiency / row.knot_efficiency
    )
    assert end(end="splice", knot_efficiency=0.8).strength.value < splice.strength.value
    assert _assumed(build(small()), "rope.end").value == "knot"


def test_a_broken_splice_is_called_one(small):
    record = simulate(
        small(rope={**LEFT_OUT, "end": "splice", "breaking_force": 90.0, "knot_efficiency": 0.6})
    )
    assert [record.machine.links[d.link].label for d in record.demands if d.share >= 1 - 1e-6] == [
        "rope at its splice"
    ]
