"""Builds lifted in chunks, here or on any executor; what is done when the user stops is kept."""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from functools import partial
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from winchsim.studies.spread.builds import Plan
from winchsim.studies.spread.outcomes import Outcomes, lift_builds

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]
Tasks = Mapping[int, Callable[[], Outcomes]]

CHUNK = 40
SIMULATED_CHUNK = 4
"""Builds of one task: by the quasi-static model, and simulated in full. The same however many
workers there are, so that every build gives the same numbers wherever it is lifted. [-]"""

AT_ONCE = 64
"""Most tasks that are handed out at a time: more would only wait in the executor's memory. [-]"""


def lift_everywhere(
    plan: Plan,
    shares: Array,
    executor: Executor | None = None,
    *,
    simulated: bool = False,
    on_progress: Progress | None = None,
) -> tuple[Outcomes, NDArray[np.int_]]:
    """Outcomes of builds, lifted in chunks.

    Parameters
    ----------
    plan : Plan
    shares : ndarray, shape (n, dimensions)
        Numbers between 0 and 1, one row a build. [-]
    executor : Executor, optional
        Any of concurrent.futures' kind; left out, the builds are lifted here.
    simulated : bool
        Whether by the full simulation.
    on_progress : callable, optional
        Called with the builds done and their number.

    Returns
    -------
    (Outcomes, ndarray of int)
        Of the builds that were lifted, and which these are: after a KeyboardInterrupt those of the
        chunks that were finished by then.
    """
    size = SIMULATED_CHUNK if simulated else CHUNK
    tasks = {
        start: partial(lift_builds, plan, shares[start : start + size], simulated=simulated)
        for start in range(0, len(shares), size)
    }
    found: dict[int, Outcomes] = {}
    try:
        here = ((start, task()) for start, task in tasks.items())
        for start, part in here if executor is None else _handed_out(executor, tasks):
            found[start] = part
            if on_progress is not None:
                on_progress(sum(map(len, found.values())), len(shares))
    except KeyboardInterrupt:
        if not found:
            raise
    done = sorted(found)
    rows = [np.arange(start, start + len(found[start])) for start in done]
    whole = np.concatenate([found[start] for start in done]).view(np.recarray)
    return whole, np.concatenate(rows)


def _handed_out(executor: Executor, tasks: Tasks) -> Iterator[tuple[int, Outcomes]]:
    """Results as they are done, with `AT_ONCE` tasks in hand; of several that are done, a failed
    one does not take the others with it."""
    waiting: dict[Future[Outcomes], int] = {}
    left = iter(tasks.items())
    try:
        while True:
            for start, task in islice(left, AT_ONCE - len(waiting)):
                waiting[executor.submit(task)] = start
            if not waiting:
                return
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in sorted(done, key=lambda future: future.exception() is not None):
                yield waiting.pop(future), future.result()
    finally:
        for future in waiting:
            future.cancel()
