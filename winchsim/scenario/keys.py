"""The key reference: every key that a scenario can have, from its one declaration."""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from winchsim.errors import Code, did_you_mean, refused
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Spec, bounds, specs
from winchsim.quantity_text import in_unit
from winchsim.units import describe_unit

_TAKES = {
    "number": "a number or a percentage",
    "integer": "a whole number",
    "flag": "true or false",
    "text": "text",
    "choice": "a word",
}


@dataclass(frozen=True)
class KeyTable:
    """One table of a scenario: its name, its heading in a file, what it is, and its keys."""

    name: str
    heading: str
    meaning: str
    required: bool
    rows: tuple[dict[str, Any], ...]


def key_tables(only: str | None = None) -> tuple[KeyTable, ...]:
    """Tables of the key reference, in the order of the declarations.

    Parameters
    ----------
    only : str, optional
        Name of the one table that is wanted, such as ``rope`` or ``motors.gearbox``.

    Returns
    -------
    tuple of KeyTable
        The tables inside a wanted table come with it. A row holds plain data: path, key, what it
        takes, unit, bounds, usual range, condition, default, range and source of an assumed
        default, whether it is required, meaning, label and group.

    Raises
    ------
    InputError
        There is no such table.
    """
    tables = tuple(_collected(Inputs, "", "", "top of the file", "(top of the file)", True))
    if only is None:
        return tables
    wanted = only.strip("[] ")
    chosen = tuple(t for t in tables if f"{t.name}.".startswith(f"{wanted}.") and wanted)
    if not chosen:
        names = [table.name for table in tables if table.name]
        expected, hint = "one of: " + ", ".join(names), did_you_mean(wanted, names)
        message = f'no table "{wanted[:60]}"'
        raise refused(message, expected=expected, hint=hint, code=Code.UNKNOWN_KEY)
    return chosen


def keys_text(
    tables: Sequence[KeyTable], strong: Callable[[str], str] = str, width: int = 80
) -> str:
    """Key reference as text.

    Parameters
    ----------
    tables : sequence of KeyTable
        What to print.
    strong : callable
        Makes a heading stand out.
    width : int
        Columns. [-]
    """
    lines = []
    for table in tables:
        need = f" ({'required' if table.required else 'optional'})" if table.name else ""
        lines.append(strong(table.heading) + f"  {table.meaning}{need}")
        for row in table.rows:
            head = f"  {row['key']:22}  {row['meaning']}"
            for text in (head, f"        {_accepted(row)}", f"        {_left_out(row)}"):
                indent = " " * (26 if text == head else 10)
                lines += textwrap.wrap(
                    text, width, subsequent_indent=indent, break_on_hyphens=False
                )
        lines.append("")
    return "\n".join(lines)


def keys_markdown(tables: Sequence[KeyTable]) -> str:
    """Key reference as Markdown tables."""
    lines = []
    for table in tables:
        meaning = f"{table.meaning[:1].upper()}{table.meaning[1:]}."
        lines += [f"### `{table.heading}`", "", meaning, "", "| Key | Meaning | Takes | Left out |"]
        lines.append("| --- | --- | --- | --- |")
        for row in table.rows:
            default = "**required**" if row["required"] else row["default"]
            cells = (f"`{row['key']}`", row["meaning"], _accepted(row), default)
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
    return "\n".join(lines)


def _accepted(row: dict[str, Any]) -> str:
    """What a key takes; where the usual range is known, its far bounds are left out."""
    usual = row["usual"] and f"usually {row['usual']}"
    limits = row["bounds"].partition(",")[0] if row["bounds"].startswith("over") else ""
    return ", ".join(
        filter(None, (row["takes"], limits if usual else row["bounds"], usual, row["condition"]))
    )


def _left_out(row: dict[str, Any]) -> str:
    assumed = row["assumed"] and f" ({row['assumed']})"
    return "required" if row["required"] else f"left out: {row['default']}{assumed}"


def _collected(
    table: type, name: str, path: str, meaning: str, heading: str, required: bool, group: str = ""
) -> Iterator[KeyTable]:
    """A table and all tables inside it."""
    declared = specs(table).items()
    single = [item for item in declared if item[1].kind not in ("table", "tables")]
    rows = (_row(key, path, spec, group or spec.group) for key, spec in single)
    yield KeyTable(name, heading, meaning, required, tuple(rows))
    for key, spec in declared:
        if spec.kind in ("table", "tables"):
            inner, is_list = f"{name}.{key}".lstrip("."), spec.kind == "tables"
            yield from _collected(
                spec.table,
                inner,
                f"{path}{key}.1." if is_list else f"{path}{key}.",
                spec.meaning,
                f"[[{inner}]]" if is_list else f"[{inner}]",
                spec.required,
                group or spec.group,
            )


def _row(key: str, path: str, spec: Spec, group: str) -> dict[str, Any]:
    required, is_quantity = spec.required, spec.kind == "quantity"
    words = _either((f"the {spec.names}",) if spec.names else spec.choices)
    condition, assumed = spec.condition, spec.assumed
    return {
        "path": path + key,
        "key": key,
        "takes": f"{describe_unit(spec.unit)}, printed in {spec.unit}"
        if is_quantity
        else _TAKES[spec.kind],
        "unit": spec.unit,
        "bounds": bounds(spec) if spec.kind in ("quantity", "number", "integer") else words,
        "usual": _range(spec, *spec.usual) if spec.usual else "",
        "condition": f"only with {condition[0]} = {_either(condition[1])}" if condition else "",
        "default": "" if required else spec.left_out or _shown(spec, spec.default),
        "assumed": f"assumed, {_range(spec, *assumed[:2])}; {assumed[2]}" if assumed else "",
        "required": required,
        "meaning": spec.meaning,
        "label": spec.label,
        "group": group,
    }


def _range(spec: Spec, low: float, high: float) -> str:
    low, high = in_unit(low, spec.unit), in_unit(high, spec.unit)
    return f"{low:.6g} to {high:.6g} {spec.unit}".rstrip()


def _either(words: Sequence[str]) -> str:
    return " or ".join(word if word.startswith("the ") else f'"{word}"' for word in words)


def _shown(spec: Spec, value: Any) -> str:
    if value is None or isinstance(value, bool):
        return "not known" if value is None else repr(value).lower()
    if isinstance(value, str):
        return f'"{value}"' if value else "empty"
    return f"{in_unit(value, spec.unit):.6g} {spec.unit}".rstrip()
