"""``winchsim drum``, ``gears``, ``motors``, ``voltage`` and ``heaviest``: which value of one thing
to take."""

import argparse
from typing import Any

from winchsim.commands.env import Env
from winchsim.commands.options import quantity_of, refuse
from winchsim.commands.outputs import again, finish
from winchsim.commands.progress import progress
from winchsim.inputs import Inputs
from winchsim.report import sizing as report
from winchsim.studies.sizing import size
from winchsim.studies.sweep import rows_csv

UNIT_OF_RANGE = {"drum": "mm", "voltage": "V", "heaviest": "kg"}
"""Unit of the range of a question; others count."""


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    name, group = options.command.name, getattr(options, "group", 1)
    low, high = parse_span(options.span, UNIT_OF_RANGE.get(name, ""))
    time = quantity_of("--target-time", options.target_time, "s")
    margin = quantity_of("--margin", options.margin, "")
    late = f"--target-time {options.target_time} is out of range"
    least = f"--margin {options.margin} is out of range"
    refuse(
        (time is not None and not time > 0, late, "a time over 0, such as --target-time 60s"),
        (margin is not None and not margin >= 1, least, "at least 1, such as --margin 1.3"),
    )
    scenario = options.scenario
    if name == "motors":
        _check_motors(scenario.inputs, group, low, high)
    with progress(env, "full simulations") as tell:
        study = size(
            scenario.inputs, name, low=low, high=high, margin=margin, target_time=time,
            fastest=options.fastest, group=group, inch=options.units == "us", on_progress=tell,
        )  # fmt: skip

    def figure(look: Any) -> Any:
        from winchsim.report.figures.sizing import study_figure

        return study_figure(study, look)

    finish(
        options, env, scenario.digest,
        report.study_document(study, scenario, again(options)),
        json=lambda: report.study_json(study, scenario),
        csv=lambda: rows_csv(report.study_rows(study)),
        figure=figure,
    )  # fmt: skip
    return study.exit_code


def _check_motors(inputs: Inputs, group: int, *ends: float | None) -> None:
    count = len(inputs.motors)
    has = f"this scenario has {count} motor group{'' if count == 1 else 's'}, counted from 1"
    whole = "--range counts whole motors from 1 on, such as --range 1:12"
    odd = [end for end in ends if end is not None and (end != int(end) or end < 1)]
    refuse(
        (not 1 <= group <= count, f"no motor group {group}", has),
        *((True, f"{end:g} motors", whole) for end in odd),
    )


def parse_span(text: str | None, unit: str) -> tuple[float | None, float | None]:
    """Both ends of a range in SI; None for an end that is left out.

    Parameters
    ----------
    text : str or None
        ``LOW:HIGH``; a unit at the second end counts for both.
    unit : str
        Unit that it is printed in; empty for a bare number.
    """
    low, colon, high = (part.strip() for part in (text or ":").partition(":"))
    hint = f"write both ends with a colon, such as --range 4{unit}:30{unit}"
    refuse(
        (
            text is not None and not (colon and (low or high)),
            f"cannot read the range {text!r}",
            hint,
        )
    )
    tail = high.lstrip("0123456789.+-eE ")
    if low and tail and low.replace(".", "", 1).isdigit():
        low += tail
    return quantity_of("--range", low or None, unit), quantity_of("--range", high or None, unit)
