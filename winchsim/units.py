"""Quantities as the trade writes them, read into SI.

One table of unit symbols decides. A symbol may have several senses (``lb`` is a mass and a force,
``C`` a coulomb and a degree); the dimension that the key asks for picks one, so that ``3 kg·cm`` is
a torque where a torque is meant. Nothing in a text is ever evaluated: a value is one number, then a
product of a few unit symbols. pint is used for quantities in Python alone (`to_pint`).
"""

import contextlib
import itertools
import math
import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache, lru_cache
from operator import mul
from typing import Any

from winchsim.constants import INCH, POUND, STANDARD_GRAVITY
from winchsim.errors import Code, InputError, nearest, refused
from winchsim.quantity_text import PRINTED_UNITS, in_unit

__all__ = ["describe_unit", "parse_quantity", "to_pint"]

MAX_LENGTH = 60
"""Longest text that is read as one value, in characters."""

_MAX_FACTORS = 6
_MAX_EXPONENT = 60
_REMEMBERED = 500

Factors = tuple[tuple[str, int], ...]
"""Symbols of a unit with their exponents."""

# --- the table of unit symbols


Sense = tuple[Fraction, tuple[int, ...], int]
"""One meaning of a unit symbol: its factor and the power of pi that it is multiplied by, with a
dimension between them, in SI units."""

_POUND, _INCH, _GRAVITY = (Fraction(str(exact)) for exact in (POUND, INCH, STANDARD_GRAVITY))
_PREFIX = {
    **{"G": 9, "M": 6, "k": 3, "h": 2, "d": -1, "c": -2, "m": -3, "µ": -6, "u": -6, "n": -9},
    **{"mega": 6, "kilo": 3, "deci": -1, "centi": -2, "milli": -3, "micro": -6},
}
_ONE = Fraction(1)
_WORDS = "mega kilo deci centi milli micro"
_ENERGY_SYMBOLS = frozenset({"J", "mJ", "kJ", "MJ", "Wh", "mWh", "kWh", "joule", "joules"})


def _si(unit: str, factor: Fraction | int = 1, pi: int = 0) -> tuple[Sense, ...]:
    return ((Fraction(factor), PRINTED_UNITS[unit].dimension, pi),)


def _weighed(factor: Fraction | int) -> tuple[Sense, ...]:
    """A unit of mass that people also use as a force."""
    return _si("kg", factor) + _si("N", factor * _GRAVITY)


_SYMBOLS: tuple[tuple[str, str, tuple[Sense, ...]], ...] = (
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
def _symbols() -> Mapping[str, tuple[tuple[Sense, ...], Fraction]]:
    """Every symbol with its senses and what its prefix multiplies by. With a prefix, the g of
    gravity is left out."""
    return {
        prefix + name: (senses[:2], Fraction(10) ** _PREFIX[prefix]) if prefix else (senses, _ONE)
        for names, prefixes, senses in _SYMBOLS
        for prefix, name in itertools.product(["", *prefixes.split()], names.split())
    }


_JOINED = re.compile(
    r"((?:[mkcdµu]?N|kgf?|kp)(?=c?m$|mm$)|gf?(?=cm$|mm$)|(?:oz|lb)f?(?=in$|ft$)"
    r"|(?:in|ft)(?=ozf?$|lbf?$)|[VAW](?=s$))(.+)"
)
"""Two symbols written as one word, as data sheets do."""

_SCALES = (
    dict.fromkeys(("°C", "C"), (Fraction(0), Fraction(1)))
    | dict.fromkeys(("°F", "F"), (Fraction(-32), Fraction(5, 9)))
    | dict.fromkeys(("K", "°K"), (Fraction("-273.15"), Fraction(1)))
)
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
    kind = PRINTED_UNITS[PRINTED_UNITS[unit].si]
    value, rest, written = _leading_number(_plain(text), text, unit)
    if not rest and not kind.name:
        return _rounded(value, 0, text, unit)
    if not rest:
        raise _fault(text, unit, "the unit is missing", Code.NO_UNIT, f'write "{written} {unit}"')
    if kind.name == "°C" and rest in _SCALES:
        offset, factor = _SCALES[rest]
        return _rounded((value + offset) * factor, 0, text, unit)
    factors = _factors(rest)
    if not factors:
        message, hint = "not a number followed by a unit", _spelling(written, unit)
        raise _fault(text, unit, message, Code.UNKNOWN_UNIT, hint, rest=rest)
    if kind.name == "rad/s" and factors == (("min", -1),):
        factors = ("rev", 1), ("min", -1)
    for name, _ in factors:
        if name not in _symbols():
            raise _unknown_unit(name, text, unit)
    fitting = [sense for sense in _senses(factors) if sense[1] == kind.dimension]
    if not fitting or kind.name == "°C" or (kind.name == "N·m" and _has_energy(factors)):
        raise _wrong_dimension(factors, text, unit, written)
    return _rounded(value * fitting[0][0], fitting[0][2], text, unit)


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
    name = PRINTED_UNITS[PRINTED_UNITS[unit].si].measures
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
        hint = f'write it like "5 {usual}"'
        raise _fault(text, unit, "does not start with a number", Code.NOT_A_NUMBER, hint)
    rest, written = plain[match.end() :], match[0].strip()
    for pattern, message, hint in _ODD:
        if odd := re.match(pattern, rest):
            raise _fault(
                text, unit, message, Code.NOT_A_NUMBER, hint.format(written, odd[1], usual)
            )
    under, exponent = int(match["under"] or 1), int(match["exponent"] or 0)
    if under == 0 or abs(exponent) > _MAX_EXPONENT:
        message = "absurdly large or small" if under else "divides by zero"
        raise _fault(text, unit, message, Code.NOT_A_NUMBER)
    value = (
        int(match["whole"] or 0) + Fraction(int(match["over"]), under)
        if match["over"]
        else Fraction(f"{match['decimal'].rstrip('.')}e{exponent}")
    )
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
    return tuple(factors) if position == len(rest) and all(abs(e) <= 4 for _, e in factors) else ()


@lru_cache(_REMEMBERED)
def _senses(factors: Factors) -> tuple[Sense, ...]:
    """Every meaning of a product of symbols, the commonest first."""
    exponents = [exponent for _, exponent in factors]
    senses, scales = zip(*(_symbols()[name] for name, _ in factors), strict=True)
    scale = math.prod(map(pow, scales, exponents), start=_ONE)
    found = []
    for product in itertools.product(*senses):
        values, dimensions, pis = zip(*product, strict=True)
        factor = math.prod(map(pow, values, exponents), start=scale)
        powers = zip(*dimensions, strict=True)
        dimension = tuple(sum(map(mul, exponents, column)) for column in powers)
        found.append((factor, dimension, sum(map(mul, exponents, pis))))
    return tuple(found)


def _has_energy(factors: Factors) -> bool:
    return any(name in _ENERGY_SYMBOLS for name, _ in factors)


def _rounded(value: Fraction, pi: int, text: str, unit: str) -> float:
    with contextlib.suppress(OverflowError):
        result = float(value) * math.pi**pi
        if math.isfinite(result) and bool(value) == bool(result):
            return result
    raise _fault(text, unit, "absurdly large or small", Code.NOT_A_NUMBER)


# --- words for what is wrong


def _usual(unit: str) -> tuple[str, ...]:
    """Usual spellings for the kind of a declared unit, the declared one first."""
    own = (unit,) if unit and unit != "°F rise" else ()
    return tuple(dict.fromkeys([*own, *PRINTED_UNITS[PRINTED_UNITS[unit].si].usual.split()]))


def _spelling(written: str, unit: str) -> str:
    return f'write it like "{written} {_usual(unit)[0]}"'


def _fault(
    text: str, unit: str, message: str, code: Code, hint: str = "", *, rest: str = ""
) -> InputError:
    expected = describe_unit(unit, with_units=PRINTED_UNITS[unit].si != "")
    shown = text if len(text) <= MAX_LENGTH else text[: MAX_LENGTH - 3] + "..."
    found = f"{message}: {rest!r}" if rest and len(rest) < len(text) else message
    return refused(found, got=shown, expected=expected, hint=hint, code=code)


def _unknown_unit(name: str, text: str, unit: str) -> InputError:
    if name in ("ton", "tons"):
        hint = "write t for 1000 kg, or the mass in lb"
        return _fault(text, unit, f"{name} has more than one meaning", Code.UNKNOWN_UNIT, hint)
    folded = {spelling.replace("·", "").lower(): spelling for spelling in _usual(unit)}
    near = nearest(name, folded)
    hint = f'did you mean "{folded[near]}"?' if near else f"use one of: {', '.join(_usual(unit))}"
    return _fault(text, unit, f'"{name}" is no unit known here', Code.UNKNOWN_UNIT, hint)


def _wrong_dimension(factors: Factors, text: str, unit: str, written: str) -> InputError:
    found, kind, hint = _senses(factors)[0][1], PRINTED_UNITS[unit].si, _spelling(written, unit)
    names = [
        each.measures
        for each in PRINTED_UNITS.values()
        if each.measures and each.dimension == found
    ]
    read = names[-1 if _has_energy(factors) else 0] if names else "something else"
    if kind == "rad/s" and found == PRINTED_UNITS["Hz"].dimension:
        hint = f'write "{written} rev/s" for turns or "{written} rad/s" for radians per second'
    elif kind == "N·m" and factors in ((("N", 1), ("m", -1)), (("nm", 1),)):
        hint = f'write "{written} N·m"'
    return _fault(
        text, unit, f"{read}, where {describe_unit(unit)} is expected", Code.WRONG_DIMENSION, hint
    )


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
