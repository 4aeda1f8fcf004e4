"""The lossy chain from the motors to the rope: torques, accelerations, and what holds at rest.

Every element between motor and load (a mesh, a shaft's bearings, a sheave, an edge) is one kind of
thing: a ratio, an efficiency in each direction of power, a constant drag at its input, and the
inertia of the shaft behind it. The losses are applied element by element from the load back to the
motors; they are never lumped.

Sign rules: raising is positive; `direction` is +1 while raising and -1 while running back. Inside
one *branch* (which elements carry their load forward, which groups drive) every torque is affine in
the rope's torque and in the acceleration, so a branch is compiled once and serves floats and arrays
alike.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import islice
from typing import Any

import numpy as np

from winchsim.elementwise import pick
from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Element:
    """One element of the chain.

    Attributes
    ----------
    name : str
        What it is, for reports (``mesh of stage 2``).
    ratio : float
        Input speed over output speed, over 0. [-]
    forward : float
        Efficiency when the motors drive it, 0 < forward <= 1. [-]
    reverse : float
        Efficiency when the load drives it, at most 1; negative locks. [-]
    drag : float
        Constant torque against motion, at its input, at least 0. [N·m]
    inertia : float
        Of its output shaft. [kg·m²]
    grows_at_rest : tuple of float
        Share of the growth of friction at rest that its losses take when raising, and when running
        back: 1 for dry friction, 0 for a brake. [-]
    rest : tuple of float or None
        Efficiency forward and backward at rest, where friction at rest is known by itself (a worm);
        None where the losses grow as those of all others. [-]
    """

    name: str
    ratio: float
    forward: float
    reverse: float
    drag: float = 0.0
    inertia: float = 0.0
    grows_at_rest: tuple[float, float] = (1.0, 1.0)
    rest: tuple[float, float] | None = None


@dataclass(frozen=True)
class GroupMesh:
    """How one group of motors drives the common gear.

    Attributes
    ----------
    elements : tuple of Element
        What its motors drive the gear through, its own mesh last; empty where the motors turn the
        shaft itself. The drag of the first is that of all its motors together; the others have
        neither drag nor inertia.
    inertia : float
        Of all its rotors together. [kg·m²]
    """

    elements: tuple[Element, ...]
    inertia: float

    @property
    def ratio(self) -> float:
        """Motor speed over the common gear's speed. [-]"""
        return math.prod(e.ratio for e in self.elements)

    @property
    def drag(self) -> float:
        """Constant drag of all its motors together, at the motor shaft. [N·m]"""
        return self.elements[0].drag if self.elements else 0.0

    @property
    def forward(self) -> float:
        """Efficiency from the motors to the common gear. [-]"""
        return math.prod(e.forward for e in self.elements)

    @property
    def reverse(self) -> float:
        """Efficiency from the common gear to the motors. [-]"""
        return math.prod(e.reverse for e in self.elements)


@dataclass(frozen=True)
class Chain:
    """Groups of motors on a common gear, and the elements between that gear and the rope.

    Attributes
    ----------
    groups : tuple of GroupMesh
        Empty when the chain is cut from its motors.
    common_inertia : float
        Of the shaft that `elements[0]` has its input on. [kg·m²]
    elements : tuple of Element
        From the motors to the rope, at least one.
    """

    groups: tuple[GroupMesh, ...]
    common_inertia: float
    elements: tuple[Element, ...]

    def __hash__(self) -> int:
        """Hash of its values, worked out once: chains are keys of every compiled law."""
        found = self.__dict__.get("_hash")
        if found is None:
            found = hash((self.groups, self.common_inertia, self.elements))
            object.__setattr__(self, "_hash", found)
        return found


def reverse_of(forward: Any) -> Any:
    """Reverse efficiency of an element of which only the forward one is known; negative where it
    locks. [-]

    Parameters
    ----------
    forward : float or ndarray
        0 < forward <= 1. [-]

    Notes
    -----
    ``2 - 1/e``: what friction takes from the driving side, ``1/e - 1`` of the torque passed on, it
    takes both ways. Own derivation, head of the package `physics/chain`.
    """
    return 2 - 1 / forward


def shaft_ratios(chain: Chain) -> list[Any]:
    """Speed of each shaft over the drum's: the common gear's first, then each element's output;
    floats or arrays. [-]"""
    ratios: list[Any] = [1.0]
    for element in reversed(chain.elements):
        ratios.append(ratios[-1] * element.ratio)
    return ratios[::-1]


@lru_cache(maxsize=256)
def drum_ratios(chain: Chain) -> tuple[float, ...]:
    """The same, remembered for a chain of floats. [-]"""
    return tuple(shaft_ratios(chain))


def group_ratio(chain: Chain, group: int) -> float:
    """Speed of a group's motors over the drum's. [-]"""
    return chain.groups[group].ratio * drum_ratios(chain)[0]


@lru_cache(maxsize=256)
def drum_inertia(chain: Chain) -> float:
    """Inertia of everything that turns, at the drum, losses left out: what the kinetic energy is
    made of. [kg·m²]"""
    ratios = drum_ratios(chain)
    total = chain.common_inertia * ratios[0] ** 2
    total += sum(e.inertia * r * r for e, r in zip(chain.elements, ratios[1:], strict=True))
    return total + sum(g.inertia * group_ratio(chain, i) ** 2 for i, g in enumerate(chain.groups))


# --- torques along the chain


def input_torque(element: Element, direction: int, output: Any, breakaway: float = 1.0) -> Any:
    """Torque at an element's input that moves it against its output torque. [N·m]

    Parameters
    ----------
    element : Element
    direction : int
        +1 raising, -1 running back.
    output : float or ndarray
        Output torque. [N·m]
    breakaway : float
        Losses at rest against losses in motion, at least 1. [-]

    Notes
    -----
    ``d c + (T/N)(1/e if d T >= 0 else q)``; at rest ``1/e`` becomes ``1 + b (1/e - 1)``, ``q``
    becomes ``1 - b (1 - q)`` and ``c`` becomes ``b c``. head of the package `physics/chain`.
    """
    forward, reverse, drag = factors(element, breakaway, direction)
    return direction * drag + output / element.ratio * pick(
        direction * output >= 0, forward, reverse
    )


def at_rest(shares: tuple[float, float], breakaway: float, direction: int) -> float:
    """Losses at rest over those in motion, where they take these shares of the growth of friction.
    [-]"""
    return 1 + shares[direction < 0] * (breakaway - 1)


def factors(element: Element, breakaway: float, direction: int) -> tuple[float, float, float]:
    """Input torque per output torque over the ratio, carried forward and backward, and the drag.
    [-], [-], [N·m]"""
    growth = at_rest(element.grows_at_rest, breakaway, direction)
    if element.rest is not None and np.any(breakaway > 1):
        return 1 / element.rest[0], element.rest[1], growth * element.drag
    return (
        1 + growth * (1 / element.forward - 1),
        1 - growth * (1 - element.reverse),
        growth * element.drag,
    )


def _walk(
    chain: Chain, direction: int, rope_torque: Any, breakaway: Any = 1.0, acceleration: Any = 0.0
) -> Iterator[Any]:
    """Torque on each shaft that moves the chain, from the drum's or the rope's side to the common
    gear's. [N·m]"""
    torque, ratio = rope_torque, 1.0
    for element in reversed(chain.elements):
        torque = torque + element.inertia * ratio * acceleration
        yield torque
        torque = input_torque(element, direction, torque, breakaway)
        ratio = ratio * element.ratio
    yield torque + chain.common_inertia * ratio * acceleration


def shaft_torque(
    chain: Chain,
    shaft: int,
    direction: int,
    rope_torque: Any,
    acceleration: float = 0.0,
    breakaway: float = 1.0,
) -> Any:
    """Torque on one shaft, counted as in `shaft_ratios`. [N·m]"""
    return next(
        islice(
            _walk(chain, direction, rope_torque, breakaway, acceleration),
            len(chain.elements) - shaft,
            None,
        )
    )


def output_torques(
    chain: Chain, direction: int, rope_torque: Any, *, breakaway: Any = 1.0, acceleration: Any = 0.0
) -> list[Any]:
    """Torque at the output of each element, and at the common gear before them, that moves the
    chain. [N·m]

    Parameters
    ----------
    chain : Chain
        Its numbers may be arrays.
    direction : int
        +1 raising, -1 running back.
    rope_torque : float or ndarray
        [N·m]
    breakaway : float or ndarray
        Losses at rest against losses in motion. [-]
    acceleration : float or ndarray
        Of the drum. [rad/s²]

    Returns
    -------
    list
        The common gear's torque first, then one for each element.
    """
    return list(_walk(chain, direction, rope_torque, breakaway, acceleration))[::-1]


def raising_line(chain: Chain, breakaway: Any = 1.0) -> tuple[Any, Any]:
    """Torque at the common gear that raises: at no rope torque, and per rope torque. [N·m], [-]

    While raising every torque along the chain is forward, so the law is one straight line.
    """
    drag = output_torques(chain, 1, 0.0, breakaway=breakaway)[0]
    return drag, output_torques(chain, 1, 1.0, breakaway=breakaway)[0] - drag


def rotating_inertia(chain: Chain, running: int) -> Any:
    """Torque at the common gear per acceleration of the drum in raising, rotors included.
    [N·m·s²/rad]

    The same as `Branch.inertia` of a chain that raises, for chains of arrays too.

    Parameters
    ----------
    chain : Chain
    running : int
        Groups that drive; those behind them are dragged.
    """
    still = output_torques(chain, 1, 0.0)[0]
    total = output_torques(chain, 1, 0.0, acceleration=1.0)[0] - still
    common = shaft_ratios(chain)[0]
    for place, mesh in enumerate(chain.groups):
        passed = mesh.forward if place < running else 1 / mesh.reverse
        total = total + mesh.ratio * passed * mesh.inertia * mesh.ratio * common
    return total


def kinked(mesh: GroupMesh) -> bool:
    """Whether a group's torque at the common gear depends on which of the two drives."""
    return any(e.forward * e.reverse != 1.0 for e in mesh.elements)


def group_factors(mesh: GroupMesh, breakaway: float, direction: int) -> tuple[float, float, float]:
    """Torque at the common gear per torque of a group that drives, and that is dragged, and its
    drag. [-], [-], [N·m]"""
    driving = dragged = 1.0
    drag = 0.0
    for e in mesh.elements:
        forward, reverse, own = factors(e, breakaway, direction)
        driving, dragged, drag = (
            driving * e.ratio / forward,
            dragged * e.ratio / reverse,
            drag + own,
        )
    return driving, dragged, drag


def group_push(chain: Chain, direction: int, motor_torques: Any, breakaway: float = 1.0) -> Any:
    """Torque that all groups together give to the common gear in a direction. [N·m]

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    motor_torques : sequence of float or ndarray
        Per group, before its constant drag. [N·m]
    breakaway : float
        Losses at rest against losses in motion. [-]
    """
    rows = [group_factors(mesh, breakaway, direction) for mesh in chain.groups]
    return push_by(rows, direction, motor_torques)


def push_by(
    rows: Sequence[tuple[float, float, float]], direction: int, motor_torques: Sequence[Any]
) -> Any:
    """The same by the `group_factors` of each group. [N·m]"""
    total: Any = 0.0
    for (drives, dragged, drag), torque in zip(rows, motor_torques, strict=True):
        net = torque - direction * drag
        total = total + net * pick(direction * net >= 0, drives, dragged)
    return total


def roots(line: Callable[[float], float], kinks: Sequence[float]) -> list[float]:
    """All zeros of a piecewise-linear function whose kinks are known and sorted."""
    step = max(1.0, abs(kinks[0]), abs(kinks[-1])) if kinks else 1.0
    points = [kinks[0] - step, *kinks, kinks[-1] + step] if kinks else [-1.0, 1.0]
    values = [line(point) for point in points]
    found = []
    last = len(points) - 2
    for k in range(last + 1):
        x0, x1, y0, y1 = points[k], points[k + 1], values[k], values[k + 1]
        if y0 == y1:
            continue
        root = x0 - y0 * (x1 - x0) / (y1 - y0)
        if (k == 0 or root >= x0) and (k == last or root < x1):
            found.append(root)
    return found
