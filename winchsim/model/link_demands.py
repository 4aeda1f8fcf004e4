"""What is asked of each link at a state of the winch, as a share of what it bears; floats and
arrays alike."""

from collections.abc import Callable, Sequence
from functools import reduce
from math import inf
from typing import Any, NamedTuple

from winchsim.elementwise import larger, pick
from winchsim.model.machine import Machine
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
    behind = drum + 1
    return (
        rope_torque
        if behind == len(chain.elements)
        else input_torque(chain.elements[behind], direction, outputs[behind])
    )


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


def _weighed(passed: Any, forward: bool, weights: tuple[Any, Any]) -> Any:
    """Size of a torque or force times its weight with power passing forward, or backward."""
    return pick((passed >= 0) == forward, *weights) * abs(passed)


_Reading = tuple[str, int | None]
"""Attribute of `Channels` that a demand is read from, and its place there; None for a single
number."""


def _reading(machine: Machine, channel: str, index: int) -> tuple[_Reading, tuple[Any, Any]]:
    """Where a demand is read from, and the demand per unit of that with power passing forward, and
    backward.

    The two sides of a mesh differ by its friction; the driving side carries more and is taken. The
    force is that of the one pinion where several share; other reductions have the input torque.
    """
    if channel == "mesh":
        mesh = machine.meshes[index]
        share = tooth_force(1.0, 2 * mesh.pinion_radius, mesh.pinions)
        if mesh.element is not None:
            e = machine.chain.elements[mesh.element]
            return ("outputs", mesh.element), (share / (e.ratio * e.forward), share / e.ratio)
        assert mesh.chain_group is not None
        *front, own = machine.chain.groups[mesh.chain_group].elements
        driven, driving = _passed(front, share)
        return ("groups", mesh.chain_group), (driven, driving / own.reverse)
    if channel == "gearbox":
        return ("groups", index), _passed(machine.chain.groups[index].elements[:1], 1.0)
    return ("outputs", index) if channel == "output" else (channel, None), (1.0, 1.0)


def _passed(elements: Sequence[Element], share: Any) -> tuple[Any, Any]:
    """A share of the torque behind some elements per torque before them, with power passing forward
    and backward."""
    driven = driving = share
    for e in elements:
        driven, driving = driven * e.ratio * e.forward, driving * e.ratio / e.reverse
    return driven, driving


def _read(at: Channels, reading: _Reading, weights: tuple[Any, Any]) -> Any:
    source, place = reading
    value = getattr(at, source)
    if place is None:
        return weights[0] * (abs(value) if source == "common" else value)  # a rope only pulls
    return _weighed(value[place], at.forward, weights)


def demand(machine: Machine, channel: str, index: int, at: Channels) -> Any:
    """Demand on the links of one channel and index, which see `LinkLimit`. [N or N·m]"""
    return _read(at, *_reading(machine, channel, index))


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


class LargestShare:
    """The largest of `link_shares`, compiled: of all links that are read alike only the weakest is
    looked at.

    Parameters
    ----------
    machine : Machine
        With one link at least.
    """

    def __init__(self, machine: Machine) -> None:
        self._rows: dict[_Reading, tuple[float, float]] = {}
        for link in machine.links:
            used = 1 / link.bears if link.bears > 0 else inf
            reading, weights = _reading(machine, link.channel, link.index)
            old = self._rows.get(reading, (0.0, 0.0))
            self._rows[reading] = max(old[0], used * weights[0]), max(old[1], used * weights[1])
        self._behind_drum = machine.drum_element + 1

    def __call__(self, at: Channels) -> Any:
        """Largest share at a state, of floats or arrays. [-]"""
        return reduce(larger, [_read(at, *row) for row in self._rows.items()])

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
        rope = (0.0, 1.0, 0.0)
        behind = branch.inputs[self._behind_drum :]
        pulled = behind[0] if behind else rope
        single = {
            "tension": (rope, 1 / radius),
            "pull": (pulled, 1 / radius),
            "drum": (pulled, 1.0),
            "common": (branch.common, 1.0),
        }
        rows, groups = [], []
        for (source, place), weights in self._rows.items():
            if place is None:
                line, scale = single[source]
                rows.append((line, scale * weights[0]))
            elif source == "outputs":
                rows.append((branch.outputs[place], weights[not branch.loaded[place]]))
            else:
                groups.append((place, *branch.groups[place][:2], weights))
        affine = _without_proportional([(w * a, w * b, w * c) for (a, b, c), w in rows])
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
