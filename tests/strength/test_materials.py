"""Rows of the materials table: origins, ranges, friction look-up and materials of one's own."""

import math
from typing import get_args

import pytest

from winchsim.errors import DomainError
from winchsim.strength.materials import (
    Family,
    FrictionPair,
    Material,
    Origin,
    RopeMaterial,
    creeps,
    cycles_to_failure,
    find_friction,
    own_material,
    sourced_values,
)

BOOK = Origin("a book", 0.1, 0.3)


def _polymer(name, family="moulded polymer"):
    return Material(
        name,
        family,
        1400.0,
        60e6,
        2.5e9,
        origins={"tensile_strength": Origin("from memory", 50e6, 70e6)},
    )


def _metal(name):
    return Material(
        name,
        "metal",
        7850.0,
        400e6,
        210e9,
        yield_strength=235e6,
        origins={"yield_strength": Origin("a book")},
    )


PAIRS = (
    FrictionPair("polymer", "polymer", False, 0.35, {"friction": BOOK}),
    FrictionPair("polymer", "metal", False, 0.20, {"friction": BOOK}),
    FrictionPair("A", "polymer", False, 0.25, {"friction": BOOK}),
    FrictionPair("A", "B", False, 0.18, {"friction": BOOK}),
    FrictionPair("A", "metal", True, 0.09, {"friction": BOOK}),
)


@pytest.mark.parametrize(
    ("first", "second", "greased", "friction"),
    [
        (_polymer("C"), _polymer("D"), False, 0.35),
        (_polymer("A"), _polymer("C"), False, 0.25),
        (_polymer("C"), _polymer("A"), False, 0.25),
        (_polymer("B"), _polymer("A"), False, 0.18),
        (_metal("rod"), _polymer("A"), False, 0.20),
        (_metal("rod"), _polymer("A"), True, 0.09),
    ],
)
def test_friction_prefers_names_to_families_in_either_order(first, second, greased, friction):
    assert find_friction(PAIRS, first, second, greased).friction == friction


def test_no_friction_is_invented():
    with pytest.raises(DomainError, match="rod on pin, dry"):
        find_friction(PAIRS, _metal("rod"), _metal("pin"), False)


def test_origins_and_ranges():
    row = _polymer("A")
    assert row.span("tensile_strength") == (50e6, 70e6)
    assert row.basis("tensile_strength") == "from memory"
    assert _metal("rod").span("yield_strength") == (235e6, 235e6)
    assert _metal("rod").basis("yield_strength") == "tabled"


def test_a_metal_gives_way_at_yield_and_a_polymer_where_it_breaks():
    assert (_metal("rod").bearing_strength, _metal("rod").bearing_key) == (235e6, "yield_strength")
    assert (_polymer("A").bearing_strength, _polymer("A").bearing_key) == (60e6, "tensile_strength")


def test_own_material_marks_what_it_was_not_given():
    row = own_material("shop PLA", "printed polymer", {"tensile_strength": 40e6, "density": 1240.0})
    assert row.family == "printed polymer" and row.density == 1240.0
    assert row.basis("tensile_strength", "density") == "given"
    assert (
        row.basis("softening")
        == row.basis("across_layers")
        == row.basis("elastic_modulus")
        == "from memory"
    )
    assert (row.softening, row.across_layers, row.span("across_layers")) == (
        60.0,
        0.6,
        (0.33, 0.85),
    )
    assert (row.tooth_key, row.tooth_stress, row.basis("flexural_strength")) == (
        "flexural_strength",
        60e6,
        "from memory",
    )
    known = own_material(
        "shop PLA",
        "printed polymer",
        {"tensile_strength": 40e6, "softening": 58.0, "across_layers": 0.8},
    )
    assert known.basis("softening", "tensile_strength", "across_layers") == "given"
    assert known.span("across_layers") == (0.8, 0.8)


def test_own_metal_gives_way_at_its_yield():
    known = own_material(
        "axle",
        "metal",
        {"tensile_strength": 600e6, "yield_strength": 450e6, "service_limit": 300.0},
    )
    assert (known.bearing_strength, known.basis("yield_strength"), known.service_limit) == (
        450e6,
        "given",
        300.0,
    )
    unknown = own_material("axle", "metal", {"tensile_strength": 600e6})
    assert (unknown.bearing_strength, unknown.basis("yield_strength")) == (300e6, "from memory")
    assert unknown.span("yield_strength") == pytest.approx((240e6, 510e6))
    assert (unknown.softening, unknown.across_layers) == (None, None)


@pytest.mark.parametrize("family", get_args(Family))
def test_every_number_of_a_material_can_be_given(family):
    given = {key: 0.5 + place for place, key in enumerate(sourced_values(Material))}
    row = own_material("x", family, given, fatigue_source="own test")
    assert {key: getattr(row, key) for key in given} == given
    assert {row.basis(key) for key in given if not key.startswith("fatigue")} == {"given"}


def test_every_number_of_a_row_declares_its_unit():
    assert sourced_values(Material)["density"] == ("kg/m³", "density")
    assert set(sourced_values(RopeMaterial)) == {
        "strength_per_area",
        "stiffness_ratio",
        "mass_per_volume",
        "knot_efficiency",
        "splice_efficiency",
        "bend_ratio",
    }
    assert list(sourced_values(PAIRS[0])) == ["friction"]


def test_a_friction_pair_names_itself():
    assert PAIRS[4].name == "A on metal, greased"


def test_a_tooth_gives_way_at_the_strength_of_its_own_kind():
    printed = Material("P", "printed polymer", 1250.0, 50e6, 3e9, flexural_strength=87e6)
    assert (printed.tooth_stress, printed.bearing_strength) == (87e6, 50e6)
    assert (_polymer("A").tooth_stress, _metal("rod").tooth_stress) == (60e6, 235e6)


FATIGUE = {"fatigue_stress": 5e6, "fatigue_cycles": 2e6, "fatigue_slope": 5.5}


def test_cycles_along_a_line_with_the_range_of_the_strength():
    row = own_material("x", "printed polymer", {"tensile_strength": 50e6, **FATIGUE}, "own test")
    assert cycles_to_failure(0.1, row) == pytest.approx((2e6, 2e6, 2e6))
    low, best, high = cycles_to_failure(0.2, row, spread=2.0)
    assert (low, best, high) == pytest.approx((2e6 / 4**5.5, 2e6 / 2**5.5, 2e6))
    assert cycles_to_failure(1.0, row) == (1.0, 1.0, 1.0)
    assert cycles_to_failure(0.6, row, spread=2.0)[0] == 1.0
    assert cycles_to_failure(0.0, row) == (math.inf, math.inf, math.inf)


def test_a_line_of_fatigue_is_known_whole_or_not_at_all():
    assert cycles_to_failure(0.3, _polymer("A")) is None
    half = {key: FATIGUE[key] for key in ("fatigue_stress", "fatigue_cycles")}
    assert (
        cycles_to_failure(
            0.3, own_material("x", "metal", {"tensile_strength": 50e6, **half}, "own test")
        )
        is None
    )


def test_an_uncertain_slope_widens_the_life():
    row = Material(
        "A",
        "printed polymer",
        1070.0,
        40e6,
        2e9,
        origins={"fatigue_slope": Origin("from memory", 4.0, 9.0)},
        fatigue_stress=10e6,
        fatigue_cycles=1e6,
        fatigue_slope=5.0,
    )
    assert cycles_to_failure(0.5, row) == pytest.approx((1e6 / 2**9, 1e6 / 2**5, 1e6 / 2**4))
    assert cycles_to_failure(0.125, row) == pytest.approx((1e6 * 2**4, 1e6 * 2**5, 1e6 * 2**9))


def test_creep_is_a_matter_of_polymers_under_half_their_strength_or_too_warm():
    row = own_material("x", "printed polymer", {"tensile_strength": 50e6, "service_limit": 50.0})
    assert [creeps(share, 23.0, row) for share in (0.0, 0.5, 0.51)] == [False, False, True]
    assert [creeps(0.05, at, row) for at in (50.0, 50.1)] == [False, True]
    assert not creeps(0.9, 23.0, _metal("rod"))
