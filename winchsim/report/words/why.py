"""Why a test failed, in words."""

from __future__ import annotations

from typing import Any

from winchsim.assessment.kinds import End
from winchsim.report.document import Text, Value, say
from winchsim.report.words.checks import cause as assumed
from winchsim.report.words.values import TIMES, percent, value
from winchsim.studies.why import Clue, Diagnosis, Reason, Why

CAUSES = {
    Why.LOAD: (
        "the load is too heavy",
        "The same break in every like part; a coarse break across the most stressed section.",
        "Lift less, use a larger ratio behind this part, or make the part stronger.",
    ),
    Why.JAM: (
        "it jammed or stalled at full power",
        "Marks of rubbing on load, guide or drum; a tooth bent over before it tore; a hot motor.",
        "Limit the current, clear the way of the load, and replace the part after every stall.",
    ),
    Why.SHOCK: (
        "a jerk from slack rope or at lift-off",
        "A bright brittle break without stretching, right at the start; rope in loose turns.",
        "Take up the slack slowly, start with a ramp, use a rope that stretches more.",
    ),
    Why.HEAT: (
        "the plastic softened",
        "Smeared, bent or dull teeth; the bore loose on its shaft; a warm smell.",
        "Pause between lifts, cool or grease the teeth, use a material that stands more heat.",
    ),
    Why.PRINT: (
        "the print is weaker than usual",
        "A break along the layers, gaps between the lines, thin or loose walls.",
        "Print with more walls and hotter, lying flat; test one gear to its break.",
    ),
    Why.WEAR: (
        "the teeth are worn or tired",
        "Thinned flanks, dust below the gears, fine cracks at the roots of other teeth too.",
        "Replace both gears of the pair, grease them, and count the lifts.",
    ),
    Why.BAD_PART: (
        "one bad part among good ones",
        "Only one tooth or pin is hurt; a gap or a foreign particle in the break.",
        "Replace it by one that was looked at, and repeat the test with a small load first.",
    ),
    Why.ASSUMED: (
        "an assumed input is worse than its usual value",
        "Stiff turning by hand, rubbing gears, dry or tight bearings, sides that are not parallel.",
        "Measure it, or calibrate with lighter tests.",
    ),
    Why.VOLTAGE: (
        "the voltage at the motors is low",
        "Warm leads or clamps; the voltage at the motor terminals while they pull.",
        "Use thicker and shorter leads, a fuller battery, or a stronger supply.",
    ),
    Why.WARM: (
        "the windings are warm from earlier tests",
        "Motor cases hot to the touch; the same test succeeds after an hour.",
        "Pause longer, or fit more motors.",
    ),
    Why.OBSTACLE: (
        "something holds the load or the drum",
        "The rope beside the drum or between its turns; the load caught on its guide.",
        "Clear it, and turn the drum by hand over the whole way first.",
    ),
    Why.KNOCK: (
        "a knock or swing set it going",
        "It stood at first and began to run after a touch or when the load swung.",
        "Fit a pawl or a brake: friction that holds at rest does not stop what moves.",
    ),
}
"""By cause: what it is, what to look for on the pieces, what to change. General knowledge."""

CLUES = {
    "survived_more": "it lifted {mass} before",
    "stood_before": "row {number} stopped or stalled{amps}",
    "over_capacity": "the lift asks for more than the estimated capacity (factor {factor})",
    "under_capacity": "the lift asks for less than the lowest estimate (factor {factor})",
    "stall_current": "the current read, {current}, is that of stalled motors",
    "usual_current": "the current read, {current}, is that of running motors",
    "no_stop": "no row says that it stopped or stalled",
    "lifted_before": "it ran for {time} before",
    "warm_teeth": "in lasting running the roots reach {root}",
    "cool_teeth": "even in lasting running the roots reach only {root}",
    "short_rest": "only {rest} of rest before it",
    "rested": "no short rest before it is on the sheet",
    "in_range": "the demand lies within the range of printed parts",
    "damage": "the lifts so far took {damage} of the teeth's life (at most {high})",
    "no_line": "no line of stress over cycles is known for its material",
    "equal_parts": "equal parts beside it did not break",
    "stalls_in_simulation": "it stalls in the simulation too",
    "margin": "simulated, the motors reach {margin} of the torque needed",
    "range_turns": "at the bad end of its range the margin is {margin}",
    "lifted_more": "it lifted {mass} before",
    "voltage": "{voltage} were read at the motors, {share} of the simulated voltage there",
    "ample_margin": "simulated, the motors reach {margin} of the torque needed",
    "runs_back_in_simulation": "it runs back in the simulation too",
    "holds_in_simulation": "simulated, friction holds {margin} the load",
    "moving_margin": "once it moves, friction holds {margin} the load",
}
"""What speaks for or against a cause."""

_UNITS = {
    "mass": "kg", "current": "A", "time": "s", "root": "°C", "rest": "s", "voltage": "V",
}  # fmt: skip


def clue(found: Clue) -> Text:
    """One thing that speaks for or against a cause."""
    parts: dict[str, Any] = {name: _value(name, v) for name, v in found.values.items()}
    amps = found.values.get("current")
    parts["amps"] = say(" with {a}", a=Value(amps, "A")) if amps else ""
    template = CLUES[found.kind]
    return say(
        template, **{name: part for name, part in parts.items() if f"{{{name}}}" in template}
    )


def _value(name: str, number: Any) -> str | Value:
    if name == "number":
        return str(number)
    if name in ("damage", "high", "share"):
        return percent(number)
    if number is None:
        return "not read"
    return value(number, _UNITS[name]) if name in _UNITS else Value(number, "", sign=TIMES)


def likelihood(share: float) -> Value:
    """A likelihood in whole per cent: no more is known."""
    return percent(round(share, 2))


def cause(found: Reason, end: End) -> str:
    """Name of a cause."""
    if found.cause is Why.ASSUMED:
        return (
            f"{assumed(found.group)} is {'lower' if end is End.BACK_DRIVEN else 'worse'} than usual"
        )
    if found.cause is Why.LOAD and end is End.BACK_DRIVEN:
        return "friction cannot hold this load"
    return CAUSES[found.cause][0]


def verdict(found: Diagnosis) -> Text:
    """The likeliest cause in a sentence."""
    what = {
        End.PART_BROKE: f"The {'part' if found.part is None else found.part.label} broke",
        End.STALLED: "The winch stalled",
        End.BACK_DRIVEN: "The load ran back",
    }[found.end]
    first = found.reasons[0]
    return say(
        f"{what} under {{mass}} (row {found.test.number}). Most likely: {cause(first, found.end)} "
        "({share}).",
        mass=value(found.test.mass, "kg"), share=likelihood(first.share),
    )  # fmt: skip
