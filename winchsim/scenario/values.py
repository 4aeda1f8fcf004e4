"""One raw value of a scenario, as TOML gives it, checked against its declaration and turned into
SI."""

import math
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean, refused
from winchsim.frozen import replace
from winchsim.inputs import Spec, out_of_bounds
from winchsim.quantity_text import quantity
from winchsim.scenario.files import shortened
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
