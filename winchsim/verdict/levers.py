"""What can remedy a stall or a run-back: each lever proposes its smallest change that closed form calls enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from winchsim.errors import WinchsimError
from winchsim.inputs import Brake, Inputs, Pawl, spec_at, value_at, with_value
from winchsim.model import Machine, build
from winchsim.quantity_text import PRINTED_UNITS, in_unit, rounded
from winchsim.verdict.words import counted, given, percent

MOST_MOTORS = 4
"""How many times as many motors are tried at most. [-]"""

SMALLEST = 0.25
"""How far load and drum are reduced at most: less is another lift, and no remedy for this one. [-]"""

MOST_TEETH = 1.6
"""By how much the teeth of a gear are increased at most, before another stage is tried. [-]"""

MOST_VOLTAGE = 1.5
"""Voltage over the motors' nominal one that is tried at most. [-]"""

HALVINGS = 8
GRID = 8
"""Halvings towards the smallest step, and steps of the search where the largest one does not do. [-]"""

Enough = Callable[[Machine], bool]
"""Whether closed form calls a machine remedied."""


@dataclass(frozen=True)
class Change:
    """A changed scenario.

    Attributes
    ----------
    path : str
    before, after : float, int or None
        In SI; None where there was nothing.
    unit : str
    words : str
        What was changed, for people: "8 motors instead of 6".
    inputs : Inputs
    """

    path: str
    before: float | int | None
    after: float | int
    unit: str
    words: str
    inputs: Inputs


Lever = Callable[[Inputs, Machine, Enough], Change | None]


def _passes(inputs: Inputs, enough: Enough) -> bool:
    """Whether a scenario can be built and is remedied by closed form."""
    try:
        return enough(build(inputs))
    except WinchsimError:
        return False


def _changed(inputs: Inputs, path: str, value: object) -> Inputs | None:
    try:
        return with_value(inputs, path, value)
    except WinchsimError:
        return None


def _smallest_count(inputs: Inputs, path: str, most: int, enough: Enough) -> int | None:
    """Smallest whole number above the present one that is enough, up to `most`."""
    low = int(value_at(inputs, path))
    high = most

    def good(count: int) -> bool:
        trial = _changed(inputs, path, count)
        return trial is not None and _passes(trial, enough)

    if high <= low or not good(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


def _smallest_step(inputs: Inputs, path: str, limit: float, enough: Enough) -> float | None:
    """Value nearest to the present one, towards `limit`, that is enough: rounded to the safe side as people would."""
    start = float(value_at(inputs, path))
    unit = spec_at(inputs, path).unit

    def good(value: float) -> bool:
        trial = _changed(inputs, path, value)
        return trial is not None and _passes(trial, enough)

    if not good(limit):  # too far may be wrong where less far is right: a thin drum needs more layers
        steps = [start * (limit / start) ** (k / GRID) for k in range(1, GRID)] if start * limit > 0 else []
        limit = next((value for value in steps if good(value)), math.nan)
        if math.isnan(limit):
            return None
    near, far = start, limit
    for _ in range(HALVINGS):
        middle = math.sqrt(near * far) if near * far > 0 else (near + far) / 2
        near, far = (near, middle) if good(middle) else (middle, far)
    found = _to_people(far, unit, up=limit > start)
    return found if min(start, limit) <= found <= max(start, limit) and good(found) else far


def _to_people(value: float, unit: str, *, up: bool) -> float:
    """Value over 0 rounded in its printed unit to two digits, or to three where two would move it by over 3 %."""
    shown = in_unit(value, unit)
    found = rounded(shown, 2, up=up)
    if abs(found - shown) > 0.03 * shown:
        found = rounded(shown, 3, up=up)
    return found / PRINTED_UNITS[unit].factor


# --- levers for both ------------------------------------------------------------------------------------------------


def lighter_load(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:  # noqa: ARG001 - every lever has the same signature
    """Less mass."""
    before = inputs.load.mass
    after = _smallest_step(inputs, "load.mass", SMALLEST * before, enough)
    if after is None:
        return None
    words = f"A load of {given(after, 'kg')} instead of {given(before, 'kg')}"
    return Change("load.mass", before, after, "kg", words, with_value(inputs, "load.mass", after))


def more_motors(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:
    """More motors, in the group that needs the fewest of them; of several, in the largest."""
    best: Change | None = None
    for group in sorted(machine.groups, key=lambda group: -group.live):
        path, before = f"motors.{group.number}.count", inputs.motors[group.number - 1].count
        most = MOST_MOTORS * before if best is None else before + _added(best) - 1
        after = _smallest_count(inputs, path, most, enough)
        if after is not None:
            where = f" in group {group.number}" if len(inputs.motors) > 1 else ""
            words = f"{counted(after, 'motor')}{where} instead of {before}"
            best = Change(path, before, after, "", words, with_value(inputs, path, after))
    return best


def _added(change: Change) -> int:
    return int(change.after) - int(change.before or 0)


def thinner_drum(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:  # noqa: ARG001 - every lever has the same signature
    """A thinner drum."""
    before = inputs.drum.diameter
    least = max(SMALLEST * before, inputs.rope.diameter)
    after = _smallest_step(inputs, "drum.diameter", least, enough)
    if after is None:
        return None
    words = f"A drum of {given(after, 'mm')} instead of {given(before, 'mm')}"
    return Change("drum.diameter", before, after, "mm", words, with_value(inputs, "drum.diameter", after))


def more_ratio(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:  # noqa: ARG001 - every lever has the same signature
    """More reduction: larger gears on one stage, or one stage more, whichever adds less."""
    found = [*_larger_gears(inputs, enough)] or [*_one_stage_more(inputs, enough)]
    return min(found, key=lambda pair: pair[0])[1] if found else None


def _larger_gears(inputs: Inputs, enough: Enough) -> Iterator[tuple[float, Change]]:
    for number, stage in enumerate(inputs.stage, start=1):
        if stage.kind == "spur" and stage.gear is not None:
            path, before, unit = f"stage.{number}.gear", stage.gear, ""
            after = _smallest_count(inputs, path, math.floor(MOST_TEETH * before), enough)
            gears = f"the gear of stage {number}" if stage.repeat == 1 else f"the {stage.repeat} gears of stage {number}"
            words = f"{after} teeth instead of {before} on {gears}"
        elif stage.ratio is not None:
            path, before, unit = f"stage.{number}.ratio", stage.ratio, ""  # type: ignore[assignment]
            after = _smallest_step(inputs, path, MOST_TEETH * before, enough)  # type: ignore[assignment]
            words = f"A ratio of {given(after or 0.0, '')} instead of {given(before, '')} in stage {number}"
        else:
            continue
        if after is not None:
            growth = (after / before) ** stage.repeat
            yield growth, Change(path, before, after, unit, words, with_value(inputs, path, after))


def _one_stage_more(inputs: Inputs, enough: Enough) -> Iterator[tuple[float, Change]]:
    for number, stage in enumerate(inputs.stage, start=1):
        path, before = f"stage.{number}.repeat", stage.repeat
        after = _smallest_count(inputs, path, before + 2, enough)
        if after is None:
            continue
        ratio = stage.speed_ratio()
        sort = f"{stage.pinion}:{stage.gear}" if stage.kind == "spur" else f"{given(ratio or 1.0, '')}:1"
        words = f"{counted(after, 'stage')} of {sort} instead of {before}"
        growth = float(ratio or 1.0) ** (after - before)
        yield growth, Change(path, before, after, "", words, with_value(inputs, path, after))


# --- levers for a stall ---------------------------------------------------------------------------------------------


def more_voltage(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:
    """A higher voltage, within what the motors may be asked for."""
    nominal = min(group.fit.voltage for group in machine.groups)
    before = inputs.supply.voltage
    if before >= MOST_VOLTAGE * nominal:
        return None
    after = _smallest_step(inputs, "supply.voltage", MOST_VOLTAGE * nominal, enough)
    if after is None:
        return None
    above = f" (above the motors' nominal {given(nominal, 'V')}: watch the windings)" if after > nominal else ""
    words = f"{given(after, 'V')} instead of {given(before, 'V')}{above}"
    return Change("supply.voltage", before, after, "V", words, with_value(inputs, "supply.voltage", after))


def more_current(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:
    """A higher current limit, where there is one."""
    before = inputs.supply.current_limit
    if before is None:
        return None
    most = sum(group.live * group.fit.stall_current for group in machine.groups) * inputs.supply.voltage
    most = max(most / min(group.fit.voltage for group in machine.groups), before)
    after = _smallest_step(inputs, "supply.current_limit", most, enough) if most > before else None
    if after is None:
        return None
    words = f"A current limit of {given(after, 'A')} instead of {given(before, 'A')}"
    return Change("supply.current_limit", before, after, "A", words, with_value(inputs, "supply.current_limit", after))


# --- levers for a run-back ------------------------------------------------------------------------------------------


def a_pawl(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:  # noqa: ARG001 - every lever has the same signature
    """A pawl on the drum."""
    if machine.pawl:
        return None
    return Change(
        "pawl.fitted", None, 1, "", "A pawl on the drum", replace(inputs, pawl=Pawl(), given=inputs.given | {"pawl.fitted"})
    )


def a_brake(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:
    """A brake on the drum, or a stronger one."""
    base = inputs.brake or Brake(torque=0.0)
    with_brake = replace(inputs, brake=base, given=inputs.given | {"brake.torque"})
    drum = machine.scales.pull / machine.line.falls * machine.layers[-1].radius
    ratio = 1.0 if base.place == "drum" else math.prod(element.ratio for element in machine.chain.elements)
    most = 4 * drum / ratio
    start = max(base.torque, 1e-3 * most)
    after = _smallest_step(with_value(with_brake, "brake.torque", start), "brake.torque", most, enough)
    if after is None:
        return None
    before = inputs.brake.torque if inputs.brake is not None else None
    text = given(after, "N·m") if after >= 0.1 else given(after, "mN·m")
    where = "the drum" if base.place == "drum" else "the motor shaft"
    words = f"A brake of {text} on {where}"
    return Change("brake.torque", before, after, "N·m", words, with_value(with_brake, "brake.torque", after))


def a_locking_stage(inputs: Inputs, machine: Machine, enough: Enough) -> Change | None:
    """A stage that passes less of the load back to the motors."""
    for number, stage in reversed(list(enumerate(inputs.stage, start=1))):
        if stage.repeat > 1:
            continue
        places = [mesh.element for mesh in machine.meshes if mesh.path == f"stage.{number}" and mesh.element is not None]
        before = machine.chain.elements[places[0]].reverse if places else stage.reverse_efficiency
        if before is None or before <= 0:
            continue
        path = f"stage.{number}.reverse_efficiency"
        after = _lower_reverse(inputs, path, before, enough)
        if after is not None:
            kept = percent(after) if after > 0 else "nothing"
            words = f"Stage {number} replaced by one that passes {kept} of the load's torque back, such as a worm"
            return Change(path, before, after, "", words, with_value(inputs, path, after))
    return None


def _lower_reverse(inputs: Inputs, path: str, before: float, enough: Enough) -> float | None:
    """Largest reverse efficiency, in steps of 0.05, that is enough."""
    steps = [0.05 * k for k in range(math.floor(before / 0.05 - 1e-9), -1, -1)]
    low, high = 0, len(steps) - 1
    good = [None] * len(steps)

    def tried(k: int) -> bool:
        if good[k] is None:
            trial = _changed(inputs, path, steps[k])
            good[k] = trial is not None and _passes(trial, enough)  # type: ignore[call-overload]
        return bool(good[k])

    if not steps or not tried(high):
        return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if tried(middle) else (middle + 1, high)
    return round(steps[low], 2)


STALL_LEVERS: tuple[Lever, ...] = (lighter_load, more_motors, thinner_drum, more_ratio, more_voltage, more_current)
RUN_BACK_LEVERS: tuple[Lever, ...] = (a_pawl, a_brake, more_ratio, a_locking_stage, lighter_load)
