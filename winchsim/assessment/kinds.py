"""The result of an assessment: numbers and enums, all values in SI (°C for temperatures)."""

from collections.abc import Mapping
from dataclasses import field
from importlib import import_module
from typing import Any

from winchsim.assessment.enums import (
    ActionKind,
    Caution,
    CheckKey,
    End,
    FindingKind,
    GearFlaw,
    Holding,
    NoLimit,
    ReadingKey,
    Side,
    Status,
)
from winchsim.frozen import dataclass
from winchsim.strength.link import LinkState

__all__ = [
    "Action",
    "ActionKind",
    "Assessment",
    "AssumedInput",
    "Cause",
    "Caution",
    "Check",
    "CheckKey",
    "Effect",
    "End",
    "Finding",
    "FindingKind",
    "GearFlaw",
    "Holding",
    "Jam",
    "JamPart",
    "NoLimit",
    "PartRow",
    "Reading",
    "ReadingKey",
    "Setting",
    "Side",
    "Status",
    "Target",
    "ToothLife",
]


@dataclass(frozen=True)
class Check:
    """One limit and how the build stands to it.

    Attributes
    ----------
    key : CheckKey
    quantity : str
        What is measured: ``ratio``, ``time``, ``length``, ``temperature``.
    unit : str
        SI unit of all values, empty for a ratio.
    value : float or None
        None where it was not reached or an input is missing.
    low, high : float
        Range that comes from what was assumed; None where it was not computed. An infinite `high`
        of a time means "or never".
    side : Side
    hard : float or None
        Limit that must not be missed; None where there is none.
    required : float or None
        Value from which on the check is ok.
    status : Status
    missing : tuple of str
        Paths of the inputs without which it cannot be checked.
    about : str
        Path or label of the part, group or layer that decides.
    cause : str
        The group of assumed values that moves it most to its bad side; empty where none matters.
    limit_assumed : bool
        Whether the limit was not given by the user.
    """

    key: CheckKey
    quantity: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    side: Side
    hard: float | None
    required: float | None
    status: Status
    missing: tuple[str, ...] = ()
    about: str = ""
    cause: str = ""
    limit_assumed: bool = False


@dataclass(frozen=True)
class Reading:
    """One number without a limit; None where it was not reached. Range as in `Check`."""

    key: ReadingKey
    quantity: str
    unit: str
    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Target:
    """Whether the target was reached.

    Attributes
    ----------
    reached : bool
        Whether every phase ended as asked.
    end : End
    mass, height : float
        Load, and the height asked for above the start. [kg], [m]
    time : float or None
        Lift time, or when it ended otherwise. [s]
    final_height : float
        Where the load was then. [m]
    torque_share : float or None
        Of a stall: torque that the motors reach over the torque needed. [-]
    from_rest : bool
        Whether that torque is the one that starts the load from rest.
    part : str
        The part that broke.
    """

    reached: bool
    end: End
    mass: float
    height: float
    time: float | None
    final_height: float
    torque_share: float | None = None
    from_rest: bool = False
    part: str = ""


@dataclass(frozen=True)
class Setting:
    """One changed value in SI, None for none, and the unit of its declaration."""

    path: str
    before: Any
    after: Any
    unit: str


@dataclass(frozen=True)
class Effect:
    """A check before and after an action."""

    before: Check
    after: Check


@dataclass(frozen=True)
class Action:
    """A change that was tried in full.

    Attributes
    ----------
    kind : ActionKind
    changes : tuple of Setting
    effects : tuple of Effect
        The checks that it was meant for first, then those whose status changed.
    status : Status
        Of the changed build.
    counts : Mapping of Status to int
        Its checks by status.
    reached : bool
        Whether the changed build reaches its target.
    lift_time : float or None
        [s]
    """

    kind: ActionKind
    changes: tuple[Setting, ...]
    effects: tuple[Effect, ...]
    status: Status
    counts: Mapping[Status, int]
    reached: bool
    lift_time: float | None


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


@dataclass(frozen=True)
class AssumedInput:
    """A value that the user did not give.

    Attributes
    ----------
    path : str
    value : float, int or str
        SI.
    unit : str
        Of its declaration.
    low, high : float or None
        Range that it may really have. SI
    source : str
        What it rests on.
    group : str
        The cause that it is varied with; empty where it has no range.
    effect : float
        How far its group moves a check at most: logarithm of the ratio, 0.1 is about 10 %. [-]
    effect_on : CheckKey or None
        Which check that is.
    """

    path: str
    value: float | int | str
    unit: str
    low: float | None
    high: float | None
    source: str
    group: str = ""
    effect: float = 0.0
    effect_on: CheckKey | None = None


@dataclass(frozen=True)
class Finding:
    """One thing that a run showed: values as its kind lists them, when, and where. [s], [m]"""

    kind: FindingKind
    values: Mapping[str, Any] = field(default_factory=dict)
    time: float | None = None
    height: float | None = None


@dataclass(frozen=True)
class Cause:
    """A group of assumed inputs that are wrong together.

    Attributes
    ----------
    name : str
        Slug, such as ``mesh_friction``.
    paths : tuple of str
    effects : Mapping of CheckKey to (float, float)
        Change of the logarithm of each check's value at the low and at the high end. [-]
    turns : CheckKey or None
        The check that it alone turns to another outcome.
    """

    name: str
    paths: tuple[str, ...]
    effects: Mapping[CheckKey, tuple[float, float]]
    turns: CheckKey | None = None


@dataclass(frozen=True)
class Assessment:
    """What one run comes to.

    Attributes
    ----------
    target : Target
    held : Holding
    checks : tuple of Check
        In the order of `CheckKey`.
    readings : tuple of Reading
        In the order of `ReadingKey`.
    parts : tuple of PartRow
        Least share of the required factor first.
    lives : tuple of ToothLife
        From the motors on.
    jam : Jam or None
        None where the programme does not raise.
    actions : tuple of Action
        At most three, best first; empty where none was wanted or none helps.
    assumed : tuple of AssumedInput
        Largest effect first.
    causes : tuple of Cause
        Empty where ranges were not asked for or cannot be computed.
    findings : tuple of Finding
        In the order of time, those without one last.
    drop_energy, drop_speed, drop_height : float
        Of a free fall from the top. [J], [m/s], [m]
    cautions : tuple of Caution
    energy_error : float
        Of the energy balance, over its largest entry. [-]
    trusted : bool
        Whether the computation came to its end and the energy balance closes.
    """

    target: Target
    held: Holding
    checks: tuple[Check, ...]
    readings: tuple[Reading, ...]
    parts: tuple[PartRow, ...]
    lives: tuple[ToothLife, ...]
    jam: Jam | None
    actions: tuple[Action, ...]
    assumed: tuple[AssumedInput, ...]
    causes: tuple[Cause, ...]
    findings: tuple[Finding, ...]
    drop_energy: float
    drop_speed: float
    drop_height: float
    cautions: tuple[Caution, ...]
    energy_error: float
    trusted: bool

    def __repr__(self) -> str:
        status = self.status
        return (
            f"<Assessment {status.value} {self.counts[status]} of "
            f"{len(self.checks)} checks, {self.target.end.value}>"
        )

    def __str__(self) -> str:
        return str(import_module("winchsim.report.lift").text(self))

    def _repr_html_(self) -> str:
        return str(import_module("winchsim.report.lift").html(self))

    @property
    def status(self) -> Status:
        """Worst of the checks."""
        return min((check.status for check in self.checks), key=lambda status: status.rank)

    @property
    def counts(self) -> dict[Status, int]:
        """Checks by status."""
        return {status: sum(check.status is status for check in self.checks) for status in Status}

    @property
    def weakest(self) -> tuple[PartRow, ...]:
        """The three parts with the least share of their required factor."""
        return self.parts[:3]

    @property
    def exit_code(self) -> int:
        """0: the target is reached and nothing fails; 1: otherwise; 3: not to be trusted."""
        if not self.trusted:
            return 3
        return 0 if self.target.reached and self.status is not Status.FAILS else 1

    def check(self, key: CheckKey) -> Check | None:
        """The check of a key; None where it does not apply."""
        return next((check for check in self.checks if check.key is key), None)

    def reading(self, key: ReadingKey) -> Reading | None:
        """The reading of a key."""
        return next((reading for reading in self.readings if reading.key is key), None)

    def finding(self, kind: FindingKind) -> Finding | None:
        """The first finding of a kind."""
        return next((finding for finding in self.findings if finding.kind is kind), None)

    def has(self, kind: FindingKind) -> bool:
        """Whether a finding of a kind is among them."""
        return self.finding(kind) is not None
