"""Declaration of one value: its unit, bounds, default and meaning."""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass, field
from typing import Any

from winchsim.quantity_text import in_unit


@dataclass(frozen=True)
class Spec:
    """Declaration of one value.

    Attributes
    ----------
    kind : str
        ``quantity`` (a string with a unit in the file), ``number`` (bare, or a percentage), ``integer``, ``flag``,
        ``text``, ``choice``, ``table`` or ``tables``.
    unit : str
        Unit it is printed in, one of quantity_text.PRINTED_UNITS; empty where there is no dimension.
    meaning : str
        One clause for people, no full stop.
    low, high : float
        Bounds in SI, inclusive unless `low_open`.
    low_open : bool
        Whether `low` itself is refused.
    choices : tuple of str
        For ``choice``.
    left_out : str
        What happens when the file does not give it: shown in the key reference.
    quiet : bool
        Whether a default means "this build has none of it" and need not be listed as assumed.
    spread : str
        Assumed tolerance for a spread when the file gives none, such as ``5 %``; empty for none.
    """

    kind: str
    unit: str = ""
    meaning: str = ""
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    choices: tuple[str, ...] = ()
    left_out: str = ""
    quiet: bool = False
    spread: str = ""


def _declare(spec: Spec, default: Any) -> Any:
    return (
        field(default=default, metadata={"spec": spec})
        if default is not MISSING
        else field(metadata={"spec": spec})
    )


def quantity(
    unit: str,
    meaning: str,
    low: float,
    high: float,
    default: Any = MISSING,
    *,
    open: bool = False,
    left_out: str = "",
    quiet: bool = False,
    spread: str = "",
) -> Any:
    """Value with a unit."""
    return _declare(
        Spec("quantity", unit, meaning, low, high, open, (), left_out, quiet, spread), default
    )


def number(
    meaning: str,
    low: float,
    high: float,
    default: Any = MISSING,
    *,
    open: bool = False,
    unit: str = "",
    left_out: str = "",
    quiet: bool = False,
    spread: str = "",
) -> Any:
    """Number without a unit, or a percentage."""
    return _declare(
        Spec("number", unit, meaning, low, high, open, (), left_out, quiet, spread), default
    )


def integer(
    meaning: str,
    low: int,
    high: int,
    default: Any = MISSING,
    *,
    left_out: str = "",
    quiet: bool = True,
) -> Any:
    """Whole number."""
    return _declare(Spec("integer", "", meaning, low, high, False, (), left_out, quiet), default)


def flag(meaning: str, default: bool) -> Any:
    """True or false."""
    return _declare(Spec("flag", "", meaning, quiet=True), default)


def text(meaning: str, default: Any = MISSING, *, left_out: str = "", quiet: bool = True) -> Any:
    """Text."""
    return _declare(Spec("text", "", meaning, left_out=left_out, quiet=quiet), default)


def choice(
    meaning: str, choices: tuple[str, ...], default: Any = MISSING, *, quiet: bool = True
) -> Any:
    """One of several words."""
    return _declare(Spec("choice", "", meaning, choices=choices, quiet=quiet), default)


def table(meaning: str, default: Any = MISSING) -> Any:
    """Table of further values."""
    return _declare(Spec("table", "", meaning, quiet=True), default)


def tables(meaning: str, default: Any = MISSING) -> Any:
    """List of tables."""
    return _declare(Spec("tables", "", meaning, quiet=True), default)


def out_of_bounds(spec: Spec, value: Any) -> str:
    """What a value should have been, or an empty string when it is acceptable.

    Parameters
    ----------
    spec : Spec
        Declaration of the value.
    value : object
        In SI; None is accepted here (whether a key may be left out is another question).

    Returns
    -------
    str
        Such as ``from 5 to 1000`` in SI, or one of the choices.
    """
    if value is None or spec.kind in ("table", "tables"):
        return ""
    if spec.kind == "choice":
        return "" if value in spec.choices else "one of: " + ", ".join(spec.choices)
    if spec.kind == "flag":
        return "" if isinstance(value, bool) else "true or false"
    if spec.kind == "text":
        return "" if isinstance(value, str) else "text in quotes"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return "a finite number"
    if spec.kind == "integer" and value != int(value):
        return "a whole number"
    if spec.low <= value <= spec.high and not (spec.low_open and value == spec.low):
        return ""
    return bounds(spec)


def bounds(spec: Spec) -> str:
    """Bounds of a number in its declared unit, in words: ``from 5 to 1000``, ``over 0 kg, at most 1e+07 kg``."""
    unit = spec.unit and f" {spec.unit}"
    low, high = (f"{in_unit(bound, spec.unit):.6g}{unit}" for bound in (spec.low, spec.high))
    return f"over {low}, at most {high}" if spec.low_open else f"from {low} to {high}"
