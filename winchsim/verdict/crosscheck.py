"""Full runs beside the quasi-static model: how far it is off, and what to say where that matters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from winchsim.errors import InputError, TrustError
from winchsim.inputs import Inputs
from winchsim.quantity_text import number
from winchsim.simulation import simulate
from winchsim.slow import Lifts
from winchsim.verdict.finding import Finding, FindingKind, Severity, Verdict
from winchsim.verdict.judge import judge
from winchsim.verdict.words import percent

WORTH_SAYING = 0.01
"""Difference in lift time over which a study says that the quasi-static model is off. [-]"""

Progress = Callable[[int, int], None]


def silent(done: int, total: int) -> None:
    """A progress that nobody sees."""


@dataclass(frozen=True)
class FullRun:
    """One candidate run in full, beside what the quasi-static model says of it.

    Attributes
    ----------
    index : int
        Which candidate.
    slow_time, full_time : float or None
        Lift time; None where it does not come up, or something breaks. [s]
    in_range : bool
        Whether the quasi-static model claims to hold there.
    verdict : Verdict or None
        On the full run; None where it could not be made.
    problem : str
        Then why.
    """

    index: int
    slow_time: float | None
    full_time: float | None
    in_range: bool
    verdict: Verdict | None
    problem: str = ""

    @property
    def difference(self) -> float | None:
        """Slow over full lift time, less 1; None where either does not come up. [-]"""
        if self.slow_time is None or self.full_time is None:
            return None
        return self.slow_time / self.full_time - 1

    @property
    def sound(self) -> bool:
        """Whether the full run came up and nothing broke."""
        return self.verdict is not None and sound(self.verdict)

    @property
    def dangers(self) -> tuple[Finding, ...]:
        """What the full run shows that is dangerous."""
        found = () if self.verdict is None else self.verdict.findings
        return tuple(finding for finding in found if finding.severity is Severity.DANGER)

    @property
    def sentence(self) -> str:
        """What the full run came to."""
        return self.problem if self.verdict is None else self.verdict.sentence

    @property
    def held(self) -> bool | None:
        """Whether the load stayed up with the power off; None where that was not tested."""
        return None if self.verdict is None else self.verdict.held


def sound(verdict: Verdict) -> bool:
    """Whether a run can be trusted, came up, and nothing broke, on the way or after."""
    return verdict.trusted and verdict.lifted and not any(row.broke for row in verdict.rows)


def run_full(
    scenarios: Sequence[tuple[int, Inputs]], lifts: Lifts, on_progress: Progress = silent, *, done: int = 0, total: int = 0
) -> tuple[FullRun, ...]:
    """Candidates run in full.

    Parameters
    ----------
    scenarios : sequence of (int, Inputs)
        Which candidate, and its scenario.
    lifts : Lifts
        What the quasi-static model says of all candidates.
    on_progress : callable
        Called with the runs done and their number.
    done, total : int
        Runs before these, and in all; 0 for these alone.
    """
    found = []
    total = total or len(scenarios)
    for number_done, (index, inputs) in enumerate(scenarios, start=done + 1):
        verdict, problem = _judged(inputs)
        time = float(lifts.lift_time[index])
        slow_time = time if lifts.lifted[index] and lifts.factor[index] >= 1 else None
        full_time = None if verdict is None else verdict.summary.lift_time
        found.append(FullRun(index, slow_time, full_time, bool(lifts.in_range[index]), verdict, problem))
        on_progress(number_done, total)
    return tuple(found)


def _judged(inputs: Inputs) -> tuple[Verdict | None, str]:
    """Verdict on a full run; or why there is none, so that one candidate does not end a whole study."""
    try:
        return judge(simulate(inputs)), ""
    except InputError as error:
        fault = error.faults[0]
        return None, f"It cannot be run: {fault.key}: {fault.message}; expected {fault.expected}."
    except TrustError as error:
        return None, f"No trustworthy result: {error.reason}"


def largest_difference(runs: Sequence[FullRun]) -> float | None:
    """Largest difference in lift time of all runs, in magnitude; None where none can be compared. [-]"""
    found = [abs(run.difference) for run in runs if run.difference is not None]
    return max(found, default=None)


def carried(run: FullRun, prefix: str) -> tuple[Finding, ...]:
    """Dangers of a full run as findings of the study that made it: as grave as they are in a lift.

    Parameters
    ----------
    run : FullRun
    prefix : str
        Says which candidate it was, for people: ``At 8.00 kg``.
    """
    return tuple(replace(finding, sentence=f"{prefix}: {finding.sentence}") for finding in run.dangers)


def not_without(dangers: Sequence[Finding]) -> str:
    """End of a sentence that recommends something: a full stop, or the worst danger of it.

    Parameters
    ----------
    dangers : sequence of Finding
        Worst first; may be empty.
    """
    return f", but not without danger. {dangers[0].sentence}" if dangers else "."


def differences(runs: Sequence[FullRun], called: Callable[[int], str]) -> tuple[Finding, ...]:
    """Findings where the quasi-static model and the full run differ by more than is harmless.

    Parameters
    ----------
    runs : sequence of FullRun
    called : callable
        Name of a candidate, for people.
    """
    found = []
    for run in runs:
        off = run.difference
        if off is not None and abs(off) > WORTH_SAYING:
            why = "" if run.in_range else ", outside its range (short lift, soft rope or near a stall)"
            found.append(
                Finding(
                    FindingKind.MODELS_DIFFER, Severity.CAUTION,
                    f"At {called(run.index)} the lift times of this study are {percent(abs(off))} "
                    f"{'too long' if off > 0 else 'too short'}{why}: the full run takes {number(run.full_time or 0.0, 4)} s.",
                    value=abs(off), limit=WORTH_SAYING, about=called(run.index),
                    help="Trust the full run there: winchsim lift with this value set.",
                )
            )  # fmt: skip
        elif (run.slow_time is None) is not (run.full_time is None):
            found.append(
                Finding(
                    FindingKind.MODELS_DIFFER, Severity.CAUTION,
                    f"At {called(run.index)} the full run differs: {run.sentence}",
                    about=called(run.index), help="Trust the full run there.",
                )
            )  # fmt: skip
    return tuple(found)
