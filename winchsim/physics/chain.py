"""The lossy chain from the motors to the rope: torques, accelerations, and what holds at rest.

Every element between motor and load (a mesh, a shaft's bearings, a sheave, an edge) is one kind of thing: a ratio, an
efficiency in each direction of power, a constant drag at its input, and the inertia of the shaft behind it. The losses are
applied element by element from the load back to the motors; they are never lumped.

Sign rules: raising is positive; `direction` is +1 while raising and -1 while running back. Inside one *branch* (which
elements carry their load forward, which groups drive) every torque is affine in the rope's torque and in the acceleration,
so a branch is compiled once and serves floats and arrays alike.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import islice
from typing import Any

import numpy as np

from winchsim.elementwise import larger, pick, positive
from winchsim.errors import TrustError

TINY = 1e-300
"""Keeps a share of nothing from being divided by zero. [N·m]"""


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
    grows_at_rest : bool
        Whether its drag is larger at rest, as friction is; a brake's torque is not.
    """

    name: str
    ratio: float
    forward: float
    reverse: float
    drag: float = 0.0
    inertia: float = 0.0
    grows_at_rest: bool = True


@dataclass(frozen=True)
class GroupMesh:
    """How one group of motors drives the common gear.

    Attributes
    ----------
    ratio : float
        Motor speed over the common gear's speed. [-]
    forward, reverse : float
        Efficiency of its mesh. [-]
    drag : float
        Constant drag of all its motors together, at the motor shaft. [N·m]
    inertia : float
        Of all its rotors together. [kg·m²]
    box : tuple of float
        Ratio, which `ratio` includes, and forward and reverse efficiency of the gearbox on each motor. [-]
    """

    ratio: float
    forward: float
    reverse: float
    drag: float
    inertia: float
    box: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @property
    def whole_forward(self) -> float:
        """Efficiency from the motors to the common gear. [-]"""
        return self.forward * self.box[1]

    @property
    def whole_reverse(self) -> float:
        """Efficiency from the common gear to the motors. [-]"""
        return self.reverse * self.box[2]


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
    """Reverse efficiency of an element of which only the forward one is known; negative where it locks. [-]

    Parameters
    ----------
    forward : float or ndarray
        0 < forward <= 1. [-]

    Notes
    -----
    ``2 - 1/e``: what friction takes from the driving side, ``1/e - 1`` of the torque passed on, it takes both ways. Own
    derivation, DEVELOPERS.md, section "The chain".
    """
    return 2 - 1 / forward


def shaft_ratios(chain: Chain) -> list[Any]:
    """Speed of each shaft over the drum's: the common gear's first, then each element's output; floats or arrays. [-]"""
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
    """Inertia of everything that turns, at the drum, losses left out: what the kinetic energy is made of. [kg·m²]"""
    ratios = drum_ratios(chain)
    total = chain.common_inertia * ratios[0] ** 2
    total += sum(e.inertia * r * r for e, r in zip(chain.elements, ratios[1:], strict=True))
    return total + sum(g.inertia * group_ratio(chain, i) ** 2 for i, g in enumerate(chain.groups))


# --- a branch: everything affine ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Branch:
    """A chain moving in one direction with known power directions: all torques affine in rope torque and acceleration.

    Attributes
    ----------
    direction : int
        +1 raising, -1 running back.
    loaded : tuple of bool
        Per element: whether power passes it forward.
    driving : tuple of bool
        Per group: whether it drives (otherwise it is dragged).
    outputs : tuple of (float, float, float)
        Per element: constant, share of the rope's torque, share of the drum's acceleration in its output torque.
    group_gains : tuple of float
        Torque at the common gear per torque of a group's motors.
    groups : tuple of (float, float, bool)
        Per group: rotor inertia times its speed ratio, constant drag, and whether its mesh has any loss.
    constant, per_torque, inertia : float
        ``inertia x acceleration = sum(gain x M) - constant - per_torque x rope torque``.
    """

    direction: int
    loaded: tuple[bool, ...]
    driving: tuple[bool, ...]
    outputs: tuple[tuple[float, float, float], ...]
    group_gains: tuple[float, ...]
    groups: tuple[tuple[float, float, bool], ...]
    constant: float
    per_torque: float
    inertia: float

    def acceleration(self, motor_torques: Sequence[Any], rope_torque: Any) -> Any:
        """Acceleration of the drum. [rad/s²]

        Parameters
        ----------
        motor_torques : sequence of float or ndarray
            Torque of each group, all its motors together, before its constant drag. [N·m]
        rope_torque : float or ndarray
            Rope force times layer radius. [N·m]
        """
        push = -self.constant - self.per_torque * rope_torque
        for gain, torque in zip(self.group_gains, motor_torques, strict=True):
            push = push + gain * torque
        return push / self.inertia

    def holds(self, motor_torques: Sequence[float], rope_torque: float, acceleration: float) -> bool:
        """Whether the power directions are those that the branch assumes, at this state (floats only).

        A branch that holds gives the one acceleration there is, whichever branch was tried first: every torque rises
        with the acceleration, so the balance has a single root.
        """
        d = self.direction
        for (a, b, c), loaded in zip(self.outputs, self.loaded, strict=True):
            if (d * (a + b * rope_torque + c * acceleration) >= 0.0) is not loaded:
                return False
        for torque, (lever, drag, kinked), driving in zip(motor_torques, self.groups, self.driving, strict=True):
            if kinked and (d * (torque - lever * acceleration) >= drag) is not driving:
                return False
        return True

    def output_torque(self, element: int, rope_torque: Any, acceleration: Any) -> Any:
        """Torque that an element gives to its output shaft. [N·m]"""
        constant, per_torque, per_acceleration = self.outputs[element]
        return constant + per_torque * rope_torque + per_acceleration * acceleration


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
    ``d c + (T/N)(1/e if d T >= 0 else q)``; at rest ``1/e`` becomes ``1 + b (1/e - 1)``, ``q`` becomes
    ``1 - b (1 - q)`` and ``c`` becomes ``b c``. DEVELOPERS.md, section "The chain".
    """
    forward, reverse, drag = _factors(element, breakaway)
    return direction * drag + output / element.ratio * pick(direction * output >= 0, forward, reverse)


def _factors(element: Element, breakaway: float) -> tuple[float, float, float]:
    forward = 1 + breakaway * (1 / element.forward - 1)
    reverse = 1 - breakaway * (1 - element.reverse)
    return forward, reverse, element.drag * (breakaway if element.grows_at_rest else 1.0)


def _walk(chain: Chain, direction: int, rope_torque: Any, breakaway: Any = 1.0, acceleration: Any = 0.0) -> Iterator[Any]:
    """Torque on each shaft that moves the chain, from the drum's or the rope's side to the common gear's. [N·m]"""
    torque, ratio = rope_torque, 1.0
    for element in reversed(chain.elements):
        torque = torque + element.inertia * ratio * acceleration
        yield torque
        torque = input_torque(element, direction, torque, breakaway)
        ratio = ratio * element.ratio
    yield torque + chain.common_inertia * ratio * acceleration


def _shaft_torque(
    chain: Chain, shaft: int, direction: int, rope_torque: Any, *, breakaway: float = 1.0, acceleration: float = 0.0
) -> Any:
    """Torque on one shaft, counted as in `shaft_ratios`. [N·m]"""
    return next(islice(_walk(chain, direction, rope_torque, breakaway, acceleration), len(chain.elements) - shaft, None))


def output_torques(
    chain: Chain, direction: int, rope_torque: Any, *, breakaway: Any = 1.0, acceleration: Any = 0.0
) -> list[Any]:
    """Torque at the output of each element, and at the common gear before them, that moves the chain. [N·m]

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


def rotating_inertia(chain: Chain) -> Any:
    """Torque at the common gear per acceleration of the drum while the motors drive, rotors included. [N·m·s²/rad]

    The same as `Branch.inertia` of a chain that raises, for chains of arrays too.
    """
    still = output_torques(chain, 1, 0.0)[0]
    total = output_torques(chain, 1, 0.0, acceleration=1.0)[0] - still
    common = shaft_ratios(chain)[0]
    for mesh in chain.groups:
        total = total + mesh.ratio * mesh.whole_forward * mesh.inertia * mesh.ratio * common
    return total


def _kinked(mesh: GroupMesh) -> bool:
    return mesh.whole_forward * mesh.whole_reverse != 1.0


def _group_factors(mesh: GroupMesh, breakaway: float) -> tuple[float, float, float]:
    _, box_forward, box_reverse = mesh.box
    driving = mesh.ratio / ((1 + breakaway * (1 / mesh.forward - 1)) * (1 + breakaway * (1 / box_forward - 1)))
    dragged = mesh.ratio / ((1 - breakaway * (1 - mesh.reverse)) * (1 - breakaway * (1 - box_reverse)))
    return driving, dragged, breakaway * mesh.drag


@lru_cache(maxsize=4096)
def branch(chain: Chain, direction: int, loaded: tuple[bool, ...], driving: tuple[bool, ...]) -> Branch:
    """Compiled branch of a chain.

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    loaded : tuple of bool
        Per element, whether power passes it forward.
    driving : tuple of bool
        Per group.

    Raises
    ------
    TrustError
        The inertia behind a self-locking element would jam it: no finite acceleration exists.
    """
    ratios = drum_ratios(chain)
    a, b, c = 0.0, 1.0, 0.0
    outputs = []
    for index in range(len(chain.elements) - 1, -1, -1):
        element = chain.elements[index]
        c += element.inertia * ratios[index + 1]
        outputs.append((a, b, c))
        forward, reverse, drag = _factors(element, 1.0)
        share = (forward if loaded[index] else reverse) / element.ratio
        a, b, c = direction * drag + share * a, share * b, share * c
    c += chain.common_inertia * ratios[0]
    gains, groups = [], []
    for index, mesh in enumerate(chain.groups):
        groups.append((mesh.inertia * group_ratio(chain, index), mesh.drag, _kinked(mesh)))
        drives, dragged, drag = _group_factors(mesh, 1.0)
        gain = drives if driving[index] else dragged
        gains.append(gain)
        a += gain * direction * drag
        c += gain * mesh.inertia * group_ratio(chain, index)
    if c <= 0:
        raise TrustError(
            "The inertia behind a self-locking stage jams it: there is no motion to compute.",
            "Give that stage's reverse efficiency as measured, or less inertia behind it.",
        )
    return Branch(direction, loaded, driving, tuple(reversed(outputs)), tuple(gains), tuple(groups), a, b, c)


def likely_branch(chain: Chain, direction: int) -> Branch:
    """Branch to try first: the motors drive while raising, the load drives while running back."""
    up = direction > 0
    return branch(chain, direction, (up,) * len(chain.elements), (up,) * len(chain.groups))


def find_branch(chain: Chain, direction: int, motor_torques: Sequence[float], rope_torque: float) -> Branch:
    """Branch that the chain moves in, found without iteration.

    The balance of torques is piecewise linear in the acceleration. Its kinks are where an element's output torque or a
    group's net torque is zero; between sorted kinks it is linear, so its root is read off.

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    motor_torques : sequence of float
        Per group. [N·m]
    rope_torque : float
        [N·m]

    Raises
    ------
    TrustError
        No acceleration balances the torques (a self-locking element with much inertia behind it).
    """
    kinks: list[float] = []
    for index in range(len(chain.elements) - 1, -1, -1):
        kinks += _roots(partial(_output_at, chain, direction, rope_torque, index), sorted(kinks))
    for index, mesh in enumerate(chain.groups):
        lever = mesh.inertia * group_ratio(chain, index)
        if lever and _kinked(mesh):
            kinks.append((motor_torques[index] - direction * mesh.drag) / lever)
    roots = _roots(lambda x: _imbalance(chain, direction, motor_torques, rope_torque, x), sorted(kinks))
    if not roots:
        raise TrustError("No acceleration balances the torques of the chain.")
    x = roots[0]
    loaded = tuple(direction * _output_at(chain, direction, rope_torque, i, x) >= 0 for i in range(len(chain.elements)))
    driving = tuple(
        direction * (motor_torques[i] - mesh.inertia * group_ratio(chain, i) * x - direction * mesh.drag) >= 0
        for i, mesh in enumerate(chain.groups)
    )
    return branch(chain, direction, loaded, driving)


def _output_at(chain: Chain, direction: int, rope_torque: float, element: int, acceleration: float) -> float:
    return _shaft_torque(chain, element + 1, direction, rope_torque, acceleration=acceleration)


def _imbalance(chain: Chain, direction: int, motor_torques: Sequence[float], rope_torque: float, acceleration: float) -> float:
    net = [
        torque - mesh.inertia * group_ratio(chain, i) * acceleration
        for i, (mesh, torque) in enumerate(zip(chain.groups, motor_torques, strict=True))
    ]
    needed = _shaft_torque(chain, 0, direction, rope_torque, acceleration=acceleration)
    return needed - group_push(chain, direction, net)


def _roots(line: Callable[[float], float], kinks: Sequence[float]) -> list[float]:
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


# --- at rest --------------------------------------------------------------------------------------------------------


def group_push(chain: Chain, direction: int, motor_torques: Sequence[Any], breakaway: float = 1.0) -> Any:
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
    total: Any = 0.0
    for mesh, torque in zip(chain.groups, motor_torques, strict=True):
        drives, dragged, drag = _group_factors(mesh, breakaway)
        net = torque - direction * drag
        total = total + net * pick(direction * net >= 0, drives, dragged)
    return total


def torque_margin(chain: Chain, motor_torques: Sequence[Any], needed: Any, breakaway: float = 1.0) -> Any:
    """Torque of the motors over the torque with which they would just raise, each giving the same share of its own. [-]

    Parameters
    ----------
    chain : Chain
    motor_torques : sequence of float or ndarray
        Per group, before its constant drag. [N·m]
    needed : float or ndarray
        Torque at the common gear that raises. [N·m]
    breakaway : float
        Losses at rest against losses in motion. [-]

    Returns
    -------
    float or ndarray
        1 just stalls; the same whether motors are told as one group or as several. Infinite where nothing is needed.

    Notes
    -----
    With m the margin, ``sum g(M/m) = needed``. The sum rises with 1/m along straight lines, ever less steeply, because a
    group drives with less gain than it is dragged with; so Newton's method ends after as many steps as there are kinks. Own
    derivation, DEVELOPERS.md, section "The chain".
    """
    rows = [(torque, *_group_factors(mesh, breakaway)) for torque, mesh in zip(motor_torques, chain.groups, strict=True)]
    margin: Any = 0.0
    for _ in range(len(rows) + 1 if len(rows) > 1 else 1):
        made, asked = 0.0, needed
        for torque, drives, dragged, drag in rows:
            gain = pick((torque > 0) & (torque >= margin * drag), drives, dragged)
            made, asked = made + torque * gain, asked + drag * gain
        margin = pick(asked > 0, made / larger(asked, TINY), np.inf)
    return margin


@dataclass(frozen=True)
class PiecewiseLine:
    """A continuous piecewise-linear function of a torque of at least 0, for floats and arrays.

    Attributes
    ----------
    knots : tuple of float
        Where the pieces begin; the first is 0. [N·m]
    values, slopes : tuple of float
        At each knot, and from it onward.
    """

    knots: tuple[float, ...]
    values: tuple[float, ...]
    slopes: tuple[float, ...]

    def __call__(self, torque: Any) -> Any:
        """Value at a torque (float or ndarray)."""
        if isinstance(torque, np.ndarray):
            index = np.maximum(np.searchsorted(self.knots, torque, side="right") - 1, 0)
            knots, values, slopes = np.asarray(self.knots), np.asarray(self.values), np.asarray(self.slopes)
            return values[index] + slopes[index] * (torque - knots[index])
        k = bisect.bisect_right(self.knots, torque) - 1 if len(self.knots) > 1 else 0
        return self.values[k] + self.slopes[k] * (torque - self.knots[k])


@lru_cache(maxsize=1024)
def demand(chain: Chain, direction: int, breakaway: float = 1.0) -> PiecewiseLine:
    """Torque at the common gear that just moves the chain, against the rope's torque, accelerations left out.

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    breakaway : float
        1 for a chain in motion, more for one at rest. [-]

    Returns
    -------
    PiecewiseLine
        Raising it is one line; running back it is a few. Decreasing where a locking element is behind it, so it must
        not be inverted without checking.
    """

    def torque_on(shaft: int, rope_torque: float) -> float:
        return _shaft_torque(chain, shaft, direction, rope_torque, breakaway=breakaway)

    kinks: list[float] = []
    for index in range(len(chain.elements) - 2, -1, -1):
        kinks += [x for x in _roots(partial(torque_on, index + 1), sorted({0.0, *kinks})) if x > 0]
    knots = sorted({0.0, *kinks})
    values = [torque_on(0, knot) for knot in knots]
    ends = [*knots[1:], knots[-1] + max(1.0, knots[-1])]
    slopes = [(torque_on(0, end) - value) / (end - knot) for knot, end, value in zip(knots, ends, values, strict=True)]
    return PiecewiseLine(tuple(knots), tuple(values), tuple(slopes))


def start_margins(
    chain: Chain, motor_torques: Sequence[Any], rope_torque: Any, breakaway: float, grip: float = 0.0
) -> tuple[Any, Any]:
    """How far a chain at rest is past the point where it starts to raise, and to run back. [N·m] at the common gear

    Parameters
    ----------
    chain : Chain
    motor_torques : sequence of float or ndarray
        Per group. [N·m]
    rope_torque : float or ndarray
        At least 0. [N·m]
    breakaway : float
        Losses at rest against losses in motion. [-]
    grip : float
        Share of the torque that raising takes which has to come on top, both ways. [-]

    Returns
    -------
    (float or ndarray, float or ndarray)
        Both negative: it stays. The first positive: it raises. The second positive: it runs back.
    """
    needed, passed = demand(chain, 1, breakaway)(rope_torque), demand(chain, -1, breakaway)(rope_torque)
    up = group_push(chain, 1, motor_torques, breakaway) - needed - grip * abs(needed)
    down = passed - group_push(chain, -1, motor_torques, breakaway) - grip * abs(needed)
    return up, down


# --- for the record: arrays of states at once -----------------------------------------------------------------------


@dataclass(frozen=True)
class ChainTorques:
    """Torques along the chain at one instant (floats) or many (arrays).

    Attributes
    ----------
    acceleration : float or ndarray
        Of the drum. [rad/s²]
    inputs, outputs : sequence of float or ndarray
        Torque at each element's input and at its output. [N·m]
    groups : sequence of float or ndarray
        Torque that each group's motors pass on, after drag and rotor inertia. [N·m]
    common : float or ndarray
        Torque that all groups together give to the common gear's shaft. [N·m]
    """

    acceleration: Any
    inputs: Any
    outputs: Any
    groups: Any
    common: Any


def moving_torques(
    chain: Chain,
    direction: int,
    motor_torques: Sequence[np.ndarray],
    rope_torque: np.ndarray,
    first: Branch | None = None,
) -> ChainTorques:
    """Torques of a moving chain at many instants, each in the branch that holds there.

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    motor_torques : sequence of ndarray, shape (k,)
        Per group. [N·m]
    rope_torque : ndarray, shape (k,)
        [N·m]
    first : Branch, optional
        Branch to try first; it decides nothing but the time taken.
    """
    k = rope_torque.shape[0]
    n = len(chain.elements)
    torques = np.array([np.broadcast_to(torque, (k,)) for torque in motor_torques]).reshape(len(chain.groups), k)
    levers = np.array([mesh.inertia * group_ratio(chain, i) for i, mesh in enumerate(chain.groups)])
    drags = np.array([mesh.drag for mesh in chain.groups])
    acceleration, outputs = np.zeros(k), np.zeros((n, k))
    left = np.arange(k)
    at, sought = first or likely_branch(chain, direction), False
    for _ in range(2 ** min(n + len(levers), 20)):  # one pass settles every instant in one branch; few branches occur
        x = at.acceleration(list(torques[:, left]), rope_torque[left])
        out = np.array([at.output_torque(i, rope_torque[left], x) for i in range(n)])
        net = direction * (torques[:, left] - levers[:, None] * x) - drags[:, None]
        fits = np.all((direction * out >= 0) == np.array(at.loaded)[:, None], axis=0)
        for i, mesh in enumerate(chain.groups):
            if _kinked(mesh):
                fits &= (net[i] >= 0) == at.driving[i]
        # A branch sought for the first instant that fits none is a tie at a kink: either branch gives the same numbers.
        here = np.arange(left.size) == 0 if sought and not fits.any() else fits
        acceleration[left[here]] = x[here]
        outputs[:, left[here]] = out[:, here]
        left = left[~here]
        if not left.size:
            break
        at = find_branch(chain, direction, [float(v) for v in torques[:, left[0]]], float(rope_torque[left[0]]))
        sought = True
    inputs = np.array([input_torque(e, direction, outputs[i]) for i, e in enumerate(chain.elements)])
    passed = torques - levers[:, None] * acceleration - direction * drags[:, None]
    common = inputs[0] + chain.common_inertia * drum_ratios(chain)[0] * acceleration
    return ChainTorques(acceleration, inputs, outputs, passed, common)


class RestingBounds:
    """Largest torques that a chain at rest may carry: its torques are bounded there, not determined.

    A shaft at rest carries between what the load passes up and what the motors pass down, losses at breakaway; the larger
    of the two magnitudes is given. What the load passes up to a common gear the groups hold in the proportion of what each
    could hold alone; their torques are said at the motors, so that a mesh passes them on as in motion.

    Parameters
    ----------
    chain : Chain
    breakaway : float
        Losses at rest against losses in motion. [-]
    pushing : float, optional
        The same for what the motors pass down; 1 for a chain that comes to rest out of motion, whose losses have kept no more
        than that from the drum. Left out: `breakaway`. [-]
    """

    def __init__(self, chain: Chain, breakaway: float, pushing: float | None = None) -> None:
        self._chain = chain
        self._pushing = breakaway if pushing is None else pushing
        self._rows = [(e.ratio, _factors(e, self._pushing), _factors(e, breakaway)) for e in chain.elements]
        self._groups = [
            (_group_factors(mesh, 1.0)[0], _group_factors(mesh, self._pushing), _group_factors(mesh, breakaway))
            for mesh in chain.groups
        ]

    def __call__(self, motor_torques: Sequence[Any], rope_torque: Any) -> ChainTorques:
        """Bounds at a state; of floats or arrays.

        Parameters
        ----------
        motor_torques : sequence of float or ndarray
            Per group. [N·m]
        rope_torque : float or ndarray
            At least 0. [N·m]
        """
        outputs: list[Any] = []
        inputs: list[Any] = []
        torque = rope_torque
        for ratio, _, (_, reverse, drag) in reversed(self._rows):
            outputs.append(torque)
            torque = positive(torque * reverse / ratio - drag)
            inputs.append(torque)
        outputs.reverse()
        inputs.reverse()
        groups = self._carried(motor_torques, torque)
        push = group_push(self._chain, 1, motor_torques, self._pushing)
        push = positive(push)
        for i, (ratio, (forward, _, drag), _) in enumerate(self._rows):
            inputs[i] = larger(inputs[i], push)
            push = positive(push - drag) * ratio / forward
            outputs[i] = larger(outputs[i], push)
        return ChainTorques(rope_torque * 0.0, inputs, outputs, groups, inputs[0])

    def _carried(self, motor_torques: Sequence[Any], passed_up: Any) -> list[Any]:
        """Torque of each group: of its motors, or its part of what the load passes up to the common gear."""
        held = [
            (abs(torque) + drag) * dragged
            for torque, (_, _, (_, dragged, drag)) in zip(motor_torques, self._groups, strict=True)
        ]
        per_hold = passed_up / larger(sum(held), TINY)
        return [
            larger(positive(torque - drag) * drives, own * per_hold) / moving
            for torque, own, (moving, (drives, _, drag), _) in zip(motor_torques, held, self._groups, strict=True)
        ]


def losses(chain: Chain, torques: ChainTorques, drum_speed: np.ndarray) -> np.ndarray:
    """Power that each element turns into heat, each from its own formula, then each group's mesh. [W]

    Parameters
    ----------
    chain : Chain
    torques : ChainTorques
        From `moving_torques`.
    drum_speed : ndarray, shape (k,)
        [rad/s]

    Returns
    -------
    ndarray, shape (elements + groups, k)
        Group rows hold the loss of mesh and gearbox; the motors' own drag is booked with the motors.
    """
    ratios = drum_ratios(chain)
    rows = []
    for i, element in enumerate(chain.elements):
        passed = torques.outputs[i] * drum_speed * ratios[i + 1]
        share = np.where(passed >= 0, 1 / element.forward - 1, element.reverse - 1)
        rows.append(element.drag * np.abs(drum_speed) * ratios[i] + passed * share)
    for i, mesh in enumerate(chain.groups):
        passed = torques.groups[i] * drum_speed * group_ratio(chain, i)
        rows.append(passed * np.where(passed >= 0, 1 - mesh.whole_forward, 1 - 1 / mesh.whole_reverse))
    return np.array(rows)
