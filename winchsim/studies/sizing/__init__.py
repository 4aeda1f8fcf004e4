"""Which value of one thing to take: five questions about a winch, each a row of `QUESTIONS`.

A question says what is varied, which candidates are tried, which of them may be recommended, and
what is wanted least of. Everything else is the same for all: the checks and the rule of choice of
the assessment, the bands of candidates that meet every limit, and full simulations of what is
recommended.
"""

from winchsim.studies.sizing.candidates import STOCK, Proposal
from winchsim.studies.sizing.study import (
    QUESTIONS,
    WHILE_LIFTED,
    Question,
    Run,
    Study,
    most_power,
    size,
)

__all__ = [
    "QUESTIONS",
    "STOCK",
    "WHILE_LIFTED",
    "Proposal",
    "Question",
    "Run",
    "Study",
    "most_power",
    "size",
]
