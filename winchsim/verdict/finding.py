"""Findings and the verdict as data: what a run showed, in one sentence each, with the number that matters."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from winchsim.strength.link import Link


class FindingKind(StrEnum):
    """Every kind of finding; the values are the slugs of the machine-readable output."""

    LIFTED = "lifted"
    LOWERED = "lowered"
    STALLED = "stalled"
    STALLED_AT_LAYER_END = "stalled_at_layer_end"
    NOT_UP_IN_TIME = "not_up_in_time"
    RAN_BACK = "ran_back"
    HELD = "held"
    HELD_BY_FRICTION_ONLY = "held_by_friction_only"
    OVERLOAD = "overload"
    BREAKS_BEFORE_STALL = "breaks_before_stall"
    LINK_BELOW_REQUIRED = "link_below_required"
    MOTOR_OVERHEATED = "motor_overheated"
    SUPPLY_LIMITED = "supply_limited"
    BATTERY_EMPTY = "battery_empty"
    ROPE_BEND_TIGHT = "rope_bend_tight"
    ROPE_BROKE = "rope_broke"
    ROPE_WENT_SLACK = "rope_went_slack"
    DRUM_OVERFLOW = "drum_overflow"
    PAID_OUT = "paid_out"
    SNAGGED = "snagged"
    HIT_TOP_STOP = "hit_top_stop"
    COASTS_PAST = "coasts_past"
    JERKS_IN_GUIDE = "jerks_in_guide"
    CHATTER = "chatter"
    NO_TRUST = "no_trust"
    LANDED_HARD = "landed_hard"
    GEAR_GEOMETRY = "gear_geometry"
    TEETH_WARM = "teeth_warm"
    ABOVE_NOMINAL_VOLTAGE = "above_nominal_voltage"
    FAR_BELOW_NOMINAL_VOLTAGE = "far_below_nominal_voltage"
    EXTRAPOLATED = "extrapolated"
    MODELS_DIFFER = "models_differ"
    OTHER_VERSION = "other_version"
    ASSUMED = "assumed"


class Severity(StrEnum):
    """How much a finding matters, lightest first."""

    NOTE = "note"
    CAUTION = "caution"
    DANGER = "danger"

    @property
    def rank(self) -> int:
        """0 for a note, 2 for a danger."""
        return (Severity.NOTE, Severity.CAUTION, Severity.DANGER).index(self)


@dataclass(frozen=True)
class Finding:
    """One thing that a run showed.

    Attributes
    ----------
    kind : FindingKind
    severity : Severity
    sentence : str
        One plain sentence with its numbers and units.
    time, height : float or None
        When, and at which height of the load. [s], [m]
    value, limit : float or None
        The number that matters, and what it is measured against, in the SI unit `unit`.
    unit : str
        SI unit of both, one of quantity_text.PRINTED_UNITS; empty for a ratio.
    help : str
        What would help; may be empty.
    about : str
        Path or label of what it is about (a link, a motor group); may be empty.
    """

    kind: FindingKind
    severity: Severity
    sentence: str
    time: float | None = None
    height: float | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    help: str = ""
    about: str = ""


@dataclass(frozen=True)
class LinkRow:
    """One row of the weakest-link table.

    Attributes
    ----------
    label : str
        The link, for people: "pinion tooth of stage 2 (3rd of 5)".
    link : Link
        Its strength, its worst demand, when that was, and the factor between them.
    place : int
        In the machine's links.
    broke : bool
        Whether it broke in this run.
    """

    label: str
    link: Link
    place: int
    broke: bool


@dataclass(frozen=True)
class StallPullRow:
    """A link under the pull of the stalled motors.

    Attributes
    ----------
    label : str
        As in the weakest-link table.
    link : Link
        With the demand under the current limit in force.
    unlimited : float
        Demand without any current limit. [unit of the strength]
    """

    label: str
    link: Link
    unlimited: float

    @property
    def unlimited_factor(self) -> float:
        """Strength over demand without a current limit. [-]"""
        return self.link.strength.value / self.unlimited if self.unlimited > 0 else float("inf")


@dataclass(frozen=True)
class StallPull:
    """What a stall or a snag asks of the links: the motors pull at rest, and nothing gives.

    Static: rotors that are caught while they turn add to it.

    Attributes
    ----------
    rows : tuple of StallPullRow
        Worst first.
    current, unlimited_current : float
        Of the supply, with the current limit in force and without any. [A]
    needed_current : float or None
        Current at which the motors just raise the load; None where they cannot. [A]
    safe_current : float or None
        Largest current limit with which the motors stall before any link breaks; None where no limit is needed. [A]
    sentence : str
        What it comes to.
    """

    rows: tuple[StallPullRow, ...]
    current: float
    unlimited_current: float
    needed_current: float | None
    safe_current: float | None
    sentence: str

    @property
    def breaks(self) -> bool:
        """Whether a link breaks before the motors stall."""
        return bool(self.rows) and self.rows[0].link.factor < 1.0


@dataclass(frozen=True)
class Summary:
    """The numbers of a lift that everyone asks for, in SI (°C for temperatures); None where there is none.

    Attributes
    ----------
    lift_time : float or None
        From power on to the load being up. [s]
    final_height, highest : float
        [m]
    steady_speed : float or None
        Of the load, over the middle half of the height. [m/s]
    peak_current, mean_current : float
        Of the supply: the most of the whole run, and the mean over the lift (over all time under power where the load did not
        come up). [A]
    peak_tension : float
        [N]
    peak_winding : float
        Hottest winding. [°C]
    energy_in : float
        From the supply. [J]
    efficiency : float or None
        Gain of potential energy over energy in, while raising. [-]
    charge : float
        Drawn. [C]
    stall_margin_cold, stall_margin_hot : float
        Torque that the motors can give at rest over the torque that starts the load from rest on the fullest layer, at
        the start's temperature and with windings at their limit. [-]
    """

    lift_time: float | None
    final_height: float
    highest: float
    steady_speed: float | None
    peak_current: float
    mean_current: float
    peak_tension: float
    peak_winding: float
    energy_in: float
    efficiency: float | None
    charge: float
    stall_margin_cold: float
    stall_margin_hot: float


@dataclass(frozen=True)
class Verdict:
    """What a run comes to.

    Attributes
    ----------
    sentence : str
        The answer, in one sentence.
    trusted : bool
        Whether the computation came to its end and its energy books close. Where not, the rest says only why.
    lifted : bool
        Whether the load rose to the height asked for.
    as_asked : bool
        Whether every phase of the programme ended as it was meant to.
    held : bool or None
        Whether the load stayed up with the power off; None when that was never tested.
    safe : bool
        Whether nothing dangerous was found.
    summary : Summary
    findings : tuple of Finding
        Worst first.
    rows : tuple of LinkRow
        Weakest link first.
    stall_pull : StallPull
    cautions : tuple of str
        What closes every report.
    """

    sentence: str
    trusted: bool
    lifted: bool
    as_asked: bool
    held: bool | None
    safe: bool
    summary: Summary
    findings: tuple[Finding, ...]
    rows: tuple[LinkRow, ...]
    stall_pull: StallPull
    cautions: tuple[str, ...]

    @property
    def passes(self) -> bool:
        """Whether it was lifted (or lowered) as asked, and nothing dangerous was found."""
        return self.trusted and self.as_asked and self.safe

    def has(self, kind: FindingKind) -> bool:
        """Whether a finding of a kind is among them."""
        return any(finding.kind is kind for finding in self.findings)
