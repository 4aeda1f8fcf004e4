"""Text of any origin made harmless for a page or a figure, with every letter of every script left
in it."""

import html
import re

_HARMFUL = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufeff"
    + "".join(chr(top - 2) + chr(top - 1) for top in range(0x10000, 0x110001, 0x10000))
    + "]"
)
"""Control characters, line ends, halves of a pair, invisible marks that turn the direction of
whatever follows them, and the last two places of each plane, which are no characters."""


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
    return _HARMFUL.sub(lambda m: " " if m[0] in "\t\n\r" else f"\\x{ord(m[0]):02x}", text)


def safe(text: str) -> str:
    """Text of any origin, harmless, as HTML text or attribute value."""
    return html.escape(harmless(text), quote=True)
