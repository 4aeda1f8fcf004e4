"""``winchsim why``: why did a part break, the winch stall, or the load run back?"""

from __future__ import annotations

import argparse
import shlex

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
)
from winchsim.commands.outputs import write_out

FILE_NAMES = ("why.html", "why.txt", "why.json")


def run(options: argparse.Namespace, env: Env) -> int:
    """Diagnose, write the files where asked to, print the result."""
    from winchsim.scenario.read import read
    from winchsim.scenario.sheet import read_sheet

    scenario = read(options.file, options.overrides)

    from winchsim.report import why as report
    from winchsim.report.measured import lift_tests
    from winchsim.report.render.html import render_html
    from winchsim.report.render.options import Options
    from winchsim.report.render.text import render_text
    from winchsim.studies.calibrate.evidence import Note
    from winchsim.studies.why import why

    tests = lift_tests(scenario.inputs, read_sheet(options.tests))
    found, us = why(scenario.inputs, tests, options.row), options.units == "us"
    command = shlex.join(["winchsim", "why", scenario.name, options.tests, "--full"])
    if isinstance(found, Note):
        env.out(render_text(report.question(found, scenario, command), env.rendering(us=us)))
        return ExitCode.MISUSE
    document = report.diagnosis_document(found, scenario, command)
    json = report.diagnosis_json(found, scenario)
    if options.out:
        texts = (
            render_html(document, Options(us=us)),
            render_text(document, Options(us=us, full=True)),
            json,
        )
        files: dict[str, str | bytes] = dict(zip(FILE_NAMES, texts, strict=True))
        write_out(options, env, files, digest=scenario.digest)
    env.out(
        json if options.json else render_text(document, env.rendering(us=us, full=options.full))
    )
    return ExitCode.GOOD


COMMANDS = (
    Command(
        "why",
        "rank the causes of a breakage, a stall or a run-back",
        run,
        "winchsim why crate.toml ladder.csv",
        (
            FILE,
            argument("tests", metavar="SHEET", help="test sheet with what happened"),
            SET,
            argument(
                "--row", metavar="NUMBER", type=int, help="which row, from 1 (default: the last)"
            ),
            out_folder("write the report as HTML, text and JSON there"),
            FULL,
            UNITS,
            FORCE,
        ),
        "Explains the last row that broke, stalled or did not hold: what each cause would have "
        "asked of the part, what speaks for it and against it, what to look for on the pieces, and "
        "what to change. Ends with 0.",
        names=lambda _: FILE_NAMES,
    ),
)
"""The command."""
