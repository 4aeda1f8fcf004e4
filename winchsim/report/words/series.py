"""A series of lifts, in words."""

from __future__ import annotations

from winchsim.assessment.kinds import End
from winchsim.report.document import Table, Text, Value, joined, say
from winchsim.report.words.details import decades
from winchsim.report.words.sizing import ENDS
from winchsim.report.words.values import percent, value
from winchsim.studies.series import Series


def label(found: Series) -> str:
    """What stands before the sentence."""
    return f"{found.asked} lift{'' if found.asked == 1 else 's'} in a row:"


def sentence(found: Series) -> Text:
    """What becomes of a series."""
    last = found.lifts[-1]
    went = say(f"{found.done} reach the target.")
    if found.done < found.asked:
        why = ENDS.get(last.end, last.end.value.replace("_", " "))
        why = "battery empty" if last.end is End.REACHED else why
        went = say(f"{found.done} reach the target, then: {why}.")
    windings = say(
        f"{'In the long run' if found.settled else f'After {len(found.lifts)} lifts'} the windings "
        "reach {warm} (limit {limit}), the cases {case}.",
        warm=Value(max(lift.winding for lift in found.lifts), "°C"),
        limit=Value(found.winding_limit, "°C"), case=Value(last.case, "°C"),
    )  # fmt: skip
    left = (
        () if found.charge_left is None else say("Charge left: {}.", value(found.charge_left, "C"))
    )
    return joined([text for text in (went, windings, left, _teeth(found)) if text])


def _teeth(found: Series) -> Text:
    """Lifts to the first broken tooth, and how much of its life is spent."""
    if found.life is None or found.damage is None:
        why = "no line of stress over cycles is known for these materials"
        return say(f"Lifts to the first broken tooth: not known, {why}.") if found.unknown else ()
    low, _, high = found.damage
    most: Text = ("over 100 %",) if high >= 1 else (percent(high),)
    share = say("over 100 %") if low >= 1 else say("{low} to {most}", low=percent(low), most=most)
    text = say(
        f"First broken tooth, {found.life.label}: after {decades(found.life)} lifts; this series "
        "takes {share} of its life.",
        share=share,
    )
    if high >= 1 > low:
        text = joined([text, say("It may hold today and break in the next series.")])
    others = f" Not known for {len(found.unknown)} other gears." if found.unknown else ""
    return (*text, others)


def table(found: Series) -> Table:
    """The simulated lifts; the others are like the last one."""
    columns = ("lift", "end", "time", "winding at start", "winding", "case at end", "charge")
    rows = tuple(
        (
            str(lift.number),
            "lifted" if lift.end is End.REACHED else ENDS.get(lift.end, lift.end.value),
            Value(lift.time, "s"),
            Value(lift.winding_start, "°C"),
            Value(lift.winding, "°C"),
            Value(lift.case, "°C"),
            Value(lift.charge, "A·h"),
        )
        for lift in found.lifts
    )
    return Table(columns, rows, name="lifts")
