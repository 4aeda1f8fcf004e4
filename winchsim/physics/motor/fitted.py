"""The result of fitting a motor, and the pieces that all ways of describing one share."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from winchsim.assumption import Assumption
from winchsim.errors import DomainError
from winchsim.physics.motor.estimates import assumed_inertia
from winchsim.physics.motor.gearbox import OutputGearbox
from winchsim.physics.motor.law import Motor, no_load, require_not_negative, require_positive, stall
from winchsim.quantity_text import number, quantity

DISAGREEMENT = 0.10
"""Relative difference between a given value and what the model gives back, above which it is said. Own
choice."""

_ABSURD = 4.0
"""Factor between the constants that torque and speed imply, above which the data cannot be of one motor. Own
choice: half to twice is seen on labels; four is a wrong unit or a wrong column."""


@dataclass(frozen=True)
class Residual:
    """A value as it was given and as the fitted motor gives it back.

    Attributes
    ----------
    path_tail : str
        Key of the given value.
    given, given_back : float
        In SI.
    scale : float
        What their difference is measured against, in SI.
    """

    path_tail: str
    given: float
    given_back: float
    scale: float

    @property
    def relative(self) -> float:
        """Difference over scale [-]."""
        return (self.given_back - self.given) / self.scale


@dataclass(frozen=True)
class MotorFit:
    """A motor's constants, what they give back, and what had to be assumed.

    Attributes
    ----------
    motor : Motor
        Of the bare motor, at 20 °C.
    voltage : float
        At which the values below hold. [V]
    no_load_speed, no_load_current, stall_torque, stall_current : float
        As the model gives them back where the data were given: at the gearbox output if there is one.
        [rad/s], [A], [N·m], [A]
    residuals : tuple of Residual
        One for each given value that could not be met exactly.
    assumed : tuple of Assumption
        What was left out and estimated.
    notes : tuple of str
        Sentences for the user.
    best_measurement : str or None
        The one measurement that would help most and how to take it safely; None where the data agree.
    gearbox : OutputGearbox or None
        The chain element that belongs behind this motor.
    """

    motor: Motor
    voltage: float
    no_load_speed: float
    no_load_current: float
    stall_torque: float
    stall_current: float
    residuals: tuple[Residual, ...]
    assumed: tuple[Assumption, ...]
    notes: tuple[str, ...]
    best_measurement: str | None
    gearbox: OutputGearbox | None


@dataclass(frozen=True)
class Extras:
    """What may be known of a motor beside its working points, checked once for all ways of describing it.

    Attributes
    ----------
    brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox
        As for `from_data_sheet`. [V], [-], [H], [kg·m²], [1/K], [1/K]
    """

    brush_drop: float
    drag_speed_share: float
    inertia: float | None
    magnet_coefficient: float
    copper_coefficient: float
    gearbox: OutputGearbox | None

    def __post_init__(self) -> None:
        require_not_negative("brush_drop", self.brush_drop)
        if not (0.0 <= self.drag_speed_share <= 1.0):
            raise DomainError("drag_speed_share", self.drag_speed_share, "a share from 0 to 1")
        if self.inertia is not None:
            require_positive("rotor_inertia", self.inertia, "kg·m²")

    @property
    def speed_up(self) -> float:
        """Motor speed per speed of the given data [-]."""
        return self.gearbox.ratio if self.gearbox else 1.0

    @property
    def torque_up(self) -> float:
        """Torque of the given data per motor torque, both while driving [-]."""
        return self.gearbox.ratio * self.gearbox.efficiency if self.gearbox else 1.0

    def constant_from_run(self, voltage: float, current: float, speed: float, resistance: float) -> float:
        """k of the motor from one unloaded run, by its back e.m.f., ``(U - drop - I0 R)/w``. [V·s/rad]

        Parameters
        ----------
        voltage, current, speed : float
            Of the run, where the data belong. [V], [A], [rad/s]
        resistance : float
            [ohm]
        """
        back_emf = voltage - self.brush_drop - current * resistance
        if back_emf <= 0.0:
            raise DomainError(
                "no_load_current",
                current,
                f"less than {quantity((voltage - self.brush_drop) / resistance, 'A')}, "
                "which this motor draws when stalled at that voltage",
            )
        return back_emf / (speed * self.speed_up)

    def constant_from_stall(self, torque: float, current: float, no_load_current: float, key: str) -> float:
        """k of the motor from its pull when stalled, by its torque per ampere beyond its drag. [N·m/A]

        Parameters
        ----------
        torque, current : float
            With the shaft held, where the data belong. [N·m], [A]
        no_load_current : float
            [A]
        key : str
            Names the current, should it be too small.
        """
        pulling = current - (1.0 - self.drag_speed_share) * no_load_current
        if pulling <= 0.0:
            raise DomainError(key, current, "more than the no-load current")
        return torque / self.torque_up / pulling


SAFE_STALL = (
    "the stall current: clamp the motor, let a lever on its shaft rest against a stop behind a guard, "
    "apply {volts} for two seconds at most, and read voltage and current together"
)
SAFE_LEVER = (
    "the stalled pull: clamp the motor, let a lever on its shaft press on a kitchen scale behind a guard, "
    "apply {volts} for two seconds at most, and read scale, voltage and current together"
)
FREE_RUN = "{what}: let the motor run free at {volts}, with nothing on the shaft that can fly off"


def conclude(
    extras: Extras,
    motor: Motor,
    voltage: float,
    *,
    given: dict[str, float] | None = None,
    residuals: Sequence[Residual] = (),
    assumed: tuple[Assumption, ...] = (),
    notes: Sequence[str] = (),
    wanted: str | None = None,
    wanted_if_disagreeing: str | None = None,
) -> MotorFit:
    """The result of a fit: what the motor gives back, what is said about it, what to measure next.

    Parameters
    ----------
    extras : Extras
    motor : Motor
        Fitted, at 20 °C; its inertia is filled in here where nobody gave it.
    voltage : float
        At which the result's values hold. [V]
    given : dict of str to float, optional
        No-load speed and stall torque as they were given. [rad/s], [N·m]
    residuals : sequence of Residual
        Of other given values.
    assumed : tuple of Assumption
        What the fit had to assume.
    notes : sequence of str
        Sentences for the user.
    wanted, wanted_if_disagreeing : str, optional
        The measurement that would help most: in any case, and where a residual is over `DISAGREEMENT`.

    Returns
    -------
    MotorFit
    """
    speed, idle = no_load(motor, voltage)
    torque, current = stall(motor, voltage)
    back = {"no_load_speed": speed / extras.speed_up, "stall_torque": torque * extras.torque_up}
    rows = list(residuals)
    rows += [Residual(key, value, back[key], value) for key, value in (given or {}).items()]
    said = list(notes)
    for row in rows:
        if row.path_tail in _NAMES and abs(row.relative) > DISAGREEMENT:
            name, unit = _NAMES[row.path_tail]
            said.append(f"{name} {quantity(row.given, unit)} given, {quantity(row.given_back, unit)} given back.")
    if extras.inertia is None:
        guess = assumed_inertia(motor, voltage)
        motor, assumed = dataclasses.replace(motor, inertia=guess.value), (*assumed, guess)
    disagrees = any(abs(row.relative) > DISAGREEMENT for row in rows)
    return MotorFit(
        motor=motor,
        voltage=voltage,
        no_load_speed=back["no_load_speed"],
        no_load_current=idle,
        stall_torque=back["stall_torque"],
        stall_current=current,
        residuals=tuple(rows),
        assumed=assumed,
        notes=tuple(said),
        best_measurement=wanted or (wanted_if_disagreeing if disagrees else None),
        gearbox=extras.gearbox,
    )


_NAMES = {
    "no_load_speed": ("No-load speed", "rpm"),
    "stall_torque": ("Stall torque", "mN·m"),
    "lever_force": ("Pull at the lever", "N"),
}


def assemble(extras: Extras, resistance: float, constant: float, idle: float, voltage: float) -> Motor:
    """Motor whose no-load current at a voltage is a given one, its drag split as asked.

    Parameters
    ----------
    extras : Extras
        Gives the share of the drag that grows with speed.
    resistance, constant : float
        [ohm], [N·m/A]
    idle : float
        No-load current. [A]
    voltage : float
        At which that holds. [V]

    Raises
    ------
    DomainError
        No-load current that leaves no speed at that voltage.

    Notes
    -----
    The drag torque at the no-load speed is ``k I0``; its share grows in proportion to the speed. Own derivation,
    DEVELOPERS.md, section "Motors, supply, heat".
    """
    speed = (voltage - extras.brush_drop - resistance * idle) / constant
    if speed <= 0.0:
        raise DomainError("no_load_current", idle, "less than the stalled motor draws")
    total = constant * idle
    return Motor(
        resistance=resistance,
        constant=constant,
        drag=(1.0 - extras.drag_speed_share) * total,
        drag_slope=extras.drag_speed_share * total / speed,
        brush_drop=extras.brush_drop,
        inertia=extras.inertia or 0.0,
        magnet_coefficient=extras.magnet_coefficient,
        copper_coefficient=extras.copper_coefficient,
    )


def stalled_resistance(voltage: float, current: float, brush_drop: float) -> float:
    """Resistance that a stalled motor shows between its terminals, ``(U - drop)/I``. [ohm]

    Parameters
    ----------
    voltage, current : float
        With the shaft held. [V], [A]
    brush_drop : float
        At both brushes together. [V]

    Raises
    ------
    DomainError
        Brush drop of the whole voltage or more.
    """
    if brush_drop >= voltage:
        raise DomainError("brush_drop", brush_drop, f"less than the {volts(voltage)} at which the motor was stalled")
    return (voltage - brush_drop) / current


def refuse_absurd(name: str, value: float | None, ratio: float) -> None:
    """Refuse a torque whose constant is so far from that of the speed that no motor has both.

    Parameters
    ----------
    name : str
        Key of the torque or force.
    value : float or None
        As it was given, in SI.
    ratio : float
        Constant that it implies over the one that the speed implies. [-]

    Raises
    ------
    DomainError
        A ratio off by more than a factor of four.
    """
    if not (1.0 / _ABSURD <= ratio <= _ABSURD):
        factor, which = (ratio, "large") if ratio > 1.0 else (1.0 / ratio, "small")
        raise DomainError(
            name,
            value,
            "a value that agrees with the other data; "
            f"it is {number(factor, 2)} times too {which} for the speed at that voltage (a wrong unit?)",
        )


def volts(voltage: float) -> str:
    """A voltage as the notes print it."""
    return quantity(voltage, "V", 2)
