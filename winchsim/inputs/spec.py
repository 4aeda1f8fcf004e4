"""Declaration of one value: unit, bounds, default, meaning, and what a form or a range needs.

Declarations are written in the printed unit and kept in SI (°C for temperatures).
"""

import math
from dataclasses import MISSING, field
from functools import partial
from typing import Any

from winchsim.frozen import dataclass
from winchsim.quantity_text import from_unit, in_unit

SLACK = 1e-12
"""Share of a bound by which a value may pass it: the rounding of a unit conversion. [-]"""


@dataclass(frozen=True, kw_only=True)
class Spec:
    """Declaration of one value.

    Attributes
    ----------
    kind : str
        ``quantity`` (a string with a unit in the file), ``number`` (without one, or a percentage),
        ``integer``, ``flag``, ``text``, ``choice``, ``table`` or ``tables``.
    unit : str
        Unit it is printed in, one of quantity_text.PRINTED_UNITS; empty without a dimension.
    meaning : str
        One clause for people, no full stop.
    label : str
        Two or three words for a form; from the key where none is declared.
    group : str
        Part of the winch, one of `GROUPS`; set for the tables and values of the whole scenario.
    low, high : float
        Bounds in SI, inclusive unless `low_open`.
    low_open : bool
        Whether `low` itself is refused.
    usual : (float, float) or None
        Range in SI in which values of this kind usually lie: ends of a slider, not bounds.
    choices : tuple of str
        For ``choice``.
    names : str
        ``materials`` or ``ropes`` where the text is a name in that table of the scenario.
    condition : (str, tuple of str) or None
        Key of the same table and its values for which this value has a meaning.
    left_out : str
        What happens when the file does not give it: shown in the key reference.
    quiet : bool
        Whether a default means "this build has none of it" and need not be listed as assumed.
    assumed : (float, float, str) or None
        Low end, high end and source of a default that is an assumption, in SI.
    spread : str
        Assumed tolerance for a spread of a given value, such as ``5 %``; empty for none.
    default : object
        In SI; None where it is not known, or must be given.
    required : bool
        Whether the file must give it.
    table : type or None
        Dataclass that a ``table`` or ``tables`` holds.
    """

    kind: str
    unit: str = ""
    meaning: str = ""
    label: str = ""
    group: str = ""
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    usual: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    names: str = ""
    condition: tuple[str, tuple[str, ...]] | None = None
    left_out: str = ""
    quiet: bool = False
    assumed: tuple[float, float, str] | None = None
    spread: str = ""
    default: Any = None
    required: bool = False
    table: Any = None

    def applies_to(self, table: Any) -> bool:
        """Whether the value has a meaning in a table with its present values."""
        return self.condition is None or getattr(table, self.condition[0]) in self.condition[1]


def _declared(
    kind: str, meaning: str, default: Any = MISSING, *, unit: str = "", **facts: Any
) -> Any:
    """Field of a table; numbers among the facts are in the printed unit."""

    def si(value: Any) -> Any:
        return from_unit(value, unit) if unit and isinstance(value, (int, float)) else value

    for key in facts.keys() & {"low", "high", "usual", "assumed"}:
        fact = facts[key]
        facts[key] = tuple(map(si, fact)) if isinstance(fact, tuple) else si(fact)
    facts |= {"required": True} if default is MISSING else {"default": si(default)}
    return field(
        default=si(default),
        metadata={"spec": Spec(kind=kind, meaning=meaning, unit=unit, **facts)},
    )


def quantity(
    meaning: str, unit: str, low: float, high: float, default: Any = MISSING, **facts: Any
) -> Any:
    """Value with a unit; all numbers are in that unit, the other facts are those of `Spec`."""
    return _declared("quantity", meaning, default, unit=unit, low=low, high=high, **facts)


def positive(meaning: str, unit: str, high: float, default: Any = MISSING, **facts: Any) -> Any:
    """Value with a unit that is over zero."""
    return quantity(meaning, unit, 0, high, default, low_open=True, **facts)


def number(
    meaning: str,
    low: float,
    high: float,
    default: Any = MISSING,
    kind: str = "number",
    **facts: Any,
) -> Any:
    """Number without a unit, or a percentage."""
    return _declared(kind, meaning, default, low=low, high=high, **facts)


integer = partial(number, kind="integer", quiet=True)
"""Whole number."""

share = partial(_declared, "number", low=0, high=1, low_open=True)
"""Number over 0 and at most 1, such as an efficiency."""


def choice(meaning: str, choices: tuple[str, ...], default: Any = MISSING, **facts: Any) -> Any:
    """One of several words."""
    return _declared("choice", meaning, default, choices=choices, **{"quiet": True} | facts)


text = partial(_declared, "text", quiet=True)
"""Text, or a name of a material or rope."""

flag = partial(_declared, "flag", quiet=True)
"""True or false."""

table = partial(_declared, "table", quiet=True)
"""Table of further values."""

tables = partial(_declared, "tables", quiet=True)
"""List of tables."""


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
        Such as ``from 5 to 1000`` in the printed unit, or one of the choices.
    """
    match spec.kind:
        case _ if value is None or spec.table:
            return ""
        case "choice":
            return "" if value in spec.choices else "one of: " + ", ".join(spec.choices)
        case "flag":
            return "" if isinstance(value, bool) else "true or false"
        case "text":
            return "" if isinstance(value, str) else "text in quotes"
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not math.isfinite(value):
        return "a finite number"
    if spec.kind == "integer" and value != int(value):
        return "a whole number"
    low, high = spec.low - SLACK * abs(spec.low), spec.high + SLACK * abs(spec.high)
    is_inside = low <= value <= high and not (spec.low_open and value <= spec.low)
    return "" if is_inside else bounds(spec)


def bounds(spec: Spec) -> str:
    """Bounds in the printed unit: ``from 5 to 1000``, ``over 0 kg, at most 1000 kg``."""
    unit = spec.unit and f" {spec.unit}"
    low, high = (f"{in_unit(bound, spec.unit):.7g}{unit}" for bound in (spec.low, spec.high))
    return f"over {low}, at most {high}" if spec.low_open else f"from {low} to {high}"
