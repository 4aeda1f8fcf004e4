"""The sizing questions, each a row of `QUESTIONS`; the answer to one, with the bands and limits
around what is recommended; and the rule of choice, confirmed by full simulations.

Checks and choice are those of the assessment. Each full simulation corrects what the quasi-static
model says of the candidates near it.
"""

from collections.abc import Callable, Collection

import numpy as np

from winchsim.assessment.candidates import RANKS, CheckColumn, choose_row, graded
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, End, Side, Status
from winchsim.errors import WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, value_at
from winchsim.model import Machine, build
from winchsim.quantity_text import round_numbers, rounded
from winchsim.simulation import simulate
from winchsim.slow import vary, vary_each
from winchsim.studies.builds import Build
from winchsim.studies.sizing.candidates import (
    PLACES,
    Proposal,
    Span,
    counts,
    drums,
    gears,
    masses,
    nominal_voltage,
    voltages,
)
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments

WHILE_LIFTED = frozenset(
    {
        CheckKey.WINDING,
        CheckKey.PARTS,
        CheckKey.CONTINUOUS_CURRENT,
        CheckKey.BATTERY,
        CheckKey.LIFT_TIME,
    }
)
"""Checks that need a lift which reaches its target."""


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
        Candidates of a scenario and its machine within a span.
    aim : callable
        From a sweep, its values and its machine to what is wanted least of.
    refined : bool
        Whether more values are tried where candidates begin to fail.
    scale : str
        Axis to draw it on: ``log``, ``even`` or ``dots``.
    """

    name: str
    path: str
    unit: str
    propose: Callable[[Inputs, Machine, Span], Proposal]
    aim: Callable[[Sweep, np.ndarray, Machine], np.ndarray]
    refined: bool = False
    scale: str = "log"


@dataclass(frozen=True)
class Run:
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
    runs : tuple of Run
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
    runs: tuple[Run, ...]
    snag_left_out: bool

    @property
    def confirmation(self) -> Run | None:
        """Full simulation of what is recommended."""
        return next((run for run in self.runs if run.index == self.recommended), None)

    @property
    def exit_code(self) -> int:
        """0 where a candidate is recommended: its full simulation reaches the target and no check
        fails; else 1."""
        return int(self.recommended is None)

    @property
    def difference(self) -> float | None:
        """Largest difference in lift time of quasi-static and full simulations. [-]"""
        return max(
            (abs(run.difference) for run in self.runs if run.difference is not None), default=None
        )

    def bands(self, good: np.ndarray) -> tuple[tuple[int, int], ...]:
        """First and last of every run of neighbours that are good."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
        return tuple((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))

    def band(self, good: np.ndarray) -> tuple[int, int] | None:
        """The run that the recommended candidate is in."""
        index = self.recommended
        return next(
            (b for b in self.bands(good) if index is not None and b[0] <= index <= b[1]), None
        )

    @property
    def bounds(self) -> dict[str, CheckKey | None]:
        """The checks that end the band of what is recommended, ``below`` and ``above``; none at an
        end of the range."""
        band, found = self.band(self.sweep.meets), {}
        for side, step in (("below", -1), ("above", 1)):
            beyond = -1 if band is None or self.changes else band[step > 0] + step
            if 0 <= beyond < len(self.values):
                found[side] = self.sweep.binding(beyond, self.sweep.always)
        return found

    @property
    def limits(self) -> tuple[tuple[CheckColumn, np.ndarray, np.ndarray], ...]:
        """Checks that the question can change and that are not ok for every candidate, each with
        the candidates that are ok by it, and those that fail.

        What only a lift shows (`WHILE_LIFTED`) is not read off candidates that are not lifted.
        """
        lifted, found = np.array([end is End.REACHED for end in self.sweep.ends]), []
        for column in self.sweep.checks:
            read = lifted if column.key in WHILE_LIFTED else np.ones(len(self.values), dtype=bool)
            if column.key in self.sweep.changeable and np.any(
                column.rank[read] < RANKS[Status.NOT_CHECKED]
            ):
                ok, failing = (column.rank == RANKS[end] for end in (Status.OK, Status.FAILS))
                found.append((column, read & ok, read & failing))
        return tuple(found)


@dataclass(frozen=True)
class Power:
    """The load that gets the most power, that power, and its speed. [kg], [W], [m/s]"""

    mass: float
    power: float
    speed: float


def most_power(study: Study) -> Power | None:
    """Of a study of the load: where the most power reaches it, strength left out; None where none
    is lifted."""
    lifts, body = study.sweep.lifts, build(study.sweep.inputs).body
    if lifts is None or not lifts.lifted.any():
        return None
    power = np.where(
        lifts.lifted, study.values * body.gravity * body.rise * lifts.last_speed, -np.inf
    )
    at = int(np.argmax(power))
    return Power(float(study.values[at]), float(power[at]), float(lifts.last_speed[at]))


def _present_first(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    """The gears as they are before any change, then the most to spare."""
    aim = -found.least_share()
    aim[np.abs(values - machine.groups[0].ratio) < 1e-9 * values] = -np.inf
    return aim


QUESTIONS = {
    question.name: question
    for question in (
        Question("drum", "drum.diameter", "mm", drums, lambda s, v, m: -s.least_share(), True),
        Question("gears", "gears", "", gears, _present_first, scale="dots"),
        Question(
            "motors", "motors.{group}.count", "", counts, lambda s, v, m: v.astype(float),
            scale="dots",
        ),
        Question(
            "voltage", "supply.voltage", "V", voltages,
            lambda s, v, m: np.abs(np.log(v / nominal_voltage(m))), refined=True, scale="even",
        ),
        Question("heaviest", "load.mass", "kg", masses, lambda s, v, m: -v, refined=True),
    )
}  # fmt: skip
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
