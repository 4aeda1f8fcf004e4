"""Values changed by options: ``path=value`` texts put into the raw scenario before it is checked
like the file itself."""

import contextlib
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean, nearest, refused
from winchsim.frozen import replace
from winchsim.inputs import (
    REMOVED,
    RENAMED,
    Inputs,
    Spec,
    is_required,
    specs,
    table_type,
    without_numbers,
)
from winchsim.scenario.faults import shortened

LEFT_OUT = "left out"
"""Value of an option that takes back what the file gives."""

MAX_OVERRIDE = 2000
"""Longest ``path=value`` text that is taken, in characters."""


def apply_overrides(
    raw: dict[str, Any], overrides: Sequence[str]
) -> tuple[dict[str, str], list[Fault]]:
    """Put ``path=value`` texts into a raw scenario, in order; a later one wins.

    Parameters
    ----------
    raw : dict
        Scenario as the TOML reader gave it; changed in place. Optional tables that a path needs are
        added.
    overrides : sequence of str
        Such as ``load.mass=30 kg``: the value is written as in the file, quotes may be left out.
        ``load.mass=left out`` takes back what the file gives, also an optional table.

    Returns
    -------
    dict of str to str
        Text of the option by the path that it set.
    list of Fault
        What could not be put in, with file ``--set``.
    """
    origins: dict[str, str] = {}
    faults: list[Fault] = []
    for text in overrides:
        path, equals, value = text[:MAX_OVERRIDE].partition("=")
        path = path.strip()
        try:
            if not equals or not path or len(text) > MAX_OVERRIDE:
                hint = 'write it like "load.mass=30 kg"'
                raise _refused(path, "not of the form path=value", hint, Code.BAD_OVERRIDE)
            _, spec, place, key = place_of(raw, path)
            place[key] = raw_value(spec, value.strip())
            if value.strip() == LEFT_OUT:
                del place[key]
            origins[path] = text
        except InputError as error:
            faults += [replace(f, file="--set", line_text=shortened(text)) for f in error.faults]
    return origins, faults


def known_paths(table: type = Inputs, prefix: str = "") -> Iterator[str]:
    """Every path that a scenario can have, with 1 as the number of each entry of a list."""
    for key, spec in specs(table).items():
        if spec.kind == "table":
            yield from known_paths(table_type(table, key), f"{prefix}{key}.")
        elif spec.kind == "tables":
            yield from known_paths(table_type(table, key), f"{prefix}{key}.1.")
        else:
            yield prefix + key


def place_of(values: dict[str, Any], path: str) -> tuple[type, Spec, dict[str, Any], str]:
    """Where a path leads in nested values.

    Parameters
    ----------
    values : dict
        Tables and values by key; optional tables that the path needs are added.
    path : str
        Of a value, a table or a list of tables.

    Returns
    -------
    (type, Spec, dict, str)
        Dataclass of the table that holds it, its declaration, the table's values, and its key
        there.

    Raises
    ------
    InputError
        There is no such path.
    """
    table: type = Inputs
    place, parts = values, path.split(".")
    while True:
        key = parts.pop(0)
        spec = specs(table).get(key)
        if spec is None and without_numbers(path) in REMOVED:
            return table, Spec(kind="text"), place, key
        if spec is None:
            raise _unknown(path, key)
        if not parts:
            return table, spec, place, key
        if spec.kind not in ("table", "tables"):
            raise _refused(path, f"{key} holds a single value", f"leave out .{'.'.join(parts)}")
        is_table = spec.kind == "table"
        place = place.setdefault(key, {}) if is_table else _entry(place, table, key, parts, path)
        if not isinstance(place, dict):
            raise _refused(path, f"{key} is not a table in this file", "", Code.BAD_OVERRIDE)
        table = table_type(table, key)


def _entry(place: dict[str, Any], table: type, key: str, parts: list[str], path: str) -> Any:
    """Entry of a list of tables that the next part numbers; an optional list may grow by one."""
    may_grow = not is_required(table, key)
    entries = place.setdefault(key, []) if may_grow else place.get(key, [])
    number = parts.pop(0)
    if not isinstance(entries, list):
        message = f"{key} is not a list of tables in this file"
        raise _refused(path, message, f"write [[{key}]]", Code.BAD_OVERRIDE)
    if not number.isdecimal() or len(number) > 6:
        hint = f"number it from 1: {key}.1.{'.'.join([number, *parts])}"
        raise _refused(path, f"which of the {key} tables?", hint)
    if not parts:
        message, hint = "a whole table of a list cannot be set", f'set "{path}.<key>"'
        raise _refused(path, message, hint, Code.BAD_OVERRIDE)
    if int(number) == len(entries) + 1 and may_grow:
        entries.append({})
    if not 1 <= int(number) <= len(entries):
        message = f"no {key}.{number}: there {'is' if len(entries) == 1 else 'are'} "
        hint = "they are numbered from 1 at the motors"
        raise _refused(path, message + str(len(entries) or "none"), hint)
    return entries[int(number) - 1]


def _refused(path: str, message: str, hint: str, code: Code = Code.UNKNOWN_KEY) -> InputError:
    return refused(message, path, got=shortened(path, 60), hint=hint, code=code)


def _unknown(path: str, key: str) -> InputError:
    paths, last = list(known_paths()), path.rpartition(".")[2]
    near = nearest(path, paths) or next((p for p in paths if p.rpartition(".")[2] == last), "")
    new = RENAMED.get(without_numbers(path))
    hint = f'it is now called "{new}"' if new else did_you_mean(near, paths)
    return _refused(path, f"unknown key {shortened(key, 40)}", hint)


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
