"""What a sizing study or a sweep found, in words."""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np

from winchsim.assessment.candidates import RANKS, CheckColumn
from winchsim.assessment.kinds import CheckKey, End, Side, Status
from winchsim.frozen import replace
from winchsim.report.document import Cell, Text, Value, joined, say
from winchsim.report.words.checks import CHECKS
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, TIMES, suited
from winchsim.studies.gear_changes import GearChange
from winchsim.studies.sizing import WHILE_LIFTED, Run, Study
from winchsim.studies.sweep import CHECK_UNITS, Sweep

TAKE = {
    "drum": "Take a drum of {}.",
    "gears": "Change the gears: {}.",
    "motors": "Use {}.",
    "voltage": "Supply {}.",
    "heaviest": "Heaviest load{}: {}.",
}
"""A recommendation, by question."""

KEEP = {
    "drum": "Keep the drum of {}.",
    "gears": "Leave the gears as they are.",
    "motors": "Keep {}.",
    "voltage": "Keep {}.",
    "heaviest": "Heaviest load{}: {}, as it is.",
}
"""The same where it is the scenario's own."""

NOUNS = {
    "drum": "drum",
    "gears": "change of the gears",
    "motors": "number of motors",
    "voltage": "voltage",
    "heaviest": "load",
}
"""What a question is about."""

ENDS = {
    End.STALLED: "stalls",
    End.STALLED_AT_LAYER_END: "stalls at a layer end",
    End.BATTERY_EMPTY: "battery empty",
    End.DRUM_OVERFLOW: "over the flange",
    End.TOP_STOP: "blocked",
    End.LATE: "too late",
    End.PART_BROKE: "a part breaks",
    End.BACK_DRIVEN: "back-drives",
    None: "cannot be built",
}
"""What stands in place of a lift time."""


def candidate(study: Study, index: int) -> Text:
    """One candidate of a study."""
    return (
        change(study.changes[index])
        if study.changes
        else of_question(study, float(study.values[index]))
    )


def of_question(study: Study, number: float) -> Text:
    """A value of what a study varies."""
    if study.question.name == "motors":
        return say(f"{number:g} motor{'' if number == 1 else 's'}")
    unit = study.question.unit
    return (Value(number, suited(unit, number) if unit == "kg" else unit),)


def change(found: GearChange) -> Text:
    """One change of the gears."""
    pair = "" if found.gear is None else f", {found.pinion}:{found.gear},"
    texts = {
        "none": "as they are",
        "teeth": (
            f"{found.pinion}:{found.gear} instead of "
            f"{found.pinion}:{found.before} in stage {found.stage}"
        ),
        "more": f"one more pair{pair} behind stage {found.stage}",
        "fewer": f"one pair fewer in stage {found.stage}",
    }
    return say(f"{texts[found.kind]} ({found.ratio:.4g}:1)")


def recommendation(study: Study) -> Text:
    """The answer to a sizing question."""
    run, name = study.confirmation, study.question.name
    if run is None or run.found is None:
        return _none(study)
    kept = study.recommended == study.present
    template, parts = (KEEP if kept else TAKE)[name], [candidate(study, run.index)]
    if name == "heaviest":
        parts.insert(
            0, say(" within every limit" if study.meets[run.index] else " without a failing check")
        )
    taken = say(template, *parts) if "{}" in template else say(template)
    return joined([taken, _fails_from(study) if name == "heaviest" else (), outcome(run.found)])


def _fails_from(study: Study) -> Text:
    """The lightest load above the recommended one at which a check fails."""
    beyond = np.flatnonzero(~study.sound[study.recommended :])
    if not len(beyond) or study.recommended is None:
        return ()
    index = study.recommended + int(beyond[0])
    key = study.sweep.binding(index, study.always)
    return say(
        f"From {{}} a check fails{'' if key is None else ': ' + CHECKS[key]}.",
        candidate(study, index),
    )


def _none(study: Study) -> Text:
    noun, (first, *_, last) = NOUNS[study.question.name], range(len(study.values))
    run = next((run for run in study.runs if run.index == study.nearest), None)
    span = (
        f"None of {len(study.values)} single changes of the gears"
        if study.changes
        else f"No {noun} from {{}} to {{}}"
    )
    ends = (
        ()
        if study.changes
        else (
            of_question(study, float(study.values[first])),
            of_question(study, float(study.values[last])),
        )
    )
    text = joined(
        [say(f"{span} meets the limits. Nearest: {{}}.", *ends, candidate(study, study.nearest))]
    )
    if run is None or run.found is None:
        return joined(
            [text, say(study.sweep.problems.get(study.nearest, "") if run is None else run.problem)]
        )
    return joined([text, outcome(run.found), _missed(run)])


def _missed(run: Run) -> Text:
    """Which checks fail, where the outcome does not say it."""
    failing = [] if run.found is None or not run.found.target.reached else [
        CHECKS[check.key] for check in run.found.checks
        if check.status is Status.FAILS and check.key is not CheckKey.TARGET
    ]  # fmt: skip
    return say(f"Fails: {', '.join(failing)}.") if failing else ()


def bands(study: Study) -> list[Text]:
    """Which candidates meet every limit and what bounds them, which fail none, and what is thin for
    all of them."""
    noun, sound = NOUNS[study.question.name], study.sound.any()
    if study.recommended is None:
        where = spans(study, study.sound)
        return (
            [say("By the quasi-static model no check fails: {}; full simulations differ.", where)]
            if sound
            else []
        )
    texts = [say(f"No {noun} meets every limit that this can change.")]
    if study.meets.any():
        texts = [
            say(
                "Meets every limit that this can change: {}{}.",
                spans(study, study.meets),
                _bounds(study),
            )
        ]
    if (study.sound != study.meets).any():
        texts.append(say("No check fails: {}.", spans(study, study.sound)))
    always = [CHECKS[key] for key in study.always if key is not CheckKey.TARGET]
    return [*texts, say(f"Thin for every {noun}: {'; '.join(always)}.")] if always else texts


def _bounds(study: Study) -> str:
    texts = [
        f"{side} by {'' if key is None else CHECKS[key]}" for side, key in study.bounds.items()
    ]
    return f" (bound {'; '.join(texts)})" if texts else ""


def spans(study: Study, good: np.ndarray, most: int = 2) -> Text:
    """The bands of candidates that are good: ``5 mm to 30 mm, from 40 mm``; ends of the tried range
    are left out."""
    found, last = study.bands(good), len(study.values) - 1
    if study.changes:
        return say(f"{int(good.sum())} of {last + 1}")
    texts = []
    for a, b in found[:most]:
        low, high = (of_question(study, float(study.values[i])) for i in (a, b))
        if study.question.name == "motors" and a != 0 and b != last:
            low = say(f"{study.values[a]:g}")
        if a == 0 and b == last:
            texts.append(say("all"))
        elif a == b:
            texts.append(low)
        elif a == 0 or b == last:
            texts.append(say("up to {}" if a == 0 else "from {}", high if a == 0 else low))
        else:
            texts.append(say("{} to {}", low, high))
    if len(found) > most:
        texts.append(say("and others"))
    return joined(texts, ", ") or ("none",)


def present(study: Study) -> Text:
    """How the scenario stands as it is."""
    index = study.present
    if index is None or index == study.recommended:
        return ()
    key = study.sweep.cause(index, study.always)
    now = say(
        "As the gears are" if study.changes else "At present, {}",
        *(() if study.changes else (candidate(study, index),)),
    )
    cause = "" if key is None else f" ({CHECKS[key]})"
    return joined([now, say(f": {study.sweep.status(index).value}{cause}.")], "")


# --- checks of many candidates


def limit(column: CheckColumn, index: int) -> Text:
    """The value from which on a check of one candidate is ok."""
    known = column.hard if column.required is None else column.required
    number = None if known is None else float(np.broadcast_to(known, column.value.shape)[index])
    if number is None or not math.isfinite(number) or column.key is CheckKey.TARGET:
        return ()
    sign = "≥ " if column.side is Side.LEAST else "≤ "
    return (sign, _printed(column.key, number))


def number(found: Sweep, column: CheckColumn, index: int) -> Cell:
    """Value of a check of one build; blank where it needs a lift that reaches its target."""
    if column.key is CheckKey.TARGET:
        return "reached" if found.ends[index] is End.REACHED else "missed"
    value = float(column.value[index])
    unread = column.key in WHILE_LIFTED and found.ends[index] is not End.REACHED
    endless = "locked" if found.inputs.pawl is None else "pawl"
    return (
        "" if unread or math.isnan(value) else replace(_printed(column.key, value), endless=endless)
    )


def _printed(key: CheckKey, value: float) -> Value:
    unit = "s" if key is CheckKey.LIFT_TIME else CHECK_UNITS.get(key, "")
    return Value(value, unit, sign="" if unit else TIMES)


def status(column: CheckColumn, index: int) -> Cell:
    """Status of a check of one candidate."""
    return MARKS[list(Status)[column.rank[index]]]


def time_or_end(found: Sweep, index: int) -> Cell:
    """Lift time of a build, or how it ended."""
    if found.ends[index] is not End.REACHED:
        return ENDS.get(found.ends[index], str(found.ends[index]))
    return Value(float(found.results["lift_time"][index]), "s")


def bound_by(found: Sweep, index: int, leave_out: Collection[CheckKey] = ()) -> str:
    """The check that binds a build; why it cannot be built."""
    key = found.cause(index, leave_out)
    return found.problems.get(index) or ("" if key is None else CHECKS[key])


def swept(found: Sweep) -> Text:
    """How many builds of a sweep have no failing check."""
    count = int(np.sum(found.ranks > RANKS[Status.FAILS]))
    okay = int(np.sum(found.ranks == RANKS[Status.OK]))
    return say(f"No check fails for {count} of {len(found)} builds; {okay} of them are ok in all.")
