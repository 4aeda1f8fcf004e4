"""The answer to a sizing question: candidates, what is recommended, and the bands and limits around
it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from winchsim.assessment.candidates import RANKS, CheckColumn
from winchsim.assessment.kinds import Assessment, CheckKey, End, Status
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs
from winchsim.model import Machine, build
from winchsim.studies.builds import Build
from winchsim.studies.sizing.candidates import (
    Proposal,
    Span,
    counts,
    drums,
    gears,
    masses,
    nominal_voltage,
    voltages,
)
from winchsim.studies.sweep import Sweep

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
