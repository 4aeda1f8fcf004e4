"""``winchsim drum``, ``gears``, ``motors``, ``voltage``, ``heaviest``, ``choose``: which build to
take; and ``sweep``: what other values change."""

import math
from typing import Any

from winchsim.commands.call import Env, ExitCode, Namespace, again, finish, quantity_of, refuse
from winchsim.face import sweep
from winchsim.inputs import Inputs, value_at
from winchsim.report import sizing as report
from winchsim.studies.choose import choose
from winchsim.studies.sizing import size
from winchsim.studies.sweep import rows_csv

UNIT_OF_RANGE = {"drum": "mm", "voltage": "V", "heaviest": "kg"}
"""Unit of the range of a question; others count."""

MOST = 20000
"""Builds that one call of ``sweep`` lifts at most. [-]"""


def run(options: Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    study = {"choose": _choose, "sweep": _sweep}.get(options.command.name, _size)
    code, *results = study(options, env)
    finish(options, env, options.scenario.digest, *results)
    return code


def _size(options: Namespace, env: Env) -> tuple[Any, ...]:
    """Exit code, document, what makes JSON and CSV, and what the figure shows, of a sizing
    question."""
    name, group = options.command.name, getattr(options, "group", 1)
    low, high = parse_span(options.span, UNIT_OF_RANGE.get(name, ""))
    time = quantity_of("--target-time", options.target_time, "s")
    margin = quantity_of("--margin", options.margin, "")
    refuse(
        (
            time is not None and not time > 0,
            f"--target-time {options.target_time} is out of range",
            "a time over 0, such as --target-time 60s",
        ),
        (
            margin is not None and not margin >= 1,
            f"--margin {options.margin} is out of range",
            "at least 1, such as --margin 1.3",
        ),
    )
    scenario = options.scenario
    if name == "motors":
        _check_motors(scenario.inputs, group, low, high)
    with env.progress("full simulations") as tell:
        study = size(
            scenario.inputs,
            name,
            low=low,
            high=high,
            margin=margin,
            target_time=time,
            fastest=options.fastest,
            group=group,
            inch=options.units == "us",
            on_progress=tell,
        )
    return (
        study.exit_code,
        report.study_document(study, scenario, again(options)),
        lambda: report.study_json(study, scenario),
        lambda: rows_csv(report.study_rows(study)),
        study,
    )


def _choose(options: Namespace, env: Env) -> tuple[Any, ...]:
    """The same of a choice from the parts at hand, without a figure."""
    scenario = options.scenario
    with env.progress("full simulations") as tell:
        found = choose(scenario.inputs, fastest=options.fastest, on_progress=tell)
    return (
        found.exit_code,
        report.choice_document(found, scenario, again(options)),
        lambda: report.choice_json(found, scenario),
        lambda: rows_csv(report.choice_rows(found)),
    )


def _sweep(options: Namespace, env: Env) -> tuple[Any, ...]:
    """The same of a sweep of every file; with a figure of one file over one or two keys."""
    values = dict(map(parse_values, options.varied))
    count = (max if options.list else math.prod)([len(given) for given in values.values()])
    refuse((count > MOST, f"{count} builds are too many", f"at most {MOST}"))
    found = []
    for scenario in options.scenarios:
        inputs, simulate, path = scenario.inputs, options.simulate, next(iter(values))
        swept = sweep(inputs, values, grid=not options.list, simulate=simulate, workers=env.workers)
        base = sweep(inputs, {path: [value_at(swept.inputs, path)]}, simulate=simulate, workers=1)
        found.append((scenario, swept, base))
    return (
        ExitCode.GOOD,
        report.sweep_document(found, again(options)),
        lambda: report.sweep_json(found),
        lambda: rows_csv(report.sweep_rows(found)),
        found[0][1] if len(values) <= 2 and len(found) == 1 else None,
    )


def _check_motors(inputs: Inputs, group: int, *ends: float | None) -> None:
    count = len(inputs.motors)
    has = f"this scenario has {count} motor group{'' if count == 1 else 's'}, counted from 1"
    whole = "--range counts whole motors from 1 on, such as --range 1:12"
    refuse(
        (not 1 <= group <= count, f"no motor group {group}", has),
        *(
            (end != int(end) or end < 1, f"{end:g} motors", whole)
            for end in ends
            if end is not None
        ),
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
    is_wrong = text is not None and not (colon and (low or high))
    refuse((is_wrong, f"cannot read the range {text!r}", hint))
    tail = high.lstrip("0123456789.+-eE ")
    if low and tail and low.replace(".", "", 1).isdigit():
        low += tail
    return quantity_of("--range", low or None, unit), quantity_of("--range", high or None, unit)


def parse_values(text: str) -> tuple[str, list[str]]:
    """Path and values of one ``--vary``."""
    path, _, values = text.partition("=")
    found = [value.strip() for value in values.split(",")]
    hint = "write a path and values, such as --vary drum.diameter=8mm,10mm"
    refuse((not path.strip() or not all(found), f"cannot read {text!r}", hint))
    return path.strip(), found
