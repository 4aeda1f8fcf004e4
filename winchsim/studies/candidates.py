"""Candidates of the sizing questions: which values are tried, and which may be recommended."""

import math
from collections.abc import Iterable, Iterator
from itertools import groupby

import numpy as np

from winchsim.constants import INCH
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Parts, Stage, value_at
from winchsim.model import build as build_machine
from winchsim.physics.load import pull_needed
from winchsim.quantity_text import rounded
from winchsim.slow import lift_all
from winchsim.studies.choose import Build, families, make, unrolled, with_stages

PLACES = 9
"""Decimal places of an SI value to which two candidates are the same."""

CANDIDATES = {"drum": 200, "voltage": 120, "heaviest": 240}
"""Values tried over the range of a question, besides those that can be recommended. [-]"""

COARSE = 80
"""Diameters tried to find where the motors stall, when no range is given. [-]"""

STOCK = tuple(
    size / 1000
    for size in (
        2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 22, 25, 28, 30, 32, 35, 40, 45, 50, 60, 70,
        80, 90, 100, 120, 140, 160, 180, 200, 250, 300, 350, 400, 450, 500,
    )
)  # fmt: skip
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


SIZES = 22
"""Tooth counts tried for one gear. [-]"""

SMALLEST, LARGEST = 0.5, 2.0
"""Range of the driven gear's teeth, as shares of the present number. [-]"""


@dataclass(frozen=True)
class CandidateRange:
    """Where candidates are looked for: both ends (None for the usual ones), the motor group, inch
    sizes."""

    low: float | None = None
    high: float | None = None
    group: int = 1
    inch: bool = False


@dataclass(frozen=True)
class Candidates:
    """Candidates of a question.

    Attributes
    ----------
    values : ndarray
        Ascending. SI
    offered : tuple of ndarray
        Values to recommend first: of the first of them that has one that does not fail; else every
        value may be.
    changes : tuple of Build
        Builds that differ by more than one value, one for each of the values.
    """

    values: np.ndarray
    offered: tuple[np.ndarray, ...] = ()
    changes: tuple[Build, ...] = ()


def _check_range(low: float, high: float, unit: str) -> None:
    refuse_if(
        not 0 < low < high, "--range", f"{low:g} to {high:g} {unit}".strip(), "a range that grows"
    )


def _over(
    low: float, high: float, unit: str, count: int, own: float, *offered: Iterable[float]
) -> Candidates:
    """Both ends of a range, between them numbers of three digits in equal ratios, the present
    value, and what is offered first."""
    _check_range(low, high, unit)
    spread = [low, *(float(f"{size:.3g}") for size in np.geomspace(low, high, count)[1:-1]), high]
    first = tuple(np.round(list(sizes), PLACES) for sizes in offered)
    present = [own] if low <= own <= high else []
    return Candidates(np.unique(np.round(np.concatenate([spread, *first, present]), PLACES)), first)


def _steps(low: float, high: float, step: float) -> np.ndarray:
    """Multiples of a step in a range, its ends included."""
    return np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1) * step


def _size(inputs: Inputs, kind: str) -> float:
    """Ratio, number of motors or drum diameter of a build, after the kind of parts at hand."""
    if kind == "gears":
        return build_machine(inputs).groups[0].ratio
    return sum(g.count for g in inputs.motors) if kind == "motors" else inputs.drum.diameter


def at_hand(inputs: Inputs, span: CandidateRange, kind: str) -> Candidates | None:
    """Builds with other parts of one kind that are at hand, the present one among them; None where
    none are listed."""
    if not (listed := getattr(inputs.parts, kind, ())):
        return None
    made, _ = families(replace(inputs, parts=Parts(**{kind: listed})), MOST_TRAINS)
    own = Build("none" if kind == "gears" else "present", inputs, _size(inputs, kind))
    found: dict[float, Build] = {-1.0: own}
    for build in (make(inputs, *member) for family in made for member in family.members):
        size = _size(build.inputs, kind)
        if (span.low or 0.0) <= size <= (span.high or math.inf):
            key = round(size, PLACES) if kind == "gears" else len(found)
            found.setdefault(key, replace(build, value=size))
    return _of_builds(list(found.values()))


def _of_builds(builds: list[Build]) -> Candidates:
    builds.sort(key=lambda build: build.value)
    return Candidates(np.array([build.value for build in builds]), changes=tuple(builds))


def drums(inputs: Inputs, span: CandidateRange) -> Candidates:
    """Diameters, of which stock sizes are offered first, then turned ones. [m]"""
    own = inputs.drum.diameter
    low, high = span.low or inputs.rope.diameter, span.high
    if high is None:
        coarse = np.geomspace(low, LARGEST_DRUM, COARSE)
        stalls = coarse[~(lift_all(inputs, {"drum.diameter": coarse}).stall_margin_cold >= 1)]
        high = max(1.2 * float(stalls.min(initial=LARGEST_DRUM)), 4 * low, 1.2 * own)
        high = rounded(high, 3, up=True)
    high = min(high, LARGEST_DRUM)
    stock = [size for size in (*STOCK, *(STOCK_INCH if span.inch else ())) if low <= size <= high]
    turned = _steps(low, high, TURNED_STEP)[:MOST_TURNED]
    return _over(low, high, "m", CANDIDATES["drum"], own, stock, turned)


def counts(inputs: Inputs, span: CandidateRange) -> Candidates:
    """Numbers of motors in a group, its dead ones below the range. [-]"""
    present = int(value_at(inputs, f"motors.{span.group}.count"))
    low = max(int(span.low or 1), int(value_at(inputs, f"motors.{span.group}.dead")) + 1)
    high = int(span.high or min(max(4 * present, 8), max(MOST_MOTORS, present)))
    _check_range(low, high, "motors")
    return Candidates(np.arange(low, high + 1))


def voltages(inputs: Inputs, span: CandidateRange) -> Candidates:
    """Supply voltages, of which multiples of half a volt are offered first. [V]"""
    for place, phase in enumerate(inputs.phase, start=1):
        if phase.action == "raise" and phase.voltage is not None:
            raise DomainError(
                f"phase.{place}.voltage", f"{phase.voltage:g} V", "no voltage of its own"
            )
    nominal, own = nominal_voltage(inputs), inputs.supply.voltage
    low = span.low or VOLTAGE_RANGE[0] * nominal
    high = span.high or VOLTAGE_RANGE[1] * max(nominal, own)
    return _over(low, high, "V", CANDIDATES["voltage"], own, _steps(low, high, VOLTAGE_STEP))


def nominal_voltage(inputs: Inputs) -> float:
    """Lowest voltage at which the data of running motors hold. [V]"""
    return min(group.fit.voltage for group in build_machine(inputs).groups)


def masses(inputs: Inputs, span: CandidateRange) -> Candidates:
    """Loads up to somewhat above the one that stalls the motors. [kg]"""
    own, m = inputs.load.mass, build_machine(inputs)
    light = lift_all(inputs, {"load.mass": [own * 1e-3]})
    stalls = float(light.last_pull[0]) * m.line.falls / (pull_needed(m.body, 0.0) / own)
    high = span.high or 1.3 * max(stalls, 1e-6)
    low = span.low or rounded(LIGHTEST * high, 3)
    high = span.high or rounded(high, 3, up=True)
    return _over(low, high, "kg", CANDIDATES["heaviest"], own)


def gears(inputs: Inputs, span: CandidateRange) -> Candidates:
    """Builds with one change of the gears, by their ratio. [-]"""
    low, high = span.low or 0.0, span.high or math.inf
    changes = [c for c in gear_changes(inputs) if low <= c.value <= high]
    refuse_if(
        not changes,
        "--range",
        f"{low:g} to {high:g}",
        "a range with a ratio that one change of the gears gives",
    )
    return _of_builds(changes)


# --- single changes of a train


def gear_changes(inputs: Inputs) -> Iterator[Build]:
    """One pair with other teeth, one pair more, one pair fewer; the train as it is first.

    Parameters
    ----------
    inputs : Inputs
    """
    present = build_machine(inputs).groups[0].ratio
    yield Build("none", inputs, present)
    for at, stage in enumerate(inputs.stage, start=1):
        if stage.repeat > 1 or at > 1:
            ratio = present / stage.speed_ratio()
            yield Build("fewer", _with(inputs, at), ratio, at, stage.pinion, None, stage.gear)
        for teeth in _teeth(stage):
            added = stage if teeth is None else replace(stage, gear=teeth)
            if teeth is not None and teeth != stage.gear:
                own = inputs.motors[0].pinion if at == stage.repeat == 1 else None
                changed, ratio = _with(inputs, at, added), present * teeth / (stage.gear or 1)
                yield Build("teeth", changed, ratio, at, own or stage.pinion, teeth, stage.gear)
            longer, ratio = _with(inputs, at, stage, added), present * added.speed_ratio()
            yield Build("more", longer, ratio, at, stage.pinion, teeth)


def _teeth(stage: Stage) -> list[int | None]:
    """Teeth of the driven gear that are tried, evenly spread in ratio, the present number among
    them."""
    if stage.kind != "spur" or stage.gear is None or stage.pinion is None:
        return [None]
    low = max(stage.pinion, math.ceil(SMALLEST * stage.gear))
    high = max(math.floor(LARGEST * stage.gear), low + 1)
    return sorted({*map(round, np.geomspace(low, high, SIZES).tolist()), stage.gear})


def _with(inputs: Inputs, place: int, *last: Stage) -> Inputs:
    """Scenario whose last pair of a stage, from 1, is replaced by others, or by none."""
    pairs = unrolled(inputs)
    at = sum(stage.repeat for stage in inputs.stage[:place])
    pairs[at - 1 : at] = [(replace(pair, repeat=1), place) for pair in last]
    merged = [(*pair, len(list(equal))) for pair, equal in groupby(pairs)]
    return with_stages(inputs, [(replace(pair, repeat=n), origin) for pair, origin, n in merged])
