"""``winchsim spread``: how the differences from part to part move the result."""

from __future__ import annotations

import argparse
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import add_command, add_force, add_scenario, add_units, usage_error
from winchsim.commands.outputs import add_out_folder, write_out
from winchsim.commands.progress import progress

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from winchsim.scenario.read import Scenario
    from winchsim.studies.spread import Spread

FILE_NAMES = ("spread.txt", "spread.json", "spread.csv", "spread.svg", "spread.png")
BUILDS, FULL_BUILDS = 1000, 100

def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "spread",
        "lift many builds with the differences that parts have: how often it works, and what matters",
        run,
        example="winchsim spread crate.toml --builds 2000 --seed 7 --out spread",
        details=(
            "Draws the values with a [[tolerance]] from it, all others that usually differ from an assumed one, and\n"
            "what the scenario leaves out from the range of its estimate; every motor is its own. Lifts each build\n"
            "by the quasi-static model (--full: by the full simulation) and prints how often it stalls, breaks, overheats\n"
            "or runs back, each with its interval, the quantiles, and which inputs matter. Ctrl-C keeps what is\n"
            "done. Ends with 1 when more than 1 in 100 builds stalls, breaks or overheats."
        ),
    )
    add_scenario(parser)
    parser.add_argument(
        "--builds", metavar="N", type=int, help=f"builds to lift (default: {BUILDS}, with --full {FULL_BUILDS})"
    )
    parser.add_argument(
        "--seed", metavar="N", type=int, default=1, help="random seed: the same seed, the same builds (default: 1)"
    )
    parser.add_argument("--full", action="store_true", help="lift each build by the full simulation")
    parser.add_argument("--level", metavar="SHARE", default="95 %", help="probability of the intervals (default: 95 %%)")
    parser.add_argument("--workers", metavar="N", type=int, help="processes to use here (default: one for each core)")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="address of a running dask scheduler to lift the builds on")
    add_out_folder(parser, lambda _: FILE_NAMES, "write the result, every build and the picture there")
    add_units(parser)
    add_force(parser)


def run(options: argparse.Namespace, env: Env) -> int:
    """Draw, lift, print, write."""
    from winchsim.scenario.read import read, tolerance_width

    scenario = read(options.file, options.overrides)

    from winchsim.model import build
    from winchsim.studies.spread import Given, spread
    from winchsim.units import parse_quantity
    from winchsim.verdict.cautions import cautions

    inputs = scenario.inputs
    given = [Given(row.path, tolerance_width(inputs, row), row.shape) for row in inputs.tolerance]
    builds = options.builds if options.builds is not None else FULL_BUILDS if options.full else BUILDS
    level = parse_quantity(options.level, "")
    with _executor(options, env) as executor, progress(env, "builds lifted") as tell:
        found = spread(
            inputs, given, builds=builds, random_seed=options.seed, level=level, executor=executor, in_full=options.full,
            on_progress=tell,
        )  # fmt: skip
    closing = cautions(build(inputs))
    _write(options, env, scenario, found, closing)
    if not found.complete:
        return ExitCode.INTERRUPTED
    return ExitCode.GOOD if found.good else ExitCode.BAD


def _write(options: argparse.Namespace, env: Env, scenario: Scenario, found: Spread, closing: tuple[str, ...]) -> None:
    from winchsim.report.spread import spread_csv, spread_json, spread_text

    def text(paint: Any = None) -> str:
        more = {} if paint is None else {"paint": paint}
        title = scenario.inputs.title
        return spread_text(found, closing, title=title, name=scenario.name, us=options.units == "us", **more)

    if options.out:
        from winchsim.report.figures.look import COLUMN
        from winchsim.report.figures.save import image
        from winchsim.report.figures.spread import spread_figure

        figure = spread_figure(found, COLUMN)
        contents = (
            text(),
            spread_json(found, closing, digest=scenario.digest),
            spread_csv(found),
            image(figure, "svg", COLUMN, scenario.digest),
            image(figure, "png", COLUMN, scenario.digest),
        )
        write_out(options, env, dict(zip(FILE_NAMES, contents, strict=True)))
    env.out(spread_json(found, closing, digest=scenario.digest) if options.json else text(env.paint))


@contextmanager
def _executor(options: argparse.Namespace, env: Env) -> Iterator[Executor | None]:
    """Where the builds are lifted: on a scheduler, in processes of this machine, or right here."""
    workers = env.workers if options.workers is None else options.workers
    if workers < 1:
        raise usage_error(f"{workers} workers", "at least 1")
    if options.scheduler:
        with _cluster(options.scheduler) as executor:
            yield executor
    elif workers > 1:
        from concurrent.futures import ProcessPoolExecutor

        pool = ProcessPoolExecutor(workers, initializer=_leave_interrupts)
        try:
            yield pool
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    else:
        yield None


def _leave_interrupts() -> None:
    """Let Ctrl-C be seen by the command line alone, not by its workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    """Executor of a dask scheduler that is running already."""
    try:
        from distributed import Client
    except ImportError as error:
        raise usage_error("--scheduler needs dask's distributed", 'pip install "winchsim[cluster]"') from error
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise usage_error(f"no dask scheduler at {address}", f"is it running? ({type(error).__name__})") from error
    with client:
        yield client.get_executor()
