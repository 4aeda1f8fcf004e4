"""The answer in one or two sentences: what became of the load, and what holds it."""

from winchsim.assessment.kinds import (
    STALLS,
    Assessment,
    CheckKey,
    End,
    FindingKind,
    Holding,
    Status,
)
from winchsim.frozen import replace
from winchsim.report.document import Text, joined, say
from winchsim.report.words import advice
from winchsim.report.words.findings import at_limit, finding, hits
from winchsim.report.words.values import CHECKS, cause, of_check, percent, value
from winchsim.studies.further_runs import AS_ASKED, Series, SnagStudy

ON_FLOOR = 1e-3
"""A load that is not higher has not been lifted off. [m]"""

HELD = {
    Holding.PAWL: "held by its pawl",
    Holding.BRAKE: "held by its brake",
    Holding.WEAK_BRAKE: "held by its brake with the help of friction, not assured",
    Holding.LOCKED_TRAIN: "held by friction in the train only, not assured",
    Holding.FRICTION: "held by friction only, not assured",
    Holding.NONE: "nothing holds it, it runs back",
}


INSTEAD = {
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
"""By end: what stands in place of a lift time. Others are named by their own words."""


def outcome(found: Assessment, snag: SnagStudy | None = None, series: Series | None = None) -> Text:
    """What became of the load, whether it stays with the power off, and what further runs show: a
    series of lifts, a simulated snag."""
    run = [_became(found), _uncertain(found), _stays(found), _fails(found)]
    first, last = _in_a_row(series) if series else (), advice.snag(snag) if snag else ()
    return joined([first, *run, last])


def _in_a_row(found: Series) -> Text:
    """How many lifts of a series are done, and what ends it."""
    last, s = found.lifts[-1], "s" if found.done == 1 else ""
    what = f"end{s} as asked" if found.lifts[0].end is End.DONE else f"reach{s and 'es'} the target"
    other = "windings too hot" if last.too_hot else "battery empty"
    why = other if last.end in AS_ASKED else ended(last.end)
    then = f"; lift {found.done + 1}: {why}" if found.fails else ""
    return say(f"Of {found.asked} lifts in a row {found.done} {what}{then}.")


def _stays(found: Assessment) -> Text:
    """What becomes of the load with the power off, or after a break."""
    end, back = found.target.end, _ran_back(found)
    on_floor = found.target.final_height <= ON_FLOOR and end is not End.REACHED and not back
    if end is End.NOT_TRUSTED or on_floor:
        return () if end in (End.NOT_TRUSTED, End.DONE) else say("It stays on the floor.")
    if not found.has(FindingKind.PART_BROKE):
        weak = [finding(f).text for f in found.findings if f.kind is FindingKind.WEAK_BRAKE]
        by = [value(f.values["let_down"], "m") for f in found.findings if f.values.get("slips")]
        slip = ", after a slip of {}" * len(by)
        held = say(f"Power off: {HELD[found.held]}{slip}.", *by)
        return back or joined([held, *weak])
    caught = found.held is Holding.PAWL and not found.has(FindingKind.FELL)
    return say("Then only its pawl holds it, power on or off." if caught else "The load falls.")


def _uncertain(found: Assessment) -> Text:
    """That assumed values decide whether the load is lifted at all."""
    check = found.check(CheckKey.TARGET)
    if check is None or not check.cause:
        return ()
    may = "stall" if check.about in STALLS else f"miss its target ({ended(End(check.about))})"
    return say(f"May {may}: {cause(check.cause)} is not known well enough.")


def _fails(found: Assessment) -> Text:
    """Checks that fail though the target is reached and the load held."""
    names = [CHECKS[check.key] for check in found.checks if check.status is Status.FAILS]
    shown = names and found.target.as_asked and not found.has(FindingKind.BACK_DRIVEN)
    return say(f"Fails: {', '.join(names)}.") if shown else ()


_ENDS = {
    End.REACHED: "Lifts {mass} by {height} in {time}{but}.",
    End.DONE: "The programme ends as asked after {time}, with the load at {place}{missed}.",
    End.STALLED: "{mass} stalls at {place} after {time}{short}.",
    End.STALLED_AT_LAYER_END: "{mass} stalls at {place}, where a layer of rope ends{short}.",
    End.LATE: "{mass} does not reach {height} in time: {place} after {time}.",
    End.PART_BROKE: "Lifting {mass}, the {part} breaks at {place}, after {time}.",
    End.DRUM_OVERFLOW: "The rope climbs over the flange of the drum at {place}.",
    End.PAID_OUT: "The rope is paid out after {time}, with the load at {place}.",
    End.BATTERY_EMPTY: "The battery is empty after {time}, with the load at {place}.",
    End.SUPPLY_TRIPPED: "The supply switches itself off after {time}, with the load at {place}.",
    End.SNAGGED: "The load of {mass} snags at {place} and the motors stall.",
    End.TOP_STOP: "The load {hits} at {place} after {time}{below}.",
    End.NOT_TRUSTED: "No result that can be trusted: the computation broke off or lost energy.",
}

_ON_FLOOR = {
    End.STALLED: "{mass} stalls before lift-off{short}.",
    End.PART_BROKE: "Lifting {mass}, the {part} breaks before lift-off, after {time}.",
    End.PAID_OUT: (
        "The rope is paid out after {time}, with the load on the floor; the phases that follow do "
        "not run."
    ),
}
"""Ends of a load that was not lifted off."""

_SNAGGED = {
    End.PART_BROKE: "The load of {mass} snags at {place}, and the {part} breaks, after {time}.",
    End.SUPPLY_TRIPPED: (
        "The load of {mass} snags at {place}, and the supply switches itself off, after {time}."
    ),
}
"""Ends of a load that has caught on something before."""

_RAISES = "Raises {mass} by {gained} in {time}, as the programme asks{missed}."
_NOT_DOWN = "The load is not down in time: {place} after {time}."

BALANCED = 0.99
"""Share of the torque from which on a stall is one of slow change, such as heat. [-]"""


def _became(found: Assessment) -> Text:
    target, back = found.target, found.has(FindingKind.BACK_DRIVEN)
    time, stop = found.check(CheckKey.LIFT_TIME), found.finding(FindingKind.TOP_STOP)
    lifted, height = target.end is End.REACHED, value(target.height, "m")
    return say(
        _template(found),
        mass=value(target.mass, "kg"),
        height=height,
        gained=value(target.gained, "m"),
        place=value(target.final_height, "m"),
        time=of_check(time).alone if lifted and time else value(target.time, "s"),
        part=target.part,
        but=", but does not stay up" if back else "",
        missed=()
        if target.reached or not found.check(CheckKey.TARGET)
        else say("; the target of {} is not reached", height),
        hits=hits(stop is not None and stop.values["sheave"]),
        below=say(", below the target of {}", height) if target.gained < target.height else "",
        short=_short_of(found),
    )


def _template(found: Assessment) -> str:
    """The sentence of an end, and of where the load was then."""
    target, end = found.target, found.target.end
    snag, late = found.finding(FindingKind.SNAGGED), found.finding(FindingKind.LATE)
    if end in (End.DONE, End.BACK_DRIVEN):
        return _RAISES if target.gained > ON_FLOOR else _ENDS[End.DONE]
    if end is End.LATE and late and late.values["action"] != "raise":
        return _NOT_DOWN
    if target.final_height <= ON_FLOOR:
        return _ON_FLOOR.get(end, _ENDS[end])
    caught = snag is not None and (snag.time or 0.0) <= target.time
    return _SNAGGED.get(end, _ENDS[end]) if caught else _ENDS[end]


def _short_of(found: Assessment) -> Text:
    """How far a stalled motor is from the torque needed, with the digits of the check."""
    share, start = found.target.torque_share, found.check(CheckKey.START_COLD)
    if share is None:
        return ()
    shown = percent(share)
    if found.target.final_height <= ON_FLOOR and start is not None and start.value:
        shown = replace(of_check(start).alone, unit="%", sign="")
    if shown.value is not None and shown.value > BALANCED:
        return (": the motors no longer reach the torque needed",)
    stalled = found.finding(FindingKind.STALLED)
    supply = at_limit(stalled.values) if stalled else ()
    return say(": the motors reach {} of the torque needed{}", shown, supply)


def _ran_back(found: Assessment) -> Text:
    finding = found.finding(FindingKind.BACK_DRIVEN)
    if finding is None:
        return ()
    known = finding.values
    power = "on" if known["powered"] else "off"
    if known["in_guide"]:
        return say(f"Power {power}: the drum unwinds, the load stays in its guide for now.")
    floor = " to the floor" if known["landing_speed"] is not None else ""
    end = ", then it stops" if known["stopped"] else ""
    return say(
        f"Power {power}: it runs back{floor} at up to {{}}{end}.", value(known["speed"], "m/s")
    )


def ended(end: End | None) -> str:
    """What stands in place of a lift time."""
    return INSTEAD.get(end) or str(end).replace("_", " ")
