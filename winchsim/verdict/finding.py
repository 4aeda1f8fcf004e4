"""Findings: what a run showed, in one sentence each, with the number that matters and what would help."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class FindingKind(StrEnum):
    """Every kind of finding; the values are the slugs of the machine-readable output."""

    LIFTED = "lifted"
    STALLED = "stalled"
    STALLED_AT_LAYER_END = "stalled_at_layer_end"
    NOT_UP_IN_TIME = "not_up_in_time"
    RAN_BACK = "ran_back"
    HELD = "held"
    HELD_BY_FRICTION_ONLY = "held_by_friction_only"
    OVERLOAD = "overload"
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
    JERKS_IN_GUIDE = "jerks_in_guide"
    CHATTER = "chatter"
    LANDED_HARD = "landed_hard"
    GEAR_GEOMETRY = "gear_geometry"
    FAR_BELOW_NOMINAL_VOLTAGE = "far_below_nominal_voltage"
    EXTRAPOLATED = "extrapolated"
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
class Cure:
    """The smallest single change of one kind that cures a stall or a run-back, confirmed by a full run.

    Attributes
    ----------
    path : str
        What is changed.
    before, after : float or int
        In SI.
    unit : str
        Unit to print it in.
    sentence : str
        For people: "Two more motors (8 instead of 6): up in 61 s."
    cures : str
        Which finding it cures.
    confirmed : bool
        Whether the full run showed that it does.
    lift_time : float or None
        With the change. [s]
    """

    path: str
    before: float
    after: float
    unit: str
    sentence: str
    cures: str
    confirmed: bool
    lift_time: float | None = None


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
        Of the supply. [A]
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
        Torque at rest over torque needed, at the start's temperature and with windings at their limit. [-]
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
    lifted : bool
        Whether the load came up as asked.
    held : bool or None
        Whether it stayed up with the power off; None when that was never tested.
    safe : bool
        Whether nothing dangerous was found.
    summary : Summary
    findings : tuple of Finding
        Worst first.
    cures : tuple of Cure
        Empty where there is nothing to cure, or where cures were not asked for.
    cautions : tuple of str
        What closes every report.
    """

    sentence: str
    lifted: bool
    held: bool | None
    safe: bool
    summary: Summary
    findings: tuple[Finding, ...]
    cures: tuple[Cure, ...]
    cautions: tuple[str, ...]
