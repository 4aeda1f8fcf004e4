"""``winchsim sweep``: what do other values of some keys change?"""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import FILES, SET, Command, argument, usage_error
from winchsim.commands.outputs import again
from winchsim.commands.sizing import RESULTS, finish, result_names
from winchsim.inputs import value_at

MOST = 20000
"""Builds that one call lifts at most. [-]"""


def run(options: argparse.Namespace, env: Env) -> int:
    """Sweep every file, write the files where asked to, print the table."""
    from winchsim.report import sizing as report
    from winchsim.scenario.read import read

    values = dict(map(parse_values, options.varied))
    count = 1
    for given in values.values():
        count = max(count, len(given)) if options.list else count * len(given)
    if count > MOST:
        raise usage_error(f"{count} builds", f"at most {MOST}")
    scenarios = [read(file, options.overrides) for file in options.files]

    from winchsim.face import sweep
    from winchsim.studies.sweep import rows_csv

    found = []
    for scenario in scenarios:
        more = {"simulate": options.simulate, "workers": env.workers}
        swept = sweep(scenario.inputs, values, grid=not options.list, **more)
        path = next(iter(values))
        own = value_at(swept.inputs, path)
        base = sweep(scenario.inputs, {path: [own]}, simulate=options.simulate, workers=1)
        found.append((scenario, swept, base))

    def figure(look: Any) -> Any:
        from winchsim.report.figures.sizing import sweep_figure

        return sweep_figure(found[0][1], look)

    finish(
        options, env, "sweep", scenarios[0].digest, report.sweep_document(found, again(options)),
        json=lambda: report.sweep_json(found), csv=lambda: rows_csv(report.sweep_rows(found)),
        figure=figure if len(values) <= 2 and len(found) == 1 else None,
    )  # fmt: skip
    return ExitCode.GOOD


def parse_values(text: str) -> tuple[str, list[str]]:
    """Path and values of one ``--vary``."""
    path, equals, values = text.partition("=")
    found = [value.strip() for value in values.split(",")]
    if not equals or not path.strip() or not all(found):
        raise usage_error(
            f"cannot read {text!r}",
            "write a path and values, such as --vary drum.diameter=8mm,10mm",
        )
    return path.strip(), found


COMMANDS = (
    Command(
        "sweep",
        "compare builds that differ in some values",
        run,
        "winchsim sweep crate.toml --vary drum.diameter=8mm,10mm,12mm --vary supply.voltage=12V,14V",
        (
            FILES,
            SET,
            argument(
                "--vary",
                metavar="PATH=VALUE,VALUE...",
                action="append",
                required=True,
                dest="varied",
                help="values of a key, such as drum.diameter=8mm,10mm (may be repeated)",
            ),
            argument(
                "--list", action="store_true", help="combine first with first, second with second"
            ),
            argument("--simulate", action="store_true", help="simulate each build in full"),
            *RESULTS,
        ),
        "Every value is combined with every other. Prints a table by status, the scenario as it is "
        "first. One key is drawn as curves, two as a map with the limits as lines. Ends with 0.",
        names=result_names,
    ),
)
