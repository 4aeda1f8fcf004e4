"""Choosing one of many candidates: the band it lies in, full runs of it and of the band's edges, and what has to be said."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from winchsim.quantity_text import number, round_numbers, rounded
from winchsim.slow import Hold, Lifts, Variants
from winchsim.verdict.candidates import Band, Judged, bands, edge_of
from winchsim.verdict.crosscheck import FullRun, Progress, carried, differences, largest_difference, run_full
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import percent

MOST_TRIES = 3
"""Candidates tried in full before giving up. [-]"""

CLOSE = 0.005
"""Difference in lift time between quasi-static model and full run up to which the end of a band is told with three digits; else
it is told with two. [-] Own choice."""

Called = Callable[[int], str]
"""Name of a candidate, for people."""


@dataclass(frozen=True)
class Choice:
    """One of many candidates, with what speaks for it.

    Attributes
    ----------
    variants : Variants
    values : ndarray
        Of the candidates, ascending: what is chosen. [SI]
    judged : Judged
    recommended : int or None
        Candidate to take.
    band : Band or None
        Neighbouring candidates that work, with the recommended one; None where none works.
    other_bands : int
        Further bands.
    runs : tuple of FullRun
        Of candidates tried, the recommended one among them, and of the band's edges.
    findings : tuple of Finding
    """

    variants: Variants
    values: np.ndarray
    judged: Judged
    recommended: int | None
    band: Band | None
    other_bands: int
    runs: tuple[FullRun, ...]
    findings: tuple[Finding, ...]

    @property
    def lifts(self) -> Lifts:
        """Slow lifts of the candidates."""
        return self.judged.lifts

    @property
    def confirmation(self) -> FullRun | None:
        """Full run of the recommended candidate."""
        return next((run for run in self.runs if run.index == self.recommended), None)

    @property
    def good(self) -> bool:
        """Whether there is a recommended candidate that the full run confirms."""
        return self.confirmation is not None and self.confirmation.sound

    @property
    def passes(self) -> bool:
        """Whether there is a recommended candidate that the full run confirms, and nothing dangerous was found."""
        return self.good and self.safe

    @property
    def largest_difference(self) -> float | None:
        """Between slow and full lift times, over all full runs. [-]"""
        return largest_difference(self.runs)

    @property
    def safe(self) -> bool:
        """Whether nothing dangerous was found."""
        return all(finding.severity is not Severity.DANGER for finding in self.findings)


def sharpened(
    values: np.ndarray, judge: Callable[[np.ndarray], tuple[Judged, Variants]]
) -> tuple[np.ndarray, Judged, Variants]:
    """Candidates with more of them where working or holding ends: all numbers of three digits between two neighbours.

    So the edges of a band are sharp, and what is printed of them is what was tried.

    Parameters
    ----------
    values : ndarray
        Ascending, over 0. [SI]
    judge : callable
        Judges candidates by their values.
    """
    judged, variants = judge(values)
    holds = judged.lifts.lifted & (judged.lifts.holding == Hold.HOLDS)
    ends = np.flatnonzero((np.diff(judged.works.astype(int)) != 0) | (np.diff(holds.astype(int)) != 0))
    finer = [round_numbers(float(values[k]), float(values[k + 1])) for k in ends]
    if not any(finer):
        return values, judged, variants
    values = np.unique(np.concatenate([values, *finer]))
    return (values, *judge(values))


def choose(
    variants: Variants,
    judged: Judged,
    values: np.ndarray,
    called: Called,
    groups: Sequence[np.ndarray],
    on_progress: Progress,
    *,
    rank: np.ndarray | None = None,
    also: Sequence[int] | None = None,
    notes: Sequence[Finding] = (),
) -> Choice:
    """Choose a candidate and confirm it and its band's edges in full.

    Parameters
    ----------
    variants : Variants
    judged : Judged
    values : ndarray
        Ascending. [SI]
    called : callable
    groups : sequence of ndarray of bool
        Candidates to choose among: the first of these that has one that works.
    on_progress : callable
        Called with the full runs done and their number.
    rank : ndarray, optional
        Of the candidates that break no limit (or, where there are none, that work and hold the load, or that work) the one
        with the least of this is taken; left out, the one with the most room.
    also : sequence of int, optional
        Candidates to run in full instead of the edges of a band, where neighbours have little in common.
    notes : sequence of Finding
        What has to be said besides.
    """
    among = next((group for group in groups if (judged.works & group).any()), np.zeros(len(values), dtype=bool))
    runs: tuple[FullRun, ...] = ()
    best = None
    for tries in range(MOST_TRIES):
        best = judged.best(among) if rank is None else _least(judged, among, rank)
        if best is None:
            break
        runs += run_full([(best, variants.one(best))], judged.lifts, on_progress, done=len(runs), total=3 + tries)
        if runs[-1].sound:
            break
        among = among & (np.arange(len(values)) != best)
    if best is None and runs:  # nothing that works is left: the first one stands, with what the full run says of it
        best = runs[0].index
    found = [] if also is not None else bands(judged)
    chosen = _band_of(found, best, values)
    nearest = () if judged.works.any() else (int(np.argmax(judged.room)),)
    done = {run.index for run in runs} | set(variants.problems)
    more = [i for i in dict.fromkeys(also or chosen or nearest) if i not in done]
    runs += run_full(
        [(i, variants.one(i)) for i in more], judged.lifts, on_progress, done=len(runs), total=len(runs) + len(more)
    )
    band = None
    if chosen is not None:
        ends = ((chosen[0], chosen[0] - 1), (chosen[1], chosen[1] + 1))
        band = Band(*(edge_of(values, judged, inside, outside, variants.problems) for inside, outside in ends))
        band = _as_told(band, chosen, values, best, runs)
    dangers = [found for run in runs if run.index == best for found in carried(run, f"As recommended ({called(run.index)})")]
    findings = (*dangers, *differences(runs, called), *_findings(judged, best, runs), *notes)
    return Choice(variants, values, judged, best, band, max(len(found) - 1, 0), runs, findings)


def _as_told(band: Band, ends: tuple[int, int], values: np.ndarray, best: int | None, runs: Sequence[FullRun]) -> Band:
    """The band with its edges rounded inwards, to two digits where a full run is far from the quasi-static model."""
    if np.issubdtype(values.dtype, np.integer):
        return band
    off = {run.index: run.difference for run in runs}
    told = []
    for edge, index, up in ((band.low, ends[0], True), (band.high, ends[1], False)):
        gap = off.get(index)
        digits = 3 if edge.beyond is None or (gap is not None and abs(gap) <= CLOSE) else 2
        shown = edge.value if edge.beyond is None else rounded(edge.value, digits, up=up)
        told.append(replace(edge, digits=digits, shown=shown))
    low, high = told
    within = low.told <= high.told if best is None else low.told <= values[best] <= high.told
    return Band(low, high) if within else band


def _least(judged: Judged, among: np.ndarray, rank: np.ndarray) -> int | None:
    stays_up = judged.lifts.holding != Hold.RUNS_BACK
    works = among & judged.works
    for allowed in (works & judged.keeps_every_limit, works & stays_up, works):
        if allowed.any():
            return int(np.argmin(np.where(allowed, rank, np.inf)))
    return None


def _band_of(found: Sequence[tuple[int, int]], index: int | None, values: np.ndarray) -> tuple[int, int] | None:
    """Band with the recommended candidate; without one, the widest."""
    if index is not None:
        return next((band for band in found if band[0] <= index <= band[1]), None)
    return max(found, key=lambda band: values[band[1]] / values[band[0]], default=None)


# --- words ----------------------------------------------------------------------------------------------------------


def why(choice: Choice, sort: str) -> str:
    """Why the recommended candidate and no other; empty where there is none.

    Parameters
    ----------
    choice : Choice
    sort : str
        What it was chosen among: ``sizes that can be bought``.
    """
    index, judged = choice.recommended, choice.judged
    if index is None:
        return ""
    room, limit = judged.room[index], judged.limits[judged.nearest_limit[index]]
    if room >= 1:
        return (
            f"Of the {sort} it leaves the most room to the nearest limit, the {limit.name}, "
            f"which is kept {number(room, 3)} times over: {limit.words(index)}."
        )
    return (
        f"Of the {sort} it comes nearest to keeping every limit; it misses the {limit.name} by {percent(1 - room)}: "
        f"{limit.words(index)}."
    )


def checked(choice: Choice) -> str:
    """How many full runs stand behind a choice, and how far the quasi-static model is off."""
    off = choice.largest_difference
    if off is None:
        return f"{len(choice.runs)} run in full; no lift times to compare." if choice.runs else ""
    return f"{len(choice.runs)} run in full; largest difference in lift time {percent(off, 1)}."


def _findings(judged: Judged, recommended: int | None, runs: Sequence[FullRun]) -> tuple[Finding, ...]:
    if recommended is None:
        return ()
    lifts, found = judged.lifts, []
    for limit in judged.limits:
        if limit.kind is not None and limit.room[recommended] < 1:
            found.append(
                Finding(limit.kind, Severity.CAUTION, f"As recommended, {limit.words(recommended)}.",
                        value=float(limit.room[recommended]), limit=1.0)
            )  # fmt: skip
    held = next((run.held for run in runs if run.index == recommended), None)
    if held and lifts.holding[recommended] == Hold.AT_REST_ONLY:
        found.append(
            Finding(FindingKind.HELD_BY_FRICTION_ONLY, Severity.CAUTION,
                    "As recommended, friction at rest holds the load, but a jolt may start it, and then it keeps running.")
        )  # fmt: skip
    if lifts.stall_factor[recommended] < 1:
        text = f"The motors can break the {lifts.stall_weakest[recommended]} before they stall: never let it snag."
        found.append(
            Finding(FindingKind.BREAKS_BEFORE_STALL, Severity.CAUTION, text,
                    value=float(lifts.stall_factor[recommended]), limit=1.0, help="Set a current limit on the supply.")
        )  # fmt: skip
    return tuple(found)
