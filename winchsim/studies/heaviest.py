"""The heaviest load that a build lifts: how far each limit lets it go, and the load that keeps them all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from winchsim.inputs import Inputs
from winchsim.model import Machine, build
from winchsim.physics.load import pull_needed
from winchsim.quantity_text import quantity, round_numbers, rounded
from winchsim.slow import Lifts, Variants, lift_all, vary
from winchsim.verdict.candidates import Judged, Wanted, judge_all, without_snag
from winchsim.verdict.choice import CLOSE
from winchsim.verdict.crosscheck import (
    FullRun,
    Progress,
    carried,
    differences,
    largest_difference,
    not_without,
    run_full,
    silent,
)
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import duration, speed

PATH = "load.mass"

CANDIDATES = 240
"""Loads tried over the range. [-]"""

LIGHTEST = 1e-3
"""Lightest load tried, as a share of the one that stalls the motors. [-]"""


@dataclass(frozen=True)
class Reach:
    """How far one limit lets the load go.

    Attributes
    ----------
    name : str
        Of the limit.
    hard : bool
        Whether the lift fails beyond it.
    mass : float or None
        Heaviest load that keeps it; None where it is kept over the whole range. [kg]
    reason : str
        Clause on what happens beyond; empty where it is kept.
    """

    name: str
    hard: bool
    mass: float | None
    reason: str


@dataclass(frozen=True)
class HeaviestStudy:
    """Result of a study of the load.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the scenario as it stands.
    wanted : Wanted
    masses : ndarray
        Candidates, ascending. [kg]
    judged : Judged
        Their standing.
    reaches : tuple of Reach
        The nearest limit first.
    works_up_to : float or None
        Heaviest load with which the lift works. [kg]
    keeps_every_limit_up_to : float or None
        Heaviest load that keeps every limit, required factors included. [kg]
    power_mass, power, power_speed : float or None
        Load at which the most power reaches it, that power, and its speed there. [kg], [W], [m/s]
    runs : tuple of FullRun
        Those two, and the scenario's own load, in full.
    findings : tuple of Finding
    sentence : str
        The answer.
    """

    inputs: Inputs
    machine: Machine
    wanted: Wanted
    masses: np.ndarray
    judged: Judged
    reaches: tuple[Reach, ...]
    works_up_to: float | None
    keeps_every_limit_up_to: float | None
    power_mass: float | None
    power: float | None
    power_speed: float | None
    runs: tuple[FullRun, ...]
    findings: tuple[Finding, ...]
    sentence: str

    @property
    def lifts(self) -> Lifts:
        """Slow lifts of the candidates."""
        return self.judged.lifts

    @property
    def largest_difference(self) -> float | None:
        """Between slow and full lift times, over all full runs. [-]"""
        return largest_difference(self.runs)

    @property
    def good(self) -> bool:
        """Whether the scenario's own load works, every load tried in full came up, and nothing dangerous was found."""
        mass = self.inputs.load.mass
        works = self.works_up_to is not None and mass <= self.works_up_to * (1 + 1e-9)
        safe = all(finding.severity is not Severity.DANGER for finding in self.findings)
        return works and safe and all(run.sound for run in self.runs)


def study_heaviest(inputs: Inputs, wanted: Wanted | None = None, *, on_progress: Progress = silent) -> HeaviestStudy:
    """The heaviest load that a scenario's build lifts.

    Parameters
    ----------
    inputs : Inputs
        Its required factors count.
    wanted : Wanted, optional
        What is asked of the lift.
    on_progress : callable
        Called with the full runs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built.
    """
    wanted = wanted or Wanted()
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    masses = np.unique(np.concatenate([np.geomspace(*_range(inputs, machine), CANDIDATES), [inputs.load.mass]]))
    judged, _ = _judged(inputs, machine, wanted, masses)
    finer = [masses]
    for limit in judged.limits:
        over = np.flatnonzero(limit.room < 1)
        if len(over) and over[0] > 0:
            last, beyond = float(masses[over[0] - 1]), float(masses[over[0]])
            finer.append(np.array([rounded(last, 3), *round_numbers(last, beyond)]))
    masses = np.unique(np.concatenate(finer))
    judged, variants = _judged(inputs, machine, wanted, masses)
    works, easy = _up_to(judged.works), _up_to(judged.keeps_every_limit)
    own = int(np.searchsorted(masses, inputs.load.mass))
    ends = [_told(masses, i) for i in (easy, works) if i is not None]
    wanted_runs = dict.fromkeys([*ends, own] if judged.works[own] else ends)
    runs = run_full([(i, variants.one(i)) for i in wanted_runs], judged.lifts, on_progress)
    power, at = _most_power(machine, masses, judged.lifts)
    dangers = _dangers(masses, runs)
    return HeaviestStudy(
        inputs, machine, wanted, masses, judged, _reaches(masses, judged), _mass(masses, works), _mass(masses, easy),
        _mass(masses, at), power, None if at is None else float(judged.lifts.last_speed[at]), runs,
        (*dangers, *differences(runs, lambda i: mass_text(masses[i])), *notes),
        _sentence(masses, judged, works, easy, runs, dangers),
    )  # fmt: skip


def _range(inputs: Inputs, machine: Machine) -> tuple[float, float]:
    """From a thousandth of the load that stalls the motors to a little more than it."""
    light = lift_all(inputs, {PATH: [inputs.load.mass * 1e-3]})
    pull = float(light.last_pull[0]) * machine.line.falls
    per_mass = pull_needed(machine.body, 0.0) / machine.body.mass
    most = max(pull / per_mass, 1e-6)
    return LIGHTEST * most, 1.3 * most


def _judged(inputs: Inputs, machine: Machine, wanted: Wanted, masses: np.ndarray) -> tuple[Judged, Variants]:
    variants = vary(inputs, {PATH: masses})
    return judge_all(lift_all(variants), machine, wanted), variants


def _up_to(good: np.ndarray) -> int | None:
    """Last candidate of the run from the lightest on that are good; None where the lightest is not."""
    bad = np.flatnonzero(~good)
    last = int(bad[0]) - 1 if len(bad) else len(good) - 1
    return last if last >= 0 else None


def _told(masses: np.ndarray, index: int) -> int:
    """The candidate that is told in place of another: the heaviest of three digits that is not heavier."""
    near = int(np.argmin(np.abs(masses - rounded(float(masses[index]), 3))))
    return min(near, index)


def _mass(masses: np.ndarray, index: int | None) -> float | None:
    return None if index is None else float(masses[index])


def _reaches(masses: np.ndarray, judged: Judged) -> tuple[Reach, ...]:
    found = []
    for limit in judged.limits:
        last = _up_to(limit.room >= 1)
        if last == len(masses) - 1:
            found.append(Reach(limit.name, limit.hard, None, ""))
        else:
            beyond = 0 if last is None else last + 1
            found.append(Reach(limit.name, limit.hard, 0.0 if last is None else float(masses[last]), limit.words(beyond)))
    return tuple(sorted(found, key=lambda reach: math.inf if reach.mass is None else reach.mass))


def _dangers(masses: np.ndarray, runs: tuple[FullRun, ...]) -> tuple[Finding, ...]:
    """Dangers of the full runs, each kind once: with the lightest load that shows it."""
    found: dict[FindingKind, Finding] = {}
    for run in sorted(runs, key=lambda run: run.index):
        for danger in carried(run, f"At {mass_text(masses[run.index])}"):
            found.setdefault(danger.kind, danger)
    return tuple(found.values())


def _most_power(machine: Machine, masses: np.ndarray, lifts: Lifts) -> tuple[float | None, int | None]:
    """Most power that reaches a load, and the candidate at which it does."""
    weight = masses * machine.body.gravity * machine.body.rise
    power = np.where(lifts.lifted, weight * lifts.last_speed, -1.0)
    at = int(np.argmax(power))
    return (float(power[at]), at) if power[at] > 0 else (None, None)


# --- words ----------------------------------------------------------------------------------------------------------


def mass_text(mass: Any, digits: int = 3) -> str:
    """A mass for people."""
    return quantity(float(mass), "kg" if mass >= 0.1 else "g", digits)


def up_to_text(mass: float, run: FullRun | None) -> str:
    """A mass that people can weigh, not above the given one; two digits where its full run is far from the slow lift."""
    close = run is not None and run.difference is not None and abs(run.difference) <= CLOSE
    digits = 3 if close else 2
    return mass_text(rounded(mass, digits), digits)


def _sentence(
    masses: np.ndarray, judged: Judged, works: int | None, easy: int | None, runs: tuple[FullRun, ...],
    dangers: tuple[Finding, ...],
) -> str:  # fmt: skip
    if works is None:
        return f"Not even {mass_text(masses[0])} works: {judged.reason(0)}."
    by_index = {run.index: run for run in runs}
    told = _told(masses, works)
    run, upto = by_index[told], up_to_text(float(masses[told]), by_index[told])
    text = f"Lifts up to {upto}"
    if run.full_time is not None and run.verdict is not None:
        rising = run.verdict.summary.steady_speed
        which = "" if upto == mass_text(masses[told]) else f"{mass_text(masses[told])} "
        text += f" ({which}in {duration(run.full_time)}{'' if rising is None else f', {speed(rising)}'})"
    if easy is None:
        return text + ", but no load keeps every required factor" + not_without(dangers)
    if easy < works:
        strict = _told(masses, easy)
        text += f"; keeps every required factor up to {up_to_text(float(masses[strict]), by_index[strict])}"
    else:
        text += ", with every required factor kept"
    failed = next((run for run in runs if not run.sound), None)
    if failed is not None:
        return f"{text}, by the quasi-static model; but the full run of {mass_text(masses[failed.index])}: {failed.sentence}"
    return text + not_without(dangers)
