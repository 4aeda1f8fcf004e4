"""The smallest single changes that remedy a stall or a run-back: bracketed by closed form, confirmed by simulation."""

from __future__ import annotations

from collections.abc import Sequence

from winchsim.assessment.history import History, read_history
from winchsim.assessment.margins import hardest_margins, holding, hot_margins, warm_lift
from winchsim.errors import WinchsimError
from winchsim.model import Machine
from winchsim.simulation import simulate
from winchsim.verdict.case import Case, blocked_by
from winchsim.verdict.finding import Finding, FindingKind, Remedy
from winchsim.verdict.levers import RUN_BACK_LEVERS, STALL_LEVERS, Change, Enough, Lever
from winchsim.verdict.words import duration, speed

RESERVE = 1.01
"""How much more than the bare balance a proposal has in hand. [-] Own choice."""

WARM_RESERVE = 0.2
"""Further reserve as a share of the margin that warming takes away: near a stall warming feeds on itself, and closed form sees
that a little too well. [-] Own choice, from full runs."""

AMPLE_RESERVE = 1.06
"""The same of a last proposal, where the others did not do. [-] Own choice."""


def find_remedies(case: Case, findings: Sequence[Finding]) -> tuple[Remedy, ...]:
    """Remedies of a run's stall and run-back, those that work without a drawback first.

    Parameters
    ----------
    case : Case
        Its record was made from a scenario.
    findings : sequence of Finding
    """
    found: list[tuple[bool, Remedy]] = []
    kinds = [finding.kind for finding in findings]
    for kind in (FindingKind.STALLED, FindingKind.STALLED_AT_LAYER_END):
        if kind in kinds and case.history.broke is None:
            found += _of_stall(case, kind)
    if FindingKind.RAN_BACK in kinds and case.history.broke is None:
        found += _of_run_back(case)
    found.sort(key=lambda pair: not pair[0])
    return tuple(remedy for _, remedy in found)


def _of_stall(case: Case, kind: FindingKind) -> list[tuple[bool, Remedy]]:
    event = case.history.stalled
    if event is None or blocked_by(case, event) or not case.history.wants_top:
        return []
    return _confirmed(case, kind, STALL_LEVERS, (_raises_warm, _raises_hot(RESERVE), _raises_hot(AMPLE_RESERVE)))


def _raises_hot(reserve: float) -> Enough:
    """Whether the load could be started from rest with windings at their limits."""
    return lambda machine: hot_margins(machine).resting >= reserve


def _raises_warm(machine: Machine) -> bool:
    """Whether closed form sees a whole lift through, the windings warming up on the way."""
    found = warm_lift(machine)
    cold = hardest_margins(machine)
    if machine.start_travel > 0 and cold.resting < RESERVE:
        return False
    reserve = RESERVE + WARM_RESERVE * max(0.0, cold.moving - found.margins.moving)
    return found.margins.moving >= reserve and found.spare >= 0


def _of_run_back(case: Case) -> list[tuple[bool, Remedy]]:
    m = case.machine
    layer = int(case.record["layer"].max()) - 1

    def holds(reserve: float) -> Enough:
        """Whether a load that has been set going would stop again: one that is held at rest alone is no better off."""
        return lambda machine: holding(machine, m.top_travel, min(layer, len(machine.layers) - 1)).moving >= reserve

    return _confirmed(case, FindingKind.RAN_BACK, RUN_BACK_LEVERS, (holds(RESERVE), holds(AMPLE_RESERVE)))


def _confirmed(case: Case, kind: FindingKind, levers: Sequence[Lever], goals: Sequence[Enough]) -> list[tuple[bool, Remedy]]:
    """What each lever finds: its smallest change that can work, or else the one that leaves no doubt.

    The first goal is the balance that closed form expects, the others leave less and less to doubt.
    """
    found: list[tuple[bool, Remedy]] = []
    if case.inputs is None:
        return found
    for lever in levers:
        best: tuple[bool, Remedy] | None = None
        tried: set[float] = set()
        for goal in goals:
            change = lever(case.inputs, case.machine, goal)
            if change is None or change.after in tried:
                continue
            tried.add(change.after)
            best = _try(change, kind)
            if best is not None and best[1].confirmed:
                break
        if best is not None:
            found.append(best)
    return found


def _try(change: Change, kind: FindingKind) -> tuple[bool, Remedy] | None:
    """A change with what the full simulation says of it, and whether nothing spoils it; None where it does nothing."""
    try:
        history = read_history(simulate(change.inputs))
    except WinchsimError:
        return None
    if not history.trusted:
        return None
    works = history.held is True if kind is FindingKind.RAN_BACK else history.lifted
    drawback = _drawback(history)
    if not works and history.broke is None:
        return None
    outcome = _outcome(history, kind) if works else "might do"
    sentence = f"{change.words}: {outcome}" + (f", but {drawback}." if drawback else ".")
    remedy = Remedy(
        change.path, change.before, change.after, change.unit, sentence, kind, works, history.lift_time if works else None
    )
    return works and not drawback, remedy


def _outcome(history: History, kind: FindingKind) -> str:
    if kind is FindingKind.RAN_BACK:
        return "the load stays up"
    return f"lifts it in {duration(history.lift_time)}" if history.lift_time is not None else "lifts it"


def _drawback(history: History) -> str:
    """What goes wrong in spite of a change; empty for nothing."""
    m, record = history.machine, history.record
    if history.broke is not None and history.broken_link is not None:
        return f"then the {history.broken_link.label} breaks"
    backs = history.run_backs()
    if backs and backs[0].in_guide:
        return "then the drum pays out its rope while the load hangs in its guide"
    if backs:
        return f"then it runs back at up to {speed(backs[0].speed)}"
    if any(float(record[f"motor_{g.number}_winding"].max()) > g.winding_limit for g in m.groups):
        return "then a winding passes its limit"
    return ""
