"""The way up of every variant of a batch: cells of rope wound on, and the rope's pull and the
drum's radius in each."""

from typing import Any

import numpy as np

from winchsim.model.estimate import pull
from winchsim.physics import load, rope
from winchsim.slow.stacking import Batch

TAKE_UP_CELLS = 14
HANGING_CELLS = 40
"""Cells of the take-up before lift-off, and of the way up; each end of a layer adds one. [-]"""

COARSE_CELLS = 4, 16
"""The same where variants are only compared with each other; there the ends of layers count among
those of the way up, half of which stay. [-]"""


class Path:
    """Cells of rope wound on, from the start to the top; some of a variant's may have no length.

    Parameters
    ----------
    batch : Batch

    Attributes
    ----------
    edges : ndarray, shape (cells + 1, size)
        Unstretched rope wound on since the start. [m]
    middles, tensions, radii, impedances : ndarray, shape (cells, size)
        In the middle of each cell: rope wound on [m], steady rope force [N], radius of the layer
        [m]; at the layer's start, the force that a jump of the drum's surface speed adds at most
        [N·s/m].
    hanging : ndarray of bool, shape (cells, size)
        Whether the load has lifted off.
    lift_off : ndarray, shape (size,)
        Rope wound on when the load lifts off. [m]
    start_tension : float or ndarray
        Rope force before the start. [N]
    fits : ndarray of bool, shape (size,)
        Whether the layers take all the rope; where they do not, the path ends at the flange's edge.
    blocked : bool or ndarray of bool
        Whether a snag or a stop is in the way; the path ends there.
    layer : ndarray of int, shape (size,)
        Layer that the path ends on, from 1.
    """

    def __init__(self, batch: Batch) -> None:
        m, every = batch.machine, np.arange(batch.size)
        span = rope.span(m.line, m.reach - m.start_travel)
        slack = m.free_rope - span
        taut = m.free_rope - rope.unstretched_length(m.line, span, breakaway_pull(batch))
        self.lift_off = np.maximum(taut, np.maximum(slack, 0.0)) + np.zeros(batch.size)
        last = np.minimum(np.minimum(m.top_travel, m.stop_travel), m.snag_travel)
        top = np.maximum(wound_at(batch, last), self.lift_off)
        depth = batch.ends[batch.layer_counts - 1, every] - m.wound_at_start
        self.fits, self.blocked = top <= depth, last < m.top_travel
        self.edges = _edges(batch, np.maximum(slack, 0.0), self.lift_off, np.minimum(top, depth))
        wound = self.middles = (self.edges[1:] + self.edges[:-1]) / 2
        self.hanging = wound > self.lift_off
        layer = _layer_at(batch, wound)
        self.radii, self.impedances = (
            rows[layer, every] for rows in (batch.radii, _impedance(batch))
        )
        taking_up = np.maximum(
            rope.elastic_tension(m.line, wound - slack, m.free_rope - wound), 0.0
        )
        self.tensions = np.where(self.hanging, hanging_pull(batch, wound), taking_up)
        self.start_tension = np.maximum(rope.elastic_tension(m.line, -slack, m.free_rope), 0.0)
        self.layer = _layer_at(batch, self.edges[-1] * (1 - 1e-12)) + 1


def breakaway_pull(batch: Batch) -> Any:
    """Rope force at which the load starts to move from its start. [N]"""
    m = batch.machine
    return pull(m, m.start_travel, m.breakaway)


def wound_at(batch: Batch, travel: Any) -> Any:
    """Unstretched rope wound on when the load hangs steadily at a travel, rising. [m]

    Parameters
    ----------
    batch : Batch
    travel : ndarray
        Of the load. [m]

    Notes
    -----
    What is wound on is what the free rope has lost: ``s = L - l/(1 + T/EA)``. Own derivation, head
    of the package `slow`.
    """
    m = batch.machine
    return m.free_rope - rope.unstretched_length(
        m.line, rope.span(m.line, m.reach - travel), pull(m, travel)
    )


def hanging_pull(batch: Batch, wound: Any) -> Any:
    """Steady rope force of the rising load with so much rope wound on. [N]

    Parameters
    ----------
    batch : Batch
    wound : ndarray
        Unstretched. [m]

    Notes
    -----
    ``falls T = W + friction + w_rope (reach - u)`` with ``falls (reach - u) + lead = l_u (1 +
    T/EA)``, solved for T. Own derivation, head of the package `slow`.
    """
    m = batch.machine
    falls, left = m.line.falls, m.free_rope - wound
    weight = load.pull_needed(m.body, 0.0) + m.body.friction
    share = m.body.rope_weight / falls
    return (weight + share * (left - m.line.lead)) / (falls - share * left / m.line.stiffness)


def travel_at(batch: Batch, wound: Any) -> Any:
    """Travel of the steadily hanging load with so much rope wound on; not below its start. [m]

    Parameters
    ----------
    batch : Batch
    wound : ndarray
        Unstretched. [m]

    Notes
    -----
    The inverse of `wound_at`: ``falls (reach - u) + lead = l_u (1 + T/EA)``, solved for u.
    """
    m = batch.machine
    span = (m.free_rope - wound) * (1 + hanging_pull(batch, wound) / m.line.stiffness)
    return np.maximum(m.reach - (span - m.line.lead) / m.line.falls, m.start_travel)


def bounce_period(batch: Batch) -> Any:
    """Period of the load's bounce on the rope of the start, hanging. [s]"""
    m = batch.machine
    left = m.reach - m.start_travel
    hung = rope.unstretched_length(
        m.line, rope.span(m.line, left), load.pull_needed(m.body, left) / m.line.falls
    )
    return rope.bounce_period(m.line, hung, load.inertia(m.body))


def _edges(batch: Batch, slack_end: Any, lift_off: Any, end: Any) -> np.ndarray:
    up_to_slack, up_to_lift = np.minimum(slack_end, end), np.minimum(lift_off, end)
    ends = batch.ends - batch.machine.wound_at_start
    ends = np.clip(ends[np.any(ends < end, axis=1)], 0.0, end)
    cells = TAKE_UP_CELLS, HANGING_CELLS
    if batch.coarse:
        before, up = COARSE_CELLS
        cells = before, max(up - len(ends), up // 2)
    taking_up, rising = (np.linspace(0, 1, count + 1)[:, None] for count in cells)
    rows = [
        np.zeros((1, batch.size)),
        up_to_slack + (up_to_lift - up_to_slack) * taking_up,
        up_to_lift + (end - up_to_lift) * rising[1:],
        ends,
    ]
    return np.sort(np.concatenate(rows), axis=0)


def _layer_at(batch: Batch, wound: np.ndarray) -> np.ndarray:
    """Place of the layer that the rope runs onto with so much wound on; the last one beyond the
    flange."""
    on_drum = wound + batch.machine.wound_at_start
    full: Any = sum(end <= on_drum for end in batch.ends)  # one by one: quicker than all at once
    return np.minimum(full, batch.layer_counts - 1)


@np.errstate(divide="ignore", invalid="ignore")
def _impedance(batch: Batch) -> Any:
    r"""Largest rope force per jump of the drum's surface speed at the start of each layer, or of
    the lift: the load on its spring and damper. [N·s/m]

    Notes
    -----
    A mass on a spring of stiffness K and damping ratio :math:`\zeta`, whose other end starts with
    the speed v: the greatest force is :math:`v\sqrt{K m}\,e^{-\zeta\varphi/\sqrt{1-\zeta^2}}` with
    :math:`\tan\varphi = \sqrt{1-\zeta^2}\,(1-4\zeta^2)/(\zeta(3-4\zeta^2))`, and :math:`2\zeta
    v\sqrt{K m}`, at once, from :math:`\zeta = 1/2` on. Own derivation, head of the package `slow`.
    """
    m = batch.machine
    starts = np.concatenate([np.zeros((1, batch.size)), batch.ends[:-1]])
    wound = np.maximum(starts - m.wound_at_start, 0.0)
    stiffness = m.line.stiffness / (m.free_rope - wound)
    mass = load.inertia(m.body) / m.line.falls**2
    root = np.sqrt(stiffness * mass)
    damping = np.minimum(m.line.damping / (2 * root), 1e3)
    low = np.clip(damping, 0.0, 0.5)
    angle = np.arctan2(np.sqrt(1 - low**2) * (1 - 4 * low**2), low * (3 - 4 * low**2))
    return root * np.where(damping < 0.5, np.exp(-low * angle / np.sqrt(1 - low**2)), 2 * damping)
