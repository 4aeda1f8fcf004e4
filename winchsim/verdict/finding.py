"""Findings and the verdict as data: what a run showed, in one sentence each, with the number that matters."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
