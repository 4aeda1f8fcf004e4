"""What may differ from build to build, each number with how far it may be off and how often; and
the builds that are drawn: motors one by one, each build made a machine."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from enum import StrEnum
from typing import Any

import numpy as np
from scipy import stats

from winchsim.errors import DomainError, InputError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import (
    DRAG_RANGE,
    Inputs,
    MotorGroup,
    Spec,
    is_number,
    spec_at,
    value_at,
    walk,
    with_values,
)
from winchsim.model import Machine, build, stalled_torque

NORMAL_CUT = 3.0
"""A normal distribution is cut off at so many standard deviations. [-]"""

SHAPES: dict[str, Callable[[float, float, float], Any]] = {
    "uniform": lambda center, low, width: stats.uniform(low, width),
    "normal": lambda center, low, width: stats.truncnorm(
        -NORMAL_CUT, NORMAL_CUT, center, width / 4
    ),
    "triangular": lambda center, low, width: stats.triang((center - low) / width, low, width),
}
"""Distribution of each shape, from its most likely value, its low end and its width."""

STRENGTH = "strength of "
"""Begins the name of a strength that is uncertain, in place of a path."""

_SHARED = ("voltage", "winding_start", "winding_limit")
"""Values of a motor group that all its motors have in common."""

_NAMED = ("tabled", "from memory")
"""Strengths with this basis are as uncertain as their range says; a given or tested one is what the
user says it is."""


Given = tuple[str, float, str]
"""A tolerance that the user gives: the path of its value; half the width of the interval that
nearly all parts lie in, which are the ends of a uniform or triangular distribution and two standard
deviations of a normal one [SI]; and its shape, ``uniform``, ``normal`` or ``triangular``."""


@dataclass(frozen=True)
class Uncertain:
    """One number that differs from build to build.

    Attributes
    ----------
    path : str
        Of the value; for a strength its name.
    center, low, high : float
        Most likely value, and the interval that nearly all parts lie in; multiples of the estimate
        for a strength. [SI]
    shape : str
        ``uniform``, ``normal`` or ``triangular``.
    unit : str
        Unit to print it in.
    assumed : bool
        Whether the scenario does not say it.
    each : bool
        Whether every motor of its group draws its own.
    links : tuple of int
        For a strength: places of the machine's links that it is the strength of.
    bounds : tuple of float
        No value lies beyond them. [SI]
    """

    path: str
    center: float
    low: float
    high: float
    shape: str
    unit: str
    assumed: bool
    each: bool = False
    links: tuple[int, ...] = ()
    bounds: tuple[float, float] = (-np.inf, np.inf)

    def quantile(self, shares: np.ndarray) -> np.ndarray:
        """Values below which shares of all parts lie. [SI]

        Parameters
        ----------
        shares : ndarray
            Between 0 and 1. [-]
        """
        width = self.high - self.low
        if width <= 0:
            return np.full(np.shape(shares), self.center)
        drawn = SHAPES[self.shape](self.center, self.low, width).ppf(shares)
        return np.clip(drawn, *self.bounds)


Draw = tuple[Uncertain, tuple[str, ...]]


def uncertain(inputs: Inputs, machine: Machine, given: Sequence[Given]) -> tuple[Uncertain, ...]:
    """Every value that differs from build to build of a scenario, strengths aside.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    given : sequence of Given
        They stand before what is assumed.

    Returns
    -------
    tuple of Uncertain
        What the user gives; what usually differs from part to part, wherever the scenario gives a
        value; and what the scenario leaves out, within the range of its estimate.

    Raises
    ------
    DomainError
        A tolerance of a value that is not there, or no number.
    """
    found: dict[str, Uncertain] = {}
    for path, half, shape in given:
        spec, value = spec_at(inputs, path), value_at(inputs, path)
        if spec.kind not in ("quantity", "number") or not isinstance(value, float):
            raise DomainError(path, value, "a number that the scenario gives")
        refuse_if(shape not in SHAPES, path, shape, "uniform, normal or triangular")
        found[path] = _around(path, value, half, shape, spec, assumed=False)
    for path, value, spec in walk(inputs):
        left_out = spec.assumed is not None and path not in inputs.given
        if spec.spread and not left_out and isinstance(value, float) and value:
            half = abs(value) * float(spec.spread.removesuffix("%")) / 100
            found.setdefault(path, _around(path, value, half, "normal", spec, assumed=True))
    estimates = {
        row.path: (row.value, row.low, row.high)
        for row in machine.assumed
        if isinstance(row.value, float)
        and row.low is not None
        and row.high is not None
        and row.low < row.high
        and is_number(inputs, row.path)
        and not row.path.endswith(".shaft_drag")
    }
    estimates |= {
        path: (0.0, 0.0, most)
        for path, most in shaft_drags(inputs, machine).items()
        if value_at(inputs, path) is None and most > 0
    }
    for path, ends in estimates.items():
        spec = spec_at(inputs, path)
        row = Uncertain(path, *ends, "triangular", spec.unit, assumed=True, bounds=_bounds(spec))
        found.setdefault(path, row)
    return tuple(found.values())


def shaft_drags(inputs: Inputs, machine: Machine) -> dict[str, float]:
    """Constant drag of each stage's output shafts, or the most that is usual, as one number for all
    its repeats. [N·m]

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    """
    torque, found = stalled_torque(inputs, machine.groups), {}  # on the stage's first output shaft
    for number, stage in enumerate(inputs.stage, start=1):
        ratio = stage.speed_ratio()
        torque *= ratio if number > 1 else 1.0
        shares = sum(ratio**-turn for turn in range(stage.repeat))
        drag = stage.shaft_drag
        found[f"stage.{number}.shaft_drag"] = (
            stage.repeat * DRAG_RANGE[1] * torque / shares if drag is None else drag
        )
        torque *= ratio ** (stage.repeat - 1)
    return found


def _around(
    path: str, value: float, half: float, shape: str, spec: Spec, *, assumed: bool
) -> Uncertain:
    ends, bounds = (value - half, value + half), _bounds(spec)
    each = path.startswith("motors.") and not path.endswith(_SHARED)
    return Uncertain(path, value, *ends, shape, spec.unit, assumed, each, bounds=bounds)


def _bounds(spec: Spec) -> tuple[float, float]:
    """Bounds that a drawn value keeps to."""
    low = max(spec.low, 1e-9 * min(spec.high, 1.0)) if spec.low_open else spec.low
    return low, spec.high


def strengths(machine: Machine) -> tuple[Uncertain, ...]:
    """Strengths of links that are known within a range; one draw for all that are made alike.

    Parameters
    ----------
    machine : Machine
    """
    found: dict[str, Uncertain] = {}
    for place, link in enumerate(machine.links):
        s = link.strength
        if s.basis in _NAMED and s.low < s.high and s.value > 0:
            part = f"teeth of {link.where.replace('.', ' ')}" if link.kind.is_tooth else link.label
            name, ends = f"{STRENGTH}the {part}", (s.low / s.value, s.high / s.value)
            old = found.setdefault(
                name, Uncertain(name, 1.0, *ends, "triangular", "", True, bounds=(0.0, np.inf))
            )
            found[name] = replace(old, links=(*old.links, place))
    return tuple(found.values())


MOST_SINGLE = 24
"""Most motors that are told apart; more are put together in bundles of equal ones. [-]"""


class MotorsApart(StrEnum):
    """How the motors of a build differ."""

    APART = "each its own"
    BUNDLED = "in bundles of equal ones"
    EQUAL = "all of a group equal"
    NOT_APART = "taken as equal, for the train does not allow to tell them apart"


@dataclass(frozen=True)
class BuildPlan:
    """How builds are made of numbers between 0 and 1.

    Attributes
    ----------
    inputs : Inputs
        Scenario with its motors told apart where they can be.
    owners : tuple of int
        Of each running motor or bundle, the first groups of `inputs`, its group in the user's
        scenario, from 1; empty where they are not told apart.
    draws : tuple of (Uncertain, tuple of str)
        Of each number between 0 and 1 that a build takes: what it is drawn for, and the paths in
        `inputs` that its value goes to; none for a strength.
    motors : MotorsApart
        How the motors of a build differ.
    """

    inputs: Inputs
    owners: tuple[int, ...]
    draws: tuple[Draw, ...]
    motors: MotorsApart

    @property
    def rows(self) -> tuple[Uncertain, ...]:
        """What differs from build to build."""
        return tuple(dict.fromkeys(row for row, _ in self.draws))

    def values(self, shares: np.ndarray) -> np.ndarray:
        """Drawn values. [SI] Shape (n, draws)

        Parameters
        ----------
        shares : ndarray, shape (n, draws)
            Between 0 and 1. [-]
        """
        drawn = zip(self.draws, shares.T, strict=True)
        return np.column_stack([row.quantile(column) for (row, _), column in drawn])

    def machines(self, shares: np.ndarray) -> dict[int, Machine]:
        """Machine of each build by its row; those that cannot be built are missing.

        Parameters
        ----------
        shares : ndarray, shape (n, draws)
        """
        found = {}
        for place, drawn in enumerate(self.values(shares)):
            with suppress(DomainError, InputError):
                found[place] = self._machine(drawn)
        return found

    def scenario(self, drawn: np.ndarray) -> Inputs:
        """Scenario of one build, strengths aside, with the values drawn.

        Raises
        ------
        DomainError
            Its numbers cannot stand together.
        """
        rows = zip(self.draws, drawn.tolist(), strict=True)
        return with_values(self.inputs, {p: value for (_, paths), value in rows for p in paths})

    def _machine(self, drawn: np.ndarray) -> Machine:
        machine = build(self.scenario(drawn), strict=False)
        links = list(machine.links)
        for (row, _), factor in zip(self.draws, drawn.tolist(), strict=True):
            for place in row.links:
                old = links[place].strength
                value = factor * old.value
                low, high = min(value, old.low), max(value, old.high)
                links[place] = replace(
                    links[place], strength=replace(old, value=value, low=low, high=high)
                )
        return replace(machine, links=tuple(links))


def plan(inputs: Inputs, values: Sequence[Uncertain]) -> BuildPlan:
    """Plan of the builds of a scenario.

    Parameters
    ----------
    inputs : Inputs
    values : sequence of Uncertain
        Values that differ; the strengths are added here.
    """
    running = sum(group.count - group.dead for group in inputs.motors)
    motors, apart = MotorsApart.EQUAL, inputs
    owners: tuple[int, ...] = ()
    if running >= 2 and any(row.each for row in values):
        motors = MotorsApart.BUNDLED if running > MOST_SINGLE else MotorsApart.APART
        try:
            apart, owners = _told_apart(inputs, -(-running // MOST_SINGLE))
            build(apart)
        except InputError:
            motors, apart, owners = MotorsApart.NOT_APART, inputs, ()
    if not owners:
        values = [replace(row, each=False) for row in values]
    draws = tuple(
        draw for row in (*values, *strengths(build(apart))) for draw in _draws(row, owners)
    )
    return BuildPlan(apart, owners, draws, motors)


def _told_apart(inputs: Inputs, size: int) -> tuple[Inputs, tuple[int, ...]]:
    """Scenario with a group for each running motor, or bundle of that size, and behind them one for
    the dead ones of each group; and whose group each of the first was."""
    groups: list[MotorGroup] = []
    owners: list[int] = []
    for number, group in enumerate(inputs.motors, start=1):
        for left in range(group.count - group.dead, 0, -size):
            groups.append(replace(group, count=min(size, left), dead=0))
            owners.append(number)
    groups += [replace(g, count=g.dead) for g in inputs.motors if g.dead]
    return replace(inputs, motors=tuple(groups)), tuple(owners)


def _draws(row: Uncertain, owners: tuple[int, ...]) -> list[Draw]:
    """What is drawn for a row: one number for all, or one for each motor told apart."""
    paths: tuple[str, ...] = () if row.links else (row.path,)
    if owners and row.path.startswith("motors."):
        _, number, key = row.path.split(".", 2)
        paths = tuple(
            f"motors.{place}.{key}"
            for place, owner in enumerate(owners, start=1)
            if owner == int(number)
        )
    return [(row, (path,)) for path in paths] if row.each and paths else [(row, paths)]
