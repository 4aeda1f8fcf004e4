"""``winchsim keys``: every key that a scenario can have."""

import json
from functools import partial

from winchsim.commands.call import Env, ExitCode, Namespace, refuse
from winchsim.report.json_text import document
from winchsim.report.render.options import painted
from winchsim.scenario.keys import key_tables, keys_markdown, keys_text


def run(options: Namespace, env: Env) -> int:
    """Print the key reference, or the schema of a document."""
    tables = key_tables(options.table)
    if options.schema is not None:
        from winchsim.report.json_schema import DOCUMENTS, schema

        env.as_json = True
        is_unknown, hint = options.schema not in DOCUMENTS, f"one of {', '.join(DOCUMENTS)}"
        refuse((is_unknown, f"no schema of {options.schema!r}", hint))
        env.out(json.dumps(schema(options.schema), indent=2, ensure_ascii=False))
    elif options.json:
        env.out(document(rows=[row for table in tables for row in table.rows]))
    elif options.markdown:
        env.out(keys_markdown(tables))
    else:
        strong = partial(painted, "strong", colour=env.coloured(env.stdout_is_terminal))
        env.out(keys_text(tables, strong, env.columns))
    return ExitCode.GOOD
