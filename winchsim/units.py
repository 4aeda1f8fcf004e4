"""Quantities as the trade writes them, read into SI: the only file that knows pint.

One table of unit symbols decides. A symbol may have several senses (``lb`` is a mass and a force,
``C`` a coulomb and a degree); the dimension that the key asks for picks one, so that ``3 kg·cm`` is
a torque where a torque is meant. Symbols that are not in the table are looked up in pint, which is
only then imported. Nothing in a text is ever evaluated: a value is one number, then a product of a
few unit symbols.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from winchsim.constants import INCH, POUND, STANDARD_GRAVITY
from winchsim.errors import Code, Fault, InputError, nearest
from winchsim.quantity_text import PRINTED_UNITS, in_unit

__all__ = ["describe_unit", "parse_quantity", "to_pint"]

MAX_LENGTH = 60
"""Longest text that is read as one value, in characters."""

_MAX_FACTORS = 6
_MAX_EXPONENT = 60

Dimension = tuple[int, int, int, int, int, int]
"""Powers of kilogram, metre, second, ampere, kelvin and radian. The angle is kept, so that rad/s
differs from Hz."""


# --- dimensions and their names

_NUMBER: Dimension = (0, 0, 0, 0, 0, 0)
_MASS: Dimension = (1, 0, 0, 0, 0, 0)
_LENGTH: Dimension = (0, 1, 0, 0, 0, 0)
_TIME: Dimension = (0, 0, 1, 0, 0, 0)
_CURRENT: Dimension = (0, 0, 0, 1, 0, 0)
_KELVIN: Dimension = (0, 0, 0, 0, 1, 0)
_ANGLE: Dimension = (0, 0, 0, 0, 0, 1)
_SPEED: Dimension = (0, 1, -1, 0, 0, 0)
_ACCELERATION: Dimension = (0, 1, -2, 0, 0, 0)
_FREQUENCY: Dimension = (0, 0, -1, 0, 0, 0)
_TURNING: Dimension = (0, 0, -1, 0, 0, 1)
_FORCE: Dimension = (1, 1, -2, 0, 0, 0)
_STRESS: Dimension = (1, -1, -2, 0, 0, 0)
_ENERGY: Dimension = (1, 2, -2, 0, 0, 0)
_POWER: Dimension = (1, 2, -3, 0, 0, 0)
_CHARGE: Dimension = (0, 0, 1, 1, 0, 0)
_VOLTAGE: Dimension = (1, 2, -3, -1, 0, 0)
_RESISTANCE: Dimension = (1, 2, -3, -2, 0, 0)
_INDUCTANCE: Dimension = (1, 2, -2, -2, 0, 0)
_PER_LENGTH: Dimension = (0, -1, 0, 0, 0, 0)

_NAMES: dict[Dimension, tuple[str, tuple[str, ...]]] = {
    _NUMBER: ("a plain number or a percentage", ("%",)),
    _MASS: ("a mass", ("kg", "g", "lb", "oz")),
    _LENGTH: ("a length", ("mm", "m", "in", "ft")),
    _TIME: ("a time", ("s", "min", "h")),
    _CURRENT: ("a current", ("A", "mA")),
    _KELVIN: ("a temperature difference", ("K", "°C", "°F")),
    _ANGLE: ("an angle", ("deg", "rad")),
    _SPEED: ("a speed", ("m/s", "mm/s", "ft/s", "in/s")),
    _ACCELERATION: ("an acceleration", ("m/s²", "ft/s²")),
    _FREQUENCY: ("a frequency", ("Hz",)),
    _TURNING: ("a rotational speed", ("rpm", "rev/s", "rad/s")),
    _FORCE: ("a force", ("N", "kgf", "lbf")),
    _STRESS: ("a stress or pressure", ("MPa", "GPa", "N/mm²", "psi")),
    _POWER: ("a power", ("W",)),
    _CHARGE: ("a charge", ("mAh", "Ah", "C")),
    _VOLTAGE: ("a voltage", ("V", "mV")),
    _RESISTANCE: ("an electrical resistance", ("ohm", "mohm", "Ω")),
    _INDUCTANCE: ("an inductance", ("mH", "µH")),
    _PER_LENGTH: ("a number per length, such as a diametral pitch", ("1/in", "1/mm")),
    (1, -1, 0, 0, 0, 0): ("a mass per length", ("g/m", "kg/m", "lb/ft")),
    (1, -3, 0, 0, 0, 0): ("a density", ("kg/m³", "g/cm³")),
    (1, 0, -1, 0, 0, 0): ("a damping (force per speed)", ("N·s/m",)),
    (1, 2, -1, 0, 0, -1): ("a rotational damping", ("N·m·s/rad",)),
    (1, 2, 0, 0, 0, 0): ("an inertia", ("g·cm²", "kg·m²", "oz·in²")),
    (1, 2, -2, -1, 0, -1): ("a back-voltage constant", ("V·s/rad", "V/rpm")),
    (1, 2, -2, 0, -1, 0): ("a heat capacity", ("J/K",)),
    (-1, -2, 3, 0, 1, 0): ("a thermal resistance", ("K/W", "°C/W")),
    (0, 0, 0, 0, -1, 0): ("a change per degree", ("%/K", "1/K")),
}
_TORQUE_WORDS = ("a torque", ("N·m", "mN·m", "kg·cm", "oz·in", "lbf·in"))
_ENERGY_WORDS = ("an energy", ("J", "Wh", "ft·lbf"))
_TEMPERATURE_WORDS = ("a temperature", ("°C", "°F", "K"))
_TEMPERATURES = ("°C", "°F")
_ENERGY_SYMBOLS = frozenset({"J", "mJ", "kJ", "MJ", "Wh", "mWh", "kWh"})


# --- the table of unit symbols


@dataclass(frozen=True)
class _Sense:
    """One meaning of a unit symbol: `factor` x pi**`pi` SI units of `dimension`."""

    factor: Fraction
    dimension: Dimension
    pi: int = 0


_POUND, _INCH, _GRAVITY = (Fraction(str(exact)) for exact in (POUND, INCH, STANDARD_GRAVITY))
_PREFIX = {"G": 9, "M": 6, "k": 3, "h": 2, "d": -1, "c": -2, "m": -3, "µ": -6, "u": -6, "n": -9}


def _weighed(factor: Fraction) -> tuple[_Sense, _Sense]:
    """A unit of mass that people also use as a force."""
    return _Sense(factor, _MASS), _Sense(factor * _GRAVITY, _FORCE)


_ONE = Fraction(1)

_SYMBOLS: tuple[tuple[str, str, tuple[_Sense, ...]], ...] = (
    ("m", "kdcmµun", (_Sense(_ONE, _LENGTH),)),
    ("in inch inches \" ″ ''", "", (_Sense(_INCH, _LENGTH),)),
    ("ft foot feet ' ′", "", (_Sense(12 * _INCH, _LENGTH),)),
    ("mil thou", "", (_Sense(_INCH / 1000, _LENGTH),)),
    ("s sec", "mµun", (_Sense(_ONE, _TIME),)),
    ("min", "", (_Sense(Fraction(60), _TIME),)),
    ("h hr hour hours", "", (_Sense(Fraction(3600), _TIME),)),
    ("d day days", "", (_Sense(Fraction(86400), _TIME),)),
    ("g", "m", (*_weighed(Fraction(1, 1000)), _Sense(_GRAVITY, _ACCELERATION))),
    ("kg Kg kilogram kilograms kilo kilos", "", _weighed(_ONE)),
    ("gram grams gm", "", _weighed(Fraction(1, 1000))),
    ("t tonne tonnes", "", _weighed(Fraction(1000))),
    ("lb lbs pound pounds", "", _weighed(_POUND)),
    ("oz ounce ounces", "", _weighed(_POUND / 16)),
    ("lbm", "", (_Sense(_POUND, _MASS),)),
    ("N", "Mkdcmµu", (_Sense(_ONE, _FORCE),)),
    ("daN", "", (_Sense(Fraction(10), _FORCE),)),
    ("kgf kp", "", (_Sense(_GRAVITY, _FORCE),)),
    ("gf", "", (_Sense(_GRAVITY / 1000, _FORCE),)),
    ("lbf", "", (_Sense(_POUND * _GRAVITY, _FORCE),)),
    ("ozf", "", (_Sense(_POUND * _GRAVITY / 16, _FORCE),)),
    ("Pa", "GMkh", (_Sense(_ONE, _STRESS),)),
    ("bar", "m", (_Sense(Fraction(10**5), _STRESS),)),
    ("psi", "kM", (_Sense(_POUND * _GRAVITY / _INCH**2, _STRESS),)),
    ("ksi", "", (_Sense(1000 * _POUND * _GRAVITY / _INCH**2, _STRESS),)),
    ("V", "kmµu", (_Sense(_ONE, _VOLTAGE),)),
    ("VDC Vdc volt volts", "", (_Sense(_ONE, _VOLTAGE),)),
    ("A", "kmµu", (_Sense(_ONE, _CURRENT),)),
    ("amp amps", "", (_Sense(_ONE, _CURRENT),)),
    ("ohm Ohm Ω", "MkmµuG", (_Sense(_ONE, _RESISTANCE),)),
    ("ohms Ohms", "", (_Sense(_ONE, _RESISTANCE),)),
    ("H", "mµun", (_Sense(_ONE, _INDUCTANCE),)),
    ("Ah", "m", (_Sense(Fraction(3600), _CHARGE),)),
    ("C", "", (_Sense(_ONE, _CHARGE), _Sense(_ONE, _KELVIN))),
    ("W", "Mkm", (_Sense(_ONE, _POWER),)),
    ("J", "Mkm", (_Sense(_ONE, _ENERGY),)),
    ("Wh", "km", (_Sense(Fraction(3600), _ENERGY),)),
    ("K °C °K", "", (_Sense(_ONE, _KELVIN),)),
    ("°F F", "", (_Sense(Fraction(5, 9), _KELVIN),)),
    ("rad", "m", (_Sense(_ONE, _ANGLE),)),
    ("° deg degs degree degrees", "", (_Sense(Fraction(1, 180), _ANGLE, 1),)),
    ("rev revs r turn turns revolution revolutions", "", (_Sense(Fraction(2), _ANGLE, 1),)),
    ("rpm", "k", (_Sense(Fraction(1, 30), _TURNING, 1),)),
    ("RPM Rpm", "", (_Sense(Fraction(1, 30), _TURNING, 1),)),
    ("rps", "", (_Sense(Fraction(2), _TURNING, 1),)),
    ("Hz", "k", (_Sense(_ONE, _FREQUENCY),)),
    ("mph", "", (_Sense(63360 * _INCH / 3600, _SPEED),)),
    ("fpm", "", (_Sense(12 * _INCH / 60, _SPEED),)),
    ("DP", "", (_Sense(1 / _INCH, _PER_LENGTH),)),
    ("teeth tooth", "", (_Sense(_ONE, _NUMBER),)),
    ("% percent", "", (_Sense(Fraction(1, 100), _NUMBER),)),
    ("ppm", "", (_Sense(Fraction(1, 10**6), _NUMBER),)),
)
"""Symbols, the prefixes that they take, and their senses. Exact by definition (SI brochure; inch,
pound, standard gravity)."""


@cache
def _symbols() -> Mapping[str, tuple[_Sense, ...]]:
    """Every symbol that needs no pint, with its senses."""
    table: dict[str, tuple[_Sense, ...]] = {}
    for names, prefixes, senses in _SYMBOLS:
        for name in names.split():
            table[name] = senses
            for prefix in prefixes:
                scale = Fraction(10) ** _PREFIX[prefix]
                plain = [s for s in senses if s.dimension != _ACCELERATION]
                table[prefix + name] = tuple(
                    _Sense(s.factor * scale, s.dimension, s.pi) for s in plain
                )
    return table


@cache
def _joined() -> Mapping[str, tuple[str, str]]:
    """Two symbols written as one word, as data sheets do. pint reads a bare ``Nm`` as a yarn
    number."""
    pairs = [(f, a) for f in ("N", "mN", "kN", "cN", "dN", "µN", "uN") for a in ("m", "cm", "mm")]
    pairs += [(f, a) for f in ("kg", "kgf", "kp") for a in ("m", "cm", "mm")]
    pairs += [
        ("g", "cm"),
        ("g", "mm"),
        ("gf", "cm"),
        ("gf", "mm"),
        ("V", "s"),
        ("A", "s"),
        ("W", "s"),
    ]
    for force in ("oz", "ozf", "lb", "lbf"):
        pairs += [(force, "in"), ("in", force), (force, "ft"), ("ft", force)]
    return {a + b: (a, b) for a, b in pairs}


_REFUSED = {
    "ton": "write t for 1000 kg, or the mass in lb",
    "tons": "write t for 1000 kg, or the mass in lb",
}


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
    plain = _plain(text)
    value, rest, written = _leading_number(plain, text, unit)
    if unit in _TEMPERATURES:
        return _temperature(value, rest, text, unit)
    words, wanted = _meaning(unit)
    if not rest:
        if wanted == _NUMBER:
            return _rounded(value, 0, text, unit)
        raise _fault(text, unit, "the unit is missing", Code.NO_UNIT, f'write "{written} {unit}"')
    factors = _factors(rest, text, unit, written)
    if wanted == _TURNING and factors == [("min", -1)]:
        factors = [("rev", 1), ("min", -1)]
    sense = _sense(factors, wanted, text, unit)
    is_energy = any(name in _ENERGY_SYMBOLS for name, _ in factors)
    if sense is None or (words is _TORQUE_WORDS and is_energy):
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
    name = _meaning(unit)[0][0]
    return f"{name} with its unit ({', '.join(_usual(unit)[:4])})" if with_units else name


@cache
def _meaning(unit: str) -> tuple[tuple[str, tuple[str, ...]], Dimension]:
    """Words for a declared unit (a name with its article, usual units) and its dimension."""
    if unit in _TEMPERATURES:
        return _TEMPERATURE_WORDS, _KELVIN
    if unit == "°F rise":
        return _NAMES[_KELVIN], _KELVIN
    if not unit:
        return _NAMES[_NUMBER], _NUMBER
    factors = _factors(_plain(unit).removeprefix("1"), unit, unit, "1")
    first = _senses(factors)[0].dimension
    if first == _ENERGY:
        is_energy = any(name in _ENERGY_SYMBOLS for name, _ in factors) or unit in ("W·h", "ft·lbf")
        return (_ENERGY_WORDS if is_energy else _TORQUE_WORDS), _ENERGY
    return _NAMES[first], first


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


def _leading_number(plain: str, text: str, unit: str) -> tuple[Fraction, str, str]:
    """Number at the start of a text, what follows it, and the number as it was written."""
    lower = plain.lower().lstrip("+- ")
    if lower.startswith(("nan", "inf")):
        raise _fault(text, unit, "not a finite number", Code.NOT_A_NUMBER)
    match = _LEADING.match(plain)
    if not match:
        example = _usual(unit)[0]
        raise _fault(
            text,
            unit,
            "does not start with a number",
            Code.NOT_A_NUMBER,
            f'write it like "5 {example}"',
        )
    rest, written = plain[match.end() :], match[0].strip()
    _refuse_odd_numbers(rest, written, text, unit)
    if match["over"]:
        if int(match["under"]) == 0:
            raise _fault(text, unit, "divides by zero", Code.NOT_A_NUMBER)
        value = Fraction(int(match["whole"] or 0)) + Fraction(
            int(match["over"]), int(match["under"])
        )
    else:
        exponent = int(match["exponent"] or 0)
        if abs(exponent) > _MAX_EXPONENT:
            raise _fault(text, unit, "absurdly large or small", Code.NOT_A_NUMBER)
        value = Fraction(match["decimal"].rstrip(".") or "0") * Fraction(10) ** exponent
    return (-value if match["sign"] == "-" else value), rest, written


def _refuse_odd_numbers(rest: str, written: str, text: str, unit: str) -> None:
    """Refuse what looks like one number to people and another to a computer, and every
    arithmetic."""
    usual = _usual(unit)[0]
    if comma := re.match(r",([0-9]+)", rest):
        options = [f'"{written}.{comma[1]} {usual}"']
        if len(comma[1]) == 3:
            options.append(f'"{written}{comma[1]} {usual}"')
        raise _fault(
            text,
            unit,
            "a comma inside a number",
            Code.NOT_A_NUMBER,
            f"write a point: {' or '.join(options)}",
        )
    if re.match(r"[0-9]{3}(?![0-9])", rest) and written.lstrip("+-").isdigit():
        raise _fault(
            text,
            unit,
            "a space inside a number",
            Code.NOT_A_NUMBER,
            f'write "{written}{rest[:3]} {usual}"',
        )
    if re.match(r"[-+*/^(]* *\(?[0-9]", rest) and not re.match(r"1 ?/ ?[^0-9]", rest):
        raise _fault(
            text,
            unit,
            "arithmetic in a value",
            Code.NOT_A_NUMBER,
            f'write the result, like "5 {usual}"',
        )


_TERM = re.compile(
    r"""(?P<operator>[*/.\- ]?)(?P<name>''|[^\W\d_]+|°[CFK]?|[%"'″′])"""
    r"""(?:\^?(?P<exponent>-?[0-9]))?"""
)


def _factors(rest: str, text: str, unit: str, written: str) -> list[tuple[str, int]]:
    """Unit part of a text as symbols with exponents. Behind a slash, every further symbol needs a
    slash of its own."""
    rest = re.sub(r"^1(?= ?/)", "", re.sub(r" *([*/]) *", r"\1", rest.strip()))
    factors: list[tuple[str, int]] = []
    position, divided = 0, False
    while match := _TERM.match(rest, position):
        divides = match["operator"] == "/"
        misplaced = not divides and (divided or bool(match["operator"]) != bool(factors))
        if misplaced or len(factors) >= _MAX_FACTORS:
            break
        sign = -1 if divides else 1
        exponent = sign * int(match["exponent"] or 1)
        first, second = _joined().get(match["name"], (match["name"], ""))
        factors += [(first, sign), (second, exponent)] if second else [(first, exponent)]
        position, divided = match.end(), divided or divides
    if position < len(rest) or not factors or any(abs(e) > 4 for _, e in factors):
        raise _fault(
            text,
            unit,
            "not a number followed by a unit",
            Code.UNKNOWN_UNIT,
            _spelling(written, unit),
            rest=rest,
        )
    return factors


def _senses(factors: list[tuple[str, int]]) -> list[_Sense]:
    """Every meaning of a product of symbols, the commonest first."""
    choices = [_lookup(name) for name, _ in factors]
    found = []
    for combination in itertools.product(*choices):
        factor, pi, dimension = Fraction(1), 0, [0] * 6
        for sense, (_, exponent) in zip(combination, factors, strict=True):
            factor *= sense.factor**exponent
            pi += sense.pi * exponent
            dimension = [d + exponent * s for d, s in zip(dimension, sense.dimension, strict=True)]
        found.append(_Sense(factor, tuple(dimension), pi))  # type: ignore[arg-type]
    return found


def _sense(
    factors: list[tuple[str, int]], wanted: Dimension, text: str, unit: str
) -> _Sense | None:
    for name, _ in factors:
        if name in _REFUSED:
            raise _fault(
                text, unit, f"{name} has more than one meaning", Code.UNKNOWN_UNIT, _REFUSED[name]
            )
        if not _lookup(name):
            raise _unknown_unit(name, text, unit)
    return next((sense for sense in _senses(factors) if sense.dimension == wanted), None)


def _lookup(name: str) -> tuple[_Sense, ...]:
    """Senses of one symbol; pint is asked for words that the table does not hold."""
    found = _symbols().get(name)
    if found is None and len(name) > 1 and name.isalpha() and name not in _REFUSED:
        found = _from_pint(name)
    return found or ()


_PINT_BASES = ("kilogram", "meter", "second", "ampere", "kelvin", "radian")


@cache
def _from_pint(name: str) -> tuple[_Sense, ...]:
    """Sense that pint gives a word, none where it knows none or where the unit is not a plain
    multiple."""
    import pint

    registry = _registry()
    try:
        unit = registry.parse_units(name)
        base = registry.Quantity(1.0, unit).to_base_units()
        twice = registry.Quantity(2.0, unit).to_base_units()
        powers = dict(base.unit_items())
        factor = Fraction(repr(float(base.magnitude)))
    except (
        pint.errors.PintError,
        ValueError,
        TypeError,
        ArithmeticError,
        AttributeError,
        RecursionError,
    ):
        return ()
    if not math.isclose(
        twice.magnitude, 2 * base.magnitude
    ):  # a scale with an offset, or a logarithm
        return ()
    if set(powers) - set(_PINT_BASES) or any(power != int(power) for power in powers.values()):
        return ()
    dimension = tuple(int(powers.get(base_name, 0)) for base_name in _PINT_BASES)
    return (_Sense(factor, dimension),)  # type: ignore[arg-type]


@cache
def _registry() -> Any:
    """Registry of our own for reading, whatever the caller has done to the shared one."""
    import pint

    return pint.UnitRegistry()


def _temperature(value: Fraction, rest: str, text: str, unit: str) -> float:
    """Temperature in °C. In one string pint would refuse ``20 degC`` and take C and F for coulomb
    and farad."""
    if rest in ("°C", "C"):
        celsius = value
    elif rest in ("°F", "F"):
        celsius = (value - 32) * Fraction(5, 9)
    elif rest in ("K", "°K"):
        celsius = value - Fraction("273.15")
    elif not rest:
        raise _fault(text, unit, "the unit is missing", Code.NO_UNIT, f'write "{text.strip()} °C"')
    else:
        factors = _factors(rest, text, unit, "20")
        _sense(factors, _KELVIN, text, unit)
        raise _wrong_dimension(factors, text, unit, "20")
    return _rounded(celsius, 0, text, unit)


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
    usual = _meaning(unit)[0][1]
    return tuple(dict.fromkeys(([unit] if unit and unit != "°F rise" else []) + list(usual)))


def _spelling(written: str, unit: str) -> str:
    return f'write it like "{written} {_usual(unit)[0]}"'


def _fault(
    text: str, unit: str, message: str, code: Code, hint: str = "", *, rest: str = ""
) -> InputError:
    expected = describe_unit(unit, with_units=_meaning(unit)[1] != _NUMBER)
    shown = text if len(text) <= MAX_LENGTH else text[: MAX_LENGTH - 3] + "..."
    if rest and len(rest) < len(text):
        message = f"{message}: {rest!r}"
    return InputError((Fault(message, got=shown, expected=expected, hint=hint, code=code),))


def _unknown_unit(name: str, text: str, unit: str) -> InputError:
    usual = _usual(unit)
    folded = {spelling.replace("·", "").lower(): spelling for spelling in usual}
    near = nearest(name, folded)
    hint = f'did you mean "{folded[near]}"?' if near else f"use one of: {', '.join(usual)}"
    return _fault(text, unit, f'"{name}" is no unit known here', Code.UNKNOWN_UNIT, hint)


def _wrong_dimension(
    factors: list[tuple[str, int]], text: str, unit: str, written: str
) -> InputError:
    found = _senses(factors)[0].dimension
    words, wanted = _meaning(unit)
    read = (
        _NAMES[found][0]
        if found in _NAMES
        else _ENERGY_WORDS[0]
        if found == _ENERGY
        else "something else"
    )
    if found == _ENERGY and not any(name in _ENERGY_SYMBOLS for name, _ in factors):
        read = _TORQUE_WORDS[0]
    hint = _spelling(written, unit)
    if wanted == _TURNING and found == _FREQUENCY:
        hint = f'write "{written} rev/s" for turns or "{written} rad/s" for radians per second'
    elif words is _TORQUE_WORDS and factors in ([("N", 1), ("m", -1)], [("nm", 1)]):
        hint = f'write "{written} N·m"'
    return _fault(text, unit, f"{read}, where {words[0]} is expected", Code.WRONG_DIMENSION, hint)


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
