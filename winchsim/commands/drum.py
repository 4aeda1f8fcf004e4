"""``winchsim drum``: which drum diameters work for this load?"""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env
from winchsim.commands.options import add_command
from winchsim.commands.progress import progress
from winchsim.commands.sizing import Outputs, add_sizing, finish, parse_span, wanted


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "drum",
        "find the drum diameters that work for a load, and one to take",
        run,
        example="winchsim drum crate.toml --range 4mm:30mm --target-time 60s",
        details=(
            "Tries some two hundred diameters: lifts or stalls, margins cold and hot, time, current, the weakest\n"
            "link, what holds, the bend of the rope, layers. Names the band that works and what bounds it, and\n"
            "recommends one size, confirmed with both edges of the band by full runs.\n"
            "Ends with 0 when a diameter was found and confirmed and nothing dangerous was found, else with 1."
        ),
    )
    add_sizing(parser, span="4mm:30mm")


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    from winchsim.scenario.read import read

    low, high = parse_span(options.span, "mm")
    scenario, us = read(options.file, options.overrides), options.units == "us"

    from winchsim.report import sizing_text
    from winchsim.studies.drum import study_drum

    with progress(env, "full runs") as tell:
        study = study_drum(scenario.inputs, wanted(options), low=low, high=high, inch=us, on_progress=tell)
    outputs = Outputs(
        good=study.choice.passes,
        text=lambda: sizing_text.drum_text(study, name=scenario.name, us=us, paint=env.paint),
        json=lambda: _written(study, scenario)[0],
        csv=lambda: _written(study, scenario)[1],
        figure=lambda look: _figure(study, look, us),
    )
    return finish(options, env, scenario, "drum", outputs)


def _written(study: Any, scenario: Any) -> tuple[str, str]:
    from winchsim.report import sizing_out

    rows = sizing_out.rows_csv(sizing_out.drum_rows(study), scenario.inputs, scenario.digest)
    return sizing_out.drum_json(study, scenario.digest), rows


def _figure(study: Any, look: Any, us: bool) -> Any:
    from winchsim.report.figures.sizing import drum_figure

    return drum_figure(study, look, us=us)
