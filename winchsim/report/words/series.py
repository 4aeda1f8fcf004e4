"""A series of lifts, in words."""

from winchsim.assessment.kinds import End
from winchsim.report.document import Paragraph, Table, Text, Value, joined, say
from winchsim.report.words.details import decades
from winchsim.report.words.sizing import ended
from winchsim.report.words.values import percent, value
from winchsim.studies.series import Series


def paragraph(found: Series) -> Paragraph:
    """What becomes of a series."""
    last = found.lifts[-1]
    why = "battery empty" if last.end is End.REACHED else ended(last.end)
    went = f"{found.done} reach the target{f', then: {why}' if found.done < found.asked else ''}."
    after = "In the long run" if found.settled else f"After {len(found.lifts)} lifts"
    windings = say(
        f"{after} the windings reach {{}} (limit {{}}), the cases {{}}.",
        Value(max(lift.winding for lift in found.lifts), "°C"),
        Value(found.winding_limit, "°C"),
        Value(last.case, "°C"),
    )
    left = value(found.charge_left, "C")
    charge = say("Charge left: {}.", left) if left.value is not None else ()
    return Paragraph(
        joined([say(went), windings, charge, _teeth(found)]),
        label=f"{found.asked} lift{'' if found.asked == 1 else 's'} in a row:",
    )


def _teeth(found: Series) -> Text:
    """Lifts to the first broken tooth, and how much of its life is spent."""
    if found.life is None or found.damage is None:
        unknown = say(
            "Lifts to the first broken tooth: not known, no line of stress over cycles is known "
            "for these materials."
        )
        return unknown if found.unknown else ()
    low, _, high = found.damage
    most: Text = ("over 100 %",) if high >= 1 else (percent(high),)
    share = most if low >= 1 else say("{} to {}", percent(low), most)
    first = f"First broken tooth, {found.life.label}: after {decades(found.life)} lifts"
    return joined(
        [
            say(f"{first}; this series takes {{}} of its life.", share),
            say("It may hold today and break in the next series.") if high >= 1 > low else (),
            say(f"Not known for {len(found.unknown)} other gears.") if found.unknown else (),
        ]
    )


def table(found: Series) -> Table:
    """The simulated lifts; the others are like the last one."""
    return Table(
        ("lift", "end", "time", "winding at start", "winding", "case at end", "charge"),
        tuple(
            (
                str(lift.number),
                "lifted" if lift.end is End.REACHED else ended(lift.end),
                Value(lift.time, "s"),
                Value(lift.winding_start, "°C"),
                Value(lift.winding, "°C"),
                Value(lift.case, "°C"),
                Value(lift.charge, "A·h"),
            )
            for lift in found.lifts
        ),
        name="lifts",
    )
