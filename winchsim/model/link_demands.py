"""What is asked of each link at a state of the winch, as a share of what it bears; floats and arrays alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from winchsim.elementwise import larger, pick
from winchsim.model.machine import Machine, Mesh
from winchsim.physics.chain import Chain, RestingBounds, input_torque
from winchsim.strength.teeth import tooth_force


class Channels(NamedTuple):
    """Forces and torques that links are judged on, floats or arrays.

    Attributes
    ----------
    tension : float or ndarray
        Of the rope at the load. [N]
    pull : float or ndarray
        Of the rope at the drum, which sheaves and edges on the way make another. [N]
    drum : float or ndarray
        Torque of the rope on the drum. [N·m]
    outputs : sequence
        Output torque of each chain element. [N·m]
    forward : bool
        Whether a positive output torque is driven by the motors (raising, or at rest).
    groups : sequence
        Per group of the chain: torque of all its motors, less drag and what turns the rotors. [N·m]
    common : float or ndarray
        Torque that all groups together give to the common gear's shaft. [N·m]
    """

    tension: Any
    pull: Any
    drum: Any
    outputs: Any
    forward: bool
    groups: Any
    common: Any


def on_drum(chain: Chain, drum: int, direction: int, outputs: Sequence[Any], rope_torque: Any) -> Any:
    """Torque of the rope on the drum, with what sheaves, edges and a tackle between drum and load add or keep. [N·m]

    Parameters
    ----------
    chain : Chain
    drum : int
        Its element that the drum is on.
    direction : int
        +1 raising, -1 running back.
    outputs : sequence of float or ndarray
        Output torque of each element. [N·m]
    rope_torque : float or ndarray
        Rope force at the load times layer radius. [N·m]
    """
    if drum + 1 == len(chain.elements):
        return rope_torque
    return input_torque(chain.elements[drum + 1], direction, outputs[drum + 1])


def stalled_channels(machine: Machine, motor_torques: Sequence[Any], held: Any, largest: Any, least: Any) -> Channels:
    """The most that links carry when the drum comes to rest with the motors on: by a stall, or by a snag on any layer.

    The motors push with the losses of motion, out of which the drum comes to rest; what the load passes up meets the losses at
    rest. The rotors' momentum is not in it.

    Parameters
    ----------
    machine : Machine
    motor_torques : sequence of float or ndarray
        Per group of the chain, at zero speed. [N·m]
    held : float or ndarray
        Rope force of the load just before it moves. [N]
    largest, least : float or ndarray
        Radius of the fullest and of the emptiest layer of the lift. [m]
    """
    bounds = RestingBounds(machine.chain, machine.breakaway, 1.0)(motor_torques, held * largest)
    rope_torque, drum = bounds.outputs[-1], machine.drum_element
    torque = rope_torque if drum + 1 == len(machine.chain.elements) else bounds.inputs[drum + 1]
    return Channels(rope_torque / least, torque / least, torque, bounds.outputs, True, bounds.groups, bounds.common)


def mesh_force(machine: Machine, mesh: int, at: Channels) -> Any:
    """Tooth force of one mesh, of the one pinion where several share; for other reductions the input torque. [N]

    The two sides of a mesh differ by its friction; the driving side carries more and is taken.
    """
    place = machine.meshes[mesh]
    share = _tooth_share(place)
    if place.element is None:
        assert place.chain_group is not None
        passed, weights = at.groups[place.chain_group], _group_weights(machine, place.chain_group, share)
    else:
        passed, weights = at.outputs[place.element], _mesh_weights(machine, place.element, share)
    return _weighed(passed, at.forward, weights)


def _tooth_share(mesh: Mesh) -> Any:
    """Force on one pinion's tooth per torque on all pinions of a mesh. [1/m]"""
    return tooth_force(1.0, 2 * mesh.pinion_radius, mesh.pinions)


def _weighed(passed: Any, forward: bool, weights: tuple[float, float]) -> Any:
    """Size of a torque times its weight with power passing forward, or backward."""
    return pick((passed >= 0) == forward, *weights) * abs(passed)


def _mesh_weights(machine: Machine, element: int, share: float) -> tuple[float, float]:
    """Tooth force per output torque of an element, with power passing forward and backward."""
    e = machine.chain.elements[element]
    return share / (e.ratio * e.forward), share / e.ratio


def _group_weights(machine: Machine, group: int, share: float) -> tuple[float, float]:
    """Tooth force per torque of a group's motors, behind their gearboxes, with power passing forward and backward."""
    driven, driving = _box_weights(machine, group, share)
    return driven, driving / machine.chain.groups[group].reverse


def _box_weights(machine: Machine, group: int, share: float) -> tuple[float, float]:
    """The same at the output of their gearboxes."""
    ratio, forward, reverse = machine.chain.groups[group].box
    return share * ratio * forward, share * ratio / reverse


def link_shares(machine: Machine, at: Channels) -> list[Any]:
    """Demand over strength of every link of a machine, in its order. [-]"""
    shares = []
    for link in machine.links:
        if link.channel == "mesh":
            value = mesh_force(machine, link.index, at)
        elif link.channel == "output":
            value = abs(at.outputs[link.index])
        elif link.channel == "gearbox":
            value = _weighed(at.groups[link.index], at.forward, _box_weights(machine, link.index, 1.0))
        elif link.channel == "common":
            value = abs(at.common)
        else:
            value = {"tension": at.tension, "pull": at.pull, "drum": at.drum}[link.channel]
        shares.append(value / link.bears)
    return shares


def _keep_larger(found: dict[int, tuple[float, float]], index: int, weights: tuple[float, float]) -> None:
    old = found.get(index, (0.0, 0.0))
    found[index] = max(old[0], weights[0]), max(old[1], weights[1])


def share_reader(machine: Machine) -> Callable[[Channels], Any]:
    """The largest of `link_shares`, compiled: of all links on one element only the weakest is looked at."""
    elements: dict[int, tuple[float, float]] = {}
    groups: dict[int, tuple[float, float]] = {}
    plain = {"tension": 0.0, "pull": 0.0, "drum": 0.0, "common": 0.0}
    for link in machine.links:
        used = 1 / link.bears if link.bears > 0 else float("inf")
        mesh = machine.meshes[link.index] if link.channel == "mesh" else None
        share = used if mesh is None else used * _tooth_share(mesh)
        if link.channel in plain:
            plain[link.channel] = max(plain[link.channel], used)
        elif link.channel == "gearbox":
            _keep_larger(groups, link.index, _box_weights(machine, link.index, used))
        elif mesh is not None and mesh.chain_group is not None:
            _keep_larger(groups, mesh.chain_group, _group_weights(machine, mesh.chain_group, share))
        else:
            index = link.index if mesh is None or mesh.element is None else mesh.element
            _keep_larger(elements, index, (used, used) if mesh is None else _mesh_weights(machine, index, share))
    rows = tuple((index, *weights) for index, weights in elements.items())
    group_rows = tuple((index, weights) for index, weights in groups.items())
    tension, pull, drum, common = plain["tension"], plain["pull"], plain["drum"], plain["common"]

    def worst(at: Channels) -> Any:
        outputs, forward = at.outputs, at.forward
        largest = larger(larger(at.tension * tension, at.pull * pull), at.drum * drum)
        if common:
            largest = larger(largest, abs(at.common) * common)
        for index, weights in group_rows:
            largest = larger(largest, _weighed(at.groups[index], forward, weights))
        if isinstance(largest, np.ndarray):
            for index, driven, driving in rows:
                output = outputs[index]
                largest = np.maximum(largest, np.abs(output) * np.where((output >= 0) == forward, driven, driving))
            return largest
        for index, driven, driving in rows:
            output = outputs[index]
            share = abs(output) * (driven if (output >= 0) == forward else driving)
            if share > largest:
                largest = share
        return largest

    return worst
