"""The key reference: every key that a scenario can have, from its one declaration."""

from __future__ import annotations

import dataclasses
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean
from winchsim.inputs import Inputs, Spec, bounds, default_of, is_required, specs, table_type
from winchsim.quantity_text import in_unit
from winchsim.units import describe_unit

_WIDTH = 100


@dataclass(frozen=True)
class KeyRow:
    """One key of a table.

    Attributes
    ----------
    path : str
        As in ``--set`` and in messages, 1 standing for the number of a table in a list.
    key : str
        As in the file.
    takes : str
        What sort of value it takes.
    unit : str
        Unit in which winchsim prints it; any other of the same kind is read too.
    bounds : str
        What is accepted; empty for free text.
    usual : str
        Range in which such values usually lie; empty where none is declared.
    condition : str
        When the key has a meaning; empty for always.
    default : str
        What is taken when it is left out.
    assumed : str
        Range of a default that is an assumption, with its source; empty for other keys.
    required : bool
        Whether the file must give it.
    meaning : str
        One clause.
    label, group : str
        Short name, and the part of the winch.
    """

    path: str
    key: str
    takes: str
    unit: str
    bounds: str
    usual: str
    condition: str
    default: str
    assumed: str
    required: bool
    meaning: str
    label: str
    group: str

    def facts(self) -> dict[str, Any]:
        """The row as plain data."""
        return dataclasses.asdict(self)


@dataclass(frozen=True)
class KeyTable:
    """One table of a scenario: its name, its heading in a file, what it is, and its keys."""

    name: str
    heading: str
    meaning: str
    required: bool
    rows: tuple[KeyRow, ...]


def key_tables(only: str | None = None) -> tuple[KeyTable, ...]:
    """Tables of the key reference, in the order of the declarations.

    Parameters
    ----------
    only : str, optional
        Name of the one table that is wanted, such as ``rope`` or ``motors.gearbox``.

    Returns
    -------
    tuple of KeyTable
        The tables inside a wanted table come with it.

    Raises
    ------
    InputError
        There is no such table.
    """
    tables = _collected(Inputs, "", "", "top of the file", "", True)
    if only is None:
        return tuple(tables)
    wanted = only.strip("[] ")
    chosen = tuple(
        table for table in tables if table.name == wanted or table.name.startswith(f"{wanted}.")
    )
    if not chosen or not wanted:
        names = [table.name for table in tables if table.name]
        hint = did_you_mean(wanted, names)
        raise InputError(
            (
                Fault(
                    f'no table "{wanted[:60]}"',
                    expected="one of: " + ", ".join(names),
                    hint=hint,
                    code=Code.UNKNOWN_KEY,
                ),
            )
        )
    return chosen


def keys_text(tables: Sequence[KeyTable], strong: Callable[[str], str] = str) -> str:
    """Key reference as text of at most 100 columns.

    Parameters
    ----------
    tables : sequence of KeyTable
        What to print.
    strong : callable
        Makes a heading stand out.

    Returns
    -------
    str
    """
    lines = []
    for table in tables:
        need = "required" if table.required and table.name else "optional" if table.name else ""
        lines.append(strong(table.heading) + f"  {table.meaning}" + (f" ({need})" if need else ""))
        for row in table.rows:
            usual = row.usual and f"usually {row.usual}"
            lines.append(f"  {row.key:22}  {row.meaning}")
            lines += _hanging(
                ", ".join(filter(None, (row.takes, row.bounds, usual, row.condition)))
            )
            assumed = row.assumed and f" ({row.assumed})"
            lines += _hanging("required" if row.required else f"left out: {row.default}{assumed}")
        lines.append("")
    return "\n".join(lines)


def keys_markdown(tables: Sequence[KeyTable]) -> str:
    """Key reference as Markdown tables."""
    lines = []
    for table in tables:
        lines += [
            f"### `{table.heading}`",
            "",
            f"{table.meaning[:1].upper()}{table.meaning[1:]}.",
            "",
        ]
        lines += [
            "| Key | Meaning | Takes | Accepted | Left out |",
            "| --- | --- | --- | --- | --- |",
        ]
        for row in table.rows:
            cells = (
                f"`{row.key}`",
                row.meaning,
                row.takes,
                row.bounds,
                "**required**" if row.required else row.default,
            )
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
    return "\n".join(lines)


def _hanging(text: str) -> list[str]:
    indent = " " * 26
    return textwrap.wrap(
        text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
    )


def _collected(
    table: type, name: str, path: str, meaning: str, heading: str, required: bool, group: str = ""
) -> list[KeyTable]:
    """A table and all tables inside it."""
    rows, inside = [], []
    for key, spec in specs(table).items():
        part = group or spec.group
        if spec.kind in ("table", "tables"):
            inner = f"{name}.{key}" if name else key
            is_list = spec.kind == "tables"
            brackets = f"[[{inner}]]" if is_list else f"[{inner}]"
            below = f"{path}{key}.1." if is_list else f"{path}{key}."
            needed = is_required(table, key)
            inside += _collected(
                table_type(table, key), inner, below, spec.meaning, brackets, needed, part
            )
        else:
            rows.append(_row(table, key, path, spec, part))
    return [KeyTable(name, heading or "(top of the file)", meaning, required, tuple(rows)), *inside]


def _row(table: type, key: str, path: str, spec: Spec, group: str) -> KeyRow:
    required = is_required(table, key)
    return KeyRow(
        path=path + key,
        key=key,
        takes=f"{describe_unit(spec.unit)}, printed in {spec.unit}"
        if spec.kind == "quantity"
        else _TAKES[spec.kind],
        unit=spec.unit,
        bounds=_accepts(spec),
        usual=_range(spec, *spec.usual) if spec.usual else "",
        condition=_condition(spec),
        assumed=_assumed(spec),
        default="" if required else _default(spec, default_of(table, key)),
        required=required,
        meaning=spec.meaning,
        label=spec.label,
        group=group,
    )


_TAKES = {
    "number": "a number or a percentage",
    "integer": "a whole number",
    "flag": "true or false",
    "text": "text",
    "choice": "a word",
}


def _range(spec: Spec, low: float, high: float) -> str:
    return f"{_in_unit(spec, low)} to {_in_unit(spec, high)} {spec.unit}".rstrip()


def _condition(spec: Spec) -> str:
    return f"only with {spec.condition[0]} = {_either(spec.condition[1])}" if spec.condition else ""


def _assumed(spec: Spec) -> str:
    if spec.assumed is None:
        return ""
    low, high, source = spec.assumed
    return f"assumed, {_range(spec, low, high)}; {source}"


def _in_unit(spec: Spec, value: float) -> str:
    return f"{in_unit(value, spec.unit):.6g}"


def _either(choices: Sequence[str]) -> str:
    return " or ".join(f'"{choice}"' for choice in choices)


def _accepts(spec: Spec) -> str:
    if spec.names:
        return f"one of the {spec.names}"
    return _either(spec.choices) if spec.kind not in _NUMBERS else bounds(spec)


_NUMBERS = ("quantity", "number", "integer")


def _default(spec: Spec, value: Any) -> str:
    if spec.left_out:
        return spec.left_out
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if value else "empty"
    return f"{_in_unit(spec, value)} {spec.unit}".rstrip()
