"""Every figure of one lift in the order of a report: name of its file, heading, what to see in it, and how it is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.figure import Figure

from winchsim.report.figures import curves, energy, motor, teeth
from winchsim.report.figures.look import Look
from winchsim.report.figures.schematic import schematic
from winchsim.simulate import Record


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
