"""One raw value of a scenario, as TOML gives it, checked against its declaration and turned into
SI."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean
from winchsim.inputs import Spec, out_of_bounds
from winchsim.quantity_text import quantity
from winchsim.scenario.faults import shortened
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
    is_si = in_si and spec.kind == "quantity" and _is_number(raw)
    value = _finite(spec, raw) if is_si else _READERS[spec.kind](spec, raw)
    problem = out_of_bounds(spec, value)
    if problem:
        raise _outside(spec, raw, value, problem)
    return value


def expectation(spec: Spec) -> str:
    """What a key takes, in words, for a message about a missing or mistyped value."""
    if spec.kind == "quantity":
        return describe_unit(spec.unit, with_units=True)
    if spec.kind == "choice":
        return "one of: " + ", ".join(f'"{choice}"' for choice in spec.choices)
    return _PLAIN_WORDS[spec.kind]


def written(raw: Any) -> str:
    """A raw value about as the file writes it, short enough for a message."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, str):
        return shortened(f'"{raw}"', 60)
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    if isinstance(raw, int) and abs(raw) > 10**30:
        return "a whole number of more than 30 digits"
    if isinstance(raw, (int, float)):
        return repr(raw)
    return "a date or time"


_PLAIN_WORDS = {
    "number": 'a number without quotes, or a percentage such as "40 %"',
    "integer": "a whole number without quotes",
    "flag": "true or false, without quotes",
    "text": "text in quotes",
    "table": "a table",
    "tables": "a list of tables",
}


def _is_number(raw: Any) -> bool:
    return isinstance(raw, (int, float)) and not isinstance(raw, bool)


def _finite(spec: Spec, raw: int | float) -> float:
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise _problem(spec, raw, "not a finite number", Code.OUT_OF_BOUNDS)
    return value


def _problem(spec: Spec, raw: Any, message: str, code: Code, hint: str = "") -> InputError:
    fault = Fault(message, got=written(raw), expected=expectation(spec), hint=hint, code=code)
    return InputError((fault,))


def _quantity(spec: Spec, raw: Any) -> float:
    if isinstance(raw, str):
        return _parsed(raw, spec.unit)
    if not _is_number(raw):
        raise _problem(
            spec,
            raw,
            f"{written(raw)}, where {describe_unit(spec.unit)} is expected",
            Code.WRONG_TYPE,
        )
    _finite(spec, raw)
    raise _problem(
        spec, raw, "the unit is missing", Code.WRONG_TYPE, f'write "{written(raw)} {spec.unit}"'
    )


def _number(spec: Spec, raw: Any) -> float:
    if isinstance(raw, str):
        value = _parsed(raw, "")
        if raw.strip()[-1:].isdigit() or raw.strip().endswith("."):
            raise _problem(
                spec, raw, "a number in quotes", Code.WRONG_TYPE, f"write {value:g} without quotes"
            )
        return value
    if not _is_number(raw):
        raise _problem(spec, raw, f"{written(raw)}, where a number is expected", Code.WRONG_TYPE)
    return _finite(spec, raw)


def _integer(spec: Spec, raw: Any) -> int:
    if not _is_number(raw):
        hint = (
            f"write {raw.strip()} without quotes"
            if isinstance(raw, str) and raw.strip().isdigit()
            else ""
        )
        raise _problem(
            spec, raw, f"{written(raw)}, where a whole number is expected", Code.WRONG_TYPE, hint
        )
    value = _finite(spec, raw)
    if value != int(value):
        raise _problem(spec, raw, "not a whole number", Code.WRONG_TYPE)
    return int(value)


def _flag(spec: Spec, raw: Any) -> bool:
    if not isinstance(raw, bool):
        word = str(raw).lower() if isinstance(raw, (str, int)) and len(str(raw)[:9]) < 9 else ""
        meant = (
            "true"
            if word in ("true", "yes", "on", "1")
            else "false"
            if word in ("false", "no", "off", "0")
            else ""
        )
        hint = f"write {meant} without quotes" if meant else ""
        raise _problem(
            spec, raw, f"{written(raw)}, where true or false is expected", Code.WRONG_TYPE, hint
        )
    return raw


def _text(spec: Spec, raw: Any) -> str:
    if not isinstance(raw, str):
        hint = f'write "{written(raw)}"' if _is_number(raw) else ""
        raise _problem(spec, raw, f"{written(raw)}, where text is expected", Code.WRONG_TYPE, hint)
    if len(raw) > MAX_TEXT:
        raise _problem(
            spec, raw, f"text of {len(raw)} characters; at most {MAX_TEXT} are taken", Code.TOO_MUCH
        )
    if any(not character.isprintable() and character not in "\n\t" for character in raw):
        raise _problem(
            spec,
            raw,
            "text with control characters",
            Code.WRONG_TYPE,
            "remove the control characters",
        )
    return raw


def _choice(spec: Spec, raw: Any) -> str:
    if not isinstance(raw, str):
        raise _problem(spec, raw, f"{written(raw)}, where a word is expected", Code.WRONG_TYPE)
    if raw not in spec.choices:
        message = f"{written(raw)} is no choice here"
        raise _problem(spec, raw, message, Code.NO_SUCH_CHOICE, did_you_mean(raw, spec.choices))
    return raw


_READERS = {
    "quantity": _quantity,
    "number": _number,
    "integer": _integer,
    "flag": _flag,
    "text": _text,
    "choice": _choice,
}


def _parsed(raw: str, unit: str) -> float:
    """Value of a text with its unit; what was read is shown in quotes, as in the file."""
    try:
        return parse_quantity(raw, unit)
    except InputError as error:
        raise InputError(
            tuple(replace(fault, got=written(raw)) for fault in error.faults)
        ) from error


def _outside(spec: Spec, raw: Any, value: Any, problem: str) -> InputError:
    if value < 0 and spec.low >= 0:
        message = "negative"
    elif value == 0 and spec.low_open and spec.low == 0:
        message = "zero"
    else:
        message = (
            "too small"
            if value < spec.low or (value == spec.low and spec.low_open)
            else "too large"
        )
    got = written(raw)
    if spec.kind == "quantity" and not str(raw).strip().endswith(f" {spec.unit}"):
        got += f" = {quantity(value, spec.unit, 4)}"
    hint = ""
    if (
        spec.kind == "number"
        and _is_number(raw)
        and value > spec.high
        and not out_of_bounds(spec, value / 100)
    ):
        hint = f'write "{written(raw)} %" if you mean a percentage'
    return InputError(
        (Fault(message, got=got, expected=problem, hint=hint, code=Code.OUT_OF_BOUNDS),)
    )
