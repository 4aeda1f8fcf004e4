"""``winchsim ladder``: a plan of test loads from light to the target, to print and fill in."""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import add_command, add_force, add_scenario, add_units, usage_error
from winchsim.commands.outputs import add_out_folder, write_out
from winchsim.commands.progress import progress

FILE_NAMES = ("ladder.html", "ladder.csv", "ladder.json")
MOST_RUNGS = 12
"""Most loaded rungs that are planned."""


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "ladder",
        "plan test loads from an unloaded run to the target, and write the sheet to fill in",
        run,
        example="winchsim ladder crate.toml --out tests",
        details=(
            "For each rung: predicted time, current, voltage and temperature, the weakest link, what holds, when to stop,\n"
            "the wait for cooling, and how the load comes down. With --out: ladder.html to print on one page, and ladder.csv,\n"
            "which calibrate reads once it is filled in.\n"
            "Ends with 0 when every rung comes up and nothing dangerous was found, else with 1."
        ),
    )
    add_scenario(parser)
    parser.add_argument("--target", metavar="MASS", help='load of the last rung, such as "25 kg"; left out, the scenario\'s')
    parser.add_argument("--rungs", metavar="NUMBER", type=int, default=5, help="loaded rungs (5 if left out)")
    add_out_folder(parser, lambda _: FILE_NAMES, "write the sheet as HTML and CSV there, and the numbers as JSON")
    add_units(parser)
    add_force(parser)


def run(options: argparse.Namespace, env: Env) -> int:
    """Plan, write the files where asked to, print the result."""
    if not 1 <= options.rungs <= MOST_RUNGS:
        raise usage_error(f"{options.rungs} rungs", f"--rungs takes 1 to {MOST_RUNGS}")
    from winchsim.scenario.read import read
    from winchsim.units import parse_quantity

    target = None if options.target is None else parse_quantity(options.target, "kg")
    scenario, us = read(options.file, options.overrides), options.units == "us"

    from winchsim.report.ladder import ladder_csv, ladder_json, ladder_page, ladder_text
    from winchsim.studies.ladder import plan_ladder

    with progress(env, "rungs") as tell:
        ladder = plan_ladder(scenario.inputs, target=target, rungs=options.rungs, on_progress=tell)
    if options.out:
        contents = (
            ladder_page(ladder, name=scenario.name, us=us),
            ladder_csv(ladder, us=us, digest=scenario.digest),
            ladder_json(ladder, scenario.digest),
        )
        write_out(options, env, dict(zip(FILE_NAMES, contents, strict=True)))
    if options.json:
        env.out(ladder_json(ladder, scenario.digest))
    else:
        env.out(ladder_text(ladder, name=scenario.name, us=us, paint=env.paint))
    return ExitCode.GOOD if ladder.good else ExitCode.BAD
