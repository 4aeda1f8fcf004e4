"""Text of any origin made harmless for a page or a figure, with every letter of every script left
in it."""

import html
import unicodedata

_STEERING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Invisible marks that turn the direction of whatever follows them."""


def harmless(text: str) -> str:
    """Text without control characters, marks that turn its direction, and what XML cannot hold.

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
    return "".join(" " if c in "\t\n\r" else c if _keeps(c) else f"\\x{ord(c):02x}" for c in text)


def safe(text: str) -> str:
    """Text of any origin, harmless, as HTML text or attribute value."""
    return html.escape(harmless(text), quote=True)


def _keeps(character: str) -> bool:
    odd = (
        unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp")
        or (ord(character) & 0xFFFE) == 0xFFFE
    )
    return not odd and character not in _STEERING
