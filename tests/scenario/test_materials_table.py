"""The materials table that comes with winchsim: what it holds, and that each value has a source."""

import tomllib
from itertools import product
from typing import get_args

import pytest

from winchsim.scenario.materials_table import (
    load_friction_pairs,
    load_materials,
    load_ropes,
    raw_table,
    row_of,
)
from winchsim.strength.materials import (
    FROM_MEMORY,
    Family,
    Material,
    find_friction,
    sourced_values,
)

TABLE = raw_table()

ROW = """name = "X"
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


def test_every_source_is_listed_or_marked_as_recalled():
    assert TABLE.keys() == {"source", "material", "rope", "friction"}
    entries = [
        value
        for kind in ("material", "rope", "friction")
        for row in TABLE[kind]
        for value in row.values()
        if isinstance(value, dict)
    ]
    assert len(entries) > 150
    for entry in entries:
        assert {"value", "source"} <= entry.keys() <= {"value", "source", "low", "high", "range"}
        for source in filter(None, (entry["source"], entry.get("range"))):
            assert source in TABLE["source"] or source.startswith(FROM_MEMORY), entry


def test_names_stand_once_and_families_are_known():
    for kind in ("material", "rope"):
        names = [row["name"] for row in TABLE[kind]]
        assert len(names) == len(set(names))
    assert {row["family"] for row in TABLE["material"]} == set(get_args(Family))


def test_families_have_what_their_calculation_needs():
    for row in load_materials().values():
        if row.family == "metal":
            assert row.yield_strength is not None
            assert row.softening is None
        else:
            assert row.softening is not None
            assert row.yield_strength is None
        assert (row.across_layers is not None) is (row.family == "printed polymer")


def test_every_pair_of_materials_finds_its_friction_and_grease_never_raises_it():
    pairs = load_friction_pairs()
    for first, second in product(load_materials().values(), repeat=2):
        dry, wet = (find_friction(pairs, first, second, greased) for greased in (False, True))
        assert dry is find_friction(pairs, second, first, False)
        assert wet is find_friction(pairs, second, first, True)
        assert 0.0 < wet.friction < dry.friction < 1.0


def test_a_row_reads_as_si_with_its_sources():
    row = row_of(Material, tomllib.loads(ROW), {"paper": "A. Author, A Paper"})
    assert (row.density, row.tensile_strength, row.elastic_modulus) == pytest.approx(
        (1200.0, 50e6, 2e9)
    )
    assert (row.origin("density").source, row.basis("density")) == ("A. Author, A Paper", "tabled")
    assert row.basis("elastic_modulus") == "from memory"
    assert row.span("tensile_strength") == (40e6, 55e6)
    assert row.origin("tensile_strength").range_source == "from memory"
    assert row.softening is None
