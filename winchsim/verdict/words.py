"""How numbers and motor groups are told in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence

from winchsim.model import Machine
from winchsim.quantity_text import fixed, in_unit, number, quantity


def given(value: float, unit: str) -> str:
    """A value as its user would write it, without needless zeros: "25 kg"."""
    text = f"{in_unit(value, unit):.4g}"
    if "e" in text:
        return quantity(value, unit, 4)
    return f"{text} {unit}" if unit else text


def percent(share: float, digits: int = 2) -> str:
    """A share of 1 as a percentage: "71 %"."""
    return f"{number(100 * share, digits)} %"


def fixed_percent(share: float, decimals: int, *, signed: bool = False) -> str:
    """A share of 1 as a percentage for a column or to be held against others: "8.9 %", or "+0.57 %" with its sign."""
    return ("+" if signed and math.copysign(1.0, share) > 0 else "") + f"{fixed(100 * share, decimals)} %"


NO_LENGTH = 1e-9
"""What rounding leaves of a load on its floor is below this. [m]"""


def length(value: float, digits: int = 3) -> str:
    """A length in metres, or in millimetres and at most two digits below 0.1 m; what is under a nanometre is none."""
    if abs(value) < NO_LENGTH:
        value = 0.0
    return quantity(value, "m", digits) if abs(value) >= 0.1 else quantity(value, "mm", min(digits, 2))


def speed(value: float) -> str:
    """A speed in m/s, or in mm/s below 0.1 m/s."""
    return quantity(value, "m/s") if abs(value) >= 0.1 else quantity(value, "mm/s")


def torque(value: float) -> str:
    """A torque in N·m, or in mN·m below 0.1 N·m."""
    return quantity(value, "N·m") if abs(value) >= 0.1 else quantity(value, "mN·m")


def duration(value: float, digits: int = 3) -> str:
    """A time in seconds; in milliseconds below 0.1 s, in minutes from ten of them on."""
    return quantity(value, "ms" if 0 < abs(value) < 0.1 else "s" if abs(value) < 600 else "min", digits)


def after(time: float) -> str:
    """When something happened: "after 3.20 s", or "at once"."""
    return f"after {duration(time)}" if time > 0 else "at once"


def group_name(machine: Machine, index: int) -> str:
    """A group's motors: "the motors", or "the motors of group 2" where there are several groups."""
    several = len(machine.groups) > 1
    return f"the motors of group {machine.groups[index].number}" if several else "the motors"


def counted(count: int, noun: str, plural: str = "") -> str:
    """A number with its noun: "1 motor", "6 motors"."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def listed(names: Sequence[str]) -> str:
    """Names in a row: "a, b and c"."""
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1] if names else ""


def capital(sentence: str) -> str:
    """Sentence with its first letter large."""
    return sentence[:1].upper() + sentence[1:]
