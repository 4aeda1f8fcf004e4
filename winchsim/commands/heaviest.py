"""``winchsim heaviest``: what is the heaviest load that this build lifts?"""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env
from winchsim.commands.options import add_command
from winchsim.commands.progress import progress
from winchsim.commands.sizing import Outputs, add_sizing, finish, wanted


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "heaviest",
        "find the heaviest load that a build lifts, and what stops it",
        run,
        example="winchsim heaviest crate.toml --set factors.tooth=3",
        details=(
            "For every limit (stall cold and hot, strength, required factors, temperature, time) the load up to which it is\n"
            "kept; the loads that matter are confirmed by full runs. Also the load at which the most power reaches it.\n"
            "Ends with 0 when the scenario's own load works and no full run shows a danger, else with 1."
        ),
    )
    add_sizing(parser)


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    from winchsim.scenario.read import read

    scenario, us = read(options.file, options.overrides), options.units == "us"

    from winchsim.report import sizing_text
    from winchsim.studies.heaviest import study_heaviest

    with progress(env, "full runs") as tell:
        study = study_heaviest(scenario.inputs, wanted(options), on_progress=tell)
    outputs = Outputs(
        good=study.good,
        text=lambda: sizing_text.heaviest_text(study, name=scenario.name, us=us, paint=env.paint),
        json=lambda: _written(study, scenario)[0],
        csv=lambda: _written(study, scenario)[1],
        figure=lambda look: _figure(study, look, us),
    )
    return finish(options, env, scenario, "heaviest", outputs)


def _written(study: Any, scenario: Any) -> tuple[str, str]:
    from winchsim.report import sizing_out

    rows = sizing_out.rows_csv(sizing_out.heaviest_rows(study), scenario.inputs, scenario.digest)
    return sizing_out.heaviest_json(study, scenario.digest), rows


def _figure(study: Any, look: Any, us: bool) -> Any:
    from winchsim.report.figures.sizing import heaviest_figure

    return heaviest_figure(study, look, us=us)
