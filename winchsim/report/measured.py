"""What was measured beside what was simulated: the differences, in numbers and in sentences."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.history import read_history
from winchsim.assessment.kinds import Assessment, Caution
from winchsim.errors import Code, Fault, InputError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, with_values
from winchsim.model.trial import UNLOADED, plain_raise
from winchsim.quantity_text import key
from winchsim.report.document import (
    Cell,
    Document,
    FindingText,
    Items,
    Paragraph,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.ladder import title_on_sheet
from winchsim.report.words.advice import CAUTIONS
from winchsim.report.words.findings import NOTE, NOTICE
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import TIMES, load, percent, signed, value
from winchsim.scenario.sheet import SheetOrigin, SheetRow
from winchsim.scenario.trace import Log, MeasuredTrace
from winchsim.simulation import Record, simulate
from winchsim.studies.calibrate import UNITS, Kind, LiftTest, MeasuredReading

TRACED = (("height", "m"), ("current", "A"), ("voltage", "V"))
"""What a measured trace may hold: the same names as the record's channels, with their SI units."""

LABELS = {
    Kind.TIME: "lift time",
    Kind.CURRENT: "steady current",
    Kind.VOLTAGE: "voltage at the motors",
    Kind.STALL_CURRENT: "current while stalled",
}
"""What a reading measures."""

SIDES = {
    Kind.LIFTED: "was lifted",
    Kind.STALLED: "stalled",
    Kind.HELD: "held",
    Kind.RAN_BACK: "ran back",
}
"""What was seen of a test from one side."""

_SMALL = {"m": "mm", "A": "mA"}


@dataclass(frozen=True)
class TraceDifference:
    """Measured less simulated, over all samples of one quantity of a trace that lie within the run.

    Attributes
    ----------
    name, unit : str
        Channel of the record, and its SI unit.
    time, difference : ndarray, shape (n,)
        Samples, and measured less simulated at each. [s], [`unit`]
    """

    name: str
    unit: str
    time: np.ndarray
    difference: np.ndarray

    @property
    def mean(self) -> float:
        """Mean difference. [`unit`]"""
        return float(np.mean(self.difference))

    @property
    def largest(self) -> tuple[float, float]:
        """The difference that is farthest from zero [`unit`], and when that is [s]."""
        place = np.argmax(np.abs(self.difference))
        return float(self.difference[place]), float(self.time[place])

    @property
    def printed_unit(self) -> str:
        """Unit that suits the size of the difference."""
        return _SMALL.get(self.unit, self.unit) if abs(self.largest[0]) < 0.1 else self.unit


def trace_differences(record: Record, trace: MeasuredTrace) -> tuple[TraceDifference, ...]:
    """Differences of every quantity that a trace holds; its time counts from power on, as the
    record's does.

    Parameters
    ----------
    record : Record
    trace : MeasuredTrace

    Returns
    -------
    tuple of TraceDifference
        None for a quantity without a single sample within the run.
    """
    within = (trace.time >= record.time[0]) & (trace.time <= record.time[-1])
    found = []
    for name, unit in TRACED:
        values = getattr(trace, name)
        good = within & np.isfinite(np.nan if values is None else values)
        if good.any():
            time = trace.time[good]
            gap = values[good] - np.interp(time, record.time, record[name])
            found.append(TraceDifference(name, unit, time, gap))
    return tuple(found)


@dataclass(frozen=True)
class Pair:
    """One number measured and simulated, in SI: None where it was not measured, and where the load
    is not lifted."""

    measured: float | None
    simulated: float | None

    @property
    def difference(self) -> float | None:
        """Measured less simulated, as a share of the simulated. [-]"""
        return (
            self.measured / self.simulated - 1
            if self.measured is not None and self.simulated
            else None
        )


@dataclass(frozen=True)
class ComparedTest:
    """One row of a test sheet beside the simulation of the same test.

    Attributes
    ----------
    row : SheetRow
    record : Record
        With the row's load, height, voltage and winding temperature where it gives them.
    time, current : Pair
        Lift time [s], and steady current [A].
    """

    row: SheetRow
    record: Record
    time: Pair
    current: Pair


def compared(row: SheetRow, record: Record) -> ComparedTest:
    """A row of a test sheet with the simulation that belongs to it."""
    history = read_history(record)
    return ComparedTest(
        row,
        record,
        Pair(row.measured_time, history.lift_time),
        Pair(row.measured_current, history.steady("current")),
    )


def lift_tests(inputs: Inputs, rows: Sequence[SheetRow]) -> tuple[LiftTest, ...]:
    """Rows of a test sheet as tests of a scenario's lift; a row without a load is an unloaded run.

    Parameters
    ----------
    inputs : Inputs
    rows : sequence of SheetRow
    """
    return tuple(
        LiftTest(
            **vars(row)
            | {
                "number": number,
                "mass": row.mass or UNLOADED * inputs.load.mass,
                "height": row.height or None,
                "voltage": row.voltage or None,
                "bare": not row.mass,
            }
        )
        for number, row in enumerate(rows, start=1)
    )


def simulated_sheet(
    inputs: Inputs,
    rows: Sequence[SheetRow],
    *,
    most: int,
    on_progress: Callable[[int, int], object] = lambda *_: None,
) -> tuple[ComparedTest, ...]:
    """Rows of a test sheet that were measured with a load, each beside the full simulation of the
    same test.

    Parameters
    ----------
    inputs : Inputs
        Its first raise counts, as in a calibration; the rest of its programme is left out.
    rows : sequence of SheetRow
        Rows of equal tests share one simulation.
    most : int
        Simulations that are made at most.
    on_progress : callable
        Called with the simulations done and their number.

    Raises
    ------
    InputError
        More different tests than that, or one that the scenario cannot be built for.
    """
    plain = plain_raise(inputs)
    done = [row for row in rows if row.measured_time or row.measured_current or row.outcome]
    given = [tuple(test.values_in(plain).items()) for test in lift_tests(inputs, done)]
    different = dict.fromkeys(given)
    if len(different) > most:
        message = f"more than {most} different tests in the sheet"
        raise InputError((Fault(message, hint="draw it in parts", code=Code.TOO_MUCH),))
    records: dict[tuple[tuple[str, float], ...], Record] = {}
    for values in different:
        records[values] = simulate(with_values(plain, dict(values)))
        on_progress(len(records), len(different))
    return tuple(compared(row, records[values]) for row, values in zip(done, given, strict=True))


def mean_difference(pairs: Iterable[Pair]) -> float | None:
    """Mean of the differences over several tests, as a share; None where none is known. [-]"""
    known = [pair.difference for pair in pairs if pair.difference is not None]
    return sum(known) / len(known) if known else None


# --- data


def comparison_facts(test: ComparedTest) -> dict[str, Any]:
    """A row beside its simulation as plain data."""
    return {
        "mass_kg": test.row.mass or 0.0,
        "measured_time_s": test.time.measured,
        "simulated_time_s": test.time.simulated,
        "time_difference": test.time.difference,
        "measured_current_a": test.current.measured,
        "simulated_current_a": test.current.simulated,
        "current_difference": test.current.difference,
    }


def difference_facts(found: TraceDifference) -> dict[str, Any]:
    """Differences of one quantity of a trace as plain data."""
    return {
        "quantity": found.name,
        "unit": found.unit,
        "samples": len(found.time),
        "mean_difference": found.mean,
        "largest_difference": found.largest[0],
        "largest_at_s": found.largest[1],
    }


def test_facts(test: LiftTest) -> dict[str, Any]:
    """Which test it was, as plain data."""
    return {"test": test.number, "rung": test.rung, "mass_kg": test.mass}


def residual_facts(row: MeasuredReading) -> dict[str, Any]:
    """A measurement beside the model as plain data."""
    name = "lift_time" if row.kind is Kind.TIME else row.kind.value
    return {
        **test_facts(row.test),
        "kind": row.kind.value,
        **{
            key(f"{which}_{name}", UNITS[row.kind]): getattr(row, which)
            for which in ("measured", "predicted", "before")
        },
        "standardised_residual": row.size,
        "outlier": row.is_outlier,
    }


# --- sentences


def log(found: Log) -> FindingText:
    """How a log was read: guessed columns, and when each of its lifts began."""
    texts = [
        *(
            say("{} is taken as {}", head.replace("_", " "), f"{name} in {unit}" if unit else name)
            for head, name, unit in found.guessed
        ),
        *([say("not used: {}", ", ".join(found.unused))] if found.unused else []),
        *(
            say(
                f"power on of lift {number} at {{}}{{}}",
                value(lift.start, "s"),
                "" if lift.aligned else ", which the log does not show",
            )
            for number, lift in enumerate(found.lifts, start=1)
        ),
    ]
    return FindingText(NOTE, say("The log: {}.", joined(texts, "; ")))


CUT_DIGITS = 1e-4
"""Difference up to which a height or a voltage of a sheet is the scenario's, its digits cut. [-]"""


def other_version(
    origin: SheetOrigin | None, rows: tuple[SheetRow, ...], inputs: Inputs, digest: str
) -> FindingText | None:
    """A caution where a sheet was planned for another version of the scenario; None where it was
    not.

    Parameters
    ----------
    origin : SheetOrigin or None
        What the sheet says of its scenario.
    rows : tuple of SheetRow
    inputs : Inputs
    digest : str
        SHA-256 of the scenario's text and options.
    """
    if origin is None or digest.startswith(origin.digest):
        return None
    plain, title = plain_raise(inputs), title_on_sheet(inputs.title)
    scales = ("height", "m", plain.load.height), ("voltage", "V", plain.supply.voltage)
    apart = [
        *[say('"{}" instead of "{}"', origin.title[:60], title[:60])] * (origin.title != title),
        *(
            say("{} instead of {}", value(v, unit), value(now, unit))
            for name, unit, now in scales
            for v in {
                v
                for v in (getattr(row, name) for row in rows)
                if v and abs(v / now - 1) > CUT_DIGITS
            }
        ),
    ]
    version = f"another version (hash {origin.digest}, now {digest[:12]})"
    return FindingText(
        NOTICE,
        say(
            f"The sheet was planned for {version} {{}}.",
            ("with ", *joined(apart, " and ")) if apart else "with the same height and voltage",
        ),
        say("Check that the scenario describes the tested winch; each row counts as it is."),
    )


def trace_sentence(found: TraceDifference) -> Text:
    """Differences of one quantity of a trace."""
    largest, time = found.largest
    return say(
        f"{found.name}, measured less simulated: mean {{}}, largest {{}} at {{}}, "
        f"{len(found.time)} samples",
        signed(found.mean, found.printed_unit),
        signed(largest, found.printed_unit),
        value(time, "s"),
    )


def row_sentence(found: ComparedTest) -> Text:
    """One row of a test sheet beside its simulation."""
    row, is_lifted = found.row, found.time.simulated is not None
    parts = [_both("time", "s", found.time), _both("current", "A", found.current)]
    if row.outcome is not None and not (is_lifted and any(parts) and row.outcome == "lifted"):
        did = "lifts" if is_lifted else "does not lift"
        parts.append(say(f"the test {_OUTCOMES[row.outcome]}, the simulation {did}"))
    return say(
        "{}: {}",
        load(row),
        joined(parts, "; ") or "nothing measured",
    )


_OUTCOMES = {
    "lifted": "lifted",
    "stalled": "stalled",
    "broke": "broke a part",
    "stopped": "was stopped",
}


def _both(name: str, unit: str, found: Pair) -> Text:
    """A measured value beside the simulated one; nothing where none was measured."""
    if found.measured is None:
        return ()
    share = found.difference
    off = () if share is None else say(" ({})", signed(share, "%"))
    beside: Text = (", not lifted in the simulation",)
    if found.simulated is not None:
        beside = say(", {} simulated{}", Value(found.simulated, unit), off)
    return say(f"{name} {{}} measured{{}}", Value(found.measured, unit), beside)


def residual_row(row: MeasuredReading) -> tuple[Cell, ...]:
    """A measurement beside the model, calibrated and as it was."""
    shown = (
        Value(number, UNITS[row.kind], endless="stalls")
        for number in (row.measured, row.predicted, row.before)
    )
    known = row.predicted and math.isfinite(row.predicted)
    off: Cell = signed(row.measured / row.predicted - 1, "%") if known else ""
    left: Cell = say("left out: {} × its scatter", Value(abs(row.size))) if row.is_outlier else ""
    return str(row.test.number), load(row.test), LABELS[row.kind], *shown, off, left


def side_row(row: MeasuredReading) -> tuple[Cell, ...]:
    """A stall or a hold, a bound from one side."""
    shown = say("{} of the torque needed", Value(row.predicted, sign=TIMES))
    if row.kind in (Kind.HELD, Kind.RAN_BACK):
        more = "in reserve" if row.predicted >= 0 else "missing"
        shown = say(f"{{}} of the lifting torque {more}", percent(abs(row.predicted)))
    return (
        str(row.test.number),
        load(row.test),
        SIDES[row.kind],
        "agrees" if row.agrees else "disagrees",
        shown,
    )


def curves_document(
    names: Sequence[str], found: Sequence[Assessment], remarks: Sequence[Text]
) -> Document:
    """What is printed beside figures: the answer for each scenario, remarks, and the cautions."""
    answers = [say("{}: {}", name, outcome(each)) for name, each in zip(names, found, strict=True)]
    cautions = Items(
        tuple(
            say(CAUTIONS[kind])
            for kind in (Caution.NOT_RATED, Caution.KEEP_CLEAR, Caution.LOCAL_CODES)
        )
    )
    return Document("", "", (*map(Paragraph, (*answers, *remarks)), cautions))
