"""A spread: many builds of one scenario with the differences that parts have, and what becomes of
them."""

from collections import Counter
from collections.abc import Collection, Sequence
from concurrent.futures import Executor

import numpy as np
from scipy import stats
from scipy.stats import qmc

from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, Holding, Status
from winchsim.errors import Code, TrustError, refuse_if, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs
from winchsim.model import Machine, build, with_data_sheets
from winchsim.simulation import simulate
from winchsim.studies.spread.builds import BuildPlan, Given, plan, uncertain
from winchsim.studies.spread.outcomes import (
    Ending,
    Outcomes,
    Progress,
    lift_builds,
    lift_everywhere,
)

NOISE_LEVEL = 0.01
"""Chance that an input without any influence passes for one that has some. [-] Own choice."""


@dataclass(frozen=True)
class Probability:
    """How often something happened, and between which bounds its probability lies.

    Attributes
    ----------
    count, of : int
        How often of how many.
    low, high : float
        Confidence interval. [-]
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """How often, as a share; 0 of none. [-]"""
        return self.count / self.of if self.of else 0.0


def probability(count: int, of: int, level: float) -> Probability:
    """Probability of an event that was counted, with the interval of Clopper and Pearson, which is
    never too narrow.

    Parameters
    ----------
    count, of : int
        How often of how many independent trials; of none: anything from 0 to 1.
    level : float
        Of the interval. [-]
    """
    if of == 0:
        return Probability(0, 0, 0.0, 1.0)
    found = stats.binomtest(count, of).proportion_ci(level)
    return Probability(count, of, float(found.low), float(found.high))


def rank_correlation(inputs: Sequence[np.ndarray], result: np.ndarray) -> tuple[np.ndarray, float]:
    """Rank correlation of a result with inputs that were drawn independently.

    Parameters
    ----------
    inputs : sequence of ndarray, each of shape (n, width)
        Of an input that every motor draws for itself the mean counts.
    result : ndarray, shape (n,)
        Rows without a result (NaN) are left out.

    Returns
    -------
    (ndarray, shape (inputs,), float)
        Spearman's coefficient, -1 to 1, and the largest that may be chance; 0 for an input or a
        result that does not vary. [-]
    """
    known = np.isfinite(result)
    count = int(known.sum())
    if count < 3:
        return np.zeros(len(inputs)), 1.0
    columns = [result[known], *(values[known].mean(axis=1) for values in inputs)]
    ranks = stats.rankdata(columns, axis=1) - (count + 1) / 2
    sizes = np.linalg.norm(ranks, axis=1)
    found = ranks[1:] @ ranks[0] / np.maximum(sizes[1:] * sizes[0], 1e-9)
    t = stats.t.ppf(1 - NOISE_LEVEL / 2, count - 2)
    return found, float(t / np.sqrt(count - 2 + t * t)) if sizes[0] > 0 else 1.0


LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the builds below a percentile. [-]"""

TOLERATED = 0.01
"""Share of builds up to which something bad is a rare exception. [-] Own choice."""

MOST_BUILDS = 200_000

QUANTITIES = {"time": "s", "current": "A", "winding": "K", "factor": ""}
"""Results with percentiles, and their SI units."""

RESULTS = ("time", "current", "winding", "teeth", "hold")
"""Results that the influence of every input on is found."""

CHECKED = (0.05, 0.5, 0.95)
"""Builds that are simulated in full besides: at these shares of the lift times. [-]"""

FAILURES = ("stalled", "overload", "overheated", "ran_back", "other")
"""Events that more than `TOLERATED` of the builds may not have."""


@dataclass(frozen=True)
class MotorPlace:
    """What motors do by how strong they are in their group: of each build the weakest, the next,
    ...

    Attributes
    ----------
    group : int
        In the user's scenario, from 1.
    place : int
        1 is the weakest.
    share, current : tuple of float
        Torque over the mean of the group [-] and current [A]: median, 5th and 95th percentile.
    dragged : Probability
        Whether the others drag it.
    """

    group: int
    place: int
    share: tuple[float, float, float]
    current: tuple[float, float, float]
    dragged: Probability


@dataclass(frozen=True)
class Spread:
    """Result of a spread.

    Attributes
    ----------
    as_given : Assessment
        Of the scenario without any difference.
    asked : int
        Builds asked for.
    random_seed : int
    simulated : bool
        Whether by the full simulation.
    complete : bool
        Whether all builds were lifted; False where the user stopped before.
    level : float
        Of the confidence intervals. [-]
    plan : BuildPlan
    outcomes : Outcomes
    values : ndarray, shape (builds, draws)
        Drawn values of the builds that were lifted.
    probabilities : dict of str to Probability
        ``lifted``, ``stalled``, ``other``, ``tooth_overload`` and ``overload`` among the builds
        that can be made, ``overheated`` and ``ran_back`` among those that are lifted whole.
    percentiles : dict of str to tuple of float
        Of `QUANTITIES` at `LEVELS`, over the builds that are lifted; NaN where none is. [SI]
    motors : tuple of MotorPlace
    ranks : tuple of (dict of str to float)
        Rank correlation of each row of the plan with each of `RESULTS`. [-]
    noise : dict of str to float
        Rank correlation that may be chance, by result. [-]
    first_to_break : dict of str to int
        Builds in which a part breaks, by the one that is overloaded most.
    slow_difference : float or None
        Largest difference of the quasi-static model to full runs of a few builds, in lift time. [-]
    """

    as_given: Assessment
    asked: int
    random_seed: int
    simulated: bool
    complete: bool
    level: float
    plan: BuildPlan
    outcomes: Outcomes
    values: np.ndarray
    probabilities: dict[str, Probability]
    percentiles: dict[str, tuple[float, ...]]
    motors: tuple[MotorPlace, ...]
    ranks: tuple[dict[str, float], ...]
    noise: dict[str, float]
    first_to_break: dict[str, int]
    slow_difference: float | None

    @property
    def status(self) -> Status:
        """Fails where an event is more than a rare exception; ok where nothing bad happens at all.

        What nothing but friction holds is thin at best.
        """
        worst = max(self.probabilities[name].share for name in FAILURES)
        if worst > TOLERATED:
            return Status.FAILS
        firm = self.as_given.held in (Holding.PAWL, Holding.BRAKE)
        return Status.OK if firm and not worst else Status.THIN

    @property
    def not_built(self) -> int:
        """Draws that no build can have, such as motor data that contradict each other."""
        return int(np.sum(self.outcomes.ending == Ending.CANNOT_BE_BUILT))


def spread(
    inputs: Inputs,
    given: Sequence[Given] = (),
    *,
    builds: int = 1000,
    random_seed: int = 1,
    level: float = 0.95,
    executor: Executor | None = None,
    simulated: bool = False,
    on_progress: Progress | None = None,
) -> Spread:
    """Spread of a scenario.

    Parameters
    ----------
    inputs : Inputs
    given : sequence of Given
        Tolerances of the scenario, in SI.
    builds : int
        How many, at least 10. [-]
    random_seed : int
        At least 0. The same seed gives the same builds, however many workers there are.
    level : float
        Of the confidence intervals, 0.5 to 0.999. [-]
    executor : Executor, optional
        Where to lift them; left out, here.
    simulated : bool
        Whether by the full simulation rather than the quasi-static model.
    on_progress : callable, optional
        Called with the builds done and their number.

    Raises
    ------
    InputError
        The scenario cannot be built, or none of its builds can.
    DomainError
        An argument outside its range, or a tolerance of a value that is not there.
    """
    _check_bounds(builds, random_seed, level)
    as_given = assess(simulate(inputs), actions=False, ranges=False)
    inputs = as_data_sheets(inputs, build(inputs), [path for path, *_ in given])
    made = plan(inputs, uncertain(inputs, build(inputs), given))
    sampler = qmc.LatinHypercube(len(made.draws), seed=np.random.default_rng(random_seed))
    shares = sampler.random(builds)
    lifted, rows = lift_everywhere(
        made, shares, executor, simulated=simulated, on_progress=on_progress
    )
    if np.all(lifted.ending == Ending.CANNOT_BE_BUILT):
        raise refused(
            "no build of this scenario can be made with these tolerances",
            "tolerance",
            code=Code.NO_BUILD,
        )
    used, complete = shares[rows], len(rows) == builds
    values = made.values(used)
    ranks, noise = _influences(made, values, lifted)
    return Spread(
        as_given=as_given,
        asked=builds,
        random_seed=random_seed,
        simulated=simulated,
        complete=complete,
        level=level,
        plan=made,
        outcomes=lifted,
        values=values,
        probabilities=_probabilities(lifted, level),
        percentiles={name: _percentiles(lifted, name) for name in QUANTITIES},
        motors=_motors(made, lifted, level),
        ranks=ranks,
        noise=noise,
        first_to_break=_first_to_break(lifted),
        slow_difference=None if simulated or not complete else _difference(made, used, lifted),
    )


def _check_bounds(builds: int, random_seed: int, level: float) -> None:
    for name, value, low, high in (
        ("builds", builds, 10, MOST_BUILDS),
        ("seed", random_seed, 0, 2**63 - 1),
        ("level", level, 0.5, 0.999),
    ):
        refuse_if(not low <= value <= high, name, value, f"from {low} to {high}")


def _influences(
    made: BuildPlan, values: np.ndarray, lifted: Outcomes
) -> tuple[tuple[dict[str, float], ...], dict[str, float]]:
    """Rank correlation of each row of the plan with each of `RESULTS`, and what may be chance."""
    columns = [values[:, [own is row for own, _ in made.draws]] for row in made.rows]
    found = {name: rank_correlation(columns, result(lifted, name)) for name in RESULTS}
    ranks = np.array([own for own, _ in found.values()]).T.tolist()
    return (
        tuple(dict(zip(RESULTS, row, strict=True)) for row in ranks),
        {name: noise for name, (_, noise) in found.items()},
    )


def as_data_sheets(inputs: Inputs, machine: Machine, kept: Collection[str] = ()) -> Inputs:
    """Scenario in which the running motors that are described by working points are given by data
    sheets; the same motors.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    kept : collection of str
        Paths of points that are to stay, and with them all points of their group.
    """
    points = [
        group
        for group in machine.groups
        if inputs.motors[group.number - 1].known_by == "points"
        and not any(path.startswith(f"motors.{group.number}.points.") for path in kept)
    ]
    return with_data_sheets(inputs, replace(machine, groups=tuple(points)))


def result(found: Outcomes, name: str) -> np.ndarray:
    """One of `RESULTS`; for times the speed with its sign turned, which stalls have too."""
    if name == "time":
        return -found.speed
    if name == "hold" and np.all(np.isnan(found.hold)):
        return np.where(found.ending == Ending.LIFTED, found.held.astype(float), np.nan)
    return np.where(np.isfinite(found[name]), found[name], np.nan)


def _probabilities(found: Outcomes, level: float) -> dict[str, Probability]:
    made, up = found.ending != Ending.CANNOT_BE_BUILT, found.ending == Ending.LIFTED
    with np.errstate(invalid="ignore"):
        events = {
            "lifted": (up, made),
            "stalled": (found.ending == Ending.STALLED, made),
            "other": (found.ending == Ending.OTHER, made),
            "tooth_overload": (found.teeth < 1, made),
            "overload": (found.factor < 1, made),
            "overheated": (found.winding > 0, up),
            "ran_back": (~found.held, up),
        }
    return {
        name: probability(int(np.sum(event & among)), int(np.sum(among)), level)
        for name, (event, among) in events.items()
    }


def _percentiles(found: Outcomes, name: str) -> tuple[float, ...]:
    values = found[name][found.ending == Ending.LIFTED]
    values = values[np.isfinite(values)]
    at = np.quantile(values, LEVELS) if len(values) else np.full(len(LEVELS), np.nan)
    return tuple(at.tolist())


def _motors(made: BuildPlan, found: Outcomes, level: float) -> tuple[MotorPlace, ...]:
    """Motors of each group by their place among themselves."""
    rows = []
    for group in dict.fromkeys(made.owners):
        members = [place for place, owner in enumerate(made.owners) if owner == group]
        known = np.nan_to_num(found.torques[:, members]).sum(axis=1) > 0
        if len(members) < 2 or not known.any():
            continue
        order = np.argsort(found.torques[known][:, members], axis=1)
        torques, currents = (
            np.take_along_axis(row[known][:, members], order, axis=1)
            for row in (found.torques, found.currents)
        )
        shares = torques / np.mean(torques, axis=1, keepdims=True)
        for place in range(len(members)):
            dragged = probability(int(np.sum(torques[:, place] < 0)), len(torques), level)
            share, current = (
                tuple(np.quantile(row[:, place], (0.5, 0.05, 0.95)).tolist())
                for row in (shares, currents)
            )
            rows.append(MotorPlace(group, place + 1, share, current, dragged))
    return tuple(rows)


def _first_to_break(found: Outcomes) -> dict[str, int]:
    with np.errstate(invalid="ignore"):
        return dict(Counter(sorted(found.weakest[found.factor < 1])).most_common())


def _difference(made: BuildPlan, shares: np.ndarray, found: Outcomes) -> float | None:
    """Largest difference in lift time of a few builds that are simulated in full; None without
    one."""
    up = np.flatnonzero(found.ending == Ending.LIFTED)
    if not len(up):
        return None
    ordered = up[np.argsort(found.time[up], kind="stable")]
    few = np.unique([ordered[round(share * (len(ordered) - 1))] for share in CHECKED])
    try:
        full = lift_builds(made, shares[few], simulated=True)
    except (TrustError, KeyboardInterrupt):
        return None
    off = np.abs(found.time[few] / full.time - 1)
    return None if np.all(np.isnan(off)) else float(np.nanmax(off))
