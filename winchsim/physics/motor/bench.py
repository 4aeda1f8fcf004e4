"""A motor from measures on the bench: meter, free run, stalled lever."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from winchsim.assumption import Assumption
from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT, REFERENCE_TEMPERATURE
from winchsim.errors import DomainError
from winchsim.physics.motor.estimates import NO_LOAD_SHARE, assumed_no_load_current
from winchsim.physics.motor.fitted import (
    DISAGREEMENT,
    FREE_RUN,
    SAFE_LEVER,
    SAFE_STALL,
    Extras,
    MotorFit,
    Residual,
    assemble,
    conclude,
    refuse_absurd,
    stalled_resistance,
    volts,
)
from winchsim.physics.motor.gearbox import OutputGearbox
from winchsim.physics.motor.law import Motor, no_load, require_not_negative, require_positive
from winchsim.quantity_text import quantity


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
    brush_drop: float = 0.0,
    drag_speed_share: float = 0.0,
    inertia: float | None = None,
    magnet_coefficient: float = FERRITE_COEFFICIENT,
    copper_coefficient: float = COPPER_COEFFICIENT,
    gearbox: OutputGearbox | None = None,
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
        At which the result's values are stated; left out: that of the unloaded run, or of the stall. [V]
    temperature : float
        Of the motor during the tests. [°C]
    brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox
        As for `from_data_sheet`.

    Returns
    -------
    MotorFit
        Resistance from the stall if there was one (brushes under load), else from the meter; constant from
        the run, the lever, or the geometric mean of both; drag from the no-load current, or assumed.

    Raises
    ------
    DomainError
        A value outside its range, or measures that do not suffice; it says which would.

    References
    ----------
    .. [1] Own derivation, DEVELOPERS.md, section "Motors, supply, heat".
    """
    extras = Extras(brush_drop, drag_speed_share, inertia, magnet_coefficient, copper_coefficient, gearbox)
    bench = _Bench(
        terminal_resistance, no_load_voltage, no_load_speed, no_load_current, lever_voltage, lever_current, lever_force,
        lever_arm,
    )  # fmt: skip
    warm = 1.0 + copper_coefficient * (temperature - REFERENCE_TEMPERATURE)
    weak = 1.0 + magnet_coefficient * (temperature - REFERENCE_TEMPERATURE)
    if not (warm > 0.0 and weak > 0.0):
        raise DomainError("temperature", temperature, "the temperature of a motor on a bench [°C]")
    r = bench.resistance_from(brush_drop)
    nominal = voltage or no_load_voltage or lever_voltage
    if nominal is None:
        raise DomainError("voltage", None, "the voltage at which the motor is to be used")
    idle, assumed = bench.idle_current(r, brush_drop, nominal)
    k = bench.constant(extras, r, idle)
    motor = assemble(extras, r, k, idle, no_load_voltage or nominal)
    given_back = bench.given_back(motor, extras)
    cool = dataclasses.replace(motor, resistance=r / warm, constant=k / weak)
    return conclude(
        extras, cool, nominal, residuals=given_back, assumed=assumed, notes=bench.notes(brush_drop),
        wanted=bench.wanted(nominal), wanted_if_disagreeing=SAFE_STALL.format(volts=volts(0.25 * nominal)),
    )  # fmt: skip


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
        for item in dataclasses.fields(self):
            value = getattr(self, item.name)
            if item.name == "no_load_current" and value is not None:
                require_not_negative(item.name, value)
            elif value is not None:
                require_positive(item.name, value, "SI")

    @property
    def stalled(self) -> bool:
        return self.lever_voltage is not None and self.lever_current is not None

    @property
    def has_run(self) -> bool:
        return self.no_load_voltage is not None and self.no_load_speed is not None

    @property
    def has_lever(self) -> bool:
        return self.lever_current is not None and self.lever_force is not None and self.lever_arm is not None

    def resistance_from(self, brush_drop: float) -> float:
        if self.lever_voltage is not None and self.lever_current is not None:
            return stalled_resistance(self.lever_voltage, self.lever_current, brush_drop)
        if self.terminal_resistance is not None:
            return self.terminal_resistance
        raise DomainError("terminal_resistance", None, "a terminal resistance, or voltage and current of a stalled motor")

    def idle_current(self, r: float, brush_drop: float, nominal: float) -> tuple[float, tuple[Assumption, ...]]:
        if self.no_load_current is not None:
            return self.no_load_current, ()
        full = ((self.no_load_voltage or nominal) - brush_drop) / r
        return NO_LOAD_SHARE[0] * full, (assumed_no_load_current(full),)

    def constant(self, extras: Extras, r: float, idle: float) -> float:
        """From the run, the lever, or the geometric mean of both."""
        found = {}
        if self.no_load_voltage is not None and self.no_load_speed is not None:
            found["run"] = extras.constant_from_run(self.no_load_voltage, idle, self.no_load_speed, r)
        if self.lever_current is not None and self.lever_force is not None and self.lever_arm is not None:
            torque = self.lever_force * self.lever_arm
            found["lever"] = extras.constant_from_stall(torque, self.lever_current, idle, "lever_current")
        if not found:
            raise DomainError(
                "no_load_speed",
                self.no_load_speed,
                "voltage and speed of an unloaded run, or the pull of a lever on the stalled shaft with its current",
            )
        if len(found) == 2:
            refuse_absurd("lever_force", self.lever_force, found["lever"] / found["run"])
        return math.exp(sum(math.log(value) for value in found.values()) / len(found))

    def given_back(self, motor: Motor, extras: Extras) -> list[Residual]:
        """Of what the constant had to compromise on; `motor` as warm as it was on the bench."""
        residuals = []
        if self.no_load_voltage is not None and self.no_load_speed is not None:
            back = no_load(motor, self.no_load_voltage)[0] / extras.speed_up
            residuals.append(Residual("no_load_speed", self.no_load_speed, back, self.no_load_speed))
        if self.lever_current is not None and self.lever_force is not None and self.lever_arm is not None:
            torque = motor.constant * self.lever_current - motor.drag
            back = torque * extras.torque_up / self.lever_arm
            residuals.append(Residual("lever_force", self.lever_force, back, self.lever_force))
        return residuals

    def notes(self, brush_drop: float) -> list[str]:
        if self.terminal_resistance is None or not self.stalled:
            return []
        stalled = self.resistance_from(brush_drop)
        if abs(self.terminal_resistance / stalled - 1.0) <= DISAGREEMENT:
            return []
        return [
            f"The meter reads {quantity(self.terminal_resistance, 'ohm')}, the stalled motor shows "
            f"{quantity(stalled, 'ohm')}; the latter is used, because brushes carry small currents badly."
        ]

    def wanted(self, nominal: float) -> str | None:
        if self.no_load_current is None:
            return FREE_RUN.format(what="the no-load current", volts=volts(self.no_load_voltage or nominal))
        if not self.stalled:
            return SAFE_STALL.format(volts=volts(0.25 * nominal))
        if not self.has_run:
            return FREE_RUN.format(what="the no-load speed", volts=volts(nominal))
        if not self.has_lever:
            return SAFE_LEVER.format(volts=volts(0.25 * nominal))
        return None
