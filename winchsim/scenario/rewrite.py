"""A scenario's text with some of its values changed, its comments, order and spelling kept."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, InlineTable, Item, Table, Whitespace

from winchsim.errors import Code, Fault, InputError
from winchsim.inputs import Inputs, Spec, default_of, is_required, specs
from winchsim.quantity_text import in_unit
from winchsim.scenario.read import Scenario, read_string
from winchsim.units import parse_quantity

"""Code of a change that the text cannot take."""

_FEWEST_DIGITS, _MOST_DIGITS = 3, 17
_LAST_BITS = 1e-15


def rewrite(scenario: Scenario, intended: Inputs, remarks: Mapping[str, str] | None = None) -> Scenario:
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
        The new text, read again: its values are the intended ones, to the last bit wherever a decimal text can say it. What
        did not change stands as it stood.

    Raises
    ------
    InputError
        The text is written in a way that a change cannot be put into.
    """
    before = read_string(scenario.text, scenario.name).inputs
    document = tomlkit.parse(scenario.text)
    _Rewriting(dict(remarks or {})).table(document, before, intended, "")
    text = tomlkit.dumps(document)
    if "\r\n" in scenario.text:
        text = re.sub(r"(?<!\r)\n", "\r\n", text)
    done = read_string(text, scenario.name)
    wrong = _first_difference(done.inputs, intended, "")
    if wrong:
        hint = "write it in the usual way: a [table] line, and key = value lines below it"
        fault = Fault("cannot be changed as the file is written", wrong, scenario.name, hint=hint, code=Code.CANNOT_REWRITE)
        raise InputError((fault,))
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
    if spec.kind == "quantity":
        return parse_quantity(f"{in_unit(value, spec.unit):.{digits}g} {spec.unit}", spec.unit)
    return float(f"{value:.{digits}g}")


# --- values ----------------------------------------------------------------------------------------------------------


def quantity_text(spec: Spec, value: float, like: str = "") -> str:
    """Text that is read back as exactly this value, with as few digits as that takes.

    Parameters
    ----------
    spec : Spec
        Of a quantity.
    value : float
        [SI, °C for temperatures]
    like : str
        Text that stood there: its unit is kept where the value can be written in it.
    """
    tried = [_unit_of(like), spec.unit] if like else [spec.unit]
    for unit in tried:
        found = _in_unit(spec, value, unit)
        if found:
            return found
    return f"{in_unit(value, spec.unit):.{_MOST_DIGITS}g} {spec.unit}"


def _unit_of(text: str) -> str:
    """Unit behind a number such as ``1/4 in`` or ``2.5e3 N``."""
    match = re.fullmatch(r"\s*[+-]?[\d.]+(?:[eE][+-]?\d+)?(?:[\s-]*\d+)?(?:/\d+)?\s*(\S.*?)\s*", text)
    return match[1] if match else ""


def _in_unit(spec: Spec, value: float, unit: str) -> str:
    """Shortest text in a unit that is read back exactly; empty where there is none."""
    if not unit:
        return ""
    try:
        zero = parse_quantity(f"0 {unit}", spec.unit)
        scale = parse_quantity(f"1 {unit}", spec.unit) - zero
        shown = (value - zero) / scale
        tried = [(digits, 0) for digits in range(_FEWEST_DIGITS, _MOST_DIGITS + 1)]
        tried += [(_MOST_DIGITS, steps) for steps in (1, -1, 2, -2, 3, -3, 4, -4)]  # the division may have rounded
        for digits, steps in tried:
            text = f"{_plain(shown + steps * math.ulp(shown), digits)} {unit}"
            if parse_quantity(text, spec.unit) == value:
                return text
    except (InputError, ZeroDivisionError):
        return ""
    return ""


def _plain(value: float, digits: int) -> str:
    """Number without needless zeros, and without an exponent where it reads well without one."""
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-5 <= abs(value) < 1e9:
        places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
        text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


def _raw(spec: Spec, value: Any, old: Any) -> Any:
    """What the TOML text holds for a value."""
    if spec.kind == "quantity":
        return quantity_text(spec, value, str(old) if isinstance(old, str) else "")
    if spec.kind == "number":
        if isinstance(old, str):
            text = _in_unit(spec, value, "%")
            if text:
                return text
        return float(value)
    return value


# --- tables ----------------------------------------------------------------------------------------------------------


class _Rewriting:
    """Walks the text's tables beside both states of the inputs, and changes what differs."""

    def __init__(self, remarks: dict[str, str]) -> None:
        self.remarks = remarks

    def table(self, place: Any, before: Any, intended: Any, path: str) -> None:
        """Bring one table of the text to what is intended; `before` is None for a new one."""
        for key, spec in specs(type(intended)).items():
            new = getattr(intended, key)
            old = getattr(before, key) if before is not None else default_of(type(intended), key)
            here = f"{path}{key}"
            if spec.kind == "table":
                self.inner(place, key, old if before is not None else None, new, here)
            elif spec.kind == "tables":
                self.entries(place, key, old if before is not None else (), new, here)
            elif before is None:
                if is_required(type(intended), key) or new != old:
                    self.put(place, key, spec, new, here)
            elif new != old:
                self.put(place, key, spec, new, here)

    def put(self, place: Any, key: str, spec: Spec, value: Any, path: str) -> None:
        """Set one key, or take it out where nothing is intended."""
        if value is None:
            if key in place:
                place.remove(key)
            return
        old = place.get(key)
        item = tomlkit.item(_raw(spec, value, old))
        if isinstance(old, Item):
            _keep_trivia(item, old)
        if path in self.remarks and not item.trivia.comment:
            item.comment(self.remarks[path])
        if old is None:
            _append(place, key, item)
        else:
            place[key] = item

    def inner(self, place: Any, key: str, old: Any, new: Any, path: str) -> None:
        """Bring a table below another one to what is intended."""
        if new is None:
            if key in place:
                place.remove(key)
            return
        if key in place:
            self.table(place[key], old, new, f"{path}.")
            return
        table = tomlkit.table()
        self.table(table, old, new, f"{path}.")
        if table:
            _append(place, key, table)

    def entries(self, place: Any, key: str, old: tuple[Any, ...], new: tuple[Any, ...], path: str) -> None:
        """Bring a list of tables to what is intended: entries are changed in place, added or taken off at the end."""
        if key not in place:
            if not new:
                return
            _append(place, key, tomlkit.aot())
        rows = place[key]
        for number, entry in enumerate(new, start=1):
            if number <= len(old):
                self.table(rows[number - 1], old[number - 1], entry, f"{path}.{number}.")
            else:
                table = tomlkit.table() if isinstance(rows, AoT) else tomlkit.inline_table()
                self.table(table, None, entry, f"{path}.{number}.")
                if isinstance(rows, AoT) and len(rows):
                    rows[len(rows) - 1].add(tomlkit.nl())
                rows.append(table)
        while len(rows) > len(new):
            del rows[len(rows) - 1]


def _keep_trivia(item: Item, old: Item) -> None:
    """Give an item the blanks and the remark of the one that it replaces; the remark keeps its column where it can."""
    trivia = old.trivia
    grown = len(item.as_string()) - len(old.as_string())
    blanks = trivia.comment_ws
    if blanks.strip(" ") == "" and len(blanks) > 1:
        blanks = " " * max(1, len(blanks) - grown)
    item.trivia.indent, item.trivia.comment_ws = trivia.indent, blanks
    item.trivia.comment, item.trivia.trail = trivia.comment, trivia.trail


def _append(place: Any, key: str, item: Any) -> None:
    """Add a key behind the last one of its table, before the blank lines and remarks that lead to the next table."""
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


def _agree(here: Any, there: Any) -> bool:
    """Whether two values are the same; an angle or a speed may be one that no decimal text gives to the last bit."""
    if isinstance(here, float) and isinstance(there, float):
        return math.isclose(here, there, rel_tol=_LAST_BITS)
    return here == there


def _first_difference(found: Any, wanted: Any, path: str) -> str:
    """Path of the first value that two scenarios do not share; empty where they agree."""
    for key, spec in specs(type(wanted)).items():
        here, there = getattr(found, key), getattr(wanted, key)
        if spec.kind == "table" and here is not None and there is not None:
            wrong = _first_difference(here, there, f"{path}{key}.")
        elif spec.kind == "tables" and len(here) == len(there):
            pairs = enumerate(zip(here, there, strict=True), start=1)
            wrong = next((w for i, (a, b) in pairs if (w := _first_difference(a, b, f"{path}{key}.{i}."))), "")
        else:
            wrong = "" if _agree(here, there) else f"{path}{key}"
        if wrong:
            return wrong
    return ""
