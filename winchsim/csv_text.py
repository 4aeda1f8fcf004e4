"""Tables as CSV text that a spreadsheet and pandas open without options: one line of heads, then
rows; no remarks; no text that a spreadsheet would compute."""

import math
from collections.abc import Iterable
from typing import Any

DIGITS = 9
"""Significant digits of a cell. [-]"""

_COMPUTED = ("=", "+", "-", "@", "\t", "\r")
"""Beginnings of a text that a spreadsheet takes for a formula."""


def csv_text(heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> str:
    """Text of a table."""
    return "".join(",".join(map(cell, row)) + "\n" for row in (heads, *rows))


def cell(value: Any) -> str:
    """Text of one cell: blank for what is not known or not finite, yes or no for a flag, an
    apostrophe before a text that would be taken for a formula."""
    match value.item() if hasattr(value, "item") else value:
        case bool(flag):
            return "yes" if flag else "no"
        case float(number):
            return f"{number:.{DIGITS}g}" if math.isfinite(number) else ""
        case str(text):
            text = f"'{text}" if text.startswith(_COMPUTED) else text
            return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',"\n\r') else text
        case other:
            return "" if other is None else str(other)
