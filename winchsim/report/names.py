"""Every figure and every file of a report by name. Nothing is drawn here.

Apart from the figures themselves, so that a command knows which files it will write without the
time that a drawing library takes to load.
"""

from winchsim.report.document import FigureRef

OF_A_LIFT = (
    FigureRef(
        "build",
        "The build",
        (
            "Gears, motors and drum to scale, with their tooth counts. "
            "Dark turns of rope are dead turns."
        ),
        "schematic:build",
    ),
    FigureRef(
        "height-and-speed",
        "Height and speed",
        "Height and speed of the load. Grey: the drum is held.",
        "curves:height_and_speed",
    ),
    FigureRef(
        "electrical",
        "Current, voltage, power",
        "Current and power of the supply, and the voltage at the motors' terminals.",
        "curves:electrical",
    ),
    FigureRef(
        "torque-speed",
        "Torque and speed of a motor",
        "Black: torque and speed of one motor during the lift. Grey: the motor when cold. Dotted: "
        "with its hottest winding. Left of the thin line its own drag takes all torque.",
        "curves:torque_speed",
    ),
    FigureRef(
        "tooth-factor",
        "Tooth factor of each stage",
        "Capacity over demand of the weaker tooth of each stage. The dot is the lowest factor. "
        "Below 1 the tooth breaks.",
        "curves:tooth_factors",
    ),
    FigureRef(
        "temperature",
        "Temperatures",
        "Winding and case of the hottest motors, and the limit of the winding.",
        "curves:temperatures",
    ),
    FigureRef(
        "rope-tension",
        "Rope tension",
        "Tension of the rope. A and B enlarge lift-off and the stretch with the most events.",
        "curves:tension",
    ),
    FigureRef(
        "energy",
        "Energy",
        "Where the energy went, with the share of each loss and store.",
        "energy:energy_ledger",
    ),
)
"""The figures of one lift in the order of a report. One entry here and its function add a
figure."""

OVERLAY = FigureRef(
    "overlay",
    "Several lifts",
    "Height, current and winding temperature of each lift. A number marks where each is decided.",
)
"""Several lifts on shared axes."""

BESIDE_TRACE = FigureRef(
    "measured",
    "Measured and simulated",
    "Simulated curves, measured points, and the difference between them.",
)
"""A lift beside a measured trace of it."""

TESTS = FigureRef(
    "measured-lifts",
    "Tests on shared axes",
    "Each load of the test sheet as simulated, with the measured lift times.",
)
"""The tests of a sheet on shared axes."""

BESIDE_SHEET = FigureRef(
    "measured",
    "Measured and simulated",
    "Measured and simulated lift time and current over the load, and their difference.",
)
"""How far the tests of a sheet and their simulations are apart."""

NAMES = tuple(words.name for words in OF_A_LIFT)
"""Names of all figures of one lift in order."""

FILE_NAMES = (
    "report.html",
    "report.md",
    "record.csv",
    "gears.csv",
    *(f"{name}.png" for name in NAMES),
)
"""Names of all files that the report of a lift may have."""
