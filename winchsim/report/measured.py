"""What was measured beside what was simulated: the differences, in numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.history import read_history
from winchsim.errors import Code, Fault, InputError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs
from winchsim.model.trial import plain_raise, under_test
from winchsim.scenario.sheet import SheetRow
from winchsim.scenario.trace import MeasuredTrace
from winchsim.simulation import Record, simulate
from winchsim.studies.calibrate import LiftTest

TRACED = (("height", "m"), ("current", "A"), ("voltage", "V"))
"""What a measured trace may hold: the same names as the record's channels, with their SI units."""

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
    mean, largest : float
        Mean, and the one that is farthest from zero. [`unit`]
    largest_at : float
        When that is. [s]
    """

    name: str
    unit: str
    time: np.ndarray
    difference: np.ndarray
    mean: float
    largest: float
    largest_at: float

    @property
    def printed_unit(self) -> str:
        """Unit that suits the size of the difference."""
        return _SMALL.get(self.unit, self.unit) if abs(self.largest) < 0.1 else self.unit


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
    found = []
    for name, unit in TRACED:
        values = getattr(trace, name)
        if values is None:
            continue
        good = (
            np.isfinite(values) & (trace.time >= record.time[0]) & (trace.time <= record.time[-1])
        )
        if not good.any():
            continue
        time = trace.time[good]
        gap = values[good] - np.interp(time, record.time, record[name])
        worst = int(np.argmax(np.abs(gap)))
        found.append(
            TraceDifference(
                name, unit, time, gap, float(np.mean(gap)), float(gap[worst]), float(time[worst])
            )
        )
    return tuple(found)


@dataclass(frozen=True)
class TestComparison:
    """One row of a test sheet beside the simulation of the same test.

    Attributes
    ----------
    row : SheetRow
    record : Record
        With the row's load, height, voltage and winding temperature where it gives them.
    time : float or None
        Simulated lift time. [s]
    current : float or None
        Simulated steady current. [A]
    """

    __test__ = False  # not a test itself, whatever pytest makes of its name

    row: SheetRow
    record: Record
    time: float | None
    current: float | None

    @property
    def time_difference(self) -> float | None:
        """Measured less simulated lift time, as a share of the simulated one. [-]"""
        return _share(self.row.measured_time, self.time)

    @property
    def current_difference(self) -> float | None:
        """Measured less simulated steady current, as a share of the simulated one. [-]"""
        return _share(self.row.measured_current, self.current)


def compared(row: SheetRow, record: Record) -> TestComparison:
    """A row of a test sheet with the simulation that belongs to it."""
    history = read_history(record)
    return TestComparison(row, record, history.lift_time, history.steady("current"))


UNLOADED = 1e-4
"""Load of an unloaded run in the computation, as a share of the scenario's. [-]"""


def lift_tests(inputs: Inputs, rows: Sequence[SheetRow]) -> tuple[LiftTest, ...]:
    """Rows of a test sheet as tests of a scenario's lift; a row without a load is an unloaded run.

    Parameters
    ----------
    inputs : Inputs
    rows : sequence of SheetRow
    """
    return tuple(
        LiftTest(
            number=number,
            mass=row.mass or UNLOADED * inputs.load.mass,
            rung=row.rung,
            height=row.height or None,
            voltage=row.voltage or None,
            winding_start=row.winding_start,
            time=row.measured_time,
            current=row.measured_current,
            motor_voltage=row.measured_voltage,
            held=row.held,
            outcome=row.outcome,
            broke_link=row.broke_link or "",
            rest=row.rest_before,
            bare=not row.mass,
        )
        for number, row in enumerate(rows, start=1)
    )


def simulated_sheet(
    inputs: Inputs,
    rows: Sequence[SheetRow],
    *,
    most: int,
    on_progress: Callable[[int, int], object] = lambda *_: None,
) -> tuple[TestComparison, ...]:
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
    tests = lift_tests(inputs, done)
    different = {test.conditions: test for test in tests}
    if len(different) > most:
        message = f"more than {most} different tests in the sheet"
        raise InputError((Fault(message, hint="draw it in parts", code=Code.TOO_MUCH),))
    records: dict[tuple[float | None, ...], Record] = {}
    for conditions, test in different.items():
        records[conditions] = simulate(under_test(plain, test.values_in(plain)))
        on_progress(len(records), len(different))
    return tuple(
        compared(row, records[test.conditions]) for row, test in zip(done, tests, strict=True)
    )


def comparison_facts(test: TestComparison) -> dict[str, Any]:
    """A row beside its simulation as plain data."""
    return {
        "mass_kg": test.row.mass or 0.0,
        "measured_time_s": test.row.measured_time,
        "simulated_time_s": test.time,
        "time_difference": test.time_difference,
        "measured_current_a": test.row.measured_current,
        "simulated_current_a": test.current,
        "current_difference": test.current_difference,
    }


def difference_facts(found: TraceDifference) -> dict[str, Any]:
    """Differences of one quantity of a trace as plain data."""
    return {
        "quantity": found.name,
        "unit": found.unit,
        "samples": len(found.time),
        "mean_difference": found.mean,
        "largest_difference": found.largest,
        "largest_at_s": found.largest_at,
    }


def _share(measured: float | None, simulated: float | None) -> float | None:
    return None if measured is None or not simulated else measured / simulated - 1


def mean_difference(comparisons: Sequence[TestComparison]) -> tuple[float | None, float | None]:
    """Mean of the differences in time and in current over several tests, as shares. [-]"""
    means = []
    for values in (
        [c.time_difference for c in comparisons],
        [c.current_difference for c in comparisons],
    ):
        known = [value for value in values if value is not None]
        means.append(sum(known) / len(known) if known else None)
    return means[0], means[1]
