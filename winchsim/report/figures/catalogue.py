"""Every figure of one lift in the order of a report, drawn."""

from collections.abc import Callable, Collection
from importlib import import_module

from matplotlib.figure import Figure

from winchsim.errors import DomainError
from winchsim.report.document import FigureRef
from winchsim.report.figures.look import COLUMN, Look
from winchsim.report.names import NAMES, OF_A_LIFT
from winchsim.simulation import Record

Picture = tuple[FigureRef, Figure]
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
    drawing = import_module(f"winchsim.report.figures.{module}")
    draw: Callable[[Record, Look], Figure | None] = getattr(drawing, function)
    return draw(record, look)


def pictures(record: Record, look: Look, names: Collection[str] = NAMES) -> list[Picture]:
    """The figures of a record that there is something to draw for.

    Parameters
    ----------
    record : Record
    look : Look
    names : collection of str
        Of the figures that are wanted; left out, all.
    """
    drawn = ((each, figure(record, each.name, look)) for each in OF_A_LIFT if each.name in names)
    return [(each, found) for each, found in drawn if found is not None]
