"""What a sizing study, a sweep or a choice found, in words; builds from parts at hand."""

import math
from collections.abc import Collection
from itertools import groupby

import numpy as np

from winchsim.assessment.candidates import CheckColumn
from winchsim.assessment.kinds import CheckKey, Side, Status
from winchsim.frozen import replace
from winchsim.quantity_text import in_unit
from winchsim.report.document import Cell, Text, Value, joined, say
from winchsim.report.words.outcome import ended, outcome
from winchsim.report.words.values import AT_LEAST, AT_MOST, CHECKS, TIMES, suited
from winchsim.studies.choose import Build, Pair
from winchsim.studies.sizing import Study
from winchsim.studies.sweep import CHECK_UNITS, Sweep

_WORDS = {
    "drum": ("drum", "Take a drum of {}.", "Keep the drum of {}."),
    "gears": ("change of the gears", "Change the gears: {}.", ""),
    "motors": ("number of motors", "Use {}.", "Keep {}."),
    "voltage": ("voltage", "Supply {}.", "Keep {}."),
    "heaviest": ("load", "Heaviest load{within}: {}.", "Heaviest load{within}: {}, as it is."),
}
"""By question: what it is about, a recommendation, and one to keep what the scenario has."""


def candidate(study: Study, index: int) -> Text:
    """One candidate of a study."""
    if study.changes:
        return change(study.changes[index])
    number = float(study.values[index])
    if study.question.name == "motors":
        return say(f"{number:g} motor{'' if number == 1 else 's'}")
    return (varied(number, study.question.unit),)


def varied(number: float, unit: str) -> Value:
    """A value of a key that is varied, in the key's unit; a small mass in grams."""
    return Value(number, suited(unit, number) if unit == "kg" else unit)


def change(found: Build) -> Text:
    """One change of the gears, or other parts."""
    ratio = f" ({found.value:.4g}:1)"
    if found.kind == "parts":
        return joined([parts(found), say(ratio if found.train else "")], "")
    pair = "" if found.gear is None else f", {found.pinion}:{found.gear},"
    texts = {
        "present": "as at present",
        "none": "as they are",
        "teeth": (
            f"{found.pinion}:{found.gear} instead of "
            f"{found.pinion}:{found.before} in stage {found.stage}"
        ),
        "more": f"one more pair{pair} behind stage {found.stage}",
        "fewer": f"one pair fewer in stage {found.stage}",
    }
    return say(texts[found.kind] + (ratio if found.kind != "present" else ""))


def recommendation(study: Study) -> Text:
    """The answer to a sizing question."""
    run, name = study.confirmation, study.question.name
    if run is None or run.found is None:
        return _none(study)
    is_kept = study.recommended == study.present
    within = " within every limit" if study.sweep.meets[run.index] else " without a failing check"
    taken = say("Keep the build as it is.")
    if not (is_kept and study.changes):
        named = "Take {}." if study.changes and name == "drum" else _WORDS[name][1 + is_kept]
        taken = say(named, candidate(study, run.index), within=within)
    return joined([taken, _fails_from(study) if name == "heaviest" else (), outcome(run.found)])


def _fails_from(study: Study) -> Text:
    """The lightest load above the recommended one at which a check fails."""
    beyond = np.flatnonzero(~study.sweep.sound[study.recommended :])
    if not len(beyond) or study.recommended is None:
        return ()
    index = study.recommended + int(beyond[0])
    key = study.sweep.binding(index)
    name = "" if key is None else f": {CHECKS[key]}"
    return say(f"From {{}} a check fails{name}.", candidate(study, index))


def _none(study: Study) -> Text:
    noun, run = _WORDS[study.question.name][0], study.run_of(study.nearest)
    none = say(f"No {noun} from {{}} meets the limits.", _between(study, 0, -1))
    if study.changes:
        none = say(f"None of {len(study.values)} builds meets the limits.")
    end: Text = (study.sweep.problems.get(study.nearest, ""),)
    if run is not None:
        end = (run.problem,) if run.found is None else outcome(run.found)
    return joined([none, say("Nearest: {}.", candidate(study, study.nearest)), end])


def bands(study: Study) -> list[Text]:
    """Which candidates meet every limit and what bounds them, which fail none, and what is thin for
    all of them."""
    noun = _WORDS[study.question.name][0]
    where = spans(study, study.sweep.sound)
    if study.recommended is None:
        unsure = say(
            "By the quasi-static model no check fails: {}; full simulations differ.", where
        )
        return [unsure] if study.sweep.sound.any() else []
    bounds = "; ".join(f"{side} by {CHECKS[key]}" for side, key in study.bounds.items() if key)
    bound = f" (bound {bounds})" if bounds else ""
    met = say(
        f"All limits that the {noun} affects are met: {{}}{bound}.",
        spans(study, study.sweep.meets),
    )
    texts = [
        met if study.sweep.meets.any() else say(f"No {noun} meets all limits that it affects.")
    ]
    if (study.sweep.sound != study.sweep.meets).any():
        texts.append(say("No check fails: {}.", where))
    always = [CHECKS[key] for key in study.sweep.always if key is not CheckKey.TARGET]
    return [*texts, say(f"Thin for every {noun}: {'; '.join(always)}.")] if always else texts


def spans(study: Study, good: np.ndarray) -> Text:
    """The first two bands of candidates that are good: ``5 mm to 30 mm, from 40 mm``."""
    found = study.bands(good)
    if study.changes:
        return say(f"{int(good.sum())} of {len(study.values)}")
    texts = [_band(study, a, b) for a, b in found[:2]]
    return joined([*texts, *[say("and others")] * (len(found) > 2)], ", ") or ("none",)


def _band(study: Study, first: int, last: int) -> Text:
    """A band of candidates; ends of the tried range are left out."""
    match first, last == len(study.values) - 1:
        case 0, True:
            return say("all")
        case _ if first == last:
            return candidate(study, first)
        case _, True:
            return say("from {}", candidate(study, first))
        case 0, _:
            return say("up to {}", candidate(study, last))
    return _between(study, first, last)


def _between(study: Study, first: int, last: int) -> Text:
    """Two candidates as the ends of a range."""
    is_count = study.question.name == "motors"
    low = say(f"{study.values[first]:g}") if is_count else candidate(study, first)
    return say("{} to {}", low, candidate(study, last))


def present(study: Study) -> Text:
    """How the scenario stands as it is."""
    index = study.present
    if index is None or index == study.recommended:
        return ()
    key = study.sweep.cause(index, study.sweep.always)
    cause = "" if key is None else f" ({CHECKS[key]})"
    now = "As at present" if study.changes else "At present, {now}"
    return say(f"{now}: {study.sweep.status(index).value}{cause}.", now=candidate(study, index))


# --- checks of many candidates


def limit(column: CheckColumn, index: int) -> Text:
    """The value from which on a check of one candidate is ok."""
    known = np.asarray(column.hard if column.required is None else column.required, dtype=float)
    number = float(np.broadcast_to(known, column.value.shape)[index])
    if not math.isfinite(number) or column.key is CheckKey.TARGET:
        return ()
    return (AT_LEAST if column.side is Side.LEAST else AT_MOST, _printed(column.key, number))


def number(found: Sweep, column: CheckColumn, index: int) -> Cell:
    """Value of a check of one build, with the digits that its range leaves; blank where it needs a
    lift that reaches its target."""
    if column.key is CheckKey.TARGET:
        return "reached" if found.lifted[index] else "missed"
    value = float(column.value[index])
    if math.isnan(value) or not found.is_read(column.key)[index]:
        return ""
    endless = "locked" if found.inputs.pawl is None else "pawl"
    soft = column.hard is None or column.key is CheckKey.PARTS
    rows = column.low, column.high, column.required if soft else column.hard
    ends = (None if row is None else float(np.broadcast_to(row, len(found))[index]) for row in rows)
    low, high, limit = (None if end is None or math.isnan(end) else end for end in ends)
    shown = replace(_printed(column.key, value), low=low, high=high, limit=limit, endless=endless)
    return shown.alone


def _printed(key: CheckKey, value: float) -> Value:
    unit = "s" if key is CheckKey.LIFT_TIME else CHECK_UNITS.get(key, "")
    return Value(value, unit, sign="" if unit else TIMES)


def time_or_end(found: Sweep, index: int) -> Cell:
    """Lift time of a build, or how it ended."""
    time = Value(float(found.results["lift_time"][index]), "s")
    return time if found.lifted[index] else ended(found.ends[index])


def bound_by(found: Sweep, index: int, leave_out: Collection[CheckKey] = ()) -> str:
    """The check that binds a build; why it cannot be built."""
    key = found.cause(index, leave_out)
    return found.problems.get(index) or ("" if key is None else CHECKS[key])


def swept(found: Sweep) -> Text:
    """How many builds of a sweep have no failing check."""
    count, okay = int(found.sound.sum()), int(np.sum(found.ranks == Status.OK.rank))
    some = f"No check fails in {count} of {len(found)} builds; all checks are ok in {okay}."
    return say(some if count else "Every build fails a check.")


# --- builds from parts at hand


def train(found: Build) -> str:
    """Pairs from the motors on, such as ``2 × 12:40, 14:49``; empty where the train stays."""
    pairs = (f"{pinion.teeth}:{gear.teeth}" for pinion, gear in found.train)
    runs = [(pair, len(list(equal))) for pair, equal in groupby(pairs)]
    return ", ".join(pair if count == 1 else f"{count} × {pair}" for pair, count in runs)


def motors(found: Build) -> str:
    """Which motors, such as ``3 × red``; empty where they stay."""
    return " and ".join(
        f"{number} × " + (motor.name or f"motor of {in_unit(motor.voltage, 'V'):g} V")
        for motor, number in found.motors
    )


def parts(found: Build) -> Text:
    """What a build is made of, as far as it was chosen."""
    texts = [say(text) for text in (train(found), motors(found)) if text]
    if found.drum is not None:
        texts.append(say("drum {}", Value(found.drum.diameter, "mm")))
    if found.rope is not None:
        texts.append(say("{} rope {}", found.rope.material, Value(found.rope.diameter, "mm")))
    return joined(texts, ", ")


def centre_distance(pair: Pair) -> float:
    """Distance of the axes of a pair without profile shift. [m]"""
    pinion, gear = pair
    return pinion.module * (pinion.teeth + gear.teeth) / 2
