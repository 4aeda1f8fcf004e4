"""What the checks and readings of an assessment are called, and its numbers in the units that suit
their size."""

import math
from typing import Any

from winchsim.assessment.kinds import Check, CheckKey, Holding, Reading, ReadingKey, Status
from winchsim.report.document import Mark, Text, Value

CHECKS = {
    CheckKey.TARGET: "height reached",
    CheckKey.PROGRAMME: "programme carried out",
    CheckKey.LIFT_TIME: "lift time",
    CheckKey.START_COLD: "starting torque margin, cold",
    CheckKey.START_HOT: "starting torque margin, hot",
    CheckKey.HOLD: "holding margin, power off",
    CheckKey.HOLD_DISTURBED: "holding margin after a jolt",
    CheckKey.WINDING: "winding temperature",
    CheckKey.PARTS: "factor of the weakest part",
    CheckKey.JAM: "lowest factor in a jam",
    CheckKey.ROPE_BEND: "drum-to-rope ratio",
    CheckKey.DRUM_CAPACITY: "drum capacity for rope",
    CheckKey.CONTINUOUS_CURRENT: "continuous motor load",
    CheckKey.SUPPLY: "time at the current limit",
    CheckKey.BATTERY: "battery charge over need",
    CheckKey.ENERGY: "energy error over its limit",
}

READINGS = {
    ReadingKey.HEIGHT: "greatest height",
    ReadingKey.FINAL_HEIGHT: "final height",
    ReadingKey.SPEED: "speed of the load along its path",
    ReadingKey.PEAK_CURRENT: "peak supply current",
    ReadingKey.MEAN_CURRENT: "mean supply current",
    ReadingKey.PEAK_TENSION: "peak rope tension above the load",
    ReadingKey.ENERGY_IN: "energy from the supply",
    ReadingKey.EFFICIENCY: "efficiency of the lift",
    ReadingKey.CHARGE: "charge drawn",
    ReadingKey.LOWERING_TIME: "lowering time",
    ReadingKey.BACK_DRIVING_SPEED: "back-driving speed along the path",
}

CAUSES = {
    "bearings": "bearing friction",
    "form_loss": "form of the teeth",
    "mesh_friction": "friction of the teeth",
    "shaft_drag": "drag of the shafts",
    "heat_capacity": "heat capacity of the motors",
    "heat_resistance": "heat resistance of the motors",
    "reverse_efficiency": "efficiency when back-driven",
    "breakaway": "friction at rest",
    "rotor_inertia": "rotor inertia",
    "no_load_speed": "no-load speed",
    "supply": "data of the supply",
    "ambient": "ambient temperature",
    "winding_limit": "limit of the winding temperature",
    "motor_constant": "torque constant of the motors",
    "motor_resistance": "resistance of the motors",
    "motor_no_load_current": "no-load current of the motors",
}
"""Groups of assumed inputs; others are named by their own words."""

TIMES = "×"
AT_LEAST, AT_MOST = "≥ ", "≤ "

MARKS = {
    Status.FAILS: Mark("fails", "bad"),
    Status.THIN: Mark("thin", "warn"),
    Status.NOT_CHECKED: Mark("not checked", "open"),
    Status.OK: Mark("ok", "good"),
}

_UNITS = {
    "m": (("mm", 0.0), ("m", 0.1)),
    "m/s": (("mm/s", 0.0), ("m/s", 0.1)),
    "s": (("ms", 0.0), ("s", 0.1), ("min", 600.0)),
    "N·m": (("mN·m", 0.0), ("N·m", 0.1)),
    "C": (("C", 0.0), ("A·h", 360.0)),
    "kg": (("g", 0.0), ("kg", 0.1)),
}
"""By SI unit: units to print in, each with the least size that it is for."""


NO_HEIGHT = 1e-6
"""Lengths below this are none, but for rounding of the computation. [m]"""


def cause(name: str) -> str:
    """A group of assumed inputs in words."""
    return CAUSES.get(name, name.replace("_", " "))


def suited(unit: str, size: float) -> str:
    """Unit in which a value of a size is printed."""
    known = _UNITS.get(unit, ()) if size and math.isfinite(size) else ()
    return [unit, *(name for name, least in known if abs(size) >= least)][-1]


def value(number: float | None, unit: str = "", **more: object) -> Value:
    """A number in a unit that suits its size; `more` as `Value` takes it."""
    if unit == "m" and abs(number or 0.0) < NO_HEIGHT:
        number = number and 0.0
    return Value(number, suited(unit, number or 0.0), **more)  # type: ignore[arg-type]


def load(tested: Any) -> Value | str:
    """The load of a rung, of a test, or of a row of a test sheet."""
    return "unloaded" if getattr(tested, "bare", not tested.mass) else value(tested.mass, "kg")


def signed(number: float, unit: str) -> Text:
    """A number with its sign."""
    return ("+" if number > 0 else "", Value(number, unit))


def percent(share: float) -> Value:
    """An estimated share of 1 in per cent, with two digits."""
    return Value(rough(share), "%")


def rough(number: float) -> float:
    """An estimate with the two digits that it deserves."""
    return float(f"{number:.2g}")


def of_check(check: Check) -> Value:
    """Value of a check, with its range."""
    number = value(check.value, check.unit).value
    limit = check.required if check.hard is None or check.key is CheckKey.PARTS else check.hard
    if limit is not None and number is not None and abs(number - limit) <= 1e-9 * abs(limit):
        limit = None  # on the limit but for rounding of the computation
    size = number or check.required or check.hard or 0.0
    unit = "%" if check.key in _SHARES else suited(check.unit, size)
    boundless = _BOUNDLESS.get(check.about, "no limit")
    return Value(
        number,
        unit,
        check.low,
        check.high,
        limit,
        sign=TIMES if check.quantity == "ratio" and not unit else "",
        endless="never" if check.quantity == "time" else boundless,
    )


_BOUNDLESS: dict[str, str] = {
    **dict.fromkeys(Holding, "locked"),
    Holding.PAWL: "pawl",
    Holding.BRAKE: "brake",
    Holding.FRICTION: "stays",
}
"""By what holds the load: word for an infinite margin."""

_SHARES = frozenset(
    {CheckKey.PROGRAMME, CheckKey.CONTINUOUS_CURRENT, CheckKey.SUPPLY, CheckKey.ENERGY}
)
"""Checks whose ratio is printed in per cent."""


def limit_of(check: Check) -> Text:
    """The value from which on a check is ok."""
    limit = check.hard if check.required is None else check.required
    sign, like = AT_LEAST if check.side == "at least" else AT_MOST, of_check(check)
    advised = "advised " if check.hard is None else ""
    return () if limit is None else (advised + sign, Value(limit, like.unit, sign=like.sign))


def of_reading(reading: Reading) -> Value:
    """Value of a reading, with its range."""
    if reading.key == "efficiency":
        return Value(reading.value, "%", reading.low, reading.high)
    return value(reading.value, reading.unit, low=reading.low, high=reading.high)


def setting(given: Any, unit: str) -> str | Value:
    """A value of a scenario."""
    if isinstance(given, (int, float)) and not isinstance(given, bool):
        return Value(float(given), unit)
    return {None: "none", True: "yes", False: "no"}.get(given, str(given))


def source(text: str) -> str:
    """Source of a value in words: what was recalled and not looked up is an unverified estimate."""
    return text.replace("from memory", "unverified estimate")
