"""Every rule that may find something in a run, in one place."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable

from winchsim.hybrid import Outcome
from winchsim.simulation import Record
from winchsim.verdict import of_drive, of_gears, of_holding, of_lift, of_links
from winchsim.verdict.case import Case
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import duration, listed, percent


def find(case: Case) -> tuple[Finding, ...]:
    """Every finding of a run, worst first, then in the order of time.

    Parameters
    ----------
    case : Case
    """
    if not case.history.trusted:
        return (_no_trust(case),)
    found = [finding for rule in RULES for finding in rule(case)]
    found.sort(key=lambda f: (-f.severity.rank, math.inf if f.time is None else f.time))
    return tuple(found)


def _no_trust(case: Case) -> Finding:
    record = case.record
    if record.outcome is Outcome.CHATTER:
        text = f"The modes kept switching without any progress at {duration(float(record.time[-1]))}; the run was broken off."
        help_ = "Say so with the scenario file: a winch should not do this. A softer rope or more damping may avoid it."
        kind = FindingKind.CHATTER
    elif record.outcome in (Outcome.BUDGET, Outcome.TOO_MANY_SWITCHES):
        text, help_ = _too_much_work(record)
        kind = FindingKind.NO_TRUST
    elif not record.outcome.ok:
        text = f"The computation broke off at {duration(float(record.time[-1]))}: {record.outcome.value}"
        help_, kind = "Check for absurd values, or try another settings.relative_tolerance.", FindingKind.NO_TRUST
    else:
        text = f"The energy books are off by {percent(record.energy.error)}, so the numbers are not to be trusted."
        help_, kind = "Try a smaller settings.relative_tolerance.", FindingKind.NO_TRUST
    return Finding(kind, Severity.DANGER, text, time=float(record.time[-1]), value=record.energy.error, help=help_)


def _too_much_work(record: Record) -> tuple[str, str]:
    """Why a run was given up, by what happened most often in it; and what makes it less work."""
    reached = duration(float(record.time[-1]))
    counts = Counter(e.event for e in record.events)
    text = f"The computation broke off at {reached}: {record.outcome.value}"
    often = [event for event, count in counts.most_common(2) if count >= MANY]
    if often:
        text += f" Most often: {listed([f'{event.value} ({counts[event]} times)' for event in often])}."
    return text, "Check for absurd values; a shorter programme, a softer rope or more damping is less work."


MANY = 100
"""An event that happened this often is told as the reason for a run that was too much work. [-] Own choice."""

RULES: tuple[Callable[[Case], Iterable[Finding]], ...] = (
    of_links.overload,
    of_holding.ran_back,
    of_links.drum_ends,
    of_lift.hit_top_stop,
    of_drive.overheated,
    of_lift.landed_hard,
    of_lift.stalled,
    of_lift.not_up_in_time,
    of_lift.snagged,
    of_drive.battery_empty,
    of_holding.held,
    of_links.below_required,
    of_lift.jerks,
    of_lift.went_slack,
    of_drive.supply_limited,
    of_links.rope_bend,
    of_gears.geometry,
    of_links.teeth_warm,
    of_drive.far_below_nominal,
    of_links.extrapolated,
    of_lift.lifted,
    of_lift.lowered,
    of_drive.assumed,
)
"""Every rule, in the order in which its findings stand among those of equal severity and time."""
