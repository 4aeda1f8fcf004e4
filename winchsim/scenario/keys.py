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
        raise refused(
            f'no table "{wanted[:60]}"',
            expected="one of: " + ", ".join(names),
            hint=did_you_mean(wanted, names),
            code=Code.UNKNOWN_KEY,
        )
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
        about = f"{table.heading}  {table.meaning}{need}"
        first, *more = textwrap.wrap(about, width, subsequent_indent=" " * 4)
        lines += [first.replace(table.heading, strong(table.heading), 1), *more]
        for row in table.rows:
            assumed = row["assumed"] and f" ({row['assumed']})"
            left_out = "required" if row["required"] else f"left out: {row['default']}{assumed}"
            for indent, text in (
                (26, f"  {row['key']:22}  {row['meaning']}"),
                (10, f"        {_accepted(row)}"),
                (10, f"        {left_out}"),
            ):
                lines += textwrap.wrap(
                    text, width, subsequent_indent=" " * indent, break_on_hyphens=False
                )
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
            "| Key | Meaning | Takes | Left out |",
            "| --- | --- | --- | --- |",
        ]
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


def _collected(
    table: type, name: str, path: str, meaning: str, heading: str, required: bool, group: str = ""
) -> Iterator[KeyTable]:
    """A table and all tables inside it."""
    declared = specs(table).items()
    rows = (_row(key, path, spec, group or spec.group) for key, spec in declared if not spec.table)
    yield KeyTable(name, heading, meaning, required, tuple(rows))
    for key, spec in declared:
        if spec.table:
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
    words = _either((f"the {spec.names}",) if spec.names else spec.choices)
    condition, assumed = spec.condition, spec.assumed
    return {
        "path": path + key,
        "key": key,
        "takes": f"{describe_unit(spec.unit)}, printed in {spec.unit}"
        if spec.kind == "quantity"
        else _TAKES[spec.kind],
        "unit": spec.unit,
        "bounds": bounds(spec) if spec.kind in ("quantity", "number", "integer") else words,
        "usual": _range(spec, *spec.usual) if spec.usual else "",
        "condition": f"only with {condition[0]} = {_either(condition[1])}" if condition else "",
        "default": "" if spec.required else spec.left_out or _shown(spec, spec.default),
        "assumed": f"assumed, {_range(spec, *assumed[:2])}; {assumed[2]}" if assumed else "",
        "required": spec.required,
        "meaning": spec.meaning,
        "label": spec.label,
        "group": group,
    }


def _range(spec: Spec, low: float, high: float) -> str:
    ends = " to ".join(f"{in_unit(end, spec.unit):.6g}" for end in (low, high))
    return f"{ends} {spec.unit}".rstrip()


def _either(words: Sequence[str]) -> str:
    return " or ".join(word if word.startswith("the ") else f'"{word}"' for word in words)


def _shown(spec: Spec, value: Any) -> str:
    match value:
        case None:
            return "not known"
        case bool():
            return repr(value).lower()
        case str():
            return f'"{value}"' if value else "empty"
    return f"{in_unit(value, spec.unit):.6g} {spec.unit}".rstrip()
