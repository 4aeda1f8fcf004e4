"""Scenarios changed: values set and taken back, tables added and removed; and the text of a file
that says what was changed, its comments, order and spelling kept.

A scenario goes to nested plain values in SI (°C for temperatures), keyed as in a file, and back.
Every function leaves the scenario that it is given as it is.
"""

import dataclasses
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, InlineTable, Table, Whitespace

from winchsim.errors import Code, InputError, refuse_if, refused
from winchsim.inputs import SELECTORS, Inputs, Spec, idle, spec_at, specs, value_at, walk
from winchsim.quantity_text import in_unit, number
from winchsim.scenario.files import Collector
from winchsim.scenario.read import Scenario, inputs_of, read_string, usual_values
from winchsim.scenario.values import apply_overrides, place_of, raw_value, read_value
from winchsim.units import parse_quantity

_MOST_DIGITS = 17
_LAST_BITS = 1e-15


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


def to_values(table: Any, prefix: str = "", given: frozenset[str] | None = None) -> dict[str, Any]:
    """Nested values of a scenario, or of one table of it.

    Parameters
    ----------
    table : Inputs, or one of its tables
    prefix : str
        What the paths of a table begin with.
    given : frozenset of str, optional
        Paths that were given; left out: those of the scenario, none for a table.

    Returns
    -------
    dict
        What was given, what is required and what is not its default.
    """
    given = getattr(table, "given", frozenset()) if given is None else given
    found: dict[str, Any] = {}
    for key, spec in specs(type(table)).items():
        value, path = getattr(table, key), f"{prefix}{key}"
        match spec.kind:
            case _ if value is None:
                continue
            case "table":
                inner = to_values(value, f"{path}.", given)
                found |= {key: inner} if inner or not (spec.required or spec.default) else {}
            case "tables":
                numbered = enumerate(value, start=1)
                rows = [to_values(row, f"{path}.{n}.", given) for n, row in numbered]
                found |= {key: rows} if rows else {}
            case _ if path in given or value != spec.default:
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
    return to_values(value) if dataclasses.is_dataclass(value) else value


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
    refuse_if(not spec.table, path, path, "a key that holds a table")
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
    return with_value(
        inputs, head, [row for n, row in enumerate(place[key], start=1) if n != int(number)]
    )


# --- text


def rewrite(
    scenario: Scenario, intended: Inputs, remarks: Mapping[str, str] | None = None
) -> Scenario:
    """Scenario whose text says what is intended.

    Parameters
    ----------
    scenario : Scenario
        As read; values set by options count as changes.
    intended : Inputs
        What the new text is to say.
    remarks : Mapping of str to str, optional
        Remark by path, put behind a changed value where the line has none yet.

    Returns
    -------
    Scenario
        The new text, read again: its values are the intended ones, to the last bits where no
        decimal text says them exactly. What did not change stands as it stood, without what a
        change of a kind leaves behind.

    Raises
    ------
    InputError
        The text is written in a way that a change cannot be put into.
    """
    for path, decides, *_ in list(idle(intended)):
        if decides.rpartition(".")[2] not in SELECTORS:
            intended = with_value(intended, path, None)
    document, before = tomlkit.parse(scenario.text), read_string(scenario.text, scenario.name)
    _write(document, Inputs, to_values(before.inputs), to_values(intended), remarks or {}, "")
    text = tomlkit.dumps(document)
    if "\r\n" in scenario.text:
        text = re.sub(r"(?<!\r)\n", "\r\n", text)
    done = read_string(text, scenario.name)
    found, wanted = ({path: value for path, value, _ in walk(i)} for i in (done.inputs, intended))
    for path in wanted | found:
        here, there = (values.get(path, "") for values in (found, wanted))
        are_numbers = isinstance(here, float) and isinstance(there, float)
        if not (math.isclose(here, there, rel_tol=_LAST_BITS) if are_numbers else here == there):
            raise refused(
                "cannot be changed as the file is written",
                path,
                file=scenario.name,
                hint="write it in the usual way: a [table] line, and key = value lines below it",
                code=Code.CANNOT_REWRITE,
            )
    return done


def rounded(spec: Spec, value: float, digits: int = 4) -> float:
    """A number as it is when its text has so many significant digits.

    Parameters
    ----------
    spec : Spec
        Declaration of the value.
    value : float
        [SI, °C for temperatures]
    digits : int
        At least 1. [-]

    Returns
    -------
    float
        In SI: what the reader makes of the rounded text, so that writing it needs no more digits.
    """
    return parse_quantity(f"{in_unit(value, spec.unit):.{digits}g} {spec.unit}", spec.unit)


def quantity_text(spec: Spec, value: float, like: str = "") -> str:
    """Text that is read back as this value, with as few digits as that takes.

    Parameters
    ----------
    spec : Spec
        Of a quantity or a number.
    value : float
        [SI, °C for temperatures]
    like : str
        Text that stood there: its unit is kept where the value can be written in it exactly.
    """
    pattern = r"\s*[+-]?[\d.]+(?:[eE][+-]?\d+)?(?:[\s-]*\d+)?(?:/\d+)?\s*(\S.*?)\s*"
    old = re.fullmatch(pattern, like)
    for unit in ([old[1]] if old else []) + [spec.unit]:
        zero = parse_quantity(f"0 {unit}", spec.unit)
        shown = (value - zero) / (parse_quantity(f"1 {unit}", spec.unit) - zero)
        for digits in range(3, _MOST_DIGITS + 1):
            text = f"{number(shown, digits)} {unit}".rstrip().replace("−", "-")
            if parse_quantity(text, spec.unit) == value:
                return text
    return f"{in_unit(value, spec.unit):.{_MOST_DIGITS}g} {spec.unit}"


def _write(
    place: Any,
    kind: type,
    old: dict[str, Any],
    new: dict[str, Any],
    remarks: Mapping[str, str],
    path: str,
) -> None:
    """Bring one table of the text from old values to new ones."""
    for key in old.keys() - new.keys() & set(place):
        place.remove(key)
    for key, value in new.items():
        spec, here = specs(kind)[key], f"{path}{key}"
        if spec.table and key not in place:
            _append(place, key, tomlkit.table() if spec.kind == "table" else tomlkit.aot())
        match spec.kind:
            case "table":
                _write(place[key], spec.table, old.get(key, {}), value, remarks, f"{here}.")
            case "tables":
                _write_rows(place[key], spec.table, old.get(key, []), value, remarks, here)
            case _ if key not in old or value != old[key]:
                item = tomlkit.item(_raw(spec, value, place.get(key)))
                if here in remarks and not (key in place and place[key].trivia.comment):
                    item.comment(remarks[here])
                if key not in place:
                    _append(place, key, item)
                    continue
                blanks = place[key].trivia.comment_ws
                if len(blanks) > 1 and not blanks.strip(" "):
                    free = len(blanks) + len(place[key].as_string()) - len(item.as_string())
                    item.trivia.comment_ws = " " * max(1, free)
                place[key] = item


def _raw(spec: Spec, value: Any, old: Any) -> Any:
    """What the TOML text holds for a value."""
    if spec.kind == "quantity" or (spec.kind == "number" and isinstance(old, str)):
        return quantity_text(spec, value, str(old) if isinstance(old, str) else "")
    return float(value) if spec.kind == "number" else value


def _write_rows(
    rows: Any, kind: type, old: list[Any], new: list[Any], remarks: Mapping[str, str], path: str
) -> None:
    """Bring a list of tables to new values: changed in place, added or taken off at the end."""
    while len(rows) > len(new):
        del rows[len(rows) - 1]
    for row, values in enumerate(new, start=1):
        if row > len(rows):
            if isinstance(rows, AoT) and len(rows):
                rows[len(rows) - 1].add(tomlkit.nl())
            rows.append(tomlkit.table() if isinstance(rows, AoT) else tomlkit.inline_table())
        before = old[row - 1] if row <= len(old) else {}
        _write(rows[row - 1], kind, before, values, remarks, f"{path}.{row}.")


def _append(place: Any, key: str, item: Any) -> None:
    """Add a key behind the last one of its table, before the blank lines and remarks that lead to
    the next table."""
    if not isinstance(place, (Table, tomlkit.TOMLDocument)) or isinstance(place, InlineTable):
        place[key] = item
        return
    body = place.value.body if isinstance(place, Table) else place.body
    is_table = isinstance(item, (Table, AoT))
    tail: list[Any] = []
    if isinstance(place, Table) or not is_table:
        while body and body[-1][0] is None and isinstance(body[-1][1], (Whitespace, Comment)):
            tail.insert(0, body.pop())
    if is_table:
        place.add(tomlkit.nl())
    place.append(key, item)
    if is_table and isinstance(place, Table) and not tail:
        place.add(tomlkit.nl())
    body.extend(tail)
