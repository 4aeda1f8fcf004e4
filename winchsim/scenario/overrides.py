"""Values changed by options: ``path=value`` texts put into the raw scenario before it is checked
like the file itself."""

import contextlib
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from winchsim.errors import Code, InputError, did_you_mean, nearest, refused
from winchsim.frozen import replace
from winchsim.inputs import (
    REMOVED,
    Inputs,
    Spec,
    specs,
    without_numbers,
)
from winchsim.scenario.files import Collector, shortened
from winchsim.scenario.keys import key_tables

LEFT_OUT = "left out"
"""Value of an option that takes back what the file gives."""

MAX_OVERRIDE = 2000
"""Longest ``path=value`` text that is taken, in characters."""


def apply_overrides(raw: dict[str, Any], overrides: Sequence[str], faults: Collector) -> None:
    """Put ``path=value`` texts into a raw scenario, in order; a later one wins.

    Parameters
    ----------
    raw : dict
        Scenario as the TOML reader gave it; changed in place. Optional tables that a path needs are
        added.
    overrides : sequence of str
        Such as ``load.mass=30 kg``: the value is written as in the file, quotes may be left out.
        ``load.mass=left out`` takes back what the file gives, also an optional table.
    faults : Collector
        Gets the text of each option by the path that it set, and what could not be put in, with
        file ``--set``.
    """
    for text in overrides:
        path, equals, value = (part.strip() for part in text[:MAX_OVERRIDE].partition("="))
        try:
            _require(
                path,
                equals and path and len(text) <= MAX_OVERRIDE,
                "not of the form path=value",
                'write it like "load.mass=30 kg"',
                Code.BAD_OVERRIDE,
            )
            spec, place, key = place_of(raw, path)
            place[key] = raw_value(spec, value)
            if value == LEFT_OUT:
                del place[key]
            faults.origins[path] = text
        except InputError as error:
            faults.faults += [
                replace(fault, file="--set", line_text=shortened(text)) for fault in error.faults
            ]


def known_paths() -> Iterator[str]:
    """Every path that a scenario can have, with 1 as the number of each entry of a list."""
    return (row["path"] for table in key_tables() for row in table.rows)


def place_of(values: dict[str, Any], path: str) -> tuple[Spec, dict[str, Any], str]:
    """Where a path leads in nested values.

    Parameters
    ----------
    values : dict
        Tables and values by key; optional tables that the path needs are added.
    path : str
        Of a value, a table or a list of tables.

    Returns
    -------
    (Spec, dict, str)
        Its declaration, the values of the table that holds it, and its key there.

    Raises
    ------
    InputError
        There is no such path.
    """
    table: Any = Inputs
    place, parts = values, path.split(".")
    removed = Spec(kind="text") if without_numbers(path) in REMOVED else None
    while True:
        key = parts.pop(0)
        spec = specs(table).get(key, removed)
        if spec is None:
            paths, last = list(known_paths()), path.rpartition(".")[2]
            alike = (known for known in paths if known.rpartition(".")[2] == last)
            raise refused(
                f"unknown key {shortened(key, 40)}",
                path,
                got=shortened(path, 60),
                hint=did_you_mean(nearest(path, paths) or next(alike, ""), paths),
                code=Code.UNKNOWN_KEY,
            )
        if not parts:
            return spec, place, key
        _require(path, spec.table, f"{key} holds a single value", f"leave out .{'.'.join(parts)}")
        is_list = spec.kind == "tables"
        place = _entry(place, spec, key, parts, path) if is_list else place.setdefault(key, {})
        _require(
            path,
            isinstance(place, dict),
            f"{key} is not a table in this file",
            code=Code.BAD_OVERRIDE,
        )
        table = spec.table


def _entry(place: dict[str, Any], spec: Spec, key: str, parts: list[str], path: str) -> Any:
    """Entry of a list of tables that the next part numbers; an optional list may grow by one."""
    rows = place.get(key, []) if spec.required else place.setdefault(key, [])
    _require(
        path,
        isinstance(rows, list),
        f"{key} is not a list of tables in this file",
        f"write [[{key}]]",
        Code.BAD_OVERRIDE,
    )
    hint = f"number it from 1: {key}.1.{'.'.join(parts)}"
    number = parts.pop(0)
    is_numbered = number.isdecimal() and len(number) <= 6
    _require(path, is_numbered, f"which of the {key} tables?", hint)
    _require(
        path,
        parts,
        "a whole table of a list cannot be set",
        f'set "{path}.<key>"',
        Code.BAD_OVERRIDE,
    )
    if int(number) == len(rows) + 1 and not spec.required:
        rows.append({})
    there = f"there {'is' if len(rows) == 1 else 'are'} {len(rows) or 'none'}"
    _require(
        path,
        1 <= int(number) <= len(rows),
        f"no {key}.{number}: {there}",
        "they are numbered from 1 at the motors",
    )
    return rows[int(number) - 1]


def _require(
    path: str, is_met: object, message: str, hint: str = "", code: Code = Code.UNKNOWN_KEY
) -> None:
    """Refuse a path where a condition is not met."""
    if not is_met:
        raise refused(message, path, got=shortened(path, 60), hint=hint, code=code)


def raw_value(spec: Spec, text: str) -> Any:
    """Raw value of an option's text: TOML where it is TOML, else the text itself."""
    if spec.kind in ("text", "choice") and text[:1] not in ('"', "'"):
        return text
    with contextlib.suppress(ValueError, RecursionError):
        read = tomllib.loads(f"value = {text}")
        if "\n" not in text and set(read) == {"value"}:
            return read["value"]
    with contextlib.suppress(ValueError):
        return float(text) if spec.kind in ("number", "integer") else text
    return text
