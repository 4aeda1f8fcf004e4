"""What one run comes to: checks with ranges, what breaks first, and what to change."""

from winchsim.assessment.actions import with_actions
from winchsim.assessment.candidates import (
    RANKS,
    CheckColumn,
    capacities,
    check_columns,
    graded,
    measured,
)
from winchsim.assessment.evaluate import add_ranges, assess
from winchsim.assessment.history import OFF_FLOOR, History, middle_mean, read_history
from winchsim.assessment.kinds import (
    Assessment,
    Caution,
    Check,
    CheckKey,
    End,
    Holding,
    ReadingKey,
    Side,
    Status,
    ToothLife,
)
from winchsim.assessment.ranges import ENDS, HoldShare, Ranges, find_each, find_ranges
from winchsim.assessment.teeth import damage, tooth_lives, tooth_warmth

__all__ = [
    "ENDS",
    "OFF_FLOOR",
    "RANKS",
    "Assessment",
    "Caution",
    "Check",
    "CheckColumn",
    "CheckKey",
    "End",
    "History",
    "HoldShare",
    "Holding",
    "Ranges",
    "ReadingKey",
    "Side",
    "Status",
    "ToothLife",
    "add_ranges",
    "assess",
    "capacities",
    "check_columns",
    "damage",
    "find_each",
    "find_ranges",
    "graded",
    "measured",
    "middle_mean",
    "read_history",
    "tooth_lives",
    "tooth_warmth",
    "with_actions",
]
