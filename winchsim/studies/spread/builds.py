"""Builds of a scenario: its motors one by one, its uncertain numbers drawn, each made a machine."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
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
class Plan:
    """How builds are made of numbers between 0 and 1.

    Attributes
    ----------
    inputs : Inputs
        Scenario with its motors told apart where they can be.
    owners : tuple of int
        Of each running motor or bundle, the first groups of `inputs`, its group in the user's
        scenario, from 1; empty where they are not told apart.
    rows : tuple of Uncertain
    columns : tuple of tuple of str
        Paths in `inputs` that each row goes to: one, or one for each motor; none for a strength.
    motors : Motors
        How the motors of a build differ.
    """

    inputs: Inputs
    owners: tuple[int, ...]
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
            with suppress(DomainError, InputError):
                found[place] = self._machine([values[place] for values in drawn])
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
    motors, apart = Motors.EQUAL, inputs
    owners: tuple[int, ...] = ()
    if running >= 2 and any(row.each for row in values):
        motors = Motors.BUNDLED if running > MOST_SINGLE else Motors.APART
        try:
            apart, owners = _told_apart(inputs, -(-running // MOST_SINGLE))
            build(apart)
        except InputError:
            motors, apart, owners = Motors.NOT_APART, inputs, ()
    if not owners:
        values = [replace(row, each=False) for row in values]
    rows = (*values, *strengths(build(apart)))
    return Plan(apart, owners, rows, tuple(_paths(row, owners) for row in rows), motors)


def _told_apart(inputs: Inputs, size: int) -> tuple[Inputs, tuple[int, ...]]:
    """Scenario with a group for each running motor, or bundle of that size, and behind them one for
    the dead ones of each group; and whose group each of the first was."""
    groups: list[MotorGroup] = []
    owners: list[int] = []
    for number, group in enumerate(inputs.motors, start=1):
        for left in range(group.count - group.dead, 0, -size):
            groups.append(replace(group, count=min(size, left), dead=0))
            owners.append(number)
    dead = [replace(g, count=g.dead) for g in inputs.motors if g.dead]
    return replace(inputs, motors=(*groups, *dead)), tuple(owners)


def _paths(row: Uncertain, owners: tuple[int, ...]) -> tuple[str, ...]:
    """Paths in the scenario with its motors told apart that a row is drawn for."""
    if row.is_strength:
        return ()
    if not (owners and row.path.startswith("motors.")):
        return (row.path,)
    _, number, key = row.path.split(".", 2)
    own = [place for place, owner in enumerate(owners, start=1) if owner == int(number)]
    return tuple(f"motors.{place}.{key}" for place in own)
