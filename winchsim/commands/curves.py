"""``winchsim curves``: figures ready to publish, of one lift or of several on shared axes, with
measured points on them."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import (
    FILES,
    FORCE,
    LOG,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
    usage_error,
)
from winchsim.commands.outputs import write_out
from winchsim.commands.progress import progress
from winchsim.frozen import dataclass, replace

if TYPE_CHECKING:
    from winchsim.assessment.kinds import Assessment
    from winchsim.inputs import Inputs
    from winchsim.report.document import Text
    from winchsim.report.figures.catalogue import Picture
    from winchsim.report.figures.look import Look
    from winchsim.scenario.read import Scenario
    from winchsim.scenario.sheet import SheetRow
    from winchsim.scenario.trace import Log, MeasuredTrace
    from winchsim.simulation import Record

Progress = Callable[[int, int], None]
FORMATS = ("png", "svg", "pdf")
FILM = "lift"
"""Stem of the file of a moving picture."""

MOST_LIFTS = 40
"""Most lifts that are run for one call: files, rungs or different rows of a test sheet."""


@dataclass
class _Drawn:
    """Figures of one call, and what goes with them."""

    pictures: list[Picture] = field(default_factory=list)
    remarks: list[Text] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)


def run(options: argparse.Namespace, env: Env) -> int:
    """Simulate, draw, write the files."""
    formats = _formats(options.format)
    _refuse_mixtures(options)
    names = _stems(options)
    if not 50 <= options.dpi <= 1200:
        raise usage_error(f"{options.dpi} dots per inch", "--dpi takes 50 to 1200")
    from winchsim.scenario.read import read

    scenarios = [read(file, options.overrides) for file in options.files]
    measured, logged = _measured(options, scenarios[0].inputs)

    from winchsim.assessment.evaluate import assess
    from winchsim.report.figures.look import LOOKS
    from winchsim.simulation import simulate

    look = replace(LOOKS[options.width], us=options.units == "us")
    records = [simulate(scenario.inputs) for scenario in scenarios]
    with progress(env, "lifts") as tell:
        drawn = _draw(options, look, scenarios, records, measured, tell)
    if logged is not None:
        from winchsim.report.words.measured import log

        drawn.remarks.insert(0, log(logged))
    drawn.pictures = [picture for picture in drawn.pictures if picture[0].name in names]
    moving = _film(options, records[0], look)
    paths = _write(options, drawn, formats, look, scenarios, moving, env)
    found = [assess(record, actions=False) for record in records]
    _print(options, env, drawn, paths, scenarios, found)
    codes = [each.exit_code for each in found]
    return ExitCode.NO_TRUST if ExitCode.NO_TRUST in codes else max(codes)


# --- arguments


def _names(options: argparse.Namespace) -> list[str]:
    """Names of all files that may be written."""
    formats = _formats(options.format)
    film = [f"{FILM}.{options.animate}"] if options.animate else []
    return [f"{stem}.{form}" for stem in _stems(options) for form in formats] + film


def _stems(options: argparse.Namespace) -> tuple[str, ...]:
    """Names of the figures that are asked for."""
    from winchsim.report.names import MEASURED_NAMES, NAMES, SEVERAL_NAMES

    if len(options.files) > 1 or options.ladder:
        every: tuple[str, ...] = SEVERAL_NAMES
    else:
        every = MEASURED_NAMES if options.measured else NAMES
    if options.only is None:
        return every
    asked = [name.strip() for name in options.only.split(",")]
    for name in asked:
        if name not in every:
            raise usage_error(f"no figure {name!r}", f"--only takes {', '.join(every)}")
    return tuple(asked)


def _formats(text: str) -> list[str]:
    formats = [part.strip().lower().lstrip(".") for part in text.split(",") if part.strip()]
    for name in formats:
        if name not in FORMATS:
            raise usage_error(
                f"unknown format {name!r}",
                "--format takes png, svg and pdf, such as --format png,pdf",
            )
    if not formats:
        raise usage_error("no format given", "--format takes png, svg and pdf")
    return list(dict.fromkeys(formats))


def _refuse_mixtures(options: argparse.Namespace) -> None:
    if len(options.files) > 1 and options.ladder:
        raise usage_error("a ladder belongs to one scenario", "give one FILE with --ladder")
    if len(options.files) > 1 and options.measured:
        raise usage_error("measured points belong to one scenario", "give one FILE with --measured")
    if options.ladder and options.measured:
        raise usage_error(
            "--ladder and --measured do not go together", "a test sheet brings its own loads"
        )
    if options.animate and (len(options.files) > 1 or options.ladder or options.measured):
        raise usage_error("--animate shows one lift", "give one FILE, no --ladder or --measured")
    if len(options.files) > MOST_LIFTS:
        raise usage_error(
            f"{len(options.files)} files", f"at most {MOST_LIFTS} go onto shared axes"
        )


def _measured(
    options: argparse.Namespace, inputs: Inputs
) -> tuple[tuple[SheetRow, ...] | MeasuredTrace | None, Log | None]:
    """Rows of a sheet or of a log with several lifts, or the trace of the one lift of a log."""
    from winchsim.scenario.trace import read_for

    if options.measured is None:
        return None, None
    rows, _, logged = read_for(inputs, options.measured, options.log)
    single = logged is not None and len(logged.lifts) == 1
    return logged.lifts[0].trace if logged and single else rows, logged


# --- drawing


def _draw(
    options: argparse.Namespace,
    look: Look,
    scenarios: list[Scenario],
    records: list[Record],
    measured: tuple[SheetRow, ...] | MeasuredTrace | None,
    tell: Progress,
) -> _Drawn:
    if len(scenarios) > 1:
        return _several(
            look, [scenario.inputs.title or scenario.name for scenario in scenarios], records
        )
    if options.ladder:
        return _ladder(look, scenarios[0].inputs, tell)
    if measured is None:
        from winchsim.report.figures.catalogue import pictures

        return _Drawn(pictures(records[0], look, _stems(options)))
    if isinstance(measured, tuple):
        return _sheet(look, scenarios[0].inputs, measured, tell)
    return _trace(look, records[0], measured)


def _several(look: Look, names: Sequence[str], records: Sequence[Record]) -> _Drawn:
    from winchsim.report.figures.overlay import Run, key_of, overlay
    from winchsim.report.names import OVERLAY

    runs = [Run(name, record) for name, record in zip(names, records, strict=True)]
    return _Drawn([(OVERLAY, overlay(runs, look))], [(line,) for line in key_of(runs, look)])


def _ladder(look: Look, inputs: Inputs, tell: Progress) -> _Drawn:
    from winchsim.quantity_text import text_of
    from winchsim.studies.ladder import plan_ladder

    ladder = plan_ladder(inputs, on_progress=tell)
    return _several(
        look,
        [text_of(rung.mass, "kg") for rung in ladder.rungs if rung.mass > 0],
        ladder.records,
    )


def _trace(look: Look, record: Record, measured: MeasuredTrace) -> _Drawn:
    from winchsim.report.figures.overlay import with_trace
    from winchsim.report.measured import difference_facts, trace_differences
    from winchsim.report.names import BESIDE_TRACE
    from winchsim.report.words.measured import trace

    found = trace_differences(record, measured)
    if not found:
        raise usage_error(
            "no sample of the trace lies within the run",
            "its time counts from power on, in seconds",
        )
    picture = BESIDE_TRACE, with_trace(record, look, measured)
    return _Drawn([picture], [trace(d) for d in found], [difference_facts(d) for d in found])


def _sheet(look: Look, inputs: Inputs, rows: tuple[SheetRow, ...], tell: Progress) -> _Drawn:
    from winchsim.report.figures.catalogue import beside_sheet
    from winchsim.report.measured import comparison_facts, simulated_sheet
    from winchsim.report.words.measured import row

    tests = simulated_sheet(inputs, rows, most=MOST_LIFTS, on_progress=tell)
    if not tests:
        raise usage_error(
            "the test sheet has no row that was measured",
            "fill in measured_time_s or measured_current_a",
        )
    return _Drawn(
        beside_sheet(tests, look),
        [row(t) for t in tests],
        [comparison_facts(t) for t in tests],
    )


# --- files and output


def _write(
    options: argparse.Namespace,
    drawn: _Drawn,
    formats: list[str],
    look: Look,
    scenarios: list[Scenario],
    moving: dict[str, bytes],
    env: Env,
) -> list[str]:
    from winchsim.report.figures.save import image

    digest = scenarios[0].digest if len(scenarios) == 1 else ""
    files: dict[str, str | bytes] = {
        f"{words.name}.{form}": image(figure, form, look, digest, options.dpi)
        for words, figure in drawn.pictures
        for form in formats
    }
    return write_out(options, env, files | moving)


def _film(options: argparse.Namespace, record: Record, look: Look) -> dict[str, bytes]:
    """The moving picture by its name, where it is asked for."""
    if not options.animate:
        return {}
    from winchsim.errors import DomainError
    from winchsim.report.figures.moving import film

    try:
        return {f"{FILM}.{options.animate}": film(record, look, options.animate, options.speed)}
    except DomainError as error:
        raise usage_error(str(error), "see --animate and --speed") from None


def _print(
    options: argparse.Namespace,
    env: Env,
    drawn: _Drawn,
    paths: list[str],
    scenarios: list[Scenario],
    found: list[Assessment],
) -> None:
    from winchsim.report.json_out import curves_json
    from winchsim.report.render.text import render_text
    from winchsim.report.words.measured import drawn as document_of

    if options.json:
        env.out(
            curves_json(scenarios, found, [words for words, _ in drawn.pictures], paths, drawn.rows)
        )
        return
    document = document_of([scenario.name for scenario in scenarios], found, drawn.remarks)
    env.out(render_text(document, env.rendering(us=options.units == "us", full=True)))


COMMANDS = (
    Command(
        "curves",
        "draw the curves of a lift, or of several on shared axes",
        run,
        "winchsim curves crate.toml --out figures --format svg",
        (
            FILES,
            SET,
            argument("--measured", metavar="CSV", help="test sheet or log to draw and compare"),
            LOG,
            argument(
                "--ladder",
                action="store_true",
                help="draw the rungs of a ladder up to the FILE's load",
            ),
            out_folder("folder to write to; left out, this one", default="."),
            argument(
                "--format",
                metavar="LIST",
                default="png,svg",
                help="any of png, svg and pdf, with commas",
            ),
            argument(
                "--width",
                choices=("column", "page", "slide"),
                default="column",
                help="86 mm, 178 mm (two columns of a journal), or 254 mm with larger type",
            ),
            argument("--only", metavar="NAMES", help="these figures alone, with commas"),
            argument(
                "--animate",
                choices=("gif", "mp4"),
                help="also write the lift of one FILE as a moving picture",
            ),
            argument("--speed", type=float, default=1.0, metavar="N", help="of it, in real times"),
            argument("--dpi", type=int, default=200, metavar="N", help="dots per inch of a PNG"),
            UNITS,
            FORCE,
        ),
        "One FILE: a drawing of the build and every curve of its lift. Several: all lifts on "
        "shared axes. --ladder lays the rungs of the FILE's ladder over each other. --measured "
        "takes a filled test sheet (every row is simulated as it was tested) or a log of time "
        "and any of height, turns, current and voltage, which counts from power on, and says how "
        "far simulation and measurement differ.",
        names=_names,
    ),
)
