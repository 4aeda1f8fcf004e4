"""The answer in one or two sentences: what became of the load, and what holds it."""

from __future__ import annotations

from winchsim.assessment.kinds import Assessment, CheckKey, End, FindingKind, Holding, Status
from winchsim.report.document import Face, Text, Value, joined, say
from winchsim.report.words.checks import CHECKS, cause
from winchsim.report.words.values import of_check, percent, value

ON_FLOOR = 1e-3
"""A load that is not higher has not been lifted off. [m]"""

HELD = {
    Holding.PAWL: "Held by its pawl.",
    Holding.BRAKE: "Held by its brake.",
    Holding.LOCKED_TRAIN: "Held by friction in the train only: not assured.",
    Holding.FRICTION: "Held by friction only: not assured.",
    Holding.NONE: "Nothing holds it with the power off: it back-drives.",
}


def outcome(found: Assessment) -> Text:
    """What became of the load, and what holds it with the power off."""
    back = _ran_back(found)
    if found.target.end is End.REACHED and not found.has(FindingKind.BACK_DRIVEN):
        back = say(HELD[found.held])
    return joined(
        [text for text in (_ended(found), _uncertain(found), back, _fails(found)) if text]
    )


def _uncertain(found: Assessment) -> Text:
    """That assumed values decide whether the load is lifted at all."""
    check = found.check(CheckKey.TARGET)
    if check is None or not check.cause or not found.target.reached:
        return ()
    return say(f"May stall: {cause(check.cause)} is not known well enough.")


def _fails(found: Assessment) -> Text:
    """Checks that fail though the target is reached and the load held."""
    if not found.target.reached or found.has(FindingKind.BACK_DRIVEN):
        return ()
    names = [CHECKS[check.key] for check in found.checks if check.status is Status.FAILS]
    return say(f"Fails: {', '.join(names)}.") if names else ()


def _ended(found: Assessment) -> Text:
    target = found.target
    mass, height = value(target.mass, "kg"), value(target.height, "m")
    place, time = value(target.final_height, "m"), value(target.time, "s")
    match target.end:
        case End.REACHED | End.BACK_DRIVEN:
            check = found.check(CheckKey.LIFT_TIME)
            took = time if check is None or check.value is None else of_check(check, Face.VALUE)
            reaches = "Lifts {} by {} in {}"
            if found.has(FindingKind.BACK_DRIVEN):
                reaches += ", but does not stay up"
            reaches += (
                "."
                if target.reached or found.has(FindingKind.BACK_DRIVEN)
                else ("; not all phases end as asked.")
            )
            return say(reaches, mass, height, took)
        case End.DONE:
            return say("The programme ends as asked after {}, with the load at {}.", time, place)
        case End.STALLED if target.final_height <= ON_FLOOR:
            start = found.check(CheckKey.START_COLD)
            share = (
                target.torque_share if start is None or not start.value else min(start.value, 1.0)
            )
            return say("{} stalls before lift-off{}.", mass, _short_of(share))
        case End.STALLED:
            return say("Stalls at {} after {}{}.", place, time, _short_of(target.torque_share))
        case End.STALLED_AT_LAYER_END:
            return say(
                "Stalls at {}, where a layer of rope ends{}.", place, _short_of(target.torque_share)
            )
        case End.LATE:
            return say("Does not reach {} in time: {} after {}.", height, place, time)
        case End.PART_BROKE:
            at = say("at {}", place) if target.final_height > ON_FLOOR else say("before lift-off")
            if found.has(FindingKind.SNAGGED):
                return say("The load snags {}, and the {} breaks, after {}.", at, target.part, time)
            return say("The {} breaks {}, after {}.", target.part, at, time)
        case End.DRUM_OVERFLOW:
            return say("The rope climbs over the flange of the drum at {}.", place)
        case End.PAID_OUT:
            return say("The rope is unwound to its dead turns, with the load at {}.", place)
        case End.BATTERY_EMPTY:
            return say("The battery is empty after {}, with the load at {}.", time, place)
        case End.SUPPLY_TRIPPED:
            return say("The supply switches itself off after {}, with the load at {}.", time, place)
        case End.SNAGGED:
            return say("The load snags at {} and the motors stall.", place)
        case End.TOP_STOP:
            return say("The load hits its top stop at {}, below the target of {}.", place, height)
        case End.NOT_TRUSTED:
            return say("No result that can be trusted: the computation broke off or lost energy.")


def _short_of(share: float | None) -> Text:
    if share is None:
        return ()
    if share > BALANCED:
        return say(": the motors no longer reach the torque needed")
    return say(": the motors reach {} of the torque needed", percent(share))


BALANCED = 0.99
"""Share of the torque from which on a stall is one of slow change, such as heat. [-]"""


def _ran_back(found: Assessment) -> Text:
    for finding in found.findings:
        if finding.kind is FindingKind.BACK_DRIVEN:
            known = finding.values
            if known["in_guide"]:
                return say("The drum then unwinds while the load stays in its guide.")
            floor = " to the floor" if known["landing_speed"] is not None else ""
            off = "with the power on" if known["powered"] else "with the power off"
            speed: Value = value(known["speed"], "m/s")
            end = ", then friction holds it" if known["stopped"] else ""
            return say("It runs back{} {}, at up to {}{}.", floor, off, speed, end)
    return ()
