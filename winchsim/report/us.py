"""US units beside the SI ones in finished sentences."""

from __future__ import annotations

import re

from winchsim.quantity_text import PRINTED_UNITS, number

LEAST_DIGITS = 3
"""A converted number shows as many significant digits as the SI one, and at least these. [-]"""

_WITH_US = sorted((unit.name for unit in PRINTED_UNITS.values() if unit.us), key=len, reverse=True)
_NUMBER = r"(?<![\w.])(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)"
_QUANTITY = re.compile(rf"{_NUMBER} ({'|'.join(map(re.escape, _WITH_US))})(?![\w·/²³])")


def beside_us(text: str) -> str:
    """Text with the US unit in brackets behind every quantity that has one.

    Parameters
    ----------
    text : str
        Sentences whose quantities are written as quantity_text writes them.

    Returns
    -------
    str
        ``up 0.500 m`` becomes ``up 0.500 m (1.64 ft)``.
    """
    return _QUANTITY.sub(_both, text)


def said(text: str, us: bool) -> str:
    """A finished sentence, with US units beside the SI ones where asked for."""
    return beside_us(text) if us else text


def _both(found: re.Match[str]) -> str:
    written, name = found[1], found[2]
    unit = PRINTED_UNITS[name]
    other = PRINTED_UNITS[unit.us]
    si = (float(written) - unit.offset) / unit.factor
    digits = len(re.sub(r"e.*|^-?0*\.?0*|[-.]", "", written)) or 1
    return (
        f"{found[0]} "
        f"({number(si * other.factor + other.offset, max(LEAST_DIGITS, digits))} {other.name})"
    )
