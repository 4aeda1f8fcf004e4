"""The energy balance: every power from its own formula, none as the difference of others.

Source energy = what is turned into heat at each place + what is stored + what is lost at once in
impacts.
"""

from enum import StrEnum

import numpy as np

from winchsim.model.keys import LoadPlace, ModeKey
from winchsim.model.machine import DriveGroup, Machine
from winchsim.model.motion import Flow, Motion
from winchsim.physics import load, rope
from winchsim.physics import supply as sp
from winchsim.physics.chain import drum_inertia, losses, moving_torques


class TermKind(StrEnum):
    """Kind of a line of the balance."""

    GIVEN = "given"
    ELECTRICAL = "electrical"
    MECHANICAL = "mechanical"
    STORED = "stored"


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


def kind_of(term: str) -> TermKind:
    """Sort of a term; what is no `Term` is an element of the chain, which turns energy into
    friction's heat, as most terms do."""
    return _KINDS.get(term, TermKind.MECHANICAL)


_KINDS: dict[str, TermKind] = {
    Term.SOURCE: TermKind.GIVEN,
    Term.SOURCE_RESISTANCE: TermKind.ELECTRICAL,
    Term.LIMITER: TermKind.ELECTRICAL,
    Term.COPPER: TermKind.ELECTRICAL,
    Term.BRUSHES: TermKind.ELECTRICAL,
    Term.KINETIC: TermKind.STORED,
    Term.POTENTIAL: TermKind.STORED,
    Term.ROPE_STRETCH: TermKind.STORED,
}


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
    zero = np.zeros_like(t)
    total = np.broadcast_to(now.total, t.shape)
    out: dict[str, np.ndarray] = {
        Term.SOURCE: now.open_voltage * total,
        Term.SOURCE_RESISTANCE: m.source.resistance * total**2,
    }
    # A controller that limits passes all on, except what the motors give back while it drives them
    # against their turning.
    taken = sum(
        now.voltage * group.count * current
        for group, current in zip(m.groups, now.currents, strict=True)
    )
    limiter = out[Term.SOURCE] - out[Term.SOURCE_RESISTANCE] - taken
    out[Term.LIMITER] = limiter if key.regime is sp.Regime.CURRENT else zero
    out[Term.COPPER], out[Term.BRUSHES] = zero, zero
    for group, resistance, current in zip(m.groups, now.resistances, now.currents, strict=True):
        out[Term.COPPER] = out[Term.COPPER] + group.count * resistance * current**2
        out[Term.BRUSHES] = out[Term.BRUSHES] + group.count * group.motor.brush_drop * np.abs(
            current
        )
    out[Term.MOTOR_DRAG] = _motor_drag(m, y[1])
    out[Term.ROPE_DAMPING] = (now.tension - now.elastic) * (now.taken_up - m.line.falls * y[3])
    out[Term.WOUND_STRETCH] = rope.wound_stretch_power(
        m.line, now.tension, now.elastic, now.taken_up
    )
    rubs = key.load in (LoadPlace.UP, LoadPlace.DOWN)
    out[Term.GUIDE] = m.body.friction * np.abs(y[3]) if rubs else zero
    out[Term.BRAKE] = zero
    out.update(_chain_powers(motion, key, now, y))
    return out


def _motor_drag(m: Machine, drum_speed: np.ndarray) -> np.ndarray:
    power = np.zeros_like(drum_speed)
    for unit in m.units:
        speed = np.abs(drum_speed) * unit.ratio
        power = power + unit.count * (unit.motor.drag + unit.motor.drag_slope * speed) * speed
    return power


def _chain_powers(motion: Motion, key: ModeKey, now: Flow, y: np.ndarray) -> dict[str, np.ndarray]:
    m, chain = motion.machine, motion.chain(key)
    names = [element.name for element in m.chain.elements]
    if len(m.units) > 1:
        names += [_mesh_head(unit) for unit in m.units]
    out = {name: np.zeros_like(y[1]) for name in names}
    if not key.drum:
        if "brake" in out:
            out.pop("brake")
        return out
    rope_torque = now.tension * m.layers[key.layer].radius
    torques = moving_torques(
        chain,
        key.drum,
        list(now.torques),
        np.asarray(rope_torque),
        motion.first_branch(chain, key.drum),
    )
    rows = losses(chain, torques, y[1])
    if (
        len(m.units) == 1
    ):  # the first element's drag is the motors', booked there; a brake may stand before it
        first = 1 if chain.elements[0].name == "brake" else 0
        rows[first] = rows[first] - chain.elements[first].drag * np.abs(y[1]) * m.groups[0].ratio
    for name, row in zip(names, rows, strict=False):
        out[name] = out[name] + row
    if "brake" in out:
        out[Term.BRAKE] = out.pop("brake")  # one term for both
    return out


def _mesh_head(group: DriveGroup) -> str:
    """Term of what a group loses between its motors and the common gear."""
    part = "mesh and gearbox" if group.fit.output.geared else "mesh and motor friction"
    return (
        f"{part} of group {group.number}"
        if group.runs
        else f"{part} of dead motors, group {group.number}"
    )


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
    kinetic = (
        drum_inertia(motion.train(key)) * state[1] ** 2 / 2
        + load.inertia(m.body) * state[3] ** 2 / 2
    )
    return {
        Term.KINETIC: kinetic,
        Term.POTENTIAL: load.potential_energy(m.body, state[2], m.reach - state[2]),
        Term.ROPE_STRETCH: rope.free_stretch_energy(m.line, max(now.stretch, 0.0), now.unstretched),
    }
