"""The chain at rest: the torque that just moves it, its margin over a start, and bounds of what its
shafts carry."""

import bisect
from collections.abc import Sequence
from functools import lru_cache, partial
from typing import Any

import numpy as np

from winchsim.elementwise import larger, pick, positive, smaller
from winchsim.frozen import dataclass
from winchsim.physics.chain.branch import ChainTorques
from winchsim.physics.chain.elements import (
    Chain,
    factors,
    group_factors,
    group_push,
    output_torques,
    push_by,
    roots,
    shaft_torque,
)

TINY = 1e-300
"""Keeps a share of nothing from being divided by zero. [N·m]"""


def torque_margin(
    chain: Chain, motor_torques: Sequence[Any], needed: Any, breakaway: float = 1.0
) -> Any:
    """Torque of the motors over the torque with which they would just raise, each giving the same
    share of its own. [-]

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
        1 just stalls; the same whether motors are told as one group or as several. Infinite where
        nothing is needed.

    Notes
    -----
    With m the margin, ``sum g(M/m) = needed``. The sum rises with 1/m along straight lines, ever
    less steeply, because a group drives with less gain than it is dragged with; so Newton's method
    ends after as many steps as there are kinks. Own derivation, head of the package
    `physics/chain`.
    """
    rows = [
        (torque, *group_factors(mesh, breakaway, 1))
        for torque, mesh in zip(motor_torques, chain.groups, strict=True)
    ]
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
            at = np.maximum(np.searchsorted(self.knots, torque, side="right") - 1, 0)
            past = torque - np.take(self.knots, at)
            return np.take(self.values, at) + np.take(self.slopes, at) * past
        k = bisect.bisect_right(self.knots, torque) - 1 if len(self.knots) > 1 else 0
        return self.values[k] + self.slopes[k] * (torque - self.knots[k])


@lru_cache(maxsize=1024)
def demand(chain: Chain, direction: int, breakaway: float = 1.0) -> PiecewiseLine:
    """Torque at the common gear that just moves the chain, against the rope's torque, accelerations
    left out.

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
        Raising it is one line; running back it is a few. Decreasing where a locking element is
        behind it, so it must not be inverted without checking.
    """

    def torque_on(shaft: int, rope_torque: float) -> float:
        return shaft_torque(chain, shaft, direction, rope_torque, breakaway=breakaway)

    kinks: list[float] = []
    for index in range(len(chain.elements) - 2, -1, -1):
        kinks += [x for x in roots(partial(torque_on, index + 1), sorted({0.0, *kinks})) if x > 0]
    knots = sorted({0.0, *kinks})
    values = [torque_on(0, knot) for knot in knots]
    ends = [*knots[1:], knots[-1] + max(1.0, knots[-1])]
    slopes = [
        (torque_on(0, end) - value) / (end - knot)
        for knot, end, value in zip(knots, ends, values, strict=True)
    ]
    return PiecewiseLine(tuple(knots), tuple(values), tuple(slopes))


class StartMargins:
    """How far a chain at rest is past the point where it starts to raise, and to run back: torques
    at the common gear. [N·m]

    Both negative: it stays. The first positive: it raises. The second positive: it runs back, with
    the friction of motion too: where a locking element is pushed down, friction at rest behind it
    keeps load from it, which would stop it as soon as it moves.

    Parameters
    ----------
    chain : Chain
    breakaway : float
        Losses at rest against losses in motion. [-]
    grip : float
        Share of the torque that raising takes which has to come on top, both ways. [-]
    """

    def __init__(self, chain: Chain, breakaway: float, grip: float = 0.0) -> None:
        def rows(direction: int, growth: float) -> list[tuple[float, float, float]]:
            return [group_factors(mesh, growth, direction) for mesh in chain.groups]

        self._needed, self._up = demand(chain, 1, breakaway), rows(1, breakaway)
        self._back = [
            (demand(chain, -1, growth), rows(-1, growth))
            for growth in dict.fromkeys((breakaway, 1.0))
        ]
        self._grip = grip

    def __call__(self, motor_torques: Sequence[Any], rope_torque: Any) -> tuple[Any, Any]:
        """Margins upward and downward, from the torque of each group and that of the rope, which is
        at least 0; shapes as given. [N·m]"""
        needed = self._needed(rope_torque)
        grip = self._grip * abs(needed)
        up = push_by(self._up, 1, motor_torques) - needed - grip
        back = [
            passed(rope_torque) - push_by(down, -1, motor_torques) for passed, down in self._back
        ]
        return up, smaller(back[0], back[-1]) - grip


def driven_back(chain: Chain, rope_torque: Any, breakaway: Any = 1.0) -> Any:
    """Torque by which a load drives an idle train back beyond what its friction holds; at most 0
    holds. [N·m]

    The one measure of holding: at the common gear, motors without current, in numbers or arrays.
    Over ``rope_torque / shaft_ratios(chain)[0]``, the load's torque without losses, it is the share
    of that torque which is passed back net, finite through zero and below -1 only where it locks.

    Parameters
    ----------
    chain : Chain
        With its brake gripping, where one does.
    rope_torque : float or ndarray
        At least 0. [N·m]
    breakaway : float or ndarray
        1 once the train moves, more for one at rest. [-]
    """
    idle = [0.0 * rope_torque] * len(chain.groups)
    passed = output_torques(chain, -1, rope_torque, breakaway=breakaway)[0]
    return passed - group_push(chain, -1, idle, breakaway)


class RestingBounds:
    """Least torques that a chain at rest carries: friction leaves them open, and each shaft may
    carry more.

    A shaft at rest carries no less than what the load passes up to it, and no less than what the
    motors pass down, both with all friction at rest against them; the larger of the two is the
    least that statics allows. How much more friction locks in depends on how the train came to
    rest. What the load passes up to a common gear the groups hold in the proportion of what each
    could hold alone; their torques are said at the motors, so that a mesh passes them on as in
    motion.

    Parameters
    ----------
    chain : Chain
    breakaway : float
        Losses at rest against losses in motion. [-]
    pushing : float, optional
        The same for what the motors pass down; 1 for a chain that comes to rest out of motion,
        whose losses have kept no more than that from the drum. Left out: `breakaway`. [-]
    """

    def __init__(self, chain: Chain, breakaway: float, pushing: float | None = None) -> None:
        self._pushing = breakaway if pushing is None else pushing
        self._driving: list[tuple[float, float]] = []
        self._passing: list[tuple[float, float, bool]] = []
        for e in chain.elements:
            (forward, _, drag), (_, reverse, held) = (
                factors(e, self._pushing, 1),
                factors(e, breakaway, -1),
            )
            self._driving.append((e.ratio / forward, drag))
            self._passing.insert(
                0, (reverse / e.ratio, held, bool(np.all((reverse >= 0) & (held == 0))))
            )
        self._groups = [
            (
                group_factors(mesh, 1.0, 1)[0],
                group_factors(mesh, self._pushing, 1),
                group_factors(mesh, breakaway, -1),
            )
            for mesh in chain.groups
        ]
        self._pushes = [drives for _, drives, _ in self._groups]

    def __call__(self, motor_torques: Sequence[Any], rope_torque: Any) -> ChainTorques:
        """Least torques at a state; of floats or arrays.

        Parameters
        ----------
        motor_torques : sequence of float or ndarray
            Per group. [N·m]
        rope_torque : float or ndarray
            At least 0. [N·m]
        """
        passed = rope_torque
        up = [passed]
        for reverse, drag, plain in self._passing:
            passed = passed * reverse if plain else positive(passed * reverse - drag)
            up.append(passed)
        groups = self._carried(motor_torques, passed)
        push = positive(push_by(self._pushes, 1, motor_torques))
        down = [push]
        for forward, drag in self._driving:
            push = (
                positive(push - drag) if drag.__class__ is not float or drag else push
            ) * forward
            down.append(push)
        common, *outputs = [larger(a, b) for a, b in zip(reversed(up), down, strict=True)]
        return ChainTorques(rope_torque * 0.0, outputs, groups, common)

    def _carried(self, motor_torques: Sequence[Any], passed_up: Any) -> list[Any]:
        """Torque of each group: of its motors, or its part of what the load passes up to the common
        gear."""
        held = [
            (abs(torque) + drag) * dragged
            for torque, (_, _, (_, dragged, drag)) in zip(motor_torques, self._groups, strict=True)
        ]
        per_hold = passed_up / larger(sum(held), TINY)
        return [
            larger(positive(torque - drag) * drives, own * per_hold) / moving
            for torque, own, (moving, (drives, _, drag), _) in zip(
                motor_torques, held, self._groups, strict=True
            )
        ]
