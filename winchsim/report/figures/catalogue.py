"""Every figure of one lift in the order of a report, and those of several, drawn."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

from matplotlib.figure import Figure

from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.quantity_text import text_of
from winchsim.report.figures.look import COLUMN, Look
from winchsim.report.figures.overlay import Run, overlay, with_sheet, with_trace
from winchsim.report.measured import TestComparison
from winchsim.report.names import BESIDE_SHEET, BESIDE_TRACE, OF_A_LIFT, OVERLAY, TESTS, FigureWords
from winchsim.scenario.trace import MeasuredTrace
from winchsim.simulation import Record


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


def figure(record: Record, name: str, look: Look = COLUMN) -> Figure | None:
    """One figure of a record, to be shown or changed with matplotlib.

    Parameters
    ----------
    record : Record
    name : str
        One of `winchsim.report.names.NAMES`, such as ``energy``.
    look : Look
        Its size and units.

    Returns
    -------
    Figure or None
        None where there is nothing to draw, such as teeth of a winch without gears.
    """
    drawn_by = {words.name: words.drawn_by for words in OF_A_LIFT}
    if name not in drawn_by:
        raise DomainError("name", name, f"one of {', '.join(drawn_by)}")
    module, function = drawn_by[name].split(":")
    draw = getattr(import_module(f"winchsim.report.figures.{module}"), function)
    found: Figure | None = draw(record, look)
    return found


def pictures(record: Record, look: Look) -> list[Picture]:
    """Every figure of a record that there is something to draw for.

    Parameters
    ----------
    record : Record
    look : Look
    """
    drawn = [(words, figure(record, words.name, look)) for words in OF_A_LIFT]
    return [Picture(words, found, look) for words, found in drawn if found is not None]


def several_lifts(runs: Sequence[Run], look: Look) -> Picture:
    """Several lifts on shared axes.

    Parameters
    ----------
    runs : sequence of Run
    look : Look
    """
    return Picture(OVERLAY, overlay(runs, look), look)


def beside_trace(record: Record, trace: MeasuredTrace, look: Look) -> Picture:
    """A lift beside a measured trace of it.

    Parameters
    ----------
    record : Record
    trace : MeasuredTrace
    look : Look
    """
    return Picture(BESIDE_TRACE, with_trace(record, look, trace), look)


def beside_sheet(tests: Sequence[TestComparison], look: Look) -> list[Picture]:
    """The tests of a sheet as they were simulated, on shared axes, and how far they and the
    measurements are apart.

    Parameters
    ----------
    tests : sequence of TestComparison
    look : Look
    """
    runs = []
    for record in {id(test.record): test.record for test in tests}.values():
        times = [test.row.measured_time for test in tests if test.record is record]
        measured = tuple(time for time in times if time is not None)
        runs.append(Run(text_of(record.machine.body.mass, "kg"), record, measured))
    return [
        Picture(TESTS, overlay(runs, look), look),
        Picture(BESIDE_SHEET, with_sheet(tests, look), look),
    ]
