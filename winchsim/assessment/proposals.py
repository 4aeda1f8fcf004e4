"""Changes that may help: the smallest of each kind that closed form calls enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from typing import Any

from winchsim.assessment.kinds import ActionKind, Setting
from winchsim.errors import WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Brake, Inputs, Pawl, spec_at, value_at, with_value
from winchsim.model import Machine, build
from winchsim.quantity_text import PRINTED_UNITS, in_unit, rounded
from winchsim.strength.link import LinkKind

MOST_MOTORS, SMALLEST, MOST_TEETH, MOST_VOLTAGE = 4, 0.25, 1.6, 1.5
"""How many times as many motors are tried at most; to what share load and drum are reduced; by how
much gears and ratios grow; and voltage over the nominal one. [-] Own choices."""

HALVINGS, GRID = 6, 6
"""Halvings towards the smallest step, and steps tried where the largest one does not do. [-]"""

MOST_STRONGER = 10.0
"""How many times as large a part is made at most. [-] Own choice."""

Enough = Callable[[Machine], bool]
"""Whether closed form calls a winch good enough."""


@dataclass(frozen=True)
class Proposal:
    """A changed scenario, and what was changed in it."""

    kind: ActionKind
    changes: tuple[Setting, ...]
    inputs: Inputs


Maker = Callable[[Inputs, Machine, Enough], Iterator[Proposal]]


def proposal(kind: ActionKind, inputs: Inputs, path: str, after: Any) -> Iterator[Proposal]:
    """One changed value; nothing where there is none or it is out of bounds.

    Parameters
    ----------
    kind : ActionKind
    inputs : Inputs
    path : str
    after : object
        SI.
    """
    with suppress(WinchsimError):
        changed = None if after is None else with_value(inputs, path, after)
        if changed is not None:
            setting = Setting(path, value_at(inputs, path), after, spec_at(inputs, path).unit)
            yield Proposal(kind, (setting,), changed)


def _good(inputs: Inputs, path: str, value: Any, enough: Enough) -> bool:
    try:
        return enough(build(with_value(inputs, path, value), linked=False))
    except WinchsimError:
        return False


def smallest_count(inputs: Inputs, path: str, most: int, enough: Enough) -> int | None:
    """Smallest whole number above the present one that is enough; None where `most` is not."""
    low, high = int(value_at(inputs, path)), most
    if high <= low or not _good(inputs, path, high, enough):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _good(inputs, path, middle, enough) else (middle, high)
    return high


def smallest_step(
    inputs: Inputs, path: str, limit: float, enough: Enough, start: float | None = None
) -> float | None:
    """Value nearest to the present one, towards `limit`, that is enough, in round numbers."""
    start, unit = (
        float(value_at(inputs, path)) if start is None else start,
        spec_at(inputs, path).unit,
    )
    if not _good(
        inputs, path, limit, enough
    ):  # too far may be wrong: a thin drum needs more layers
        steps = [start * (limit / start) ** (k / GRID) for k in range(1, GRID)]
        limit = next((value for value in steps if _good(inputs, path, value, enough)), math.nan)
        if math.isnan(limit):
            return None
    near, far = start, limit
    for _ in range(HALVINGS):
        middle = math.sqrt(near * far)
        near, far = (near, middle) if _good(inputs, path, middle, enough) else (middle, far)
    found = to_people(far, unit, up=limit > start)
    inside = min(start, limit) <= found <= max(start, limit)
    return found if inside and _good(inputs, path, found, enough) else far


def to_people(value: float, unit: str, *, up: bool) -> float:
    """Positive value rounded in its printed unit to two digits, three where two move it by 3 %."""
    shown = in_unit(value, unit)
    found = rounded(shown, 2, up=up)
    if abs(found - shown) > 0.03 * shown:
        found = rounded(shown, 3, up=up)
    return found / PRINTED_UNITS[unit].factor


# --- to raise it ------------------------------------------------------------------------------


def _step(kind: ActionKind, path: str, limit: Callable[[Inputs, Machine], float]) -> Maker:
    def make(inputs: Inputs, machine: Machine, enough: Enough) -> Iterator[Proposal]:
        if value_at(inputs, path) is None:
            return
        end, now = limit(inputs, machine), float(value_at(inputs, path))
        after = smallest_step(inputs, path, end, enough) if end != now and end > 0 else None
        yield from proposal(kind, inputs, path, after)

    return make


def _nominal(inputs: Inputs, machine: Machine) -> float:
    most = MOST_VOLTAGE * min(group.fit.voltage for group in machine.groups)
    return max(most, inputs.supply.voltage)


def _stalled_current(inputs: Inputs, machine: Machine) -> float:
    currents = (
        group.live * group.fit.stall_current / group.fit.voltage for group in machine.groups
    )
    return max(sum(currents) * inputs.supply.voltage, inputs.supply.current_limit or 0.0)


def more_motors(inputs: Inputs, machine: Machine, enough: Enough) -> Iterator[Proposal]:
    """More motors, in the group that needs the fewest of them."""
    found = []
    for group in machine.groups:
        path = f"motors.{group.number}.count"
        before = int(value_at(inputs, path))
        after = smallest_count(inputs, path, MOST_MOTORS * before, enough)
        if after is not None:
            found.append((after - before, path, after))
    for _, path, after in sorted(found)[:1]:
        yield from proposal(ActionKind.MORE_MOTORS, inputs, path, after)


def more_ratio(inputs: Inputs, machine: Machine, enough: Enough) -> Iterator[Proposal]:
    """More reduction: larger gears on one stage or, where that does not do, one stage more."""
    found = [*_larger_gears(inputs, enough)] or [*_more_stages(inputs, enough)]
    for _, kind, path, after in sorted(found)[:1]:
        yield from proposal(kind, inputs, path, after)


def _larger_gears(inputs: Inputs, enough: Enough) -> Iterator[tuple[float, ActionKind, str, Any]]:
    for number, stage in enumerate(inputs.stage, start=1):
        if stage.kind == "spur" and stage.gear is not None:
            path, before = f"stage.{number}.gear", float(stage.gear)
            after: float | None = smallest_count(inputs, path, int(MOST_TEETH * before), enough)
        elif stage.ratio is not None:
            path, before = f"stage.{number}.ratio", stage.ratio
            after = smallest_step(inputs, path, MOST_TEETH * before, enough)
        else:
            continue
        if after is not None:
            yield (after / before) ** stage.repeat, ActionKind.MORE_RATIO, path, after


def _more_stages(inputs: Inputs, enough: Enough) -> Iterator[tuple[float, ActionKind, str, Any]]:
    for number, stage in enumerate(inputs.stage, start=1):
        path, before = f"stage.{number}.repeat", stage.repeat
        after = smallest_count(inputs, path, before + 2, enough)
        if after is not None:
            ratio = (
                (stage.gear or 0) / stage.pinion
                if stage.kind == "spur" and stage.pinion
                else stage.ratio
            )
            yield float(ratio or 1.0) ** (after - before), ActionKind.ONE_MORE_STAGE, path, after


less_load = _step(ActionKind.LESS_LOAD, "load.mass", lambda i, m: SMALLEST * i.load.mass)
more_voltage = _step(ActionKind.MORE_VOLTAGE, "supply.voltage", _nominal)
more_current = _step(ActionKind.HIGHER_CURRENT_LIMIT, "supply.current_limit", _stalled_current)
thinner_drum = _step(
    ActionKind.THINNER_DRUM,
    "drum.diameter",
    lambda i, m: max(SMALLEST * i.drum.diameter, i.rope.diameter),
)

TO_RAISE: tuple[Maker, ...] = (
    more_ratio,
    more_motors,
    thinner_drum,
    more_voltage,
    more_current,
    less_load,
)
TO_COOL: tuple[Maker, ...] = (more_motors, more_ratio, less_load)
TO_BE_FASTER: tuple[Maker, ...] = (more_voltage, more_current, less_load)


# --- to hold it, and to keep its parts --------------------------------------------------------


def a_pawl(inputs: Inputs, machine: Machine, enough: Enough) -> Iterator[Proposal]:
    """A pawl on the drum."""
    if not machine.pawl:
        given = inputs.given | {"pawl.fitted"}
        setting = Setting("pawl.fitted", False, True, "")
        yield Proposal(ActionKind.PAWL, (setting,), replace(inputs, pawl=Pawl(), given=given))


def a_brake(inputs: Inputs, machine: Machine, enough: Enough) -> Iterator[Proposal]:
    """A brake, or a stronger one."""
    base = inputs.brake or Brake(torque=0.0)
    fitted = replace(inputs, brake=base, given=inputs.given | {"brake.torque"})
    drum = machine.scales.pull / machine.line.falls * machine.layers[-1].radius
    ratio = math.prod(e.ratio for e in machine.chain.elements) if base.place == "motor" else 1.0
    most = 4 * drum / ratio
    start = max(base.torque, 1e-3 * most)
    after = smallest_step(with_value(fitted, "brake.torque", start), "brake.torque", most, enough)
    if after is not None:
        before = inputs.brake.torque if inputs.brake is not None else None
        setting = Setting("brake.torque", before, after, spec_at(fitted, "brake.torque").unit)
        yield Proposal(ActionKind.BRAKE, (setting,), with_value(fitted, "brake.torque", after))


TO_HOLD: tuple[Maker, ...] = (a_pawl, a_brake)


STRONGER: Mapping[LinkKind, tuple[tuple[str, float], ...]] = {
    LinkKind.TOOTH_PINION: (("{where}.pinion_width", 1.0), ("{where}.width", 1.0)),
    LinkKind.TOOTH_GEAR: (("{where}.width", 1.0),),
    LinkKind.GEAR_BODY: (("{where}.width", 1.0),),
    LinkKind.SHAFT: (("{where}.shaft_diameter", 1 / 3),),
    LinkKind.CROSS_PIN: (("drum.cross_pin_diameter", 0.5),),
    LinkKind.DRUM_BENDING: (("drum.support_span", -1.0),),
    LinkKind.ROPE_KNOT: (("rope.breaking_force", 1.0), ("rope.diameter", 0.5)),
    LinkKind.ROPE: (("rope.breaking_force", 1.0), ("rope.diameter", 0.5)),
}
"""Values that make a kind of part stronger, the first that is given, and the exponent with which
the needed gain of its factor changes it."""


def stronger_part(inputs: Inputs, kind: LinkKind, where: str, gain: float) -> Iterator[Proposal]:
    """The part of a path made stronger by a gain of its factor, where a given value does it.

    Parameters
    ----------
    inputs : Inputs
    kind : LinkKind
    where : str
    gain : float
        Of at most 1 none is needed. [-]
    """
    for pattern, exponent in STRONGER.get(kind, ()):
        path = pattern.format(where=where)
        before = value_at(inputs, path)
        if before is not None and 1 < gain <= MOST_STRONGER:
            unit = spec_at(inputs, path).unit
            after = to_people(before * gain**exponent, unit, up=exponent > 0)
            yield from proposal(ActionKind.STRONGER_PART, inputs, path, after)
            return


def without_group(inputs: Inputs, number: int) -> Proposal:
    """The scenario without one group of motors.

    Parameters
    ----------
    inputs : Inputs
    number : int
        From 1.
    """
    left = tuple(group for i, group in enumerate(inputs.motors, start=1) if i != number)
    moved = frozenset(
        _renumbered(path, number)
        for path in inputs.given
        if not path.startswith(f"motors.{number}.")
    )
    count = inputs.motors[number - 1].count
    setting = Setting(f"motors.{number}.count", count, 0, "")
    return Proposal(
        ActionKind.LEAVE_OUT_GROUP, (setting,), replace(inputs, motors=left, given=moved)
    )


def _renumbered(path: str, gone: int) -> str:
    head, _, rest = path.partition(".")
    number, _, key = rest.partition(".")
    if head == "motors" and number.isdigit() and int(number) > gone:
        return f"motors.{int(number) - 1}.{key}"
    return path
