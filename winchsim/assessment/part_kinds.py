"""Parts under the demands of a run and of a jam, as values in SI."""

from __future__ import annotations

from winchsim.assessment.enums import NoLimit, Status
from winchsim.frozen import dataclass
from winchsim.strength.link import LinkState


@dataclass(frozen=True)
class PartRow:
    """One part that the pull passes through.

    Attributes
    ----------
    label, kind, path : str
        ``pinion tooth of stage 1 (5th of 5)``, slug of the kind, and path into the scenario.
    unit : str
        SI unit of capacity and demand, empty for a ratio.
    capacity, capacity_low, capacity_high : float
    basis : str
        What the capacity rests on.
    demand : float
        Largest of the run.
    factor, low, high : float
        Capacity over demand, with its range. [-]
    required : float
    status : Status
        `Status.FAILS` where it broke.
    state : LinkState
        `LinkState.BREAKS` only where even the high factor is under 1; a run stops where `factor`
        is.
    bound : bool
        Whether the demand is only the least that statics allows: that of a held train, whose
        torques friction leaves open.
    time, height : float or None
        Of the demand. [s], [m]
    """

    label: str
    kind: str
    path: str
    unit: str
    capacity: float
    capacity_low: float
    capacity_high: float
    basis: str
    demand: float
    factor: float
    low: float
    high: float
    required: float
    status: Status
    state: LinkState = LinkState.HOLDS
    bound: bool = False
    time: float | None = None
    height: float | None = None


@dataclass(frozen=True)
class ToothLife:
    """Life of one gear's teeth.

    Attributes
    ----------
    label : str
        Which pinion or gear.
    cycles_per_lift : float
        How often this run loaded each of its teeth. [-]
    lifts, low, high : float or None
        Runs like this until a tooth fails by fatigue, with the range of its strength and of the
        line's slope; None where no line of stress over cycles is known for its material. [-]
    """

    label: str
    cycles_per_lift: float
    lifts: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class JamPart:
    """A part in a jam.

    Attributes
    ----------
    label, kind, path, unit, capacity
        As in `PartRow`.
    static, dynamic : float
        Capacity over demand at standstill, and with the rotors' momentum. [-]
    low, high : float
        Range of `dynamic` from that of the capacity. [-]
    """

    label: str
    kind: str
    path: str
    unit: str
    capacity: float
    static: float
    dynamic: float
    low: float
    high: float


@dataclass(frozen=True)
class Jam:
    """What breaks if the load jams under full power, with the pull that the motors can reach.

    Attributes
    ----------
    parts : tuple of JamPart
        Least dynamic factor first.
    breaks : bool
        Whether a part breaks before the motors have stalled.
    breaks_static : bool
        Whether it breaks under the stalled motors alone, without their rotors' momentum.
    current, unlimited_current : float
        Of the supply at standstill: as built, and without any current limit. [A]
    needed_current : float or None
        At which the motors just start the load from rest. [A]
    limit : float or None
        Largest current limit under which no part breaks, rotors included. [A]
    no_limit : NoLimit or None
        Why `limit` is None.
    tension, static_tension : float
        Rope force at the load, largest with the rotors, and at standstill, if every part holds. [N]
    speed : float
        Of the load as it jams. [m/s]
    """

    parts: tuple[JamPart, ...]
    breaks: bool
    breaks_static: bool
    current: float
    unlimited_current: float
    needed_current: float | None
    limit: float | None
    no_limit: NoLimit | None
    tension: float
    static_tension: float
    speed: float
