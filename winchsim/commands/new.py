"""``winchsim new``: a commented scenario to start from."""

from __future__ import annotations

import argparse

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import FORCE, Command, argument
from winchsim.report.json_text import document


def run(options: argparse.Namespace, env: Env) -> int:
    """Write the starter scenario."""
    from winchsim.report.writing import write_file
    from winchsim.scenario.starter import STARTER

    write_file(options.file, STARTER, force=options.force)
    if options.json:
        env.out(document(rows=[{"file": options.file}]))
    else:
        env.out(f"wrote {options.file}\nnext: winchsim lift {options.file}")
    return ExitCode.GOOD


COMMANDS = (
    Command(
        "new",
        "write a commented scenario to start from",
        run,
        "winchsim new crate.toml",
        (argument("file", metavar="FILE", help="file to write, such as crate.toml"), FORCE),
        "The scenario lifts as it stands; every line says what to put there.",
        file="file",
    ),
)
