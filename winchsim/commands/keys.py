"""``winchsim keys``: every key that a scenario can have."""

from __future__ import annotations

import argparse
import json
from functools import partial

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import Command, argument, usage_error
from winchsim.report.json_text import document


def run(options: argparse.Namespace, env: Env) -> int:
    """Print the key reference, or the schema of a document."""
    if options.schema is not None:
        from winchsim.report.json_schema import DOCUMENTS, schema

        if options.schema not in DOCUMENTS:
            raise usage_error(f"no schema of {options.schema!r}", f"one of {', '.join(DOCUMENTS)}")
        env.as_json = True
        env.out(json.dumps(schema(options.schema), indent=2, ensure_ascii=False))
        return ExitCode.GOOD
    from winchsim.scenario.keys import key_tables, keys_markdown, keys_text

    tables = key_tables(options.table)
    if options.json:
        env.out(document(rows=[row for table in tables for row in table.rows]))
    elif options.markdown:
        env.out(keys_markdown(tables))
    else:
        strong = partial(env.paint, "strong")
        env.out(keys_text(tables, strong, env.columns))
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
            argument(
                "--schema",
                metavar="COMMAND",
                help="print the JSON Schema of what COMMAND --json prints, such as lift; error: of "
                "a refusal",
            ),
        ),
    ),
)
