"""``winchsim new``: a commented scenario to start from."""

import argparse

from winchsim.commands.call import Env, ExitCode
from winchsim.report.json_text import document
from winchsim.report.writing import write_file
from winchsim.scenario.starter import STARTER


def run(options: argparse.Namespace, env: Env) -> int:
    """Write the starter scenario."""
    write_file(options.file, STARTER, force=options.force)
    env.out(
        document(rows=[{"file": options.file}])
        if options.json
        else f"wrote {options.file}\nnext: winchsim lift {options.file}"
    )
    return ExitCode.GOOD
