"""The report of why a test failed: document and JSON."""

from collections.abc import Callable
from functools import partial
from typing import Any

from winchsim.assessment.kinds import End
from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    Mark,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text, sentences
from winchsim.report.words import advice
from winchsim.report.words.values import TIMES, cause as assumed, percent, value
from winchsim.scenario.read import Scenario
from winchsim.studies.calibrate.evidence import Note
from winchsim.studies.why import Clue, Diagnosis, Reason, Why

EXPLAINED, LEAST = 3, 0.01
"""Causes that are explained on the first screen; likelihood from which on one is listed there.
[-]"""

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
        "Replace it with an inspected part, and repeat the test with a small load first.",
    ),
    Why.BAD_ROPE: (
        "the rope is worn, cut or badly tied",
        "Fuzz, a cut or a flat place at the break; a knot that slipped; a sharp edge on its way.",
        "Fit a new rope, round off the edges, and tie or splice it as its strength assumes.",
    ),
    Why.ASSUMED: (
        "{group} is {way} than usual",
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
    Why.BRAKE: (
        "the brake or pawl did not hold",
        "Oil, dust or wear on the brake, which may stay released; a pawl that is open or blunt.",
        "Clean, adjust or replace it, and try it with a small load close to the floor.",
    ),
    Why.SLIP: (
        "something slips between the drum and what holds it",
        "The drum turns while the motors stand: a loose set screw, a sheared pin, a broken tooth.",
        "Tighten, pin or replace it, and repeat the test with a small load first.",
    ),
}
"""By cause: what it is, what to look for on the pieces, what to change. General knowledge."""

IN_ITS_WAY = {
    (Why.LOAD, End.STALLED): (
        CAUSES[Why.LOAD][0],
        "It slows down before it stops, and lifts a lighter load; the supply at its limit.",
        "Lift less, use a larger ratio, or stronger or more motors.",
    ),
    (Why.LOAD, End.BACK_DRIVEN): (
        "the load is too heavy to be held",
        "It runs back at once when the power goes off, and a lighter load does not.",
        "Lift less, or fit a pawl, or a stronger brake.",
    ),
    (Why.ASSUMED, End.BACK_DRIVEN): (
        CAUSES[Why.ASSUMED][0],
        "Light turning by hand, fresh grease or oil, gears that are worn in, shaking as it hangs.",
        "Fit a pawl or a brake; measure it, or calibrate with lighter tests.",
    ),
}
"""The same of causes that are another thing for another end."""

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
    "holds_in_simulation": "simulated, {margin} the load is held",
    "moving_margin": "once it moves, {margin} the load is held",
    "friction_alone": "without it, {margin} the load is held",
}
"""What speaks for or against a cause."""

SHOWN: dict[str, Callable[[Any], str | Value]] = {
    "number": str,
    "mass": partial(value, unit="kg"),
    "current": partial(value, unit="A"),
    "time": partial(value, unit="s"),
    "root": partial(value, unit="°C"),
    "rest": partial(value, unit="s"),
    "voltage": partial(value, unit="V"),
    "damage": percent,
    "high": percent,
    "share": percent,
    "factor": Value,
    "margin": partial(Value, sign=TIMES),
}
"""How the values of a clue are shown."""


def diagnosis_document(found: Diagnosis, scenario: Scenario, command: str) -> Document:
    """Document of a diagnosis; `command` shows all of it."""
    causes = [_explained(found, place) for place in range(len(found.reasons))]
    few = sum(reason.share >= LEAST for reason in found.reasons)
    remark = say(
        "Likelihoods only rank the causes; they are not statistics. What to look for is general "
        "knowledge, not from this scenario."
    )
    first = min(few, EXPLAINED)
    body = (_table(found, 0, few), *causes[:first], Paragraph(remark, faint=True))
    sections = {"Further causes": (_table(found, few, None), *causes[first:])}
    mark = Mark(found.end.value.replace("_", " "), "bad")
    return frame.document(
        scenario,
        frame.headline(mark, "", _verdict(found), scenario.name),
        body,
        sections,
        found.found,
        command,
    )


def _verdict(found: Diagnosis) -> Text:
    """The likeliest cause in a sentence."""
    part, first = "part" if found.part is None else found.part.label, found.reasons[0]
    what = {
        End.PART_BROKE: f"The {part} broke",
        End.STALLED: "The winch stalled",
        End.BACK_DRIVEN: "The load ran back",
    }[found.end]
    return say(
        f"{what} under {{}} (row {found.test.number}). Most likely: {_words(first, found.end)[0]} "
        "({}).",
        value(found.test.mass, "kg"),
        _likely(first),
    )


def _words(found: Reason, end: End) -> tuple[str, str, str]:
    """What a cause is, what to look for, what to change."""
    what, look, change = IN_ITS_WAY.get((found.cause, end), CAUSES[found.cause])
    group = {"form_loss": "loss by the form of the teeth"}.get(found.group, assumed(found.group))
    way = "higher" if found.above else "lower"
    return what.format(group=group, way=way), look, change


def _likely(found: Reason) -> Value:
    """Likelihood of a cause, of which none is certain."""
    return Value(min(round(found.share, 2), 0.99), "%")


def _table(found: Diagnosis, first: int, end: int | None) -> Table:
    broke = found.part
    rows: list[tuple[Cell, ...]] = []
    for reason in found.reasons[first:end]:
        cells: tuple[Cell, ...] = (
            "" if reason.demand is None else Value(reason.demand, sign=TIMES),
        )
        if broke and reason.demand:
            c = broke.strength
            middle, low, high = (each / reason.demand for each in (c.value, c.low, c.high))
            cells = (Value(reason.demand, c.unit), Value(middle, "", low, high, 1.0))
        rows.append((_words(reason, found.end)[0], _likely(reason), *cells))
    last = ("demand", "factor") if broke else ("needed over available",)
    return Table(("cause", "likelihood", *last), tuple(rows), name="causes")


def _clues(reason: Reason, favours: bool) -> list[Text]:
    """What speaks for a cause, or against it."""
    return [_clue(clue) for clue in reason.clues if clue.favours is favours]


def _clue(found: Clue) -> Text:
    parts: dict[str, str | Value | Text] = {
        name: "not read" if seen is None else SHOWN[name](seen)
        for name, seen in found.values.items()
    }
    amps = found.values.get("current")
    parts["amps"] = say(" with {}", Value(amps, "A")) if amps else ""
    return say(CLUES[found.kind], **parts)


def _explained(found: Diagnosis, place: int) -> Paragraph:
    """What speaks for and against a cause, what to look for, what to change."""
    reason = found.reasons[place]
    name, look, change = _words(reason, found.end)
    sides = {"For": _clues(reason, True), "Against": _clues(reason, False)}
    texts = [say(f"{side}: {{}}.", joined(rows, "; ")) for side, rows in sides.items() if rows]
    texts += [say(f"Look for: {look[:1].lower()}{look[1:]}"), say(f"Change: {change}")]
    return Paragraph(joined(texts), label=f"{place + 1}  {name[:1].upper()}{name[1:]}.")


def diagnosis_json(found: Diagnosis, scenario: Scenario) -> str:
    """JSON text of a diagnosis."""
    capacity = None if found.part is None else found.part.strength
    return document(
        digest=scenario.digest,
        verdict=sentence_text(_verdict(found)),
        cautions=list(advice.CAUTIONS.values()),
        rows=[
            {
                "cause": reason.cause.value,
                "group": reason.group or None,
                "likelihood": reason.share,
                "demand": reason.demand,
                "for": sentences(_clues(reason, True)),
                "against": sentences(_clues(reason, False)),
                **dict(zip(("look_for", "change"), _words(reason, found.end)[1:], strict=True)),
            }
            for reason in found.reasons
        ],
        command="why",
        row=found.test.number,
        end=found.end.value,
        part=None if found.part is None else found.part.label,
        capacity=None if capacity is None else [capacity.low, capacity.value, capacity.high],
    )


def question(found: Note, scenario: Scenario, command: str) -> Document:
    """Document that asks which part broke."""
    names = ", ".join(name for name, _ in found.choices)
    sentence = say(f"It is not clear which part broke. Write one into broke_link: {names}.")
    head = frame.headline(Mark("no answer", "open"), "", sentence, scenario.name)
    return Document(scenario.name, scenario.name, (head,), command)
