"""``winchsim voltage``: which supply voltage suits this load?"""

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
        "voltage",
        "find the supply voltages that work for a load, and one to take",
        run,
        example="winchsim voltage crate.toml --range 4V:9V",
        details=(
            "Tries voltages over the range: margins cold and hot, time, current, temperature, strength. Recommends the one\n"
            "nearest to the motors' own that keeps every limit, confirmed with both edges of the band by full runs.\n"
            "Ends with 0 when a voltage was found and confirmed and nothing dangerous was found, else with 1."
        ),
    )
    add_sizing(parser, span="4V:9V")


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    from winchsim.scenario.read import read

    low, high = parse_span(options.span, "V")
    scenario, us = read(options.file, options.overrides), options.units == "us"

    from winchsim.report import sizing_text
    from winchsim.studies.voltage import study_voltage

    with progress(env, "full runs") as tell:
        study = study_voltage(scenario.inputs, wanted(options), low=low, high=high, on_progress=tell)
    outputs = Outputs(
        good=study.choice.passes,
        text=lambda: sizing_text.voltage_text(study, name=scenario.name, us=us, paint=env.paint),
        json=lambda: _written(study, scenario)[0],
        csv=lambda: _written(study, scenario)[1],
        figure=lambda look: _figure(study, look, us),
    )
    return finish(options, env, scenario, "voltage", outputs)


def _written(study: Any, scenario: Any) -> tuple[str, str]:
    from winchsim.report import sizing_out

    rows = sizing_out.rows_csv(sizing_out.voltage_rows(study), scenario.inputs, scenario.digest)
    return sizing_out.voltage_json(study, scenario.digest), rows


def _figure(study: Any, look: Any, us: bool) -> Any:
    from winchsim.report.figures.sizing import voltage_figure

    return voltage_figure(study, look, us=us)
