"""Values changed by options: ``path=value`` texts put into the raw scenario before it is checked like the file itself."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from winchsim.errors import Code, Fault, did_you_mean, nearest
from winchsim.inputs import REMOVED, RENAMED, Inputs, Spec, is_required, specs, table_type, without_numbers
from winchsim.scenario.faults import shortened

MAX_OVERRIDE = 2000
"""Longest ``path=value`` text that is taken, in characters."""


def apply_overrides(raw: dict[str, Any], overrides: Sequence[str]) -> tuple[dict[str, str], list[Fault]]:
    """Put ``path=value`` texts into a raw scenario, in order; a later one wins.

    Parameters
    ----------
    raw : dict
        Scenario as the TOML reader gave it; changed in place. Optional tables that a path needs are added.
    overrides : sequence of str
        Such as ``load.mass=30 kg``: the value is written as in the file, quotes may be left out.

    Returns
    -------
    dict of str to str
        Text of the option by the path that it set.
    list of Fault
        What could not be put in, with file ``--set``.
    """
    origins: dict[str, str] = {}
    faults = []
    for text in overrides:
        path, equals, value = text[:MAX_OVERRIDE].partition("=")
        path = path.strip()
        try:
            if not equals or not path or len(text) > MAX_OVERRIDE:
                raise _RefusedError("not of the form path=value", Code.BAD_OVERRIDE, 'write it like "load.mass=30 kg"')
            spec, place, key = _place(raw, path)
            place[key] = _raw_value(spec, value.strip())
            origins[path] = text
        except _RefusedError as refused:
            message, code, hint = refused.args
            shown = shortened(text)
            faults.append(Fault(message, path, "--set", None, shown, got=shortened(path, 60), hint=hint, code=code))
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


class _RefusedError(Exception):
    """Message, code and hint of an option that cannot be taken."""


def _place(raw: dict[str, Any], path: str) -> tuple[Spec, Any, str]:
    """Declaration of a path's value, and the raw table and key where it goes."""
    table: type = Inputs
    place, parts = raw, path.split(".")
    while True:
        key = parts.pop(0)
        spec = specs(table).get(key)
        if spec is None:
            if without_numbers(path) in REMOVED:
                return Spec(kind="text"), place, key
            raise _unknown(path, key)
        if spec.kind not in ("table", "tables"):
            if parts:
                raise _RefusedError(f"{key} holds a single value", Code.UNKNOWN_KEY, f"leave out .{'.'.join(parts)}")
            return spec, place, key
        if not parts:
            return spec, place, key
        if spec.kind == "table":
            place = place.setdefault(key, {})
        else:
            place = _entry(place, table, key, parts)
            if not parts:
                raise _RefusedError("a whole table of a list cannot be set", Code.BAD_OVERRIDE, f'set "{path}.<key>"')
        if not isinstance(place, dict):
            raise _RefusedError(f"{key} is not a table in this file", Code.BAD_OVERRIDE, "")
        table = table_type(table, key)


def _entry(place: dict[str, Any], table: type, key: str, parts: list[str]) -> Any:
    """Entry of a list of tables that the next part of the path numbers; an optional list may grow by one."""
    entries = place.setdefault(key, []) if not is_required(table, key) else place.get(key, [])
    if not isinstance(entries, list):
        raise _RefusedError(f"{key} is not a list of tables in this file", Code.BAD_OVERRIDE, f"write [[{key}]]")
    number = parts.pop(0)
    if not number.isdecimal() or len(number) > 6:
        hint = f"number it from 1: {key}.1.{'.'.join([number, *parts])}"
        raise _RefusedError(f"which of the {key} tables?", Code.UNKNOWN_KEY, hint)
    index = int(number)
    if index == len(entries) + 1 and not is_required(table, key):
        entries.append({})
    if not 1 <= index <= len(entries):
        count = f"there {'is' if len(entries) == 1 else 'are'} {len(entries) or 'none'}"
        raise _RefusedError(f"no {key}.{number}: {count}", Code.UNKNOWN_KEY, "they are numbered from 1 at the motors")
    return entries[index - 1]


def _unknown(path: str, key: str) -> _RefusedError:
    if new := RENAMED.get(without_numbers(path)):
        return _RefusedError(f"unknown key {shortened(key, 40)}", Code.UNKNOWN_KEY, f'it is now called "{new}"')
    paths = list(known_paths())
    near = nearest(path, paths) or next((p for p in paths if p.rpartition(".")[2] == path.rpartition(".")[2]), "")
    return _RefusedError(f"unknown key {shortened(key, 40)}", Code.UNKNOWN_KEY, did_you_mean(near, paths) if near else "")


def _raw_value(spec: Spec, text: str) -> Any:
    """Raw value of an option's text: TOML where it is TOML, else the text itself."""
    quoted = text[:1] in ('"', "'")
    if spec.kind in ("text", "choice") and not quoted:
        return text
    try:
        read = tomllib.loads(f"value = {text}")
        if "\n" not in text and set(read) == {"value"}:
            return read["value"]
    except (ValueError, RecursionError):
        pass
    if spec.kind in ("number", "integer"):
        try:
            return float(text)
        except ValueError:
            return text
    return text
