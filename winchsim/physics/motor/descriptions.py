"""A motor from its data sheet, from measures on the bench, from its label, or by least squares from
measured working points."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.assumption import Estimate
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import replace
from winchsim.physics.motor.fitted import (
    DISAGREEMENT,
    Extras,
    FitNote,
    MotorFit,
    Remark,
    conclude,
    stalled_resistance,
)

NO_LOAD_SHARE = (0.06, 0.02, 0.12)
"""No-load current as a share of the stall current and its range. Common practice for small ferrite
motors, from memory."""

_SLOPE_PER_SIZE = (1500.0, 500.0, 4500.0)
"""k²/R of a can motor per diameter^4 x length, and its range [N·m·s/(rad·m⁵)]. The form is geometry
(flux x radius x turns, copper area with diameter²); the numbers are own estimates from memory of
cans of 20 to 45 mm, of which small ones lie low and large ones high."""

_LENGTH_PER_DIAMETER = (1.4, 1.0, 1.8)
"""Length of a can motor's body per diameter, and its range. From memory."""


def from_data_sheet(
    voltage: float,
    no_load_speed: float,
    no_load_current: float,
    stall_torque: float,
    stall_current: float,
    **extras: Any,
) -> MotorFit:
    """Motor with the four values of a data sheet, which come back exactly.

    Parameters
    ----------
    voltage : float
        At which the other values hold. [V]
    no_load_speed : float
        With nothing on the shaft. [rad/s]
    no_load_current : float
        At that speed, >= 0. [A]
    stall_torque : float
        At the held shaft. [N·m]
    stall_current : float
        With the shaft held. [A]
    **extras
        Attributes of `Extras`.

    Raises
    ------
    DomainError
        Data that no motor can have.

    References
    ----------
    .. [1] Own derivation: the unloaded run gives the back-e.m.f. constant and the drag, the stall
       the resistance and the torque constant; what is missing of the torque is a loss in proportion
       to it.

    Examples
    --------
    >>> fit = from_data_sheet(6.0, 560.0, 0.2, 0.0252, 3.0)
    >>> fit.motor.resistance, fit.motor.constant, fit.motor.drag, fit.output.efficiency
    (2.0, 0.01, 0.002, 0.9)
    """
    known = Extras(**extras)
    resistance = stalled_resistance(voltage, stall_current, known.brush_drop)
    by_speed = known.constant_from_run(voltage, no_load_current, no_load_speed, resistance)
    by_torque = known.constant_from_stall(
        stall_torque, stall_current, no_load_current, "stall_current"
    )
    wanted = None if known.measured else FitNote(Remark.LEVER, (0.25 * voltage,))
    return conclude(
        known,
        voltage,
        resistance,
        by_speed,
        by_torque,
        no_load_current,
        torque=stall_torque,
        wanted_if_disagreeing=wanted,
    )


def from_bench(
    terminal_resistance: float | None,
    no_load_voltage: float,
    no_load_speed: float | None,
    no_load_current: float,
    lever_voltage: float | None = None,
    lever_current: float | None = None,
    lever_force: float | None = None,
    lever_arm: float | None = None,
    **extras: Any,
) -> MotorFit:
    """Motor from measures on the bench: meter, free run, stalled lever, as many as suffice.

    Parameters
    ----------
    terminal_resistance : float or None
        Read with a meter between the terminals; None with voltage and current of a stalled motor.
        [ohm]
    no_load_voltage, no_load_speed, no_load_current : float
        Of one unloaded run; None for the speed with a whole lever test. [V], [rad/s], [A]
    lever_voltage, lever_current : float, optional
        With the shaft held by a lever or otherwise, at a low voltage. [V], [A]
    lever_force, lever_arm : float, optional
        Pull at the end of a lever on the shaft meanwhile, and its length. [N], [m]
    **extras
        Attributes of `Extras`.

    Returns
    -------
    MotorFit
        Resistance from the stall if there was one (brushes under load), else from the meter;
        back-e.m.f. constant from the run and torque constant from the lever, each exactly, or one
        from the other by the usual ratio of the two.

    Raises
    ------
    DomainError
        Measures that no motor can have.
    """
    known = Extras(**extras)
    resistance, notes = _measured_resistance(
        terminal_resistance, lever_voltage, lever_current, known.brush_drop
    )
    stalled = lever_voltage is not None and lever_current is not None
    by_speed: Any = None
    by_torque: Any = None
    if no_load_speed is not None:
        by_speed = known.constant_from_run(
            no_load_voltage, no_load_current, no_load_speed, resistance
        )
    if lever_current is not None and lever_force is not None and lever_arm is not None:
        torque = lever_force * lever_arm
        by_torque = known.constant_from_stall(
            torque, lever_current, no_load_current, "lever_current"
        )
    has_lever = by_torque is not None
    rows: dict[str, Estimate] = {}
    if by_speed is None or by_torque is None:
        efficiency, rows = known.usual_efficiency()
        by_torque = by_speed * efficiency if by_torque is None else by_torque
        by_speed = by_torque / efficiency if by_speed is None else by_speed
    missing = Remark.LEVER if stalled else Remark.STALL
    return conclude(
        known,
        no_load_voltage,
        resistance,
        by_speed,
        by_torque,
        no_load_current,
        torque_key="lever_force",
        torque=lever_force,
        assumed=rows,
        notes=notes,
        wanted=None if stalled and has_lever else FitNote(missing, (0.25 * no_load_voltage,)),
        stall_measured=has_lever,
    )


def _measured_resistance(
    read: float | None, voltage: float | None, current: float | None, brush_drop: float
) -> tuple[Any, tuple[FitNote, ...]]:
    """Resistance from the stall if there was one, else as the meter read it, and whether the two
    disagree. [ohm]"""
    if voltage is None or current is None:
        return read, ()
    resistance = stalled_resistance(voltage, current, brush_drop)
    if read and abs(read / resistance - 1.0) > DISAGREEMENT:
        return resistance, (FitNote(Remark.METER_DISAGREES, (read, resistance)),)
    return resistance, ()


def from_label(
    voltage: float,
    no_load_speed: float,
    *,
    stall_current: float | None = None,
    no_load_current: float | None = None,
    body_diameter: float | None = None,
    body_length: float | None = None,
    **extras: Any,
) -> MotorFit:
    """Motor from its label and either its stall current or the size of its body.

    Parameters
    ----------
    voltage : float
        On the label. [V]
    no_load_speed : float
        At that voltage. [rad/s]
    stall_current : float, optional
        With the shaft held. [A]
    no_load_current : float, optional
        At the no-load speed; left out: 6 % of the stall current. [A]
    body_diameter, body_length : float, optional
        Of the motor's own can; a length left out is 1.4 diameters. Used only without a stall
        current. [m]
    **extras
        Attributes of `Extras`.

    Returns
    -------
    MotorFit
        An estimate: the stall torque can be off by a factor of three when it comes from the body's
        size.

    Raises
    ------
    DomainError
        Neither stall current nor body diameter, or values that no motor can have.

    Notes
    -----
    ``k = U (1 - share)/w0`` and ``k²/R`` in proportion to diameter^4 x length give ``Is = U/R``.
    Own assumption, see `_SLOPE_PER_SIZE`.
    """
    known = Extras(**extras)
    net = voltage - known.brush_drop
    refuse_if(net <= 0.0, "brush_drop", known.brush_drop, "less than the voltage")
    assumed: dict[str, Estimate] = {}
    if stall_current is None:
        share = 0.0 if no_load_current is not None else NO_LOAD_SHARE[0]
        constant = net * (1.0 - share) / (no_load_speed * known.ratio)
        assumed |= _stall_of_size(body_diameter, body_length, net / constant**2)
        stall_current = assumed["stall_current"].value
    wanted = FitNote(Remark.STALL, (0.25 * voltage,)) if assumed else None
    if no_load_current is None:
        wanted = wanted or FitNote(Remark.FREE_RUN, (voltage,))
        no_load_current, low, high = (share * stall_current for share in NO_LOAD_SHARE)
        why = "6 % of the stall current, 2 to 12 % in small motors"
        assumed["no_load_current"] = Estimate(no_load_current, low, high, why)
    resistance = stalled_resistance(voltage, stall_current, known.brush_drop)
    constant = known.constant_from_run(voltage, no_load_current, no_load_speed, resistance)
    efficiency, of_loss = known.usual_efficiency()
    return conclude(
        known,
        voltage,
        resistance,
        constant,
        efficiency * constant,
        no_load_current,
        assumed=assumed | of_loss,
        wanted=wanted,
    )


def _stall_of_size(
    diameter: float | None, length: float | None, per_slope: float
) -> dict[str, Estimate]:
    """Stall current of a can of this size, and the length that is taken for it.

    `per_slope` is the current over k²/R, ``U/k²``.
    """
    assumed = {}
    if diameter is None:
        raise DomainError(
            "body_diameter", None, "a stall current, or the diameter of the motor's body"
        )
    if length is None:
        length, low, high = (factor * diameter for factor in _LENGTH_PER_DIAMETER)
        why = "1.4 diameters, as small cans are"
        assumed["body_length"] = Estimate(length, low, high, why)
    value, low, high = (slope * diameter**4 * length * per_slope for slope in _SLOPE_PER_SIZE)
    why = "torque per speed of small can motors of this size, within a factor of three"
    return {**assumed, "stall_current": Estimate(value, low, high, why)}


# --- working points

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
    refuse_if(known.brush_drop >= voltage, "voltage", voltage, "more than the brush drop")
    refuse_if(
        not np.any(w > 0.0), "points.speed", w.tolist(), "at least one point with the shaft turning"
    )
    if known.gearbox is not None:
        known.gearbox.ask(float(w.max()))
    driving = np.full_like(w, voltage - known.brush_drop)
    resistance, constant = _solved(np.column_stack((i, w * known.ratio)), driving)
    held = _share_of_drag(m, w, known.drag_speed_share)
    pull, drag = _solved(np.column_stack((i, -held)), m / known.ratio)
    if drag < 0.0:
        pull, drag = _solved(i[:, None], m / known.ratio)[0], 0.0
    refuse_if(
        not (resistance > 0.0 and constant > 0.0 and pull > 0.0),
        "points",
        "points that no motor can have",
        _SENSIBLE,
    )
    fit = conclude(
        known,
        voltage,
        resistance,
        constant,
        pull,
        drag / pull,
        torque_key="points",
        torque=float(m.max()),
    )
    back = fit.operating_point(voltage, m)
    off = (
        float(np.max(np.abs(back.speed - w))) / fit.no_load_speed,
        float(np.max(np.abs(back.current - i))) / fit.stall_current,
    )
    refuse_if(max(off) > _WORST_RESIDUAL, "points", "points that no motor can have", _SENSIBLE)
    wanted = FitNote(Remark.WORKING_POINT, (voltage,))
    return replace(
        fit,
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
    refuse_if(
        not np.all(norms > 0.0)
        or np.linalg.matrix_rank(columns / norms, tol=_LEAST_SPREAD) < columns.shape[1],
        "points",
        "points too much alike",
        "at least two points with clearly different torques and speeds",
    )
    return [
        float(value) for value in np.linalg.lstsq(columns / norms, target, rcond=None)[0] / norms
    ]
