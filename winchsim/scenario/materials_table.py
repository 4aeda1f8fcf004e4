"""Reader of the materials table that comes with winchsim: materials, ropes and friction pairs in
SI, with their sources; and the tables of a scenario, with its own materials over those.

The table is part of the package: `tests/scenario/test_materials_table.py` checks its values, ranges
and sources, so that it is not checked again in every run.
"""

import tomllib
from collections import ChainMap, UserDict
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, TypeVar

from winchsim.errors import Code, Fault, did_you_mean
from winchsim.frozen import replace
from winchsim.inputs import Inputs, Spec, in_force
from winchsim.strength.materials import (
    GIVEN,
    FrictionPair,
    Material,
    Origin,
    RopeMaterial,
    own_material,
    sourced_values,
)
from winchsim.units import parse_quantity

_Row = TypeVar("_Row", Material, RopeMaterial, FrictionPair)


@cache
def raw_table() -> dict[str, Any]:
    """The table as TOML gives it."""
    return tomllib.loads(
        resources.files("winchsim.data").joinpath("materials.toml").read_text("utf-8")
    )


@cache
def load_materials() -> Mapping[str, Material]:
    """Materials of teeth, shafts and pins, by name, in the order of the table."""
    return _Rows(Material, "material")


@cache
def load_ropes() -> Mapping[str, RopeMaterial]:
    """Kinds of rope, by name, in the order of the table."""
    return _Rows(RopeMaterial, "rope")


@cache
def load_friction_pairs() -> tuple[FrictionPair, ...]:
    """Friction pairs, in the order of the table."""
    table = raw_table()
    return tuple(row_of(FrictionPair, row, table["source"]) for row in table["friction"])


class _Rows(UserDict[str, Any]):
    """Rows of one kind by name, each read when it is first asked for: a lift needs a few."""

    def __init__(self, kind: type, key: str) -> None:
        self.kind = kind
        super().__init__({table["name"]: table for table in raw_table()[key]})

    def __getitem__(self, name: str) -> Any:
        if isinstance(self.data[name], dict):
            self.data[name] = row_of(self.kind, self.data[name], raw_table()["source"])
        return self.data[name]


def row_of(kind: type[_Row], table: Mapping[str, Any], sources: Mapping[str, str]) -> _Row:
    """One row.

    Parameters
    ----------
    kind : type
    table : Mapping
        As TOML gives it: a number is a table of value, source and perhaps low, high and range (the
        source of the range).
    sources : Mapping of str to str
        Sources in full by their short names.
    """
    units = {key: unit for key, (unit, _) in sourced_values(kind).items()}
    values, origins = dict(table), {}
    for key in units.keys() & table.keys():
        entry: dict[str, Any] = {
            name: parse_quantity(text, units[key])
            if name in ("value", "low", "high")
            else sources.get(text, text)
            for name, text in table[key].items()
        }
        values[key] = entry.pop("value")
        origins[key] = Origin(range_source=entry.pop("range", ""), **entry)
    return kind(**values, origins=MappingProxyType(origins))


def with_tables(inputs: Inputs) -> Inputs:
    """Scenario with its tables of materials, ropes and friction pairs filled in.

    Parameters
    ----------
    inputs : Inputs
        Own materials replace those of the same name; their friction stands before the pairs of the
        table.

    Returns
    -------
    Inputs
    """
    table: Any = load_materials()
    materials, pairs = ChainMap({}, table), []
    for own in inputs.material:
        family: Any = own.family
        given = {key: getattr(in_force(own), key) for key in sourced_values(Material)}
        known = {key: value for key, value in given.items() if value is not None}
        materials[own.name] = own_material(own.name, family, known, own.fatigue_source or "")
        if own.friction is not None:
            origins = MappingProxyType({"friction": Origin(GIVEN)})
            pairs.append(FrictionPair(own.name, own.name, False, own.friction, origins=origins))
    return replace(
        inputs,
        materials=MappingProxyType(materials),
        ropes=MappingProxyType(load_ropes()),
        friction_pairs=(*pairs, *load_friction_pairs()),
    )


def unknown_name(spec: Spec, name: str, known: Sequence[str]) -> Fault:
    """Fault of a name that is not in the table of materials or ropes."""
    word = spec.names.removesuffix("s")
    own = "describe it in a [[material]] table" if word == "material" else ""
    return Fault(
        f'no {word} "{name[:60]}"',
        got=f'"{name[:60]}"',
        expected="one of: " + ", ".join(known),
        hint=did_you_mean(name, known) or own,
        code=Code.UNKNOWN_NAME,
    )
