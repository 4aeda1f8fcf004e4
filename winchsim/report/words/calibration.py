"""A calibration in words: what tests determine, how well the model meets them, and what comes
next."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from winchsim.inputs import Inputs, spec_at
from winchsim.model.trial import plain_raise
from winchsim.quantity_text import quantity
from winchsim.report.document import (
    Cell,
    Face,
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
from winchsim.report.words.values import TIMES, percent, signed, suited, value
from winchsim.scenario.sheet import SheetOrigin, SheetRow
from winchsim.studies.calibrate import (
    Calibration,
    Capacity,
    Interval,
    Kind,
    LiftTest,
    Note,
    NoteKind,
    Parameter,
    Prediction,
)
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
    texts = [say(f"{count} test{'s determine' if count != 1 else ' determines'} {what}.")]
    times = [
        row.measured / row.predicted - 1
        for row in found.residuals
        if row.kind is Kind.TIME and not row.is_outlier and math.isfinite(row.predicted)
    ]
    if times:
        off = math.sqrt(sum(share**2 for share in times) / len(times))
        texts.append(say("The lift times agree within {}.", percent(off)))
    texts += [
        say(
            f"The {LABELS[row.kind]} of test {row.test.number} does not "
            f"fit the others and is left out."
        )
        for row in found.residuals
        if row.is_outlier
    ]
    texts += [
        say(f"Test {row.test.number} {SIDES[row.kind]}, but the calibrated model disagrees.")
        for row in found.sides
        if not row.agrees
    ]
    if not found.complete:
        texts.append(
            say("Partial: full simulations that were not made are not taken into account.")
        )
    return joined(texts)


def note(found: Note) -> Text:
    """What could not be used, or has to be asked."""
    test = found.test
    if test is None or found.kind is NoteKind.PAWL_HOLDS:
        return say(
            "With a pawl, that a load held or ran back is no evidence of friction; it is not used."
        )
    name = say(f"Test {test.number} ({{}})", load(test))
    if found.kind is NoteKind.NOT_A_LIFT_TIME:
        how = {"stalled": "stalled", "stopped": "was stopped"}.get(
            test.outcome or "", "broke a part"
        )
        return say("{} {}: its time is no lift time and is not used.", name, how)
    if found.kind is NoteKind.UNKNOWN_PART:
        what = (
            f'"{test.broke_link}" is no part of this scenario'
            if test.broke_link
            else "the broken part is missing"
        )
        return say(
            "{}: {}. Write one of: {}.", name, what, ", ".join(part for part, _ in found.choices)
        )
    parts = joined([say(f"{part} ({{}})", percent(share)) for part, share in found.choices], ", ")
    return say('{}: which part is "{}"? By likelihood: {}.', name, test.broke_link, parts)


# --- fitted values


def fitted(found: Calibration, inputs: Inputs) -> Table:
    """Values of the factors that the tests determine."""
    heads = ("determined", "was", "is", f"{100 * found.level:.3g} % interval", "prior width left")
    rows: list[tuple[Cell, ...]] = []
    for row in found.parameters:
        if row.determined:
            rows += _fitted(row, inputs)
    return Table(heads, tuple(rows), name="values")


def _fitted(row: Parameter, inputs: Inputs) -> list[tuple[Cell, ...]]:
    rows: list[tuple[Cell, ...]] = []
    for v in row.values:
        is_path = "." in v.path
        unit = suited(spec_at(inputs, v.path).unit, v.after) if is_path else ""
        sign = "" if is_path else TIMES
        is_ = Value(v.after, unit, v.low, v.high, sign=sign, face=Face.VALUE)
        span = Value(v.after, unit, v.low, v.high, sign=sign, face=Face.RANGE)
        name = v.path if is_path else label(v.path)
        rows.append(
            (name, Value(v.before, unit, sign=sign), is_, span, "" if rows else percent(row.width))
        )
    return rows


def undetermined(found: Calibration) -> Text:
    """Factors that keep what was assumed of them, and those that tests do not tell apart."""
    names = [label(row.factor.name) for row in found.parameters if not row.determined]
    texts = [say(f"{', '.join(names)}.")] if names else []
    for together in found.together:
        texts.append(say(f"Determined only in combination: {listed(map(label, together))}."))
    return joined(texts)


def basis(found: Calibration) -> Text:
    """What the intervals rest on."""
    count = sum(not row.is_outlier for row in found.residuals)
    text = say(f"{count} measurements; scatter {{}} times the expected", Value(found.scatter))
    if found.dof >= 1:
        text = say("{} with {} degrees of freedom", text, Value(found.dof))
    if found.quasi_static_off is not None:
        off = percent(found.quasi_static_off)
        text = say("{}; corrected for full simulations, which differ by up to {}", text, off)
    return (*text, ".")


def changes(found: Calibration) -> Table:
    """Values that the calibrated scenario has and the scenario had not."""
    assumed = {v.path: v.before for row in found.parameters for v in row.values}
    rows: list[tuple[Cell, ...]] = []
    for path, old, new in found.changes:
        unit = spec_at(found.inputs, path).unit
        before = assumed.get(path) if old is None else old
        was = "not given" if before is None else _shown(before, unit)
        rows.append(
            (path, _shown(new, unit), f"{was}, assumed" if old is None and path in assumed else was)
        )
    return Table(("value", "calibrated", "before"), tuple(rows), name="values")


def _shown(item: object, unit: str) -> str:
    return quantity(item, unit, 4) if isinstance(item, float) else str(item)


# --- tests


def residuals(found: Calibration) -> Table:
    """Measurements beside the model, calibrated and as it was."""
    heads = ("test", "load", "quantity", "measured", "predicted", "before", "difference", "")
    rows: list[tuple[Cell, ...]] = []
    for row in found.residuals:
        unit = UNITS[row.kind]
        known = row.predicted and math.isfinite(row.predicted)
        off: Cell = signed(row.measured / row.predicted - 1, "%") if known else ""
        times = (
            Value(v, unit, endless="stalls") for v in (row.measured, row.predicted, row.before)
        )
        left: Cell = (
            say("left out: {} × its scatter", Value(abs(row.size))) if row.is_outlier else ""
        )
        rows.append((str(row.test.number), load(row.test), LABELS[row.kind], *times, off, left))
    return Table(heads, tuple(rows), name="measurements")


def sides(found: Calibration) -> Table:
    """Stalls and holds, each a bound from one side."""
    rows: list[tuple[Cell, ...]] = []
    for row in found.sides:
        shown: Text = say("{} of the torque needed", Value(row.predicted, sign=TIMES))
        if row.kind in (Kind.HELD, Kind.RAN_BACK):
            more = "in reserve" if row.predicted >= 0 else "missing"
            shown = say(f"{{}} of the lifting torque {more}", percent(abs(row.predicted)))
        agrees = "agrees" if row.agrees else "disagrees"
        rows.append((str(row.test.number), load(row.test), SIDES[row.kind], agrees, shown))
    return Table(("test", "load", "seen", "model", "by the model"), tuple(rows))


def predictions(found: Calibration) -> Table:
    """Tests to come, with intervals."""
    span = f"{100 * found.level:.3g} % interval"
    heads = ("next test", "time", span, "current", span, "stall chance", "power off")
    rows: list[tuple[Cell, ...]] = []
    for row in found.predictions:
        shown = (*_interval(row.time, "s"), *_interval(row.current, "A"))
        rows.append(
            (
                load(row.test),
                *shown,
                chance(row.stall_chance),
                "holds" if row.holds else "runs back",
            )
        )
    return Table(heads, tuple(rows), name="tests")


def _interval(found: Interval, unit: str) -> tuple[Value, Value]:
    if math.isinf(found.value):
        return Value(found.value, unit, endless="stalls"), Value(None, unit, face=Face.RANGE)
    value_, span = (
        Value(found.value, unit, found.low, found.high, endless="never", face=face)
        for face in (Face.VALUE, Face.RANGE)
    )
    return value_, span


def chance(share: float) -> Cell:
    """A probability, which is never none and never certain."""
    if share < 1e-3:
        return "< 0.1 %"
    return "> 99.9 %" if share > 1 - 1e-3 else percent(share)


def warnings(rows: Sequence[Prediction]) -> list[Finding]:
    """What has to be done before the tests to come."""
    found = []
    falling = [row.test for row in rows if not row.holds]
    if falling:
        loads = joined([(load(test),) for test in falling], ", ")
        text = say("With the power off {} may run back.", loads)
        found.append(Finding(NOTICE, text, say("Fit a pawl or a brake first.")))
    for row in rows:
        if row.blocked_by:
            text = say(
                f"{{}} only once the part that broke in test {row.blocked_by[0]} is mended.",
                load(row.test),
            )
            found.append(Finding(NOTICE, text))
    if any(row.time.open_share > OPEN for row in rows):
        text = say("Much of the next interval comes from what the tests do not determine.")
        found.append(Finding(NOTICE, text))
    return found


# --- parts


def broken(found: Capacity) -> tuple[Text, ...]:
    """What a breakage shows."""
    s = found.at.link.strength
    at, mass = Value(found.at.demand, s.unit), load(found.test)
    texts = [
        say(
            f"{found.at.link.label}: it broke in test {found.test.number} ({{}}) at {{}}.", mass, at
        )
    ]
    lower = Value(found.lower, s.unit)
    if found.survived_mass is not None:
        kept = value(found.survived_mass, "kg")
        texts.append(
            say("It survived {} with {}: its capacity is {} to {}.", lower, kept, lower, at)
        )
    else:
        texts.append(
            say("No test bounds its capacity from below; {} is taken from the estimate.", lower)
        )
    if found.weakened:
        texts.append(say("It survived as much before: wear, heat or fatigue may have weakened it."))
    estimate = Value(s.value, s.unit, s.low, s.high)
    texts.append(
        say(
            "The estimate was {}: it broke at {} of that at most.",
            estimate,
            percent(found.share_of_estimate),
        )
    )
    if found.next is not None:
        texts.append(
            say(
                f"The next part to break: {found.next.link.label}, factor {{}}.",
                Value(found.next.factor),
            )
        )
    if found.set_path:
        texts.append(say(f"The calibrated scenario has the lower bound: {found.set_path}."))
    return tuple(texts)


def bound(found: Capacity) -> Text:
    """A capacity that is higher than was estimated."""
    s = found.at.link.strength
    estimate = Value(s.value, s.unit, s.low, s.high)
    text = (
        f"{found.at.link.label} survived {{}} in test {found.test.number}; the estimate was {{}}."
    )
    return say(text, Value(found.at.demand, s.unit), estimate)


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
    plain, title, apart = plain_raise(inputs), title_on_sheet(inputs.title), []
    if origin.title != title:
        apart.append(say(f'"{origin.title[:60]}" instead of "{title[:60]}"'))
    for name, unit, own in (
        ("height", "m", plain.load.height),
        ("voltage", "V", plain.supply.voltage),
    ):
        planned = {v for row in rows if (v := getattr(row, name)) and abs(v / own - 1) > SAME}
        if planned:
            values = joined([(value(v, unit),) for v in sorted(planned)], ", ")
            apart.append(say("{} instead of {}", values, value(own, unit)))
    what = say("with {}", joined(apart, " and ")) if apart else "with the same height and voltage"
    text = (
        f"The sheet was planned for another version (hash {origin.digest}, now {digest[:12]}) {{}}."
    )
    action = (
        "Check that the scenario describes the winch that was tested; each row counts as it stands."
    )
    return Finding(NOTICE, say(text, what), say(action))
