"""``winchsim new``: a commented scenario to start from."""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import add_command, add_force
from winchsim.commands.outputs import add_out_file
from winchsim.report.json_text import document


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "new",
        "write a commented scenario to start from",
        run,
        example="winchsim new crate.toml",
        details="The scenario lifts as it stands; every line says what to put there.",
    )
    add_out_file(parser, "file", "file to write, such as crate.toml")
    add_force(parser)


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
