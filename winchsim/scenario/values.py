"""Raw values of a scenario, as TOML gives them: each checked against its declaration and turned
into SI; and those of options, ``path=value`` texts put into the raw scenario before it is checked
like the file itself."""

import contextlib
import math
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean, nearest, refused
from winchsim.frozen import replace
from winchsim.inputs import REMOVED, Inputs, Spec, out_of_bounds, specs, without_numbers
from winchsim.quantity_text import quantity
from winchsim.scenario.files import Collector, shortened
from winchsim.scenario.keys import key_tables
from winchsim.units import describe_unit, parse_quantity

MAX_TEXT = 2000
"""Longest text of a title or note, in characters."""


def read_value(spec: Spec, raw: Any, *, in_si: bool = False) -> Any:
    """Value in SI that a raw value stands for.

    Parameters
    ----------
    spec : Spec
        Declaration of a single value, not of a table.
    raw : object
        What the TOML reader gave.
    in_si : bool
        Whether a number is taken for a quantity in SI (°C for temperatures).

    Returns
    -------
    float, int, bool or str

    Raises
    ------
    InputError
        With one fault, whose key and place the caller adds.
    """
    match spec.kind:
        case "quantity" | "number" if isinstance(raw, str):
            value: Any = _parsed(spec, raw)
        case "quantity" | "number" | "integer" if _is_number(raw):
            value = _number(spec, raw, in_si)
        case "text" | "choice" if isinstance(raw, str):
            value = _word(spec, raw)
        case "flag" if isinstance(raw, bool):
            value = raw
        case _:
            wanted = describe_unit(spec.unit) if spec.kind == "quantity" else _WANTED[spec.kind]
            raise InputError(
                (wrong_type(raw, wanted, expected=expectation(spec), hint=_hint(spec, raw)),)
            )
    if problem := out_of_bounds(spec, value):
        raise _outside(spec, raw, value, problem)
    return value


def expectation(spec: Spec) -> str:
    """What a key takes, in words, for a message about a missing or mistyped value."""
    match spec.kind:
        case "quantity":
            return describe_unit(spec.unit, with_units=True)
        case "choice":
            return "one of: " + ", ".join(f'"{choice}"' for choice in spec.choices)
    return _PLAIN_WORDS[spec.kind]


def written(raw: Any) -> str:
    """A raw value about as the file writes it, short enough for a message."""
    match raw:
        case str():
            return shortened(f'"{raw}"', 60)
        case bool() | float():
            return repr(raw).lower()
        case int():
            return repr(raw) if abs(raw) < 10**30 else "a whole number of more than 30 digits"
        case dict() | list():
            return "a table" if isinstance(raw, dict) else "a list"
    return "a date or time"


def wrong_type(raw: Any, wanted: str, key: str = "", **facts: Any) -> Fault:
    """Fault of a raw value that is something else than is wanted; `facts` as `Fault` takes them."""
    message, got = f"{written(raw)}, where {wanted} is expected", written(raw)
    return Fault(message, key, got=got, code=Code.WRONG_TYPE, **facts)


_PLAIN_WORDS = {
    "number": 'a number without quotes, or a percentage such as "40 %"',
    "integer": "a whole number without quotes",
    "flag": "true or false, without quotes",
    "text": "text in quotes",
    "table": "a table",
    "tables": "a list of tables",
}


_WANTED = {
    "number": "a number",
    "integer": "a whole number",
    "flag": "true or false",
    "text": "text",
    "choice": "a word",
}
_LARGEST = 1e308
"""From here on a number counts as infinite."""
_FLAGS = dict.fromkeys(("true", "yes", "on", "1"), "true") | dict.fromkeys(
    ("false", "no", "off", "0"), "false"
)


def _hint(spec: Spec, raw: Any) -> str:
    """What to write instead of a value of the wrong type, where that is clear."""
    plain = written(raw).strip('"').strip()
    match spec.kind:
        case "integer" if plain.isdigit():
            return f"write {plain} without quotes"
        case "flag" if plain.lower() in _FLAGS and isinstance(raw, (str, int)):
            return f"write {_FLAGS[plain.lower()]} without quotes"
        case "text" if _is_number(raw):
            return f'write "{plain}"'
    return ""


def _is_number(raw: Any) -> bool:
    return isinstance(raw, (int, float)) and not isinstance(raw, bool)


def _number(spec: Spec, raw: int | float, in_si: bool) -> float:
    value = float(raw) if abs(raw) < _LARGEST else math.inf
    _require(spec, raw, math.isfinite(value), "not a finite number", code=Code.OUT_OF_BOUNDS)
    has_unit, hint = spec.kind != "quantity" or in_si, f'write "{written(raw)} {spec.unit}"'
    _require(spec, raw, has_unit, "the unit is missing", hint)
    _require(spec, raw, spec.kind != "integer" or value == int(value), "not a whole number")
    return int(value) if spec.kind == "integer" else value


def _parsed(spec: Spec, raw: str) -> float:
    """Value of a text with its unit; what was read is shown in quotes, as in the file."""
    try:
        value = parse_quantity(raw, spec.unit if spec.kind == "quantity" else "")
    except InputError as error:
        raise InputError(tuple(replace(f, got=written(raw)) for f in error.faults)) from error
    needs_quotes = spec.kind == "quantity" or raw.strip()[-1] not in "0123456789."
    _require(spec, raw, needs_quotes, "a number in quotes", f"write {value:g} without quotes")
    return value


def _word(spec: Spec, raw: str) -> str:
    if spec.kind == "choice" and raw not in spec.choices:
        hint = did_you_mean(raw, spec.choices)
        _require(spec, raw, False, f"{written(raw)} is no choice here", hint, Code.NO_SUCH_CHOICE)
    _require(
        spec,
        raw,
        len(raw) <= MAX_TEXT,
        f"text of {len(raw)} characters; at most {MAX_TEXT} are taken",
        code=Code.TOO_MUCH,
    )
    _require(
        spec,
        raw,
        raw.replace("\n", "").replace("\t", "").isprintable(),
        "text with control characters",
        "remove the control characters",
    )
    return raw


def _require(
    spec: Spec, raw: Any, is_met: bool, message: str, hint: str = "", code: Code = Code.WRONG_TYPE
) -> None:
    """Refuse a value where a condition is not met."""
    if not is_met:
        raise refused(message, got=written(raw), expected=expectation(spec), hint=hint, code=code)


def _outside(spec: Spec, raw: Any, value: Any, problem: str) -> InputError:
    is_low = value < spec.low or (value == spec.low and spec.low_open)
    small = "too small" if spec.low else "negative" if value < 0 else "zero"
    got, hint = written(raw), ""
    if spec.kind == "quantity" and not str(raw).strip().endswith(f" {spec.unit}"):
        got += f" = {quantity(value, spec.unit, 4)}"
    may_be_share = spec.kind == "number" and _is_number(raw) and not is_low
    if may_be_share and not out_of_bounds(spec, value / 100):
        hint = f'write "{written(raw)} %" if you mean a percentage'
    return refused(
        small if is_low else "too large",
        got=got,
        expected=problem,
        hint=hint,
        code=Code.OUT_OF_BOUNDS,
    )


# --- options


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
            _require_path(
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
        _require_path(
            path, spec.table, f"{key} holds a single value", f"leave out .{'.'.join(parts)}"
        )
        is_list = spec.kind == "tables"
        place = _entry(place, spec, key, parts, path) if is_list else place.setdefault(key, {})
        _require_path(
            path,
            isinstance(place, dict),
            f"{key} is not a table in this file",
            code=Code.BAD_OVERRIDE,
        )
        table = spec.table


def _entry(place: dict[str, Any], spec: Spec, key: str, parts: list[str], path: str) -> Any:
    """Entry of a list of tables that the next part numbers; an optional list may grow by one."""
    rows = place.get(key, []) if spec.required else place.setdefault(key, [])
    _require_path(
        path,
        isinstance(rows, list),
        f"{key} is not a list of tables in this file",
        f"write [[{key}]]",
        Code.BAD_OVERRIDE,
    )
    hint = f"number it from 1: {key}.1.{'.'.join(parts)}"
    number = parts.pop(0)
    is_numbered = number.isdecimal() and len(number) <= 6
    _require_path(path, is_numbered, f"which of the {key} tables?", hint)
    _require_path(
        path,
        parts,
        "a whole table of a list cannot be set",
        f'set "{path}.<key>"',
        Code.BAD_OVERRIDE,
    )
    if int(number) == len(rows) + 1 and not spec.required:
        rows.append({})
    there = f"there {'is' if len(rows) == 1 else 'are'} {len(rows) or 'none'}"
    _require_path(
        path,
        1 <= int(number) <= len(rows),
        f"no {key}.{number}: {there}",
        "they are numbered from 1 at the motors",
    )
    return rows[int(number) - 1]


def _require_path(
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
