"""Branches of the chain in motion: which elements carry power forward, which groups drive, and the
torques that follow."""

from collections.abc import Sequence
from functools import lru_cache, partial
from typing import Any

import numpy as np

from winchsim.frozen import dataclass
from winchsim.physics.chain.elements import (
    Chain,
    drum_ratios,
    factors,
    group_factors,
    group_push,
    group_ratio,
    input_torque,
    kinked,
    output_torques,
    roots,
    shaft_torque,
)


@dataclass(frozen=True, eq=False)
class Branch:
    """A chain moving in one direction with known power directions: all torques affine in rope
    torque and acceleration.

    Branches are compared by identity, so that they are cheap keys.

    Attributes
    ----------
    direction : int
        +1 raising, -1 running back.
    loaded : tuple of bool
        Per element: whether power passes it forward.
    driving : tuple of bool
        Per group: whether it drives (otherwise it is dragged).
    outputs, inputs : tuple of (float, float, float)
        Per element: constant, share of the rope's torque, share of the drum's acceleration in the
        torque at its output, and at its input.
    common : tuple of (float, float, float)
        The same of the torque of all groups together on the common gear's shaft.
    group_gains : tuple of float
        Torque at the common gear per torque of a group's motors.
    groups : tuple of (float, float, bool)
        Per group: rotor inertia times its speed ratio, constant drag, and whether its mesh has any
        loss.
    checks : tuple of (float, float, float, bool)
        Of the outputs, those whose direction does not follow from that of the next, and whether
        power passes them forward.
    constant, per_torque, inertia : float
        ``inertia x acceleration = sum(gain x M) - constant - per_torque x rope torque``. Inertia of
        0 or less: what lies behind a self-locking element, when it drives, asks more of the motors
        the more it is slowed.
    """

    direction: int
    loaded: tuple[bool, ...]
    driving: tuple[bool, ...]
    outputs: tuple[tuple[float, float, float], ...]
    inputs: tuple[tuple[float, float, float], ...]
    common: tuple[float, float, float]
    group_gains: tuple[float, ...]
    groups: tuple[tuple[float, float, bool], ...]
    checks: tuple[tuple[float, float, float, bool], ...]
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
        for gain, torque in zip(self.group_gains, motor_torques):  # noqa: B905 - the innermost loop
            push = push + gain * torque
        return push / self.inertia

    def holds(
        self, motor_torques: Sequence[float], rope_torque: float, acceleration: float
    ) -> bool:
        """Whether the power directions are those that the branch assumes, at this state (floats
        only).

        A branch that holds gives the one acceleration there is, whichever branch was tried first:
        where every torque rises with the acceleration the balance has a single root, and a branch
        whose torque falls with it never holds.
        """
        if self.inertia <= 0.0:
            return False
        d = self.direction
        for a, b, c, loaded in self.checks:
            if (d * (a + b * rope_torque + c * acceleration) >= 0.0) != loaded:
                return False
        rows = zip(motor_torques, self.groups, self.driving)  # noqa: B905
        for torque, (lever, drag, lossy), driving in rows:
            if lossy and (d * (torque - lever * acceleration) >= drag) != driving:
                return False
        return True


@lru_cache(maxsize=4096)
def branch(
    chain: Chain, direction: int, loaded: tuple[bool, ...], driving: tuple[bool, ...]
) -> Branch:
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
    """
    ratios = drum_ratios(chain)
    a, b, c = 0.0, 1.0, 0.0
    outputs, inputs, checks, follows = [], [], [], False
    for index in range(len(chain.elements) - 1, -1, -1):
        element = chain.elements[index]
        c += element.inertia * ratios[index + 1]
        outputs.append((a, b, c))
        if not follows or element.inertia or loaded[index] is not loaded[index + 1]:
            checks.append((a, b, c, loaded[index]))
        forward, reverse, drag = factors(element, 1.0, direction)
        share = (forward if loaded[index] else reverse) / element.ratio
        follows = drag == 0.0 and share > 0.0
        a, b, c = direction * drag + share * a, share * b, share * c
        inputs.append((a, b, c))
    c += chain.common_inertia * ratios[0]
    common = (a, b, c)
    gains, groups = [], []
    for index, mesh in enumerate(chain.groups):
        groups.append((mesh.inertia * group_ratio(chain, index), mesh.drag, kinked(mesh)))
        drives, dragged, drag = group_factors(mesh, 1.0, direction)
        gains.append(drives if driving[index] else dragged)
        a += gains[-1] * direction * drag
        c += gains[-1] * groups[-1][0]
    return Branch(
        direction,
        loaded,
        driving,
        tuple(outputs[::-1]),
        tuple(inputs[::-1]),
        common,
        tuple(gains),
        tuple(groups),
        tuple(checks),
        a,
        b,
        c or -1e-300,
    )


def likely_branch(chain: Chain, direction: int) -> Branch:
    """Branch to try first: the motors drive while raising, the load drives while running back."""
    up = direction > 0
    return branch(chain, direction, (up,) * len(chain.elements), (up,) * len(chain.groups))


@lru_cache(maxsize=256)
def may_wedge(chain: Chain, direction: int) -> bool:
    """Whether there are torques that no acceleration balances: a locking element with much inertia
    behind it.

    So it is where the least inertia of all branches is 0 or less.
    """
    ratios, least = drum_ratios(chain), 0.0
    for element, ratio in zip(reversed(chain.elements), ratios[:0:-1], strict=True):
        least += element.inertia * ratio
        forward, reverse, _ = factors(element, 1.0, direction)
        least = min(forward * least, reverse * least) / element.ratio
    least += chain.common_inertia * ratios[0]
    for index, mesh in enumerate(chain.groups):
        least += (
            min(group_factors(mesh, 1.0, direction)[:2]) * mesh.inertia * group_ratio(chain, index)
        )
    return least <= 0.0


def find_branch(
    chain: Chain, direction: int, motor_torques: Sequence[float], rope_torque: float
) -> Branch | None:
    """Branch that the chain moves in, found without iteration.

    The balance of torques is piecewise linear in the acceleration. Its kinks are where an element's
    output torque or a group's net torque is zero; between sorted kinks it is linear, so its root is
    read off.

    Parameters
    ----------
    chain : Chain
    direction : int
        +1 raising, -1 running back.
    motor_torques : sequence of float
        Per group. [N·m]
    rope_torque : float
        [N·m]

    Returns
    -------
    Branch or None
        None where no acceleration balances the torques: the chain wedges, and the drum stops at
        once. Where the torque asked of the motors rises again the further the drum is slowed, as it
        does behind a self-locking element with much inertia, only a branch on which it falls with
        the slowing is a motion that lasts.
    """
    kinks: list[float] = []
    follows = False  # whether the direction of an output is that of the next one towards the load
    for index in range(len(chain.elements) - 1, -1, -1):
        element = chain.elements[index]
        if not follows or element.inertia:
            output = partial(shaft_torque, chain, index + 1, direction, rope_torque)
            kinks += roots(output, sorted(kinks))
        _, reverse, drag = factors(element, 1.0, direction)
        follows = drag == 0.0 and reverse > 0.0
    for index, mesh in enumerate(chain.groups):
        lever = mesh.inertia * group_ratio(chain, index)
        if lever and kinked(mesh):
            kinks.append((motor_torques[index] - direction * mesh.drag) / lever)
    balance = partial(_imbalance, chain, direction, motor_torques, rope_torque)
    for x in roots(balance, sorted(kinks)):
        outputs = output_torques(chain, direction, rope_torque, acceleration=x)[1:]
        loaded = tuple(direction * output >= 0 for output in outputs)
        driving = tuple(
            direction
            * (motor_torques[i] - mesh.inertia * group_ratio(chain, i) * x - direction * mesh.drag)
            >= 0
            for i, mesh in enumerate(chain.groups)
        )
        found = branch(chain, direction, loaded, driving)
        if found.inertia > 0.0:
            return found
    return None


def _imbalance(
    chain: Chain,
    direction: int,
    motor_torques: Sequence[float],
    rope_torque: float,
    acceleration: float,
) -> float:
    net = [
        torque - mesh.inertia * group_ratio(chain, i) * acceleration
        for i, (mesh, torque) in enumerate(zip(chain.groups, motor_torques, strict=True))
    ]
    needed = shaft_torque(chain, 0, direction, rope_torque, acceleration)
    return needed - group_push(chain, direction, net)


# --- for the record: arrays of states at once


@dataclass(frozen=True)
class ChainTorques:
    """Torques along the chain at one instant (floats) or many (arrays).

    Attributes
    ----------
    acceleration : float or ndarray
        Of the drum. [rad/s²]
    outputs : sequence of float or ndarray
        Torque at each element's output. [N·m]
    groups : sequence of float or ndarray
        Torque that each group's motors pass on, after drag and rotor inertia. [N·m]
    common : float or ndarray
        Torque that all groups together give to the common gear's shaft. [N·m]
    """

    acceleration: Any
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
    torques = np.array([np.broadcast_to(torque, (k,)) for torque in motor_torques]).reshape(
        len(chain.groups), k
    )
    levers = np.array([mesh.inertia * group_ratio(chain, i) for i, mesh in enumerate(chain.groups)])
    drags = np.array([mesh.drag for mesh in chain.groups])
    acceleration, outputs = np.zeros(k), np.zeros((n, k))
    left = np.arange(k)
    at, sought = first or likely_branch(chain, direction), False
    for _ in range(
        2 ** min(n + len(levers), 20)
    ):  # one pass settles every instant in one branch; few branches occur
        x = at.acceleration(list(torques[:, left]), rope_torque[left])
        rows = np.array(at.outputs)[:, :, None]
        out = rows[:, 0] + rows[:, 1] * rope_torque[left] + rows[:, 2] * x
        net = direction * (torques[:, left] - levers[:, None] * x) - drags[:, None]
        fits = np.all((direction * out >= 0) == np.array(at.loaded)[:, None], axis=0)
        for i, mesh in enumerate(chain.groups):
            if kinked(mesh):
                fits &= (net[i] >= 0) == at.driving[i]
        # A branch sought for the first instant that fits none is a tie at a kink: either branch
        # gives the same numbers.
        here = np.arange(left.size) == 0 if sought and not fits.any() else fits
        acceleration[left[here]] = x[here]
        outputs[:, left[here]] = out[:, here]
        left = left[~here]
        if not left.size:
            break
        # None at the very instant at which the chain wedges: up to there it moved as before.
        state = torques[:, left[0]].tolist(), float(rope_torque[left[0]])
        at, sought = find_branch(chain, direction, *state) or at, True
    passed = torques - levers[:, None] * acceleration - direction * drags[:, None]
    common = input_torque(chain.elements[0], direction, outputs[0])
    common += chain.common_inertia * drum_ratios(chain)[0] * acceleration
    return ChainTorques(acceleration, outputs, passed, common)


def losses(chain: Chain, torques: ChainTorques, drum_speed: np.ndarray) -> np.ndarray:
    """Power that each element turns into heat, each from its own formula, then each group's mesh.
    [W]

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
        Group rows hold the loss of mesh and gearbox; the motors' own drag is booked with the
        motors.
    """
    ratios = drum_ratios(chain)
    rows = []
    for i, element in enumerate(chain.elements):
        passed = torques.outputs[i] * drum_speed * ratios[i + 1]
        passed = passed * np.where(passed >= 0, 1 / element.forward - 1, element.reverse - 1)
        rows.append(element.drag * np.abs(drum_speed) * ratios[i] + passed)
    for i, mesh in enumerate(chain.groups):
        passed = torques.groups[i] * drum_speed * group_ratio(chain, i)
        rows.append(passed * np.where(passed >= 0, 1 - mesh.forward, 1 - 1 / mesh.reverse))
    return np.array(rows)
