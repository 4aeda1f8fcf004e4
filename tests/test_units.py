"""Quantities as the trade writes them: each read as meant, or refused with the spelling to use."""

import math
import subprocess
import sys

import numpy as np
import pytest

from winchsim.errors import InputError
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.units import _JOINED, _senses, _symbols, describe_unit, parse_quantity, to_pint

# Exact definitions: the inch and the pound of the international yard and pound agreement (1959);
# standard gravity of the 3rd CGPM (1901), CR 70; SI prefixes and coherent units of the SI brochure,
# 9th edition (BIPM, 2019).
INCH, POUND, GRAVITY = 0.0254, 0.45359237, 9.80665
LBF = POUND * GRAVITY

READ = [
    # the traps of a general units library: what the trade writes, the key's unit, what is meant in
    # SI
    pytest.param("0.5 Nm", "N·m", 0.5, id="Nm is a torque, not a yarn number"),
    pytest.param("12 mNm", "mN·m", 0.012, id="mNm"),
    pytest.param("6.1 mN*m", "mN·m", 0.0061, id="mN*m"),
    pytest.param("50 Ncm", "mN·m", 0.5, id="Ncm"),
    pytest.param("0.5 N-m", "N·m", 0.5, id="hyphen between symbols"),
    pytest.param("0.5 N.m", "N·m", 0.5, id="full stop between symbols"),
    pytest.param("0.5 N m", "N·m", 0.5, id="blank between symbols"),
    pytest.param("3 kg·cm", "mN·m", 0.03 * GRAVITY, id="kg·cm is a torque, not mass x length"),
    pytest.param("3 kg*cm", "N·m", 0.03 * GRAVITY, id="kg*cm"),
    pytest.param("3 kgcm", "N·m", 0.03 * GRAVITY, id="kgcm"),
    pytest.param("3 kgf·cm", "N·m", 0.03 * GRAVITY, id="kgf·cm"),
    pytest.param("3 kgf-cm", "N·m", 0.03 * GRAVITY, id="kgf-cm"),
    pytest.param("130 g·cm", "mN·m", 1.3e-3 * GRAVITY, id="g·cm"),
    pytest.param(
        "20 oz·in", "mN·m", 20 / 16 * LBF * INCH, id="oz·in is a torque, not mass x length"
    ),
    pytest.param("20 oz-in", "mN·m", 20 / 16 * LBF * INCH, id="oz-in"),
    pytest.param("20 ozf·in", "mN·m", 20 / 16 * LBF * INCH, id="ozf·in"),
    pytest.param("20 in-oz", "mN·m", 20 / 16 * LBF * INCH, id="in-oz"),
    pytest.param("7 lb-in", "N·m", 7 * LBF * INCH, id="lb-in"),
    pytest.param("7 inch-pounds", "N·m", 7 * LBF * INCH, id="inch-pounds"),
    pytest.param("7 ft·lbf", "N·m", 7 * LBF * 12 * INCH, id="ft·lbf"),
    pytest.param(
        "11500 rpm", "rpm", 11500 * math.pi / 30, id="rpm is turns, not radians, a minute"
    ),
    pytest.param("11500 RPM", "rpm", 11500 * math.pi / 30, id="RPM"),
    pytest.param("11500rpm", "rpm", 11500 * math.pi / 30, id="no blank"),
    pytest.param("11.5 krpm", "rpm", 11500 * math.pi / 30, id="krpm"),
    pytest.param("600 rev/min", "rpm", 20 * math.pi, id="rev/min, unknown to pint"),
    pytest.param("600 r/min", "rpm", 20 * math.pi, id="r/min"),
    pytest.param("600 min⁻¹", "rpm", 20 * math.pi, id="min⁻¹"),
    pytest.param("600 1/min", "rpm", 20 * math.pi, id="1/min"),
    pytest.param("10 rev/s", "rpm", 20 * math.pi, id="rev/s"),
    pytest.param("100 rad/s", "rpm", 100.0, id="rad/s"),
    pytest.param("20 °C", "°C", 20.0, id="°C, an offset error in pint"),
    pytest.param("20 degC", "°C", 20.0, id="degC"),
    pytest.param("20 deg C", "°C", 20.0, id="deg C"),
    pytest.param("20 C", "°C", 20.0, id="C is no coulomb where a temperature is meant"),
    pytest.param("68 °F", "°C", 20.0, id="°F"),
    pytest.param("68 F", "°C", 20.0, id="F is no farad where a temperature is meant"),
    pytest.param("-40 degF", "°C", -40.0, id="degF"),
    pytest.param("293.15 K", "°C", 20.0, id="kelvin"),
    pytest.param("20 celsius", "°C", 20.0, id="celsius"),
    pytest.param("12 °C/W", "K/W", 12.0, id="°C/W is a difference"),
    pytest.param("12 degC/W", "K/W", 12.0, id="degC/W"),
    pytest.param("3 J/°C", "J/K", 3.0, id="J/°C"),
    pytest.param("-0.2 %/K", "%/K", -0.002, id="%/K"),
    pytest.param("-0.2 %/°C", "%/K", -0.002, id="%/°C"),
    pytest.param("1/4 in", "mm", INCH / 4, id="a fraction of an inch"),
    pytest.param("1 1/2 in", "mm", 1.5 * INCH, id="a mixed number"),
    pytest.param("1-1/2 in", "mm", 1.5 * INCH, id="a mixed number with a hyphen"),
    pytest.param('3/16"', "mm", 3 / 16 * INCH, id="the inch sign"),
    pytest.param("½ in", "mm", INCH / 2, id="½"),
    pytest.param("5 lb", "kg", 5 * POUND, id="lb as a mass"),
    pytest.param("5 lb", "N", 5 * LBF, id="lb as a force"),
    pytest.param("2 kg", "N", 2 * GRAVITY, id="a spring scale's kg as a force"),
    pytest.param("5 lbs", "kg", 5 * POUND, id="lbs"),
    pytest.param("2200 mAh", "A·h", 7920.0, id="mAh"),
    pytest.param("2.2 A·h", "A·h", 7920.0, id="A·h"),
    pytest.param("8 C", "C", 8.0, id="C is a coulomb where a charge is meant"),
    pytest.param("3 Ω", "ohm", 3.0, id="Ω, the Greek letter"),
    pytest.param("3 \u2126", "ohm", 3.0, id="Ω, the ohm sign"),
    pytest.param("150 mΩ", "ohm", 0.15, id="mΩ"),
    pytest.param("150 mohm", "ohm", 0.15, id="mohm"),
    pytest.param("30 µA", "mA", 3e-5, id="µ, the micro sign"),
    pytest.param("30 μA", "mA", 3e-5, id="μ, the Greek letter"),
    pytest.param("30 uA", "mA", 3e-5, id="u for µ"),
    pytest.param("2 GPa", "MPa", 2e9, id="GPa"),
    pytest.param("50 N/mm²", "MPa", 5e7, id="N/mm²"),
    pytest.param("50 N/mm2", "MPa", 5e7, id="N/mm2"),
    pytest.param("50 N/mm^2", "MPa", 5e7, id="N/mm^2"),
    pytest.param("50 N/mm**2", "MPa", 5e7, id="N/mm**2"),
    pytest.param("1 psi", "MPa", LBF / INCH**2, id="psi"),
    pytest.param("7 ksi", "MPa", 7000 * LBF / INCH**2, id="ksi"),
    pytest.param("1.2 g/cm³", "kg/m³", 1200.0, id="g/cm³"),
    pytest.param("3 g·cm²", "g·cm²", 3e-7, id="g·cm² is an inertia"),
    pytest.param("3 gcm2", "g·cm²", 3e-7, id="gcm2"),
    pytest.param(
        "1 oz-in-s^2", "kg·m²", LBF / 16 * INCH, id="oz-in-s² is an inertia, with oz as a force"
    ),
    pytest.param("20°", "deg", math.pi / 9, id="°"),
    pytest.param("20 deg", "deg", math.pi / 9, id="deg"),
    pytest.param("24 1/in", "1/in", 24 / INCH, id="diametral pitch, 1/in"),
    pytest.param("24 DP", "1/in", 24 / INCH, id="DP"),
    pytest.param("24 teeth/in", "1/in", 24 / INCH, id="teeth/in"),
    pytest.param("40 %", "%", 0.4, id="percent"),
    pytest.param("40%", "", 0.4, id="percent for a plain number"),
    pytest.param("0.4", "", 0.4, id="a plain number"),
    pytest.param("9.81 m/s²", "m/s²", 9.81, id="m/s²"),
    pytest.param("9.81 m/s/s", "m/s²", 9.81, id="m/s/s"),
    pytest.param("1 g", "m/s²", GRAVITY, id="g is no gram where an acceleration is meant"),
    pytest.param("5 g/m", "g/m", 0.005, id="g/m"),
    pytest.param("1e3 mA", "A", 1.0, id="an exponent"),
    pytest.param(".5 V", "V", 0.5, id="no digit before the point"),
    pytest.param("−5 °C", "°C", -5.0, id="a typographic minus"),
    pytest.param("1.5\u00a0kg", "kg", 1.5, id="a hard blank"),
    pytest.param("6 VDC", "V", 6.0, id="VDC"),
    pytest.param("3 decimeters", "m", 0.3, id="a prefix as a word"),
    pytest.param("12 millimetres", "mm", 0.012, id="the British spelling"),
    pytest.param("5 stone", "kg", 70 * POUND, id="stone"),
    pytest.param("2 kip*ft", "N·m", 2000 * LBF * 12 * INCH, id="kip"),
    pytest.param("2 hp", "W", 1100 * LBF * 12 * INCH, id="hp"),
]


@pytest.mark.parametrize(("text", "unit", "meant"), READ)
def test_is_read_as_meant(text, unit, meant):
    assert parse_quantity(text, unit) == pytest.approx(meant, rel=1e-14, abs=1e-300)


REFUSED = [
    # text, unit of the key, code, part of the message, part of the hint
    ("50 Hz", "rpm", "wrong dimension", "a frequency, where a rotational speed", "50 rev/s"),
    ("50 1/s", "rpm", "wrong dimension", "a frequency", "50 rad/s"),
    ("5 J", "N·m", "wrong dimension", "an energy, where a torque", "N·m"),
    ("5 Wh", "N·m", "wrong dimension", "an energy", "N·m"),
    ("5 N/m", "N·m", "wrong dimension", "where a torque", "5 N·m"),
    ("5 nm", "N·m", "wrong dimension", "a length", "5 N·m"),
    ("0.5 Nm", "kg", "wrong dimension", "a torque, where a mass", "kg"),
    ("5 lbf", "kg", "wrong dimension", "a force, where a mass", "kg"),
    ("5 V", "°C", "wrong dimension", "a voltage, where a temperature", "°C"),
    ("5 m", "", "wrong dimension", "a length, where a plain number", "%"),
    ("40 %", "kg", "wrong dimension", "a plain number", "kg"),
    ("5 ton", "kg", "unknown unit", "more than one meaning", "write t"),
    ("5 mn*m", "N·m", "unknown unit", '"mn" is no unit', "mN·m"),
    ("5 wibble", "V", "unknown unit", '"wibble" is no unit', "V"),
    ("5 c", "m/s", "unknown unit", '"c" is no unit', "m/s"),
    ("5 dBm", "V", "unknown unit", '"dBm" is no unit', "V"),
    ("5 ft 3 in", "m", "unknown unit", "not a number followed by a unit", "m"),
    ("5 kg*cm*", "N·m", "unknown unit", "not a number followed by a unit", "N·m"),
    ("25", "kg", "no unit", "the unit is missing", '"25 kg"'),
    ("20", "°C", "no unit", "the unit is missing", '"20 °C"'),
    ("0,5 Nm", "N·m", "not a number", "a comma inside a number", '"0.5 N·m"'),
    ("11,500 rpm", "rpm", "not a number", "a comma inside a number", '"11500 rpm"'),
    ("11 500 rpm", "rpm", "not a number", "a space inside a number", '"11500 rpm"'),
    ("nan V", "V", "not a number", "not a finite number", ""),
    ("NaN V", "V", "not a number", "not a finite number", ""),
    ("inf V", "V", "not a number", "not a finite number", ""),
    ("-inf V", "V", "not a number", "not a finite number", ""),
    ("2*3 V", "V", "not a number", "arithmetic", "write the result"),
    ("10**9 m", "m", "not a number", "arithmetic", "write the result"),
    ("2^3 m", "m", "not a number", "arithmetic", "write the result"),
    ("1+1 V", "V", "not a number", "arithmetic", "write the result"),
    ("(1+1) V", "V", "not a number", "does not start with a number", "5 V"),
    ("1e999 V", "V", "not a number", "absurdly", ""),
    ("1e999999999999 V", "V", "not a number", "absurdly", ""),
    ("1/0 in", "mm", "not a number", "divides by zero", ""),
    ("", "V", "not a number", "does not start with a number", "5 V"),
    ("Nm", "N·m", "not a number", "does not start with a number", "5 N·m"),
    ("--5 V", "V", "not a number", "does not start with a number", "5 V"),
    ("٣ V", "V", "not a number", "does not start with a number", "5 V"),
    ("1_000 V", "V", "unknown unit", "not a number followed by a unit", "1 V"),
    ("9" * 100 + " V", "V", "not a number", "too long", ""),
    ("5 m^999999", "m", "unknown unit", "not a number followed by a unit", "5 m"),
    ("5 " + "*".join(["m"] * 20), "m", "unknown unit", "not a number followed by a unit", "5 m"),
    ("__import__('os')", "V", "not a number", "does not start with a number", "5 V"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "code", "message", "hint"), REFUSED)
def test_is_refused_with_the_spelling_to_use(text, unit, code, message, hint):
    with pytest.raises(InputError) as caught:
        parse_quantity(text, unit)
    (fault,) = caught.value.faults
    assert fault.code == code
    assert message in fault.message
    assert hint in fault.hint
    assert fault.expected.startswith(describe_unit(unit))


@pytest.mark.parametrize(
    "text",
    [
        "9" * 10**6 + " V",
        "1e" + "9" * 50 + " V",
        "5 " + "(" * 50,
        "5 V" + "^9" * 25,
        "5" + " " * 10**6,
    ],
)
def test_bombs_are_refused_at_once(text, within):
    with within(0.5), pytest.raises(InputError):
        parse_quantity(text, "V")


@pytest.mark.parametrize(
    ("metric", "inch"),
    [("25.4 mm", "1 in"), ("6.35 mm", "1/4 in"), ("304.8 mm", "1 ft"), ("2.54 cm", '1"')],
)
def test_equal_lengths_give_equal_floats(metric, inch):
    assert parse_quantity(metric, "mm") == parse_quantity(inch, "mm")


@pytest.mark.parametrize("unit", [u for u in PRINTED_UNITS if u not in ("°C", "°F", "°F rise")])
def test_every_printed_unit_is_read_back(unit):
    assert parse_quantity(f"3 {unit}".strip(), unit) * PRINTED_UNITS[unit].factor == pytest.approx(
        3, rel=1e-13
    )


@pytest.mark.parametrize("unit", list(PRINTED_UNITS))
def test_to_pint_agrees_with_the_printed_unit(unit):
    quantity = to_pint(np.array([1.0, 2.0]), unit)
    printed = PRINTED_UNITS[unit]
    assert quantity.magnitude == pytest.approx(
        [printed.factor + printed.offset, 2 * printed.factor + printed.offset]
    )
    if unit not in ("°C", "°F", "%"):
        assert quantity.to_base_units().magnitude == pytest.approx([1.0, 2.0], rel=1e-12)


def test_to_pint_refuses_other_units():
    with pytest.raises(KeyError):
        to_pint(1.0, "furlong")


def test_table_agrees_with_pint_where_pint_knows_the_word():
    """Outside check of our table: pint's own definitions, symbol by symbol, for the sense that pint
    has."""
    import pint

    registry = pint.UnitRegistry()
    bases = ("kilogram", "meter", "second", "ampere", "kelvin", "radian")
    differ = {"C", "F", "H", "K", "g", "oz", "lb", "h", "R", "%", "DP", "ppm", "ohm"}
    compared = 0
    for name, senses in ((name, _senses(((name, 1),))) for name in _symbols()):
        if not name.isalpha() or not name.isascii() or name in differ:
            continue
        try:
            base = registry.Quantity(1.0, registry.parse_units(name)).to_base_units()
        except (pint.errors.PintError, ValueError):
            continue
        powers = dict(base.unit_items())
        dimension = tuple(int(powers.get(b, 0)) for b in bases)
        ours = [float(factor) * math.pi**pi for factor, of, pi in senses if of == dimension]
        if ours:
            assert ours[0] == pytest.approx(base.magnitude, rel=1e-9), name
            compared += 1
    assert compared > 100


def test_no_symbol_has_two_values_for_one_dimension():
    for name, senses in ((name, _senses(((name, 1),))) for name in _symbols()):
        assert len({dimension for _, dimension, _ in senses}) == len(senses), name
    assert not [name for name in _symbols() if _JOINED.fullmatch(name)]


def test_pint_is_not_imported_for_what_the_trade_writes():
    code = (
        "import sys; from winchsim.units import parse_quantity as p;"
        "p('0.5 Nm','N·m'); p('20 °C','°C'); p('1/4 in','mm'); p('40 %',''); p('2200 mAh','A·h');"
        "print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
