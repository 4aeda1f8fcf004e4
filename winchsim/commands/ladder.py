"""``winchsim ladder``: a plan of test loads from light to the target, to print and fill in."""

from __future__ import annotations

import argparse

from winchsim.commands.env import Env
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
    quantity_of,
    usage_error,
)
from winchsim.commands.outputs import again, present, write_out
from winchsim.commands.progress import progress

FILE_NAMES = ("ladder.html", "ladder.csv", "ladder.json")
ANSWERS = ("ladder.html", "ladder.csv", "answers.html", "answers.json")
"""Files of a sheet without predictions, and the answers to it."""

RUNGS, MOST_RUNGS = 5, 12
"""Loaded rungs where nothing is said, and the most that are planned."""


def _names(options: argparse.Namespace) -> tuple[str, ...]:
    return ANSWERS if options.blind else FILE_NAMES


def run(options: argparse.Namespace, env: Env) -> int:
    """Plan, write the files where asked to, print the result."""
    if not 1 <= options.rungs <= MOST_RUNGS:
        raise usage_error(f"{options.rungs} rungs", f"--rungs takes 1 to {MOST_RUNGS}")
    from winchsim.scenario.read import read

    target = quantity_of("--target", options.target, "kg")
    scenario = read(options.file, options.overrides)
    us, blind = options.units == "us", options.blind

    from winchsim.report.ladder import build, ladder_csv, ladder_json, ladder_page
    from winchsim.studies.ladder import plan_ladder

    with progress(env, "rungs") as tell:
        ladder = plan_ladder(scenario.inputs, target=target, rungs=options.rungs, on_progress=tell)
    if options.out:
        contents = [
            ladder_page(ladder, name=scenario.name, us=us, blind=blind),
            ladder_csv(ladder, us=us, digest=scenario.digest, blind=blind),
            *([ladder_page(ladder, name=scenario.name, us=us)] if blind else []),
            ladder_json(ladder, scenario.digest),
        ]
        files = dict(zip(_names(options), contents, strict=True))
        write_out(options, env, files, digest=scenario.digest)
    report = build(ladder, name=scenario.name, command=again(options))
    present(options, env, report, lambda: ladder_json(ladder, scenario.digest))
    return ladder.exit_code


COMMANDS = (
    Command(
        "ladder",
        "plan test loads from an unloaded run to the target, and write the sheet to fill in",
        run,
        "winchsim ladder crate.toml --out tests",
        (
            FILE,
            SET,
            FULL,
            argument(
                "--target",
                metavar="MASS",
                help='load of the last rung, such as "25 kg" (default: the scenario\'s)',
            ),
            argument(
                "--rungs",
                metavar="NUMBER",
                type=int,
                default=RUNGS,
                help=f"loaded rungs (default: {RUNGS})",
            ),
            argument(
                "--blind",
                action="store_true",
                help="leave the predictions out of the sheet, for pupils who make their own; they "
                "go into answers.html",
            ),
            out_folder("write the sheet as HTML and CSV there, and the numbers as JSON"),
            UNITS,
            FORCE,
        ),
        "Each rung is simulated and assessed as by lift: predicted time, current and temperature, "
        "the weakest part, what limits it, when to stop, the pause for cooling, and how the load "
        "comes down. With --out: ladder.html to print, and ladder.csv, which calibrate reads once "
        "it is filled in. Ends as lift does for the worst rung.",
        names=_names,
    ),
)
