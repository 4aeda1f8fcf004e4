"""``winchsim spread``: how the differences from part to part move the result."""

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import parent_process
from typing import Any

from winchsim.commands.call import (
    Env,
    ExitCode,
    Namespace,
    again,
    finish,
    quantity_of,
    refuse,
    usage_error,
)
from winchsim.face import spread
from winchsim.report import spread as report

BUILDS, SIMULATED_BUILDS = 1000, 100
"""Builds to lift by the quasi-static model, and simulated in full, where no number is given."""

MOST_WORKERS = 256
"""Most processes, also where the machine has more cores. [-]"""


def run(options: Namespace, env: Env) -> int:
    """Draw, lift, print, write."""
    scenario, workers = options.scenario, _workers(options, env)
    usual = SIMULATED_BUILDS if options.simulate else BUILDS
    with (
        executor_of(options.scheduler, workers) as executor,
        env.progress("builds lifted") as tell,
    ):
        found = spread(
            scenario.inputs,
            builds=usual if options.builds is None else options.builds,
            random_seed=options.seed,
            level=quantity_of("--level", options.level, ""),
            executor=executor,
            simulated=options.simulate,
            on_progress=tell,
        )

    finish(
        options,
        env,
        scenario.digest,
        report.build(found, scenario, again(options)),
        json=lambda: report.spread_json(found, scenario.digest),
        csv=lambda: report.spread_csv(found),
        result=found,
    )
    if not found.complete:
        return ExitCode.INTERRUPTED
    return ExitCode.BAD if found.status == "fails" else ExitCode.GOOD


def _workers(options: Namespace, env: Env) -> int:
    """Processes to use; more than the machine runs at once only where they are asked for twice."""
    asked = options.workers or [env.workers]
    workers, most = int(asked[-1]), max(env.workers, os.cpu_count() or 1)
    text = f"--workers {workers} is out of range"
    hint = f"this machine runs {most} at once; for more all the same, give --workers twice"
    refuse(
        (not 1 <= workers <= MOST_WORKERS, text, f"--workers takes 1 to {MOST_WORKERS}"),
        (workers > most and len(asked) < 2, text, hint),
    )
    return workers


@contextmanager
def executor_of(scheduler: str | None, workers: int) -> Iterator[Executor | None]:
    """Where builds are lifted: on a scheduler, in processes of this machine, or right here."""
    if scheduler is not None:
        with _client(scheduler) as client:
            yield client.get_executor()
    elif workers > 1:
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
    if parent := parent_process():
        parent.join()
        os._exit(1)


def _client(address: str) -> Any:
    """Client of a scheduler of the package `distributed` that is running already."""
    try:
        from distributed import Client
    except ImportError as error:
        raise usage_error(
            '--scheduler needs the extra "cluster"', 'pip install "winchsim[cluster]"'
        ) from error
    try:
        return Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise usage_error(
            f"no scheduler answers at {address}", f"is it running? ({type(error).__name__})"
        ) from error
