"""``winchsim choose``: the best whole build from the parts at hand."""

import argparse

from winchsim.commands.env import Env
from winchsim.commands.outputs import again, finish
from winchsim.commands.progress import progress
from winchsim.report import sizing as report
from winchsim.studies.choose import choose
from winchsim.studies.sweep import rows_csv


def run(options: argparse.Namespace, env: Env) -> int:
    """Choose, write the files where asked to, print the result."""
    scenario = options.scenario
    with progress(env, "full simulations") as tell:
        found = choose(scenario.inputs, fastest=options.fastest, on_progress=tell)
    finish(
        options, env, scenario.digest,
        report.choice_document(found, scenario, again(options)),
        json=lambda: report.choice_json(found, scenario),
        csv=lambda: rows_csv(report.choice_rows(found)),
    )  # fmt: skip
    return found.exit_code
