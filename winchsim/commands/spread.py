"""``winchsim spread``: how the differences from part to part move the result."""

from __future__ import annotations

import argparse
import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
    quantity_of,
    usage_error,
)
from winchsim.commands.outputs import again, present, write_out
from winchsim.commands.progress import progress

if TYPE_CHECKING:
    from concurrent.futures import Executor

FILE_NAMES = ("spread.html", "spread.json", "spread.csv", "spread.svg", "spread.png")
BUILDS, SIMULATED_BUILDS = 1000, 100
MOST_WORKERS = 256
"""Most processes, also where the machine has more cores. [-]"""


def run(options: argparse.Namespace, env: Env) -> int:
    """Draw, lift, print, write."""
    from winchsim.scenario.read import read, tolerance_width

    scenario = read(options.file, options.overrides)
    workers = _workers(options, env)

    from winchsim.report.spread import build, spread_csv, spread_json
    from winchsim.studies.spread import Given, spread

    inputs, us = scenario.inputs, options.units == "us"
    found_builds = SIMULATED_BUILDS if options.simulate else BUILDS
    with (
        executor_of(options.scheduler, workers) as executor,
        progress(env, "builds lifted") as tell,
    ):
        found = spread(
            inputs,
            [Given(row.path, tolerance_width(inputs, row), row.shape) for row in inputs.tolerance],
            builds=found_builds if options.builds is None else options.builds,
            random_seed=options.seed,
            level=quantity_of("--level", options.level, ""),
            executor=executor,
            simulated=options.simulate,
            on_progress=tell,
        )
    document = build(found, title=inputs.title, name=scenario.name, command=again(options))
    facts = spread_json(found, digest=scenario.digest) if options.out or options.json else ""
    if options.out:
        from winchsim.report.figures.look import COLUMN
        from winchsim.report.figures.save import image, inline_svg
        from winchsim.report.figures.spread import spread_figure
        from winchsim.report.render.html import render_html
        from winchsim.report.render.options import Options

        figure = spread_figure(found, COLUMN)
        drawn = inline_svg(figure, COLUMN, "spread", "Lift times and influences.")
        contents = (
            render_html(document, Options(us=us, figures={"spread": drawn})),
            facts,
            spread_csv(found),
            image(figure, "svg", COLUMN, scenario.digest),
            image(figure, "png", COLUMN, scenario.digest),
        )
        write_out(
            options, env, dict(zip(FILE_NAMES, contents, strict=True)), digest=scenario.digest
        )
    present(options, env, document, facts)
    if not found.complete:
        return ExitCode.INTERRUPTED
    return ExitCode.BAD if found.status == "fails" else ExitCode.GOOD


def _workers(options: argparse.Namespace, env: Env) -> int:
    """Processes to use; more than the machine runs at once only where they are asked for twice."""
    asked = options.workers or [env.workers]
    workers = asked[-1]
    if not 1 <= workers <= MOST_WORKERS:
        raise usage_error(f"{workers} workers", f"--workers takes 1 to {MOST_WORKERS}")
    most = max(env.workers, os.cpu_count() or 1)
    if workers > most and len(asked) < 2:
        hint = f"this machine runs {most} at once; for more all the same, give --workers twice"
        raise usage_error(f"{workers} workers", hint)
    return int(workers)


@contextmanager
def executor_of(scheduler: str | None, workers: int) -> Iterator[Executor | None]:
    """Where builds are lifted: on a scheduler, in processes of this machine, or right here."""
    if scheduler:
        with _cluster(scheduler) as executor:
            yield executor
    elif workers > 1:
        from concurrent.futures import ProcessPoolExecutor

        pool = ProcessPoolExecutor(workers, initializer=_begin_worker)
        try:
            yield pool
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    else:
        yield None


def _begin_worker() -> None:
    """Leave Ctrl-C to the command line, and end with it however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    from multiprocessing import parent_process

    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    """Executor of a dask scheduler that is running already."""
    try:
        from distributed import Client
    except ImportError as error:
        raise usage_error(
            "--scheduler needs dask's distributed", 'pip install "winchsim[cluster]"'
        ) from error
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise usage_error(
            f"no dask scheduler at {address}", f"is it running? ({type(error).__name__})"
        ) from error
    with client:
        yield client.get_executor()


COMMANDS = (
    Command(
        "spread",
        "lift many builds with the differences that parts have: what fails how often, and what "
        "matters",
        run,
        "winchsim spread crate.toml --builds 2000 --seed 7 --out spread",
        (
            FILE,
            SET,
            FULL,
            argument(
                "--builds",
                metavar="N",
                type=int,
                help=f"builds to lift (default: {BUILDS}, with --simulate {SIMULATED_BUILDS})",
            ),
            argument(
                "--seed",
                metavar="N",
                type=int,
                default=1,
                help="random seed: the same seed, the same builds (default: 1)",
            ),
            argument(
                "--simulate", action="store_true", help="lift each build by the full simulation"
            ),
            argument(
                "--level",
                metavar="SHARE",
                default="95 %",
                help="probability of the intervals (default: 95 %%)",
            ),
            argument(
                "--workers",
                metavar="N",
                type=int,
                action="append",
                help="processes to use here (default: one for each core; give it twice for more "
                "than that)",
            ),
            argument(
                "--scheduler",
                metavar="ADDRESS",
                help="address of a running dask scheduler to lift the builds on",
            ),
            out_folder("write the page, the numbers, every build and the picture there"),
            UNITS,
            FORCE,
        ),
        "Draws the values with a [[tolerance]] from it, other given values from the usual "
        "tolerance of such parts, and what the scenario leaves out from the range of its estimate; "
        "every motor is its own. Lifts each build by the quasi-static model (--simulate: by the "
        "full simulation). Ctrl-C keeps what is done. "
        "Ends with 1 when more than 1 in 100 builds stalls, breaks or overheats.",
        names=lambda _: FILE_NAMES,
    ),
)
