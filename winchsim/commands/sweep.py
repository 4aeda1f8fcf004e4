"""``winchsim sweep``: what do other values of some keys change?"""

import argparse
import math
from typing import Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import refuse
from winchsim.commands.outputs import again, finish
from winchsim.face import sweep
from winchsim.inputs import value_at
from winchsim.report import sizing as report
from winchsim.studies.sweep import rows_csv

MOST = 20000
"""Builds that one call lifts at most. [-]"""


def run(options: argparse.Namespace, env: Env) -> int:
    """Sweep every file, write the files where asked to, print the table."""
    values = dict(map(parse_values, options.varied))
    count = (max if options.list else math.prod)([len(given) for given in values.values()])
    refuse((count > MOST, f"{count} builds are too many", f"at most {MOST}"))
    found = []
    for scenario in options.scenarios:
        inputs, simulate, path = scenario.inputs, options.simulate, next(iter(values))
        swept = sweep(inputs, values, grid=not options.list, simulate=simulate, workers=env.workers)
        base = sweep(inputs, {path: [value_at(swept.inputs, path)]}, simulate=simulate, workers=1)
        found.append((scenario, swept, base))

    def figure(look: Any) -> Any:
        from winchsim.report.figures.sizing import sweep_figure

        return sweep_figure(found[0][1], look)

    finish(
        options, env, found[0][0].digest, report.sweep_document(found, again(options)),
        json=lambda: report.sweep_json(found),
        csv=lambda: rows_csv(report.sweep_rows(found)),
        figure=figure if len(values) <= 2 and len(found) == 1 else None,
    )  # fmt: skip
    return ExitCode.GOOD


def parse_values(text: str) -> tuple[str, list[str]]:
    """Path and values of one ``--vary``."""
    path, _, values = text.partition("=")
    found = [value.strip() for value in values.split(",")]
    hint = "write a path and values, such as --vary drum.diameter=8mm,10mm"
    refuse((not path.strip() or not all(found), f"cannot read {text!r}", hint))
    return path.strip(), found
