"""Builds of a scenario: its motors one by one, its uncertain numbers drawn, each made a machine."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import DomainError, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, MotorGroup, with_value
from winchsim.model import Machine, build
from winchsim.studies.spread.tolerances import Uncertain, strengths

Array = NDArray[np.float64]

MOST_SINGLE = 24
"""Most motors that are told apart; more are put together in bundles of equal ones. [-]"""


class Motors(StrEnum):
    """How the motors of a build differ."""

    APART = "each its own"
    BUNDLED = "in bundles of equal ones"
    EQUAL = "all of a group equal"
    NOT_APART = "taken as equal, for the train does not allow to tell them apart"


@dataclass(frozen=True)
class Single:
    """A motor, or a bundle of equal ones, in the scenario with its motors told apart.

    Attributes
    ----------
    number : int
        Its group in that scenario, from 1.
    group : int
        Its group in the user's scenario, from 1.
    count : int
        Motors that it stands for.
    """

    number: int
    group: int
    count: int


@dataclass(frozen=True)
class Plan:
    """How builds are made of numbers between 0 and 1.

    Attributes
    ----------
    inputs : Inputs
        Scenario with its motors told apart where they can be.
    singles : tuple of Single
        Running motors; empty where they are not told apart.
    rows : tuple of Uncertain
    columns : tuple of tuple of str
        Paths in `inputs` that each row goes to: one, or one for each motor; none for a strength.
    motors : Motors
        How the motors of a build differ.
    """

    inputs: Inputs
    singles: tuple[Single, ...]
    rows: tuple[Uncertain, ...]
    columns: tuple[tuple[str, ...], ...]
    motors: Motors

    @property
    def widths(self) -> tuple[int, ...]:
        """Numbers between 0 and 1 that each row takes."""
        return tuple(
            len(paths) if row.each and paths else 1
            for row, paths in zip(self.rows, self.columns, strict=True)
        )

    @property
    def dimensions(self) -> int:
        """Numbers between 0 and 1 that a build takes."""
        return sum(self.widths)

    def values(self, shares: Array) -> list[Array]:
        """Drawn values of each row. [SI]

        Parameters
        ----------
        shares : ndarray, shape (n, dimensions)
            Between 0 and 1. [-]

        Returns
        -------
        list of ndarray, each of shape (n, width)
        """
        ends = np.cumsum(self.widths)[:-1]
        return [
            row.quantile(part)
            for row, part in zip(self.rows, np.split(shares, ends, axis=1), strict=True)
        ]

    def machines(self, shares: Array) -> dict[int, Machine]:
        """Machine of each build by its row; those that cannot be built are missing.

        Parameters
        ----------
        shares : ndarray, shape (n, dimensions)
        """
        drawn, found = self.values(shares), {}
        for place in range(len(shares)):
            try:
                found[place] = self._machine([values[place] for values in drawn])
            except (DomainError, InputError):
                continue
        return found

    def scenario(self, drawn: list[Array]) -> Inputs:
        """Scenario of one build, strengths aside, with the values drawn for each row.

        Raises
        ------
        DomainError
            Its numbers cannot stand together.
        """
        found = self.inputs
        for paths, values in zip(self.columns, drawn, strict=True):
            for path, value in zip(paths, np.resize(values, len(paths)).tolist(), strict=True):
                found = with_value(found, path, value)
        return found

    def _machine(self, drawn: list[Array]) -> Machine:
        machine = build(self.scenario(drawn), strict=False)
        links = list(machine.links)
        for row, values in zip(self.rows, drawn, strict=True):
            for place in row.links:
                old = links[place].strength
                value = float(values[0]) * old.value
                low, high = min(value, old.low), max(value, old.high)
                own = replace(old, value=value, low=low, high=high)
                links[place] = replace(links[place], strength=own)
        return replace(machine, links=tuple(links))


def plan(inputs: Inputs, values: Sequence[Uncertain]) -> Plan:
    """Plan of the builds of a scenario.

    Parameters
    ----------
    inputs : Inputs
    values : sequence of Uncertain
        Values that differ; the strengths are added here.
    """
    running = sum(group.count - group.dead for group in inputs.motors)
    motors, single = Motors.EQUAL, inputs
    singles: tuple[Single, ...] = ()
    if running >= 2 and any(row.each for row in values):
        single, singles = _told_apart(inputs)
        motors = Motors.BUNDLED if running > MOST_SINGLE else Motors.APART
        try:
            machine = build(single)
        except InputError:
            motors, singles, single = Motors.NOT_APART, (), inputs
    if not singles:
        machine, values = build(inputs), [replace(row, each=False) for row in values]
    rows = (*values, *strengths(machine))
    return Plan(single, singles, rows, tuple(_paths(row, singles) for row in rows), motors)


def _told_apart(inputs: Inputs) -> tuple[Inputs, tuple[Single, ...]]:
    """Scenario with a group for each running motor, and one for the dead ones of each group behind
    them."""
    running = sum(group.count - group.dead for group in inputs.motors)
    size = -(-running // MOST_SINGLE)
    groups: list[MotorGroup] = []
    dead = [replace(g, count=g.dead) for g in inputs.motors if g.dead]
    singles: list[Single] = []
    for number, group in enumerate(inputs.motors, start=1):
        for left in range(group.count - group.dead, 0, -size):
            groups.append(replace(group, count=min(size, left), dead=0))
            singles.append(Single(len(groups), number, min(size, left)))
    return replace(inputs, motors=(*groups, *dead)), tuple(singles)


def _paths(row: Uncertain, singles: tuple[Single, ...]) -> tuple[str, ...]:
    """Paths in the scenario with its motors told apart that a row is drawn for."""
    if row.is_strength:
        return ()
    head, number, *tail = row.path.split(".")
    if head != "motors" or not singles:
        return (row.path,)
    own = [single.number for single in singles if single.group == int(number)]
    return tuple(".".join((head, str(place), *tail)) for place in own)
