"""A motor from measured working points, by least squares."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.errors import DomainError
from winchsim.frozen import replace
from winchsim.physics.motor.extras import Extras
from winchsim.physics.motor.fitted import (
    DISAGREEMENT,
    FitNote,
    MotorFit,
    Remark,
    Residual,
    conclude,
)

_LEAST_SPREAD = 1e-3
"""How far points must lie apart, as the smallest singular value of the scaled equations. Own
choice: below it, reading errors of a tenth of a per cent would already decide the result."""

_WORST_RESIDUAL = 0.5
"""Largest residual of a point that still is a measurement of this motor, of no-load speed or stall
current. Own choice."""

_SENSIBLE = "speed that falls and current that rises as the torque grows"


def from_points(
    voltage: float,
    torque: Sequence[float],
    speed: Sequence[float],
    current: Sequence[float],
    **extras: Any,
) -> MotorFit:
    """Motor that fits measured working points best; two points come back exactly.

    Parameters
    ----------
    voltage : float
        At which all were measured. [V]
    torque : sequence of float
        At the shaft, >= 0, two points or more. [N·m]
    speed : sequence of float
        At that torque, >= 0. [rad/s]
    current : sequence of float
        At that torque, >= 0. [A]
    **extras
        Attributes of `Extras`.

    Returns
    -------
    MotorFit
        Least squares in resistance and back-e.m.f. constant (U = R i + k w + drop), and in torque
        constant and drag (M = k i - drag). The residuals are those of speed and current at each
        torque, relative to no-load speed and stall current.

    Raises
    ------
    DomainError
        Points that leave a constant undetermined or that no motor can have.
    """
    known = Extras(**extras)
    m, w, i = (np.asarray(values, dtype=float) for values in (torque, speed, current))
    if known.brush_drop >= voltage:
        raise DomainError("voltage", voltage, "more than the brush drop")
    if not np.any(w > 0.0):
        raise DomainError("points.speed", w.tolist(), "at least one point with the shaft turning")
    if known.gearbox is not None:
        known.gearbox.ask(float(w.max()))
    driving = np.full_like(w, voltage - known.brush_drop)
    resistance, constant = _solved(np.column_stack((i, w * known.ratio)), driving)
    held = _share_of_drag(m, w, known.drag_speed_share)
    pull, drag = _solved(np.column_stack((i, -held)), m / known.ratio)
    if drag < 0.0:
        pull, drag = _solved(i[:, None], m / known.ratio)[0], 0.0
    if not (resistance > 0.0 and constant > 0.0 and pull > 0.0):
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    fit = conclude(
        known, voltage, resistance, constant, pull, drag / pull,
        torque_key="points", torque=float(m.max()),
    )  # fmt: skip
    point = fit.operating_point(voltage, m)
    residuals = [
        Residual(f"points.{n + 1}.{key}", float(given[n]), float(back[n]), scale)
        for n in range(len(m))
        for key, given, back, scale in (
            ("speed", w, point.speed, fit.no_load_speed),
            ("current", i, point.current, fit.stall_current),
        )
    ]
    off = [max(abs(row.relative) for row in residuals[start::2]) for start in (0, 1)]
    if max(off) > _WORST_RESIDUAL:
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    wanted = FitNote(Remark.WORKING_POINT, (voltage,))
    return replace(
        fit,
        residuals=tuple(residuals),
        notes=(FitNote(Remark.FITTED, (len(m), *off)), *fit.notes),
        best_measurement=wanted if max(off) > DISAGREEMENT else None,
    )


def _share_of_drag(m: Any, w: Any, share: float) -> Any:
    """Drag at each point over that of the free run. [-]"""
    top = float(w.max())
    if share > 0.0 and np.ptp(m) > 0.0:
        top = max(top, float(np.polyval(np.polyfit(m, w, 1), 0.0)))
    return (1.0 - share) + share * w / top


def _solved(columns: Any, target: Any) -> Any:
    """Least squares of one law, refused where the points do not determine it."""
    norms = np.linalg.norm(columns, axis=0)
    if (
        not np.all(norms > 0.0)
        or np.linalg.matrix_rank(columns / norms, tol=_LEAST_SPREAD) < columns.shape[1]
    ):
        raise DomainError(
            "points",
            "points too much alike",
            "at least two points with clearly different torques and speeds",
        )
    return [
        float(value) for value in np.linalg.lstsq(columns / norms, target, rcond=None)[0] / norms
    ]
