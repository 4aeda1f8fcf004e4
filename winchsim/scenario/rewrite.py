"""A scenario's text with some of its values changed, its comments, order and spelling kept."""

import math
import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, InlineTable, Table, Whitespace

from winchsim.errors import Code, refused
from winchsim.inputs import Inputs, Spec, specs, walk
from winchsim.quantity_text import in_unit, number
from winchsim.scenario.change import to_values
from winchsim.scenario.read import Scenario, read_string
from winchsim.units import parse_quantity

_MOST_DIGITS = 17
_LAST_BITS = 1e-15


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
        decimal text says them exactly. What did not change stands as it stood.

    Raises
    ------
    InputError
        The text is written in a way that a change cannot be put into.
    """
    before = to_values(read_string(scenario.text, scenario.name).inputs)
    document = tomlkit.parse(scenario.text)
    _write(document, Inputs, before, to_values(intended), remarks or {}, "")
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
                "cannot be changed as the file is written", path, file=scenario.name,
                hint="write it in the usual way: a [table] line, and key = value lines below it",
                code=Code.CANNOT_REWRITE,
            )  # fmt: skip
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
        if spec.kind == "table":
            _write(place[key], spec.table, old.get(key, {}), value, remarks, f"{here}.")
        elif spec.kind == "tables":
            _write_rows(place[key], spec.table, old.get(key, []), value, remarks, here)
        elif key not in old or value != old[key]:
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
