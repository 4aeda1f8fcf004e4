"""The passage from a load that bounces on its rope to one that rides with the drum on a settled
rope."""

import numpy as np

from winchsim.frozen import replace
from winchsim.model.keys import ModeKey
from winchsim.model.motion import CALM, Motion, friction_sign
from winchsim.physics import load
from winchsim.physics.chain import drum_inertia, find_branch


def speeds_up(motion: Motion, key: ModeKey, t: float, y: np.ndarray) -> bool:
    """Whether a load that rode with the drum would need a pull other than the steady one, to be
    speeded up or slowed."""
    if not key.drum:
        return False
    m, riding = motion.machine, replace(key, settled=True)
    now = motion.flow(riding)(t, y.tolist())
    radius = m.layers[riding.layer].radius
    torques, rope_torque = now.torques, float(now.tension) * radius
    at = find_branch(motion.chain(riding), riding.drum, torques, rope_torque)
    if at is None:
        return True
    gain = at.acceleration(torques, rope_torque) * radius / m.line.falls
    return load.inertia(m.body) * abs(gain) > CALM * m.scales.pull


def ride(motion: Motion, key: ModeKey, y: np.ndarray) -> float:
    """Set the state of a load that rides with the drum from here on; the energy of its bounce,
    which the rope takes. [J]

    Its momentum is kept.
    """
    m, line = motion.machine, motion.machine.line
    left, mass = m.free_rope - float(y[0]), load.inertia(m.body)
    before, place = float(y[4]), float(y[2])
    for _round in range(3):  # the pull depends on the travel only through the rope's own weight
        stretch = motion.steady_pull(key, float(y[2])) * left / line.stiffness
        y[2] -= (stretch - y[4]) / line.falls
        y[4] = stretch
    rubbed = friction_sign(key.load) * (float(y[2]) - place)  # less than 0: so much less of its way
    lost = line.stiffness / left * (before - stretch) ** 2 / 2 + m.body.friction * rubbed
    if key.drum:
        turning, drum, rate = drum_inertia(motion.train(key)), float(y[1]), float(y[3])
        slip = rate - motion.riding_speed(key, y.tolist())
        lever = m.layers[key.layer].radius / line.falls
        shared = mass / (turning + mass * lever * lever)
        y[1] = drum + shared * lever * slip
        y[3] = motion.riding_speed(key, y.tolist())
        lost += turning * shared * slip * slip / 2
    else:
        lost += mass * float(y[3]) ** 2 / 2
        y[3] = 0.0
    return lost
