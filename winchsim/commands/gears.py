"""``winchsim gears``: which single change of the gears suits this load?"""

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
        "gears",
        "find the change of the gears that suits a load: other teeth, one pair more or fewer",
        run,
        example="winchsim gears crate.toml --range 150:600 --target-time 90s",
        details=(
            "Tries one pair with other teeth, one pair more and one fewer, with real tooth counts, each built and judged\n"
            "like the whole winch, and recommends one, confirmed by full runs. The range is that of the whole ratio.\n"
            "Ends with 0 when such gears were found and confirmed and nothing dangerous was found, else with 1."
        ),
    )
    add_sizing(parser, span="150:600")


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    from winchsim.scenario.read import read

    low, high = parse_span(options.span, "")
    scenario, us = read(options.file, options.overrides), options.units == "us"

    from winchsim.report import sizing_text
    from winchsim.studies.gears import study_gears

    with progress(env, "full runs") as tell:
        study = study_gears(scenario.inputs, wanted(options), low=low, high=high, on_progress=tell)
    outputs = Outputs(
        good=study.choice.passes,
        text=lambda: sizing_text.gear_text(study, name=scenario.name, us=us, paint=env.paint),
        json=lambda: _written(study, scenario)[0],
        csv=lambda: _written(study, scenario)[1],
        figure=lambda look: _figure(study, look, us),
    )
    return finish(options, env, scenario, "gears", outputs)


def _written(study: Any, scenario: Any) -> tuple[str, str]:
    from winchsim.report import sizing_out

    rows = sizing_out.rows_csv(sizing_out.gear_rows(study), scenario.inputs, scenario.digest)
    return sizing_out.gear_json(study, scenario.digest), rows


def _figure(study: Any, look: Any, us: bool) -> Any:
    from winchsim.report.figures.sizing import gear_figure

    return gear_figure(study, look, us=us)
