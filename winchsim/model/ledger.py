"""The energy balance: every power from its own formula, none as the difference of others.

Source energy = what is turned into heat at each place + what is stored + what is lost at once in
impacts.
"""

from enum import StrEnum

import numpy as np

from winchsim.model.keys import LoadPlace, ModeKey
from winchsim.model.machine import DriveGroup
from winchsim.model.motion import Flow, Motion
from winchsim.physics import load, rope, supply as sp
from winchsim.physics.chain import drum_inertia, losses, moving_torques


class Term(StrEnum):
    """Lines of the balance besides the chain's elements, which go by their own names; in
    the order of the balance."""

    SOURCE = "source"
    SOURCE_RESISTANCE = "source resistance"
    LIMITER = "supply limiter"
    COPPER = "copper"
    BRUSHES = "brushes"
    MOTOR_DRAG = "motor drag"
    ROPE_DAMPING = "rope damping"
    WOUND_STRETCH = "stretch wound onto the drum"
    GUIDE = "guide and slope"
    BRAKE = "brake and pawl"
    IMPACTS = "impacts"
    KINETIC = "kinetic"
    POTENTIAL = "potential"
    ROPE_STRETCH = "rope stretch"


ELECTRICAL = frozenset({Term.SOURCE_RESISTANCE, Term.LIMITER, Term.COPPER, Term.BRUSHES})
"""Terms of heat in the circuit; all other heat is from friction, also in the chain's elements."""


def powers(motion: Motion, key: ModeKey, t: np.ndarray, y: np.ndarray) -> dict[str, np.ndarray]:
    """Power of the source and under every term that turns energy into heat, at many instants of one
    mode. [W]

    Parameters
    ----------
    motion : Motion
    key : ModeKey
    t : ndarray, shape (k,)
    y : ndarray, shape (n, k)

    Returns
    -------
    dict of str to ndarray, shape (k,)
        `Term.SOURCE` first, then the other terms that are no store, then the chain's elements by
        name.
    """
    m = motion.machine
    now = motion.flow(key)(t, list(y))
    zero, total = np.zeros_like(t), np.broadcast_to(now.total, t.shape)
    given, in_source = now.open_voltage * total, m.source.resistance * total**2
    # A controller that limits passes all on, except what the motors give back while it drives them
    # against their turning.
    taken = sum(
        now.voltage * group.count * current
        for group, current in zip(m.groups, now.currents, strict=True)
    )
    electric = list(zip(m.groups, now.resistances, now.currents, strict=True))
    turning = [(unit, np.abs(y[1]) * unit.ratio) for unit in m.units]
    rubs = key.load in (LoadPlace.UP, LoadPlace.DOWN)
    return {
        Term.SOURCE: given,
        Term.SOURCE_RESISTANCE: in_source,
        Term.LIMITER: given - in_source - taken if key.regime is sp.Regime.CURRENT else zero,
        Term.COPPER: sum((g.count * r * current**2 for g, r, current in electric), zero),
        Term.BRUSHES: sum((g.count * g.motor.brush_drop * np.abs(i) for g, _, i in electric), zero),
        Term.MOTOR_DRAG: sum(
            (u.count * (u.motor.drag + u.motor.drag_slope * w) * w for u, w in turning), zero
        ),
        Term.ROPE_DAMPING: (now.tension - now.elastic) * (now.taken_up - m.line.falls * y[3]),
        Term.WOUND_STRETCH: rope.wound_stretch_power(
            m.line, now.tension, now.elastic, now.taken_up
        ),
        Term.GUIDE: m.body.friction * np.abs(y[3]) if rubs else zero,
        Term.BRAKE: zero,
        **_chain_powers(motion, key, now, y),
    }


def _chain_powers(motion: Motion, key: ModeKey, now: Flow, y: np.ndarray) -> dict[str, np.ndarray]:
    m, chain = motion.machine, motion.chain(key)
    names = [element.name for element in m.chain.elements]
    if len(m.units) > 1:
        names += [_mesh_head(unit) for unit in m.units]
    names = [Term.BRAKE if name == "brake" else name for name in names]
    out = {name: np.zeros_like(y[1]) for name in names}
    if not key.drum:
        return out
    rope_torque = np.asarray(now.tension * m.layers[key.layer].radius)
    torques = moving_torques(
        chain, key.drum, list(now.torques), rope_torque, motion.first_branch(chain, key.drum)
    )
    rows = losses(chain, torques, y[1])
    if len(m.units) == 1:
        # The first element's drag is the motors', booked there; a brake may stand before it.
        first = 1 if chain.elements[0].name == "brake" else 0
        rows[first] = rows[first] - chain.elements[first].drag * np.abs(y[1]) * m.groups[0].ratio
    for name, row in zip(names, rows, strict=False):
        out[name] = out[name] + row
    return out


def _mesh_head(group: DriveGroup) -> str:
    """Term of what a group loses between its motors and the common gear."""
    part = "mesh and gearbox" if group.fit.output.geared else "mesh and motor friction"
    return f"{part} of {'' if group.runs else 'dead motors, '}group {group.number}"


def stored_energy(motion: Motion, key: ModeKey, t: float, y: np.ndarray) -> dict[str, float]:
    """Energy stored under each term at one instant. [J]

    Parameters
    ----------
    motion : Motion
    key : ModeKey
    t : float
    y : ndarray, shape (n,)
    """
    m = motion.machine
    state = [float(value) for value in y]
    now = motion.flow(key)(t, state)
    return {
        Term.KINETIC: (
            drum_inertia(motion.train(key)) * state[1] ** 2 / 2
            + load.inertia(m.body) * state[3] ** 2 / 2
        ),
        Term.POTENTIAL: load.potential_energy(m.body, state[2], m.reach - state[2]),
        Term.ROPE_STRETCH: rope.free_stretch_energy(m.line, max(now.stretch, 0.0), now.unstretched),
    }
