"""A report as data: a tree of frozen nodes, without layout, colour or system of units."""

from __future__ import annotations

import re
from enum import StrEnum

from winchsim.frozen import dataclass, replace

Face = StrEnum("Face", ["ALL", "VALUE", "RANGE"])
"""Which part of a value is shown."""


@dataclass(frozen=True)
class Value:
    """A number with its unit and the range that comes from assumed inputs.

    Attributes
    ----------
    value : float or None
        In SI (°C for temperatures); None where it is not known.
    unit : str
        Unit to print it in, one of `winchsim.quantity_text.PRINTED_UNITS`.
    low, high : float or None
        Range, in SI.
    limit : float or None
        Rounding keeps each number on its side of it.
    sign : str
        Printed behind a number without a unit, such as ``×``.
    endless : str
        Word for an infinite number.
    face : Face
    """

    value: float | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    limit: float | None = None
    sign: str = ""
    endless: str = "no limit"
    face: Face = Face.ALL

    @property
    def alone(self) -> Value:
        """The number without its range, with the digits that the range leaves."""
        return replace(self, face=Face.VALUE)

    @property
    def pair(self) -> tuple[Value, Value]:
        """The number for two columns: its value, and its range."""
        return self.alone, replace(self, face=Face.RANGE)


@dataclass(frozen=True)
class Mark:
    """A status in its word, such as ``thin``, which says it alone too; `tone` is what it may be
    coloured as: ``good``, ``warn``, ``bad`` or ``open``."""

    word: str
    tone: str


Text = tuple["str | Value", ...]
"""A sentence: words, and values that a renderer turns into words."""

Cell = str | Value | Mark | Text
"""Content of one place of a table."""


def say(template: str, *parts: str | Value | Text, **named: str | Value | Text) -> Text:
    """A sentence with each ``{}`` of a template replaced by a part, each ``{name}`` by its own."""
    found: list[str | Value] = []
    left = list(parts)
    for place, word in enumerate(re.split(r"\{(\w*)\}", template)):
        part = word if place % 2 == 0 else named[word] if word else left.pop(0)
        found += part if isinstance(part, tuple) else [part]
    if left:
        raise ValueError(f"{len(parts)} parts for {template!r}")
    return tuple(item for item in found if item != "")


def joined(texts: list[Text], between: str = " ") -> Text:
    """Sentences one behind the other; empty ones are left out."""
    return tuple(part for text in texts if text for part in (between, *text))[1:]


@dataclass(frozen=True)
class Headline:
    """The answer: its status, and which part of the checks has it; the sentence; a line below."""

    mark: Mark
    count: str
    sentence: Text
    remark: Text = ()


@dataclass(frozen=True)
class Paragraph:
    """Sentences; `faint` ones are remarks. `label` stands before them, and stands out. `spare` as
    in `Table`: all of it is row 0."""

    text: Text
    faint: bool = False
    label: str = ""
    spare: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Items:
    """A list of sentences, numbered where their order matters; `spare` as in `Table`."""

    items: tuple[Text, ...]
    ordered: bool = False
    spare: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class FindingText:
    """One thing that a run showed, and what can be done."""

    mark: Mark
    text: Text
    action: Text = ()


@dataclass(frozen=True)
class Table:
    """Rows of cells under columns.

    Attributes
    ----------
    columns : tuple of str
        Their heads.
    rows : tuple of tuple of Cell
        As many cells as columns.
    spare : tuple of (int, int)
        What to leave out where there is little room, first what has the least first number of all
        nodes: that number, and a row.
    name : str
        What the rows are, for the line that counts the rows left out.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    spare: tuple[tuple[int, int], ...] = ()
    name: str = "rows"

    def is_right(self, column: int) -> bool:
        """Whether a column is aligned to the right: all its cells are numbers of one unit."""
        cells = [row[column] for row in self.rows if row[column] != ""]
        numbers = [
            cell for cell in cells if isinstance(cell, Value) and cell.face is not Face.RANGE
        ]
        return len(numbers) == len(cells) > 1 and len({cell.unit for cell in numbers}) == 1


@dataclass(frozen=True)
class FigureRef:
    """A figure by the name that it is stored under.

    Attributes
    ----------
    name : str
        Stem of its file.
    heading : str
    caption : str
        One or two sentences: what to see.
    drawn_by : str
        Module of `winchsim.report.figures` and function, called with a record or the result of a
        study, and a look; it returns None where there is nothing to draw.
    """

    name: str
    heading: str
    caption: str
    drawn_by: str = ""


@dataclass(frozen=True)
class Listing:
    """Text of a file as it is."""

    text: str
    language: str = ""


@dataclass(frozen=True)
class Section:
    """Nodes under a heading. A section of `details` is shown on request, or open (`shown`) on a
    page."""

    heading: str
    body: tuple[Node, ...]
    details: bool = False
    shown: bool = False


Node = Headline | Paragraph | Items | FindingText | Table | FigureRef | Listing | Section
"""What a document is made of."""


@dataclass(frozen=True)
class Document:
    """A report.

    Attributes
    ----------
    title, source : str
        Title of the scenario and name of its file.
    body : tuple of Node
        First what is always shown, then sections of details.
    more : str
        Command that shows the details.
    """

    title: str
    source: str
    body: tuple[Node, ...]
    more: str = ""
