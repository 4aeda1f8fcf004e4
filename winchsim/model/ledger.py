"""The energy books: every power from its own formula, none as the difference of others.

Source energy = what is turned into heat at each place + what is stored + what is lost at once in impacts.
"""

from __future__ import annotations

import numpy as np

from winchsim.model.keys import LoadPlace, ModeKey
from winchsim.model.machine import Machine
from winchsim.model.motion import Flow, Motion
from winchsim.physics import load, rope
from winchsim.physics import supply as sp
from winchsim.physics.chain import drum_inertia, losses, moving_torques

FIXED_ITEMS = (
    "source resistance",
    "supply limiter",
    "copper",
    "brushes",
    "motor drag",
    "rope damping",
    "stretch wound onto the drum",
    "guide and slope",
    "brake and pawl",
)
"""Heads of the books under which energy is turned into heat or carried away, besides the chain's elements."""

STORED_ITEMS = ("kinetic", "potential", "rope stretch", "inductors")
"""Heads under which energy is stored."""

LEDGER_ITEMS = (*FIXED_ITEMS, *STORED_ITEMS, "impacts")
"""All heads of the books but the chain's elements."""


def powers(motion: Motion, key: ModeKey, t: np.ndarray, y: np.ndarray) -> dict[str, np.ndarray]:
    """Power of the source and under every head that turns energy into heat, at many instants of one mode. [W]

    Parameters
    ----------
    motion : Motion
    key : ModeKey
    t : ndarray, shape (k,)
    y : ndarray, shape (n, k)

    Returns
    -------
    dict of str to ndarray, shape (k,)
        ``source`` first, then `FIXED_ITEMS`, then the chain's elements by name.
    """
    m = motion.machine
    now = motion.flow(key)(t, list(y))
    zero = np.zeros_like(t)
    total = np.broadcast_to(now.total, t.shape)
    out = {"source": now.open_voltage * total, "source resistance": m.source.resistance * total**2}
    limited = key.regime is sp.Regime.CURRENT
    limiter = (now.open_voltage - m.source.resistance * total - now.voltage) * total
    out["supply limiter"] = limiter if limited else zero
    out["copper"], out["brushes"] = zero, zero
    for group, resistance, current in zip(m.groups, now.resistances, now.currents, strict=True):
        out["copper"] = out["copper"] + group.live * resistance * current**2
        out["brushes"] = out["brushes"] + group.live * group.motor.brush_drop * np.abs(current)
    out["motor drag"] = _motor_drag(m, y[1]) if key.whole else zero
    out["rope damping"] = (now.tension - now.elastic) * (now.taken_up - m.line.falls * y[3])
    out["stretch wound onto the drum"] = rope.wound_stretch_power(m.line, now.tension, now.elastic, now.taken_up)
    rubs = key.load in (LoadPlace.UP, LoadPlace.DOWN)
    out["guide and slope"] = m.body.friction * np.abs(y[3]) if rubs else zero
    out["brake and pawl"] = zero
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
    if len(m.chain_groups) > 1:
        names += [_mesh_head(m, live, i) for live, i in m.chain_groups]
    out = {name: np.zeros_like(y[1]) for name in names}
    if not key.drum:
        if "brake" in out:
            out.pop("brake")
        return out
    names = names[max(key.cut, 0) :]
    rope_torque = now.tension * m.layers[key.layer].radius
    torques = moving_torques(chain, key.drum, list(now.torques), np.asarray(rope_torque), motion.first_branch(chain, key.drum))
    rows = losses(chain, torques, y[1])
    if (
        len(m.chain_groups) == 1 and key.whole
    ):  # the first element's drag is the motors', booked there; a brake may stand before it
        first = 1 if chain.elements[0].name == "brake" else 0
        rows[first] = rows[first] - chain.elements[first].drag * np.abs(y[1]) * m.groups[0].ratio
    for name, row in zip(names, rows, strict=False):
        out[name] = out[name] + row
    if "brake" in out:
        out["brake and pawl"] = out.pop("brake")  # one head for both
    return out


def _mesh_head(m: Machine, live: bool, place: int) -> str:
    """Head of what a group loses between its motors and the common gear."""
    group = m.groups[place] if live else m.dragged[place]
    return f"mesh of group {group.number}" if live else f"mesh of dead motors, group {group.number}"


def stored_energy(motion: Motion, key: ModeKey, t: float, y: np.ndarray) -> dict[str, float]:
    """Energy stored under each head at one instant. [J]

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
    kinetic = drum_inertia(motion.train(key)) * state[1] ** 2 / 2 + load.inertia(m.body) * state[3] ** 2 / 2
    inductors = 0.0
    if m.inductive:
        for group, current in zip(m.groups, now.currents, strict=True):
            inductors += group.live * (group.motor.inductance or 0.0) * current**2 / 2
    return {
        "kinetic": kinetic,
        "potential": load.potential_energy(m.body, state[2], m.reach - state[2]),
        "rope stretch": rope.free_stretch_energy(m.line, max(now.stretch, 0.0), now.unstretched),
        "inductors": inductors,
    }
