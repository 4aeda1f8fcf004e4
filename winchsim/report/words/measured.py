"""What was measured beside what was simulated, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from winchsim.assessment.kinds import Assessment, Caution
from winchsim.report.document import (
    Document,
    Finding,
    Items,
    Node,
    Paragraph,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.measured import TestComparison, TraceDifference
from winchsim.report.words.advice import CAUTIONS
from winchsim.report.words.findings import NOTE
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import signed, value
from winchsim.scenario.trace import Log

_OUTCOMES = {
    "lifted": "lifted",
    "stalled": "stalled",
    "broke": "broke a part",
    "stopped": "was stopped",
}


def log(found: Log) -> Text:
    """How a log was read: guessed columns, and when each of its lifts began."""
    parts = [f"{head.replace('_', ' ')} is taken as {name}" + (f" in {unit}" if unit else "")
             for head, name, unit in found.guessed]  # fmt: skip
    parts += [f"not used: {', '.join(found.unused)}"] if found.unused else []
    texts = [say("{}", part) for part in parts]
    for number, lift in enumerate(found.lifts, start=1):
        shown = "" if lift.aligned else ", which the log does not show"
        texts.append(say(f"power on of lift {number} at {{}}{shown}", value(lift.start, "s")))
    return (*say("The log: "), *joined(texts, "; "), ".")


def noted(found: Log) -> Finding:
    """How a log was read, as a note."""
    return Finding(NOTE, log(found))


def trace(found: TraceDifference) -> Text:
    """Differences of one quantity of a trace."""
    return say(
        (
            f"{found.name}, measured less simulated: mean {{}}, largest {{}} "
            f"at {{}}, {len(found.time)} samples"
        ),
        signed(found.mean, found.printed_unit),
        signed(found.largest, found.printed_unit),
        value(found.largest_at, "s"),
    )


def row(found: TestComparison) -> Text:
    """One row of a test sheet beside its simulation."""
    parts: list[Text] = []
    measured_row = found.row
    for name, unit, measured, simulated, share in (
        ("time", "s", measured_row.measured_time, found.time, found.time_difference),
        ("current", "A", measured_row.measured_current, found.current, found.current_difference),
    ):
        if measured is None:
            continue
        if simulated is None:
            parts.append(
                say(f"{name} {{}} measured, not lifted in the simulation", Value(measured, unit))
            )
            continue
        apart = () if share is None else say(" ({})", signed(share, "%"))
        both = Value(measured, unit), Value(simulated, unit)
        parts.append((*say(f"{name} {{}} measured, {{}} simulated", *both), *apart))
    lifted = found.time is not None
    if measured_row.outcome is not None and not (
        lifted and parts and measured_row.outcome == "lifted"
    ):
        did = "lifts" if lifted else "does not lift"
        parts.append(say(f"the test {_OUTCOMES[measured_row.outcome]}, the simulation {did}"))
    mass = value(measured_row.mass, "kg") if measured_row.mass else "unloaded"
    return say("{}: {}", mass, joined(parts, "; ") or say("nothing measured"))


def drawn(names: Sequence[str], found: Sequence[Assessment], remarks: Sequence[Text]) -> Document:
    """What is printed beside figures: the answer for each scenario, remarks, and the cautions."""
    answers = [say(f"{name}: {{}}", outcome(each)) for name, each in zip(names, found, strict=True)]
    body: list[Node] = [Paragraph(text) for text in (*answers, *remarks)]
    closing = (Caution.NOT_RATED, Caution.KEEP_CLEAR, Caution.LOCAL_CODES)
    body.append(Items(tuple(say(CAUTIONS[kind]) for kind in closing)))
    return Document("", "", tuple(body))
