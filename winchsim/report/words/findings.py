"""Findings of a run in words, with what can be done."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from winchsim.assessment.kinds import Finding, FindingKind, GearFlaw
from winchsim.report import document
from winchsim.report.document import Mark, Text, Value, say
from winchsim.report.words.values import percent, rough, source, value

LEAST_SINK = 1e-4
"""Sinking that is worth a word. [m]"""

DANGER, NOTICE, NOTE = Mark("danger", "bad"), Mark("caution", "warn"), Mark("note", "open")

Values = Mapping[str, Any]
Words = tuple[Mark, Callable[[Values], Text], str]
"""Mark, sentence from the values, and action."""


def finding(found: Finding) -> document.FindingText:
    """A finding as a node of a document."""
    mark, sentence, action = _WORDS[found.kind]
    text = sentence(found.values)
    if found.values.get("supply_current") is not None:
        action = "Less load, more ratio, more motors or a stronger supply."
    if found.time is not None and found.kind not in _TIMELESS:
        text = (*text, *say(" After {}.", value(found.time, "s")))
    return document.FindingText(mark, text, say(action) if action else ())


def _stalled(v: Values) -> Text:
    if v["blocked_by"]:
        return say(f"The motors stall because {_BLOCKED_BY[v['blocked_by']]}.")
    where = " at the end of a layer of rope" if v["layer_end"] else ""
    start = " to start from rest" if v["from_rest"] else ""
    text = f"The motors stall{where}: they reach {{}} of the torque needed{start}{{}}."
    warms = say(" A stalled winding reaches its limit after {}.", value(v["time_to_limit"], "s"))
    return (
        *say(text, percent(v["torque_share"]), at_limit(v)),
        *(warms if 0 < v["time_to_limit"] < math.inf else ()),
    )


def at_limit(stalled: Values) -> Text:
    """That a supply at its limit stalls the motors, behind how far they are from the torque."""
    current = stalled["supply_current"]
    what = "has folded back to" if stalled["folds_back"] else "at its limit gives only"
    return () if current is None else say(f"; the supply {what} {{}}", Value(current, "A"))


_BLOCKED_BY = {
    "battery_empty": "the battery is empty",
    "supply_tripped": "the supply has switched itself off",
    "snagged": "the load snags",
    "top_stop": "of the stop at the top",
}


def _back_driven(v: Values) -> Text:
    if v["in_guide"]:
        return say("The drum unwinds the rope while the load stays in its guide.")
    power = "with the power on" if v["powered"] else "with the power off"
    text = say(
        f"The load runs back {power}, from {{}} to {{}} at up to {{}}"
        + (", and then stops." if v["stopped"] else "."),
        value(v["from_height"], "m"),
        value(v["to_height"], "m"),
        value(v["speed"], "m/s"),
    )
    return (*text, *_landing(v["landing_speed"], v["landing_energy"]))


def _landing(speed: float | None, energy: float | None) -> Text:
    text = say(" It lands at {} with {}.", value(speed, "m/s"), Value(energy, "J"))
    return () if speed is None else text


def _hit(v: Values, what: str) -> Text:
    return say(
        f"{what} at {{}}; peak rope tension above the load {{}}, {{}} for the load alone.",
        value(v["speed"], "m/s"),
        Value(v["tension"], "N"),
        Value(v["hanging"], "N"),
    )


def hits(sheave: bool) -> str:
    """What ends the way of a load at the top."""
    return "runs into the drum or top sheave" if sheave else "hits its top stop"


def _teeth_warm(v: Values) -> Text:
    lasting = "In this run" if v["lasting"] else "In continuous running"
    return say(
        (
            f"{lasting} the flank of the {v['part']} reaches {{}}, its root {{}}; "
            f"{v['material']} service limit {{}} and {{}}."
        ),
        Value(rough(v["flank"]), "°C"),
        Value(rough(v["root"]), "°C"),
        Value(v["flank_limit"], "°C"),
        Value(v["root_limit"], "°C"),
    )


_FLAWS = {
    GearFlaw.UNDERCUT: "the {side} has {teeth} teeth; fewer than {limit} are undercut",
    GearFlaw.CUT_BY_GEAR: (
        "the tips of the gear reach below the base circle of the "
        "{teeth}-tooth pinion, which is undercut"
    ),
    GearFlaw.CONTACT_RATIO: "contact ratio {value}, least {limit}",
    GearFlaw.CLEARANCE: "tip clearance at the {side} {value} modules, least {limit}",
    GearFlaw.TIP_THICKNESS: "tooth tips of the {side} are {value} modules thick, least {limit}",
}


def _geometry(v: Values) -> Text:
    where = ", ".join(path.replace(".", " ") for path in v["paths"])
    known = {
        name: f"{v[name]:.3g}" if isinstance(v[name], float) else str(v[name])
        for name in ("side", "teeth", "value", "limit")
    }
    return say(f"{where}: {_FLAWS[GearFlaw(v['flaw'])]}.", **known)


def _winding(v: Values) -> Text:
    template = {
        "layers": "The rope winds {} layers on the drum, recommended {} at most.",
        "dead_turns": "{} dead turns stay on the drum, recommended {} for a flat drum.",
    }[v["quantity"]]
    return say(template, f"{v['value']:g}", f"{v['limit']:g}")


def _not_described(v: Values) -> Text:
    """The inrush current, and which usual supplies cannot deliver it."""
    beyond = [
        str(name).replace("_", " ") for name, share in v.items() if name != "inrush" and share > 1.0
    ]
    text = say(
        "Neither resistance nor current limit of the supply is given; start-up draws {}.",
        Value(v["inrush"], "A"),
    )
    return (
        (*text, f" Usual supplies that cannot deliver it: {', '.join(beyond)}.") if beyond else text
    )


_WORDS: dict[FindingKind, Words] = {
    FindingKind.PART_BROKE: (
        DANGER,
        lambda v: say(
            "The {} breaks: capacity {}, {}.",
            v["part"],
            Value(v["capacity"], v["unit"], v["capacity_low"], v["capacity_high"]),
            source(v["basis"]),
        ),
        "A stronger part, less load or a lower current limit.",
    ),
    FindingKind.STALLED: (DANGER, _stalled, "Less load, more ratio or more motors."),
    FindingKind.LATE: (
        DANGER,
        lambda v: say("The time limit of {} ends the phase.", value(v["time_limit"], "s")),
        "More time, or a faster lift.",
    ),
    FindingKind.BACK_DRIVEN: (DANGER, _back_driven, "A pawl or a brake on the drum."),
    FindingKind.WEAK_BRAKE: (
        NOTICE,
        lambda v: say(
            "The brake alone carries {} of the load, required {}.",
            percent(v["margin"]),
            Value(v["required"], "%"),
        ),
        "A stronger brake, or a pawl on the drum.",
    ),
    FindingKind.CREEPS: (
        DANGER,
        lambda v: say(
            "The load still sinks: {} in {}.", value(v["let_down"], "m"), value(v["watched"], "s")
        ),
        "A pawl or a brake on the drum.",
    ),
    FindingKind.HELD: (
        NOTE,
        lambda v: say(
            "The load is held for {} with the power off{}.",
            value(v["watched"], "s"),
            say(" and sinks by {}", value(v["let_down"], "m"))
            if v["let_down"] > LEAST_SINK
            else "",
        ),
        "",
    ),
    FindingKind.FELL: (
        DANGER,
        lambda v: (
            say("The load falls, at worst freely.")
            + _landing(v["landing_speed"], v["landing_energy"])
        ),
        "",
    ),
    FindingKind.LANDED_HARD: (
        NOTICE,
        lambda v: say(
            "The load lands at {} with {}.", value(v["speed"], "m/s"), Value(v["energy"], "J")
        ),
        "Lower it more slowly.",
    ),
    FindingKind.SUPPLY_LIMITED: (
        NOTE,
        lambda v: say(
            "The current limit of {} lowers the supply's voltage for {} of {} of raising.",
            Value(v["current_limit"], "A"),
            value(v["duration"], "s"),
            value(v["raising_time"], "s"),
        ),
        "",
    ),
    FindingKind.BATTERY_EMPTY: (
        DANGER,
        lambda v: say(
            "The battery is empty: {} of {} drawn.",
            value(v["charge"], "C"),
            value(v["charge_capacity"], "C"),
        ),
        "A larger or a charged battery.",
    ),
    FindingKind.ROPE_SLACK: (
        NOTICE,
        lambda v: say(f"The rope goes slack under a hanging load, {v['count']} times."),
        "",
    ),
    FindingKind.NO_RESTART: (
        NOTICE,
        lambda v: say(
            "The load is lifted only because the drum turns already when the rope takes it up. "
            "Stopped on its way it does not start again: the motors reach {} of the torque needed.",
            percent(v["margin"]),
        ),
        "",
    ),
    FindingKind.DRUM_OVERFLOW: (
        DANGER,
        lambda _: say("The rope climbs over the flange."),
        "A wider drum or larger flanges.",
    ),
    FindingKind.PAID_OUT: (
        DANGER,
        lambda _: say("The rope is paid out."),
        "A lowering that ends at the floor, or a brake.",
    ),
    FindingKind.SNAGGED: (
        DANGER,
        lambda v: _hit(v, "The load snags"),
        "A clear path and a current limit.",
    ),
    FindingKind.TOP_STOP: (
        NOTICE,
        lambda v: _hit(v, f"The load {hits(v['sheave'])}"),
        "An end switch below it.",
    ),
    FindingKind.STICK_SLIP: (
        NOTICE,
        lambda v: say(f"The load sticks and slips in its guide, {v['count']} times."),
        "",
    ),
    FindingKind.NOT_TRUSTED: (
        DANGER,
        lambda v: say(
            "The computation ended with {}; energy balance error {}.",
            str(v["reason"]),
            percent(v["energy_error"]),
        ),
        "Check unusual values of the scenario.",
    ),
    FindingKind.TEETH_WARM: (NOTICE, _teeth_warm, "Pauses, a stronger material or wider gears."),
    FindingKind.RIM_THIN: (
        NOTICE,
        lambda v: say(f"The rim of the {v['part']} is outside the range of published rim factors."),
        "A thicker rim.",
    ),
    FindingKind.CREEP: (
        NOTICE,
        lambda v: say(
            (
                f"Under the hanging load the {v['part']} ({v['material']}) uses {{}} "
                f"of its capacity at {{}} and creeps."
            ),
            percent(v["share"]),
            Value(v["temperature"], "°C"),
        ),
        "Do not leave the load hanging; wider teeth, another material, or a pawl on the drum.",
    ),
    FindingKind.WINDING: (NOTE, _winding, ""),
    FindingKind.ABOVE_NOMINAL_VOLTAGE: (
        NOTICE,
        lambda v: say(
            f"The motors of group {v['group']} run on {{}}, nominal {{}}.",
            Value(v["voltage"], "V"),
            Value(v["nominal"], "V"),
        ),
        "",
    ),
    FindingKind.FAR_BELOW_NOMINAL_VOLTAGE: (
        NOTICE,
        lambda v: say(
            f"The motors of group {v['group']} run on {{}}, far below {{}}; "
            "the model is less sure there.",
            Value(v["voltage"], "V"),
            Value(v["nominal"], "V"),
        ),
        "",
    ),
    FindingKind.OVERHEATED: (
        DANGER,
        lambda v: say(
            "A winding of group {} reaches {}, limit {}.",
            str(v["group"]),
            Value(v["winding_peak"], "°C"),
            Value(v["winding_limit"], "°C"),
        ),
        "A shorter lift, less load or pauses.",
    ),
    FindingKind.DRAGGED_GROUP: (
        NOTICE,
        lambda v: say(
            f"The motors of group {v['group']} are dragged along by the others, with {{}}.",
            Value(v["power"], "W"),
        ),
        "Leave these motors out, or supply them with more voltage.",
    ),
    FindingKind.NO_PATH_DOWN: (
        DANGER,
        lambda _: say("The pawl blocks the lowering that is asked for."),
        "Lower by the motors, which lifts the pawl, or release it by hand.",
    ),
    FindingKind.WEDGED: (
        NOTICE,
        lambda v: say(f"A self-locking stage stops the drum at once, {v['count']} times."),
        "Less inertia between the motors and this stage.",
    ),
    FindingKind.SUPPLY_TRIPPED: (
        DANGER,
        lambda v: say("The supply switches itself off at {}.", Value(v["current"], "A")),
        "A supply for more current, or a ramp at the start.",
    ),
    FindingKind.SUPPLY_NOT_DESCRIBED: (
        NOTICE,
        _not_described,
        "Give resistance or current limit of the supply.",
    ),
    FindingKind.GEAR_GEOMETRY: (NOTE, _geometry, "More teeth on the pinion, or profile shift."),
}

_TIMELESS = frozenset({FindingKind.HELD, FindingKind.NOT_TRUSTED})
"""Kinds whose time says nothing."""
