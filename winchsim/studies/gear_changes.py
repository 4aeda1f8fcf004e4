"""Single changes of a train: one pair with other teeth, one pair more, one pair fewer."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Stage
from winchsim.model import Machine

SIZES = 22
"""Tooth counts tried for one gear. [-]"""

SMALLEST, LARGEST = 0.5, 2.0
"""Range of the driven gear's teeth, as shares of the present number. [-]"""


@dataclass(frozen=True)
class GearChange:
    """One change.

    Attributes
    ----------
    kind : str
        ``none``, ``teeth``, ``more`` or ``fewer``.
    stage : int
        Which stage, from 1; 0 for none.
    pinion, gear, before : int or None
        Teeth of the changed or added pair, and of its gear before; None without teeth.
    inputs : Inputs
    ratio : float
        From the first group's motors to the drum. [-]
    """

    kind: str
    stage: int
    pinion: int | None
    gear: int | None
    before: int | None
    inputs: Inputs
    ratio: float


def gear_changes(inputs: Inputs, machine: Machine) -> Iterator[GearChange]:
    """Every change, the train as it is first.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    """
    present = machine.groups[0].ratio
    yield GearChange("none", 0, None, None, None, inputs, present)
    for place, stage in enumerate(inputs.stage):
        if stage.repeat > 1 or place > 0:
            ratio = present / stage.speed_ratio()
            yield GearChange(
                "fewer", place + 1, stage.pinion, None, stage.gear, _with(inputs, place), ratio
            )
        for teeth in _teeth(stage):
            added = stage if teeth is None else replace(stage, gear=teeth)
            if teeth is not None and teeth != stage.gear:
                own = inputs.motors[0].pinion if place == 0 and stage.repeat == 1 else None
                changed, ratio = _with(inputs, place, added), present * teeth / (stage.gear or 1)
                yield GearChange(
                    "teeth", place + 1, own or stage.pinion, teeth, stage.gear, changed, ratio
                )
            longer = _with(inputs, place, stage, added)
            ratio = present * added.speed_ratio()
            yield GearChange("more", place + 1, stage.pinion, teeth, None, longer, ratio)


def _teeth(stage: Stage) -> list[int | None]:
    """Teeth of the driven gear that are tried, evenly spread in ratio, the present number among
    them."""
    if stage.kind != "spur" or stage.gear is None or stage.pinion is None:
        return [None]
    low, high = (
        max(stage.pinion, math.ceil(SMALLEST * stage.gear)),
        math.floor(LARGEST * stage.gear),
    )
    spread = np.round(np.geomspace(low, max(high, low + 1), SIZES)).astype(int)
    return sorted({*spread.tolist(), stage.gear})


def _with(inputs: Inputs, place: int, *last: Stage) -> Inputs:
    """Scenario whose last pair of a stage is replaced by others, or by none."""
    stage = inputs.stage[place]
    pairs = [replace(stage, repeat=stage.repeat - 1)] if stage.repeat > 1 else []
    pairs += [replace(pair, repeat=1) for pair in last]
    merged: list[Stage] = []
    for pair in pairs:
        if merged and replace(merged[-1], repeat=1) == replace(pair, repeat=1):
            merged[-1] = replace(merged[-1], repeat=merged[-1].repeat + pair.repeat)
        else:
            merged.append(pair)
    return replace(inputs, stage=(*inputs.stage[:place], *merged, *inputs.stage[place + 1 :]))
