"""Changes that may help: of each kind the smallest that the quasi-static model calls enough."""

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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

Maker = Callable[[Inputs, Machine, Sequence[Goal]], Iterator[Proposal]]


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
    before, fitted = None, replace(trial or inputs, phase=inputs.phase)
    with suppress(WinchsimError):
        changed = with_value(fitted, path, after)
        with suppress(UnknownPathError):
            before = value_at(inputs, path)
        setting = Setting(path, before, after, spec_at(changed, path).unit)
        yield Proposal(kind, (setting,), changed)


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


def _smallest(options: Callable[[Inputs, Machine], Iterable[Option]]) -> Maker:
    """Makes, for each goal, the smallest change among some options: with the fewest motors, then
    the least ratio."""

    def make(inputs: Inputs, machine: Machine, goals: Sequence[Goal]) -> Iterator[Proposal]:
        found: list[list[tuple[int, float, Any]]] = [[] for _ in goals]
        for kind, trial, path, limit in options(inputs, machine):
            with suppress(WinchsimError):
                values = _towards(trial, path, limit)
                variants = vary(trial, {path: values})
                lifts = lift_all(variants, coarse=True)
                columns = check_columns(variants, lifts, capacities(machine), None)
                checks = {column.key: column for column in columns}
                for row, goal in zip(found, goals, strict=True):
                    for after in values[goal(lifts, checks)][:1].tolist():
                        m = build(with_value(trial, path, after), linked=False)
                        size = sum(group.count for group in m.groups), m.groups[0].ratio
                        row.append((*size, (kind, trial, path, after)))
        for row in found:
            for *_, (kind, trial, path, after) in sorted(row, key=lambda each: each[:2])[:1]:
                yield from proposal(kind, inputs, path, after, trial)

    return make


# --- to raise it ------------------------------------------------------------------------------


def _one(kind: ActionKind, path: str, limit: Callable[[Inputs, Machine], float]) -> Maker:
    return _smallest(
        lambda i, m: [] if value_at(i, path) is None else [(kind, i, path, limit(i, m))]
    )


def _nominal(inputs: Inputs, machine: Machine) -> float:
    most = MOST_VOLTAGE * min(group.fit.voltage for group in machine.groups)
    return max(most, inputs.supply.voltage)


def _stalled_current(inputs: Inputs, machine: Machine) -> float:
    currents = (
        group.count * group.fit.stall_current / group.fit.voltage for group in machine.groups
    )
    return max(sum(currents) * inputs.supply.voltage, inputs.supply.current_limit or 0.0)


def _motor_options(inputs: Inputs, machine: Machine) -> Iterator[Option]:
    for group in machine.groups:
        path = f"motors.{group.number}.count"
        yield ActionKind.MORE_MOTORS, inputs, path, MOST_MOTORS * value_at(inputs, path)


def _ratio_options(inputs: Inputs, machine: Machine) -> Iterator[Option]:
    """Larger gears on one stage, or one or two stages more."""
    for number, stage in enumerate(inputs.stage, start=1):
        key = "gear" if stage.kind == "spur" and stage.gear is not None else "ratio"
        now, path = getattr(stage, key), f"stage.{number}"
        if now is not None:
            yield ActionKind.MORE_RATIO, inputs, f"{path}.{key}", MOST_TEETH * now
        yield ActionKind.ONE_MORE_STAGE, inputs, f"{path}.repeat", stage.repeat + 2


more_motors, more_ratio = _smallest(_motor_options), _smallest(_ratio_options)
less_load = _one(ActionKind.LESS_LOAD, "load.mass", lambda i, m: SMALLEST * i.load.mass)
more_voltage = _one(ActionKind.MORE_VOLTAGE, "supply.voltage", _nominal)
more_current = _one(ActionKind.HIGHER_CURRENT_LIMIT, "supply.current_limit", _stalled_current)
thinner_drum = _one(
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


def _a_pawl(inputs: Inputs, machine: Machine, goals: Sequence[Goal]) -> Iterator[Proposal]:
    """A pawl on the drum."""
    if not machine.pawl:
        given = inputs.given | {"pawl.fitted"}
        setting = Setting("pawl.fitted", False, True, "")
        yield Proposal(ActionKind.PAWL, (setting,), replace(inputs, pawl=Pawl(), given=given))


def _brake_options(inputs: Inputs, machine: Machine) -> Iterator[Option]:
    """A brake, or a stronger one."""
    base = inputs.brake or Brake(torque=0.0)
    drum = machine.scales.pull / machine.line.falls * machine.layers[-1].radius
    ratio = math.prod(e.ratio for e in machine.chain.elements) if base.place == "motor" else 1.0
    most = 4 * drum / ratio
    fitted = replace(base, torque=max(base.torque, 1e-3 * most))
    yield ActionKind.BRAKE, replace(inputs, brake=fitted, phase=()), "brake.torque", most


TO_HOLD: tuple[Maker, ...] = (_a_pawl, _smallest(_brake_options))


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
    given = frozenset(
        re.sub(r"^motors\.(\d+)", lambda m: f"motors.{int(m[1]) - (int(m[1]) > number)}", path)
        for path in inputs.given
        if not path.startswith(f"motors.{number}.")
    )
    setting = Setting(f"motors.{number}.count", inputs.motors[number - 1].count, 0, "")
    return Proposal(
        ActionKind.LEAVE_OUT_GROUP, (setting,), replace(inputs, motors=left, given=given)
    )
