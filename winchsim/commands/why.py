"""``winchsim why``: why did a part break, the winch stall, or the load run back?"""

import argparse

from winchsim.commands.call import Env, ExitCode, again, finish
from winchsim.face import why
from winchsim.report import why as report
from winchsim.report.render.text import render_text
from winchsim.studies.calibrate.evidence import Note


def run(options: argparse.Namespace, env: Env) -> int:
    """Diagnose, write the files where asked to, print the result."""
    scenario = options.scenario
    found = why(scenario.inputs, options.tests, options.row)
    if isinstance(found, Note):
        question = report.question(found, scenario, again(options))
        env.out(render_text(question, env.rendering(us=options.units == "us")))
        return ExitCode.MISUSE
    finish(
        options,
        env,
        scenario.digest,
        report.diagnosis_document(found, scenario, again(options)),
        lambda: report.diagnosis_json(found, scenario),
    )
    return ExitCode.GOOD
