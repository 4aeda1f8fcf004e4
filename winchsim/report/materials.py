"""The tables of materials, ropes and friction pairs as documents and data; a value from memory is
marked wherever it stands."""

from collections.abc import Sequence
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.report.document import (
    Cell,
    Document,
    Face,
    Node,
    Paragraph,
    Section,
    Table,
    Value,
    say,
)
from winchsim.report.words.values import source
from winchsim.strength.materials import FrictionPair, Material, RopeMaterial, sourced_values

Row = Material | RopeMaterial | FrictionPair

MARK = "*"
"""Stands behind a value that was recalled and not looked up."""

_FOOT = (
    f"{MARK} unverified estimate: recalled, not looked up. winchsim materials NAME "
    f"shows every value with its source."
)
_KIND = {Material: "material", RopeMaterial: "rope", FrictionPair: "friction"}

_OVERVIEW: dict[type, tuple[str, dict[str, str]]] = {
    Material: (
        "Materials of gears, shafts and pins",
        {
            "density": "density",
            "tensile_strength": "strength",
            "elastic_modulus": "elastic modulus",
            "softening": "softens at",
            "across_layers": "across layers",
        },
    ),
    RopeMaterial: (
        "Ropes",
        dict(
            zip(
                sourced_values(RopeMaterial),
                (
                    "strength/d²",
                    "EA/strength",
                    "mass/(length d²)",
                    "at a knot",
                    "at a splice",
                    "drum/rope",
                ),
                strict=True,
            )
        ),
    ),
    FrictionPair: ("Friction between the flanks of teeth", {"friction": "coefficient"}),
}
"""Heading of each kind, and what its overview shows under which head."""


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
    offered = [row.name for row in known.values()]
    faults = [
        Fault(
            f'no material or rope "{name}"',
            expected="one of: " + ", ".join(offered),
            hint=did_you_mean(name, offered),
            code=Code.UNKNOWN_NAME,
        )
        for name in names
        if name.lower() not in known
    ]
    if faults:
        raise InputError(tuple(faults))
    chosen = [known[name.lower()] for name in dict.fromkeys(names)]
    wanted = {row.name for row in chosen}
    return chosen + [
        row for row in rows if isinstance(row, FrictionPair) and wanted & {row.first, row.second}
    ]


def overview(rows: Sequence[Row]) -> Document:
    """A table of each kind with what matters most."""
    tables = {
        heading: Table(
            ("name", *keys.values()),
            tuple(
                (row.name, *(_cell(row, key) for key in keys)) for row in rows if type(row) is kind
            ),
        )
        for kind, (heading, keys) in _OVERVIEW.items()
    }
    body = (Section(heading, (table,)) for heading, table in tables.items())
    return Document("", "", (*body, Paragraph(say(_FOOT), faint=True)))


def detail(rows: Sequence[Row]) -> Document:
    """Every value of each row with its range and source."""
    body: list[Node] = []
    for row in rows:
        cells = [
            (meaning, _cell(row, key), _cell(row, key, Face.RANGE), _source(row, key))
            for key, (_, meaning) in sourced_values(type(row)).items()
            if getattr(row, key) is not None
        ]
        about = [Paragraph(say(note), faint=True)] if (note := getattr(row, "note", "")) else []
        table = Table(("property", "value", "range", "source"), tuple(cells))
        body.append(Section(f"{row.name} ({_KIND[type(row)]})", (*about, table)))
    return Document("", "", (*body, Paragraph(say(_FOOT.partition(". ")[0] + "."), faint=True)))


def _cell(row: Row, key: str, face: Face = Face.VALUE) -> Cell:
    """One value, with the mark of those from memory, or its range."""
    if (value := getattr(row, key)) is None:
        return "–"
    origin = row.origin(key)
    shown = Value(value, sourced_values(type(row))[key][0], origin.low, origin.high, face=face)
    return (shown, MARK) if origin.basis == "from memory" and face is Face.VALUE else shown


def _source(row: Row, key: str) -> str:
    origin = row.origin(key)
    other = "" if origin.range_source == origin.source else origin.range_source
    return source(f"{origin.source}; range: {other}" if other else origin.source)


def row_facts(row: Row) -> dict[str, Any]:
    """One row as plain data in SI, each value with its unit, range and source."""
    own = ("name", "family", "first", "second", "greased", "note")
    values = {
        key: {
            "value": value,
            "unit": PRINTED_UNITS[unit].si or "1",
            "meaning": meaning,
            "low": origin.low,
            "high": origin.high,
            "source": origin.source,
            "range_source": origin.range_source or None,
            "from_memory": origin.basis == "from memory",
        }
        for key, (unit, meaning) in sourced_values(type(row)).items()
        if (value := getattr(row, key)) is not None
        for origin in [row.origin(key)]
    }
    return {
        "kind": _KIND[type(row)],
        **{name: getattr(row, name) for name in own if hasattr(row, name)},
        "values": values,
    }
