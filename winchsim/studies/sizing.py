"""Which value of one thing to take: five questions about a winch, each a row of `QUESTIONS`.

A question says what is varied, which candidates are tried, which of them may be recommended, and what
is wanted least of. Everything else is the same for all: the checks and the rule of choice of the
assessment, the bands of candidates that meet every limit, and full simulations of what is recommended.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from winchsim.assessment.evaluate import assess
from winchsim.assessment.candidates import (
    RANKS,
    CheckColumn,
    choose_row,
    fails,
    ranks_of,
)
from winchsim.assessment.choice import choose
from winchsim.assessment.kinds import Assessment, CheckKey, End, Side, Status
from winchsim.constants import INCH
from winchsim.errors import DomainError, WinchsimError
from winchsim.inputs import Inputs, value_at
from winchsim.model import Machine, build
from winchsim.physics.load import pull_needed
from winchsim.quantity_text import round_numbers, rounded
from winchsim.simulation import simulate
from winchsim.slow import lift_all, vary, vary_freely
from winchsim.studies.gear_changes import GearChange, gear_changes
from winchsim.studies.sweep import Sweep, by_slow_model

MOST_TRIES = 3
"""Candidates simulated in full before giving up. [-]"""

CLOSE_BY = 0.01
"""Share by which the next candidate differs from one that full simulation refutes. [-] Own choice."""

CORRECTED = frozenset(
    {CheckKey.START_COLD, CheckKey.START_HOT, CheckKey.WINDING, CheckKey.PARTS, CheckKey.CONTINUOUS_CURRENT}
)
"""Checks of the quasi-static model that a full simulation corrects."""

WHILE_LIFTED = frozenset(
    {CheckKey.WINDING, CheckKey.PARTS, CheckKey.CONTINUOUS_CURRENT, CheckKey.BATTERY, CheckKey.LIFT_TIME}
)
"""Checks that need a lift which reaches its target."""

PLACES = 9
"""Decimal places of an SI value to which two candidates are the same."""

CANDIDATES = {"drum": 200, "voltage": 120, "heaviest": 240}
"""Values tried over the range of a question, besides those that can be recommended. [-]"""

COARSE = 80
"""Diameters tried to find where the motors stall, when no range is given. [-]"""

STOCK = tuple(
    size / 1000
    for size in (
        2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 22, 25, 28, 30, 32, 35, 40, 45, 50, 60, 70, 80,
        90, 100, 120, 140, 160, 180, 200, 250, 300, 350, 400, 450, 500,
    )
)  # fmt: skip
"""Diameters that round bar and tube are sold in. [m] Common practice, no published source."""

STOCK_INCH = tuple(
    eighths / 8 * INCH
    for eighths in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48)
)
"""The same in inches, an eighth to six. [m] Common practice, no published source."""

TURNED_STEP, MOST_TURNED = 0.0005, 100
"""Where no stock size will do, diameters in half millimetres, so many from the thin end. [m], [-]"""

LARGEST_DRUM = 10.0
"""Largest diameter tried. [m]"""

VOLTAGE_STEP, VOLTAGE_RANGE = 0.5, (0.25, 1.5)
"""Voltages to recommend; range tried in voltages of the motors' data. [V], [-]"""

MOST_MOTORS = 40
"""Counts tried where no range is given: up to four times the scenario's, 8 to this. [-]"""

LIGHTEST = 1e-3
"""Lightest load tried, as a share of the one that stalls the motors. [-]"""


Aim = Callable[[Sweep], np.ndarray]
Progress = Callable[[int, int], None]


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
class Span:
    """Where candidates are looked for: both ends (None for the usual ones), the motor group, inch sizes."""

    low: float | None = None
    high: float | None = None
    group: int = 1
    inch: bool = False


@dataclass(frozen=True)
class Proposal:
    """Candidates of a question.

    Attributes
    ----------
    values : ndarray
        Ascending. SI
    offered : callable
        From values to masks of those that may be recommended: the first mask that has one that does
        not fail counts.
    changes : tuple of GearChange
        Builds that differ by more than one value, one for each of the values.
    """

    values: np.ndarray
    offered: Callable[[np.ndarray], tuple[np.ndarray, ...]]
    changes: tuple[GearChange, ...] = ()


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
        """Lift time of the quasi-static model over the full one, less 1; None where one has none. [-]"""
        return self.slow_time / self.time - 1 if self.slow_time and self.time else None


@dataclass(frozen=True)
class Limit:
    """One check, and which candidates are ok by it and which fail."""

    column: CheckColumn
    ok: np.ndarray
    failing: np.ndarray


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
    changes : tuple of GearChange
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
    meets : ndarray of bool
        Whether each meets every limit that the question can change.
    always : tuple of CheckKey
        Checks that are thin for every candidate that does not fail.
    runs : tuple of Run
        In full: what is recommended, and edges of its bands.
    snag_left_out : bool
        Whether the scenario has a snag, which nothing is sized for.
    """

    question: Question
    path: str
    sweep: Sweep
    values: np.ndarray
    changes: tuple[GearChange, ...]
    wanted: Wanted
    present: int | None
    recommended: int | None
    nearest: int
    offered: np.ndarray
    meets: np.ndarray
    always: tuple[CheckKey, ...]
    runs: tuple[Run, ...]
    snag_left_out: bool

    @property
    def confirmation(self) -> Run | None:
        """Full simulation of what is recommended."""
        return next((run for run in self.runs if run.index == self.recommended), None)

    @property
    def exit_code(self) -> int:
        """0 where a candidate is recommended: its full simulation reaches the target and no check fails; else 1."""
        return int(self.recommended is None)

    @property
    def difference(self) -> float | None:
        """Largest difference in lift time of quasi-static and full simulations. [-]"""
        return max((abs(run.difference) for run in self.runs if run.difference is not None), default=None)

    @property
    def sound(self) -> np.ndarray:
        """Whether no check of each candidate fails."""
        return ~fails(self.sweep.checks)

    def bands(self, good: np.ndarray) -> tuple[tuple[int, int], ...]:
        """First and last of every run of neighbours that are good."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
        return tuple((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))

    def band(self, good: np.ndarray) -> tuple[int, int] | None:
        """The run that the recommended candidate is in."""
        index = self.recommended
        return next((b for b in self.bands(good) if index is not None and b[0] <= index <= b[1]), None)

    @property
    def bounds(self) -> dict[str, CheckKey | None]:
        """The checks that end the band of what is recommended, ``below`` and ``above``; none at an end of the range."""
        band, found = self.band(self.meets), {}
        for side, step in (("below", -1), ("above", 1)):
            beyond = -1 if band is None or self.changes else band[step > 0] + step
            if 0 <= beyond < len(self.values):
                found[side] = self.sweep.binding(beyond, self.always)
        return found

    @property
    def limits(self) -> tuple[Limit, ...]:
        """Checks that the question can change and that are not ok for every candidate.

        What only a lift shows (`WHILE_LIFTED`) is not read off candidates that are not lifted.
        """
        lifted = np.array([end is End.REACHED for end in self.sweep.ends])
        found = []
        for column in self.sweep.checks:
            read = lifted if column.key in WHILE_LIFTED else np.ones(len(self.values), dtype=bool)
            if column.key in self.sweep.changeable and (column.rank[read] < RANKS[Status.NOT_CHECKED]).any():
                ok, failing = (read & (column.rank == RANKS[status]) for status in (Status.OK, Status.FAILS))
                found.append(Limit(column, ok, failing))
        return tuple(found)


@dataclass(frozen=True)
class Power:
    """The load that gets the most power, that power, and its speed. [kg], [W], [m/s]"""

    mass: float
    power: float
    speed: float


def most_power(study: Study) -> Power | None:
    """Of a study of the load: where the most power reaches it, strength left out; None where none is lifted."""
    lifts, body = study.sweep.lifts, build(study.sweep.inputs).body
    if lifts is None or not lifts.lifted.any():
        return None
    power = np.where(lifts.lifted, study.values * body.gravity * body.rise * lifts.last_speed, -np.inf)
    at = int(np.argmax(power))
    return Power(float(study.values[at]), float(power[at]), float(lifts.last_speed[at]))


# --- the rule ---------------------------------------------------------------------------------------


def size(
    inputs: Inputs,
    question: str,
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
    question : str
        ``drum``, ``gears``, ``motors``, ``voltage`` or ``heaviest``.
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
    return answer(
        QUESTIONS[question], inputs, Span(low, high, group, inch), Wanted(margin, target_time, fastest), on_progress
    )


def answer(
    question: Question,
    inputs: Inputs,
    span: Span | None = None,
    wanted: Wanted | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Study:
    """Answer to any question; see `size`."""
    span, wanted = span or Span(), wanted or Wanted()
    snag = inputs.load.snag_height is not None
    inputs = replace(inputs, load=replace(inputs.load, snag_height=None)) if snag else inputs
    machine, path = build(inputs), question.path.format(group=span.group)
    proposal = question.propose(inputs, machine, span)
    values, found = _swept(question, inputs, path, proposal, wanted)
    good = ~fails(found.checks)
    among = next((mask for mask in proposal.offered(values) if (mask & good).any()), np.ones(len(values), dtype=bool))

    def aim(found: Sweep) -> np.ndarray:
        least = found.results["lift_time"] if wanted.fastest else question.aim(found, values, machine)
        return np.where(np.isnan(least), np.inf, least)

    meets, always = _meets(found.checks)
    present = _present(proposal, inputs, path, values)
    base = Study(question, path, found, values, proposal.changes, wanted, present, None,
                 _nearest(found, machine), proposal.offered(values)[0], meets, always, (), snag)  # fmt: skip
    return _in_full(base, inputs, aim, among, on_progress or (lambda *_: None))


def _swept(
    question: Question, inputs: Inputs, path: str, proposal: Proposal, wanted: Wanted
) -> tuple[np.ndarray, Sweep]:
    """Values and their sweep, finer where candidates begin to fail or to meet every limit."""
    if proposal.changes:
        variants = vary_freely([change.inputs for change in proposal.changes])
        found = by_slow_model(variants)
        return proposal.values, replace(found, inputs=inputs, checks=_asked(found, wanted))

    def made(values: np.ndarray) -> Sweep:
        found = by_slow_model(vary(inputs, {path: values}))
        return replace(found, checks=_asked(found, wanted))

    values = proposal.values
    found = made(values)
    if question.refined:
        states = (~fails(found.checks), _meets(found.checks)[0])
        at = np.flatnonzero(np.any([np.diff(state.astype(int)) != 0 for state in states], axis=0))
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
    checks = list(found.checks)
    if wanted.margin is not None:
        at = next(n for n, column in enumerate(checks) if column.key is CheckKey.START_COLD)
        column = replace(checks[at], required=wanted.margin)
        rank = ranks_of(column.value, column.low, column.high, column.side, column.hard, wanted.margin)
        checks[at] = replace(column, rank=rank)
    if wanted.target_time is not None:
        time, limit = found.results["lift_time"], wanted.target_time
        rank = ranks_of(time, time, time, Side.MOST, limit, limit)
        column = CheckColumn(CheckKey.LIFT_TIME, Side.MOST, time, time, time, limit, limit, rank)
        checks = [*(c for c in checks if c.key is not CheckKey.LIFT_TIME), column]
    return tuple(checks)


def _meets(checks: Sequence[CheckColumn]) -> tuple[np.ndarray, tuple[CheckKey, ...]]:
    """Which candidates meet every limit that the question can change; and checks that are thin for all that do not fail."""
    good = ~fails(checks)
    thin = {column.key: column.rank == RANKS[Status.THIN] for column in checks}
    always = tuple(key for key, mask in thin.items() if good.any() and mask[good].all())
    rest = [mask for key, mask in thin.items() if key not in always]
    return good & ~np.any(rest, axis=0), always


def _present(proposal: Proposal, inputs: Inputs, path: str, values: np.ndarray) -> int | None:
    if proposal.changes:
        return next((n for n, change in enumerate(proposal.changes) if change.kind == "none"), None)
    at = np.flatnonzero(np.abs(values - value_at(inputs, path)) < 10.0**-PLACES)
    return int(at[0]) if len(at) else None


def room(found: Sweep, keys: Collection[CheckKey], machine: Machine, name: str = "required") -> np.ndarray:
    """Least share of value and limit of some checks; below 1 a limit is missed. [-]

    Parameters
    ----------
    found : Sweep
    keys : collection of CheckKey
    machine : Machine
        Gives the temperature that windings warm up from.
    name : str
        ``required`` or ``hard``: which limit counts.
    """
    rooms = [np.full(len(found), np.inf)]
    for column in found.checks:
        limit = getattr(column, name)
        if column.key in keys and column.key is not CheckKey.TARGET and limit is not None:
            origin = machine.ambient if column.key is CheckKey.WINDING else 0.0
            with np.errstate(divide="ignore", invalid="ignore"):
                share = (column.value - origin) / (limit - origin)
                share = share if column.side is Side.LEAST else 1 / share
            rooms.append(np.where(np.isnan(share), np.inf, share))
    return np.min(rooms, axis=0)


def _nearest(found: Sweep, machine: Machine) -> int:
    """The candidate nearest to reaching the target without failing: lifted if any is, then by the worst share of a limit."""
    lifted = np.array([end is End.REACHED for end in found.ends])
    starting = room(found, {CheckKey.START_COLD, CheckKey.START_HOT}, machine, "hard")
    share = np.where(lifted, room(found, frozenset(CheckKey), machine, "hard"), starting)
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
        index = choose_row(study.sweep.checks, aim(study.sweep), among & study.sound)
        known = next((run for run in runs if run.index == index), None)
        if index is None or known is not None:
            break
        run = _simulated(study, inputs, index, ranges=True)
        runs.append(run)
        tell(len(runs), MOST_TRIES)
        if run.found is not None and _sound(run, study.wanted):
            checks = _corrected(study.sweep, index, run.found)
            meets, always = _meets(checks)
            study = replace(study, sweep=replace(study.sweep, checks=checks), meets=meets, always=always)
        else:
            among = among & (np.abs(study.values / study.values[index] - 1) > CLOSE_BY)
    if not runs and study.nearest not in study.sweep.problems:
        runs.append(_simulated(study, inputs, study.nearest, ranges=True))
    good = [run for run in runs if _sound(run, study.wanted)]
    aims = aim(study.sweep)
    best = choose([run.found for run in good if run.found], lambda n: float(aims[good[n].index]))
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
    """Checks multiplied by what a full simulation makes of one of the candidates, with its ranges."""
    columns: list[CheckColumn] = []
    for column in found.checks:
        check, value = full.check(column.key), float(column.value[index])
        same = column.key is not CheckKey.PARTS or (check and check.about == found.parts[index])
        if column.key not in CORRECTED or not check or not check.value or not same:
            columns.append(column)
            continue
        origin = found.inputs.settings.ambient if column.key is CheckKey.WINDING else 0.0
        ends = [check.value if end is None else end for end in (check.value, check.low, check.high)]
        value_, low, high = (
            origin + (column.value - origin) * ((end - origin) / (value - origin)) for end in ends
        )
        rank = ranks_of(value_, low, high, column.side, column.hard, column.required)
        if column.key is CheckKey.PARTS:
            rank[(rank == RANKS[Status.OK]) & (column.rank == RANKS[Status.NOT_CHECKED])] = RANKS[
                Status.NOT_CHECKED
            ]
        columns.append(CheckColumn(column.key, column.side, value_, low, high, column.hard, column.required, rank))
    hot = next(column for column in columns if column.key is CheckKey.START_HOT)
    for place, column in enumerate(columns):
        if column.key is CheckKey.TARGET:
            rank = np.where(hot.low < 1, RANKS[Status.THIN], RANKS[Status.OK])
            failing = column.rank == RANKS[Status.FAILS]
            columns[place] = replace(column, rank=np.where(failing, column.rank, rank))
    return tuple(columns)


def _edges(study: Study, done: Collection[int]) -> list[int]:
    """What else is simulated in full: ends of the bands that have a neighbour beyond, or the present gears."""
    if study.recommended is None:
        return []
    if study.changes:
        found = [study.present] if study.present is not None else []
    else:
        ends = [study.band(mask) or () for mask in (study.meets, study.sound)]
        found = [i for band in ends for i in band if 0 < i < len(study.values) - 1]
    return [i for i in dict.fromkeys(found) if i not in done]


# --- candidates -------------------------------------------------------------------------------------


def _grown(low: float, high: float, unit: str) -> tuple[float, float]:
    if not 0 < low < high:
        raise DomainError("--range", f"{low:g} to {high:g} {unit}".strip(), "a range that grows")
    return low, high


def _values(*parts: Any) -> np.ndarray:
    return np.unique(np.round(np.concatenate([np.asarray(part, dtype=float) for part in parts]), PLACES))


def _every(values: np.ndarray) -> tuple[np.ndarray, ...]:
    return (np.ones(len(values), dtype=bool),)


def _steps(low: float, high: float, step: float) -> np.ndarray:
    """Multiples of a step in a range, its ends included."""
    return np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1) * step


def _spread(low: float, high: float, count: int) -> list[float]:
    """Both ends, and between them numbers of three digits in equal ratios."""
    return [low, *(float(f"{value:.3g}") for value in np.geomspace(low, high, count)[1:-1]), high]


def _within(low: float, high: float, *values: float) -> list[float]:
    return [value for value in values if low <= value <= high]


def _drums(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    own = inputs.drum.diameter
    low, high = span.low or inputs.rope.diameter, span.high
    if high is None:
        coarse = np.geomspace(low, LARGEST_DRUM, COARSE)
        stalls = coarse[~(lift_all(inputs, {"drum.diameter": coarse}).stall_margin_cold >= 1)]
        high = max(1.2 * float(stalls.min(initial=LARGEST_DRUM)), 4 * low, 1.2 * own)
        high = rounded(high, 3, up=True)
    low, high = _grown(low, min(high, LARGEST_DRUM), "m")
    stock = np.round(_within(low, high, *STOCK, *(STOCK_INCH if span.inch else ())), PLACES)
    turned = np.round(_steps(low, high, TURNED_STEP)[:MOST_TURNED], PLACES)
    spread = _spread(low, high, CANDIDATES["drum"])
    return Proposal(
        _values(spread, stock, turned, _within(low, high, own)),
        lambda values: (np.isin(values, stock), np.isin(values, turned), *_every(values)),
    )


def _counts(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    present = int(value_at(inputs, f"motors.{span.group}.count"))
    low = max(int(span.low or 1), int(value_at(inputs, f"motors.{span.group}.dead")) + 1)
    high = int(span.high or min(max(4 * present, 8), max(MOST_MOTORS, present)))
    _grown(low, high, "motors")
    return Proposal(np.arange(low, high + 1), _every)


def _voltages(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    for place, phase in enumerate(inputs.phase, start=1):
        if phase.action == "raise" and phase.voltage is not None:
            raise DomainError(f"phase.{place}.voltage", f"{phase.voltage:g} V", "no voltage of its own")
    nominal, own = _nominal(machine), inputs.supply.voltage
    low = span.low or VOLTAGE_RANGE[0] * nominal
    low, high = _grown(low, span.high or VOLTAGE_RANGE[1] * max(nominal, own), "V")
    halves = np.round(_steps(low, high, VOLTAGE_STEP), PLACES)
    spread = _spread(low, high, CANDIDATES["voltage"])
    return Proposal(
        _values(spread, halves, _within(low, high, own)), lambda values: (np.isin(values, halves), *_every(values))
    )


def _nominal(machine: Machine) -> float:
    """Lowest voltage at which the data of running motors hold. [V]"""
    return min(group.fit.voltage for group in machine.groups)


def _masses(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    own, light = inputs.load.mass, lift_all(inputs, {"load.mass": [inputs.load.mass * 1e-3]})
    stalls = float(light.last_pull[0]) * machine.line.falls / (pull_needed(machine.body, 0.0) / own)
    high = span.high or 1.3 * max(stalls, 1e-6)
    low = span.low or rounded(LIGHTEST * high, 3)
    low, high = _grown(low, span.high or rounded(high, 3, up=True), "kg")
    return Proposal(_values(_spread(low, high, CANDIDATES["heaviest"]), _within(low, high, own)), _every)


def _gears(inputs: Inputs, machine: Machine, span: Span) -> Proposal:
    low, high = span.low or 0.0, span.high or math.inf
    changes = [c for c in gear_changes(inputs, machine) if low <= c.ratio <= high]
    if not changes:
        raise DomainError("--range", f"{low:g} to {high:g}", "a range with a ratio that one change of the gears gives")
    changes.sort(key=lambda change: change.ratio)
    return Proposal(np.array([change.ratio for change in changes]), _every, tuple(changes))


# --- what is wanted ---------------------------------------------------------------------------------


def _least_room(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    """The share of the nearest limit that the question can change, the most first."""
    return -room(found, found.changeable, machine)


def _present_first(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    """The gears as they are before any change, then the most room."""
    aim = _least_room(found, values, machine)
    aim[np.abs(values - machine.groups[0].ratio) < 1e-9 * values] = -np.inf
    return aim


def _size_of_drive(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return np.asarray(values, dtype=float)


def _from_nominal(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return np.abs(np.log(values / _nominal(machine)))


def _heaviest(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return -values


QUESTIONS = {
    question.name: question
    for question in (
        Question("drum", "drum.diameter", "mm", _drums, _least_room, refined=True),
        Question("gears", "gears", "", _gears, _present_first, scale="dots"),
        Question("motors", "motors.{group}.count", "", _counts, _size_of_drive, scale="dots"),
        Question("voltage", "supply.voltage", "V", _voltages, _from_nominal, refined=True, scale="even"),
        Question("heaviest", "load.mass", "kg", _masses, _heaviest, refined=True),
    )
}
"""The questions by name."""
