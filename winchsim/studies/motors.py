"""How many motors a group needs for a load: the counts that work, and the fewest of them that keep every limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winchsim.errors import DomainError
from winchsim.inputs import Inputs, value_at
from winchsim.model import Machine, build
from winchsim.slow import Hold, lift_all, vary
from winchsim.verdict.candidates import Wanted, judge_all, without_snag
from winchsim.verdict.choice import Choice, choose
from winchsim.verdict.crosscheck import Progress, not_without, silent
from winchsim.verdict.words import counted, duration

MOST = 40
"""Counts tried where no range is given: up to four times the scenario's, at least 8, at most these. [-]"""


@dataclass(frozen=True)
class MotorStudy:
    """Result of a study of the number of motors.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the scenario as it stands.
    wanted : Wanted
    group : int
        Which group is varied, from 1.
    choice : Choice
        Its values are the counts.
    sentence : str
        The answer.
    reason : str
        Why this count; empty where there is none.
    """

    inputs: Inputs
    machine: Machine
    wanted: Wanted
    group: int
    choice: Choice
    sentence: str
    reason: str


def study_motors(
    inputs: Inputs,
    wanted: Wanted | None = None,
    *,
    group: int = 1,
    low: int = 1,
    high: int | None = None,
    on_progress: Progress = silent,
) -> MotorStudy:
    """How many motors of a group lift a scenario's load.

    Parameters
    ----------
    inputs : Inputs
    wanted : Wanted, optional
        What is asked of the lift.
    group : int
        Which group, from 1.
    low, high : int, optional
        Range of counts.
    on_progress : callable
        Called with the full runs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or the range is empty.
    """
    wanted = wanted or Wanted()
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    path = f"motors.{group}.count"
    present = int(value_at(inputs, path))
    low = max(low, int(value_at(inputs, f"motors.{group}.dead")) + 1)
    high = min(max(4 * present, 8), max(MOST, present)) if high is None else high
    if not low < high:
        raise DomainError("--range", f"{low} to {high}", "a range that grows")
    counts = np.arange(low, high + 1)
    variants = vary(inputs, {path: counts})
    judged = judge_all(lift_all(variants), machine, wanted)
    every = np.ones(len(counts), dtype=bool)
    choice = choose(
        variants, judged, counts, lambda i: counted(int(counts[i]), "motor"), (every,), on_progress, rank=counts, notes=notes
    )
    where = f" in group {group}" if len(inputs.motors) > 1 else ""
    return MotorStudy(inputs, machine, wanted, group, choice, _sentence(choice, where), _reason(choice))


def _sentence(choice: Choice, where: str) -> str:
    counts, judged = choice.values, choice.judged
    if choice.band is None or choice.recommended is None:
        nearest = int(np.argmax(judged.room))
        return (
            f"No number of motors{where} from {counts[0]} to {counts[-1]} works: with {counts[nearest]}, which comes nearest, "
            f"{judged.reason(nearest)}."
        )
    low, high = choice.band.low.value, choice.band.high.value
    text = f"From {low:g} to {high:g} motors{where} work" if low < high else f"Only {low:g} motors{where} work"
    own, take = choice.confirmation, counted(int(counts[choice.recommended]), "motor")
    assert own is not None
    if not own.sound:
        return f"{text} by the quasi-static model, but the full run with {take} says otherwise: {own.sentence}"
    return f"{text}; take {take}: up in {duration(own.full_time or math.nan)}{not_without(own.dangers)}"


def _reason(choice: Choice) -> str:
    index, judged = choice.recommended, choice.judged
    if index is None:
        return ""
    stays = judged.lifts.holding != Hold.RUNS_BACK
    what = "work, though not every limit is kept"
    if judged.keeps_every_limit[index]:
        what = "keep every limit"
    elif index > 0 and judged.works[index - 1] and stays[index] and not stays[index - 1]:
        return "It is the smallest number of them to hold the load with the power off, though not every limit is kept."
    fewer = "" if index == 0 else f"; with one fewer, {judged.reason(index - 1)}"
    return f"It is the smallest number of them to {what}{fewer}."
