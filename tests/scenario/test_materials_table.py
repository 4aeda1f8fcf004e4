"""The materials table that comes with winchsim, and what its reader refuses."""

import pytest

from winchsim.errors import InputError
from winchsim.scenario.materials_table import (
    load_friction_pairs,
    load_materials,
    load_ropes,
    read_tables,
)
from winchsim.strength.materials import find_friction, sourced_values

ROW = """
[source]
"paper" = "A. Author, A Paper"
[[material]]
name = "X"
family = "printed polymer"
density = { value = "1.2 g/cm³", source = "paper" }
tensile_strength = { value = "50 MPa", low = "40 MPa", high = "55 MPa", source = "paper", range = "from memory" }
elastic_modulus = { value = "2 GPa", source = "from memory: data sheets" }
"""


def test_common_materials_are_there():
    names = load_materials()
    assert {
        "PLA",
        "PETG",
        "ABS",
        "ASA",
        "PA",
        "PC",
        "POM",
        "PA66",
        "steel",
        "brass",
        "aluminium",
    } <= names.keys()
    assert {"polyester", "nylon", "polypropylene", "HMPE", "steel wire 6x7"} <= load_ropes().keys()


def test_every_value_has_a_source_and_lies_in_its_range():
    rows = [*load_materials().values(), *load_ropes().values(), *load_friction_pairs()]
    assert len(rows) > 30
    for row in rows:
        for key in sourced_values(row):
            if getattr(row, key) is None:
                continue
            assert row.origin(key).source
            low, high = row.span(key)
            assert low <= getattr(row, key) <= high


def test_families_have_what_their_calculation_needs():
    for row in load_materials().values():
        if row.family == "metal":
            assert row.yield_strength is not None
            assert row.softening is None
        else:
            assert row.softening is not None
            assert row.yield_strength is None
        assert (row.across_layers is not None) is (row.family == "printed polymer")


def test_every_pair_of_materials_finds_its_friction():
    rows = list(load_materials().values())
    for greased in (False, True):
        for first in rows:
            for second in rows:
                pair = find_friction(load_friction_pairs(), first, second, greased)
                assert pair is find_friction(load_friction_pairs(), second, first, greased)
                assert 0.0 < pair.friction < 1.0


def test_grease_never_raises_friction():
    rows = list(load_materials().values())
    for first in rows:
        for second in rows:
            dry, wet = (
                find_friction(load_friction_pairs(), first, second, greased)
                for greased in (False, True)
            )
            assert wet.friction < dry.friction


def test_the_caller_gets_a_copy():
    load_materials().clear()
    assert load_materials()


def test_a_row_reads_as_si_with_its_sources():
    row = read_tables(ROW).materials["X"]
    assert (row.density, row.tensile_strength, row.elastic_modulus) == pytest.approx(
        (1200.0, 50e6, 2e9)
    )
    assert row.origin("density").source == "A. Author, A Paper"
    assert row.basis("density") == "tabled"
    assert row.basis("elastic_modulus") == "from memory"
    assert row.span("tensile_strength") == (40e6, 55e6)
    assert row.origin("tensile_strength").range_source == "from memory"
    assert row.softening is None


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        (
            'source = "paper" }\ntensile',
            'source = "rumour" }\ntensile',
            "material.1.density.source",
            "unknown source",
        ),
        (
            'range = "from memory"',
            'range = "hearsay"',
            "material.1.tensile_strength.range",
            "unknown source",
        ),
        ('"1.2 g/cm³"', '"1.2 mm"', "material.1.density.value", "density"),
        (
            'low = "40 MPa"',
            'low = "52 MPa"',
            "material.1.tensile_strength",
            "outside its own range",
        ),
        ('family = "printed polymer"', 'family = "wood"', "material.1.family", "no such family"),
        ('name = "X"\n', "", "material.1.name", "missing"),
        ('name = "X"', "name = 3", "material.1.name", "wrong kind"),
        ('name = "X"', 'name = "X"\ncolour = "red"', "material.1.colour", "unknown key"),
        (
            ', source = "from memory: data sheets"',
            "",
            "material.1.elastic_modulus",
            "not a sourced value",
        ),
        ("[[material]]", "[[stuff]]", "stuff", "unknown table"),
    ],
)
def test_faults_of_a_table_are_named(old, new, key, words):
    assert old in ROW
    with pytest.raises(InputError) as caught:
        read_tables(ROW.replace(old, new), "mine.toml")
    fault = caught.value.faults[0]
    assert fault.key == key
    assert fault.file == "mine.toml"
    assert words in f"{fault.message} {fault.expected}"


def test_all_faults_come_at_once():
    with pytest.raises(InputError) as caught:
        read_tables(ROW.replace('"2 GPa"', '"2 kg"').replace('"1.2 g/cm³"', '"1.2"'))
    assert {f.key for f in caught.value.faults} == {
        "material.1.density.value",
        "material.1.elastic_modulus.value",
    }


def test_a_name_that_stands_twice_is_refused():
    with pytest.raises(InputError, match="more than once"):
        read_tables(ROW + ROW[ROW.index("[[material]]") :])


def test_broken_toml_is_refused():
    with pytest.raises(InputError, match="not valid TOML"):
        read_tables("[[material]")
