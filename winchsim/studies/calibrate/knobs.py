"""What a calibration may turn: five numbers of the model, each a factor on what the scenario says or assumes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from winchsim.inputs import Inputs, spec_at, with_value
from winchsim.model import Machine, build
from winchsim.model.restate import shaft_drags, with_data_sheets

Turn = Callable[[Inputs, Mapping[str, float]], Inputs]

LEAST_EFFICIENCY = 0.1
LEAST_SHARED_EFFICIENCY = 0.55
CLEAR_OF_LOCKING = 1.01
"""A mesh loss is not turned up beyond this efficiency of any stage; the second where several motor groups share a gear, whose
meshes must not lock: it stays so many times clear of where they do. [-]"""

MOST_DRAG = 200.0
"""A drag is not turned up beyond this factor. [-]"""

ASSUMED_LEADS = 0.02
"""Resistance of supply and leads where none is given, as a share of that of all motors stalled in parallel. [-] Own
assumption: short leads and a good supply."""


@dataclass(frozen=True)
class Knob:
    """One number that tests may tell better than the scenario does.

    Attributes
    ----------
    name : str
        Word for the command line and for JSON.
    label : str
        For people.
    width : float
        How far off the factor may plausibly be without tests, one standard deviation. [-]
    low, high : float
        Bounds of the factor. [-]
    turn : callable
        Scenario with this number times its factor, from the factors of all knobs by name. Knobs that are turned together
        share it.
    """

    name: str
    label: str
    width: float
    low: float
    high: float
    turn: Turn


ORDER = ("mesh_loss", "drag", "motor_constant", "motor_resistance", "supply_resistance")
"""Least known first: in this order they are taken up as far as the tests can tell them."""

LABELS = {
    "mesh_loss": "loss in the gear meshes",
    "drag": "constant drag of the shafts",
    "motor_constant": "torque constant of the motors",
    "motor_resistance": "resistance of the motors",
    "supply_resistance": "resistance of supply and leads",
}

_WIDTHS = {"mesh_loss": 0.4, "drag": 1.5, "motor_constant": 0.1, "motor_resistance": 0.1, "supply_resistance": 0.5}
"""How far off an estimate may be: friction of dry polymers, drags nobody has measured, part-to-part differences of motors,
leads. Own choice."""


def knobs(inputs: Inputs) -> tuple[tuple[Knob, ...], dict[str, str]]:
    """What can be turned in a scenario.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    (tuple of Knob, dict of str to str)
        The knobs in `ORDER`; and for those that this scenario has not got, why.

    Raises
    ------
    InputError
        The scenario cannot be built.
    """
    machine = build(inputs)
    constant, resistance = _motors(machine)
    made = (_mesh_loss(inputs, machine), _drag(inputs, machine), constant, resistance, _supply_resistance(inputs, machine))
    found = [
        Knob(name, LABELS[name], _WIDTHS[name], *how) for name, how in zip(ORDER, made, strict=True) if not isinstance(how, str)
    ]
    missing = {name: how for name, how in zip(ORDER, made, strict=True) if isinstance(how, str)}
    return tuple(found), missing


def turned(inputs: Inputs, factors: Mapping[str, float], available: tuple[Knob, ...]) -> Inputs:
    """Scenario with several knobs turned.

    Parameters
    ----------
    inputs : Inputs
    factors : Mapping of str to float
        By the knob's name; the others stay as they are.
    available : tuple of Knob
        From `knobs` of the same scenario.
    """
    for turn in dict.fromkeys(knob.turn for knob in available if knob.name in factors):
        inputs = turn(inputs, factors)
    return inputs


_Made = tuple[float, float, Turn]


# --- mesh loss --------------------------------------------------------------------------------------------------------


def _mesh_loss(inputs: Inputs, machine: Machine) -> _Made | str:
    """Friction between the teeth, or ``1/efficiency - 1`` where an efficiency is given."""
    assumed = {row.path: row.value for row in machine.assumed}
    efficiencies, frictions = {}, {}
    for number, stage in enumerate(inputs.stage, start=1):
        path = f"stage.{number}"
        if stage.efficiency is not None:
            efficiencies[f"{path}.efficiency"] = stage.efficiency
        else:
            frictions[f"{path}.friction"] = stage.friction if stage.friction is not None else float(assumed[f"{path}.friction"])
    lost = [1 / e - 1 for e in efficiencies.values()]
    if not any(lost) and not any(frictions.values()):
        return "the scenario has no gear stage with a loss"
    floor = LEAST_EFFICIENCY if len(machine.chain.groups) == 1 else _least_shared(machine.breakaway)
    most = [(1 / floor - 1) / loss for loss in lost if loss > 0]
    if frictions:
        least = min(mesh.forward for mesh in _meshes(machine))
        most.append((1 - floor) / (1 - least) if least < 1 else math.inf)
        most += [spec_at(inputs, path).high / mu for path, mu in frictions.items() if mu > 0]

    def turn(given: Inputs, factors: Mapping[str, float]) -> Inputs:
        factor = factors["mesh_loss"]
        for path, e in efficiencies.items():
            given = with_value(given, path, 1 / (1 + factor * (1 / e - 1)))
        for path, mu in frictions.items():
            given = with_value(given, path, factor * mu)
        return given

    return 0.0, min(most), turn


def _least_shared(breakaway: float) -> float:
    """Efficiency down to which meshes on a common gear can be turned: at rest they lock where ``1 - b (1 - q) = 0``. [-]"""
    return max(LEAST_SHARED_EFFICIENCY, CLEAR_OF_LOCKING * breakaway / (1 + breakaway))


def _meshes(machine: Machine) -> list:
    chain = machine.chain
    return [
        chain.groups[mesh.chain_group].elements[-1] if mesh.element is None else chain.elements[mesh.element]
        for mesh in machine.meshes
    ]


# --- constant drag -----------------------------------------------------------------------------------------------------


def _drag(inputs: Inputs, machine: Machine) -> _Made | str:
    drags = {path: value for path, value in shaft_drags(inputs, machine).items() if value > 0}
    if inputs.drum.drag > 0:
        drags["drum.drag"] = inputs.drum.drag
    if not drags:
        return "the scenario says that the shafts have no constant drag: leave shaft_drag out to have it fitted"

    highest = min(MOST_DRAG, *(spec_at(inputs, path).high / value for path, value in drags.items()))
    if highest < 1:
        return "the drag that is assumed is more than a scenario can give"

    def turn(given: Inputs, factors: Mapping[str, float]) -> Inputs:
        for path, value in drags.items():
            given = with_value(given, path, factors["drag"] * value)
        return given

    return 0.0, highest, turn


# --- motors and supply -------------------------------------------------------------------------------------------------


def _motors(machine: Machine) -> tuple[_Made, _Made]:
    """Constant and resistance of all motors, written as data sheets that agree with themselves."""

    def turn(given: Inputs, factors: Mapping[str, float]) -> Inputs:
        return with_data_sheets(given, machine, factors.get("motor_constant", 1.0), factors.get("motor_resistance", 1.0))

    idle = [group.fit.no_load_current / group.fit.stall_current for group in machine.groups]
    highest = 1 / max(idle) if max(idle) > 0 else math.inf
    return (0.3, 3.0, turn), (0.2, min(5.0, 0.9 * highest), turn)


def _supply_resistance(inputs: Inputs, machine: Machine) -> _Made:
    given_value = inputs.supply.resistance
    together = sum(g.live / g.motor.resistance for g in machine.groups)
    base = given_value if given_value > 0 else ASSUMED_LEADS / together

    def turn(given: Inputs, factors: Mapping[str, float]) -> Inputs:
        return with_value(given, "supply.resistance", factors["supply_resistance"] * base)

    return 0.0, 50.0, turn
