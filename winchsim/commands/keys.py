"""``winchsim keys``: every key that a scenario can have."""

from __future__ import annotations

import argparse

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import Command, argument
from winchsim.report.json_text import document


def run(options: argparse.Namespace, env: Env) -> int:
    """Print the key reference."""
    from winchsim.scenario.keys import key_tables, keys_markdown, keys_text

    tables = key_tables(options.table)
    if options.json:
        env.out(document(rows=[row for table in tables for row in table.rows]))
    elif options.markdown:
        env.out(keys_markdown(tables))
    else:
        env.out(keys_text(tables, env.paint.strong, env.columns))
    return ExitCode.GOOD


COMMANDS = (
    Command(
        "keys",
        "list every key of a scenario with its unit, bounds, default and meaning",
        run,
        "winchsim keys rope",
        (
            argument(
                "table",
                metavar="TABLE",
                nargs="?",
                help="only this table, such as rope or motors.gearbox",
            ),
            argument("--markdown", action="store_true", help="print Markdown tables"),
        ),
    ),
)
