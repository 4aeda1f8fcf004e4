"""One step of a ladder of test loads, as predicted."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.studies.ladder.descent import Lowering
from winchsim.verdict.finding import FindingKind


@dataclass(frozen=True)
class Rung:
    """One step of the ladder, as predicted.

    Attributes
    ----------
    number : int
        From 1, the unloaded run.
    mass : float
        0 for the unloaded run. [kg]
    up : bool
        Whether it comes up, nothing having broken by then.
    sound : bool
        Whether it comes up and nothing breaks then or later.
    sentence : str
        Verdict on it.
    cause : FindingKind or None
        What keeps it from being sound; None where nothing does.
    lift_time, current, voltage : float or None
        Lift time [s]; current of the supply [A] and voltage at the motors [V] in the middle half of the lift.
        None where it does not come up.
    winding_start, winding_end : float
        Of the hottest group. [°C]
    weakest : str
        Weakest link; empty for none.
    factor, required_factor : float
        Its factor, and what it should be. [-]
    held : bool or None
        Whether the load stays up with the power off.
    knock_proof : bool or None
        Whether it would also come to rest again after a knock; None where it does not stay up, or nothing hangs.
    coast : float
        How far the load goes on when the power goes off at the top. [m]
    stop_time, stop_current : float or None
        Stop when the lift takes longer, or the supply gives more. [s], [A]
    cut : float
        Power off within this time when the load stops. [s]
    rest_before : float
        Wait for cooling. [s]
    lowering : Lowering
    fall_energy, fall_speed : float
        Of a free fall from the top. [J], [m/s]
    catch_gap, catch_energy : float
        Most between the load and the catch under it, and the energy of a fall onto it. [m], [J]
    """

    number: int
    mass: float
    up: bool
    sound: bool
    sentence: str
    cause: FindingKind | None
    lift_time: float | None
    current: float | None
    voltage: float | None
    winding_start: float
    winding_end: float
    weakest: str
    factor: float
    required_factor: float
    held: bool | None
    knock_proof: bool | None
    coast: float
    stop_time: float | None
    stop_current: float | None
    cut: float
    rest_before: float
    lowering: Lowering
    fall_energy: float
    fall_speed: float
    catch_gap: float
    catch_energy: float

    @property
    def verdict(self) -> str:
        """Go or no-go in a few words."""
        if not self.sound:
            return "no go"
        return "go" if self.factor >= self.required_factor or not self.weakest else "caution"
