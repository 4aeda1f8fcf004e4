"""Which value of one thing to take: five questions about a winch, each a row of `QUESTIONS`.

A question says what is varied, which candidates are tried, which of them may be recommended, and
what is wanted least of. Everything else is the same for all: the checks of the assessment, the rule
of choice (`Sweep.order`), the bands of candidates that meet every limit, and full simulations of
what is recommended. Each of these corrects what the quasi-static model says of the candidates near
it.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from winchsim.assessment.candidates import CheckColumn, graded
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, Side, Status
from winchsim.errors import WinchsimError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, out_of_bounds, spec_at, value_at, with_value
from winchsim.model import build
from winchsim.quantity_text import quantity, round_numbers, rounded
from winchsim.simulation import simulate
from winchsim.slow import vary_each
from winchsim.studies.candidates import (
    PLACES,
    CandidateRange,
    Candidates,
    at_hand,
    counts,
    drums,
    gears,
    masses,
    nominal_voltage,
    voltages,
)
from winchsim.studies.choose import Build
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments


@dataclass(frozen=True)
class Wanted:
    """What is asked of a lift besides the limits of the assessment.

    Attributes
    ----------
    margin : float or None
        Required starting torque margin, cold, instead of the usual one. [-]
    target_time : float or None
        Longest lift time. [s]
    fastest : bool
        Whether the fastest is taken of those that are otherwise equal.
    """

    margin: float | None = None
    target_time: float | None = None
    fastest: bool = False


@dataclass(frozen=True)
class Question:
    """One question about a winch.

    Attributes
    ----------
    name : str
    path : str
        What is varied, with ``{group}`` for the number of the motor group.
    unit : str
        Unit that it is printed in.
    propose : callable
        Candidates of a scenario within a span.
    aim : callable
        From a sweep and its values to what is wanted least of.
    parts : str
        Parts at hand that are tried instead of these candidates where any are listed; empty for
        none.
    refined : bool
        Whether more values are tried where candidates begin to fail.
    scale : str
        Axis to draw it on: ``log``, ``even`` or ``dots``.
    """

    name: str
    path: str
    unit: str
    propose: Callable[[Inputs, CandidateRange], Candidates]
    aim: Callable[[Sweep, np.ndarray], np.ndarray]
    parts: str = ""
    refined: bool = False
    scale: str = "log"


@dataclass(frozen=True)
class StudyRun:
    """A candidate simulated in full.

    Attributes
    ----------
    index : int
    slow_time : float or None
        Its lift time by the quasi-static model; None where it is not lifted. [s]
    found : Assessment or None
        None where it cannot be simulated.
    problem : str
        Then why.
    """

    index: int
    slow_time: float | None
    found: Assessment | None
    problem: str = ""

    @property
    def time(self) -> float | None:
        """Lift time of the full simulation. [s]"""
        check = None if self.found is None else self.found.check(CheckKey.LIFT_TIME)
        return None if check is None else check.value

    @property
    def difference(self) -> float | None:
        """Lift time of the quasi-static model over the full one, less 1; None where one has none.
        [-]"""
        return self.slow_time / self.time - 1 if self.slow_time and self.time else None


@dataclass(frozen=True)
class Study:
    """Answer to a question.

    Attributes
    ----------
    question : Question
    path : str
        What was varied.
    sweep : Sweep
        All candidates, by the quasi-static model.
    values : ndarray
        Ascending. SI
    changes : tuple of Build
        One for each value, where builds differ by more than one value.
    wanted : Wanted
    present : int or None
        The scenario as it is.
    recommended : int or None
        What the rule takes and its full simulation confirms; None where there is none.
    nearest : int
        Else the candidate that is nearest to reaching the target without failing.
    offered : ndarray of bool
        Candidates that may be recommended, such as sizes that can be bought.
    runs : tuple of StudyRun
        In full: what is recommended, and edges of its bands.
    snag_left_out : bool
        Whether the scenario has a snag, which nothing is sized for.
    """

    question: Question
    path: str
    sweep: Sweep
    values: np.ndarray
    changes: tuple[Build, ...]
    wanted: Wanted
    present: int | None
    recommended: int | None
    nearest: int
    offered: np.ndarray
    runs: tuple[StudyRun, ...]
    snag_left_out: bool

    @property
    def confirmation(self) -> StudyRun | None:
        """Full simulation of what is recommended."""
        return self.run_of(self.recommended)

    def run_of(self, index: int | None) -> StudyRun | None:
        """Full simulation of a candidate."""
        return next((run for run in self.runs if run.index == index), None)

    @property
    def exit_code(self) -> int:
        """0 where a candidate is recommended: its full simulation reaches the target and no check
        fails; else 1."""
        return int(self.recommended is None)

    @property
    def difference(self) -> float | None:
        """Largest difference in lift time of quasi-static and full simulations. [-]"""
        return max((abs(r.difference) for r in self.runs if r.difference is not None), default=None)

    def inputs(self, index: int) -> Inputs:
        """Scenario of one candidate.

        Raises
        ------
        DomainError
            Its value is out of bounds.
        """
        return (
            self.changes[index].inputs
            if self.changes
            else with_value(self.sweep.inputs, self.path, self.values[index].item())
        )

    def bands(self, good: np.ndarray) -> tuple[tuple[int, int], ...]:
        """First and last of every run of neighbours that are good."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
        return tuple((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))

    def band(self, good: np.ndarray) -> tuple[int, int] | None:
        """The run that the recommended candidate is in."""
        at = -1 if self.recommended is None else self.recommended
        return next((band for band in self.bands(good) if band[0] <= at <= band[1]), None)

    @property
    def bounds(self) -> dict[str, CheckKey | None]:
        """The checks that end the band of what is recommended, ``below`` and ``above``; none at an
        end of the range."""
        band = None if self.changes else self.band(self.sweep.meets)
        beyond = {} if band is None else {"below": band[0] - 1, "above": band[1] + 1}
        return {
            side: self.sweep.binding(at, self.sweep.always)
            for side, at in beyond.items()
            if 0 <= at < len(self.values)
        }

    @property
    def limits(self) -> tuple[tuple[CheckColumn, np.ndarray, np.ndarray], ...]:
        """Checks that the question can change and that are not ok for every candidate, each with
        the candidates that are ok by it, and those that fail.

        What only a lift shows is not read off candidates that are not lifted (`Sweep.is_read`).
        """
        of = {c.key: self.sweep.is_read(c.key) for c in self.sweep.checks}
        return tuple(
            (
                c,
                of[c.key] & (c.rank == Status.OK.rank),
                of[c.key] & (c.rank == Status.FAILS.rank),
            )
            for c in self.sweep.checks
            if c.key in self.sweep.changeable
            and np.any(c.rank[of[c.key]] < Status.NOT_CHECKED.rank)
        )


@dataclass(frozen=True)
class Power:
    """The load that gets the most power, that power, and its speed. [kg], [W], [m/s]"""

    mass: float
    power: float
    speed: float


def most_power(study: Study) -> Power | None:
    """Where the most power reaches the load, strength left out; None where none is lifted, and of
    a study of something else."""
    lifts, body = study.sweep.lifts, build(study.sweep.inputs).body
    if lifts is None or not lifts.lifted.any() or study.path != "load.mass":
        return None
    power = np.where(
        lifts.lifted, study.values * body.gravity * body.rise * lifts.last_speed, -np.inf
    )
    at = int(np.argmax(power))
    return Power(float(study.values[at]), float(power[at]), float(lifts.last_speed[at]))


def _present_first(found: Sweep, values: np.ndarray) -> np.ndarray:
    """The gears as they are before any change, then the most to spare."""
    aim = -found.least_share()
    aim[np.abs(values - build(found.inputs).groups[0].ratio) < 1e-9 * values] = -np.inf
    return aim


QUESTIONS = {
    question.name: question
    for question in (
        Question(
            "drum",
            "drum.diameter",
            "mm",
            drums,
            lambda s, v: -s.least_share(),
            "drums",
            refined=True,
        ),
        Question("gears", "gears", "", gears, _present_first, "gears", scale="dots"),
        Question(
            "motors",
            "motors.{group}.count",
            "",
            counts,
            lambda s, v: v.astype(float),
            "motors",
            scale="dots",
        ),
        Question(
            "voltage",
            "supply.voltage",
            "V",
            voltages,
            lambda s, v: np.abs(np.log(v / nominal_voltage(s.inputs))),
            refined=True,
            scale="even",
        ),
        Question("heaviest", "load.mass", "kg", masses, lambda s, v: -v, refined=True),
    )
}
"""The questions by name, with what each wants least of: the drum with the most to spare to its
nearest limit, the fewest motors, the voltage nearest to the motors' own, the heaviest load."""


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
    span, wanted = CandidateRange(low, high, group, inch), Wanted(margin, target_time, fastest)
    snag, path = inputs.load.snag_height is not None, row.path.format(group=span.group)
    if high is not None and row.parts != "gears":  # whose path is no key
        spec = spec_at(inputs, path)
        wrong = out_of_bounds(spec, high)
        refuse_if(wrong, "--range", quantity(high, spec.unit), wrong)
    inputs = replace(inputs, load=replace(inputs.load, snag_height=None))
    build(inputs)  # or it is refused
    proposal = at_hand(inputs, span, row.parts) or row.propose(inputs, span)
    values, found = _swept(row, inputs, path, proposal, wanted)
    masks = [*(np.isin(values, sizes) for sizes in proposal.offered), np.isfinite(values)]
    among = next((mask for mask in masks if (mask & found.sound).any()), masks[-1])
    present = (
        [change.kind in ("none", "present") for change in proposal.changes]
        if proposal.changes
        else np.abs(values - value_at(inputs, path)) < 10.0**-PLACES
    )
    study = Study(
        row,
        path,
        found,
        values,
        proposal.changes,
        wanted,
        present=next(map(int, np.flatnonzero(present)), None),
        recommended=None,
        nearest=_nearest(found),
        offered=masks[0],
        runs=(),
        snag_left_out=snag,
    )
    return _in_full(study, among, on_progress or (lambda *_: None))


def _swept(
    question: Question, inputs: Inputs, path: str, proposal: Candidates, wanted: Wanted
) -> tuple[np.ndarray, Sweep]:
    """Values and their sweep, finer where candidates begin to fail or to meet every limit: numbers
    of three digits between two neighbours, and the next ones on both sides."""

    def made(values: np.ndarray) -> Sweep:
        changes = [(change.inputs, dict[str, Any]()) for change in proposal.changes]
        found = by_slow_model(vary_each(changes or [(inputs, {path: values})]))
        return replace(found, inputs=inputs, checks=_asked(found, wanted))

    values = proposal.values
    found = made(values)
    if question.refined and not proposal.changes:
        changes = np.any(np.diff(np.array([found.sound, found.meets], dtype=int)) != 0, axis=0)
        finer = [
            [rounded(low, 3), *round_numbers(low, high), rounded(high, 3, up=True)]
            for low, high in zip(values[:-1][changes], values[1:][changes], strict=True)
        ]
        if finer:
            values = np.unique(np.concatenate([values, *finer]))
            found = made(values)
    return values, found


def _asked(found: Sweep, wanted: Wanted) -> tuple[CheckColumn, ...]:
    """Checks with the margin and the time that the user asks for."""
    checks = {column.key: column for column in found.checks}
    if wanted.margin is not None:
        c = checks[CheckKey.START_COLD]
        checks[c.key] = graded(c.key, c.side, c.value, c.low, c.high, c.hard, wanted.margin)
    if (limit := wanted.target_time) is not None:
        time, key = found.results["lift_time"], CheckKey.LIFT_TIME
        checks[key] = graded(key, Side.MOST, time, time, time, limit, limit)
    return tuple(checks.values())


def _nearest(found: Sweep) -> int:
    """The candidate nearest to reaching the target without failing: lifted if any is, then by the
    worst share of a limit."""
    share = np.where(
        found.lifted,
        found.least_share(frozenset(CheckKey), "hard"),
        found.least_share({CheckKey.START_COLD, CheckKey.START_HOT}, "hard"),
    )
    return int(np.lexsort((-share, ~found.lifted))[0])


def _aim(study: Study) -> np.ndarray:
    """What is wanted least of, of each candidate."""
    return (
        study.sweep.results["lift_time"]
        if study.wanted.fastest
        else study.question.aim(study.sweep, study.values)
    )


def _in_full(study: Study, among: np.ndarray, tell: Callable[[int, int], None]) -> Study:
    """The study with what the rule takes, simulated in full, and its edges.

    Each full simulation corrects the checks of its neighbours, so that what is shown of the
    recommended candidate are the numbers of its own assessment.
    """
    runs: list[StudyRun] = []
    for _ in range(MOST_TRIES):
        left = among & study.sweep.sound
        index = next((int(i) for i in study.sweep.order(_aim(study)) if left[i]), None)
        if index is None or index in [run.index for run in runs]:
            break
        run = _simulated(study, index, ranges=True)
        runs.append(run)
        tell(len(runs), MOST_TRIES)
        if run.found is not None and _is_sound(run, study.wanted):
            study = replace(study, sweep=_corrected(study.sweep, index, run.found))
        else:
            among = among & (np.abs(study.values / study.values[index] - 1) > CLOSE_BY)
    if not runs and study.nearest not in study.sweep.problems:
        runs.append(_simulated(study, study.nearest, ranges=True))
    good = [run for run in runs if _is_sound(run, study.wanted)]
    best = None
    if good:
        full = of_assessments(study.sweep.inputs, {}, [run.found or run.problem for run in good])
        best = good[full.order(_aim(study)[[run.index for run in good]])[0]].index
    study = replace(study, recommended=best, nearest=runs[0].index if runs else study.nearest)
    edges = _edges(study, [run.index for run in runs])
    for index in edges:
        runs.append(_simulated(study, index, ranges=False))
        tell(len(runs), max(MOST_TRIES, len(edges)))
    return replace(study, runs=tuple(runs))


def _is_sound(run: StudyRun, wanted: Wanted) -> bool:
    in_time = (run.time or np.inf) <= (wanted.target_time or np.inf)
    return in_time and run.found is not None and run.found.exit_code == 0


def _simulated(study: Study, index: int, *, ranges: bool) -> StudyRun:
    found = study.sweep
    time = float(found.results["lift_time"][index]) if found.lifted[index] else None
    try:
        full = assess(simulate(study.inputs(index)), actions=False, ranges=ranges)
        return StudyRun(index, time, full)
    except WinchsimError as error:
        return StudyRun(index, time, None, str(error))


def _corrected(found: Sweep, index: int, full: Assessment) -> Sweep:
    """A sweep with checks multiplied by what a full simulation makes of one of the candidates, with
    its ranges."""
    columns = {column.key: column for column in found.checks}
    for key in CORRECTED & columns.keys():
        c, check = columns[key], full.check(key)
        other = key is CheckKey.PARTS and check is not None and check.about != found.parts[index]
        origin = found.inputs.settings.ambient if key is CheckKey.WINDING else 0.0
        rise = float(c.value[index]) - origin
        if check is None or not check.value or other or not rise:
            continue
        rises = (c.value - origin) / rise
        ends = [check.value if end is None else end for end in (check.value, check.low, check.high)]
        value, low, high = (origin + rises * (end - origin) for end in ends)
        columns[key] = new = graded(key, c.side, value, low, high, c.hard, c.required)
        unknown = (c.rank == Status.NOT_CHECKED.rank) & (new.rank == Status.OK.rank)
        new.rank[unknown] = Status.NOT_CHECKED.rank  # other parts stay unknown
    target, may_stall = columns[CheckKey.TARGET], columns[CheckKey.START_HOT].low < 1
    lifted = np.where(may_stall, Status.THIN.rank, Status.OK.rank)
    rank = np.where(target.rank == Status.FAILS.rank, target.rank, lifted)
    columns[CheckKey.TARGET] = replace(target, rank=rank)
    return replace(found, checks=tuple(columns.values()))


def _edges(study: Study, done: list[int]) -> list[int]:
    """What else is simulated in full: ends of the bands that have a neighbour beyond, or the
    present gears."""
    if study.changes:
        found = [] if study.recommended is None or study.present is None else [study.present]
    else:
        bands = [study.band(mask) or () for mask in (study.sweep.meets, study.sweep.sound)]
        found = [i for band in bands for i in band if 0 < i < len(study.values) - 1]
    return [i for i in dict.fromkeys(found) if i not in done]
