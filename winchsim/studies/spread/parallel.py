"""Builds lifted in chunks, here or on any executor; what is done when the user stops is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from functools import partial
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from winchsim.frozen import dataclass
from winchsim.studies.spread.builds import Plan
from winchsim.studies.spread.outcomes import Outcomes, joined, lift_builds

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

CHUNK = 40
SIMULATED_CHUNK = 4
"""Builds of one task: by the quasi-static model, and simulated in full. The same however many
workers there are, so that every build gives the same numbers wherever it is lifted. [-]"""

AT_ONCE = 64
"""Most tasks that are handed out at a time: more would only wait in the executor's memory. [-]"""


@dataclass(frozen=True)
class Done:
    """What came of it.

    Attributes
    ----------
    outcomes : Outcomes
        Of the builds that were lifted, in their order.
    rows : ndarray of int
        Which these are.
    complete : bool
        Whether all were.
    """

    outcomes: Outcomes
    rows: NDArray[np.int_]
    complete: bool


def lift_everywhere(
    plan: Plan,
    shares: Array,
    executor: Executor | None = None,
    *,
    simulated: bool = False,
    on_progress: Progress | None = None,
) -> Done:
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
        Told how many of how many builds are done.

    Returns
    -------
    Done
        After a KeyboardInterrupt: of the chunks that were finished by then.
    """
    size = SIMULATED_CHUNK if simulated else CHUNK
    tasks = {
        start: partial(lift_builds, plan, shares[start : start + size], simulated=simulated)
        for start in range(0, len(shares), size)
    }
    found: dict[int, Outcomes] = {}

    def tell() -> None:
        if on_progress is not None:
            on_progress(sum(len(part) for part in found.values()), len(shares))

    try:
        if executor is None:
            for start, task in tasks.items():
                found[start] = task()
                tell()
        else:
            _hand_out(executor, tasks.items(), found, tell)
    except KeyboardInterrupt:
        pass
    if not found:
        raise KeyboardInterrupt
    done = sorted(found)
    rows = np.concatenate([np.arange(start, start + len(found[start])) for start in done])
    return Done(joined([found[start] for start in done]), rows, len(done) == len(tasks))


def _hand_out(
    executor: Executor,
    tasks: Iterable[tuple[int, Callable[[], Outcomes]]],
    found: dict[int, Outcomes],
    tell: Callable[[], None],
) -> None:
    """Keep `AT_ONCE` tasks in hand; of several that are done, a failed one does not take the others
    with it."""
    waiting: dict[Future[Outcomes], int] = {}
    left = iter(tasks)
    try:
        while True:
            for start, task in islice(left, AT_ONCE - len(waiting)):
                waiting[executor.submit(task)] = start
            if not waiting:
                return
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in sorted(done, key=lambda future: future.exception() is not None):
                found[waiting.pop(future)] = future.result()
            tell()
    finally:
        for future in waiting:
            future.cancel()
