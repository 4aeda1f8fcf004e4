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
    Found,
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
    voltage: float | Sequence[float],
    torque: Sequence[float],
    speed: Sequence[float],
    current: Sequence[float],
    **extras: Any,
) -> MotorFit:
    """Motor that fits measured working points best; two points come back exactly.

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
        A value outside its range, fewer than two points, points that leave a constant undetermined
        or that no motor can have.
    """
    known = Extras(**extras)
    u, m, w, i = _checked_points(voltage, torque, speed, current, known.brush_drop)
    if known.gearbox is not None:
        known.gearbox.ask(float(w.max()))
    resistance, constant = _solved(np.column_stack((i, w * known.ratio)), u - known.brush_drop)
    held = _share_of_drag(m, w, known.drag_speed_share)
    pull, drag = _solved(np.column_stack((i, -held)), m / known.ratio)
    if drag < 0.0:
        pull, drag = _solved(i[:, None], m / known.ratio)[0], 0.0
    if not (resistance > 0.0 and constant > 0.0 and pull > 0.0):
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    nominal = float(u.max())
    found = Found(resistance, constant, pull, drag / pull, nominal, "points", float(m.max()))
    fit = conclude(known, found, nominal)
    point = fit.operating_point(u, m)
    residuals = []
    for n in range(len(m)):
        for key, given, back, scale in (
            ("speed", w, point.speed, fit.no_load_speed),
            ("current", i, point.current, fit.stall_current),
        ):
            residuals.append(
                Residual(f"points.{n + 1}.{key}", float(given[n]), float(back[n]), scale)
            )
    off = {
        key: max(
            abs(residual.relative) for residual in residuals if residual.path_tail.endswith(key)
        )
        for key in ("speed", "current")
    }
    if max(off.values()) > _WORST_RESIDUAL:
        raise DomainError("points", "points that no motor can have", _SENSIBLE)
    note = FitNote(Remark.FITTED, (len(m), off["speed"], off["current"]))
    wanted = FitNote(Remark.WORKING_POINT, (nominal,))
    return replace(
        fit,
        residuals=tuple(residuals),
        notes=(note, *fit.notes),
        best_measurement=wanted if max(off.values()) > DISAGREEMENT else None,
    )


def _checked_points(
    voltage: float | Sequence[float],
    torque: Sequence[float],
    speed: Sequence[float],
    current: Sequence[float],
    brush_drop: float,
) -> tuple[Any, Any, Any, Any]:
    m, w, i = (np.asarray(values, dtype=float) for values in (torque, speed, current))
    if not (m.ndim == 1 and m.shape == w.shape == i.shape and len(m) >= 2):
        raise DomainError(
            "points",
            len(np.atleast_1d(m)),
            "two points or more, each with torque, speed and current",
        )
    u = np.broadcast_to(np.asarray(voltage, dtype=float), m.shape)
    for name, values in (("torque", m), ("speed", w), ("current", i)):
        if not np.all(np.isfinite(values) & (values >= 0.0)):
            raise DomainError(f"points.{name}", values.tolist(), "finite values, zero or above")
    if not np.all(np.isfinite(u) & (u > brush_drop)):
        raise DomainError("voltage", u.tolist(), "finite values above the brush drop")
    if not np.any(w > 0.0):
        raise DomainError("points.speed", w.tolist(), "at least one point with the shaft turning")
    return u, m, w, i


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
