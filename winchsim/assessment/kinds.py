"""The result of an assessment: numbers and enums, all values in SI (°C for temperatures)."""

from collections.abc import Mapping
from dataclasses import field
from enum import StrEnum
from functools import cached_property
from importlib import import_module
from typing import Any

from winchsim.assumption import Assumed
from winchsim.frozen import dataclass
from winchsim.strength.link import LinkState


class Status(StrEnum):
    """How a check stands, worst first."""

    FAILS = "fails"
    """Misses its hard limit."""
    THIN = "thin"
    """Meets the hard limit, but not the required value, or its range crosses the hard limit."""
    NOT_CHECKED = "not checked"
    """An input is missing."""
    OK = "ok"
    """Meets the required value, with its whole range beyond the hard limit."""

    @cached_property
    def rank(self) -> int:
        """0 for the worst."""
        return list(Status).index(self)


class Side(StrEnum):
    """On which side of its limit a value has to lie."""

    LEAST = "at least"
    MOST = "at most"


class CheckKey(StrEnum):
    """Every check, in the order in which a reader asks; the values stand in JSON."""

    TARGET = "target"
    """Height that the load was raised by against that asked for: a raise for a time asks for none,
    and is advised of it. [m]"""
    PROGRAMME = "programme"
    """Share of a programme's phases that ended as asked, where the height alone does not say it.
    [-]"""
    LIFT_TIME = "lift_time"
    """From power on to the load at its height, pauses on the way included, against the time limit.
    [s]"""
    START_COLD = "starting_margin_cold"
    """Torque of the motors at rest over that which starts the load on the fullest layer. [-]"""
    START_HOT = "starting_margin_hot"
    """The same with the windings at their limit. [-]"""
    HOLD = "holding_margin"
    """Pull that the train at rest just holds with the power off over the pull of the load. [-]"""
    HOLD_DISTURBED = "holding_margin_disturbed"
    """The same after a disturbance has set the train going. [-]"""
    WINDING = "winding_temperature"
    """Hottest winding, of the group that comes nearest to its limit. [°C]"""
    PARTS = "weakest_part"
    """Capacity over demand of the part with the least share of its required factor. [-]"""
    JAM = "jam"
    """Least capacity over demand of any part in a jam under full power, rotors included. [-]"""
    ROPE_BEND = "rope_bend"
    """Drum diameter over rope diameter. [-]"""
    DRUM_CAPACITY = "drum_capacity"
    """Rope that the drum takes over the rope that the lift winds on. [-]"""
    CONTINUOUS_CURRENT = "continuous_current"
    """Mean current of a motor over a quarter of its stall current: above 1, no continuous duty."""
    SUPPLY = "supply_limit"
    """Share of the raising for which the supply is at its current limit. [-]"""
    BATTERY = "battery"
    """Charge that a battery has over the charge that the whole run draws, or would draw if it did
    not run empty. [-]"""
    ENERGY = "energy_balance"
    """Error of the energy balance over its allowed error. [-]"""


class ReadingKey(StrEnum):
    """Numbers that have no limit of their own."""

    HEIGHT = "height"
    """Highest. [m]"""
    FINAL_HEIGHT = "final_height"
    SPEED = "speed"
    """Of the load along its path, over the middle half of the height. [m/s]"""
    PEAK_CURRENT = "peak_current"
    """Of the supply. [A]"""
    MEAN_CURRENT = "mean_current"
    """Of the supply over the lift, or over all time under power where it was not reached. [A]"""
    PEAK_TENSION = "peak_tension"
    """Of the rope above the load. [N]"""
    ENERGY_IN = "energy_in"
    """From the supply. [J]"""
    EFFICIENCY = "efficiency"
    """Gain of potential energy over energy in, while raising. [-]"""
    CHARGE = "charge"
    """[C]"""
    LOWERING_TIME = "lowering_time"
    """[s]"""
    BACK_DRIVING_SPEED = "back_driving_speed"
    """Largest speed of the load along its path where it came back unasked. [m/s]"""


class End(StrEnum):
    """How the lift or programme ended: the cause, where the target was missed."""

    REACHED = "reached"
    DONE = "done"
    """A programme that raises for a time or not at all, carried out as asked."""
    STALLED = "stalled"
    STALLED_AT_LAYER_END = "stalled_at_layer_end"
    LATE = "late"
    """Still moving when the time ran out."""
    PART_BROKE = "part_broke"
    DRUM_OVERFLOW = "drum_overflow"
    PAID_OUT = "paid_out"
    BATTERY_EMPTY = "battery_empty"
    SUPPLY_TRIPPED = "supply_tripped"
    SNAGGED = "snagged"
    TOP_STOP = "top_stop"
    BACK_DRIVEN = "back_driven"
    NOT_TRUSTED = "not_trusted"
    """The computation broke off, or its energy balance does not close."""


STALLS = (End.STALLED, End.STALLED_AT_LAYER_END)
"""Ends by a stall."""


class Holding(StrEnum):
    """What holds the load with the power off."""

    PAWL = "pawl"
    BRAKE = "brake"
    WEAK_BRAKE = "weak_brake"
    """A brake that by itself carries less than is required; friction helps it."""
    LOCKED_TRAIN = "locked_train"
    """No load torque reaches the motors; by friction all the same."""
    FRICTION = "friction"
    NONE = "none"
    """Nothing: it back-drives."""


class NoLimit(StrEnum):
    """Why there is no current limit that prevents a break."""

    NOT_NEEDED = "not_needed"
    RAISING_BREAKS = "raising_breaks"
    """Raising the load takes more current than the parts stand."""
    ROTORS = "rotors"
    """Raising itself is borne, but the rotors' momentum breaks a part at any current."""
    NOT_RAISED = "not_raised"
    """The motors do not raise the load in any case."""


ActionKind = StrEnum(
    "ActionKind",
    [
        "LESS_LOAD",
        "MORE_MOTORS",
        "THINNER_DRUM",
        "MORE_RATIO",
        "ONE_MORE_STAGE",
        "MORE_VOLTAGE",
        "HIGHER_CURRENT_LIMIT",
        "LOWER_CURRENT_LIMIT",
        "PAWL",
        "BRAKE",
        "LEAVE_OUT_GROUP",
        "STRONGER_PART",
    ],
)
"""What an action does."""


class FindingKind(StrEnum):
    """What a run showed beyond its checks; each names the keys of its values (SI)."""

    PART_BROKE = "part_broke"
    """part, path, kind, unit, capacity, capacity_low, capacity_high, basis."""
    STALLED = "stalled"
    """torque_share, from_rest, layer_end (bool), blocked_by (``battery_empty``,
    ``supply_tripped``, ``snagged``, ``top_stop`` or empty), time_to_limit (until a stalled winding
    passes its limit), supply_current (that a supply at its limit gives; None where it is not
    at its limit, or something else blocks the load), folds_back (bool)."""
    LATE = "late"
    """time_limit, action (``raise`` or ``lower``)."""
    BACK_DRIVEN = "back_driven"
    """from_height, to_height, speed, powered, in_guide, stopped (above the floor),
    landing_speed, landing_energy (None where it did not land)."""
    WEAK_BRAKE = "weak_brake"
    """margin (of the brake alone), required."""
    CREEPS = "creeps"
    """let_down, watched: the drum still turns back when the watch with the power off ends."""
    HELD = "held"
    """watched, let_down, slips (whether that is more than a load sags that just stays)."""
    FELL = "fell"
    """landing_speed, landing_energy of a free fall after a part has broken: the rest of a train
    that turns with the load makes it slower."""
    LANDED_HARD = "landed_hard"
    """speed, energy, asked (whether a lowering was meant)."""
    SUPPLY_LIMITED = "supply_limited"
    """current_limit, duration, raising_time."""
    SUPPLY_NOT_DESCRIBED = "supply_not_described"
    """inrush, and by `winchsim.physics.sources` how far beyond each that is (over 1: it
    limits, blows or loses half its voltage): neither resistance nor limit was given."""
    BATTERY_EMPTY = "battery_empty"
    """charge, charge_capacity."""
    SUPPLY_TRIPPED = "supply_tripped"
    """current: a supply that switched itself off by overcurrent, and what was drawn just before."""
    WEDGED = "wedged"
    """count, drum_speed (as it stopped first), energy: a self-locking stage stopped the drum."""
    ROPE_SLACK = "rope_slack"
    """count: how often the rope of a hanging load went slack."""
    NO_RESTART = "no_restart"
    """margin: of a load that is lifted, but that the motors do not start where it hangs. [-]"""
    DRUM_OVERFLOW = "drum_overflow"
    PAID_OUT = "paid_out"
    SNAGGED = "snagged"
    """speed, energy, tension (the most of the rope then), hanging (that of the load alone)."""
    TOP_STOP = "top_stop"
    """The same; sheave: whether it is the sheave or drum itself, with no stop below it."""
    STICK_SLIP = "stick_slip"
    """count, rate, pull_low, pull_high: of the slips in the guide, and the swing of the pull;
    averaged: whether only these were followed one by one, and the mean motion from then on."""
    NOT_TRUSTED = "not_trusted"
    """reason (outcome of the integration), energy_error, work (events that happened most often)."""
    TEETH_WARM = "teeth_warm"
    """part, path, material, flank, root, flank_limit, root_limit, lasting (whether the run lasts
    long enough to warm them)."""
    RIM_THIN = "rim_thin"
    """part, path, low, high, more: outside the range of published rim factors."""
    CREEP = "creep"
    """part, path, material, share, share_limit, temperature: a polymer part that holds the load for
    long; share of its capacity, at least."""
    WINDING = "winding"
    """quantity (``layers`` or ``dead_turns``), value, limit: a fibre rope on a flat drum."""
    ABOVE_NOMINAL_VOLTAGE = "above_nominal_voltage"
    """group, voltage, nominal."""
    FAR_BELOW_NOMINAL_VOLTAGE = "far_below_nominal_voltage"
    """group, voltage, nominal."""
    OVERHEATED = "overheated"
    """group, winding_peak, winding_limit."""
    DRAGGED_GROUP = "dragged_group"
    """group, power: a group of motors that the others drag along while raising. [W]"""
    NO_PATH_DOWN = "no_path_down"
    """A pawl is fitted, and the load is to come down without power, which would lift it."""
    GEAR_GEOMETRY = "gear_geometry"
    """paths, flaw (`GearFlaw` value), side (``pinion``, ``gear`` or empty), teeth, value, limit."""


class GearFlaw(StrEnum):
    """What is wrong with a pair of gears."""

    UNDERCUT = "undercut"
    """Teeth, against the fewest without undercut."""
    CUT_BY_GEAR = "cut_by_gear"
    """The gear's tips reach below the pinion's base circle."""
    CONTACT_RATIO = "contact_ratio"
    CLEARANCE = "clearance"
    """Room between the tips of `side` and the roots of the other gear, in modules."""
    TIP_THICKNESS = "tip_thickness"
    """In modules."""


Caution = StrEnum(
    "Caution",
    [
        "NOT_RATED",
        "KEEP_CLEAR",
        "DROP",
        "NO_PEOPLE",
        "FRICTION",
        "GUARDS",
        "TEST_LOADS",
        "LOWERING",
        "LOCAL_CODES",
    ],
)
"""What everybody who builds the lift has to know, whatever the numbers are."""


# --- what an assessment holds -----------------------------------------------------------------


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
        Path or label of the part, group or layer that decides; of a target that assumed values
        may turn over, the `End` of the lift then.
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
        Whether the load was raised to its height, and every phase ended as asked.
    as_asked : bool
        Whether every phase ended as asked, whatever height that is.
    end : End
    mass, height : float
        Load, and the height to raise it by. [kg], [m]
    gained : float
        Most that it rose above its start. [m]
    time : float
        Lift time, or how long a programme for a time raises; else when it ended otherwise. [s]
    final_height : float
        Where the load was when it was up, or when it ended otherwise. [m]
    torque_share : float or None
        Of a stall: torque that the motors reach over the torque needed. [-]
    from_rest : bool
        Whether that torque is the one that starts the load from rest.
    part : str
        The part that broke.
    """

    reached: bool
    as_asked: bool
    end: End
    mass: float
    height: float
    gained: float
    time: float
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
class Part:
    """One part that the pull passes through.

    Attributes
    ----------
    label, kind, path : str
        ``pinion tooth of stage 1 (5th of 5)``, slug of the kind, and path into the scenario.
    unit : str
        SI unit of capacity and demand, empty for a ratio.
    capacity : float
    """

    label: str
    kind: str
    path: str
    unit: str
    capacity: float


@dataclass(frozen=True)
class PartRow(Part):
    """A part in a run.

    Attributes
    ----------
    capacity_low, capacity_high : float
    basis : str
        What the capacity rests on.
    demand : float
        Largest of the run; of a part that broke, what the run would have asked of it if no part
        broke.
    factor, low, high : float
        Capacity over demand, with its range. [-]
    required : float
    status : Status
        `Status.FAILS` where it broke.
    state : LinkState
        `LinkState.BREAKS` only where even the high factor is under 1.
    bound : bool
        Whether the demand is only the least that statics allows: that of a held train, whose
        torques friction leaves open.
    time, height : float or None
        Of the demand. [s], [m]
    """

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
class JamPart(Part):
    """A part in a jam.

    Attributes
    ----------
    static, dynamic : float
        Capacity over demand at standstill, and with the rotors' momentum. [-]
    low, high : float
        Range of `dynamic` from those of capacity and demand. [-]
    """

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
class AssumedInput(Assumed):
    """A value that the user did not give, and what it moves.

    Attributes
    ----------
    group : str
        The cause that it is varied with; empty where it has no range.
    effect : float
        How far its group moves a check at most: logarithm of the ratio, 0.1 is about 10 %. [-]
    effect_on : CheckKey or None
        Which check that is.
    """

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
    tried : bool
        Whether actions were wanted.
    assumed : tuple of AssumedInput
        Largest effect first.
    causes : tuple of Cause
        Empty where ranges were not asked for or cannot be computed.
    findings : tuple of Finding
        In the order of time, those without one last.
    drop_energy, drop_speed, drop_height : float
        Of a free fall from the top. [J], [m/s], [m]
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
    energy_error: float
    trusted: bool
    tried: bool = False

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
        """0: all went as asked and nothing fails; 1: otherwise; 3: not to be trusted."""
        if not self.trusted:
            return 3
        return 0 if self.target.as_asked and self.status is not Status.FAILS else 1

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
