"""Reader of the materials table that comes with winchsim: materials, ropes and friction pairs in
SI, with their sources."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, TypeVar

from winchsim.errors import Fault, InputError
from winchsim.strength.materials import (
    FAMILIES,
    FROM_MEMORY,
    FrictionPair,
    Material,
    Origin,
    RopeMaterial,
    sourced_values,
)
from winchsim.units import parse_quantity

__all__ = ["MaterialTables", "load_friction_pairs", "load_materials", "load_ropes", "read_tables"]

TABLE_FILE = "materials.toml"

_Row = TypeVar("_Row", Material, RopeMaterial, FrictionPair)
_VALUE_KEYS = frozenset({"value", "low", "high", "source", "range"})


@dataclass(frozen=True)
class MaterialTables:
    """Everything that the materials table holds.

    Attributes
    ----------
    materials : Mapping of str to Material
        By name, in the order of the table.
    ropes : Mapping of str to RopeMaterial
        By name.
    friction_pairs : tuple of FrictionPair
        In the order of the table.
    """

    materials: Mapping[str, Material]
    ropes: Mapping[str, RopeMaterial]
    friction_pairs: tuple[FrictionPair, ...]


@cache
def _tables() -> MaterialTables:
    """The table that comes with winchsim, read once."""
    return read_tables(
        resources.files("winchsim.data").joinpath(TABLE_FILE).read_text(encoding="utf-8")
    )


def load_materials() -> dict[str, Material]:
    """Materials of teeth, shafts and pins, by name, in the order of the table."""
    return dict(_tables().materials)


def load_ropes() -> dict[str, RopeMaterial]:
    """Kinds of rope, by name, in the order of the table."""
    return dict(_tables().ropes)


def load_friction_pairs() -> tuple[FrictionPair, ...]:
    """Friction pairs, in the order of the table."""
    return _tables().friction_pairs


def read_tables(text: str, file: str = TABLE_FILE) -> MaterialTables:
    """Materials, ropes and friction pairs from the text of a table.

    Parameters
    ----------
    text : str
        TOML.
    file : str
        Name for error messages.

    Returns
    -------
    MaterialTables

    Raises
    ------
    InputError
        With every fault of the table: broken TOML, an unknown or missing key, a value that is no
        quantity, a value outside its own range, a source that is neither listed nor marked as from
        memory, a name that stands twice.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError((Fault(f"not valid TOML: {error}", file=file),)) from error
    reader = _Reader(file, data.pop("source", {}))
    materials = reader.rows(Material, "material", data.pop("material", []))
    ropes = reader.rows(RopeMaterial, "rope", data.pop("rope", []))
    pairs = reader.rows(FrictionPair, "friction", data.pop("friction", []))
    reader.once("material", [row.name for row in materials])
    reader.once("rope", [row.name for row in ropes])
    for key in data:
        reader.fault(key, "unknown table", expected="source, material, rope or friction")
    if reader.faults:
        raise InputError(tuple(reader.faults))
    return MaterialTables(
        MappingProxyType({row.name: row for row in materials}),
        MappingProxyType({row.name: row for row in ropes}),
        tuple(pairs),
    )


class _Reader:
    """Turns rows of the table into dataclasses and gathers everything that is wrong with them."""

    def __init__(self, file: str, sources: Mapping[str, str]) -> None:
        self.file = file
        self.sources = sources
        self.faults: list[Fault] = []

    def fault(self, key: str, message: str, *, got: str = "", expected: str = "") -> None:
        """Note one fault."""
        self.faults.append(Fault(message, key=key, file=self.file, got=got, expected=expected))

    def once(self, kind: str, names: list[str]) -> None:
        """Note every name that stands more than once."""
        for name in sorted({name for name in names if names.count(name) > 1}):
            self.fault(kind, f'"{name}" stands more than once')

    def rows(self, row: type[_Row], kind: str, tables: list[dict[str, Any]]) -> list[_Row]:
        """All rows of one kind that could be read."""
        found = []
        for index, table in enumerate(tables, start=1):
            before = len(self.faults)
            values = self._values(row, f"{kind}.{index}", table)
            if len(self.faults) == before:
                found.append(row(**values))
        return found

    def _values(self, row: type[_Row], path: str, table: Mapping[str, Any]) -> dict[str, Any]:
        """Keyword arguments of one row."""
        numbers = sourced_values(row)
        known = {f.name: f for f in dataclasses.fields(row) if f.name != "origins"}
        values: dict[str, Any] = {}
        origins: dict[str, Origin] = {}
        for key in table.keys() - known.keys():
            self.fault(f"{path}.{key}", "unknown key", expected=", ".join(known))
        for key, field in known.items():
            if key in numbers and key in table:
                values[key], origins[key] = self._sourced(
                    f"{path}.{key}", table[key], numbers[key][0]
                )
            elif key in table:
                values[key] = self._plain(
                    f"{path}.{key}", table[key], bool if key == "greased" else str
                )
            elif field.default is MISSING:
                self.fault(f"{path}.{key}", "missing")
        if values.get("family", FAMILIES[0]) not in FAMILIES:
            self.fault(
                f"{path}.family",
                "no such family",
                got=str(values["family"]),
                expected=", ".join(FAMILIES),
            )
        return {**values, "origins": MappingProxyType(origins)}

    def _plain(self, path: str, value: Any, kind: type) -> Any:
        """A text or a flag as it stands."""
        if not isinstance(value, kind):
            self.fault(
                path,
                "of the wrong kind",
                got=repr(value),
                expected="a text" if kind is str else "true or false",
            )
        return value

    def _sourced(self, path: str, table: Any, unit: str) -> tuple[float, Origin]:
        """A number with where it comes from."""
        if not isinstance(table, dict) or not {"value", "source"} <= table.keys() <= _VALUE_KEYS:
            self.fault(
                path,
                "not a sourced value",
                got=repr(table),
                expected="{ value, source } and perhaps low, high, range",
            )
            return 0.0, Origin("")
        value = self._number(f"{path}.value", table["value"], unit)
        low = self._number(f"{path}.low", table["low"], unit) if "low" in table else None
        high = self._number(f"{path}.high", table["high"], unit) if "high" in table else None
        if not (value if low is None else low) <= value <= (value if high is None else high):
            self.fault(path, "outside its own range", got=str(table["value"]))
        texts = [
            self._source(f"{path}.{key}", str(table.get(key, ""))) for key in ("source", "range")
        ]
        return value, Origin(texts[0], low, high, texts[1])

    def _source(self, path: str, source: str) -> str:
        """A source in full; an empty one is left to stand for a range that has none of its own."""
        known = (
            source in self.sources
            or source.startswith(FROM_MEMORY)
            or (not source and path.endswith(".range"))
        )
        if not known:
            self.fault(
                path,
                "unknown source",
                got=source,
                expected=f'a key of [source], or "{FROM_MEMORY}"',
            )
        return self.sources.get(source, source)

    def _number(self, path: str, text: Any, unit: str) -> float:
        """SI value of a quantity; 0 with a fault when it is none."""
        try:
            return parse_quantity(str(text), unit)
        except InputError as error:
            self.faults += [dataclasses.replace(f, key=path, file=self.file) for f in error.faults]
            return 0.0
