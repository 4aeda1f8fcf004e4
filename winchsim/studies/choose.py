"""The best whole build from the parts at hand."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from winchsim.assessment.actions import with_actions
from winchsim.assessment.candidates import capacities, check_columns, measured
from winchsim.assessment.evaluate import add_ranges, assess
from winchsim.assessment.kinds import Assessment, CheckKey
from winchsim.assessment.ranges import HoldShare, Ranges, find_each
from winchsim.errors import Code, WinchsimError, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Parts
from winchsim.model import build
from winchsim.simulation import Record, simulate
from winchsim.strength.link import LinkKind
from winchsim.studies.builds import Build, Family, as_variants, families, make
from winchsim.studies.sweep import Sweep, by_slow_model, of_assessments

MOST_BUILDS = 10_000
"""Builds screened at most. [-]"""

CLOSER, AT_ONCE, SHOWN, TRIES = 20, 7, 5, 6
"""Builds that get ranges of their own, how many of them at a time, that are shown, and that are
simulated in full for them. [-]"""

TINY = 1e-6
"""Starting torque margin that a smaller one counts as. [-]"""


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
        The scenario cannot be built, no parts are listed, or none of them fit together.

    Notes
    -----
    The rule is that of `Sweep.order`. All builds are screened by the
    quasi-static model without ranges. A few of the best get ranges of their own, which the builds
    like them borrow; then a few of those that are best now, and so on. The best of them are
    simulated in full, and changes are looked for that help the first.
    """
    listed = inputs.parts not in (None, Parts())
    made, possible = families(inputs, MOST_BUILDS, fastest=fastest) if listed else ([], 0)
    if not made:
        raise refused(
            "no build can be made of the parts" if listed else "no parts are listed",
            "parts", code=Code.NO_BUILD,
            expected="[[parts.gears]], [[parts.motors]], [[parts.drums]] or [[parts.ropes]]",
            hint="" if listed else "name a file that has them: --parts FILE",
        )  # fmt: skip

    def order(found: Sweep) -> list[int]:
        aim = found.results["lift_time"] if fastest else -found.least_share()
        return found.order(aim).tolist()

    screened, looked_at = _screened(inputs, made, order)
    kept: list[tuple[Build, Assessment, Record]] = []
    for done, (one, known) in enumerate(looked_at[:TRIES], start=1):
        try:
            record = simulate(one.inputs)
        except WinchsimError:
            continue
        found = assess(record, actions=False, ranges=False)
        found = add_ranges(found, record, known if found.target.reached else None)
        kept.append((one, found, record))
        if on_progress is not None:
            on_progress(done, TRIES)
        if sum(found.exit_code == 0 for _, found, _ in kept) == SHOWN:
            break
    if kept:
        places = order(of_assessments(inputs, {}, [found for _, found, _ in kept]))
        kept = [kept[i] for i in places[:SHOWN]]
    best = [
        found if place else with_actions(found, record)
        for place, (_, found, record) in enumerate(kept)
    ]
    return Choice(
        tuple(one for one, *_ in kept), tuple(best), of_assessments(inputs, {}, best),
        len(screened), possible, int(screened.sound.sum()), fastest,
    )  # fmt: skip


def _screened(
    inputs: Inputs, made: Sequence[Family], order: Callable[[Sweep], list[int]]
) -> tuple[Sweep, list[tuple[Build, Ranges]]]:
    """All builds without ranges; and those that were looked at with ranges, the best first."""
    members = [member for family in made for member in family.members]
    variants, _ = as_variants(made)
    coarse = [(rows, replace(batch, coarse=True)) for rows, batch in variants.batches]
    variants = replace(variants, batches=tuple(coarse))
    more = measured(variants)
    screened = now = by_slow_model(variants, ranges=False, more=more)
    lifts = screened.lifts
    assert lifts is not None
    shapes = [(len(t), len(family.inputs.motors) / 2) for family in made for t, _ in family.members]
    alike = np.column_stack([shapes, np.log(np.maximum(lifts.stall_margin_cold, TINY)) / 9])
    looked_at: dict[int, tuple[Build, Ranges]] = {}
    spreads: list[dict[LinkKind, tuple[float, float]]] = []
    while True:
        best = [i for i in order(now) if i not in screened.problems]
        new = [i for i in best if i not in looked_at][: min(AT_ONCE, CLOSER - len(looked_at))]
        if not looked_at:  # one with each number of pairs
            new = [best[i] for i in np.sort(np.unique(alike[best, 0], return_index=True)[1])]
        if not new:
            return screened, [looked_at[i] for i in best if i in looked_at]
        builds = [make(inputs, *members[i]) for i in new]
        machines = [build(one.inputs, strict=False) for one in builds]
        known = find_each([(b.inputs, m) for b, m in zip(builds, machines, strict=True)])
        looked_at |= dict(zip(new, zip(builds, known, strict=True), strict=True))
        spreads += [capacities(machine) for machine in machines]
        at = list(looked_at)
        like = np.argmin(np.abs(alike[:, None] - alike[at]).sum(axis=2), axis=1)
        like[at] = np.arange(len(at))
        spread = {
            kind: _taken([own.get(kind, (1.0, 1.0)) for own in spreads], like)
            for kind in set().union(*spreads)
        }
        ranges = _borrowed([known for _, known in looked_at.values()], like)
        now = replace(screened, checks=check_columns(variants, lifts, spread, ranges, more))


def _taken(rows: Sequence[Sequence[float]], like: np.ndarray) -> Any:
    """Columns of some rows, for builds each of which is like one of them."""
    return tuple(np.array(rows, dtype=float)[like].T)


def _borrowed(found: Sequence[Ranges], like: np.ndarray) -> Ranges:
    """Ranges of builds each of which is like one of some."""
    keys = set().union(*(known.spans for known in found))
    spans = {key: _taken([known.span(key) for known in found], like) for key in keys}
    hold: dict[CheckKey, Any] = {}
    for key in found[0].hold:
        ends = [
            [value for end in known.hold[key] for value in (end.net, end.slope)] for known in found
        ]
        net_and_slope = iter(_taken(ends, like))
        hold[key] = tuple(
            HoldShare(*pair) for pair in zip(net_and_slope, net_and_slope, strict=True)
        )
    return replace(found[0], spans=spans, hold=hold)
