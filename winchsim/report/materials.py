"""Text and data of the tables of materials, ropes and friction pairs; a value from memory is marked
wherever it stands."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean
from winchsim.quantity_text import in_unit, number, quantity
from winchsim.report.columns import aligned
from winchsim.report.paint import Paint
from winchsim.report.si_keys import si_unit
from winchsim.strength.materials import FrictionPair, Material, Origin, RopeMaterial, sourced_values

Row = Material | RopeMaterial | FrictionPair

MARK = "*"
"""Stands behind a value that was recalled and not looked up."""


_FOOT = (
    f"{MARK} from memory: recalled, not looked up. winchsim materials NAME "
    f"shows every value with its source."
)
_KIND = {Material: "material", RopeMaterial: "rope", FrictionPair: "friction"}
_WIDTH = 80
_PLAIN = Paint()


def chosen_rows(rows: Sequence[Row], names: Sequence[str]) -> list[Row]:
    """Rows that are called by name, in the order asked for; capitals do not matter.

    Parameters
    ----------
    rows : sequence of rows
        Everything there is. A friction pair goes by either of its materials.
    names : sequence of str
        What is wanted.

    Returns
    -------
    list of rows
        Materials and ropes of the names, then the friction pairs in which they stand.

    Raises
    ------
    InputError
        For every name that nothing is called by, with the nearest.
    """
    known = {row.name.lower(): row for row in rows if not isinstance(row, FrictionPair)}
    faults = []
    for name in names:
        if name.lower() not in known:
            names = [row.name for row in known.values()]
            hint, listed = did_you_mean(name, names), "one of: " + ", ".join(names)
            faults.append(
                Fault(
                    f'no material or rope "{name}"',
                    expected=listed,
                    hint=hint,
                    code=Code.UNKNOWN_NAME,
                )
            )
    if faults:
        raise InputError(tuple(faults))
    chosen: list[Row] = [known[name.lower()] for name in dict.fromkeys(names)]
    wanted = {row.name for row in chosen}
    pairs = [
        row for row in rows if isinstance(row, FrictionPair) and wanted & {row.first, row.second}
    ]
    return chosen + pairs


def overview_text(
    materials: Sequence[Material],
    ropes: Sequence[RopeMaterial],
    pairs: Sequence[FrictionPair],
    *,
    paint: Paint = _PLAIN,
) -> str:
    """The three tables with what matters most, within 100 columns.

    Parameters
    ----------
    materials : sequence of Material
    ropes : sequence of RopeMaterial
    pairs : sequence of FrictionPair
    paint : Paint
        Colours.
    """
    lines = [paint.strong("Materials of gears, shafts and pins")]
    head = ["name", "kind", "density", "strength", "elastic mod.", "softens at", "across layers"]
    keys = ("density", "tensile_strength", "elastic_modulus", "softening", "across_layers")
    lines += _table(
        head, [[m.name, m.family, *(_short(m, key) for key in keys)] for m in materials], "llrrrrr"
    )
    lines += ["", paint.strong("Ropes")]
    head = [
        "name",
        "strength/d²",
        "EA/strength",
        "mass/(length d²)",
        "at a knot",
        "at a splice",
        "drum/rope",
    ]
    rope_keys = tuple(sourced_values(RopeMaterial))
    lines += _table(
        head, [[rope.name, *(_short(rope, key) for key in rope_keys)] for rope in ropes], "lrrrrrr"
    )
    lines += ["", paint.strong("Friction between the flanks of teeth")]
    rows = [
        [p.first, p.second, "greased" if p.greased else "dry", _short(p, "friction")] for p in pairs
    ]
    lines += _table(["one", "other", "running", "coefficient"], rows, "lllr")
    return "\n".join([*lines, "", *textwrap.wrap(_FOOT, _WIDTH)]) + "\n"


def detail_text(rows: Sequence[Row], *, us: bool = False, paint: Paint = _PLAIN) -> str:
    """Every value of each row with its range and source.

    Parameters
    ----------
    rows : sequence of rows
        What to print.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours.

    Returns
    -------
    str
    """
    lines = []
    for row in rows:
        family = f", {row.family}" if isinstance(row, Material) else ""
        lines.append(paint.strong(row.name) + f" ({_KIND[type(row)]}{family})")
        note = getattr(row, "note", "")
        lines += textwrap.wrap(note, _WIDTH, initial_indent="  ", subsequent_indent="  ")
        for key, (unit, meaning) in sourced_values(type(row)).items():
            value = getattr(row, key)
            if value is None:
                continue
            origin = row.origin(key)
            lines.append(
                f"  {meaning}: "
                f"{quantity(value, unit, us=us)}{_mark(origin)}{_range(origin, unit, us)}"
            )
            source = origin.source
            if origin.range_source and origin.range_source != source:
                source += f"; range: {origin.range_source}"
            lines += textwrap.wrap(
                source, _WIDTH, initial_indent="      ", subsequent_indent="      "
            )
        lines.append("")
    return "\n".join([*lines, f"{MARK} from memory: recalled, not looked up."]) + "\n"


def row_facts(row: Row) -> dict[str, Any]:
    """One row as plain data in SI, each value with its unit, range and source."""
    facts: dict[str, Any] = {"kind": _KIND[type(row)], "name": row.name}
    if isinstance(row, Material):
        facts["family"] = row.family
    if isinstance(row, FrictionPair):
        facts |= {"first": row.first, "second": row.second, "greased": row.greased}
    else:
        facts["note"] = row.note
    values = {}
    for key, (unit, meaning) in sourced_values(type(row)).items():
        value = getattr(row, key)
        if value is None:
            continue
        origin = row.origin(key)
        values[key] = {
            "value": value,
            "unit": si_unit(unit) or "1",
            "meaning": meaning,
            "low": origin.low,
            "high": origin.high,
            "source": origin.source,
            "range_source": origin.range_source or None,
            "from_memory": origin.basis == "from memory",
        }
    return facts | {"values": values}


def _table(head: list[str], rows: list[list[str]], right: str) -> list[str]:
    return ["  " + line for line in aligned([head, *rows], right)]


def _short(row: Row, key: str) -> str:
    """One value for the overview; a blank keeps the place of the mark, so that digits stand under
    digits."""
    value = getattr(row, key)
    if value is None:
        return "- "
    unit = sourced_values(type(row))[key][0]
    return quantity(value, unit) + (_mark(row.origin(key)) or " ")


def _mark(origin: Origin) -> str:
    return MARK if origin.basis == "from memory" else ""


def _range(origin: Origin, unit: str, us: bool) -> str:
    if origin.low is None and origin.high is None:
        return ""
    ends = [
        quantity(end, unit, us=us) if end is not None else "?" for end in (origin.low, origin.high)
    ]
    if not us and unit and None not in (origin.low, origin.high):
        ends[0] = number(in_unit(origin.low, unit))  # type: ignore[arg-type]
    return f", {ends[0]} to {ends[1]}"
