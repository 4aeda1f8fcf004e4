"""Builds of a scenario: its motors one by one, its uncertain numbers drawn, each made a machine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from winchsim.errors import DomainError, InputError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, MotorGroup, with_value
from winchsim.model import Machine, build
from winchsim.model.machine import LinkLimit
from winchsim.studies.spread.tolerances import Uncertain, draw, strengths

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

    def scenarios(self, shares: Array) -> Iterator[Inputs | DomainError]:
        """Scenario of each build, strengths aside; an error where its numbers cannot stand
        together.

        Parameters
        ----------
        shares : ndarray, shape (n, dimensions)
        """
        drawn = self.values(shares)
        for place in range(len(shares)):
            try:
                yield self._with([values[place] for values in drawn])
            except DomainError as error:
                yield error

    def _with(self, drawn: list[Array]) -> Inputs:
        found = self.inputs
        for paths, values in zip(self.columns, drawn, strict=True):
            own = values.tolist() * (len(paths) if len(values) == 1 else 1)
            for path, value in zip(paths, own, strict=False):
                found = with_value(found, path, value)
        return found

    def machines(self, shares: Array) -> dict[int, Machine]:
        """Machine of each build by its row; those that cannot be built are missing.

        Parameters
        ----------
        shares : ndarray, shape (n, dimensions)
        """
        found = {}
        for place, inputs in enumerate(self.scenarios(shares)):
            if isinstance(inputs, DomainError):
                continue
            try:
                machine = build(inputs, strict=False)
            except InputError:
                continue
            found[place] = replace(machine, links=self._links(machine, shares[place]))
        return found

    def _links(self, machine: Machine, shares: Array) -> tuple[LinkLimit, ...]:
        """Links with the strengths that were drawn."""
        links, start = list(machine.links), 0
        for row, width in zip(self.rows, self.widths, strict=True):
            for place in row.links:
                strength = links[place].strength
                value = float(
                    draw(shares[start], strength.value, strength.low, strength.high, row.shape)
                )
                own = replace(
                    strength,
                    value=value,
                    low=min(value, strength.low),
                    high=max(value, strength.high),
                )
                links[place] = replace(links[place], strength=own)
            start += width
        return tuple(links)


def plan(inputs: Inputs, values: Sequence[Uncertain]) -> Plan:
    """Plan of the builds of a scenario.

    Parameters
    ----------
    inputs : Inputs
    values : sequence of Uncertain
        Values that differ; the strengths are added here.
    """
    running = sum(group.count - group.dead for group in inputs.motors)
    if running < 2 or not any(row.each for row in values):
        return _together(inputs, values, Motors.EQUAL)
    split, singles = _told_apart(inputs)
    try:
        machine = build(split)
    except InputError:
        return _together(inputs, values, Motors.NOT_APART)
    rows = (*values, *strengths(machine))
    bundled = any(single.count > 1 for single in singles)
    columns = tuple(_paths(row, singles) for row in rows)
    return Plan(split, singles, rows, columns, Motors.BUNDLED if bundled else Motors.APART)


def _together(inputs: Inputs, values: Sequence[Uncertain], motors: Motors) -> Plan:
    rows = tuple(replace(row, each=False) for row in (*values, *strengths(build(inputs))))
    return Plan(
        inputs, (), rows, tuple(() if row.is_strength else (row.path,) for row in rows), motors
    )


def _told_apart(inputs: Inputs) -> tuple[Inputs, tuple[Single, ...]]:
    """Scenario with a group for each running motor, and one for the dead ones of each group behind
    them."""
    running = sum(group.count - group.dead for group in inputs.motors)
    size = -(-running // MOST_SINGLE)
    groups: list[MotorGroup] = []
    dead: list[MotorGroup] = []
    singles: list[Single] = []
    for number, group in enumerate(inputs.motors, start=1):
        left = group.count - group.dead
        while left > 0:
            count = min(size, left)
            groups.append(replace(group, count=count, dead=0))
            singles.append(Single(len(groups), number, count))
            left -= count
        if group.dead:
            dead.append(replace(group, count=group.dead, dead=group.dead))
    return replace(inputs, motors=(*groups, *dead)), tuple(singles)


def _paths(row: Uncertain, singles: tuple[Single, ...]) -> tuple[str, ...]:
    """Paths in the scenario with its motors told apart that a row is drawn for."""
    if row.is_strength:
        return ()
    head, _, tail = row.path.partition(".")
    if head != "motors":
        return (row.path,)
    number, _, key = tail.partition(".")
    return tuple(
        f"motors.{single.number}.{key}" for single in singles if single.group == int(number)
    )
