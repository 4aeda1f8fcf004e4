"""Scenarios changed without text: values set and taken back, tables added and removed.

A scenario goes to nested plain values in SI (°C for temperatures), keyed as in a file, and back.
Every function leaves the scenario that it is given as it is.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any

from winchsim.errors import DomainError, InputError
from winchsim.inputs import Inputs, spec_at, specs, value_at
from winchsim.scenario.faults import Collector
from winchsim.scenario.overrides import apply_overrides, place_of, raw_value
from winchsim.scenario.read import inputs_of, usual_values
from winchsim.scenario.values import read_value


def from_values(values: dict[str, Any], overrides: Sequence[str] = ()) -> Inputs:
    """Scenario of nested values, checked like a file.

    Parameters
    ----------
    values : dict
        Tables and values by key. A quantity is a number in SI or a text with a unit.
    overrides : sequence of str
        ``path=value`` texts that are put in.

    Raises
    ------
    InputError
        With every fault found.
    """
    faults = Collector("")
    apply_overrides(values, overrides, faults)
    return inputs_of(values, faults, in_si=True)


def to_values(inputs: Inputs) -> dict[str, Any]:
    """Nested values of a scenario: what was given, what is required and what is not its default."""
    return _values_of(inputs, "", inputs.given)


def _values_of(table: Any, prefix: str, given: frozenset[str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, spec in specs(type(table)).items():
        value, path = getattr(table, key), f"{prefix}{key}"
        if value is None:
            continue
        if spec.kind == "table":
            inner = _values_of(value, f"{path}.", given)
            found |= {key: inner} if inner or not (spec.required or spec.default) else {}
        elif spec.kind == "tables":
            rows = [_values_of(row, f"{path}.{n}.", given) for n, row in enumerate(value, start=1)]
            found |= {key: rows} if rows else {}
        elif path in given or value != spec.default:
            found[key] = value
    return found


def with_value(inputs: Inputs, path: str, value: Any) -> Inputs:
    """Scenario with one value changed, checked like a file.

    Parameters
    ----------
    inputs : Inputs
    path : str
        Such as ``load.mass`` or ``stage.3.walls``.
    value : object
        Number in SI (°C for temperatures), text as in a file (``"30 kg"``), a table, or None to
        take back what was given.

    Raises
    ------
    InputError
        The path is unknown, the value cannot be read or is out of bounds, or it contradicts the
        rest of the scenario.
    """
    values = to_values(inputs)
    _, place, key = place_of(values, path)
    place[key] = _plain(value)
    if value is None:
        del place[key]
    return from_values(values)


def values_of(inputs: Inputs, path: str, given: Sequence[Any]) -> list[Any]:
    """Values of a path in SI, texts among them read as in a file.

    Raises
    ------
    InputError, DomainError
        A text cannot be read, or there is no such path.
    """
    spec = spec_at(inputs, path)
    try:
        return [read_value(spec, raw_value(spec, v)) if isinstance(v, str) else v for v in given]
    except InputError as error:
        raise InputError(
            tuple(dataclasses.replace(fault, key=path) for fault in error.faults)
        ) from None


def _plain(value: Any) -> Any:
    """A table as nested values, anything else as it is."""
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return _values_of(value, "", frozenset()) if dataclasses.is_dataclass(value) else value


def with_table(inputs: Inputs, path: str, values: dict[str, Any] | None = None) -> Inputs:
    """Scenario with one table more.

    Parameters
    ----------
    inputs : Inputs
    path : str
        A list such as ``motors``, or a table that is not there yet, such as ``brake`` or
        ``motors.1.gearbox``.
    values : dict, optional
        Values of the new table; left out: those of the last one of the list, or usual ones.

    Raises
    ------
    InputError, DomainError
        There is no such table, or the scenario contradicts it.
    """
    spec, place, key = place_of(to_values(inputs), path)
    if not spec.table:
        raise DomainError(path, path, "a key that holds a table")
    rows = place.get(key, []) if spec.kind == "tables" else []
    if values is None:
        values = rows[-1] if rows else _plain(spec.table(**usual_values(spec.table)))
    return with_value(inputs, path, [*rows, values] if spec.kind == "tables" else values)


def without_table(inputs: Inputs, path: str) -> Inputs:
    """Scenario without one table, such as ``motors.2`` or ``brake``; later ones move up.

    Raises
    ------
    InputError, DomainError
        There is no such table, or the scenario needs it.
    """
    head, _, number = path.rpartition(".")
    if not number.isdecimal():
        return with_value(inputs, path, None)
    _, place, key = place_of(to_values(inputs), head)
    value_at(inputs, path)
    rows = enumerate(place[key], start=1)
    return with_value(inputs, head, [row for n, row in rows if n != int(number)])
