"""A motor from measures on the bench: meter, free run, stalled lever."""

from dataclasses import fields
from typing import Any

from winchsim.assumption import Assumption
from winchsim.constants import REFERENCE_TEMPERATURE
from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.physics.motor.estimates import NO_LOAD_SHARE, assumed_no_load_current
from winchsim.physics.motor.extras import Extras
from winchsim.physics.motor.fitted import (
    DISAGREEMENT,
    FitNote,
    Found,
    MotorFit,
    Remark,
    conclude,
    stalled_resistance,
)
from winchsim.physics.motor.law import require_not_negative, require_positive


def from_bench(
    terminal_resistance: float | None = None,
    no_load_voltage: float | None = None,
    no_load_speed: float | None = None,
    no_load_current: float | None = None,
    lever_voltage: float | None = None,
    lever_current: float | None = None,
    lever_force: float | None = None,
    lever_arm: float | None = None,
    *,
    voltage: float | None = None,
    temperature: float = REFERENCE_TEMPERATURE,
    **extras: Any,
) -> MotorFit:
    """Motor from measures on the bench: any of them that suffice.

    Parameters
    ----------
    terminal_resistance : float, optional
        Read with a meter between the terminals. [ohm]
    no_load_voltage, no_load_speed, no_load_current : float, optional
        Of one unloaded run. [V], [rad/s], [A]
    lever_voltage, lever_current : float, optional
        With the shaft held by a lever or otherwise, at a low voltage. [V], [A]
    lever_force, lever_arm : float, optional
        Pull at the end of a lever on the shaft meanwhile, and its length. [N], [m]
    voltage : float, optional
        At which the result's values are stated; left out: that of the unloaded run, or of the
        stall. [V]
    temperature : float
        Of the motor during the tests. [°C]
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
        A value outside its range, or measures that do not suffice; it says which would.
    """
    known = Extras(**extras)
    bench = _Bench(
        terminal_resistance,
        no_load_voltage,
        no_load_speed,
        no_load_current,
        lever_voltage,
        lever_current,
        lever_force,
        lever_arm,
    )
    warm = 1.0 + known.copper_coefficient * (temperature - REFERENCE_TEMPERATURE)
    weak = 1.0 + known.magnet_coefficient * (temperature - REFERENCE_TEMPERATURE)
    if not (warm > 0.0 and weak > 0.0):
        raise DomainError("temperature", temperature, "the temperature of a motor on a bench [°C]")
    r = bench.resistance_from(known.brush_drop)
    nominal = voltage or no_load_voltage or lever_voltage
    if nominal is None:
        raise DomainError("voltage", None, "the voltage at which the motor is to be used")
    idle, assumed = bench.idle_current(r, known.brush_drop, nominal)
    by_speed, by_torque, of_loss = bench.constants(known, r, idle)
    found = Found(
        r, by_speed, by_torque, idle, no_load_voltage or nominal, "lever_force", lever_force
    )
    return conclude(
        known,
        found,
        nominal,
        warmth=(warm, weak),
        assumed=(*assumed, *of_loss),
        notes=bench.notes(known.brush_drop),
        wanted=bench.wanted(nominal),
        stall_measured=bench.has_lever,
    )


@dataclass(frozen=True)
class _Bench:
    """Bench measures as they were taken, with what follows from each."""

    terminal_resistance: float | None
    no_load_voltage: float | None
    no_load_speed: float | None
    no_load_current: float | None
    lever_voltage: float | None
    lever_current: float | None
    lever_force: float | None
    lever_arm: float | None

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if item.name == "no_load_current" and value is not None:
                require_not_negative(item.name, value)
            elif value is not None:
                require_positive(item.name, value, "SI")

    @property
    def stalled(self) -> bool:
        return self.lever_voltage is not None and self.lever_current is not None

    @property
    def has_lever(self) -> bool:
        return (
            self.lever_current is not None
            and self.lever_force is not None
            and self.lever_arm is not None
        )

    def resistance_from(self, brush_drop: float) -> float:
        if self.lever_voltage is not None and self.lever_current is not None:
            return stalled_resistance(self.lever_voltage, self.lever_current, brush_drop)
        if self.terminal_resistance is not None:
            return self.terminal_resistance
        raise DomainError(
            "terminal_resistance",
            None,
            "a terminal resistance, or voltage and current of a stalled motor",
        )

    def idle_current(
        self, r: float, brush_drop: float, nominal: float
    ) -> tuple[float, tuple[Assumption, ...]]:
        if self.no_load_current is not None:
            return self.no_load_current, ()
        full = ((self.no_load_voltage or nominal) - brush_drop) / r
        return NO_LOAD_SHARE[0] * full, (assumed_no_load_current(full),)

    def constants(
        self, known: Extras, r: float, idle: float
    ) -> tuple[float, float, tuple[Assumption, ...]]:
        """Back-e.m.f. and torque constant, and what they rest on; one of them may follow from the
        other."""
        by_speed = by_torque = None
        if self.no_load_voltage is not None and self.no_load_speed is not None:
            by_speed = known.constant_from_run(self.no_load_voltage, idle, self.no_load_speed, r)
        if (
            self.lever_current is not None
            and self.lever_force is not None
            and self.lever_arm is not None
        ):
            torque = self.lever_force * self.lever_arm
            by_torque = known.constant_from_stall(torque, self.lever_current, idle, "lever_current")
        if by_speed is not None and by_torque is not None:
            return by_speed, by_torque, ()
        efficiency, rows = known.usual_efficiency()
        if by_speed is not None:
            return by_speed, by_speed * efficiency, rows
        if by_torque is not None:
            return by_torque / efficiency, by_torque, rows
        raise DomainError(
            "no_load_speed",
            self.no_load_speed,
            (
                "voltage and speed of an unloaded run, or the pull of a lever on "
                "the stalled shaft with its current"
            ),
        )

    def notes(self, brush_drop: float) -> list[FitNote]:
        if self.terminal_resistance is None or not self.stalled:
            return []
        stalled = self.resistance_from(brush_drop)
        if abs(self.terminal_resistance / stalled - 1.0) <= DISAGREEMENT:
            return []
        return [FitNote(Remark.METER_DISAGREES, (self.terminal_resistance, stalled))]

    def wanted(self, nominal: float) -> FitNote | None:
        """The missing measurement that would help most."""
        if self.no_load_current is None:
            return FitNote(Remark.FREE_RUN, (self.no_load_voltage or nominal,))
        if not self.stalled:
            return FitNote(Remark.STALL, (0.25 * nominal,))
        if not self.has_lever:
            return FitNote(Remark.LEVER, (0.25 * nominal,))
        return None
