"""Which change of the gears suits a load: one pair with other teeth, one pair more or one fewer, with real tooth counts."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from winchsim.errors import DomainError
from winchsim.inputs import Inputs, Stage
from winchsim.model import Machine, build
from winchsim.quantity_text import number
from winchsim.slow import lift_all, vary_freely
from winchsim.verdict.candidates import Judged, Wanted, judge_all, without_snag
from winchsim.verdict.choice import Choice, choose, why
from winchsim.verdict.crosscheck import Progress, not_without, silent
from winchsim.verdict.words import duration

SIZES = 22
"""Tooth counts tried for one gear. [-]"""

SMALLEST, LARGEST = 0.5, 2.0
"""Range of the driven gear's teeth, as shares of the present number. [-]"""


CLEARLY = 0.1
"""Share by which a change must leave more room than the gears as they are. [-] Own choice."""


@dataclass(frozen=True)
class Option:
    """One change of the gears.

    Attributes
    ----------
    words : str
        For people.
    kind : str
        ``as it is``, ``other teeth``, ``one more`` or ``one fewer``.
    inputs : Inputs
    ratio : float
        From the first group's motors to the drum. [-]
    """

    words: str
    kind: str
    inputs: Inputs
    ratio: float


@dataclass(frozen=True)
class GearStudy:
    """Result of a study of the gears.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the scenario as it stands.
    wanted : Wanted
    options : tuple of Option
        By ratio.
    choice : Choice
        Its values are the ratios. [-]
    sentence : str
        The answer.
    reason : str
        Why this change; empty where there is none.
    """

    inputs: Inputs
    machine: Machine
    wanted: Wanted
    options: tuple[Option, ...]
    choice: Choice
    sentence: str
    reason: str


def study_gears(
    inputs: Inputs,
    wanted: Wanted | None = None,
    *,
    low: float | None = None,
    high: float | None = None,
    on_progress: Progress = silent,
) -> GearStudy:
    """Which single change of the gears lifts a scenario's load best.

    Parameters
    ----------
    inputs : Inputs
    wanted : Wanted, optional
        What is asked of the lift.
    low, high : float, optional
        Range of the whole ratio. [-]
    on_progress : callable
        Called with the full runs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or no option lies in the range.
    """
    wanted = wanted or Wanted()
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    low, high = low or 0.0, high or math.inf
    options = sorted((o for o in _options(inputs, machine) if low <= o.ratio <= high), key=lambda option: option.ratio)
    if not options:
        raise DomainError(
            "--range", f"{number(low)} to {number(high)}", "a range with a ratio that one change of the gears gives"
        )
    ratios = np.array([option.ratio for option in options])
    variants = vary_freely([option.inputs for option in options])
    judged = judge_all(lift_all(variants), machine, wanted)
    present = np.array([option.kind == "as it is" for option in options])
    groups = (present,) if _best_already(judged, present) else (np.ones(len(options), dtype=bool),)
    order = np.argsort(-judged.room).tolist()
    also = [i for i in (*np.flatnonzero(present).tolist(), *order[:2]) if judged.works[i]]
    choice = choose(variants, judged, ratios, lambda i: options[i].words, groups, on_progress, also=also, notes=notes)
    kept = choice.recommended is not None and bool(present[choice.recommended])
    reason = _why_kept(choice) if kept else why(choice, "single changes")
    return GearStudy(inputs, machine, wanted, tuple(options), choice, _sentence(options, choice), reason)


def _best_already(judged: Judged, present: np.ndarray) -> bool:
    """Whether the gears as they are work, and no change leaves clearly more room to the nearest limit."""
    own = int(np.argmax(present))
    if not present.any() or not judged.works[own]:
        return False
    most = float(np.max(judged.room[judged.works]))
    return bool(judged.keeps_every_limit[own]) or judged.room[own] >= most * (1 - CLEARLY)


def _why_kept(choice: Choice) -> str:
    own = choice.recommended
    assert own is not None
    if choice.judged.keeps_every_limit[own]:
        return "They keep every limit already."
    return f"No change leaves clearly more room to the nearest limit: {choice.judged.reason(own)}."


def _options(inputs: Inputs, machine: Machine) -> Iterator[Option]:
    present = machine.groups[0].ratio
    yield Option("as it is", "as it is", inputs, present)
    for place, stage in enumerate(inputs.stage):
        yield from _fewer(inputs, place, stage, present)
        if stage.kind != "spur":
            yield _more(inputs, place, stage, present, stage)
            continue
        assert stage.gear is not None and stage.pinion is not None
        for teeth in _teeth(stage):
            changed = replace(stage, gear=teeth)
            own_pinion = inputs.motors[0].pinion if place == 0 else None
            if teeth != stage.gear:
                pinion = own_pinion if own_pinion is not None and stage.repeat == 1 else stage.pinion
                which = f"stage {place + 1}" if stage.repeat == 1 else f"the last pair of stage {place + 1}"
                words = f"{pinion}:{teeth} instead of {pinion}:{stage.gear} in {which}"
                ratio = present * teeth / stage.gear
                yield Option(words, "other teeth", _with_last(inputs, place, stage, changed), ratio)
            yield _more(inputs, place, stage, present, changed)


def _teeth(stage: Stage) -> list[int]:
    """Teeth of the driven gear that are tried: real numbers, evenly spread in ratio, the present one among them."""
    assert stage.gear is not None and stage.pinion is not None
    low, high = max(stage.pinion, math.ceil(SMALLEST * stage.gear)), math.floor(LARGEST * stage.gear)
    spread = np.unique(np.round(np.geomspace(low, max(high, low + 1), SIZES)).astype(int))
    return sorted({*spread.tolist(), stage.gear})


def _with_last(inputs: Inputs, place: int, stage: Stage, changed: Stage) -> Inputs:
    """Scenario whose last pair of a stage is another one."""
    kept = (replace(stage, repeat=stage.repeat - 1),) if stage.repeat > 1 else ()
    return replace(inputs, stage=(*inputs.stage[:place], *kept, replace(changed, repeat=1), *inputs.stage[place + 1 :]))


def _more(inputs: Inputs, place: int, stage: Stage, present: float, added: Stage) -> Option:
    """Scenario with one more pair behind a stage."""
    one = replace(added, repeat=1)
    if added is stage or added == stage:
        stages = (*inputs.stage[:place], replace(stage, repeat=stage.repeat + 1), *inputs.stage[place + 1 :])
    else:
        stages = (*inputs.stage[: place + 1], one, *inputs.stage[place + 1 :])
    size = f"{added.pinion}:{added.gear}" if added.kind == "spur" else f"{added.speed_ratio():g}:1"
    ratio = present * added.speed_ratio()
    return Option(f"one more pair, {size}, behind stage {place + 1}", "one more", replace(inputs, stage=stages), ratio)


def _fewer(inputs: Inputs, place: int, stage: Stage, present: float) -> Iterator[Option]:
    """Scenario without the last pair of a stage, where another pair is left."""
    if stage.repeat == 1 and (len(inputs.stage) == 1 or place == 0):
        return
    kept = (replace(stage, repeat=stage.repeat - 1),) if stage.repeat > 1 else ()
    stages = (*inputs.stage[:place], *kept, *inputs.stage[place + 1 :])
    ratio = present / stage.speed_ratio()
    yield Option(f"one pair of stage {place + 1} fewer", "one fewer", replace(inputs, stage=stages), ratio)


def _sentence(options: list[Option], choice: Choice) -> str:
    judged, count = choice.judged, int(choice.judged.works.sum())
    if choice.recommended is None:
        nearest = int(np.argmax(judged.room))
        return (
            f"None of {len(options)} single changes of the gears works: {options[nearest].words}, which comes nearest: "
            f"{judged.reason(nearest)}."
        )
    take, own = options[choice.recommended], choice.confirmation
    assert own is not None
    text = f"{count} of {len(options)} single changes of the gears work"
    advice = "leave them as they are" if take.kind == "as it is" else f"take {take.words}"
    if not own.sound:
        return f"{text}, but the full run of the best ({take.words}) says otherwise: {own.sentence}"
    return f"{text}; {advice} ({take.ratio:.4g}:1): up in {duration(own.full_time or math.nan)}{not_without(own.dangers)}"


def rows_to_show(study: GearStudy, most: int = 12) -> list[int]:
    """Options worth a row in print: those with the most room, the best of each kind, and the gears as they are."""
    judged = study.choice.judged
    order = np.lexsort((-judged.room, ~judged.keeps_every_limit, ~judged.works)).tolist()
    keep = set(order[:most]) | {run.index for run in study.choice.runs}
    for kind in ("as it is", "other teeth", "one more", "one fewer"):
        found = [i for i in order if study.options[i].kind == kind]
        keep.update(found[:2])
    return sorted(keep)
