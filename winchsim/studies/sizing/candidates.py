"""Candidates of the sizing questions: which values are tried, and which may be recommended."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from winchsim.constants import INCH
from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Parts, value_at
from winchsim.model import Machine
from winchsim.model import build as build_machine
from winchsim.physics.load import pull_needed
from winchsim.quantity_text import rounded
from winchsim.slow import lift_all
from winchsim.studies.at_hand import families, make
from winchsim.studies.builds import Build, gear_changes

PLACES = 9
"""Decimal places of an SI value to which two candidates are the same."""

CANDIDATES = {"drum": 200, "voltage": 120, "heaviest": 240}
"""Values tried over the range of a question, besides those that can be recommended. [-]"""

COARSE = 80
"""Diameters tried to find where the motors stall, when no range is given. [-]"""

STOCK = tuple(
    size / 1000
    for size in (
        2,
        3,
        4,
        5,
        6,
        8,
        10,
        12,
        14,
        15,
        16,
        18,
        20,
        22,
        25,
        28,
        30,
        32,
        35,
        40,
        45,
        50,
        60,
        70,
        80,
        90,
        100,
        120,
        140,
        160,
        180,
        200,
        250,
        300,
        350,
        400,
        450,
        500,
    )
)
"""Diameters that round bar and tube are sold in. [m] Common practice, no published source."""

STOCK_INCH = tuple(
    eighths / 8 * INCH
    for eighths in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48)
)
"""The same in inches, an eighth to six. [m] Common practice, no published source."""

TURNED_STEP, MOST_TURNED = 0.0005, 100
"""Where no stock size will do, diameters in half millimetres, so many from the thin end. [m],
[-]"""

LARGEST_DRUM = 10.0
"""Largest diameter tried. [m]"""

VOLTAGE_STEP, VOLTAGE_RANGE = 0.5, (0.25, 1.5)
"""Voltages to recommend; range tried in voltages of the motors' data. [V], [-]"""

MOST_MOTORS = 40
"""Counts tried where no range is given: up to four times the scenario's, 8 to this. [-]"""

MOST_TRAINS = 300
"""Trains of gears at hand that are tried. [-]"""

LIGHTEST = 1e-3
"""Lightest load tried, as a share of the one that stalls the motors. [-]"""


@dataclass(frozen=True)
class Span:
    """Where candidates are looked for: both ends (None for the usual ones), the motor group, inch
    sizes."""

    low: float | None = None
    high: float | None = None
    group: int = 1
    inch: bool = False


@dataclass(frozen=True)
class Proposal:
    """Candidates of a question.

    Attributes
    ----------
    values : ndarray
        Ascending. SI
    offered : callable
        From values to masks of those that may be recommended: the first mask that has one that does
        not fail counts.
    changes : tuple of Build
        Builds that differ by more than one value, one for each of the values.
    """

    values: np.ndarray
    offered: Callable[[np.ndarray], tuple[np.ndarray, ...]]
    changes: tuple[Build, ...] = ()


def _grown(low: float, high: float, unit: str) -> tuple[float, float]:
    if not 0 < low < high:
        raise DomainError("--range", f"{low:g} to {high:g} {unit}".strip(), "a range that grows")
    return low, high


def _values(*parts: Any) -> np.ndarray:
    return np.unique(
        np.round(np.concatenate([np.asarray(part, dtype=float) for part in parts]), PLACES)
    )


def _every(values: np.ndarray) -> tuple[np.ndarray, ...]:
    return (np.ones(len(values), dtype=bool),)


def _steps(low: float, high: float, step: float) -> np.ndarray:
    """Multiples of a step in a range, its ends included."""
    return np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1) * step


def _spread(low: float, high: float, count: int) -> list[float]:
    """Both ends, and between them numbers of three digits in equal ratios."""
    return [low, *(float(f"{value:.3g}") for value in np.geomspace(low, high, count)[1:-1]), high]


def _within(low: float, high: float, *values: float) -> list[float]:
    return [value for value in values if low <= value <= high]


def _at_hand(inputs: Inputs, machine: Machine, span: Span, kind: str) -> Proposal | None:
    """Builds with other parts of one kind that are at hand, the present one among them; None where
    none are listed."""
    listed = getattr(inputs.parts, kind, ())
    if not listed:
        return None
    made, _ = families(replace(inputs, parts=Parts(**{kind: listed})), MOST_TRAINS)
    present = {
        "gears": machine.groups[0].ratio,
        "motors": sum(group.count for group in inputs.motors),
        "drums": inputs.drum.diameter,
    }[kind]
    found: dict[float, Build] = {
        -1.0: Build("none" if kind == "gears" else "present", inputs, present)
    }
    for build in (make(inputs, *member) for family in made for member in family.members):
        ratio = build_machine(build.inputs).groups[0].ratio if kind == "gears" else 0.0
        number = sum(n for _, n in build.motors)
        size = {"gears": ratio, "motors": number}.get(kind) or build.inputs.drum.diameter
        low, high = span.low or 0.0, span.high or math.inf
        if low <= size <= high:
            key = round(size, PLACES) if kind == "gears" else len(found)
            found.setdefault(key, replace(build, value=size))
    return _of_builds(list(found.values()))


def _of_builds(builds: list[Build]) -> Proposal:
    builds.sort(key=lambda build: build.value)
    return Proposal(np.array([build.value for build in builds]), _every, tuple(builds))


def drums(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    """Drums at hand, or diameters, of which stock sizes are offered first, then turned ones.
    [m]"""
    if (found := _at_hand(inputs, machine, span, "drums")) is not None:
        return found
    own = inputs.drum.diameter
    low, high = span.low or inputs.rope.diameter, span.high
    if high is None:
        coarse = np.geomspace(low, LARGEST_DRUM, COARSE)
        stalls = coarse[~(lift_all(inputs, {"drum.diameter": coarse}).stall_margin_cold >= 1)]
        high = max(1.2 * float(stalls.min(initial=LARGEST_DRUM)), 4 * low, 1.2 * own)
        high = rounded(high, 3, up=True)
    low, high = _grown(low, min(high, LARGEST_DRUM), "m")
    stock = np.round(_within(low, high, *STOCK, *(STOCK_INCH if span.inch else ())), PLACES)
    turned = np.round(_steps(low, high, TURNED_STEP)[:MOST_TURNED], PLACES)
    spread = _spread(low, high, CANDIDATES["drum"])
    return Proposal(
        _values(spread, stock, turned, _within(low, high, own)),
        lambda values: (np.isin(values, stock), np.isin(values, turned), *_every(values)),
    )


def counts(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    """Motors at hand, or numbers of motors in a group, its dead ones below the range. [-]"""
    if (found := _at_hand(inputs, machine, span, "motors")) is not None:
        return found
    present = int(value_at(inputs, f"motors.{span.group}.count"))
    low = max(int(span.low or 1), int(value_at(inputs, f"motors.{span.group}.dead")) + 1)
    high = int(span.high or min(max(4 * present, 8), max(MOST_MOTORS, present)))
    _grown(low, high, "motors")
    return Proposal(np.arange(low, high + 1), _every)


def voltages(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    """Supply voltages, of which multiples of half a volt are offered first. [V]"""
    for place, phase in enumerate(inputs.phase, start=1):
        if phase.action == "raise" and phase.voltage is not None:
            raise DomainError(
                f"phase.{place}.voltage", f"{phase.voltage:g} V", "no voltage of its own"
            )
    nominal, own = nominal_voltage(machine), inputs.supply.voltage
    low = span.low or VOLTAGE_RANGE[0] * nominal
    low, high = _grown(low, span.high or VOLTAGE_RANGE[1] * max(nominal, own), "V")
    halves = np.round(_steps(low, high, VOLTAGE_STEP), PLACES)
    spread = _spread(low, high, CANDIDATES["voltage"])
    return Proposal(
        _values(spread, halves, _within(low, high, own)),
        lambda values: (np.isin(values, halves), *_every(values)),
    )


def nominal_voltage(machine: Machine) -> float:
    """Lowest voltage at which the data of running motors hold. [V]"""
    return min(group.fit.voltage for group in machine.groups)


def masses(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    """Loads up to somewhat above the one that stalls the motors. [kg]"""
    own, light = inputs.load.mass, lift_all(inputs, {"load.mass": [inputs.load.mass * 1e-3]})
    stalls = float(light.last_pull[0]) * machine.line.falls / (pull_needed(machine.body, 0.0) / own)
    high = span.high or 1.3 * max(stalls, 1e-6)
    low = span.low or rounded(LIGHTEST * high, 3)
    low, high = _grown(low, span.high or rounded(high, 3, up=True), "kg")
    return Proposal(
        _values(_spread(low, high, CANDIDATES["heaviest"]), _within(low, high, own)), _every
    )


def gears(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    """Trains of the gears at hand, or builds with one change of the gears, by their ratio. [-]"""
    if (found := _at_hand(inputs, machine, span, "gears")) is not None:
        return found
    low, high = span.low or 0.0, span.high or math.inf
    changes = [c for c in gear_changes(inputs, machine) if low <= c.value <= high]
    if not changes:
        raise DomainError(
            "--range",
            f"{low:g} to {high:g}",
            "a range with a ratio that one change of the gears gives",
        )
    return _of_builds(changes)
