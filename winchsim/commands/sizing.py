"""``winchsim drum``, ``gears``, ``motors``, ``voltage`` and ``heaviest``: which value of one thing
to take."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    SET,
    UNITS,
    Argument,
    Command,
    argument,
    out_folder,
    quantity_of,
    usage_error,
)
from winchsim.commands.outputs import present, write_out
from winchsim.commands.progress import progress
from winchsim.frozen import replace

if TYPE_CHECKING:
    from winchsim.report.document import Document
    from winchsim.scenario.read import Scenario

UNIT_OF_RANGE = {"drum": "mm", "voltage": "V", "heaviest": "kg"}
"""Unit of the range of a question; others count."""

ENDINGS = (".txt", ".html", ".json", ".csv", ".svg", ".png")
"""Of the files of a study, which are named after its command."""


RESULTS = (
    FULL,
    out_folder("write the report, its data and its figure there"),
    UNITS,
    FORCE,
)
"""Where results of a study go, and how much is printed."""


PARTS = argument("--parts", metavar="FILE", help="parts at hand, instead of those in the scenario")


def read_with_parts(options: argparse.Namespace) -> Scenario:
    """The scenario, with the parts of a file of their own where one is named."""
    from winchsim.scenario.read import read, with_parts

    scenario = read(options.file, options.overrides)
    return with_parts(scenario, options.parts) if options.parts else scenario


def result_names(options: argparse.Namespace) -> list[str]:
    """Names of the files of a study."""
    return [options.command.name + ending for ending in ENDINGS]


def run(options: argparse.Namespace, env: Env) -> int:
    """Study, write the files where asked to, print the result."""
    name, us = options.command.name, options.units == "us"
    low, high = parse_span(options.span, UNIT_OF_RANGE.get(name, ""))
    time = quantity_of("--target-time", options.target_time, "s")
    margin = quantity_of("--margin", options.margin, "")
    if time is not None and not time > 0:
        raise usage_error(
            f"target time {options.target_time}", "a time over 0, such as --target-time 60s"
        )
    if margin is not None and not margin >= 1:
        raise usage_error(f"margin {options.margin}", "at least 1, such as --margin 1.3")
    scenario, group = read_with_parts(options), getattr(options, "group", 1)
    if name == "motors":
        _check_motors(scenario, group, low, high)

    from winchsim.report import sizing as report
    from winchsim.studies.sizing import size

    with progress(env, "full simulations") as tell:
        study = size(
            scenario.inputs, name, low=low, high=high, margin=margin, target_time=time,
            fastest=options.fastest, group=group, inch=us, on_progress=tell,
        )  # fmt: skip

    def figure(look: Any) -> Any:
        from winchsim.report.figures.sizing import study_figure

        return study_figure(study, look)

    finish(
        options,
        env,
        name,
        scenario.digest,
        report.study_document(study, scenario, options.overrides),
        json=lambda: report.study_json(study, scenario),
        csv=lambda: report.study_csv(study),
        figure=figure,
    )
    return study.exit_code


def _check_motors(scenario: Scenario, group: int, *ends: float | None) -> None:
    count = len(scenario.inputs.motors)
    if not 1 <= group <= count:
        has = f"{count} motor group{'' if count == 1 else 's'}"
        raise usage_error(f"no motor group {group}", f"this scenario has {has}, counted from 1")
    for end in ends:
        if end is not None and (end != int(end) or end < 1):
            raise usage_error(
                f"{end:g} motors", "--range counts whole motors from 1 on, such as --range 1:12"
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
    if text is None:
        return None, None
    low, colon, high = (part.strip() for part in text.partition(":"))
    if not colon or not (low or high):
        raise usage_error(
            f"range {text!r}", f"write both ends with a colon, such as --range 4{unit}:30{unit}"
        )
    tail = high.lstrip("0123456789.+-eE ") if high else ""
    if low and tail and low.replace(".", "", 1).isdigit():
        low += tail
    return quantity_of("--range", low or None, unit), quantity_of("--range", high or None, unit)


def finish(
    options: argparse.Namespace, env: Env, name: str, digest: str, document: Document, *,
    json: Any, csv: Any, figure: Any = None,
) -> None:  # fmt: skip
    """Write the files where asked to, and print the result.

    Parameters
    ----------
    options : argparse.Namespace
    env : Env
    name : str
        Of the files, and of the figure in the document.
    digest : str
        SHA-256 of the scenario.
    document : Document
    json, csv : callable
        Texts of these files.
    figure : callable, optional
        From a look to the picture.
    """
    if options.out:
        from winchsim.report.render.options import Options
        from winchsim.report.render.text import render_text

        us = options.units == "us"
        from winchsim.report.figures.look import COLUMN
        from winchsim.report.figures.save import image, inline_svg
        from winchsim.report.render.html import render_html

        files: dict[str, str | bytes] = {".json": json(), ".csv": csv()}
        drawn, inline = None if figure is None else figure(replace(COLUMN, us=us)), {}
        if drawn is not None:
            files |= {
                ending: image(drawn, ending[1:], COLUMN, digest) for ending in (".svg", ".png")
            }
            inline = {name: inline_svg(drawn, COLUMN, name, "Candidates")}
        files[".txt"] = render_text(document, Options(us=us, full=True))
        files[".html"] = render_html(document, Options(us=us, figures=inline))
        write_out(
            options,
            env,
            {name + ending: files[ending] for ending in ENDINGS if ending in files},
            digest=digest,
        )
    present(options, env, document, json)


_RULE = (
    " Takes a candidate with no failing check, with the fewest thin ones that can be changed, and "
    "confirms it by a full simulation. --full prints all candidates. "
    "Ends with 0 when there is one, else with 1."
)


def _command(name: str, summary: str, span: str, details: str, *more: Argument) -> Command:
    return Command(
        name,
        summary,
        run,
        f"winchsim {name} crate.toml --range {span}",
        (
            FILE,
            SET,
            PARTS,
            argument(
                "--range",
                metavar="LOW:HIGH",
                dest="span",
                help=f"range to try, such as {span}",
            ),
            argument("--target-time", metavar="TIME", help='longest lift time, such as "60 s"'),
            argument(
                "--margin",
                metavar="NUMBER",
                help="required starting torque margin (1.25 if left out)",
            ),
            argument(
                "--fastest",
                action="store_true",
                help="of those that are otherwise equal, take the fastest",
            ),
            *more,
            *RESULTS,
        ),
        details + _RULE,
        names=result_names,
    )


COMMANDS = (
    _command(
        "drum",
        "find the drum diameters that meet the limits, and one to take",
        "4mm:30mm",
        "Diameters over a range, sizes that can be bought among them, or the drums at hand.",
    ),
    _command(
        "gears",
        "find the change of the gears that suits a load",
        "150:600",
        "One pair with other teeth, one pair more, one fewer, or every train of the gears at hand. "
        "The range is that of the whole ratio.",
    ),
    _command(
        "motors",
        "find how many motors a load needs",
        "1:12",
        "Every number of motors of one group, or of every sort at hand.",
        argument(
            "--group", metavar="NUMBER", type=int, default=1, help="which motor group, from 1"
        ),
    ),
    _command(
        "voltage",
        "find the supply voltages that meet the limits, and one to take",
        "4V:9V",
        "Voltages over a range; takes the one nearest to that of the motors' data.",
    ),
    _command(
        "heaviest",
        "find the heaviest load that a build lifts, and what limits it",
        "1kg:40kg",
        "Loads over a range; takes the heaviest.",
    ),
)
"""The commands, each named after its question."""
