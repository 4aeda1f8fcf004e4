"""Builds that differ by more than single values; single changes of a train."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, PartDrum, PartGear, PartMotor, PartRope, Stage
from winchsim.model import Machine

SIZES = 22
"""Tooth counts tried for one gear. [-]"""

SMALLEST, LARGEST = 0.5, 2.0
"""Range of the driven gear's teeth, as shares of the present number. [-]"""

Pair = tuple[PartGear, PartGear]
Fitted = tuple[tuple[PartMotor, int], ...]


@dataclass(frozen=True)
class Build:
    """One build.

    Attributes
    ----------
    kind : str
        ``none``, ``teeth``, ``more``, ``fewer``: one change of the train; ``parts``: of parts at
        hand; ``present``: as it is, beside these.
    inputs : Inputs
    value : float
        By which it stands among others: ratio, number of motors, diameter. [-] or [m]
    stage : int
        Which stage a change is in, from 1; 0 for none.
    pinion, gear, before : int or None
        Teeth of the changed or added pair, and of its gear before; None without teeth.
    train : tuple of (PartGear, PartGear)
        Pairs from the motors on; empty where the train stays.
    motors : tuple of (PartMotor, int)
        Which, and how many; empty where they stay.
    drum, rope : PartDrum, PartRope or None
        None where it stays.
    """

    kind: str
    inputs: Inputs
    value: float
    stage: int = 0
    pinion: int | None = None
    gear: int | None = None
    before: int | None = None
    train: tuple[Pair, ...] = ()
    motors: Fitted = ()
    drum: PartDrum | None = None
    rope: PartRope | None = None


def with_stages(inputs: Inputs, stages: Sequence[tuple[Stage, int]]) -> Inputs:
    """Scenario with other stages, each with the place, from 1, of the one that it is made from."""
    given = {path for path in inputs.given if not path.startswith("stage.")}
    for place, (_, origin) in enumerate(stages, start=1):
        head = f"stage.{origin}."
        own = [path[len(head) :] for path in inputs.given if path.startswith(head)]
        given |= {f"stage.{place}.{key}" for key in own}
    return replace(inputs, stage=tuple(stage for stage, _ in stages), given=frozenset(given))


# --- single changes of a train


def gear_changes(inputs: Inputs, machine: Machine) -> Iterator[Build]:
    """One pair with other teeth, one pair more, one pair fewer; the train as it is first.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    """
    present = machine.groups[0].ratio
    yield Build("none", inputs, present)
    for place, stage in enumerate(inputs.stage):
        at = place + 1
        if stage.repeat > 1 or place > 0:
            ratio = present / stage.speed_ratio()
            yield Build("fewer", _with(inputs, place), ratio, at, stage.pinion, None, stage.gear)
        for teeth in _teeth(stage):
            added = stage if teeth is None else replace(stage, gear=teeth)
            if teeth is not None and teeth != stage.gear:
                own = inputs.motors[0].pinion if place == 0 and stage.repeat == 1 else None
                changed, ratio = _with(inputs, place, added), present * teeth / (stage.gear or 1)
                yield Build("teeth", changed, ratio, at, own or stage.pinion, teeth, stage.gear)
            longer, ratio = _with(inputs, place, stage, added), present * added.speed_ratio()
            yield Build("more", longer, ratio, at, stage.pinion, teeth)


def _teeth(stage: Stage) -> list[int | None]:
    """Teeth of the driven gear that are tried, evenly spread in ratio, the present number among
    them."""
    if stage.kind != "spur" or stage.gear is None or stage.pinion is None:
        return [None]
    low = max(stage.pinion, math.ceil(SMALLEST * stage.gear))
    high = math.floor(LARGEST * stage.gear)
    spread = np.round(np.geomspace(low, max(high, low + 1), SIZES)).astype(int)
    return sorted({*spread.tolist(), stage.gear})


def _with(inputs: Inputs, place: int, *last: Stage) -> Inputs:
    """Scenario whose last pair of a stage is replaced by others, or by none."""
    pairs = unrolled(inputs)
    at = sum(stage.repeat for stage in inputs.stage[: place + 1]) - 1
    pairs[at : at + 1] = [(replace(pair, repeat=1), place + 1) for pair in last]
    merged: list[tuple[Stage, int]] = []
    for pair, origin in pairs:
        if merged and merged[-1][1] == origin and replace(merged[-1][0], repeat=1) == pair:
            merged[-1] = replace(pair, repeat=merged[-1][0].repeat + 1), origin
        else:
            merged.append((pair, origin))
    return with_stages(inputs, merged)


def unrolled(inputs: Inputs) -> list[tuple[Stage, int]]:
    """Every pair of the train with the place of its stage, from 1."""
    return [
        (replace(stage, repeat=1), place)
        for place, stage in enumerate(inputs.stage, start=1)
        for _ in range(stage.repeat)
    ]
