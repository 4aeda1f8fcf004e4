"""Every figure of one lift in the order of a report, and those of several: name of its file, heading, and what to see in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from winchsim.report.figures import curves, energy, motor, teeth
from winchsim.report.figures.look import Look
from winchsim.report.figures.overlay import Run, overlay, with_sheet, with_trace
from winchsim.report.figures.schematic import schematic
from winchsim.report.measured import TestComparison
from winchsim.scenario.sheet import MeasuredTrace
from winchsim.simulate import Record
from winchsim.verdict.words import given


@dataclass(frozen=True)
class Picture:
    """One figure, drawn.

    Attributes
    ----------
    name : str
        Stem of its file.
    heading : str
    caption : str
        One or two sentences: what to see.
    figure : Figure
    look : Look
    """

    name: str
    heading: str
    caption: str
    figure: Figure
    look: Look


@dataclass(frozen=True)
class _Kind:
    name: str
    heading: str
    caption: str
    draw: Callable[..., Figure]


_DRAWING = (
    "The build",
    "Gears, motors and drum to scale, with their tooth counts; chain lines are pitch circles, dark turns of rope stay on the "
    "drum.",
)

_CURVES = (
    _Kind("height-and-speed", "Height and speed",
          "Where the load is and how fast it moves. Grey: the drum is held.", curves.height_and_speed),
    _Kind("electrical", "Current, voltage, power",
          "What the supply gives: the voltage at the motors' terminals, and their power together.", curves.electrical),
    _Kind("torque-speed", "Torque and speed of a motor",
          "The black path is what this lift asks of one motor, on the line of what it can give: grey as it starts, dashed with "
          "the hottest winding. Left of the dotted line its own drag takes everything.", motor.torque_speed),
    _Kind("tooth-factor", "Tooth factor of each stage",
          "How many times its present force the weaker tooth of each stage bears; the dot is the worst moment. Below 1 it "
          "breaks.", teeth.tooth_factors),
    _Kind("temperature", "Temperatures",
          "Winding and case of the hottest motors, against the winding's limit.", curves.temperatures),
    _Kind("rope-tension", "Rope tension",
          "Pull in the rope over the run; A and B show larger where it takes the load and where most happens.", curves.tension),
    _Kind("energy", "Where the energy went",
          "Every head of the energy books, with its share of what was put in.", energy.energy_ledger),
)  # fmt: skip

NAMES = ("build", *(kind.name for kind in _CURVES))
"""Names of all figures of one lift, in order."""


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
    if record.inputs is not None:
        found.append(Picture("build", *_DRAWING, schematic(record.machine, record.inputs, look, us=us), look))
    for kind in _CURVES:
        if kind.draw is teeth.tooth_factors and not teeth.stage_factors(record):
            continue
        found.append(Picture(kind.name, kind.heading, kind.caption, kind.draw(record, look, us=us), look))
    return found


SEVERAL_NAMES = ("overlay",)
MEASURED_NAMES = ("measured-lifts", "measured")
"""Names of the figures of several lifts, and of those with measured points."""


def several_lifts(runs: Sequence[Run], look: Look, *, us: bool = False) -> Picture:
    """Several lifts on shared axes."""
    caption = "Height, current and winding temperature of each lift; the number marks where it is decided."
    return Picture("overlay", "Several lifts", caption, overlay(runs, look, us=us), look)


def beside_trace(record: Record, trace: MeasuredTrace, look: Look, *, us: bool = False) -> Picture:
    """A lift beside a measured trace of it."""
    caption = "Simulated curves with the measured points, and what was measured less what was simulated."
    return Picture("measured", "Measured and simulated", caption, with_trace(record, trace, look, us=us), look)


def beside_sheet(tests: Sequence[TestComparison], look: Look, *, us: bool = False) -> list[Picture]:
    """The tests of a sheet as they were simulated, on shared axes, and how far they and the measurements are apart."""
    runs = []
    for record in {id(test.record): test.record for test in tests}.values():
        times = [test.row.measured_time for test in tests if test.record is record]
        measured = tuple(time for time in times if time is not None)
        runs.append(Run(given(record.machine.body.mass, "kg"), record, measured))
    caption = "Each load of the test sheet as it was simulated, with the lift times that were measured."
    shares = "Measured and simulated lift time and current over the load, and the difference in per cent."
    return [
        Picture("measured-lifts", "Tests on shared axes", caption, overlay(runs, look, us=us), look),
        Picture("measured", "Measured and simulated", shares, with_sheet(tests, look, us=us), look),
    ]
