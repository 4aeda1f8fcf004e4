"""What is asked of each link at a state of the winch, as a share of what it bears; floats and
arrays alike."""

from collections.abc import Callable, Sequence
from math import inf
from typing import Any, NamedTuple

from winchsim.elementwise import larger, pick
from winchsim.model.machine import Machine, Mesh
from winchsim.physics.chain import Branch, Chain, Element, RestingBounds, input_torque
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


def on_drum(
    chain: Chain, drum: int, direction: int, outputs: Sequence[Any], rope_torque: Any
) -> Any:
    """Torque of the rope on the drum, with what sheaves, edges and a tackle between drum and load
    add or keep. [N·m]

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


def stalled_channels(
    machine: Machine, motor_torques: Sequence[Any], held: Any, largest: Any, least: Any
) -> Channels:
    """The most that links carry when the drum comes to rest with the motors on: by a stall, or by a
    snag on any layer.

    The motors push with the losses of motion, out of which the drum comes to rest; what the load
    passes up meets the losses at rest. The rotors' momentum is not in it.

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
    rope_torque, torque = bounds.outputs[-1], bounds.outputs[machine.drum_element]
    return Channels(
        rope_torque / least,
        torque / least,
        torque,
        bounds.outputs,
        True,
        bounds.groups,
        bounds.common,
    )


def mesh_force(machine: Machine, mesh: int, at: Channels) -> Any:
    """Tooth force of one mesh, of the one pinion where several share; for other reductions the
    input torque. [N]

    The two sides of a mesh differ by its friction; the driving side carries more and is taken.
    """
    place = machine.meshes[mesh]
    share = _tooth_share(place)
    if place.element is None:
        assert place.chain_group is not None
        passed, weights = (
            at.groups[place.chain_group],
            _group_weights(machine, place.chain_group, share),
        )
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
    """Tooth force per torque of a group's motors with power passing forward and backward."""
    *front, mesh = machine.chain.groups[group].elements
    driven, driving = _passed(front, share)
    return driven, driving / mesh.reverse


def _box_weights(machine: Machine, group: int, share: float) -> tuple[float, float]:
    """The same at the output of their gearboxes."""
    return _passed(machine.chain.groups[group].elements[:1], share)


def _passed(elements: Sequence[Element], share: float) -> tuple[float, float]:
    """A share of the torque behind some elements per torque before them, with power passing forward
    and backward."""
    driven = driving = share
    for e in elements:
        driven, driving = driven * e.ratio * e.forward, driving * e.ratio / e.reverse
    return driven, driving


def demand(machine: Machine, channel: str, index: int, at: Channels) -> Any:
    """Demand on the links of one channel and index, which see `LinkLimit`. [N or N·m]"""
    if channel == "mesh":
        return mesh_force(machine, index, at)
    if channel == "output":
        return abs(at.outputs[index])
    if channel == "gearbox":
        return _weighed(at.groups[index], at.forward, _box_weights(machine, index, 1.0))
    if channel == "common":
        return abs(at.common)
    return {"tension": at.tension, "pull": at.pull, "drum": at.drum}[channel]


def link_shares(machine: Machine, at: Channels) -> list[Any]:
    """Demand over capacity of every link of a machine, in its order. [-]"""
    demands: dict[tuple[str, int], Any] = {}
    shares = []
    for link in machine.links:
        name = link.channel, link.index
        if name not in demands:
            demands[name] = demand(machine, *name, at)
        shares.append(demands[name] / link.bears)
    return shares


def _keep_larger(
    found: dict[int, tuple[float, float]], index: int, weights: tuple[float, float]
) -> None:
    old = found.get(index, (0.0, 0.0))
    found[index] = max(old[0], weights[0]), max(old[1], weights[1])


class LargestShare:
    """The largest of `link_shares`, compiled: of all links on one element only the weakest is
    looked at.

    Parameters
    ----------
    machine : Machine
    """

    def __init__(self, machine: Machine) -> None:
        elements: dict[int, tuple[float, float]] = {}
        groups: dict[int, tuple[float, float]] = {}
        single = {"tension": 0.0, "pull": 0.0, "drum": 0.0, "common": 0.0}
        for link in machine.links:
            used = 1 / link.bears if link.bears > 0 else float("inf")
            mesh = machine.meshes[link.index] if link.channel == "mesh" else None
            share = used if mesh is None else used * _tooth_share(mesh)
            if link.channel in single:
                single[link.channel] = max(single[link.channel], used)
            elif link.channel == "gearbox":
                _keep_larger(groups, link.index, _box_weights(machine, link.index, used))
            elif mesh is not None and mesh.chain_group is not None:
                _keep_larger(
                    groups, mesh.chain_group, _group_weights(machine, mesh.chain_group, share)
                )
            else:
                index = link.index if mesh is None or mesh.element is None else mesh.element
                _keep_larger(
                    elements,
                    index,
                    (used, used) if mesh is None else _mesh_weights(machine, index, share),
                )
        self._elements, self._groups = tuple(elements.items()), tuple(groups.items())
        self._tension, self._pull, self._drum = single["tension"], single["pull"], single["drum"]
        self._common, self._drum_element = single["common"], machine.drum_element

    def __call__(self, at: Channels) -> Any:
        """Largest share at a state, of floats or arrays. [-]"""
        forward = at.forward
        largest = larger(
            larger(at.tension * self._tension, at.pull * self._pull), at.drum * self._drum
        )
        largest = larger(largest, abs(at.common) * self._common)
        for index, weights in self._groups:
            largest = larger(largest, _weighed(at.groups[index], forward, weights))
        for index, weights in self._elements:
            largest = larger(largest, _weighed(at.outputs[index], forward, weights))
        return largest

    def of_branch(
        self, branch: Branch, radius: float
    ) -> Callable[[Sequence[float], float, float], float]:
        """Largest share while the chain moves in a branch, from motor torques, rope torque and drum
        acceleration (floats).

        Parameters
        ----------
        branch : Branch
        radius : float
            Of the layer. [m]
        """
        drum = self._drum_element
        pulled = branch.inputs[drum + 1] if drum + 1 < len(branch.inputs) else (0.0, 1.0, 0.0)
        rows = [
            (branch.outputs[i], driven if branch.loaded[i] else driving)
            for i, (driven, driving) in self._elements
        ]
        rows += [
            ((0.0, 1.0, 0.0), self._tension / radius),
            (pulled, max(self._drum, self._pull / radius)),
        ]
        rows.append((branch.common, self._common))
        affine = _without_proportional([(w * a, w * b, w * c) for (a, b, c), w in rows])
        groups = [(i, *branch.groups[i][:2], weights) for i, weights in self._groups]
        direction, forward = branch.direction, branch.direction > 0

        def largest(
            motor_torques: Sequence[float], rope_torque: float, acceleration: float
        ) -> float:
            share = max([abs(a + b * rope_torque + c * acceleration) for a, b, c in affine])
            for index, lever, drag, weights in groups:
                passed = motor_torques[index] - lever * acceleration - direction * drag
                share = max(share, _weighed(passed, forward, weights))
            return share

        return largest


def _without_proportional(
    rows: Sequence[tuple[float, float, float]],
) -> list[tuple[float, float, float]]:
    """Rows of which none is a multiple of a larger one; at least one."""
    kept: dict[tuple[float, ...], tuple[float, float, float]] = {}
    for row in rows:
        size = max(row, key=abs)
        alike = tuple(round(value / size, 12) for value in row) if 0 < abs(size) < inf else row
        if alike not in kept or abs(size) > max(map(abs, kept[alike])):
            kept[alike] = row
    return list(kept.values())
