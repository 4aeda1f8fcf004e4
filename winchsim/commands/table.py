"""Every command as a row of data: what it is called, what it takes, and what its help says."""

from typing import Any

from winchsim.commands import files
from winchsim.commands.call import Argument, Command, argument, choice, flag
from winchsim.report.names import FILE_NAMES

FILE = argument("file", "FILE", "scenario file")
FILES = argument("files", "FILE", "scenario files", nargs="+")
SET = argument(
    "--set",
    "PATH=VALUE",
    'change a value, such as --set load.mass="30 kg" (may be repeated)',
    action="append",
    default=[],
    dest="overrides",
)
LOG = argument(
    "--log",
    "LAYOUT",
    "columns of a log and what it does not say, such as 'time=Zeit:ms, height=mark:10 cm, "
    "rate=25, speed=8, loads=0/2/5 kg'",
    default="",
)
UNITS = choice("--units", ("si", "us"), "print US units beside the SI ones", default="si")
FORCE = flag("--force", "replace files that exist")
FULL = flag("--full", "print all details")
PARTS = argument("--parts", "FILE", "parts at hand, instead of those in the scenario")
FASTEST = flag("--fastest", "take the fastest of candidates that are otherwise equal")


def _written(help: str, **facts: Any) -> tuple[Argument, ...]:
    """Options of a command that writes several files into a folder."""
    return argument("--out", "DIR", help, **facts), UNITS, FORCE


RESULTS = (FULL, *_written("write the report, its data and its figure there"))


def _sizing(name: str, summary: str, span: str, details: str, *more: Argument) -> Command:
    return Command(
        name,
        summary,
        f"winchsim {name} crate.toml --range {span}",
        (
            FILE,
            SET,
            PARTS,
            argument("--range", "LOW:HIGH", f"range to try, such as {span}", dest="span"),
            argument("--target-time", "TIME", 'longest lift time, such as "60 s"'),
            argument("--margin", "NUMBER", "required starting torque margin (1.25 if left out)"),
            FASTEST,
            *more,
            *RESULTS,
        ),
        f"{details} Takes a candidate with no failing check, with the fewest thin ones that can be "
        "changed, and confirms it by a full simulation. --full prints all candidates. "
        "Ends with 0 when there is one, else with 1.",
        module="sizing",
        names=files.STUDY,
    )


COMMANDS = (
    Command(
        "lift",
        "simulate and assess the lift of a scenario",
        'winchsim lift crate.toml --set load.mass="30 kg"',
        (
            FILE,
            SET,
            FULL,
            argument(
                "--csv",
                "FILE",
                "write the record, one column a quantity, one row a sample (- for standard output)",
            ),
            flag("--no-remedies", "do not look for actions that help"),
            flag("--snag", "also simulate a snag, at load.snag_height or at half height"),
            argument(
                "--repeat",
                "NUMBER",
                "lift this many times in a row: warming, battery charge and tooth damage add up",
                type=int,
            ),
            argument("--pause", "TIME", 'pause between these lifts, such as "2 min"'),
            *_written(
                "write report.html, report.md, the figures, record.csv and gears.csv (the gears "
                "to print) there"
            ),
        ),
        "Prints one screen: what becomes of the load, the checks with their ranges, the weakest "
        "parts, what breaks in a jam, and what to change. --full prints the rest. "
        "Ends with 0 when all goes as asked and no check fails, else with 1.",
        file="csv",
        names=FILE_NAMES,
    ),
    _sizing(
        "drum",
        "find the drum diameters that meet the limits, and one to take",
        "4mm:30mm",
        "Diameters over a range, sizes that can be bought among them, or the drums at hand.",
    ),
    _sizing(
        "gears",
        "find the change of the gears that suits a load",
        "150:600",
        "One pair with other teeth, one pair more, one fewer, or every train of the gears at hand. "
        "The range is that of the whole ratio.",
    ),
    _sizing(
        "motors",
        "find how many motors a load needs",
        "1:12",
        "Every number of motors of one group, or of every sort at hand.",
        argument("--group", "NUMBER", "motor group, from 1", type=int, default=1),
    ),
    _sizing(
        "voltage",
        "find the supply voltages that meet the limits, and one to take",
        "4V:9V",
        "Voltages over a range; takes the one nearest to that of the motors' data.",
    ),
    _sizing(
        "heaviest",
        "find the heaviest load that a build lifts, and what limits it",
        "1kg:40kg",
        "Loads over a range; takes the heaviest.",
    ),
    Command(
        "choose",
        "find the best build from gears, motors, drums and ropes at hand",
        "winchsim choose crate.toml --parts drawer.toml",
        (FILE, SET, PARTS, FASTEST, *RESULTS),
        "Parts stand in the scenario or in a file of their own: [[parts.gears]], [[parts.motors]], "
        "[[parts.drums]], [[parts.ropes]]; see winchsim keys parts. Shows the five best, each "
        "simulated in full. Ends with 0 when no check fails for the first, else with 1.",
        module="sizing",
        names=files.STUDY,
    ),
    Command(
        "sweep",
        "compare builds that differ in some values",
        "winchsim sweep crate.toml --vary drum.diameter=8mm,10mm,12mm "
        "--vary supply.voltage=12V,14V",
        (
            FILES,
            SET,
            argument(
                "--vary",
                "PATH=VALUE,VALUE...",
                "values of a key, such as drum.diameter=8mm,10mm (may be repeated)",
                action="append",
                required=True,
                dest="varied",
            ),
            flag("--list", "combine the first values, then the second ones, and so on"),
            flag("--simulate", "simulate each build in full"),
            *RESULTS,
        ),
        "Every value is combined with every other. Prints a table by status, the scenario as it is "
        "first. One key is drawn as curves, two as a map with the limits as lines. Without "
        "--simulate the model is quasi-static: where no brake stops the drum, the load's swing as "
        "the power goes off is left out, up to a fourth of what parts carry. Ends with 0.",
        module="sizing",
        names=files.STUDY,
    ),
    Command(
        "ladder",
        "plan test loads from an unloaded run to the target, and write the sheet to fill in",
        "winchsim ladder crate.toml --out tests",
        (
            FILE,
            SET,
            FULL,
            argument(
                "--target",
                "MASS",
                'load of the last rung, such as "25 kg" (default: the scenario\'s)',
            ),
            argument("--rungs", "NUMBER", "loaded rungs (default: 5)", type=int, default=5),
            flag(
                "--blind",
                "leave the predictions out of the sheet, for pupils who make their own; they "
                "go into answers.html",
            ),
            *_written("write the sheet as HTML and CSV there, and the numbers as JSON"),
        ),
        "Each rung is simulated and assessed as by lift: predicted time, current and temperature, "
        "the weakest part, what limits it, when to stop, the pause for cooling, and how the load "
        "comes down. With --out: ladder.html to print, and ladder.csv, which calibrate reads once "
        "it is filled in. Ends as lift does for the worst rung.",
        names=files.of_ladder,
    ),
    Command(
        "calibrate",
        "fit what the scenario assumes to timed lifts, and predict the next one",
        "winchsim calibrate crate.toml tests.csv --out calibrated",
        (
            FILE,
            SET,
            FULL,
            argument("tests", "TESTS.csv", "test sheet, one row a test, or a log"),
            LOG,
            argument(
                "--fit",
                "NAMES",
                "what to fit, such as mesh_friction,bearings; left out: all",
                default="",
            ),
            argument(
                "--next",
                "MASS",
                'load to predict, such as "12 kg"',
                action="append",
                default=[],
                dest="masses",
            ),
            argument(
                "--level", "SHARE", "probability of the intervals (default: 90 %%)", default="90 %"
            ),
            *_written("folder for the calibrated scenario, the figure and the numbers"),
        ),
        "Fits all assumed values at once, each held by the range that it is declared with. Lists "
        "what the tests do not determine, and names a measurement that does not fit the others. "
        "Stalls and holds count as evidence from one side; a part that broke bounds its capacity. "
        "Rows without results are tests to come: they are predicted. A log of time and current, "
        "voltage, height or turns is cut into its lifts. With --out: the calibrated scenario, a "
        "figure of measured against predicted, and the numbers.",
        names=files.CALIBRATION,
    ),
    Command(
        "why",
        "rank the causes of a breakage, a stall or a run-back",
        "winchsim why crate.toml ladder.csv",
        (
            FILE,
            argument("tests", "SHEET", "test sheet with what happened"),
            SET,
            argument("--row", "NUMBER", "which row, from 1 (default: the last)", type=int),
            FULL,
            *_written("write the report as HTML, text and JSON there"),
        ),
        "Explains the last row that broke, stalled or did not hold: what each cause would have "
        "asked of the part, what speaks for it and against it, what to look for on the pieces, and "
        "what to change. Ends with 0.",
        names=files.STUDY[:3],
    ),
    Command(
        "spread",
        "lift many builds with the differences that parts have: what fails how often, and what "
        "matters",
        "winchsim spread crate.toml --builds 2000 --seed 7 --out spread",
        (
            FILE,
            SET,
            FULL,
            argument(
                "--builds", "N", "builds to lift (default: 1000, with --simulate 100)", type=int
            ),
            argument(
                "--seed",
                "N",
                "random seed: the same seed, the same builds (default: 1)",
                type=int,
                default=1,
            ),
            flag("--simulate", "lift each build by the full simulation"),
            argument(
                "--level", "SHARE", "probability of the intervals (default: 95 %%)", default="95 %"
            ),
            argument(
                "--workers",
                "N",
                "processes to use here (default: one for each core; give it twice for more "
                "than that)",
                type=int,
                action="append",
            ),
            argument(
                "--scheduler",
                "ADDRESS",
                'address of a running scheduler of the package in the extra "cluster"',
            ),
            *_written("write the page, the numbers, every build and the picture there"),
        ),
        "Draws the values with a [[tolerance]] from it, other given values from the usual "
        "tolerance of such parts, and what the scenario leaves out from the range of its estimate; "
        "every motor has its own. Lifts each build by the quasi-static model (--simulate: by the "
        "full simulation). Ctrl-C keeps what is done. "
        "Ends with 1 when more than 1 in 100 builds stalls, breaks or overheats.",
        names=files.STUDY,
    ),
    Command(
        "curves",
        "draw the curves of a lift, or of several on shared axes",
        "winchsim curves crate.toml --out figures --format svg",
        (
            FILES,
            SET,
            argument("--measured", "CSV", "test sheet or log to draw and compare"),
            LOG,
            flag("--ladder", "draw the rungs of a ladder up to the FILE's load"),
            argument("--format", "LIST", "any of png, svg and pdf, with commas", default="png,svg"),
            choice(
                "--width",
                ("column", "page", "slide"),
                "86 mm, 178 mm (two columns of a journal), or 254 mm with larger type",
                default="column",
            ),
            argument("--only", "NAMES", "these figures alone, with commas"),
            choice(
                "--animate", ("gif", "mp4"), "also write the lift of one FILE as a moving picture"
            ),
            argument(
                "--speed",
                "N",
                "of the moving picture, in multiples of real time",
                type=float,
                default=1.0,
            ),
            argument("--dpi", "N", "dots per inch of a PNG", type=int, default=200),
            *_written("folder to write to; left out, this one", default="."),
        ),
        "One FILE: a drawing of the build and every curve of its lift. Several: all lifts on "
        "shared axes. --ladder lays the rungs of the FILE's ladder over each other. --measured "
        "takes a filled test sheet (every row is simulated as it was tested) or a log of time "
        "and any of height, turns, current and voltage, which counts from power on, and says how "
        "far simulation and measurement differ.",
        names=files.of_curves,
    ),
    Command(
        "new",
        "write a commented scenario to start from",
        "winchsim new crate.toml",
        (argument("file", "FILE", "file to write, such as crate.toml"), FORCE),
        "The scenario lifts as it stands; every line says what to put there.",
        file="file",
    ),
    Command(
        "materials",
        "show the materials, ropes and friction pairs, each value with its source",
        "winchsim materials PETG polyester",
        (argument("names", "NAME", "materials or ropes to show in full", nargs="*"), UNITS),
        "Without names: an overview. With names: every value of these, with its range and source.",
    ),
    Command(
        "keys",
        "list every key of a scenario with its unit, bounds, default and meaning",
        "winchsim keys rope",
        (
            argument(
                "table", "TABLE", "only this table, such as rope or motors.gearbox", nargs="?"
            ),
            flag("--markdown", "print Markdown tables"),
            argument(
                "--schema",
                "COMMAND",
                "print the JSON Schema of what COMMAND --json prints, such as lift; error: of "
                "a refusal",
            ),
        ),
    ),
    Command(
        "try",
        "open a page on which a build is changed and lifted again",
        "winchsim try crate.toml",
        (
            argument("file", "FILE", "scenario file", nargs="?"),
            SET,
            argument(
                "--listen",
                "ADDRESS",
                "address to serve on; 0.0.0.0 opens the page to the network, for a phone "
                "beside the winch",
                default="127.0.0.1",
            ),
            argument("--port", "PORT", "port to serve on", type=int),
            flag("--no-browser", "only print the address"),
        ),
        "The page is served from this machine, for this machine alone, until Ctrl-C. "
        "Without a file it starts from the scenario that winchsim new writes.",
        module="try_page",
    ),
)
"""Every command, in the order of the help."""
