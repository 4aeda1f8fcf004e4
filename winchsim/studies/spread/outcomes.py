"""What becomes of builds: each lifted by the quasi-static model or in full, and what each of its
motors does; in chunks, here or on any executor. What is done when the user stops is kept."""

import math
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from enum import IntEnum
from functools import partial
from itertools import islice
from typing import Any

import numpy as np

from winchsim.assessment.history import read_history
from winchsim.assessment.readings import mean_current, part_rows
from winchsim.model import Event, Machine, pull
from winchsim.physics.chain import raising_line
from winchsim.simulation import simulate
from winchsim.slow import Hold, SlowEnd, lift_batch
from winchsim.slow.stacking import Batch, rows, stacks_by_shape
from winchsim.strength.link import LinkKind
from winchsim.studies.spread.builds import BuildPlan

Progress = Callable[[int, int], None]

CHUNK = 40
SIMULATED_CHUNK = 4
"""Builds of one task: by the quasi-static model, and simulated in full. The same however many
workers there are, so that every build gives the same numbers wherever it is lifted. [-]"""

AT_ONCE = 64
"""Most tasks that are handed out at a time: more would only wait in the executor's memory. [-]"""

_TEETH = [place for place, kind in enumerate(LinkKind) if kind.is_tooth]


Ending = IntEnum("Ending", ["LIFTED", "STALLED", "BROKE", "OTHER", "CANNOT_BE_BUILT"], start=0)
"""What becomes of a build."""


Outcomes = np.recarray
"""What became of n builds, a row each; NaN where there is nothing to say. Fields:

ending
    One of `Ending`.
time, speed
    Of the lift [s]; height over lift time, 0 where it stalled [m/s].
current
    Of the supply, mean over the lift. [A]
winding
    Most that a winding gets above its own limit; over 0 is too hot. [K]
factor, teeth, weakest
    Least strength over demand of any link, below 1 it breaks; the same of teeth alone; the link of
    the least factor. [-]
hold
    Torque by which friction at rest exceeds what the load passes up, power off; below 0 it runs
    back. NaN in full runs, which only show whether. [N·m]
held
    Whether it stays up.
torques, currents
    Of one motor of each group of the plan's motors, just after lift-off: torque at its shaft, and
    current. [N·m], [A]
"""


def lift_builds(plan: BuildPlan, shares: np.ndarray, *, simulated: bool = False) -> Outcomes:
    """Outcomes of builds; the same whoever calls it, so that workers can.

    Parameters
    ----------
    plan : BuildPlan
    shares : ndarray, shape (n, draws)
        Numbers between 0 and 1, one row a build. [-]
    simulated : bool
        Whether by the full simulation rather than by the quasi-static model.

    Returns
    -------
    Outcomes
    """
    numbers = ("time", "speed", "current", "winding", "factor", "teeth", "hold")
    kinds: list[Any] = [
        *(("ending", int), ("weakest", object), ("held", bool)),
        *((name, float) for name in numbers),
        *((name, float, (len(plan.owners),)) for name in ("torques", "currents")),
    ]
    blank = np.array((Ending.CANNOT_BE_BUILT, "", False, *[np.nan] * (len(kinds) - 3)), dtype=kinds)
    found = np.full(len(shares), blank).view(np.recarray)
    machines = plan.machines(shares)
    for members, batch in stacks_by_shape(machines):
        if plan.owners:
            found["torques"][members], found["currents"][members] = _sharing(batch)
        if simulated:
            parts = [([place], _in_full(machines[place])) for place in members]
        else:
            parts = [(members, _slow(batch))]
        for places, values in parts:
            for name, value in values.items():
                found[name][places] = value
    return found


def _slow(batch: Batch) -> dict[str, Any]:
    lifts, m = lift_batch(batch), batch.machine
    broke = lifts.factor < 1
    up = (lifts.end == SlowEnd.LIFTED) & ~broke
    stalled = np.isin(lifts.end, (SlowEnd.STALLED, SlowEnd.STALLED_AT_LAYER_END)) & ~broke
    height = m.height(m.top_travel - m.start_travel)
    with np.errstate(invalid="ignore"):
        return {
            "ending": np.select(
                [broke, up, stalled], [Ending.BROKE, Ending.LIFTED, Ending.STALLED], Ending.OTHER
            ),
            "time": np.where(up, lifts.lift_time, np.nan),
            "speed": np.where(up, height / lifts.lift_time, np.where(stalled, 0.0, np.nan)),
            "current": np.where(up, lifts.mean_current, np.nan),
            "winding": np.where(up, lifts.tight_winding - lifts.tight_limit, np.nan),
            "factor": lifts.factor,
            "teeth": np.min(lifts.kind_factors[:, _TEETH], axis=1),
            "weakest": lifts.weakest,
            "hold": np.where(up, lifts.hold_margin, np.nan),
            "held": lifts.holding != Hold.RUNS_BACK,
        }


def _in_full(machine: Machine) -> dict[str, Any]:
    record = simulate(machine)
    history, parts = read_history(record), part_rows(record, None)
    time = history.lift_time
    worst = min(parts, key=lambda part: part.factor, default=None)
    found: dict[str, Any] = {
        "ending": Ending.OTHER,
        "factor": worst.factor if worst is not None else math.inf,
        "teeth": min(
            [part.factor for part in parts if LinkKind(part.kind).is_tooth], default=math.inf
        ),
        "weakest": worst.label if worst is not None else "",
        "held": history.held is not False or not history.trusted,
    }
    if record.first(Event.OVERLOAD) is not None:
        return found | {"ending": Ending.BROKE}
    if time is None:
        stalled = record.first(Event.STALLED) is not None
        return found | ({"ending": Ending.STALLED, "speed": 0.0} if stalled else {})
    return found | {
        "ending": Ending.LIFTED,
        "time": time,
        "speed": machine.height(machine.top_travel - machine.start_travel) / time,
        "current": mean_current(history),
        "winding": max(
            [record[f"motor_{g.number}_winding"].max() - g.winding_limit for g in machine.groups]
        ),
    }


def _sharing(batch: Batch) -> tuple[np.ndarray, np.ndarray]:
    """Torque and current of each motor just after lift-off: all turn at one speed, each does what
    its own law says. Shape (builds, motors)

    A motor whose torque is below 0 is dragged by the others.
    """
    m, every = batch.machine, np.arange(batch.size)
    layer = np.minimum(np.sum(batch.ends <= m.wound_at_start, axis=0), batch.layer_counts - 1)
    drag, per_torque = raising_line(m.chain)
    law = batch.law()
    speed = law.steady_speed(
        drag + per_torque * pull(m, m.start_travel) * batch.radii[layer, every]
    )
    drive = law.drive(speed)
    torques = [
        torque / unit.count - unit.motor.drag * (speed > 0)
        for torque, unit in zip(drive.torques, m.groups, strict=False)
    ]
    return rows(torques, batch.size).T, rows(drive.currents, batch.size).T


def lift_everywhere(
    plan: BuildPlan,
    shares: np.ndarray,
    executor: Executor | None = None,
    *,
    simulated: bool = False,
    on_progress: Progress | None = None,
) -> tuple[Outcomes, np.ndarray]:
    """Outcomes of builds, lifted in chunks.

    Parameters
    ----------
    plan : BuildPlan
    shares : ndarray, shape (n, draws)
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
    places = [np.arange(start, start + len(found[start])) for start in done]
    whole = np.concatenate([found[start] for start in done]).view(np.recarray)
    return whole, np.concatenate(places)


def _handed_out(
    executor: Executor, tasks: Mapping[int, Callable[[], Outcomes]]
) -> Iterator[tuple[int, Outcomes]]:
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
