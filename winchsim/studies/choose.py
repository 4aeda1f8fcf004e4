"""The best whole build from the parts at hand."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby

import numpy as np

from winchsim.assessment.candidates import fails, thin_counts
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey
from winchsim.errors import DomainError, WinchsimError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Parts
from winchsim.simulation import simulate
from winchsim.slow import vary_each
from winchsim.studies.builds import Build, Family, families, member_of
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments

MOST_BUILDS, MOST_FAMILIES = 10_000, 300
"""Builds screened at most, and trains with their sort of motors and rope. [-]"""

CLOSER, SHOWN, TRIES = 10, 5, 6
"""Builds that get ranges of their own, that are shown, and that are simulated in full for them.
[-]"""


@dataclass(frozen=True)
class Choice:
    """The best builds, the best first.

    Attributes
    ----------
    builds : tuple of Build
    found : tuple of Assessment
        Of each, simulated in full.
    full : Sweep
        The same as a table.
    tried, possible : int
        Builds screened, and that the parts allow and that may start the load.
    sound : int
        Builds screened without a failing check.
    fastest : bool
    """

    builds: tuple[Build, ...]
    found: tuple[Assessment, ...]
    full: Sweep
    tried: int
    possible: int
    sound: int
    fastest: bool

    @property
    def exit_code(self) -> int:
        """That of the best build; 1 without one."""
        return self.found[0].exit_code if self.found else 1


def middle_first(rows: list[Family]) -> list[Family]:
    """Families with the middle one in front: its ranges are carried over to the others."""
    return [*rows[len(rows) // 2 :], *rows[: len(rows) // 2]]


def choose(
    inputs: Inputs,
    *,
    fastest: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
) -> Choice:
    """The best builds that the parts of a scenario allow.

    Parameters
    ----------
    inputs : Inputs
        With parts at hand; what is not listed stays as it is.
    fastest : bool
        Whether of builds that are otherwise equal the fastest is taken, instead of the one with the
        most to spare to its nearest limit.
    on_progress : callable, optional
        Called with the full simulations done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or there are no parts.

    Notes
    -----
    The rule is that of `assessment.candidates.choose_row`. All builds are screened by the
    quasi-static model, with ranges of one among those with as many pairs; the best are looked at
    again with ranges of their own; the best of these are simulated in full.
    """
    listed = inputs.parts not in (None, Parts())
    made, possible = families(inputs, MOST_FAMILIES, MOST_BUILDS) if listed else ([], 0)
    if not made:
        raise DomainError("parts", "nothing that fits together", "parts to make a build of")
    made.sort(key=lambda family: len(family.train))  # those alike have alike ranges
    groups = [list(rows) for _, rows in groupby(made, key=lambda family: len(family.train))]
    screened = [
        by_slow_model(vary_each([(family.inputs, family.columns) for family in middle_first(rows)]))
        for rows in groups
    ]
    keys = frozenset[CheckKey]().union(*(found.changeable for found in screened))

    def order(found: Sweep, keys: frozenset[CheckKey] = keys) -> np.ndarray:
        aim = found.results["lift_time"] if fastest else -found.least_share(keys)
        bad, thin = fails(found.checks), thin_counts(found.checks, keys)
        return np.array([np.where(np.isnan(aim), np.inf, aim), thin, bad])

    screening = np.hstack([order(found) for found in screened])
    owners = [
        (family, place)
        for rows in groups
        for family in middle_first(rows)
        for place in range(len(family.members))
    ]
    builds = [member_of(*owners[index]) for index in np.lexsort(screening)[:CLOSER]]
    closer = [by_slow_model(vary_each([(build.inputs, {})])) for build in builds]
    again = np.lexsort(np.hstack([order(one) for one in closer]))
    kept: list[tuple[Build, Assessment]] = []
    for done, index in enumerate(again[:TRIES]):
        try:
            found = assess(simulate(builds[index].inputs), actions=False)
        except WinchsimError:
            continue
        kept.append((builds[index], found))
        if on_progress is not None:
            on_progress(done + 1, TRIES)
        if sum(found.exit_code == 0 for _, found in kept) == SHOWN:
            break
    full = of_assessments(inputs, {}, [found for _, found in kept])
    ranked = np.lexsort(order(full, full.changeable))[:SHOWN].tolist() if kept else []
    return Choice(
        tuple(kept[i][0] for i in ranked), tuple(kept[i][1] for i in ranked),
        of_assessments(inputs, {}, [kept[i][1] for i in ranked]),
        len(owners), possible, int((screening[-1] == 0).sum()), fastest,
    )  # fmt: skip
