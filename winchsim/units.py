"""Quantities as the trade writes them, read into SI.

One table of unit symbols decides. A symbol may have several senses (``lb`` is a mass and a force,
``C`` a coulomb and a degree); the dimension that the key asks for picks one, so that ``3 kg·cm`` is
a torque where a torque is meant. Nothing in a text is ever evaluated: a value is one number, then a
product of a few unit symbols. pint is used for quantities in Python alone (`to_pint`).
"""

import itertools
import math
import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

from winchsim.constants import INCH, POUND, STANDARD_GRAVITY
from winchsim.errors import Code, Fault, InputError, nearest
from winchsim.frozen import dataclass
from winchsim.quantity_text import PRINTED_UNITS, in_unit

__all__ = ["describe_unit", "parse_quantity", "to_pint"]

MAX_LENGTH = 60
"""Longest text that is read as one value, in characters."""

_MAX_FACTORS = 6
_MAX_EXPONENT = 60
_REMEMBERED = 500

Factors = tuple[tuple[str, int], ...]
"""Symbols of a unit with their exponents."""

Dimension = tuple[int, int, int, int, int, int]
"""Powers of kilogram, metre, second, ampere, kelvin and radian. The angle is kept, so that rad/s
differs from Hz."""


@dataclass(frozen=True)
class _Kind:
    """What a unit measures: its dimension, a name with an article, usual spellings."""

    dimension: Dimension
    name: str
    usual: tuple[str, ...]


_KINDS = {
    "": _Kind((0, 0, 0, 0, 0, 0), "a plain number or a percentage", ("%",)),
    "kg": _Kind((1, 0, 0, 0, 0, 0), "a mass", ("kg", "g", "lb", "oz")),
    "m": _Kind((0, 1, 0, 0, 0, 0), "a length", ("mm", "m", "in", "ft")),
    "s": _Kind((0, 0, 1, 0, 0, 0), "a time", ("s", "min", "h")),
    "A": _Kind((0, 0, 0, 1, 0, 0), "a current", ("A", "mA")),
    "K": _Kind((0, 0, 0, 0, 1, 0), "a temperature difference", ("K", "°C", "°F")),
    "°C": _Kind((0, 0, 0, 0, 1, 0), "a temperature", ("°C", "°F", "K")),
    "rad": _Kind((0, 0, 0, 0, 0, 1), "an angle", ("deg", "rad")),
    "m/s": _Kind((0, 1, -1, 0, 0, 0), "a speed", ("m/s", "mm/s", "ft/s", "in/s")),
    "m/s²": _Kind((0, 1, -2, 0, 0, 0), "an acceleration", ("m/s²", "ft/s²")),
    "Hz": _Kind((0, 0, -1, 0, 0, 0), "a frequency", ("Hz",)),
    "rad/s": _Kind((0, 0, -1, 0, 0, 1), "a rotational speed", ("rpm", "rev/s", "rad/s")),
    "N": _Kind((1, 1, -2, 0, 0, 0), "a force", ("N", "kgf", "lbf")),
    "Pa": _Kind((1, -1, -2, 0, 0, 0), "a stress or pressure", ("MPa", "GPa", "N/mm²", "psi")),
    "N·m": _Kind((1, 2, -2, 0, 0, 0), "a torque", ("N·m", "mN·m", "kg·cm", "oz·in", "lbf·in")),
    "J": _Kind((1, 2, -2, 0, 0, 0), "an energy", ("J", "Wh", "ft·lbf")),
    "W": _Kind((1, 2, -3, 0, 0, 0), "a power", ("W",)),
    "C": _Kind((0, 0, 1, 1, 0, 0), "a charge", ("mAh", "Ah", "C")),
    "V": _Kind((1, 2, -3, -1, 0, 0), "a voltage", ("V", "mV")),
    "ohm": _Kind((1, 2, -3, -2, 0, 0), "an electrical resistance", ("ohm", "mohm", "Ω")),
    "1/m": _Kind(
        (0, -1, 0, 0, 0, 0), "a number per length, such as a diametral pitch", ("1/in", "1/mm")
    ),
    "kg/m": _Kind((1, -1, 0, 0, 0, 0), "a mass per length", ("g/m", "kg/m", "lb/ft")),
    "kg/m³": _Kind((1, -3, 0, 0, 0, 0), "a density", ("kg/m³", "g/cm³")),
    "N·s/m": _Kind((1, 0, -1, 0, 0, 0), "a damping (force per speed)", ("N·s/m",)),
    "N·m·s/rad": _Kind((1, 2, -1, 0, 0, -1), "a rotational damping", ("N·m·s/rad",)),
    "kg·m²": _Kind((1, 2, 0, 0, 0, 0), "an inertia", ("g·cm²", "kg·m²", "oz·in²")),
    "V·s/rad": _Kind((1, 2, -2, -1, 0, -1), "a back-voltage constant", ("V·s/rad", "V/rpm")),
    "J/K": _Kind((1, 2, -2, 0, -1, 0), "a heat capacity", ("J/K",)),
    "K/W": _Kind((-1, -2, 3, 0, 1, 0), "a thermal resistance", ("K/W", "°C/W")),
    "1/K": _Kind((0, 0, 0, 0, -1, 0), "a change per degree", ("%/K", "1/K")),
}
"""What is measured, by the SI unit (°C for temperatures) that its values are kept in."""


def _kind(unit: str) -> _Kind:
    kept_in = PRINTED_UNITS[unit].si
    return _KINDS[unit if kept_in is None else kept_in]


# --- the table of unit symbols


@dataclass(frozen=True)
class _Sense:
    """One meaning of a unit symbol: `factor` x pi**`pi` SI units of `dimension`."""

    factor: Fraction
    dimension: Dimension
    pi: int = 0


_POUND, _INCH, _GRAVITY = (Fraction(str(exact)) for exact in (POUND, INCH, STANDARD_GRAVITY))
_PREFIX = {"G": 9, "M": 6, "k": 3, "h": 2, "d": -1, "c": -2, "m": -3, "µ": -6, "u": -6, "n": -9}
_PREFIX |= {"mega": 6, "kilo": 3, "deci": -1, "centi": -2, "milli": -3, "micro": -6}
_WORDS = "mega kilo deci centi milli micro"
_ENERGY_SYMBOLS = frozenset({"J", "mJ", "kJ", "MJ", "Wh", "mWh", "kWh", "joule", "joules"})


def _si(unit: str, factor: Fraction | int = 1, pi: int = 0) -> tuple[_Sense, ...]:
    return (_Sense(Fraction(factor), _KINDS[unit].dimension, pi),)


def _weighed(factor: Fraction | int) -> tuple[_Sense, ...]:
    """A unit of mass that people also use as a force."""
    return _si("kg", factor) + _si("N", factor * _GRAVITY)


_SYMBOLS: tuple[tuple[str, str, tuple[_Sense, ...]], ...] = (
    ("m", "k d c m µ u n", _si("m")),
    ("metre metres meter meters", _WORDS, _si("m")),
    ("in inch inches \" ″ ''", "", _si("m", _INCH)),
    ("ft foot feet ' ′", "", _si("m", 12 * _INCH)),
    ("yd yard yards", "", _si("m", 36 * _INCH)),
    ("mil thou", "", _si("m", _INCH / 1000)),
    ("s sec", "m µ u n", _si("s")),
    ("second seconds", _WORDS, _si("s")),
    ("min minute minutes", "", _si("s", 60)),
    ("h hr hour hours", "", _si("s", 3600)),
    ("d day days", "", _si("s", 86400)),
    ("g", "m", _weighed(Fraction(1, 1000)) + _si("m/s²", _GRAVITY)),
    ("kg Kg kilogram kilograms kilo kilos", "", _weighed(1)),
    ("gram grams gm", "", _weighed(Fraction(1, 1000))),
    ("t tonne tonnes", "", _weighed(1000)),
    ("lb lbs pound pounds", "", _weighed(_POUND)),
    ("oz ounce ounces", "", _weighed(_POUND / 16)),
    ("stone", "", _weighed(14 * _POUND)),
    ("lbm", "", _si("kg", _POUND)),
    ("N", "M k d c m µ u", _si("N")),
    ("newton newtons", _WORDS, _si("N")),
    ("daN", "", _si("N", 10)),
    ("kgf kp", "", _si("N", _GRAVITY)),
    ("gf", "", _si("N", _GRAVITY / 1000)),
    ("lbf", "", _si("N", _POUND * _GRAVITY)),
    ("ozf", "", _si("N", _POUND * _GRAVITY / 16)),
    ("kip kips", "", _si("N", 1000 * _POUND * _GRAVITY)),
    ("Pa", "G M k h", _si("Pa")),
    ("pascal pascals", _WORDS, _si("Pa")),
    ("bar", "m", _si("Pa", 10**5)),
    ("psi", "k M", _si("Pa", _POUND * _GRAVITY / _INCH**2)),
    ("ksi", "", _si("Pa", 1000 * _POUND * _GRAVITY / _INCH**2)),
    ("V", "k m µ u", _si("V")),
    ("volt volts", _WORDS, _si("V")),
    ("VDC Vdc", "", _si("V")),
    ("A", "k m µ u", _si("A")),
    ("amp amps ampere amperes", _WORDS, _si("A")),
    ("ohm Ohm Ω", "M k m µ u G", _si("ohm")),
    ("ohms Ohms", _WORDS, _si("ohm")),
    ("Ah", "m", _si("C", 3600)),
    ("C", "", _si("C") + _si("K")),
    ("W", "M k m", _si("W")),
    ("watt watts", _WORDS, _si("W")),
    ("hp", "", _si("W", 6600 * _POUND * _GRAVITY * _INCH)),
    ("J", "M k m", _si("J")),
    ("joule joules", _WORDS, _si("J")),
    ("Wh", "k m", _si("J", 3600)),
    ("K °C °K", "", _si("K")),
    ("°F F", "", _si("K", Fraction(5, 9))),
    ("rad", "m", _si("rad")),
    ("radian radians", "", _si("rad")),
    ("° deg degs degree degrees", "", _si("rad", Fraction(1, 180), 1)),
    ("rev revs r turn turns revolution revolutions", "", _si("rad", 2, 1)),
    ("rpm", "k", _si("rad/s", Fraction(1, 30), 1)),
    ("RPM Rpm", "", _si("rad/s", Fraction(1, 30), 1)),
    ("rps", "", _si("rad/s", 2, 1)),
    ("Hz", "k", _si("Hz")),
    ("mph", "", _si("m/s", 63360 * _INCH / 3600)),
    ("fpm", "", _si("m/s", 12 * _INCH / 60)),
    ("DP", "", _si("1/m", 1 / _INCH)),
    ("teeth tooth", "", _si("")),
    ("% percent", "", _si("", Fraction(1, 100))),
    ("ppm", "", _si("", Fraction(1, 10**6))),
)
"""Symbols, the prefixes that they take, and their senses. Exact by definition (SI brochure; inch,
pound, standard gravity; horsepower of 550 foot-pounds a second)."""


@cache
def _symbols() -> Mapping[str, tuple[tuple[_Sense, ...], int]]:
    """Every symbol with its senses and the power of ten of its prefix. With a prefix, the g of
    gravity is left out."""
    table: dict[str, tuple[tuple[_Sense, ...], int]] = {}
    for names, prefixes, senses in _SYMBOLS:
        for prefix, name in itertools.product(["", *prefixes.split()], names.split()):
            table[prefix + name] = (senses[:2], _PREFIX[prefix]) if prefix else (senses, 0)
    return table


def _scaled(name: str) -> list[_Sense]:
    """Every meaning of a symbol."""
    senses, power = _symbols()[name]
    return [_Sense(s.factor * Fraction(10) ** power, s.dimension, s.pi) for s in senses]


_JOINED = re.compile(
    r"((?:[mkcdµu]?N|kgf?|kp)(?=c?m$|mm$)|gf?(?=cm$|mm$)|(?:oz|lb)f?(?=in$|ft$)"
    r"|(?:in|ft)(?=ozf?$|lbf?$)|[VAW](?=s$))(.+)"
)
"""Two symbols written as one word, as data sheets do."""

_REFUSED = dict.fromkeys(("ton", "tons"), "write t for 1000 kg, or the mass in lb")
_CELSIUS, _FAHRENHEIT = (Fraction(0), Fraction(1)), (Fraction(-32), Fraction(5, 9))
_KELVIN = (Fraction("-273.15"), Fraction(1))
_SCALES = {
    "°C": _CELSIUS,
    "C": _CELSIUS,
    "°F": _FAHRENHEIT,
    "F": _FAHRENHEIT,
    "K": _KELVIN,
    "°K": _KELVIN,
}
"""Temperatures: what is added, then the factor, to °C."""


# --- reading


def parse_quantity(text: str, unit: str) -> float:
    """SI value of a quantity written as people write it, for a key that is declared in a given
    unit.

    Parameters
    ----------
    text : str
        One number, plain, as a fraction or mixed (``1 1/2``), then the unit: ``0.5 Nm``, ``3
        kg·cm``, ``1/4 in``.
    unit : str
        Unit of the declaration, one of quantity_text.PRINTED_UNITS. It fixes the dimension, not the
        unit of `text`.

    Returns
    -------
    float
        In SI; °C for temperatures; 0.4 for ``40 %``. Equal lengths in different units give equal
        floats: the conversion is exact and rounded once.

    Raises
    ------
    InputError
        With one fault that says what is wrong, what was expected and the spelling to use.
    """
    if len(text) > MAX_LENGTH:
        raise _fault(text, unit, "too long for one value", Code.NOT_A_NUMBER)
    kind = _kind(unit)
    value, rest, written = _leading_number(_plain(text), text, unit)
    if not rest and kind is _KINDS[""]:
        return _rounded(value, 0, text, unit)
    if not rest:
        raise _fault(text, unit, "the unit is missing", Code.NO_UNIT, f'write "{written} {unit}"')
    if kind is _KINDS["°C"] and rest in _SCALES:
        offset, factor = _SCALES[rest]
        return _rounded((value + offset) * factor, 0, text, unit)
    factors = _factors(rest)
    if not factors:
        message, hint = "not a number followed by a unit", _spelling(written, unit)
        raise _fault(text, unit, message, Code.UNKNOWN_UNIT, hint, rest=rest)
    if kind is _KINDS["rad/s"] and factors == (("min", -1),):
        factors = ("rev", 1), ("min", -1)
    for name, _ in factors:
        if name not in _symbols():
            raise _unknown_unit(name, text, unit)
    sense = next((s for s in _senses(factors) if s.dimension == kind.dimension), None)
    is_energy = kind is _KINDS["N·m"] and _has_energy(factors)
    if sense is None or is_energy or kind is _KINDS["°C"]:
        raise _wrong_dimension(factors, text, unit, written)
    return _rounded(value * sense.factor, sense.pi, text, unit)


def describe_unit(unit: str, *, with_units: bool = False) -> str:
    """What kind of quantity a printed unit measures, with an article.

    Parameters
    ----------
    unit : str
        One of quantity_text.PRINTED_UNITS.
    with_units : bool
        Whether to add the usual units.

    Returns
    -------
    str
        ``a torque``, or ``a torque with its unit (mN·m, N·m, kg·cm, oz·in)``.
    """
    name = _kind(unit).name
    return f"{name} with its unit ({', '.join(_usual(unit)[:4])})" if with_units else name


_TRANSLATION = str.maketrans(
    {
        "·": "*",
        "⋅": "*",
        "•": "*",
        "∙": "*",
        "×": "*",
        "−": "-",
        "–": "-",
        "‐": "-",
        "‑": "-",
        "⁄": "/",
        "∕": "/",
        "μ": "µ",
        "\u2126": "Ω",
        "º": "°",
        "˚": "°",
        "⁰": "^0",
        "¹": "^1",
        "²": "^2",
        "³": "^3",
        "⁴": "^4",
        "⁻": "^-",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\t": " ",
        "”": '"',
        "’": "'",
        "“": '"',
        "℃": "°C",
        "℉": "°F",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
    }
)

_DEGREE = re.compile(r"(?:°|\bdeg(?:rees?)?|(?<=[0-9./* ])deg(?:rees?)?) ?([CFK])(?![A-Za-z])")


def _plain(text: str) -> str:
    """Text with one spelling for each operator, superscript and degree sign."""
    text = text.translate(_TRANSLATION).replace("**", "^").replace("^-^", "^-").strip()
    text = re.sub(r"(?i:\bper\b)", "/", text)
    text = re.sub(
        r"(?i)\b(?:deg(?:rees?)? )?(celsius|fahrenheit|kelvin)\b",
        lambda m: "°" + m[1][0].upper(),
        text,
    )
    return _DEGREE.sub(r"°\1", text)


_SIGN = "[+-]?"
_DECIMAL = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_LEADING = re.compile(
    rf"(?P<sign>{_SIGN}) ?(?:"
    r"(?:(?P<whole>[0-9]+)(?: +|-))?(?P<over>[0-9]+) ?/ ?(?P<under>[0-9]+)"
    rf"|(?P<decimal>{_DECIMAL})(?:[eE](?P<exponent>{_SIGN}[0-9]+))?"
    r") *"
)


_COMMA, _RESULT = "a comma inside a number", 'write the result, like "5 {2}"'
_ODD = (
    (r",([0-9]{3})(?![0-9])", _COMMA, 'write a point: "{0}.{1} {2}" or "{0}{1} {2}"'),
    (r",([0-9]+)", _COMMA, 'write a point: "{0}.{1} {2}"'),
    (r"([0-9]{3})(?![0-9])", "a space inside a number", 'write "{0}{1} {2}"'),
    (r"(?!1 ?/ ?[^0-9])([-+*/^(]* *\(?[0-9])", "arithmetic in a value", _RESULT),
)
"""What may follow a number and looks like one number to people and another to a computer, or is
arithmetic: what it is, and what to write."""


def _leading_number(plain: str, text: str, unit: str) -> tuple[Fraction, str, str]:
    """Number at the start of a text, what follows it, and the number as it was written."""
    match, usual = _LEADING.match(plain), _usual(unit)[0]
    if plain.lower().lstrip("+- ").startswith(("nan", "inf")):
        raise _fault(text, unit, "not a finite number", Code.NOT_A_NUMBER)
    if not match:
        message, hint = "does not start with a number", f'write it like "5 {usual}"'
        raise _fault(text, unit, message, Code.NOT_A_NUMBER, hint)
    rest, written = plain[match.end() :], match[0].strip()
    for pattern, message, hint in _ODD:
        if odd := re.match(pattern, rest):
            hint = hint.format(written, odd[1], usual)
            raise _fault(text, unit, message, Code.NOT_A_NUMBER, hint)
    under, exponent = int(match["under"] or 1), int(match["exponent"] or 0)
    if under == 0 or abs(exponent) > _MAX_EXPONENT:
        message = "absurdly large or small" if under else "divides by zero"
        raise _fault(text, unit, message, Code.NOT_A_NUMBER)
    if match["over"]:
        value = int(match["whole"] or 0) + Fraction(int(match["over"]), under)
    else:
        value = Fraction(f"{match['decimal'].rstrip('.')}e{exponent}")
    return (-value if match["sign"] == "-" else value), rest, written


_TERM = re.compile(
    r"""(?P<operator>[*/.\- ]?)(?P<name>''|[^\W\d_]+|°[CFK]?|[%"'″′])"""
    r"""(?:\^?(?P<exponent>-?[0-9]))?"""
)


@lru_cache(_REMEMBERED)
def _factors(rest: str) -> Factors:
    """Unit part of a text as symbols with exponents, nothing where it is none. Behind a slash,
    every further symbol needs a slash of its own."""
    rest = re.sub(r"^1(?= ?/)", "", re.sub(r" *([*/]) *", r"\1", rest.strip()))
    factors: list[tuple[str, int]] = []
    position, divided = 0, False
    while match := _TERM.match(rest, position):
        divides = match["operator"] == "/"
        misplaced = not divides and (divided or bool(match["operator"]) != bool(factors))
        if misplaced or len(factors) >= _MAX_FACTORS:
            break
        sign = -1 if divides else 1
        joined = _JOINED.fullmatch(match["name"])
        factors += [(joined[1], sign)] if joined else []
        factors.append((joined[2] if joined else match["name"], sign * int(match["exponent"] or 1)))
        position, divided = match.end(), divided or divides
    is_unit = position == len(rest) and all(abs(e) <= 4 for _, e in factors)
    return tuple(factors) if is_unit else ()


@lru_cache(_REMEMBERED)
def _senses(factors: Factors) -> tuple[_Sense, ...]:
    """Every meaning of a product of symbols, the commonest first."""
    exponents, found = [exponent for _, exponent in factors], []
    for senses in itertools.product(*(_scaled(name) for name, _ in factors)):
        powers = list(zip(senses, exponents, strict=True))
        factor = math.prod((s.factor**e for s, e in powers), start=Fraction(1))
        columns = zip(*([d * e for d in s.dimension] for s, e in powers), strict=True)
        dimension: Any = tuple(map(sum, columns))
        found.append(_Sense(factor, dimension, sum(s.pi * e for s, e in powers)))
    return tuple(found)


def _has_energy(factors: Factors) -> bool:
    return any(name in _ENERGY_SYMBOLS for name, _ in factors)


def _rounded(value: Fraction, pi: int, text: str, unit: str) -> float:
    try:
        result = float(value) * math.pi**pi
    except OverflowError:
        result = math.inf
    if not math.isfinite(result) or (value and not result):
        raise _fault(text, unit, "absurdly large or small", Code.NOT_A_NUMBER)
    return result


# --- words for what is wrong


def _usual(unit: str) -> tuple[str, ...]:
    """Usual spellings for the kind of a declared unit, the declared one first."""
    own = (unit,) if unit and unit != "°F rise" else ()
    return tuple(dict.fromkeys(own + _kind(unit).usual))


def _spelling(written: str, unit: str) -> str:
    return f'write it like "{written} {_usual(unit)[0]}"'


def _fault(
    text: str, unit: str, message: str, code: Code, hint: str = "", *, rest: str = ""
) -> InputError:
    expected = describe_unit(unit, with_units=_kind(unit) is not _KINDS[""])
    shown = text if len(text) <= MAX_LENGTH else text[: MAX_LENGTH - 3] + "..."
    if rest and len(rest) < len(text):
        message = f"{message}: {rest!r}"
    return InputError((Fault(message, got=shown, expected=expected, hint=hint, code=code),))


def _unknown_unit(name: str, text: str, unit: str) -> InputError:
    if name in _REFUSED:
        message = f"{name} has more than one meaning"
        return _fault(text, unit, message, Code.UNKNOWN_UNIT, _REFUSED[name])
    usual = _usual(unit)
    folded = {spelling.replace("·", "").lower(): spelling for spelling in usual}
    near = nearest(name, folded)
    hint = f'did you mean "{folded[near]}"?' if near else f"use one of: {', '.join(usual)}"
    return _fault(text, unit, f'"{name}" is no unit known here', Code.UNKNOWN_UNIT, hint)


def _wrong_dimension(factors: Factors, text: str, unit: str, written: str) -> InputError:
    found, kind, hint = _senses(factors)[0].dimension, _kind(unit), _spelling(written, unit)
    names = [each.name for each in _KINDS.values() if each.dimension == found]
    read = names[-1 if _has_energy(factors) else 0] if names else "something else"
    if kind is _KINDS["rad/s"] and found == _KINDS["Hz"].dimension:
        hint = f'write "{written} rev/s" for turns or "{written} rad/s" for radians per second'
    elif kind is _KINDS["N·m"] and factors in ((("N", 1), ("m", -1)), (("nm", 1),)):
        hint = f'write "{written} N·m"'
    return _fault(text, unit, f"{read}, where {kind.name} is expected", Code.WRONG_DIMENSION, hint)


# --- the Python face


def to_pint(value: Any, unit: str) -> Any:
    """SI number or array as a pint quantity in a printed unit, from pint's shared registry.

    Parameters
    ----------
    value : float or ndarray
        In SI (°C for temperatures).
    unit : str
        One of quantity_text.PRINTED_UNITS; the quantity is in this unit.

    Returns
    -------
    pint.Quantity

    Raises
    ------
    KeyError
        The unit is not one that winchsim prints.
    """
    import pint

    return pint.get_application_registry().Quantity(
        in_unit(value, unit), PRINTED_UNITS[unit].pint or unit
    )
