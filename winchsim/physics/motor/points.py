"""A motor from measured working points, by least squares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT
from winchsim.errors import DomainError
from winchsim.physics.motor.fitted import Extras, MotorFit, Residual, assemble, conclude, volts
from winchsim.physics.motor.gearbox import OutputGearbox
from winchsim.physics.motor.law import no_load, operating_point, stall

_LEAST_SPREAD = 1e-3
"""How far points must lie apart, as the smallest singular value of the scaled equations. Own choice: below
it, reading errors of a tenth of a per cent would already decide the result."""

_WORST_RESIDUAL = 0.5
"""Largest residual of a point that still is a measurement of this motor, of no-load speed or stall current. Own choice."""

_SENSIBLE = "speed that falls and current that rises as the torque grows"


def from_points(
    voltage: float | Sequence[float],
    torque: Sequence[float],
    speed: Sequence[float],
    current: Sequence[float],
    *,
    brush_drop: float = 0.0,
    drag_speed_share: float = 0.0,
    inertia: float | None = None,
    magnet_coefficient: float = FERRITE_COEFFICIENT,
    copper_coefficient: float = COPPER_COEFFICIENT,
    gearbox: OutputGearbox | None = None,
) -> MotorFit:
    """Motor that fits measured working points best.

    Parameters
    ----------
    voltage : float or sequence of float
        At which each point was measured, or one for all. [V]
    torque : sequence of float
        At the shaft, >= 0, two points or more. [N·m]
    speed : sequence of float
        At that torque, >= 0. [rad/s]
    current : sequence of float
        At that torque, >= 0. [A]
    brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox
        As for `from_data_sheet`.

    Returns
    -------
    MotorFit
        Linear least squares in resistance, constant and drag over both laws (U = R i + k w + drop and M = k i
        - drag), each relative to its largest value. The residuals are those of speed and current at each
        torque, relative to no-load speed and stall current.

    Raises
    ------
    DomainError
        A value outside its range, fewer than two points, points that leave a constant undetermined or that no
        motor can have.

    References
    ----------
    .. [1] Own derivation, DEVELOPERS.md, section "Motors, supply, heat".
    """
    extras = Extras(brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox)
    u, m, w, i = _checked_points(voltage, torque, speed, current, brush_drop)
    resistance, constant, drag = _least_squares(u - brush_drop, m / extras.torque_up, w * extras.speed_up, i, drag_speed_share)
    nominal = float(u.max())
    motor = assemble(extras, resistance, constant, drag / constant, nominal)
    point = operating_point(motor, u, m / extras.torque_up)
    w0, i_stall = no_load(motor, nominal)[0] / extras.speed_up, stall(motor, nominal)[1]
    residuals = []
    for n in range(len(m)):
        back = float(point.speed[n]) / extras.speed_up
        residuals.append(Residual(f"points.{n + 1}.speed", float(w[n]), back, w0))
        residuals.append(Residual(f"points.{n + 1}.current", float(i[n]), float(point.current[n]), i_stall))
    if max(abs(residual.relative) for residual in residuals) > _WORST_RESIDUAL:
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    off = {
        what: max(abs(residual.relative) for residual in residuals if residual.path_tail.endswith(what))
        for what in ("speed", "current")
    }
    notes = [
        f"Fitted to {len(m)} points: speed within {max(off['speed'], 1e-3):.1%} of the no-load speed, "
        f"current within {max(off['current'], 1e-3):.1%} of the stall current."
    ]
    wanted = (
        f"another working point, near half the no-load speed at {volts(nominal)}: a light brake on the shaft for a few seconds"
    )
    return conclude(extras, motor, nominal, residuals=residuals, notes=notes, wanted_if_disagreeing=wanted)


def _checked_points(
    voltage: float | Sequence[float],
    torque: Sequence[float],
    speed: Sequence[float],
    current: Sequence[float],
    brush_drop: float,
) -> tuple[Any, Any, Any, Any]:
    m, w, i = (np.asarray(values, dtype=float) for values in (torque, speed, current))
    if not (m.ndim == 1 and m.shape == w.shape == i.shape and len(m) >= 2):
        raise DomainError("points", len(np.atleast_1d(m)), "two points or more, each with torque, speed and current")
    u = np.broadcast_to(np.asarray(voltage, dtype=float), m.shape)
    for name, values in (("torque", m), ("speed", w), ("current", i)):
        if not np.all(np.isfinite(values) & (values >= 0.0)):
            raise DomainError(f"points.{name}", values.tolist(), "finite values, zero or above")
    if not np.all(np.isfinite(u) & (u > brush_drop)):
        raise DomainError("voltage", u.tolist(), "finite values above the brush drop")
    if not np.any(w > 0.0):
        raise DomainError("points.speed", w.tolist(), "at least one point with the shaft turning")
    return u, m, w, i


def _least_squares(u: Any, m: Any, w: Any, i: Any, share: float) -> tuple[float, float, float]:
    """Resistance, constant and no-load drag; `u` less the brush drop, torques and speeds of the bare motor."""
    top = float(w.max())
    if share > 0.0 and np.ptp(m) > 0.0:
        top = max(top, float(np.polyval(np.polyfit(m, w, 1), 0.0)))
    held = (1.0 - share) + share * w / top
    zero = np.zeros_like(m)
    torque_scale = max(float(m.max()), 1e-3 * float((u * i).max()) / top)
    rows = np.vstack(
        (
            np.column_stack((i, w, zero)) / u.max(),
            np.column_stack((zero, i, -held)) / torque_scale,
        )
    )
    target = np.concatenate((u / u.max(), m / torque_scale))
    for columns in ([0, 1, 2], [0, 1]):  # once more without drag where the best drag would be negative
        part = rows[:, columns]
        norms = np.linalg.norm(part, axis=0)
        if not np.all(norms > 0.0) or np.linalg.matrix_rank(part / norms, tol=_LEAST_SPREAD) < len(columns):
            raise DomainError(
                "points",
                "points too much alike",
                "at least two points with clearly different torques and speeds",
            )
        solution = np.zeros(3)
        solution[columns] = np.linalg.lstsq(part / norms, target, rcond=None)[0] / norms
        if solution[2] >= 0.0:
            break
    if not (solution[0] > 0.0 and solution[1] > 0.0):
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    return float(solution[0]), float(solution[1]), float(solution[2])
