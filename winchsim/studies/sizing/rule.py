"""The rule of choice: what a sizing question recommends, confirmed by full simulations.

Checks and choice are those of the assessment. Each full simulation corrects what the quasi-static
model says of the candidates near it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

import numpy as np

from winchsim.assessment.candidates import RANKS, CheckColumn, choose_row, graded
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, End, Side, Status
from winchsim.errors import WinchsimError
from winchsim.frozen import replace
from winchsim.inputs import Inputs, value_at
from winchsim.model import build
from winchsim.quantity_text import round_numbers, rounded
from winchsim.simulation import simulate
from winchsim.slow import vary, vary_each
from winchsim.studies.sizing.candidates import PLACES, Proposal, Span
from winchsim.studies.sizing.study import QUESTIONS, Question, Run, Study, Wanted
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments

MOST_TRIES = 3
"""Candidates simulated in full before giving up. [-]"""

CLOSE_BY = 0.01
"""Share by which the next candidate differs from one that full simulation refutes. [-] Own
choice."""

CORRECTED = frozenset(
    {
        CheckKey.START_COLD,
        CheckKey.START_HOT,
        CheckKey.WINDING,
        CheckKey.PARTS,
        CheckKey.CONTINUOUS_CURRENT,
    }
)
"""Checks of the quasi-static model that a full simulation corrects."""

Aim = Callable[[Sweep], np.ndarray]
Progress = Callable[[int, int], None]


def size(
    inputs: Inputs,
    question: str | Question,
    *,
    low: float | None = None,
    high: float | None = None,
    margin: float | None = None,
    target_time: float | None = None,
    fastest: bool = False,
    group: int = 1,
    inch: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
) -> Study:
    """Which value of one thing to take.

    Parameters
    ----------
    inputs : Inputs
    question : str or Question
        ``drum``, ``gears``, ``motors``, ``voltage`` or ``heaviest``, or a row of one's own.
    low, high : float, optional
        Range to try. SI
    margin : float, optional
        Required starting torque margin, cold. [-]
    target_time : float, optional
        Longest lift time. [s]
    fastest : bool
        Whether the fastest is taken of those that are otherwise equal.
    group : int
        Motor group that ``motors`` is about, from 1.
    inch : bool
        Whether drums in inch sizes count as sizes that can be bought.
    on_progress : callable, optional
        Called with the full simulations done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or the range is empty.
    """
    row = QUESTIONS[question] if isinstance(question, str) else question
    span, wanted = Span(low, high, group, inch), Wanted(margin, target_time, fastest)
    snag = inputs.load.snag_height is not None
    inputs = replace(inputs, load=replace(inputs.load, snag_height=None)) if snag else inputs
    machine, path = build(inputs), row.path.format(group=span.group)
    proposal = row.propose(inputs, machine, span)
    values, found = _swept(row, inputs, path, proposal, wanted)
    among = next(
        (mask for mask in proposal.offered(values) if (mask & found.sound).any()),
        np.ones(len(values), dtype=bool),
    )

    def aim(found: Sweep) -> np.ndarray:
        least = found.results["lift_time"] if wanted.fastest else row.aim(found, values, machine)
        return np.where(np.isnan(least), np.inf, least)

    present = _present(proposal, inputs, path, values)
    base = Study(
        row,
        path,
        found,
        values,
        proposal.changes,
        wanted,
        present,
        None,
        _nearest(found),
        proposal.offered(values)[0],
        (),
        snag,
    )
    return _in_full(base, inputs, aim, among, on_progress or (lambda *_: None))


def _swept(
    question: Question, inputs: Inputs, path: str, proposal: Proposal, wanted: Wanted
) -> tuple[np.ndarray, Sweep]:
    """Values and their sweep, finer where candidates begin to fail or to meet every limit."""

    def made(values: np.ndarray) -> Sweep:
        if proposal.changes:
            found = by_slow_model(vary_each([(change.inputs, {}) for change in proposal.changes]))
        else:
            found = by_slow_model(vary(inputs, {path: values}))
        return replace(found, inputs=inputs, checks=_asked(found, wanted))

    values = proposal.values
    found = made(values)
    if question.refined and not proposal.changes:
        states = np.array([found.sound, found.meets], dtype=int)
        at = np.flatnonzero(np.any(np.diff(states) != 0, axis=0))
        finer = [_between(float(values[k]), float(values[k + 1])) for k in at]
        if any(finer):
            values = np.unique(np.concatenate([values, *finer]))
            found = made(values)
    return values, found


def _between(low: float, high: float) -> list[float]:
    """Numbers of three digits between two neighbours, and the next ones on both sides."""
    return [rounded(low, 3), *round_numbers(low, high), rounded(high, 3, up=True)]


def _asked(found: Sweep, wanted: Wanted) -> tuple[CheckColumn, ...]:
    """Checks with the margin and the time that the user asks for."""
    checks = {column.key: column for column in found.checks}
    if wanted.margin is not None:
        c = checks[CheckKey.START_COLD]
        checks[c.key] = graded(c.key, c.side, c.value, c.low, c.high, c.hard, wanted.margin)
    if wanted.target_time is not None:
        time, limit = found.results["lift_time"], wanted.target_time
        late = graded(CheckKey.LIFT_TIME, Side.MOST, time, time, time, limit, limit)
        checks[CheckKey.LIFT_TIME] = late
    return tuple(checks.values())


def _present(proposal: Proposal, inputs: Inputs, path: str, values: np.ndarray) -> int | None:
    if proposal.changes:
        return next(
            (n for n, change in enumerate(proposal.changes) if change.kind in ("none", "present")),
            None,
        )
    at = np.flatnonzero(np.abs(values - value_at(inputs, path)) < 10.0**-PLACES)
    return int(at[0]) if len(at) else None


def _nearest(found: Sweep) -> int:
    """The candidate nearest to reaching the target without failing: lifted if any is, then by the
    worst share of a limit."""
    lifted = np.array([end is End.REACHED for end in found.ends])
    starting = found.least_share({CheckKey.START_COLD, CheckKey.START_HOT}, "hard")
    share = np.where(lifted, found.least_share(frozenset(CheckKey), "hard"), starting)
    return int(np.lexsort((-share, ~lifted))[0])


def _sound(run: Run, wanted: Wanted) -> bool:
    late = wanted.target_time is not None and (run.time is None or run.time > wanted.target_time)
    return run.found is not None and run.found.exit_code == 0 and not late


def _in_full(study: Study, inputs: Inputs, aim: Aim, among: np.ndarray, tell: Progress) -> Study:
    """The study with what the rule takes, simulated in full, and its edges.

    Each full simulation corrects the checks of its neighbours, so that what is shown of the
    recommended candidate are the numbers of its own assessment.
    """
    runs: list[Run] = []
    for _ in range(MOST_TRIES):
        index = choose_row(study.sweep.checks, aim(study.sweep), among & study.sweep.sound)
        known = next((run for run in runs if run.index == index), None)
        if index is None or known is not None:
            break
        run = _simulated(study, inputs, index, ranges=True)
        runs.append(run)
        tell(len(runs), MOST_TRIES)
        if run.found is not None and _sound(run, study.wanted):
            checks = _corrected(study.sweep, index, run.found)
            study = replace(study, sweep=replace(study.sweep, checks=checks))
        else:
            among = among & (np.abs(study.values / study.values[index] - 1) > CLOSE_BY)
    if not runs and study.nearest not in study.sweep.problems:
        runs.append(_simulated(study, inputs, study.nearest, ranges=True))
    good = [run for run in runs if _sound(run, study.wanted)]
    full = of_assessments(inputs, {}, [run.found or run.problem for run in good])
    best = choose_row(full.checks, aim(study.sweep)[[run.index for run in good]]) if good else None
    study = replace(
        study,
        recommended=None if best is None else good[best].index,
        nearest=runs[0].index if runs else study.nearest,
    )
    edges = _edges(study, {run.index for run in runs})
    for index in edges:
        runs.append(_simulated(study, inputs, index, ranges=False))
        tell(len(runs), max(MOST_TRIES, len(edges)))
    return replace(study, runs=tuple(runs))


def _simulated(study: Study, inputs: Inputs, index: int, *, ranges: bool) -> Run:
    lifted = study.sweep.ends[index] is End.REACHED
    time = float(study.sweep.results["lift_time"][index]) if lifted else None
    try:
        build_one = (
            study.changes[index].inputs
            if study.changes
            else vary(inputs, {study.path: study.values[[index]]}).one(0)
        )
        return Run(index, time, assess(simulate(build_one), actions=False, ranges=ranges))
    except WinchsimError as error:
        return Run(index, time, None, str(error))


def _corrected(found: Sweep, index: int, full: Assessment) -> tuple[CheckColumn, ...]:
    """Checks multiplied by what a full simulation makes of one of the candidates, with its
    ranges."""
    columns = {column.key: column for column in found.checks}
    for key in CORRECTED & columns.keys():
        c, check = columns[key], full.check(key)
        same = key is not CheckKey.PARTS or (check and check.about == found.parts[index])
        if check is None or not check.value or not same:
            continue
        origin = found.inputs.settings.ambient if key is CheckKey.WINDING else 0.0
        rises = (c.value - origin) / (float(c.value[index]) - origin)
        ends = [check.value if end is None else end for end in (check.value, check.low, check.high)]
        value, low, high = (origin + rises * (end - origin) for end in ends)
        columns[key] = graded(key, c.side, value, low, high, c.hard, c.required)
        if key is CheckKey.PARTS:  # other parts stay unknown
            rank, unknown = columns[key].rank, c.rank == RANKS[Status.NOT_CHECKED]
            rank[unknown & (rank == RANKS[Status.OK])] = RANKS[Status.NOT_CHECKED]
    target = columns[CheckKey.TARGET]
    may_stall = columns[CheckKey.START_HOT].low < 1
    rank = np.where(may_stall, RANKS[Status.THIN], RANKS[Status.OK])
    rank = np.where(target.rank == RANKS[Status.FAILS], target.rank, rank)
    columns[CheckKey.TARGET] = replace(target, rank=rank)
    return tuple(columns.values())


def _edges(study: Study, done: Collection[int]) -> list[int]:
    """What else is simulated in full: ends of the bands that have a neighbour beyond, or the
    present gears."""
    if study.recommended is None:
        return []
    if study.changes:
        found = [study.present] if study.present is not None else []
    else:
        ends = [study.band(mask) or () for mask in (study.sweep.meets, study.sweep.sound)]
        found = [i for band in ends for i in band if 0 < i < len(study.values) - 1]
    return [i for i in dict.fromkeys(found) if i not in done]
