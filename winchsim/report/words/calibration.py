"""A calibration in words: what tests determine, how well the model meets them, and what comes
next."""

import math
from collections.abc import Iterable, Sequence

from winchsim.inputs import Inputs, spec_at
from winchsim.model.trial import plain_raise
from winchsim.quantity_text import quantity
from winchsim.report.document import (
    Cell,
    Finding,
    Table,
    Text,
    Value,
    joined,
    say,
)  # fmt: skip
from winchsim.report.ladder import title_on_sheet
from winchsim.report.words.checks import cause
from winchsim.report.words.findings import NOTICE
from winchsim.report.words.values import TIMES, percent, rough, signed, suited, value
from winchsim.scenario.sheet import SheetOrigin, SheetRow
from winchsim.studies.calibrate import (
    Calibration,
    Capacity,
    Interval,
    Kind,
    LiftTest,
    Note,
    NoteKind,
    Prediction,
    Reading,
)
from winchsim.studies.calibrate.calibration import Value as FittedValue
from winchsim.studies.calibrate.evidence import UNITS

LABELS = {
    Kind.TIME: "lift time",
    Kind.CURRENT: "current",
    Kind.VOLTAGE: "voltage at the motors",
    Kind.STALL_CURRENT: "current while stalled",
}

SIDES = {
    Kind.LIFTED: "was lifted",
    Kind.STALLED: "stalled",
    Kind.HELD: "held",
    Kind.RAN_BACK: "ran back",
}

MOTORS = {
    "motor_constant": "torque constant of the motors",
    "motor_resistance": "resistance of the motors",
    "motor_no_load_current": "no-load current of the motors",
}

SAME = 1e-4
"""Difference up to which a height or a voltage of a sheet is the scenario's, its digits cut. [-]"""

OPEN = 0.2
"""Share of an interval's square from undetermined factors that is worth a sentence. [-]"""


def label(name: str) -> str:
    """A factor in words."""
    return MOTORS.get(name) or cause(name)


def load(test: LiftTest) -> Value | str:
    """The load of a test."""
    return "unloaded" if test.bare else value(test.mass, "kg")


def listed(names: Iterable[str]) -> str:
    """Names in a row, with "and" before the last."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def count_of_tests(found: Calibration) -> int:
    """Tests of which a measurement counts."""
    return len({row.test.number for row in found.residuals if not row.is_outlier})


def sentence(found: Calibration) -> Text:
    """The result of a calibration in a few sentences."""
    count = count_of_tests(found)
    good = [label(row.factor.name) for row in found.parameters if row.determined]
    what = listed(good) if good else "none of the assumed values on its own"
    times = [
        row.measured / row.predicted - 1
        for row in found.residuals
        if row.kind is Kind.TIME and not row.is_outlier and math.isfinite(row.predicted)
    ]
    off = math.sqrt(sum(share**2 for share in times) / max(1, len(times)))
    texts = [
        say(f"{count} test{'s determine' if count != 1 else ' determines'} {what}."),
        say("The lift times agree within {}.", percent(off)) if times else (),
        *(
            say(f"The {LABELS[r.kind]} of test {r.test.number} does not fit and is left out.")
            for r in found.residuals
            if r.is_outlier
        ),
        *(
            say(f"Test {r.test.number} {SIDES[r.kind]}, but the calibrated model disagrees.")
            for r in found.sides
            if not r.agrees
        ),
    ]
    return joined([text for text in texts if text])


_NOTES = {
    NoteKind.PAWL_HOLDS: (
        "With a pawl, a load that held or ran back says nothing about friction. It is not used."
    ),
    NoteKind.NOT_A_LIFT_TIME: "{test} {how}. Its time is no lift time and is not used.",
    NoteKind.UNKNOWN_PART: "{test}: {what}. Write one of: {names}.",
    NoteKind.WHICH_PART: '{test}: which part is "{part}"? By likelihood: {likely}.',
}

_HOW = {"stalled": "stalled", "stopped": "was stopped"}


def note(found: Note) -> Text:
    """What could not be used, or has to be asked."""
    test = found.test
    if test is None:
        return say(_NOTES[NoteKind.PAWL_HOLDS])
    unknown = f'"{test.broke_link}" is no part of this scenario'
    return say(
        _NOTES[found.kind],
        test=say(f"Test {test.number} ({{}})", load(test)),
        how=_HOW.get(test.outcome or "", "broke a part"),
        what=unknown if test.broke_link else "the broken part is missing",
        names=", ".join(part for part, _ in found.choices),
        part=test.broke_link,
        likely=joined([say("{} ({})", part, percent(p)) for part, p in found.choices], ", "),
    )


# --- fitted values


def fitted(found: Calibration) -> Table:
    """Values of the factors that the tests determine."""
    rows = tuple(
        _fitted(found, v, "" if place else percent(row.width))
        for row in found.parameters
        if row.determined
        for place, v in enumerate(row.values)
    )
    heads = ("determined", "was", "is", f"{100 * found.level:.3g} % interval", "width over prior")
    return Table(heads, rows, name="values")


def _fitted(found: Calibration, v: FittedValue, width: Cell) -> tuple[Cell, ...]:
    name, unit, sign = label(v.path), "", TIMES
    if "." in v.path:
        name, unit, sign = v.path, suited(spec_at(found.inputs, v.path).unit, v.after), ""
    now = Value(v.after, unit, v.low, v.high, sign=sign)
    return (name, Value(v.before, unit, sign=sign), *now.pair, width)


def undetermined(found: Calibration) -> Text:
    """Factors that keep what was assumed of them, and those that tests do not tell apart."""
    names = [label(row.factor.name) for row in found.parameters if not row.determined]
    together = [listed(map(label, names)) for names in found.together]
    return joined(
        [
            say(f"{', '.join(names)}.") if names else (),
            *(say(f"Determined only in combination: {each}.") for each in together),
        ]
    )


def basis(found: Calibration) -> Text:
    """What the intervals rest on."""
    count, scatter = sum(not row.is_outlier for row in found.residuals), Value(rough(found.scatter))
    free = say(" with {} degrees of freedom", Value(rough(found.dof))) if found.dof >= 1 else ()
    return say(f"{count} measurements; scatter {{}} times the expected{{}}.", scatter, free)


def changes(found: Calibration) -> Table:
    """Values that the calibrated scenario has and the scenario had not."""
    assumed = {v.path: v.before for row in found.parameters for v in row.values}
    rows = []
    for path, old, new in found.changes:
        unit, before = spec_at(found.inputs, path).unit, assumed.get(path) if old is None else old
        was = "not given" if before is None else _shown(before, unit)
        tail = ", assumed" if old is None and path in assumed else ""
        rows.append((path, _shown(new, unit), was + tail))
    return Table(("value", "calibrated", "before"), tuple(rows), name="values")


def _shown(item: object, unit: str) -> str:
    return quantity(item, unit, 4) if isinstance(item, float) else str(item)


# --- tests


def residuals(found: Calibration) -> Table:
    """Measurements beside the model, calibrated and as it was."""
    heads = ("test", "load", "quantity", "measured", "predicted", "before", "difference", "")
    return Table(heads, tuple(map(_residual, found.residuals)), name="measurements")


def _residual(row: Reading) -> tuple[Cell, ...]:
    known = row.predicted and math.isfinite(row.predicted)
    off: Cell = signed(row.measured / row.predicted - 1, "%") if known else ""
    shown = (
        Value(number, UNITS[row.kind], endless="stalls")
        for number in (row.measured, row.predicted, row.before)
    )
    left: Cell = say("left out: {} × its scatter", Value(abs(row.size))) if row.is_outlier else ""
    return str(row.test.number), load(row.test), LABELS[row.kind], *shown, off, left


def sides(found: Calibration) -> Table:
    """Stalls and holds, each a bound from one side."""
    rows = tuple(map(_side, found.sides))
    return Table(("test", "load", "seen", "model", "by the model"), rows)


def _side(row: Reading) -> tuple[Cell, ...]:
    shown = say("{} of the torque needed", Value(row.predicted, sign=TIMES))
    if row.kind in (Kind.HELD, Kind.RAN_BACK):
        more = "in reserve" if row.predicted >= 0 else "missing"
        shown = say(f"{{}} of the lifting torque {more}", percent(abs(row.predicted)))
    agrees = "agrees" if row.agrees else "disagrees"
    return str(row.test.number), load(row.test), SIDES[row.kind], agrees, shown


def predictions(found: Calibration) -> Table:
    """Tests to come, with intervals."""
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            load(row.test),
            *_interval(row.time, "s"),
            *_interval(row.current, "A"),
            chance(row.stall_chance),
            "holds" if row.holds else "runs back",
        )
        for row in found.predictions
    )
    span = f"{100 * found.level:.3g} % interval"
    heads = ("next test", "time", span, "current", span, "stall chance", "power off")
    return Table(heads, rows, name="tests")


def _interval(found: Interval, unit: str) -> tuple[Value | str, Value | str]:
    if math.isinf(found.value):
        return "stalls", ""
    return Value(found.value, unit, found.low, found.high, endless="never").pair


def chance(share: float) -> Cell:
    """A probability, which is never none and never certain."""
    if share < 1e-3:
        return "< 0.1 %"
    return "> 99.9 %" if share > 1 - 1e-3 else percent(share)


def warnings(rows: Sequence[Prediction]) -> list[Finding]:
    """What has to be done before the tests to come."""
    falling = joined([(load(row.test),) for row in rows if not row.holds], ", ")
    back = say("With the power off {} may run back.", falling)
    found = [Finding(NOTICE, back, say("Fit a pawl or a brake first."))] if falling else []
    for row in rows:
        if row.blocked_by:
            broke = f"the part that broke in test {row.blocked_by[0]} is replaced"
            found.append(Finding(NOTICE, say(f"Lift {{}} only after {broke}.", load(row.test))))
    if any(row.time.open_share > OPEN for row in rows):
        text = "Much of the next interval comes from what the tests do not determine."
        found.append(Finding(NOTICE, say(text)))
    return found


# --- parts


def capacities(found: Calibration) -> Table:
    """What broken and surviving parts show of their capacity."""
    rows = [
        _capacity(row, row.lower if row.survived_mass is not None else None) for row in found.broken
    ]
    rows += [_capacity(row, row.at.demand, broke=False) for row in found.bounds]
    heads = ("part", "test", "load", "broke at", "survived", "estimate", "")
    return Table(heads, tuple(rows), name="parts")


def _capacity(row: Capacity, survived: float | None, *, broke: bool = True) -> tuple[Cell, ...]:
    s = row.at.link.strength
    place = (row.at.link.label, str(row.test.number), load(row.test))
    ends = (row.at.demand if broke else None, survived)
    shown = ("" if end is None else Value(end, s.unit) for end in ends)
    estimate = Value(s.value, s.unit, s.low, s.high)
    return (*place, *shown, estimate, _about(row) if broke else "")


def _about(row: Capacity) -> Text:
    """What else a break shows: its share of the estimate, wear, and the part that is next."""
    then = "next to break: {}, factor {}"
    texts = [
        say("at most {} of the estimate", percent(1 / row.at.factor)),
        say("wear, heat or fatigue may have weakened it") if row.weakened else (),
        say(then, row.next.link.label, Value(row.next.factor)) if row.next else (),
    ]
    return joined(texts, "; ")


# --- sheet


def other_version(
    origin: SheetOrigin | None, rows: Sequence[SheetRow], inputs: Inputs, digest: str
) -> Finding | None:
    """A caution where a sheet was planned for another version of the scenario; None where it was
    not.

    Parameters
    ----------
    origin : SheetOrigin or None
        What the sheet says of its scenario.
    rows : sequence of SheetRow
    inputs : Inputs
    digest : str
        SHA-256 of the scenario's text and options.
    """
    if origin is None or digest.startswith(origin.digest):
        return None
    plain, title = plain_raise(inputs), title_on_sheet(inputs.title)
    own = (("height", "m", plain.load.height), ("voltage", "V", plain.supply.voltage))
    names = say('"{}" instead of "{}"', origin.title[:60], title[:60])
    apart = [names] if origin.title != title else []
    for name, unit, now in own:
        planned = {v for row in rows if (v := getattr(row, name)) and abs(v / now - 1) > SAME}
        apart += [say("{} instead of {}", value(v, unit), value(now, unit)) for v in planned]
    hashes = f"hash {origin.digest}, now {digest[:12]}"
    text = say(
        f"The sheet was planned for another version ({hashes}) {{}}.",
        ("with ", *joined(apart, " and ")) if apart else "with the same height and voltage",
    )
    action = "Check that the scenario describes the tested winch; each row counts as it is."
    return Finding(NOTICE, text, say(action))
