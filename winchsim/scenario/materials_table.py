"""Reader of the materials table that comes with winchsim: materials, ropes and friction pairs in
SI, with their sources.

The table is part of the package: `tests/scenario/test_materials_table.py` checks its values, ranges
and sources, so that it is not checked again in every run.
"""

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, TypeVar

from winchsim.strength.materials import (
    FrictionPair,
    Material,
    Origin,
    RopeMaterial,
    sourced_values,
)
from winchsim.units import parse_quantity

__all__ = ["load_friction_pairs", "load_materials", "load_ropes", "rows_of", "table_text"]

_Row = TypeVar("_Row", Material, RopeMaterial, FrictionPair)


def table_text() -> str:
    """Text of the table, TOML."""
    return resources.files("winchsim.data").joinpath("materials.toml").read_text(encoding="utf-8")


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(table_text())


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
    return rows_of(FrictionPair, _table()["friction"], _table()["source"])


class _Rows(Mapping[str, _Row]):
    """Rows of one kind by name, each read when it is first asked for: a lift needs a few."""

    def __init__(self, kind: type[_Row], key: str) -> None:
        self._kind: type[_Row] = kind
        self._tables = {table["name"]: table for table in _table()[key]}
        self._read: dict[str, _Row] = {}

    def __getitem__(self, name: str) -> _Row:
        if name not in self._read:
            self._read[name] = rows_of(self._kind, [self._tables[name]], _table()["source"])[0]
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)


def rows_of(
    kind: type[_Row], tables: list[dict[str, Any]], sources: Mapping[str, str]
) -> tuple[_Row, ...]:
    """Rows of one kind.

    Parameters
    ----------
    kind : type
    tables : list of dict
        As TOML gives them: a number is a table of value, source and perhaps low, high and range
        (the source of the range).
    sources : Mapping of str to str
        Sources in full by their short names.
    """
    units = {key: unit for key, (unit, _) in sourced_values(kind).items()}
    return tuple(_row(kind, units, table, sources) for table in tables)


def _row(
    kind: type[_Row], units: Mapping[str, str], table: Mapping[str, Any], sources: Mapping[str, str]
) -> _Row:
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
