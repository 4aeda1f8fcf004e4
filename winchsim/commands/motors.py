"""``winchsim motors``: how many motors does this load need?"""

from __future__ import annotations

import argparse
from typing import Any

from winchsim.commands.env import Env
from winchsim.commands.options import add_command, usage_error
from winchsim.commands.progress import progress
from winchsim.commands.sizing import Outputs, add_sizing, finish, parse_span, wanted


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "motors",
        "find how many motors a load needs",
        run,
        example="winchsim motors crate.toml --range 1:12",
        details=(
            "Tries every number of motors in the range for one group, and recommends the smallest that keeps every limit,\n"
            "confirmed by full runs.\n"
            "Ends with 0 when a number was found and confirmed and nothing dangerous was found, else with 1."
        ),
    )
    add_sizing(parser, span="1:12")
    parser.add_argument("--group", metavar="NUMBER", type=int, default=1, help="which motor group, from 1")


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    from winchsim.scenario.read import read

    low, high = (_whole(end) for end in parse_span(options.span, ""))
    scenario, us = read(options.file, options.overrides), options.units == "us"
    if not 1 <= options.group <= len(scenario.inputs.motors):
        from winchsim.verdict.words import counted

        has = counted(len(scenario.inputs.motors), "motor group")
        raise usage_error(f"no motor group {options.group}", f"this scenario has {has}, counted from 1")

    from winchsim.report import sizing_text
    from winchsim.studies.motors import study_motors

    with progress(env, "full runs") as tell:
        study = study_motors(
            scenario.inputs,
            wanted(options),
            group=options.group,
            low=low or 1,
            high=high,
            on_progress=tell,
        )
    outputs = Outputs(
        good=study.choice.passes,
        text=lambda: sizing_text.motor_text(study, name=scenario.name, us=us, paint=env.paint),
        json=lambda: _written(study, scenario)[0],
        csv=lambda: _written(study, scenario)[1],
        figure=lambda look: _figure(study, look, us),
    )
    return finish(options, env, scenario, "motors", outputs)


def _whole(end: float | None) -> int | None:
    """An end of a range of motors."""
    if end is not None and (end != int(end) or end < 1):
        raise usage_error(f"{end:g} motors", "--range counts whole motors from 1 on, such as --range 1:12")
    return None if end is None else int(end)


def _written(study: Any, scenario: Any) -> tuple[str, str]:
    from winchsim.report import sizing_out

    rows = sizing_out.rows_csv(sizing_out.motor_rows(study), scenario.inputs, scenario.digest)
    return sizing_out.motor_json(study, scenario.digest), rows


def _figure(study: Any, look: Any, us: bool) -> Any:
    from winchsim.report.figures.sizing import motor_figure

    return motor_figure(study, look, us=us)
