"""Every figure of one lift in the order of a report, and those of several, drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from winchsim.report.figures import curves, energy, motor, teeth
from winchsim.report.figures.look import Look
from winchsim.report.figures.overlay import Run, overlay, with_sheet, with_trace
from winchsim.report.figures.schematic import schematic
from winchsim.report.measured import TestComparison
from winchsim.report.names import BESIDE_SHEET, BESIDE_TRACE, OF_A_LIFT, OVERLAY, TESTS, FigureWords
from winchsim.scenario.sheet import MeasuredTrace
from winchsim.simulation import Record
from winchsim.verdict.words import given


@dataclass(frozen=True)
class Picture:
    """One figure, drawn, with what is said of it.

    Attributes
    ----------
    words : FigureWords
    figure : Figure
    look : Look
    """

    words: FigureWords
    figure: Figure
    look: Look

    @property
    def name(self) -> str:
        """Stem of its file."""
        return self.words.name

    @property
    def heading(self) -> str:
        """Heading above it."""
        return self.words.heading

    @property
    def caption(self) -> str:
        """One or two sentences: what to see."""
        return self.words.caption


_DRAWN_BY: Mapping[str, Callable[..., Figure]] = {
    "height-and-speed": curves.height_and_speed,
    "electrical": curves.electrical,
    "torque-speed": motor.torque_speed,
    "tooth-factor": teeth.tooth_factors,
    "temperature": curves.temperatures,
    "rope-tension": curves.tension,
    "energy": energy.energy_ledger,
}
"""What draws each figure that is drawn from a record alone, by name."""


def pictures(record: Record, look: Look, *, us: bool = False) -> list[Picture]:
    """Every figure of a record.

    Parameters
    ----------
    record : Record
        The drawing of the build is left out where it was not made from a scenario.
    look : Look
    us : bool
        Whether US units are shown too.
    """
    found = []
    for words in OF_A_LIFT:
        if words.name == "build":
            if record.inputs is not None:
                found.append(Picture(words, schematic(record.machine, record.inputs, look, us=us), look))
        elif words.name != "tooth-factor" or teeth.stage_factors(record):
            found.append(Picture(words, _DRAWN_BY[words.name](record, look, us=us), look))
    return found


def several_lifts(runs: Sequence[Run], look: Look, *, us: bool = False) -> Picture:
    """Several lifts on shared axes.

    Parameters
    ----------
    runs : sequence of Run
    look : Look
    us : bool
        Whether US units are shown too.
    """
    return Picture(OVERLAY, overlay(runs, look, us=us), look)


def beside_trace(record: Record, trace: MeasuredTrace, look: Look, *, us: bool = False) -> Picture:
    """A lift beside a measured trace of it.

    Parameters
    ----------
    record : Record
    trace : MeasuredTrace
    look : Look
    us : bool
        Whether US units are shown too.
    """
    return Picture(BESIDE_TRACE, with_trace(record, trace, look, us=us), look)


def beside_sheet(tests: Sequence[TestComparison], look: Look, *, us: bool = False) -> list[Picture]:
    """The tests of a sheet as they were simulated, on shared axes, and how far they and the measurements are apart.

    Parameters
    ----------
    tests : sequence of TestComparison
    look : Look
    us : bool
        Whether US units are shown too.
    """
    runs = []
    for record in {id(test.record): test.record for test in tests}.values():
        times = [test.row.measured_time for test in tests if test.record is record]
        measured = tuple(time for time in times if time is not None)
        runs.append(Run(given(record.machine.body.mass, "kg"), record, measured))
    return [
        Picture(TESTS, overlay(runs, look, us=us), look),
        Picture(BESIDE_SHEET, with_sheet(tests, look, us=us), look),
    ]
