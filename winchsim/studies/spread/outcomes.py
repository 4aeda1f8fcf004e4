"""What becomes of builds: each lifted by the quasi-static model or in full, and what each of its
motors does."""

import math
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.assessment.history import read_history
from winchsim.assessment.parts import part_rows
from winchsim.assessment.readings import mean_current
from winchsim.model import Event, Machine
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import pull
from winchsim.physics.chain import raising_line
from winchsim.simulation import simulate
from winchsim.slow import End, Hold, lift_batch, stack_machines
from winchsim.slow.climb import start_temperatures
from winchsim.slow.stacking import Batch, shape_of
from winchsim.strength.link import LinkKind
from winchsim.studies.spread.builds import Plan

Array = NDArray[np.float64]

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


def nothing(size: int, motors: int) -> Outcomes:
    """Outcomes of builds that cannot be made."""
    numbers = ("time", "speed", "current", "winding", "factor", "teeth", "hold")
    kinds: list[Any] = [("ending", int), ("weakest", object), ("held", bool)]
    kinds += [(name, float) for name in numbers]
    kinds += [(name, float, (motors,)) for name in ("torques", "currents")]
    blank = (Ending.CANNOT_BE_BUILT, "", False, *[np.nan] * (len(kinds) - 3))
    return np.full(size, np.array(blank, dtype=kinds)).view(np.recarray)


def lift_builds(plan: Plan, shares: Array, *, simulated: bool = False) -> Outcomes:
    """Outcomes of builds; the same whoever calls it, so that workers can.

    Parameters
    ----------
    plan : Plan
    shares : ndarray, shape (n, dimensions)
        Numbers between 0 and 1, one row a build. [-]
    simulated : bool
        Whether by the full simulation rather than by the quasi-static model.

    Returns
    -------
    Outcomes
    """
    found = nothing(len(shares), len(plan.owners))
    machines = plan.machines(shares)
    by_shape: dict[Any, list[int]] = {}
    for place, machine in machines.items():
        by_shape.setdefault(shape_of(machine), []).append(place)
    for members in by_shape.values():
        batch = stack_machines([machines[place] for place in members])
        parts = [(members, _sharing(batch))] if plan.owners else []
        if simulated:
            parts += [([place], _in_full(machines[place])) for place in members]
        else:
            parts.append((members, _slow(batch)))
        for where, values in parts:
            for name, value in values.items():
                found[name][where] = value
    return found


def _slow(batch: Batch) -> dict[str, Any]:
    lifts, m = lift_batch(batch), batch.machine
    broke = lifts.factor < 1
    up = (lifts.end == End.LIFTED) & ~broke
    stalled = np.isin(lifts.end, (End.STALLED, End.STALLED_AT_LAYER_END)) & ~broke
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
    history, rows = read_history(record), part_rows(record, None)
    time = history.lift_time
    worst = min(rows, key=lambda row: row.factor, default=None)
    teeth = [row.factor for row in rows if LinkKind(row.kind).is_tooth]
    found: dict[str, Any] = {
        "ending": Ending.OTHER,
        "factor": worst.factor if worst is not None else math.inf,
        "teeth": min(teeth, default=math.inf),
        "weakest": worst.label if worst is not None else "",
        "held": history.held is not False or not history.trusted,
    }
    if record.first(Event.OVERLOAD) is not None:
        return found | {"ending": Ending.BROKE}
    if time is None:
        stalled = record.first(Event.STALLED) is not None
        return found | ({"ending": Ending.STALLED, "speed": 0.0} if stalled else {})
    over = [record[f"motor_{g.number}_winding"].max() - g.winding_limit for g in machine.groups]
    return found | {
        "ending": Ending.LIFTED,
        "time": time,
        "speed": machine.height(machine.top_travel - machine.start_travel) / time,
        "current": mean_current(history),
        "winding": max(over),
    }


def _sharing(batch: Batch) -> dict[str, Any]:
    """Torque and current of each motor just after lift-off: all turn at one speed, each does what
    its own law says.

    A motor whose torque is below 0 is dragged by the others.
    """
    m, n = batch.machine, batch.size
    layer = np.minimum(np.sum(batch.ends <= m.wound_at_start, axis=0), batch.layer_counts - 1)
    radius = np.take_along_axis(batch.radii, np.broadcast_to(layer, (1, n)), axis=0)[0]
    drag, per_torque = raising_line(m.chain)
    law = DriveLaw(batch.machine, batch.raising, *start_temperatures(batch))
    needed = np.broadcast_to(drag + per_torque * pull(m, m.start_travel) * radius, (n,))
    speed = law.steady_speed(needed)
    drive = law.drive(speed)
    found: dict[str, list[Array]] = {"torques": [], "currents": []}
    for torque, current, unit in zip(drive.torques, drive.currents, m.groups, strict=False):
        dragged = unit.motor.drag * (speed > 0)
        found["torques"].append(torque / unit.count - dragged + np.zeros(n))
        found["currents"].append(current + np.zeros(n))
    return {name: np.array(rows).T for name, rows in found.items()}
