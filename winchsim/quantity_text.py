"""An SI number as text in the unit declared for it: the only place that turns numbers into words;
and tables as CSV.

No units library here: this room only needs a factor from SI to each unit that winchsim prints.
Temperatures are kept in degrees Celsius everywhere inside winchsim, so their "SI" value is in °C.
"""

import math
from collections.abc import Iterable
from typing import Any

from winchsim.constants import INCH, POUND, STANDARD_GRAVITY
from winchsim.frozen import dataclass


@dataclass(frozen=True)
class PrintedUnit:
    """A unit that winchsim prints: value = SI value x `factor` + `offset`.

    Attributes
    ----------
    name : str
        As printed.
    si : str
        SI unit (°C for temperatures) that its values are kept in.
    factor, offset : float
        From SI (°C for temperatures) to this unit.
    us : str
        Unit printed beside it on request in the customary units of the United States; empty when
        there is none.
    tail : str
        How the name of a value in this SI unit ends where machines read it (``lift_time_s``); empty
        without a dimension.
    pint : str
        What pint calls it, where that is something else.
    dimension : tuple of int
        Of an SI unit, as the next two: powers of kilogram, metre, second, ampere, kelvin and
        radian. The angle is kept, so that rad/s differs from Hz.
    measures : str
        What it measures, with an article.
    usual : str
        Usual spellings of such units, with spaces between them.
    """

    name: str
    si: str
    factor: float = 1.0
    offset: float = 0.0
    us: str = ""
    tail: str = ""
    pint: str = ""
    dimension: tuple[int, int, int, int, int, int] = (0, 0, 0, 0, 0, 0)
    measures: str = ""
    usual: str = ""


_LBF = POUND * STANDARD_GRAVITY

PRINTED_UNITS: dict[str, PrintedUnit] = {
    unit.name: unit
    for unit in (
        PrintedUnit("", "", pint="dimensionless",
                    measures="a plain number or a percentage", usual="%"),
        PrintedUnit("%", "", 100.0, pint="percent"),
        PrintedUnit("s", "s", tail="s", dimension=(0, 0, 1, 0, 0, 0),
                    measures="a time", usual="s min h"),
        PrintedUnit("ms", "s", 1e3),
        PrintedUnit("min", "s", 1 / 60),
        PrintedUnit("m", "m", us="ft", tail="m", dimension=(0, 1, 0, 0, 0, 0),
                    measures="a length", usual="mm m in ft"),
        PrintedUnit("mm", "m", 1e3, us="in"),
        PrintedUnit("in", "m", 1 / INCH, pint="inch"),
        PrintedUnit("ft", "m", 1 / (12 * INCH)),
        PrintedUnit("m/s", "m/s", us="ft/s", tail="m_s", dimension=(0, 1, -1, 0, 0, 0),
                    measures="a speed", usual="m/s mm/s ft/s in/s"),
        PrintedUnit("mm/s", "m/s", 1e3, us="in/s"),
        PrintedUnit("ft/s", "m/s", 1 / (12 * INCH)),
        PrintedUnit("in/s", "m/s", 1 / INCH, pint="inch/s"),
        PrintedUnit("m/s²", "m/s²", us="ft/s²", tail="m_s2", pint="m/s**2",
                    dimension=(0, 1, -2, 0, 0, 0), measures="an acceleration", usual="m/s² ft/s²"),
        PrintedUnit("ft/s²", "m/s²", 1 / (12 * INCH), pint="ft/s**2"),
        PrintedUnit("kg", "kg", us="lb", tail="kg", dimension=(1, 0, 0, 0, 0, 0),
                    measures="a mass", usual="kg g lb oz"),
        PrintedUnit("g", "kg", 1e3, us="oz"),
        PrintedUnit("lb", "kg", 1 / POUND),
        PrintedUnit("oz", "kg", 16 / POUND),
        PrintedUnit("kg/m", "kg/m", us="lb/ft", tail="kg_m", dimension=(1, -1, 0, 0, 0, 0),
                    measures="a mass per length", usual="g/m kg/m lb/ft"),
        PrintedUnit("g/m", "kg/m", 1e3, us="lb/ft"),
        PrintedUnit("lb/ft", "kg/m", 12 * INCH / POUND),
        PrintedUnit("kg/m³", "kg/m³", us="lb/ft³", tail="kg_m3", pint="kg/m**3",
                    dimension=(1, -3, 0, 0, 0, 0), measures="a density", usual="kg/m³ g/cm³"),
        PrintedUnit("lb/ft³", "kg/m³", (12 * INCH) ** 3 / POUND, pint="lb/ft**3"),
        PrintedUnit("N", "N", us="lbf", tail="n", dimension=(1, 1, -2, 0, 0, 0),
                    measures="a force", usual="N kgf lbf"),
        PrintedUnit("kN", "N", 1e-3, us="lbf"),
        PrintedUnit("lbf", "N", 1 / _LBF),
        PrintedUnit("N·s/m", "N·s/m", us="lbf·s/ft", tail="n_s_m", pint="N*s/m",
                    dimension=(1, 0, -1, 0, 0, 0), measures="a damping (force per speed)",
                    usual="N·s/m"),
        PrintedUnit("lbf·s/ft", "N·s/m", 12 * INCH / _LBF, pint="lbf*s/ft"),
        PrintedUnit("N·m", "N·m", us="lbf·in", tail="n_m", pint="N*m",
                    dimension=(1, 2, -2, 0, 0, 0), measures="a torque",
                    usual="N·m mN·m kg·cm oz·in lbf·in"),
        PrintedUnit("mN·m", "N·m", 1e3, us="ozf·in", pint="mN*m"),
        PrintedUnit("lbf·in", "N·m", 1 / (_LBF * INCH), pint="lbf*inch"),
        PrintedUnit("ozf·in", "N·m", 16 / (_LBF * INCH), pint="ozf*inch"),
        PrintedUnit("N·m·s/rad", "N·m·s/rad", tail="n_m_s_rad", pint="N*m*s/rad",
                    dimension=(1, 2, -1, 0, 0, -1), measures="a rotational damping",
                    usual="N·m·s/rad"),
        PrintedUnit("Pa", "Pa", tail="pa", dimension=(1, -1, -2, 0, 0, 0),
                    measures="a stress or pressure", usual="MPa GPa N/mm² psi"),
        PrintedUnit("MPa", "Pa", 1e-6, us="psi"),
        PrintedUnit("GPa", "Pa", 1e-9, us="ksi"),
        PrintedUnit("psi", "Pa", INCH * INCH / _LBF),
        PrintedUnit("ksi", "Pa", 1e-3 * INCH * INCH / _LBF),
        PrintedUnit("rad", "rad", tail="rad", dimension=(0, 0, 0, 0, 0, 1),
                    measures="an angle", usual="deg rad"),
        PrintedUnit("deg", "rad", 180 / math.pi),
        PrintedUnit("rad/s", "rad/s", tail="rad_s", dimension=(0, 0, -1, 0, 0, 1),
                    measures="a rotational speed", usual="rpm rev/s rad/s"),
        PrintedUnit("rpm", "rad/s", 30 / math.pi),
        PrintedUnit("kg·m²", "kg·m²", us="lb·in²", tail="kg_m2", pint="kg*m**2",
                    dimension=(1, 2, 0, 0, 0, 0), measures="an inertia",
                    usual="g·cm² kg·m² oz·in²"),
        PrintedUnit("g·cm²", "kg·m²", 1e7, us="lb·in²", pint="g*cm**2"),
        PrintedUnit("lb·in²", "kg·m²", 1 / (POUND * INCH * INCH), pint="lb*inch**2"),
        PrintedUnit("1/m", "1/m", tail="per_m", dimension=(0, -1, 0, 0, 0, 0),
                    measures="a number per length, such as a diametral pitch", usual="1/in 1/mm"),
        PrintedUnit("1/in", "1/m", INCH, pint="1/inch"),
        PrintedUnit("V", "V", tail="v", dimension=(1, 2, -3, -1, 0, 0),
                    measures="a voltage", usual="V mV"),
        PrintedUnit("A", "A", tail="a", dimension=(0, 0, 0, 1, 0, 0),
                    measures="a current", usual="A mA"),
        PrintedUnit("mA", "A", 1e3),
        PrintedUnit("ohm", "ohm", tail="ohm", dimension=(1, 2, -3, -2, 0, 0),
                    measures="an electrical resistance", usual="ohm mohm Ω"),
        PrintedUnit("V·s/rad", "V·s/rad", tail="v_s_rad", pint="V*s/rad",
                    dimension=(1, 2, -2, -1, 0, -1), measures="a back-voltage constant",
                    usual="V·s/rad V/rpm"),
        PrintedUnit("A·h", "C", 1 / 3600, pint="A*hour"),
        PrintedUnit("C", "C", tail="coulomb", dimension=(0, 0, 1, 1, 0, 0),
                    measures="a charge", usual="mAh Ah C"),
        PrintedUnit("W", "W", tail="w", dimension=(1, 2, -3, 0, 0, 0),
                    measures="a power", usual="W"),
        PrintedUnit("J", "J", us="ft·lbf", tail="j", dimension=(1, 2, -2, 0, 0, 0),
                    measures="an energy", usual="J Wh ft·lbf"),
        PrintedUnit("ft·lbf", "J", 1 / (12 * INCH * _LBF), pint="ft*lbf"),
        PrintedUnit("W·h", "J", 1 / 3600, pint="W*hour"),
        PrintedUnit("J/K", "J/K", tail="j_k", pint="J/kelvin", dimension=(1, 2, -2, 0, -1, 0),
                    measures="a heat capacity", usual="J/K"),
        PrintedUnit("K/W", "K/W", tail="k_w", pint="kelvin/W", dimension=(-1, -2, 3, 0, 1, 0),
                    measures="a thermal resistance", usual="K/W °C/W"),
        PrintedUnit("1/K", "1/K", tail="per_k", pint="1/kelvin", dimension=(0, 0, 0, 0, -1, 0),
                    measures="a change per degree", usual="%/K 1/K"),
        PrintedUnit("%/K", "1/K", 100.0, pint="percent/kelvin"),
        PrintedUnit("Hz", "Hz", tail="hz", dimension=(0, 0, -1, 0, 0, 0),
                    measures="a frequency", usual="Hz"),
        PrintedUnit("K", "K", us="°F rise", tail="k", pint="kelvin", dimension=(0, 0, 0, 0, 1, 0),
                    measures="a temperature difference", usual="K °C °F"),
        PrintedUnit("°F rise", "K", 1.8, pint="delta_degF"),
        PrintedUnit("°C", "°C", us="°F", tail="c", pint="degC", dimension=(0, 0, 0, 0, 1, 0),
                    measures="a temperature", usual="°C °F K"),
        PrintedUnit("°F", "°C", 1.8, 32.0, pint="degF"),
    )
}  # fmt: skip
"""Every unit that winchsim prints, and every SI unit that it keeps values in, by name: each
declared here alone."""


_MORE_PLACES = 3
"""Most digits that are added to keep a number on its side of a limit; nearer to it, the number is
shown as the limit. [-]"""


def show(
    value: float,
    low: float | None = None,
    high: float | None = None,
    limit: float | None = None,
    unit: str = "",
) -> tuple[str, str, str]:
    """A number and its range as text, with the digits that the range leaves known.

    Parameters
    ----------
    value, low, high : float
        SI values (°C for temperatures); no range where `low` and `high` are None.
    limit : float, optional
        The value's text is on the same side of the limit as the value: more digits where rounding
        would cross it. The ends follow by one digit.
    unit : str
        One of `PRINTED_UNITS`; the texts are in this unit and do not name it.

    Returns
    -------
    (str, str, str)
        Value, low and high; empty for a bound that is None. The last place follows from the half
        width (two digits of it from 100 to 354, one from 355 to 949), with at least two digits of
        the value unless its range is wider than the value, and at most three.

    Notes
    -----
    Rule for the place: Particle Data Group, Review of Particle Physics, introduction, section on
    rounding (from memory).
    """
    numbers = [None if x is None else in_unit(x, unit) for x in (value, low, high)]
    edge = None if limit is None else in_unit(limit, unit)
    known = [x for x in numbers if x is not None and math.isfinite(x)]
    width = max(known, default=0.0) - min(known, default=0.0)
    first = in_unit(value, unit)
    place = _last_place(first if first in known else max(known, default=0.0, key=abs), width)
    extra = any(_crosses(x, _place_of(x, place), edge) for x in known)
    value_text, low_text, high_text = (
        "" if x is None else _shown(x, _place_of(x, place) - extra, side, width > 0)
        for x, side in zip(numbers, (edge, None, None), strict=True)
    )
    return value_text, low_text, high_text


def _last_place(value: float, width: float) -> int:
    """Power of ten of the last digit to print of a value whose range is so wide."""
    digits = 3
    first = _magnitude(value, digits) if value else -math.inf
    if not width:
        return int(first) - digits + 1 if value else 0
    half = _magnitude(width / 2, digits)
    place = half - 1 if width / 2 < 3.545 * 10.0**half else half
    if not value:
        return place
    return int(min(max(place, first - digits + 1), first if width > abs(value) else first - 1))


def _place_of(number: float, place: int) -> int:
    """Last place of one number of several that share a place: never more than three digits."""
    return max(place, _magnitude(number, 3) - 2) if number and math.isfinite(number) else place


def _crosses(number: float, place: int, limit: float | None) -> bool:
    """Whether rounding takes a number to the other side of the limit, or onto it."""
    if limit is None or number == limit:
        return False
    near = float(f"{round(number, -place):.{max(0, -place)}f}")
    return (number < limit) != (near < limit) or near == limit


def _shown(number: float, place: int, limit: float | None, has_range: bool) -> str:
    if not math.isfinite(number):
        return "not known" if math.isnan(number) else "no limit" if number > 0 else "−no limit"
    finer = range(place, place - _MORE_PLACES - 1, -1)
    place = next((each for each in finer if not _crosses(number, each, limit)), place)
    first = _magnitude(number, 3) if number else place
    if number and not -4 <= first < 7:
        text = f"{number:.{max(0, first - place)}e}"
    else:
        text = f"{round(number, -place):.{max(0, -place)}f}"
        if not has_range and "." in text:
            text = text.rstrip("0").rstrip(".")
    return text.replace("-", "−")


def number(value: float, digits: int = 3) -> str:
    """A number as plain text with `digits` significant digits, without needless zeros, and never in
    scientific notation between 1e-4 and 1e7.

    Parameters
    ----------
    value : float
        Any number, infinities included. [-]
    digits : int
        Significant digits, at least 1. [-]

    Returns
    -------
    str
        For example ``0.0123``, ``12.3``, ``1230``; ``not known`` for NaN, ``no limit`` for
        infinity.
    """
    is_plain = value and math.isfinite(value)
    return _shown(value, _magnitude(value, digits) - digits + 1 if is_plain else 0, None, False)


def rounded(value: float, digits: int, *, up: bool = False) -> float:
    """A positive number of so many significant digits, not above the given one, or not below it.

    Parameters
    ----------
    value : float
        [-]
    digits : int
        [-]
    up : bool
        Whether to round up instead of down.
    """
    place = math.floor(math.log10(value)) - digits + 1
    steps = value / 10.0**place
    whole = math.ceil(steps - 1e-9) if up else math.floor(steps + 1e-9)
    return float(f"{whole}e{place}")


def round_numbers(low: float, high: float, digits: int = 3) -> list[float]:
    """Every number of so many significant digits between two positive ones, these left out,
    ascending.

    Parameters
    ----------
    low, high : float
        Positive. [-]
    digits : int
        [-]
    """
    found: list[float] = []
    for place in range(
        math.floor(math.log10(low)) - digits + 1, math.ceil(math.log10(high)) - digits + 1
    ):
        first = max(10 ** (digits - 1), math.floor(low / 10.0**place))
        last = min(10**digits - 1, math.ceil(high / 10.0**place))
        found += [float(f"{whole}e{place}") for whole in range(first, last + 1)]
    return [value for value in found if low < value < high]


def _magnitude(value: float, digits: int) -> int:
    """Power of ten of the first digit that is printed."""
    return math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))


def in_unit(value: Any, unit: str) -> Any:
    """The number that an SI value is in a printed unit.

    Parameters
    ----------
    value : float or ndarray
        SI value (°C for temperatures).
    unit : str
        One of `PRINTED_UNITS`.

    Returns
    -------
    float or ndarray
        The number to print before the unit.

    Raises
    ------
    KeyError
        The unit is not one that winchsim prints.
    """
    printed = PRINTED_UNITS[unit]
    return value * printed.factor + printed.offset


def key(name: str, unit: str) -> str:
    """Key of a value for machines: its name and the tail of its SI unit, ``lift_time_s``.

    Parameters
    ----------
    name : str
        In words joined by underscores.
    unit : str
        Unit that it is declared in; the value itself is in SI.
    """
    tail = PRINTED_UNITS[PRINTED_UNITS[unit].si].tail
    return f"{name}_{tail}" if tail else name


def keyed(units: dict[str, str], source: Any) -> dict[str, Any]:
    """Attributes of an object under keys with their units.

    Parameters
    ----------
    units : dict of str to str
        Unit of each attribute, in the order wanted.
    source : object
        That has them.
    """
    return {key(name, unit): getattr(source, name) for name, unit in units.items()}


def from_unit(value: float, unit: str) -> float:
    """SI value (°C for temperatures) of a number in a printed unit; see `in_unit`."""
    printed = PRINTED_UNITS[unit]
    return (value - printed.offset) / printed.factor


def quantity(value: float | None, unit: str, digits: int = 3) -> str:
    """An SI number as text in a unit.

    Parameters
    ----------
    value : float or None
        SI value (°C for temperatures); None prints as ``not known``.
    unit : str
        One of `PRINTED_UNITS`.
    digits : int
        Significant digits. [-]

    Returns
    -------
    str
        For example ``25 kg``.
    """
    if value is None:
        return "not known"
    text = number(in_unit(value, unit), digits)
    return f"{text} {unit}".rstrip() if math.isfinite(value) else text


# --- CSV


CSV_DIGITS = 9
"""Significant digits of a cell. [-]"""

_COMPUTED = ("=", "+", "-", "@", "\t", "\r")
"""Beginnings of a text that a spreadsheet takes for a formula."""


def csv_text(heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> str:
    """Text of a table that a spreadsheet and pandas open without options: one line of heads, then
    rows; no remarks; no text that a spreadsheet would compute."""
    return "".join(",".join(map(csv_cell, row)) + "\n" for row in (heads, *rows))


def csv_cell(value: Any) -> str:
    """Text of one cell: blank for what is not known or not finite, yes or no for a flag, an
    apostrophe before a text that would be taken for a formula."""
    match value.item() if hasattr(value, "item") else value:
        case bool(flag):
            return "yes" if flag else "no"
        case float(number):
            return f"{number:.{CSV_DIGITS}g}" if math.isfinite(number) else ""
        case str(text):
            text = f"'{text}" if text.startswith(_COMPUTED) else text
            return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',"\n\r') else text
        case other:
            return "" if other is None else str(other)
