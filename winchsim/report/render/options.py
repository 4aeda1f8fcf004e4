"""What all renderers share: options, colour, harmless characters, numbers as text under them."""

import html
import math
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import field

from winchsim.frozen import dataclass
from winchsim.quantity_text import PRINTED_UNITS, show
from winchsim.report.document import Cell, Face, Mark, Table, Text, Value

TIED = "\N{NO-BREAK SPACE}"
"""Blank at which no line ends: between a number and its unit."""

_PLAIN = str.maketrans(
    {
        "×": "x",
        "−": "-",
        "–": "-",
        "—": "-",
        "·": ".",
        "°": "deg ",
        "²": "2",
        "³": "3",
        "≤": "<=",
        "≥": ">=",
        "±": "+/-",
        "Ω": "ohm",
        "η": "eta",
        "μ": "u",
        "…": "...",
        "→": "->",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    }
)
"""Characters of ours that an old encoding may lack, and what is written instead."""


@dataclass(frozen=True)
class Options:
    """How a document is rendered.

    Attributes
    ----------
    width : int
        Columns of text. [-]
    height : int
        Lines of the text without its details and the line that tells where they are; tables lose
        spare rows above it. [-]
    colour : bool
        Whether text is coloured.
    us : bool
        Whether US units are written behind the SI ones.
    plain : bool
        Whether only characters are used that every encoding has.
    full : bool
        Whether text contains the sections of details.
    figures : Mapping of str to str
        By name: inline SVG for HTML, the file for Markdown. A figure that is not there is left out.
    """

    width: int = 80
    height: int = 24
    colour: bool = False
    us: bool = False
    plain: bool = False
    full: bool = False
    figures: Mapping[str, str] = field(default_factory=dict)


_CODES = {"bad": "1;31", "warn": "33", "open": "33", "good": "32", "strong": "1", "faint": "2"}
"""Control codes by tone."""


def painted(tone: str, text: str, colour: bool) -> str:
    """Text in one of the tones of a mark, or ``strong`` or ``faint``, where colour is on; it is
    never the only sign of anything."""
    return f"\033[{_CODES[tone]}m{text}\033[0m" if colour and text else text


def use_colour(choice: str, environ: Mapping[str, str], is_terminal: bool) -> bool:
    """Whether to colour: the option decides, then NO_COLOR, FORCE_COLOR, a dumb terminal, whether
    it is a terminal.

    Parameters
    ----------
    choice : str
        ``always``, ``never`` or ``auto``.
    environ : Mapping of str to str
        Environment variables.
    is_terminal : bool
        Whether the stream is a terminal.

    Returns
    -------
    bool
    """
    if choice != "auto":
        return choice == "always"
    if environ.get("NO_COLOR") or environ.get("FORCE_COLOR"):
        return not environ.get("NO_COLOR")
    return is_terminal and environ.get("TERM") != "dumb"


_HARMFUL = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufeff"
    + "".join(chr(top - 2) + chr(top - 1) for top in range(0x10000, 0x110001, 0x10000))
    + "]"
)
"""Control characters, line ends, halves of a pair, invisible marks that turn the direction of
whatever follows them, and the last two places of each plane, which are no characters."""


def harmless(text: str) -> str:
    """Text of any origin made harmless for a page or a figure: without control characters, marks
    that turn its direction, and what XML cannot hold.

    Joiners, spaces of any width and unassigned letters stay: scripts need them.

    Parameters
    ----------
    text : str
        Tabs and line ends become blanks; what else is taken out is written as its code.

    Returns
    -------
    str
        One line.
    """
    return _HARMFUL.sub(lambda m: " " if m[0] in "\t\n\r" else f"\\x{ord(m[0]):02x}", text)


def safe(text: str) -> str:
    """Text of any origin, harmless, as HTML text or attribute value."""
    return html.escape(harmless(text), quote=True)


def plain_characters(text: str) -> str:
    """Text with our own special characters replaced."""
    return text.translate(_PLAIN)


def value_text(value: Value, options: Options) -> str:
    """A value in words, with `TIED` blanks; empty where the part to show does not exist."""
    si = _in_unit(value, value.unit)
    other = PRINTED_UNITS[value.unit].us
    return f"{si} [{_in_unit(value, other)}]" if options.us and other and si else si


def _in_unit(value: Value, unit: str) -> str:
    has_range = value.low is not None and value.high is not None and value.low != value.high
    if value.value is None:
        return "not known" if value.face is not Face.RANGE else ""
    ends = (value.low, value.high) if has_range else (None, None)
    middle, low, high = show(value.value, *ends, value.limit, unit)
    sign = TIED + (unit or value.sign) if unit or value.sign else ""
    number = value.endless if math.isinf(value.value) else middle + sign
    if not has_range:
        return "" if value.face is Face.RANGE else number
    upper = value.endless if math.isinf(value.high or 0.0) else high
    span = f"{low}{TIED}{'or' if upper.startswith('never') else 'to'}{TIED}{upper}"
    return {Face.RANGE: span, Face.VALUE: number, Face.ALL: f"{number}{TIED}({span})"}[value.face]


def sentence_text(text: Text, *, us: bool = False) -> str:
    """A sentence as plain text, for figures and machines."""
    return cell_text(text, Options(us=us), harmless).replace(TIED, " ")


def sentences(texts: Iterable[Text]) -> list[str]:
    """Sentences as plain text, for machines."""
    return [sentence_text(text) for text in texts]


def cell_text(cell: Cell, options: Options, clean: Callable[[str], str]) -> str:
    """A cell or a sentence in words; `clean` makes text of any origin harmless."""
    match cell:
        case str():
            return clean(cell)
        case Value():
            return value_text(cell, options)
        case Mark():
            return clean(cell.word)
    return "".join(cell_text(part, options, clean) for part in cell)


def count_text(node: Table, left_out: Collection[int]) -> str:
    """How many rows were left out, and with which marks; checks that are not ok by name."""
    count = len(left_out)
    more = f"and {count} more {node.name if count > 1 else node.name.removesuffix('s')}"
    words: Counter[str] = Counter()
    thin: dict[str, list[str]] = {}
    for row in map(node.rows.__getitem__, sorted(left_out)):
        for mark in (cell for cell in row if isinstance(cell, Mark)):
            if mark.tone == "warn" and node.name == "checks":
                thin.setdefault(mark.word, []).append(next(c for c in row if isinstance(c, str)))
            else:
                words[mark.word] += 1
    if len(words) == 1 and not thin:
        return f"{more}, {'all ' * (count > 1)}{next(iter(words))}"
    named = [f"{word}: {'; '.join(checks)}" for word, checks in thin.items()]
    counts = ", ".join(f"{n} {word}" for word, n in words.items())
    return f"{more}: {'; '.join([*named, *([counts] if counts else [])])}"
