"""``winchsim choose``: the best whole build from the parts at hand."""

from __future__ import annotations

import argparse

from winchsim.commands.env import Env
from winchsim.commands.options import FILE, SET, Command, argument
from winchsim.commands.progress import progress
from winchsim.commands.sizing import PARTS, RESULTS, finish, read_with_parts, result_names


def run(options: argparse.Namespace, env: Env) -> int:
    """Choose, write the files where asked to, print the result."""
    scenario = read_with_parts(options)

    from winchsim.report import choose as report
    from winchsim.studies.choose import choose

    with progress(env, "full simulations") as tell:
        found = choose(scenario.inputs, fastest=options.fastest, on_progress=tell)
    more = ["--parts", options.parts] if options.parts else []
    more += ["--fastest"] if options.fastest else []
    finish(
        options, env, "choose", scenario.digest, report.choice_document(found, scenario, more),
        json=lambda: report.choice_json(found, scenario), csv=lambda: report.choice_csv(found),
    )  # fmt: skip
    return found.exit_code


COMMANDS = (
    Command(
        "choose",
        "find the best build from gears, motors, drums and ropes at hand",
        run,
        "winchsim choose crate.toml --parts drawer.toml",
        (
            FILE,
            SET,
            PARTS,
            argument(
                "--fastest",
                action="store_true",
                help="of those that are otherwise equal, take the fastest",
            ),
            *RESULTS,
        ),
        "Parts stand in the scenario or in a file of their own: [[parts.gears]], [[parts.motors]], "
        "[[parts.drums]], [[parts.ropes]]; see winchsim keys parts. Shows the five best, each "
        "simulated in full. Ends with 0 when no check fails for the first, else with 1.",
        names=result_names,
    ),
)
"""The command."""
