"""Options and steps that the commands which choose a part have in common."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import Parser, add_force, add_scenario, add_units, usage_error
from winchsim.commands.outputs import add_out_folder, write_out

if TYPE_CHECKING:
    from winchsim.scenario.read import Scenario
    from winchsim.verdict.candidates import Wanted


ENDINGS = (".txt", ".json", ".csv", ".svg", ".png")
"""Of the files of a study, which are named after its command."""


@dataclass(frozen=True)
class Outputs:
    """What a study gives out.

    Attributes
    ----------
    good : bool
        Whether what was asked for was found, confirmed, and nothing dangerous with it.
    text, json : callable
        The two forms of the printed result.
    csv : callable
        Candidates as CSV text.
    figure : callable
        From a look and a word for the units to the picture.
    """

    good: bool
    text: Callable[[], str]
    json: Callable[[], str]
    csv: Callable[[], str]
    figure: Callable[[Any], Any]


def add_sizing(parser: Parser, *, span: str = "") -> None:
    """Scenario, what is wanted, and where the results go.

    Parameters
    ----------
    parser : Parser
    span : str
        Example of a range, such as ``4mm:30mm``; empty for a command without one.
    """
    add_scenario(parser)
    if span:
        parser.add_argument("--range", metavar="LOW:HIGH", dest="span", help=f"range to try, such as {span}")
    parser.add_argument("--target-time", metavar="TIME", help='longest lift time that will do, such as "60 s"')
    parser.add_argument("--margin", metavar="NUMBER", help="torque of the motors over what starts the load (1.2 if left out)")
    name = parser.prog.split()[-1]
    add_out_folder(parser, lambda _: [name + ending for ending in ENDINGS], "write the result, its rows and its picture there")
    add_units(parser)
    add_force(parser)


def wanted(options: argparse.Namespace) -> Wanted:
    """What is asked of the lift."""
    from winchsim.units import parse_quantity
    from winchsim.verdict.candidates import USUAL_MARGIN, Wanted

    target = None if options.target_time is None else parse_quantity(options.target_time, "s")
    margin = USUAL_MARGIN if options.margin is None else parse_quantity(options.margin, "")
    if target is not None and not target > 0:
        raise usage_error(f"target time {options.target_time}", "a time over 0, such as --target-time 60s")
    if not margin >= 1:
        raise usage_error(f"margin {options.margin}", "at least 1, such as --margin 1.3")
    return Wanted(margin, target)


def parse_span(text: str | None, unit: str) -> tuple[float | None, float | None]:
    """Both ends of a range in SI; None for an end that is left out.

    Parameters
    ----------
    text : str or None
        ``LOW:HIGH``; a unit at the second end counts for both.
    unit : str
        Unit that it is printed in; empty for a bare number.
    """
    from winchsim.units import parse_quantity

    if text is None:
        return None, None
    low, colon, high = (part.strip() for part in text.partition(":"))
    if not colon or not (low or high):
        raise usage_error(f"range {text!r}", f"write both ends with a colon, such as --range 4{unit}:30{unit}")
    tail = high.lstrip("0123456789.+-eE ") if high else ""
    if low and tail and low.replace(".", "", 1).isdigit():
        low += tail
    ends = [None if not end else parse_quantity(end, unit) for end in (low, high)]
    return ends[0], ends[1]


def finish(options: argparse.Namespace, env: Env, scenario: Scenario, name: str, outputs: Outputs) -> int:
    """Write the files where asked to, print the result, and say how it went.

    Parameters
    ----------
    options : argparse.Namespace
    env : Env
    scenario : Scenario
    name : str
        Of the files, without ending.
    outputs : Outputs
    """
    text = outputs.json() if options.json else outputs.text()
    if options.out:
        from winchsim.report.figures.look import COLUMN
        from winchsim.report.figures.save import image

        figure = outputs.figure(COLUMN)
        contents: tuple[str | bytes, ...] = (
            outputs.text(),
            outputs.json(),
            outputs.csv(),
            image(figure, "svg", COLUMN, scenario.digest),
            image(figure, "png", COLUMN, scenario.digest),
        )
        write_out(options, env, {name + ending: content for ending, content in zip(ENDINGS, contents, strict=True)})
    env.out(text)
    return ExitCode.GOOD if outputs.good else ExitCode.BAD
