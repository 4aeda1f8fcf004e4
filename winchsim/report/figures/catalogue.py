"""Every figure of one lift in the order of a report, and those of several, drawn."""

from collections.abc import Collection, Sequence
from importlib import import_module

from matplotlib.figure import Figure

from winchsim.errors import DomainError
from winchsim.quantity_text import text_of
from winchsim.report.figures.look import COLUMN, Look
from winchsim.report.figures.overlay import Run, overlay, with_sheet
from winchsim.report.measured import TestComparison
from winchsim.report.names import BESIDE_SHEET, NAMES, OF_A_LIFT, TESTS, FigureWords
from winchsim.simulation import Record

Picture = tuple[FigureWords, Figure]
"""One figure, drawn, with its name and what is said of it."""


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


def pictures(record: Record, look: Look, names: Collection[str] = NAMES) -> list[Picture]:
    """The figures of a record that there is something to draw for.

    Parameters
    ----------
    record : Record
    look : Look
    names : collection of str
        Of the figures that are wanted; left out, all.
    """
    wanted = [words for words in OF_A_LIFT if words.name in names]
    drawn = [(words, figure(record, words.name, look)) for words in wanted]
    return [(words, found) for words, found in drawn if found is not None]


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
    return [(TESTS, overlay(runs, look)), (BESIDE_SHEET, with_sheet(tests, look))]
