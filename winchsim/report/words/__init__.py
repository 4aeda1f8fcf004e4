"""The sentences of a report, composed from the kinds and values of an assessment."""

from winchsim.report.words.advice import CAUTIONS, caution, last_line, snag
from winchsim.report.words.checks import CHECKS, cause
from winchsim.report.words.details import (
    CHECK_HEADS,
    LAST_SPARE,
    NEAREST,
    THIN,
    check_row,
    check_table,
    factor_of,
    idle_keys,
    inputs_as_used,
    notes,
)
from winchsim.report.words.findings import NOTE, NOTICE, finding
from winchsim.report.words.outcome import ended, outcome
from winchsim.report.words.values import (
    MARKS,
    TIMES,
    limit_of,
    of_check,
    of_reading,
    percent,
    rough,
    signed,
    suited,
    value,
)

__all__ = [
    "CAUTIONS",
    "CHECKS",
    "CHECK_HEADS",
    "LAST_SPARE",
    "MARKS",
    "NEAREST",
    "NOTE",
    "NOTICE",
    "THIN",
    "TIMES",
    "cause",
    "caution",
    "check_row",
    "check_table",
    "ended",
    "factor_of",
    "finding",
    "idle_keys",
    "inputs_as_used",
    "last_line",
    "limit_of",
    "notes",
    "of_check",
    "of_reading",
    "outcome",
    "percent",
    "rough",
    "signed",
    "snag",
    "suited",
    "value",
]
