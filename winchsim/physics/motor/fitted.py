"""What may be known of a motor beside its working points, the result of fitting one, and the pieces
that all ways of describing one share."""

from collections.abc import Sequence
from enum import StrEnum

from winchsim.assumption import Estimate
from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT, ROTOR_TIME_CONSTANT
from winchsim.elementwise import Floats
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.physics.motor.law import (
    Motor,
    OperatingPoint,
    no_load,
    operating_point,
    stall,
)
from winchsim.physics.motor.output import OWN_EFFICIENCY, Output, OutputGearbox
from winchsim.quantity_text import number, quantity

DISAGREEMENT = 0.10
"""Relative difference between a given value and what the model gives back, above which it is noted.
Own choice."""

MOST_EFFICIENCY = 1.05
"""Torque constant over back-e.m.f. constant up to which rounding explains an excess over 1. [-] Own
choice."""

LEAST_EFFICIENCY = 0.2
"""The same below which data are taken for a wrong unit or column unless they are marked as
measured. [-] Own choice."""

_ROUNDING = 1e-9

STALL_BREAKAWAY = (1.0, 1.0, 1.3)
"""Load-dependent losses of a motor at rest over those in motion, and their range [-]. Makers' stall
values are mostly extrapolated from the running motor (Pololu, 37D data sheet, rev. 1.2, excerpt
read), so they leave out what friction takes more at rest; 1.3 is the assumed ratio of static to
sliding friction. Of a gearbox behind data of the motor alone it is the efficiency in motion that is
known."""


@dataclass(frozen=True)
class Extras:
    """What may be known of a motor beside its working points, the same for all ways of describing
    it.

    Attributes
    ----------
    brush_drop : float
        Voltage lost at both brushes together, >= 0. [V]
    drag_speed_share : float
        Share of the no-load drag that grows with speed, 0 to 1. [-]
    inertia : float, optional
        Of the rotor; left out: from a mechanical time constant of 15 ms. [kg·m²]
    magnet_coefficient, copper_coefficient : float
        As for `Motor`. [1/K]
    gearbox : OutputGearbox, optional
        Bought with the motor.
    efficiency : float, optional
        Torque constant over back-e.m.f. constant of the motor alone, used where the data do not
        show it. [-]
    reverse_efficiency : float, optional
        Of a motor without gearbox, with the load driving. [-]
    breakaway : float, optional
        Load-dependent losses at rest over those in motion, >= 1. [-]
    measured : bool
        Whether the data were measured on this motor.
    strict : bool
        Whether data that no motor can have are refused; else the stall torque gives way.
    """

    brush_drop: float = 0.0
    drag_speed_share: float = 0.0
    inertia: float | None = None
    magnet_coefficient: float = FERRITE_COEFFICIENT
    copper_coefficient: float = COPPER_COEFFICIENT
    gearbox: OutputGearbox | None = None
    efficiency: float | None = None
    reverse_efficiency: float | None = None
    breakaway: float | None = None
    measured: bool = False
    strict: bool = True

    @property
    def at_output(self) -> bool:
        """Whether the data belong to the output of a gearbox."""
        return self.gearbox is not None and self.gearbox.data_at != "motor"

    @property
    def ratio(self) -> float:
        """Rotor speed over the speed of the shaft that the data belong to [-]."""
        return self.gearbox.ratio if self.gearbox and self.at_output else 1.0

    @property
    def least_of_gearbox(self) -> float:
        """Efficiency that a gearbox behind which the data hold may have at least [-]."""
        if self.gearbox is None or not self.at_output:
            return 1.0
        return self.gearbox.efficiency or self.gearbox.estimate.low

    def constant_from_run(
        self, voltage: float, current: float, speed: float, resistance: float
    ) -> float:
        """Back-e.m.f. constant from one unloaded run, ``(U - drop - I0 R)/w``. [V·s/rad]

        Parameters
        ----------
        voltage, current, speed : float
            Of the run, where the data belong. [V], [A], [rad/s]
        resistance : float
            [ohm]
        """
        if self.gearbox is not None:
            self.gearbox.ask(speed)
        back_emf = voltage - self.brush_drop - current * resistance
        if back_emf <= 0.0:
            most = quantity((voltage - self.brush_drop) / resistance, "A")
            raise DomainError(
                "no_load_current",
                current,
                f"less than {most}, which this motor draws stalled at that voltage",
            )
        return back_emf / (speed * self.ratio)

    def constant_from_stall(
        self, torque: float, current: float, no_load_current: float, key: str
    ) -> float:
        """Torque constant from the pull of a stalled motor, up to the data's shaft, ``M/(I - (1 -
        s) I0)``. [N·m/A]

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
        refuse_if(pulling <= 0.0, key, current, "more than the no-load current")
        return torque / self.ratio / pulling

    def usual_efficiency(self) -> tuple[float, dict[str, Estimate]]:
        """Torque constant over back-e.m.f. constant of data that do not show it, and what it rests
        on. [-]"""
        value, rows = self.efficiency, {}
        if value is None:
            why = "torque and speed constants of small iron-cored motors"
            rows["efficiency"] = Estimate(*OWN_EFFICIENCY, why)
            value = OWN_EFFICIENCY[0]
        if self.gearbox is not None and self.at_output:
            if self.gearbox.efficiency is None:
                rows["gearbox.efficiency"] = self.gearbox.estimate
            value *= self.gearbox.efficiency or self.gearbox.estimate.value
        return value, rows

    def output_of(self, efficiency: float) -> tuple[Output, dict[str, Estimate]]:
        """The element behind a rotor whose data show an efficiency, and what it rests on."""
        box = self.gearbox
        if box is None:
            found = Output(1.0, efficiency, efficiency, 1, self.reverse_efficiency)
            return found, found.assumed
        of_box = box.efficiency or box.estimate.value
        whole, own = efficiency, min(1.0, efficiency / of_box)
        if not self.at_output:
            whole, own = efficiency * of_box, efficiency
        found = Output(box.ratio, whole, own, box.pairs, box.reverse_efficiency, True)
        assumed = {} if self.at_output or box.efficiency else {"gearbox.efficiency": box.estimate}
        return found, assumed | found.assumed


class Remark(StrEnum):
    """What the data of a motor show, and from `FREE_RUN` on what to measure next; its values."""

    FITTED = "fitted"
    """Points, and how far speed and current are off, as shares of no-load speed, stall current."""
    METER_DISAGREES = "meter disagrees"
    """Resistance by the meter, and of the stalled motor. [ohm]"""
    CONTRADICTION = "contradiction"
    """Share of the torque that is left out. [-]"""
    LOW_EFFICIENCY = "low efficiency"
    """Efficiency that speed and torque leave, and a usual one over it. [-]"""
    FREE_RUN = "free run"
    """The no-load current at a voltage. [V]"""
    STALL = "stall"
    """The stall current at a voltage. [V]"""
    LEVER = "lever"
    """The stalled pull at a voltage. [V]"""
    WORKING_POINT = "working point"
    """Another working point at a voltage. [V]"""


@dataclass(frozen=True)
class FitNote:
    """A remark with its values."""

    kind: Remark
    values: tuple[float, ...]


@dataclass(frozen=True)
class MotorFit:
    """A motor's constants, what they give back, and what had to be assumed.

    Attributes
    ----------
    motor : Motor
        Of the rotor, at 20 °C.
    output : Output
        The chain element that belongs behind its drag.
    data_ratio, data_efficiency : float
        Rotor speed over the speed of the shaft that the data belong to, and efficiency up to it.
        [-]
    voltage : float
        At which the values below hold. [V]
    no_load_speed, no_load_current, stall_torque, stall_current : float
        As the model gives them back where the data were given. [rad/s], [A], [N·m], [A]
    assumed : dict of Estimate
        What was left out and estimated, by the key that would have given it.
    breakaway : float
        Losses of the output at rest over those in motion. [-]
    notes : tuple of FitNote
        What the data show.
    best_measurement : FitNote or None
        The one measurement that would help most; None where nothing is missing.
    """

    motor: Motor
    output: Output
    data_ratio: float
    data_efficiency: float
    voltage: float
    no_load_speed: float
    no_load_current: float
    stall_torque: float
    stall_current: float
    assumed: dict[str, Estimate]
    breakaway: float
    notes: tuple[FitNote, ...]
    best_measurement: FitNote | None

    @property
    def torque_per_speed(self) -> float:
        """Stall torque over no-load speed of the motor without its gearbox [N·m·s/rad]."""
        own = self.output.own_efficiency / self.data_efficiency
        return own * self.stall_torque / self.no_load_speed / self.data_ratio**2

    def operating_point(self, voltage: Floats, torque: Floats) -> OperatingPoint:
        """Where the motor drives a torque at the shaft that its data belong to.

        Parameters
        ----------
        voltage : float or ndarray
            Between the terminals. [V]
        torque : float or ndarray
            At least 0. [N·m]
        """
        point = operating_point(
            self.motor, voltage, torque / (self.data_ratio * self.data_efficiency)
        )
        return OperatingPoint(voltage, torque, point.speed / self.data_ratio, point.current)


def conclude(
    extras: Extras,
    voltage: float,
    resistance: float,
    speed_constant: float,
    torque_constant: float,
    idle: float,
    *,
    torque_key: str = "stall_torque",
    torque: float | None = None,
    assumed: dict[str, Estimate] | None = None,
    notes: Sequence[FitNote] = (),
    wanted: FitNote | None = None,
    wanted_if_disagreeing: FitNote | None = None,
    stall_measured: bool = False,
) -> MotorFit:
    """The result of a fit: motor and output, what they give back, what to measure next.

    Parameters
    ----------
    extras : Extras
    voltage : float
        At which the motor ran free, and the result's values hold. [V]
    resistance, speed_constant, torque_constant : float
        As the description leads to them, the last up to the shaft that the data belong to, per
        rotor speed. [ohm], [V·s/rad], [N·m/A]
    idle : float
        No-load current. [A]
    torque_key : str
        Key of the torque that gives way where the two constants contradict each other.
    torque : float, optional
        As it was given. [N·m] or [N]
    assumed, notes
        Of what the description itself assumed and has to say.
    wanted, wanted_if_disagreeing : FitNote, optional
        The measurement that would help most: in any case, and where of the torque a share over
        `DISAGREEMENT` is left out.
    stall_measured : bool
        Whether the torque is one that was measured at rest.
    """
    ratio = torque_constant / speed_constant
    _refuse_contradiction(extras, ratio, torque_key, torque)
    efficiency = min(ratio, 1.0)
    output, of_output = extras.output_of(efficiency)
    motor = _rotor(extras, voltage, resistance, speed_constant, idle)
    (speed, free_current), (held, current) = no_load(motor, voltage), stall(motor, voltage)
    own = dict(assumed or {})
    if extras.inertia is None:
        own["rotor_inertia"] = _assumed_inertia(held / speed)
        motor = replace(motor, inertia=own["rotor_inertia"].value)
    alone = extras.at_output or extras.gearbox is None  # else no stall of the gearbox is known
    if extras.breakaway is None and output.efficiency < 1.0 and not (stall_measured and alone):
        why = "makers' stall torques are mostly extrapolated from the running motor"
        own["breakaway"] = Estimate(*STALL_BREAKAWAY, why)
    disagrees = torque is not None and 1.0 - 1.0 / ratio > DISAGREEMENT
    return MotorFit(
        motor=motor,
        output=output,
        data_ratio=extras.ratio,
        data_efficiency=efficiency,
        voltage=voltage,
        no_load_speed=speed / extras.ratio,
        no_load_current=free_current,
        stall_torque=held * (extras.ratio * efficiency),
        stall_current=current,
        assumed=own | of_output,
        breakaway=extras.breakaway or STALL_BREAKAWAY[0],
        notes=(*notes, *_efficiency_notes(extras, ratio)),
        best_measurement=wanted or (wanted_if_disagreeing if disagrees else None),
    )


def _efficiency_notes(extras: Extras, ratio: float) -> tuple[FitNote, ...]:
    """That torque and back-e.m.f. constants contradict each other, or leave little efficiency."""
    if ratio > 1.0 + _ROUNDING:
        return (FitNote(Remark.CONTRADICTION, (ratio - 1,)),)
    if ratio < (1.0 - DISAGREEMENT) * OWN_EFFICIENCY[1] * extras.least_of_gearbox:
        return (FitNote(Remark.LOW_EFFICIENCY, (ratio, extras.usual_efficiency()[0] / ratio)),)
    return ()


def _rotor(
    extras: Extras, voltage: float, resistance: float, constant: float, idle: float
) -> Motor:
    """The motor, without inertia where it is not known; the drag torque at the no-load speed is ``k
    I0``, of which a share grows in proportion to the speed."""
    drag, back_emf = constant * idle, voltage - extras.brush_drop - resistance * idle
    refuse_if(back_emf <= 0.0, "no_load_current", idle, "less than the stalled motor draws")
    return Motor(
        resistance,
        constant,
        (1.0 - extras.drag_speed_share) * drag,
        extras.drag_speed_share * drag / (back_emf / constant),
        extras.brush_drop,
        extras.inertia or 0.0,
        extras.magnet_coefficient,
        extras.copper_coefficient,
    )


def _refuse_contradiction(extras: Extras, ratio: float, key: str, torque: float | None) -> None:
    """Refuse data whose torque constant is out of all proportion to their back-e.m.f. constant."""
    if not extras.strict:
        return
    if ratio > MOST_EFFICIENCY:
        raise DomainError(
            key,
            torque,
            f"a value that agrees with the speed: this one is {number(ratio, 3)} times what a "
            "motor without losses gives (a wrong unit or column?)",
        )
    if ratio < LEAST_EFFICIENCY and not extras.measured:
        raise DomainError(
            key,
            torque,
            f"a value that agrees with the speed: with this one {number(1 - ratio, 2)} of the "
            "torque is lost (a wrong unit or column, or gearbox.data_at?); "
            '"measured = true" if it was measured so',
        )


def _assumed_inertia(torque_per_speed: float) -> Estimate:
    """Inertia of a rotor that nobody measured [kg·m²], from the motor's mechanical time constant.

    ``J = tau Ms/w0``: on a straight torque–speed line the unloaded rotor covers 63 % of a change of
    speed in that time.
    """
    usual, least, most = (1e3 * seconds for seconds in ROTOR_TIME_CONSTANT)
    why = f"a mechanical time constant of {usual:g} ms, {least:g} to {most:g} ms in small motors"
    value, low, high = (seconds * torque_per_speed for seconds in ROTOR_TIME_CONSTANT)
    return Estimate(value, low, high, why)


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
        raise DomainError(
            "brush_drop",
            brush_drop,
            f"less than the {quantity(voltage, 'V', 2)} at which the motor was stalled",
        )
    return (voltage - brush_drop) / current
