"""Which supply voltage suits a load: the voltages that work, what bounds them, and one to take."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winchsim.errors import DomainError
from winchsim.inputs import Inputs
from winchsim.model import Machine, build
from winchsim.quantity_text import number, quantity
from winchsim.slow import Variants, lift_all, vary
from winchsim.verdict.candidates import Judged, Limit, Wanted, judge_all, without_snag
from winchsim.verdict.choice import Choice, choose, sharpened
from winchsim.verdict.crosscheck import Progress, not_without, silent
from winchsim.verdict.finding import FindingKind
from winchsim.verdict.words import duration

PATH = "supply.voltage"

CANDIDATES = 120
"""Voltages tried over the range, besides whole and half volts. [-]"""

STEP = 0.5
"""Voltages that are recommended are whole or half volts where any works. [V]"""

OVER_NOMINAL = 1.1
"""Share of the voltage at which the motors' data hold that is no caution yet. [-] Common practice, no published source."""

RANGE = (0.25, 1.5)
"""Range tried where none is given, as shares of that voltage. [-]"""


@dataclass(frozen=True)
class VoltageStudy:
    """Result of a study of the supply's voltage.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the scenario as it stands.
    wanted : Wanted
    nominal : float
        Lowest voltage at which the data of running motors hold. [V]
    choice : Choice
        Its values are the voltages. [V]
    sentence : str
        The answer.
    reason : str
        Why this voltage; empty where there is none.
    """

    inputs: Inputs
    machine: Machine
    wanted: Wanted
    nominal: float
    choice: Choice
    sentence: str
    reason: str


def study_voltage(
    inputs: Inputs,
    wanted: Wanted | None = None,
    *,
    low: float | None = None,
    high: float | None = None,
    on_progress: Progress = silent,
) -> VoltageStudy:
    """Which supply voltages lift a scenario's load.

    Parameters
    ----------
    inputs : Inputs
    wanted : Wanted, optional
        What is asked of the lift.
    low, high : float, optional
        Range of voltages; left out, a quarter to one and a half times the motors' own. [V]
    on_progress : callable
        Called with the full runs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, the range is empty, or a phase sets a voltage of its own.
    """
    wanted = wanted or Wanted()
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    for place, phase in enumerate(inputs.phase, start=1):
        if phase.action == "raise" and phase.voltage is not None:
            raise DomainError(
                f"phase.{place}.voltage", quantity(phase.voltage, "V"), "no voltage of its own, so that the supply's counts"
            )
    nominal = min(group.fit.voltage for group in machine.groups)
    low = RANGE[0] * nominal if low is None else low
    high = RANGE[1] * max(nominal, inputs.supply.voltage) if high is None else high
    if not 0 < low < high:
        raise DomainError("--range", f"{quantity(low, 'V')} to {quantity(high, 'V')}", "a range that grows")
    round_ones = np.arange(math.ceil(low / STEP), math.floor(high / STEP) + 1) * STEP
    own = [inputs.supply.voltage] if low <= inputs.supply.voltage <= high else []
    volts = np.unique(np.concatenate([np.geomspace(low, high, CANDIDATES), round_ones, own]))
    volts, judged, variants = sharpened(volts, lambda values: _judged(inputs, machine, wanted, nominal, values))
    groups = (np.isin(volts, round_ones), np.ones(len(volts), dtype=bool))
    choice = choose(
        variants,
        judged,
        volts,
        lambda i: quantity(float(volts[i]), "V"),
        groups,
        on_progress,
        rank=np.abs(np.log(volts / nominal)),
        notes=notes,
    )
    return VoltageStudy(inputs, machine, wanted, nominal, choice, _sentence(choice), _reason(choice, nominal))


def _judged(inputs: Inputs, machine: Machine, wanted: Wanted, nominal: float, volts: np.ndarray) -> tuple[Judged, Variants]:
    variants = vary(inputs, {PATH: volts})
    over = Limit(
        "motors' own voltage", "over voltage", False, OVER_NOMINAL * nominal / volts,
        lambda i: f"it is {number(volts[i] / nominal, 3)} times the {quantity(nominal, 'V')} at which the motors' data hold",
        FindingKind.ABOVE_NOMINAL_VOLTAGE,
    )  # fmt: skip
    return judge_all(lift_all(variants), machine, wanted, (over,)), variants


def _reason(choice: Choice, nominal: float) -> str:
    index, judged = choice.recommended, choice.judged
    if index is None:
        return ""
    kept = "keeps every limit" if judged.keeps_every_limit[index] else "works"
    limit = judged.limits[judged.nearest_limit[index]]
    return (
        f"Of whole and half volts it {kept} and is nearest to the {quantity(nominal, 'V')} at which the motors' data hold. "
        f"Its nearest limit is the {limit.name}: {limit.words(index)}."
    )


def _sentence(choice: Choice) -> str:
    volts, judged = choice.values, choice.judged
    if choice.band is None or choice.recommended is None:
        nearest = int(np.argmax(judged.room))
        return (
            f"No voltage from {quantity(volts[0], 'V')} to {quantity(volts[-1], 'V')} works: at "
            f"{quantity(volts[nearest], 'V')}, which comes nearest, {judged.reason(nearest)}."
        )
    low, high = (quantity(edge.told, "V", edge.digits) for edge in (choice.band.low, choice.band.high))
    text = f"From {low} to {high} it works"
    own, take = choice.confirmation, quantity(float(volts[choice.recommended]), "V")
    assert own is not None
    if not own.sound:
        return f"{text} by the quasi-static model, but the full run at {take} says otherwise: {own.sentence}"
    return f"{text}; take {take}: up in {duration(own.full_time or math.nan)}{not_without(own.dangers)}"
