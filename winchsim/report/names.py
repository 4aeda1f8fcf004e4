"""What the figures of a lift and the files of its report are called, and what is said of each: nothing is drawn here.

Apart from the figures themselves, so that a command can tell which files it will write without the time that a drawing
library takes to load.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FigureWords:
    """What is said of one figure.

    Attributes
    ----------
    name : str
        Stem of its file.
    heading : str
    caption : str
        One or two sentences: what to see.
    """

    name: str
    heading: str
    caption: str


OF_A_LIFT = (
    FigureWords("build", "The build",
                "Gears, motors and drum to scale, with their tooth counts; chain lines are pitch circles, dark turns of rope "
                "stay on the drum."),
    FigureWords("height-and-speed", "Height and speed",
                "Where the load is and how fast it moves. Grey: the drum is held."),
    FigureWords("electrical", "Current, voltage, power",
                "What the supply gives: the voltage at the motors' terminals, and their power together."),
    FigureWords("torque-speed", "Torque and speed of a motor",
                "The black path is what this lift asks of one motor, on the line of what it can give: grey as it starts, "
                "dashed with the hottest winding. Left of the dotted line its own drag takes everything."),
    FigureWords("tooth-factor", "Tooth factor of each stage",
                "How many times its load the weaker tooth of each stage would bear; the dot is the worst moment. Below 1 "
                "it breaks."),
    FigureWords("temperature", "Temperatures",
                "Winding and case of the hottest motors, against the winding's limit."),
    FigureWords("rope-tension", "Rope tension",
                "Pull in the rope over the run; A and B enlarge where it takes the load and where most happens."),
    FigureWords("energy", "Where the energy went",
                "Every head of the energy books, with its share of what was put in."),
)  # fmt: skip
"""The figures of one lift in the order of a report."""

OVERLAY = FigureWords(
    "overlay", "Several lifts", "Height, current and winding temperature of each lift; the number marks where it is decided."
)
"""Several lifts on shared axes."""

BESIDE_TRACE = FigureWords(
    "measured",
    "Measured and simulated",
    "Simulated curves with the measured points, and what was measured less what was simulated.",
)
"""A lift beside a measured trace of it."""

TESTS = FigureWords(
    "measured-lifts",
    "Tests on shared axes",
    "Each load of the test sheet as it was simulated, with the lift times that were measured.",
)
"""The tests of a sheet on shared axes."""

BESIDE_SHEET = FigureWords(
    "measured",
    "Measured and simulated",
    "Measured and simulated lift time and current over the load, and the difference in per cent.",
)
"""How far the tests of a sheet and their simulations are apart."""

NAMES = tuple(words.name for words in OF_A_LIFT)
SEVERAL_NAMES = (OVERLAY.name,)
MEASURED_NAMES = (TESTS.name, BESIDE_SHEET.name)
"""Names of all figures of one lift in order, of several lifts, and of those with measured points."""

FILE_NAMES = ("report.html", "report.md", "record.csv", *(f"{name}.png" for name in NAMES))
"""Names of all files that the report of a lift may have."""
