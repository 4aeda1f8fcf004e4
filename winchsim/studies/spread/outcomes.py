"""What becomes of builds: each lifted by the quasi-static model or in full, and what each of its
motors does."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from winchsim.assessment.history import read_history
from winchsim.assessment.parts import part_rows
from winchsim.frozen import dataclass
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

TOOTH_KINDS = (LinkKind.TOOTH_PINION, LinkKind.TOOTH_GEAR)
_TEETH = [list(LinkKind).index(kind) for kind in TOOTH_KINDS]


class Ending(IntEnum):
    """What becomes of a build."""

    LIFTED = 0
    STALLED = 1
    BROKE = 2
    OTHER = 3
    CANNOT_BE_BUILT = 4


@dataclass(frozen=True)
class Outcomes:
    """What became of n builds; NaN where there is nothing to say.

    Attributes
    ----------
    ending : ndarray of int, shape (n,)
        One of `Ending`.
    time : ndarray, shape (n,)
        Of the lift. [s]
    speed : ndarray, shape (n,)
        Height over lift time, 0 where it stalled. [m/s]
    current : ndarray, shape (n,)
        Of the supply, mean over the lift. [A]
    winding : ndarray, shape (n,)
        Most that a winding gets above its own limit; over 0 is too hot. [K]
    factor : ndarray, shape (n,)
        Least strength over demand of any link; below 1 it breaks. [-]
    teeth : ndarray, shape (n,)
        The same of teeth alone. [-]
    weakest : ndarray of str, shape (n,)
        The link of the least factor.
    hold : ndarray, shape (n,)
        Torque by which friction at rest exceeds what the load passes up, power off; below 0 it runs
        back. NaN in full runs, which only show whether. [N·m]
    held : ndarray of bool, shape (n,)
        Whether it stays up.
    torques, currents : ndarray, shape (n, motors)
        Of one motor of each of the plan's singles, just after lift-off: torque at its shaft, and
        current. [N·m], [A]
    """

    ending: NDArray[np.int_]
    time: Array
    speed: Array
    current: Array
    winding: Array
    factor: Array
    teeth: Array
    weakest: NDArray[Any]
    hold: Array
    held: NDArray[np.bool_]
    torques: Array
    currents: Array

    def __len__(self) -> int:
        return len(self.ending)

    @property
    def lifted(self) -> NDArray[np.bool_]:
        """Whether each came up."""
        return self.ending == Ending.LIFTED


def nothing(size: int, motors: int) -> Outcomes:
    """Outcomes of builds of which nothing is known."""
    blank = np.full(size, np.nan)
    each = np.full((size, motors), np.nan)
    return Outcomes(
        np.full(size, Ending.CANNOT_BE_BUILT, dtype=int),
        blank,
        blank.copy(),
        blank.copy(),
        blank.copy(),
        blank.copy(),
        blank.copy(),
        np.full(size, "", dtype=object),
        blank.copy(),
        np.zeros(size, dtype=bool),
        each,
        each.copy(),
    )


def joined(parts: Sequence[Outcomes]) -> Outcomes:
    """Outcomes one after the other."""
    names = [f.name for f in dataclasses.fields(Outcomes)]
    return Outcomes(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    )


def chosen(found: Outcomes, rows: NDArray[Any]) -> Outcomes:
    """Some of the outcomes."""
    return Outcomes(**{f.name: getattr(found, f.name)[rows] for f in dataclasses.fields(Outcomes)})


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
    found = nothing(len(shares), len(plan.singles))
    machines = plan.machines(shares)
    by_shape: dict[Any, list[int]] = {}
    for place, machine in machines.items():
        by_shape.setdefault(shape_of(machine), []).append(place)
    for members in by_shape.values():
        batch = stack_machines([machines[place] for place in members])
        where = np.array(members)
        if simulated:
            for place in members:
                _put(found, np.array([place]), _in_full(machines[place]))
        else:
            _put(found, where, _slow(batch))
        if plan.singles:
            _put(found, where, _sharing(batch))
    return found


def _put(found: Outcomes, where: NDArray[Any], values: dict[str, Any]) -> None:
    for name, value in values.items():
        getattr(found, name)[where] = value


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
            "teeth": np.min(lifts.kind_factors[_TEETH], axis=0),
            "weakest": lifts.weakest,
            "hold": np.where(up, lifts.hold_margin, np.nan),
            "held": lifts.holding != Hold.RUNS_BACK,
        }


def _in_full(machine: Machine) -> dict[str, Any]:
    record = simulate(machine)
    history, rows = read_history(record), part_rows(record, None)
    began, time = history.lift_began, history.lift_time
    worst = min(rows, key=lambda row: row.factor, default=None)
    found: dict[str, Any] = {
        "ending": Ending.OTHER,
        "factor": worst.factor if worst is not None else math.inf,
        "teeth": min(
            (row.factor for row in rows if LinkKind(row.kind) in TOOTH_KINDS), default=math.inf
        ),
        "weakest": worst.label if worst is not None else "",
        "held": history.held is not False or not history.trusted,
    }
    if record.first(Event.OVERLOAD) is not None:
        found["ending"] = Ending.BROKE
    elif began is not None and time is not None:
        windings = [
            float(record[f"motor_{g.number}_winding"].max()) - g.winding_limit
            for g in machine.groups
        ]
        before, after = np.interp([began, began + time], record.time, record["charge"])
        height = machine.height(machine.top_travel - machine.start_travel)
        found |= {
            "ending": Ending.LIFTED,
            "time": time,
            "speed": height / time,
            "current": float(after - before) / time,
            "winding": max(windings),
        }
    elif record.first(Event.STALLED) is not None:
        found |= {"ending": Ending.STALLED, "speed": 0.0}
    return found


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
    torques, currents = [], []
    for torque, unit in zip(drive.torques, m.units, strict=True):
        if unit.live:
            torques.append(
                np.broadcast_to(torque / unit.count - unit.motor.drag * (speed > 0), (n,))
            )
            currents.append(np.broadcast_to(drive.currents[unit.place], (n,)))
    return {"torques": np.array(torques).T, "currents": np.array(currents).T}
