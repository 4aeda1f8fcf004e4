"""The test sheet: a CSV file that people fill in, read and written in one place.

A column's head is its name and a unit (``mass_kg``, ``mass_lb``, ``height_in``); the order is free.
Tolerated as spreadsheets write them: a byte order mark, either line end, semicolons or tabs between
cells, empty rows and empty cells, and lines that start with ``#``.
"""

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from winchsim.errors import Code, Fault, InputError, did_you_mean, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import SheetRow, Spec, out_of_bounds, specs
from winchsim.quantity_text import PRINTED_UNITS, in_unit
from winchsim.scenario.files import Collector, read_text, shortened
from winchsim.scenario.values import read_value
from winchsim.units import parse_quantity
from winchsim.version import __version__

MAX_SHEET_BYTES = 1_000_000
MAX_TRACE_BYTES = 20_000_000
MAX_ROWS = 10_000
MAX_COLUMNS = 1000

UNIT_OF_SUFFIX = {
    "kg": "kg",
    "g": "g",
    "lb": "lb",
    "oz": "oz",
    "m": "m",
    "cm": "cm",
    "mm": "mm",
    "in": "in",
    "ft": "ft",
    "s": "s",
    "ms": "ms",
    "min": "min",
    "a": "A",
    "ma": "mA",
    "v": "V",
    "mv": "mV",
    "c": "°C",
    "f": "°F",
    "k": "K",
}
_SUFFIX_OF = {unit: suffix for suffix, unit in UNIT_OF_SUFFIX.items()}


_SHEET = specs(SheetRow)


@dataclass(frozen=True)
class SheetOrigin:
    """What the first line of a sheet says of the scenario that it was planned for.

    Attributes
    ----------
    title : str
        Of the scenario.
    digest : str
        Beginning of the SHA-256 of its text and options.
    """

    title: str
    digest: str


# --- faces


def read_sheet(path: str) -> tuple[SheetRow, ...]:
    """Rows of a test sheet.

    Parameters
    ----------
    path : str
        CSV file with at least a column ``mass_kg`` (or ``mass_lb``, ...).

    Returns
    -------
    tuple of SheetRow
        Several may belong to one rung.

    Raises
    ------
    InputError
        With every fault found, each with its line and column.
    """
    return read_planned_sheet(path)[0]


def read_planned_sheet(path: str) -> tuple[tuple[SheetRow, ...], SheetOrigin | None]:
    """Rows of a test sheet, as `read_sheet` gives them, and what it was planned for; None where it
    does not say."""
    cells = Cells(path, MAX_SHEET_BYTES, "a test sheet")
    names = {head.rpartition("_")[0] for head in cells.heads}
    if "time" in names and "mass" not in names:
        raise cells.faults.error(
            Fault(
                "this is a trace of one lift, no test sheet",
                line=cells.line,
                expected="a column mass_kg",
                code=Code.SHEET_COLUMN,
                hint="winchsim calibrate and winchsim curves --measured take a log",
            )
        )
    return sheet_of(cells), cells.origin


def origin_line(origin: SheetOrigin) -> str:
    """Remark that names the scenario of a sheet, for the first of the comments of `write_sheet`."""
    scenario = f", scenario {origin.digest}" if origin.digest else ""
    return f"winchsim {__version__}, ladder of {origin.title}{scenario}"


_ORIGIN = re.compile(r"#\s*winchsim \S+, ladder of (.*), scenario ([0-9a-f]{12,64})")
_AROUND = ' \t\r,;"'
"""Separators and quotes that a spreadsheet may put around a remark."""


def write_sheet(rows: Sequence[SheetRow], *, us: bool = False, comments: Sequence[str] = ()) -> str:
    """Text of a test sheet.

    Parameters
    ----------
    rows : sequence of SheetRow
        In the order in which they are to stand.
    us : bool
        Whether to add columns in lb, ft and °F beside the SI ones.
    comments : sequence of str
        Lines written first, each behind ``#``.

    Returns
    -------
    str
        CSV that `read_sheet` reads back, numbers to six significant digits.
    """
    columns: dict[str, tuple[str, str]] = {}
    for name, spec in _SHEET.items():
        for unit in dict.fromkeys((spec.unit, PRINTED_UNITS[spec.unit].us if us else spec.unit)):
            if unit in _SUFFIX_OF or not spec.unit:
                columns[_head(name, unit)] = name, unit
    text = io.StringIO()
    text.writelines(f"# {comment}\n" for comment in comments)
    cells = ([_cell_text(getattr(row, n), unit) for n, unit in columns.values()] for row in rows)
    csv.writer(text, lineterminator="\n").writerows([columns, *cells])
    return text.getvalue()


def _cell_text(value: Any, unit: str) -> str:
    if value is None or isinstance(value, bool):
        return {None: "", True: "yes", False: "no"}[value]
    return f"{in_unit(value, unit):.6g}" if unit else str(value)


# --- reading


@dataclass(frozen=True)
class Column:
    """A column that means something: its place in a row, its head, what its cells declare, and
    value = number in the cell x `scale` + `offset`."""

    position: int
    head: str
    name: str
    spec: Spec
    unit: str
    scale: float
    offset: float


def column_of(position: int, head: str, name: str, spec: Spec, unit: str) -> Column:
    """A column whose cells count a unit each, or so many of a unit (``10 cm``)."""
    counted = unit if unit[:1].isdigit() else f"1 {unit}"
    zero = parse_quantity(f"0 {unit}", spec.unit) if unit and spec.unit == "°C" else 0.0
    one = parse_quantity(counted, spec.unit) if unit and spec.unit else 1.0
    return Column(position, head, name, spec, unit, one - zero, zero)


_DECIMAL_COMMA = re.compile(r"[+-]?(0|[0-9]{1,15}(?!,[0-9]{3}$)),[0-9]{1,15}")
"""A comma before three digits may divide thousands: it is asked about, but behind a 0."""
_ANY_COMMA = re.compile(r"[+-]?[0-9]{1,15},[0-9]{1,15}")
_CLEAR_DECIMAL_COMMA = re.compile(r"[;\t\n][+-]?(0,[0-9]+|[0-9]+,([0-9]{1,2}|[0-9]{4,}))(?![0-9,])")
"""A number in which the comma cannot divide thousands."""


class Cells:
    """Heads and rows of a CSV file, with a collector for what is wrong in it."""

    def __init__(self, path: str, limit: int, what: str) -> None:
        text = read_text(path, limit, what, ".csv")
        lines = tuple(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
        planned = _ORIGIN.fullmatch(lines[0].strip(_AROUND))
        self.origin = SheetOrigin(*planned.groups()) if planned else None
        self.faults = Collector(str(path), lines)
        first = next((line for line in lines if line.strip() and not line.startswith("#")), "")
        separator = max(",;\t", key=first.count)
        plain = separator != "," and not re.search(r"[0-9]\.[0-9]", text[text.find("\n") :])
        shown = plain and _CLEAR_DECIMAL_COMMA.search(text)
        self._decimal_comma = _ANY_COMMA if shown else _DECIMAL_COMMA
        self._reader = csv.reader(
            [line + "\n" for line in lines], delimiter=separator, skipinitialspace=True, strict=True
        )
        self._rows = self._numbered()
        self.line, heads = next(self._rows, (None, []))
        self.heads = [head.strip().lower().replace(" ", "_") for head in heads]
        if not self.heads:
            raise self.faults.error(Fault("the file is empty", expected=what, code=Code.MISSING))
        if len(self.heads) > MAX_COLUMNS:
            many = f"more than {MAX_COLUMNS} columns"
            raise self.faults.error(Fault(many, line=self.line, code=Code.TOO_MUCH))

    def add(
        self,
        message: str,
        line: int | None = None,
        head: str = "",
        *,
        code: Code = Code.SHEET_CELL,
        **more: str,
    ) -> None:
        """Note what is wrong; `more` as `Fault` takes it."""
        self.faults.add(Fault(message, head, line=line, code=code, **more))

    def _numbered(self) -> Iterator[tuple[int | None, list[str]]]:
        """Rows with the line on which they start; empty ones and remarks are left out."""
        line = 1
        try:
            for row in self._reader:
                if any(cell.strip() for cell in row) and not row[0].startswith("#"):
                    yield line, [cell.strip() for cell in row]
                line = self._reader.line_num + 1
        except csv.Error as error:
            self.add(f"not readable as CSV: {error}", line)

    def rows(self, limit: int) -> Iterator[tuple[int | None, list[str]]]:
        """The rows below the heads, as many as are taken, each as long as those; cells under no
        head are faults."""
        for count, (line, row) in enumerate(self._rows, start=1):
            if count > limit:
                self.add(f"more than {limit} rows", line, code=Code.TOO_MUCH)
            if count > limit or self.faults.full:
                return
            surplus = next((cell for cell in row[len(self.heads) :] if cell), "")
            if surplus:
                self.add(
                    "more cells than heads",
                    line,
                    got=shortened(surplus, 60),
                    hint="a cell with a comma in it stands in quotes; numbers have a decimal point",
                )
            yield line, row + [""] * (len(self.heads) - len(row))

    def value(self, line: int | None, column: Column, cell: str) -> Any:
        """Value of one cell in SI; None where it is blank or wrong, with the fault noted."""
        if cell in _BLANK:
            return None
        try:
            return self._read(column, cell)
        except InputError as error:
            fault = replace(error.faults[0], line=line, code=Code.SHEET_CELL)
            hint = _cell_hint(column.spec, cell) or fault.hint
            self.faults.add(replace(fault, got=shortened(cell, 60), hint=hint), column.head)
            return None

    def _read(self, column: Column, cell: str) -> Any:
        spec, word = column.spec, cell.lower()
        match spec.kind:
            case "text":
                return shortened(cell, 2000)
            case "choice":
                return read_value(spec, "lifted" if word in _DONE else word)
            case "flag" if word in (*_YES, *_NO):
                return word in _YES
            case "flag":
                raise refused("neither yes nor no", expected="yes, no or blank")
        if self._decimal_comma.fullmatch(cell):
            cell = cell.replace(",", ".")
        if _PLAIN_NUMBER.fullmatch(cell):
            value = float(cell) * column.scale + column.offset
        else:
            value = parse_quantity(f"{cell} {column.unit}", spec.unit)
        if expected := out_of_bounds(spec, value):
            raise refused("out of bounds", expected=expected)
        return int(value) if spec.kind == "integer" else value

    def columns(self) -> list[Column]:
        """Every column of a test sheet that means something."""
        found = []
        for position, head in enumerate(self.heads):
            name, unit, problem = head_meaning(head, _SHEET)
            problem = f"two columns are called {head}" if head in self.heads[:position] else problem
            if problem and head:
                heads = [_head(name, spec.unit) for name, spec in _SHEET.items()]
                self.add(
                    problem,
                    self.line,
                    shortened(head, 60),
                    got=shortened(head, 60),
                    expected="one of: " + ", ".join(heads),
                    code=Code.SHEET_COLUMN,
                    hint=did_you_mean(head, [other for other in heads if other != head]),
                )
            elif head:
                found.append(column_of(position, head, name, _SHEET[name], unit))
        if all(column.name != "mass" for column in found):
            self.missing("mass_kg", _SHEET["mass"].meaning)
        return found

    def missing(self, head: str, expected: str, message: str = "") -> None:
        """Note a column that is not there."""
        self.add(
            message or f"no column {head}", self.line, head, code=Code.MISSING, expected=expected
        )


def _head(name: str, unit: str) -> str:
    return f"{name}_{_SUFFIX_OF[unit]}" if unit else name


def head_meaning(head: str, known: Mapping[str, Spec]) -> tuple[str, str, str]:
    """Name and unit that a head stands for, or what is wrong with it."""
    name, _, suffix = head.rpartition("_")
    if head in known:
        unit = known[head].unit
        return head, "", f"{head} has no unit: write {_head(head, unit)}" if unit else ""
    if name not in known or not known[name].unit:
        return "", "", "unknown column"
    unit = UNIT_OF_SUFFIX.get(suffix, "")
    return name, unit, "" if fits(unit, known[name]) else f"{suffix} is no unit for {name}"


def fits(unit: str, spec: Spec) -> bool:
    """Whether a unit is one of those that a value may have."""
    try:
        return math.isfinite(parse_quantity(f"1 {unit}", spec.unit))
    except InputError:
        return False


def sheet_of(cells: Cells) -> tuple[SheetRow, ...]:
    """Rows of a test sheet."""
    columns, rows = cells.columns(), []
    for line, row in cells.rows(MAX_ROWS):
        values: dict[str, Any] = {}
        for column in columns:
            value = cells.value(line, column, row[column.position])
            if value is None:
                continue
            before = values.setdefault(column.name, value)
            if before != value and not math.isclose(before, value, rel_tol=2e-3, abs_tol=1e-3):
                cells.add(
                    f"two columns for {column.name} disagree",
                    line,
                    column.head,
                    got=shortened(row[column.position], 60),
                )
        rows.append(SheetRow(**values))
    if not rows and not cells.faults.faults:
        cells.add("no rows below the heads", code=Code.MISSING)
    cells.faults.raise_if_any()
    return tuple(rows)


_YES, _NO = ("yes", "y", "true", "1", "ok", "x"), ("no", "n", "false", "0")
_DONE = ("ok", "up", "yes")
"""Outcomes of a lift that reached its top, as people note them."""
_BLANK = ("", "-", "\u2013", "\u2014", "?", "n/a")
"""Cells with which people mark that nothing was measured."""


def _cell_hint(spec: Spec, cell: str) -> str:
    is_number = spec.kind in ("quantity", "integer")
    if is_number and "," in cell:
        return "write a decimal point, and nothing between thousands"
    is_long = is_number and cell[0].isdigit() and not cell[-1].isdigit()
    return "write the number alone; its unit stands in the head" if is_long else ""


_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]{1,15}(\.[0-9]{0,15})?([eE][+-]?[0-9]{1,2})?")
