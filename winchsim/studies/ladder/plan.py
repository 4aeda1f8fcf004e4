"""A plan of test loads from an unloaded run to the target: what each rung should show, and when to stop."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from winchsim.assessment.history import read_history
from winchsim.assessment.margins import stalled_until_hot
from winchsim.inputs import Inputs, Phase, with_value
from winchsim.model import Machine, build
from winchsim.model.trial import trial_values, under_test
from winchsim.physics import heat
from winchsim.quantity_text import quantity
from winchsim.simulation import Record, simulate
from winchsim.slow import End, Lifts, lift_all
from winchsim.studies.ladder.descent import Descent, Lowering, lowered, nothing_to_lower, programme
from winchsim.studies.ladder.rung import Rung
from winchsim.studies.ladder.words import dangers, measure_first, prints, sentence
from winchsim.verdict.candidates import without_snag
from winchsim.verdict.cautions import cautions, fall
from winchsim.verdict.crosscheck import FullRun, Progress, differences, largest_difference, silent, sound
from winchsim.verdict.finding import Finding, FindingKind, Severity, Verdict
from winchsim.verdict.judge import judge
from winchsim.verdict.words import duration, given

SHARES = (0.1, 0.25, 0.5, 0.75, 1.0)
"""Loaded rungs, as shares of the target. [-] Common practice, no published source: small first, the last steps no larger than a
quarter."""

STOP_AT = 1.25
"""Time or current over the prediction at which a test is stopped. [-] Own choice: what data sheets and friction leave open."""

STOP_UNLOADED = 1.5
"""The same for the unloaded run, whose drag is what it is to measure. [-] Own choice."""

COOL = 5.0
"""The next rung begins when the windings are this near to the air's temperature. [K] Own choice."""

LONGEST_REST = 120
"""Longest rest that is planned [min]; a motor that is warmer then starts warm."""

GAP = 0.05
"""Most that may be between the load and the catch under it. [m] Own choice: a fall of a tenth of a second."""

CUT = 3.0
"""Time within which the power goes off when the load stops, or a third of the time that the windings bear, if less. [s]"""

WATCH = 10.0
"""Shortest watch of the held load. [s]"""

CAUSES = frozenset({
    FindingKind.OVERLOAD, FindingKind.ROPE_BROKE, FindingKind.DRUM_OVERFLOW, FindingKind.PAID_OUT, FindingKind.BATTERY_EMPTY,
    FindingKind.STALLED, FindingKind.STALLED_AT_LAYER_END, FindingKind.NOT_UP_IN_TIME, FindingKind.HIT_TOP_STOP,
    FindingKind.CHATTER,
})  # fmt: skip
"""Findings that can keep a load down or break something: of a rung that is not sound, the first of them in its full run is told
as the cause."""

ENDS = {
    End.STALLED: FindingKind.STALLED, End.STALLED_AT_LAYER_END: FindingKind.STALLED_AT_LAYER_END,
    End.BATTERY_EMPTY: FindingKind.BATTERY_EMPTY, End.OVERFLOW: FindingKind.DRUM_OVERFLOW,
    End.BLOCKED: FindingKind.HIT_TOP_STOP, End.LATE: FindingKind.NOT_UP_IN_TIME, End.CANNOT_BE_BUILT: FindingKind.NO_TRUST,
}  # fmt: skip
"""Cause of an unloaded run that does not come up, which is a slow lift. A ladder has no snag, so what blocks it is the stop."""

NEXT_TO_NOTHING = 1e-4
"""Load of the unloaded run in the computation, as a share of the target. [-]"""


@dataclass(frozen=True)
class Ladder:
    """A plan of tests.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the target.
    rungs : tuple of Rung
        Up to the first that does not come up, that one included.
    largest_difference : float or None
        Between slow and full lift times of the loaded rungs. [-]
    findings : tuple of Finding
    measure_first : tuple of str
        What to weigh and measure before the first rung.
    prints : tuple of str
        Print settings that the prediction rests on, one line for each stage.
    cautions : tuple of str
    sentence : str
        The answer.
    records : tuple of Record
        Of the loaded rungs, each raised and watched.
    """

    inputs: Inputs
    machine: Machine
    rungs: tuple[Rung, ...]
    largest_difference: float | None
    findings: tuple[Finding, ...]
    measure_first: tuple[str, ...]
    prints: tuple[str, ...]
    cautions: tuple[str, ...]
    sentence: str
    records: tuple[Record, ...]

    @property
    def good(self) -> bool:
        """Whether every rung up to the target comes up and nothing dangerous was found."""
        safe = all(finding.severity is not Severity.DANGER for finding in self.findings)
        return safe and all(rung.sound for rung in self.rungs)


def plan_ladder(
    inputs: Inputs, *, target: float | None = None, rungs: int = len(SHARES), on_progress: Progress = silent
) -> Ladder:
    """Plan of test loads up to a target.

    Parameters
    ----------
    inputs : Inputs
    target : float, optional
        Load of the last rung; left out, the scenario's. [kg]
    rungs : int
        Loaded rungs, at least 1.
    on_progress : callable
        Called with the rungs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built.
    """
    if target is not None:
        inputs = with_value(inputs, "load.mass", target)
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    masses = _masses(inputs.load.mass, rungs)
    light = lift_all(inputs, {"load.mass": [inputs.load.mass * NEXT_TO_NOTHING]})
    found, runs, records = [_unloaded(machine, light)], [], []
    warm, rest = _rested(machine, None)
    on_progress(1, len(masses) + 1)
    for place, mass in enumerate(masses, start=2):
        own = under_test(inputs, trial_values(inputs, mass=mass, winding_start=warm))
        rung, run, lifted, record = _rung(place, own, rest)
        found.append(rung)
        runs.append(run)
        records.append(lifted)
        on_progress(place, len(masses) + 1)
        if not rung.up:
            break
        warm, rest = _rested(machine, record)
    findings = (*dangers(found), *notes, *differences(runs, lambda i: given(masses[i], "kg")))
    return Ladder(
        inputs, machine, tuple(found), largest_difference(runs), findings, measure_first(inputs, machine), prints(inputs),
        cautions(machine), sentence(found, masses), tuple(records),
    )  # fmt: skip


def _masses(target: float, rungs: int) -> list[float]:
    """Loads of the rungs, rounded to what people weigh; the last is the target itself."""
    shares = SHARES if rungs == len(SHARES) else [0.1, *np.linspace(0.25, 1.0, rungs - 1)] if rungs > 2 else [0.5, 1.0][-rungs:]
    rounded = [float(f"{share * target:.2g}") for share in shares[:-1]]
    return [*(mass for mass in dict.fromkeys(rounded) if mass < target), target]


# --- heat between the rungs -----------------------------------------------------------------------------------------


def _rested(machine: Machine, record: Record | None) -> tuple[dict[int, float], float]:
    """Winding temperatures at the next start, by motor group, and the rest before it: whole minutes. [°C], [s]"""
    if record is None:
        return {g.number: g.winding_start for g in machine.groups}, 0.0
    minutes = np.arange(1.0, LONGEST_REST + 1)
    cooled = []
    for g in machine.groups:
        winding, case = (float(record[f"motor_{g.number}_{part}"][-1]) for part in ("winding", "case"))
        cooled.append(heat.step_exact(g.heat, 0.0, winding, case, machine.ambient, minutes * 60)[0])
    cool = np.flatnonzero(np.all(np.array(cooled) <= machine.ambient + COOL, axis=0))
    place = int(cool[0]) if len(cool) else LONGEST_REST - 1
    return {g.number: float(row[place]) for g, row in zip(machine.groups, cooled, strict=True)}, float(minutes[place] * 60)


# --- one rung --------------------------------------------------------------------------------------------------------


def _rung(place: int, inputs: Inputs, rest: float) -> tuple[Rung, FullRun, Record, Record]:
    """One loaded rung: raised and watched in one run, raised and lowered in another; both records come last."""
    watch = Phase(action="off", until="time", time=max(inputs.settings.watch, WATCH))
    record = simulate(programme(inputs, watch))
    verdict, history = judge(record), read_history(record)
    up, m = verdict.trusted and verdict.lifted, record.machine
    lowering, last = lowered(inputs, record) if up else (nothing_to_lower(), record)
    current, voltage = history.steady("current"), history.steady("voltage")
    energy, hits = fall(m)
    slow = lift_all(inputs, {"load.mass": [inputs.load.mass]})
    time = verdict.summary.lift_time
    run = FullRun(place - 2, _time(slow), time, bool(slow.in_range[0]), verdict)
    worst = verdict.rows[0] if verdict.rows else None
    rung = Rung(
        number=place, mass=inputs.load.mass, up=up, sound=sound(verdict), sentence=verdict.sentence,
        cause=None if sound(verdict) else _cause(verdict), lift_time=time,
        current=current, voltage=voltage, winding_start=max(g.winding_start for g in m.groups),
        winding_end=verdict.summary.peak_winding, weakest=worst.label if worst else "",
        factor=worst.link.factor if worst else math.inf, required_factor=worst.link.required if worst else math.nan,
        held=verdict.held, knock_proof=_knock_proof(verdict), coast=max(verdict.summary.highest - m.height(m.top_travel), 0.0),
        stop_time=None if time is None else STOP_AT * time, stop_current=None if current is None else STOP_AT * current,
        cut=_cut(m), rest_before=rest, lowering=lowering, fall_energy=energy, fall_speed=hits, catch_gap=GAP,
        catch_energy=m.body.mass * m.body.gravity * GAP,
    )  # fmt: skip
    return rung, run, record, last


def _cause(verdict: Verdict) -> FindingKind:
    """The first finding of a run that keeps a load down or breaks something."""
    return next((finding.kind for finding in verdict.findings if finding.kind in CAUSES), FindingKind.NO_TRUST)


def _knock_proof(verdict: Verdict) -> bool | None:
    """Whether a load that is held would stop again if it were set going."""
    if not verdict.held:
        return None
    by_friction = (finding.value for finding in verdict.findings if finding.kind is FindingKind.HELD_BY_FRICTION_ONLY)
    return all(share is None or share >= 1 for share in by_friction)


def _time(slow: Lifts) -> float | None:
    return float(slow.lift_time[0]) if slow.lifted[0] and slow.factor[0] >= 1 else None


def _cut(machine: Machine) -> float:
    """Time within which the power has to go off when the load stops. [s]"""
    return min(CUT, stalled_until_hot(machine) / 3)


def _unloaded(machine: Machine, light: Lifts) -> Rung:
    """The unloaded run: the drum winds the rope of the lift with nothing on it."""
    time, current = float(light.lift_time[0]), float(light.last_current[0])
    start = max(g.winding_start for g in machine.groups)
    nothing = Lowering(Descent.NOTHING, None, None, None, "Unwind it with the polarity reversed, the rope kept taut by hand.")
    up = bool(light.lifted[0])
    text = f"Winds the unloaded rope in {duration(time)} at {quantity(current, 'A')}: what it needs is drag."
    return Rung(
        number=1, mass=0.0, up=up, sound=up, sentence=text if up else "The unloaded drum does not wind all the rope.",
        cause=None if up else ENDS[End(int(light.end[0]))],
        lift_time=time if up else None, current=current, voltage=float(light.last_voltage[0]), winding_start=start,
        winding_end=float(light.peak_winding[0]), weakest="", factor=math.inf, required_factor=math.nan, held=None,
        knock_proof=None,
        coast=0.0, stop_time=STOP_UNLOADED * time if up else None, stop_current=STOP_UNLOADED * current, cut=_cut(machine),
        rest_before=0.0, lowering=nothing, fall_energy=0.0, fall_speed=0.0, catch_gap=GAP, catch_energy=0.0,
    )  # fmt: skip
