"""Changes that may help: of each kind the smallest that the quasi-static model calls enough."""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any

import numpy as np

from winchsim.assessment.candidates import CheckColumn, capacities, check_columns
from winchsim.assessment.kinds import ActionKind, CheckKey, Setting
from winchsim.errors import UnknownPathError, WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Brake, Inputs, Pawl, spec_at, value_at, with_value
from winchsim.model import Machine, build
from winchsim.quantity_text import PRINTED_UNITS, in_unit, rounded
from winchsim.slow import Lifts, lift_all, vary
from winchsim.strength.link import LinkKind

MOST_MOTORS, SMALLEST, MOST_TEETH, MOST_VOLTAGE = 4, 0.25, 1.6, 1.5
"""How many times as many motors are tried at most; to what share load and drum are reduced; by how
much gears and ratios grow; and voltage over the nominal one. [-] Own choices."""

STEPS = 40
"""Steps in equal ratios between the present value and the farthest. [-]"""

MOST_STRONGER = 10.0
"""How many times as large a part is made at most. [-] Own choice."""

Goal = Callable[[Lifts, Mapping[CheckKey, CheckColumn]], np.ndarray]
"""Which candidates are good enough, from their quasi-static lifts and checks."""


@dataclass(frozen=True)
class Proposal:
    """A changed scenario, and what was changed in it."""

    kind: ActionKind
    changes: tuple[Setting, ...]
    inputs: Inputs


Option = tuple[ActionKind, Inputs, str, float]
"""Something to change: its kind, the scenario to vary, the path, and the farthest value. SI"""


def proposal(
    kind: ActionKind, inputs: Inputs, path: str, after: Any, trial: Inputs | None = None
) -> Iterator[Proposal]:
    """One changed value; nothing where it is out of bounds.

    Parameters
    ----------
    kind : ActionKind
    inputs : Inputs
    path : str
    after : object
        SI.
    trial : Inputs, optional
        With the part that the path leads to, where the scenario has none.
    """
    before = None
    with suppress(WinchsimError):
        changed = with_value(replace(trial or inputs, phase=inputs.phase), path, after)
        with suppress(UnknownPathError):
            before = value_at(inputs, path)
        unit = spec_at(changed, path).unit
        yield Proposal(kind, (Setting(path, before, after, unit),), changed)


def to_people(value: float, unit: str, *, up: bool) -> float:
    """Positive value rounded in its printed unit to two digits, three where two move it by 3 %."""
    shown = in_unit(value, unit)
    found = rounded(shown, 2, up=up)
    if abs(found - shown) > 0.03 * shown:
        found = rounded(shown, 3, up=up)
    return found / PRINTED_UNITS[unit].factor


def _towards(inputs: Inputs, path: str, limit: float) -> np.ndarray:
    """Values from the present one to a limit, nearest first: whole or round numbers. SI"""
    now, spec = value_at(inputs, path), spec_at(inputs, path)
    if spec.kind == "integer":
        return np.arange(now + 1, int(limit) + 1)
    steps = now * (limit / now) ** (np.arange(1, STEPS + 1) / STEPS)
    tried = dict.fromkeys(to_people(step, spec.unit, up=limit > now) for step in steps)
    return np.array([value for value in tried if min(now, limit) <= value <= max(now, limit)])


def smallest(
    kind: ActionKind, inputs: Inputs, machine: Machine, goals: Sequence[Goal]
) -> Iterator[Proposal]:
    """For each goal the smallest change of a kind: with the fewest motors, then the least ratio.

    Parameters
    ----------
    kind : ActionKind
    inputs : Inputs
    machine : Machine
        Built from it.
    goals : sequence of Goal
    """
    found: list[list[tuple[tuple[int, float], Option]]] = [[] for _ in goals]
    for own, trial, path, limit in _options(kind, inputs, machine):
        with suppress(WinchsimError):
            values = _towards(trial, path, limit)
            variants = vary(trial, {path: values})
            lifts = lift_all(variants, coarse=True)
            checks = {
                column.key: column
                for column in check_columns(variants, lifts, capacities(machine), None)
            }
            for row, goal in zip(found, goals, strict=True):
                for after in values[goal(lifts, checks)][:1].tolist():
                    groups = build(with_value(trial, path, after), linked=False).groups
                    size = sum(group.count for group in groups), groups[0].ratio
                    row.append((size, (own, trial, path, after)))
    for row in found:
        for _, (own, trial, path, after) in sorted(row, key=lambda each: each[0])[:1]:
            yield from proposal(own, inputs, path, after, trial)


def _options(kind: ActionKind, inputs: Inputs, m: Machine) -> Iterator[Option]:
    """What there is to change of a kind."""
    supply = inputs.supply
    match kind:
        case ActionKind.LESS_LOAD:
            yield kind, inputs, "load.mass", SMALLEST * inputs.load.mass
        case ActionKind.THINNER_DRUM:
            least = max(SMALLEST * inputs.drum.diameter, inputs.rope.diameter)
            yield kind, inputs, "drum.diameter", least
        case ActionKind.MORE_VOLTAGE:
            most = MOST_VOLTAGE * min(group.fit.voltage for group in m.groups)
            yield kind, inputs, "supply.voltage", max(most, supply.voltage)
        case ActionKind.HIGHER_CURRENT_LIMIT if supply.current_limit is not None:
            stalled = sum(g.count * g.fit.stall_current / g.fit.voltage for g in m.groups)
            most = max(stalled * supply.voltage, supply.current_limit)
            yield kind, inputs, "supply.current_limit", most
        case ActionKind.MORE_MOTORS:
            for path in (f"motors.{group.number}.count" for group in m.groups):
                yield kind, inputs, path, MOST_MOTORS * value_at(inputs, path)
        case ActionKind.MORE_RATIO:  # larger gears on one stage, or one or two stages more
            for number, stage in enumerate(inputs.stage, start=1):
                key = "gear" if stage.kind == "spur" and stage.gear is not None else "ratio"
                now, path = getattr(stage, key), f"stage.{number}"
                if now is not None:
                    yield kind, inputs, f"{path}.{key}", MOST_TEETH * now
                yield ActionKind.ONE_MORE_STAGE, inputs, f"{path}.repeat", stage.repeat + 2
        case ActionKind.BRAKE:  # a brake, or a stronger one
            base = inputs.brake or Brake(torque=0.0)
            ratio = math.prod(e.ratio for e in m.chain.elements) if base.place == "motor" else 1.0
            most = 4 * (m.scales.pull / m.line.falls * m.layers[-1].radius) / ratio
            fitted = replace(base, torque=max(base.torque, 1e-3 * most))
            yield kind, replace(inputs, brake=fitted, phase=()), "brake.torque", most


def a_pawl(inputs: Inputs) -> Proposal:
    """The scenario with a pawl on the drum."""
    given = inputs.given | {"pawl.fitted"}
    fitted = replace(inputs, pawl=Pawl(), given=given)
    return Proposal(ActionKind.PAWL, (Setting("pawl.fitted", False, True, ""),), fitted)


TO_RAISE = (
    ActionKind.MORE_RATIO,
    ActionKind.MORE_MOTORS,
    ActionKind.THINNER_DRUM,
    ActionKind.MORE_VOLTAGE,
    ActionKind.HIGHER_CURRENT_LIMIT,
    ActionKind.LESS_LOAD,
)
TO_COOL = (ActionKind.MORE_MOTORS, ActionKind.MORE_RATIO, ActionKind.LESS_LOAD)
TO_BE_FASTER = (ActionKind.MORE_VOLTAGE, ActionKind.HIGHER_CURRENT_LIMIT, ActionKind.LESS_LOAD)
"""Kinds of changes, in the order in which they are tried."""


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
            after = to_people(before * gain**exponent, spec_at(inputs, path).unit, up=exponent > 0)
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
    given = frozenset(
        re.sub(r"^motors\.(\d+)", lambda m: f"motors.{int(m[1]) - (int(m[1]) > number)}", path)
        for path in inputs.given
        if not path.startswith(f"motors.{number}.")
    )
    return Proposal(
        ActionKind.LEAVE_OUT_GROUP,
        (Setting(f"motors.{number}.count", inputs.motors[number - 1].count, 0, ""),),
        replace(inputs, motors=left, given=given),
    )
