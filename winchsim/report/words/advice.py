"""What breaks in a jam, what to change, which assumed inputs matter, and the cautions."""

import math
from collections.abc import Sequence

from winchsim.assessment.kinds import (
    Action,
    ActionKind,
    Assessment,
    Caution,
    CheckKey,
    FindingKind,
    NoLimit,
    Status,
)
from winchsim.quantity_text import rounded
from winchsim.report.document import Items, Node, Paragraph, Text, Value, joined, say
from winchsim.report.words.values import CHECKS, cause, of_check, setting, value
from winchsim.studies.further_runs import SnagStudy

MOST_ACTIONS = 3
"""Actions on the first screen. [-]"""


def jam(found: Assessment) -> Text:
    """What breaks first if the load jams under full power, and the current limit that prevents it;
    empty for a programme that does not raise."""
    jam, check = found.jam, found.check(CheckKey.JAM)
    if jam is None or check is None:
        return say("no part has a known capacity.") if jam else ()
    if math.isinf(check.value or 0.0):
        return say("the motors load no part.")
    factor = Value(check.value, "", check.low, check.high, 1.0)
    if not jam.breaks:
        may = check.low is not None and check.low < 1
        template = (
            "the {part} may break, factor {}."
            if may
            else "no part breaks; lowest factor {}, {part}."
        )
        return say(template, factor, part=check.about)
    cause = "" if jam.breaks_static else " by the momentum of the rotors"
    text = say("the {} breaks first{}, factor {}.", check.about, cause, factor)
    return joined([text, _prevented(jam.limit, jam.no_limit)])


def _prevented(limit: float | None, no_limit: NoLimit | None, place: str = "") -> Text:
    """The current limit that prevents a break, or why there is none."""
    if limit is not None:  # rounded down: the printed limit prevents it too
        return say(
            "A current limit of {} prevents it{place}.", Value(rounded(limit, 2), "A"), place=place
        )
    return say(_NO_LIMIT[no_limit] if no_limit else "")


_NO_LIMIT = {
    NoLimit.NOT_NEEDED: "",
    NoLimit.RAISING_BREAKS: "No current limit prevents it: raising the load takes more.",
    NoLimit.NOT_RAISED: "No current limit helps: the motors do not raise the load.",
    NoLimit.ROTORS: "No current limit prevents it: the momentum of the rotors breaks it.",
}


def snag(found: SnagStudy) -> Text:
    """What a simulated snag breaks, and the current limit that prevents it."""
    built, height = found.as_built, value(found.height, "m")
    if not built.broke:
        factor = Value(built.factor, "", limit=1.0)
        text = "At a snag at {} the motors stall and no part breaks; lowest factor {}, {}."
        other = found.without_limit.broke
        more = say("Without the current limit the {} breaks.", other) if other else ()
        return joined([say(text, height, factor, built.weakest), more])
    limit = found.safe.current_limit if found.safe else None
    place = "At" if built.snagged else "Below"
    text = f"{place} a snag at {{}} the {built.broke} breaks before the motors stall."
    return joined([say(text, height), _prevented(limit, found.no_limit, " there")])


# --- actions

_ACTIONS = {
    ActionKind.LESS_LOAD: "Lift at most {after} instead of {before}",
    ActionKind.MORE_MOTORS: "Use {after} motors instead of {before}",
    ActionKind.THINNER_DRUM: "Use a drum of {after} instead of {before}",
    ActionKind.MORE_RATIO: "Use a larger ratio ({path} {before} → {after})",
    ActionKind.ONE_MORE_STAGE: "Add gear stages ({path} {before} → {after})",
    ActionKind.MORE_VOLTAGE: "Supply {after} instead of {before}",
    ActionKind.HIGHER_CURRENT_LIMIT: "Raise the current limit from {before} to {after}",
    ActionKind.LOWER_CURRENT_LIMIT: "Set a current limit of {after}",
    ActionKind.PAWL: "Fit a pawl on the drum",
    ActionKind.BRAKE: "Fit a brake that carries the load alone ({path} {after})",
    ActionKind.LEAVE_OUT_GROUP: "Leave out the motors that are dragged ({path} {after})",
    ActionKind.STRONGER_PART: "Make the weakest part stronger ({path} {before} → {after})",
}


def action(found: Action) -> Text:
    """A change, and what it brought when it was tried in full."""
    change = found.changes[0]
    before, after = (setting(each, change.unit) for each in (change.before, change.after))
    text = say(_ACTIONS[found.kind], path=change.path, before=before, after=after)
    return (*text, ": ", *_effect(found))


def _effect(found: Action) -> Text:
    """Lift time or the check that the action is for, and the status of the changed build."""
    first = next(iter(found.effects), None)
    count, total = found.counts[found.status], sum(found.counts.values())
    verb = "fail" if found.status is Status.FAILS and count > 1 else found.status.value
    gain: Text = ()
    if found.kind in (ActionKind.PAWL, ActionKind.BRAKE):
        gain = say("holds with the power off, ")
    elif first is not None and first.before.key is not CheckKey.TARGET:
        ends = of_check(first.before).alone, of_check(first.after).alone
        gain = say(f"{CHECKS[first.before.key]} {{}} → {{}}, ", *ends)
    elif found.reached and found.lift_time is not None:
        gain = say("lifts in {}, ", value(found.lift_time, "s"))
    return (*gain, f"then {count} of {total} {verb}")


# --- assumed inputs


def assumed(found: Assessment, most: int = 3) -> Text:
    """How many inputs are assumed, and which groups of them move a check most."""
    paths: dict[str, tuple[str, ...]] = {
        row.group: (row.path,) for row in found.assumed if row.group and row.effect > 0
    }
    paths |= {cause.name: cause.paths for cause in found.causes if cause.name in paths}
    labels = [assumed_label(group, own) for group, own in list(paths.items())[:most]]
    worst = f"; most uncertain: {', '.join(labels)}" if labels else ""
    return say(f"{len(found.assumed) or 'No'} inputs assumed{worst}.")


def assumed_label(group: str, paths: Sequence[str]) -> str:
    """A group of assumed inputs in words, with the parts that it is about."""
    places = list(dict.fromkeys(path.rpartition(".")[0] for path in paths))
    stages = [place.removeprefix("stage.") for place in places if place.startswith("stage.")]
    few = f"stage{'s' * (len(stages) > 1)} {' and '.join(stages)}" if len(stages) < 3 else "stages"
    kinds = {"motors": "motors", "stage": few, "drum": "drum"}
    kinds |= {"rope": "tackle", "sheave": "sheaves"}
    words = [w for kind, w in kinds.items() if any(place.startswith(kind) for place in places)]
    name = cause(group)
    is_clear = not words or "settings" in places or name.endswith(words[0])
    return name if is_clear else f"{name} ({', '.join(words)})"


# --- cautions


def unchecked(found: Assessment) -> Text:
    """Inputs without which checks are left out; what a single one is for."""
    names: dict[tuple[str, ...], list[str]] = {}
    for check in found.checks:
        if check.missing:
            names.setdefault(check.missing, []).append(CHECKS[check.key])
    texts = [
        ", ".join(keys) + ("" if more else f" for {first}")
        for keys, (first, *more) in names.items()
    ]
    return say(f"Not given: {'; '.join(texts)}.") if texts else ()


CLEAR = "Keep the area below clear. Follow local codes; a competent person decides."


def last_line(height: float, energy: float) -> Text:
    """Drop energy, area below, codes and people in charge."""
    return say(f"A fall from {{}} releases {{}}. {CLEAR}", value(height, "m"), Value(energy, "J"))


def actions(found: Assessment) -> tuple[Node, ...]:
    """What to change, as nodes of the first screen, with what helps besides another build: a clear
    way, and pauses."""
    snagged, load = found.finding(FindingKind.SNAGGED), found.check(CheckKey.CONTINUOUS_CURRENT)
    items = [action(each) for each in found.actions]
    if snagged is not None:
        items.insert(0, say("Clear the way of the load at {}.", value(snagged.height, "m")))
    if load is not None and load.status is Status.THIN and found.target.as_asked:
        shown, let = of_check(load).alone, "Also let" if found.actions else "Let"
        items.append(say("{} the motors cool between lifts: continuous load {}.", let, shown))
    if items:
        label = "Actions (alternatives, each tried alone)" if found.actions else "Actions"
        spare = ((3, 2), (5, 1))
        return Paragraph((), label=label), Items(tuple(items[:MOST_ACTIONS]), True, spare)
    none = Paragraph(say("none of the changes tried in full helps."), label="Actions:")
    return (none,) if found.tried and found.status is Status.FAILS else ()


def closing(found: Assessment | None) -> Paragraph:
    """The last line below an answer; without an assessment without a fall."""
    return Paragraph(last_line(found.drop_height, found.drop_energy) if found else say(CLEAR))


def caution(kind: Caution, found: Assessment | None) -> Text:
    """One caution in full; that of a drop is one of an assessment."""
    if found is None or kind is not Caution.DROP:
        return say(CAUTIONS[kind])
    return say(
        "From {} a load of {} falls with {} and lands at {}.",
        value(found.drop_height, "m"),
        value(found.target.mass, "kg"),
        Value(found.drop_energy, "J"),
        Value(found.drop_speed, "m/s"),
    )


CAUTIONS = {
    Caution.NOT_RATED: "This is not rated lifting equipment, and no number here makes it so.",
    Caution.KEEP_CLEAR: "Nobody stands under or beside a hanging load, at any time.",
    Caution.NO_PEOPLE: "Never lift or carry people with it.",
    Caution.FRICTION: (
        "Friction is not a brake: a knock, grease, heat or wear can "
        "start a train that held until then."
    ),
    Caution.GUARDS: (
        "Guard teeth and rope. Keep fingers, hair and sleeves away while "
        "anything turns or is under load."
    ),
    Caution.TEST_LOADS: (
        "Begin with a small test load, increase it in steps, and inspect every part between them."
    ),
    Caution.LOWERING: (
        "Plan the lowering first: in normal use, after a broken part, and without power."
    ),
    Caution.LOCAL_CODES: (
        "Local codes apply. A licensed or competent person decides whether and how it may be used."
    ),
}
"""Cautions without numbers."""
