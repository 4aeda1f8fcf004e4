"""A spread: many builds of one scenario with the differences that parts have, and what becomes of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from winchsim.errors import Code, DomainError, Fault, InputError, TrustError
from winchsim.inputs import Inputs
from winchsim.model import build
from winchsim.model.restate import as_data_sheets
from winchsim.quantity_text import in_unit, number, quantity
from winchsim.studies.spread.builds import Plan, plan
from winchsim.studies.spread.importance import RankCorrelation, rank_correlation
from winchsim.studies.spread.intervals import Probability, interval_text, probability, share_text
from winchsim.studies.spread.outcomes import Ending, Outcomes, chosen, lift_builds
from winchsim.studies.spread.parallel import Progress, lift_everywhere
from winchsim.studies.spread.tolerances import Given, Uncertain, uncertain
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import capital, duration, listed, percent

Array = NDArray[np.float64]

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the builds below a quantile. [-]"""

MATTERS = 0.01
"""Probability from which on something bad is more than a rare exception. [-] Own choice."""

MOST_BUILDS = 200_000

RESULTS = ("time", "current", "winding", "teeth", "hold")
"""What inputs are asked for their influence on."""

CHECKED = (0.05, 0.5, 0.95)
"""Builds that are run in full besides: at these shares of the lift times. [-]"""


@dataclass(frozen=True)
class Quantity:
    """Quantiles of one result over the builds that come up.

    Attributes
    ----------
    name, unit : str
        Name of the result, and its SI unit.
    values : tuple of float
        At `LEVELS`; NaN where nothing comes up.
    """

    name: str
    unit: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class MotorPlace:
    """What the motors of a group do by how strong they are among themselves: in each build the weakest, the next, and so on.

    Attributes
    ----------
    group : int
        In the user's scenario, from 1.
    place : int
        1 is the weakest.
    share : tuple of float
        Torque over the mean of its group: median, and the 5 % and 95 % quantiles. [-]
    current : tuple of float
        The same of the current. [A]
    dragged : Probability
        Whether the others drag it.
    """

    group: int
    place: int
    share: tuple[float, float, float]
    current: tuple[float, float, float]
    dragged: Probability


@dataclass(frozen=True)
class Influence:
    """How an input moves the results.

    Attributes
    ----------
    row : Uncertain
    ranks : dict of str to float
        Rank correlation with each of `RESULTS`. [-]
    """

    row: Uncertain
    ranks: dict[str, float]


@dataclass(frozen=True)
class Spread:
    """Result of a spread.

    Attributes
    ----------
    asked : int
        Builds asked for.
    random_seed : int
    in_full : bool
        Whether by the full simulation.
    complete : bool
        Whether all builds were lifted; False where the user stopped before.
    level : float
        Of the confidence intervals. [-]
    plan : Plan
    outcomes : Outcomes
    values : tuple of ndarray
        Drawn values of each row of the plan, for the builds that were lifted.
    probabilities : dict of str to Probability
        ``lifted``, ``stalled``, ``other``, ``tooth_overload`` and ``overload`` among all builds, ``overheated`` and
        ``ran_back`` among those that come up whole.
    quantities : tuple of Quantity
    motors : tuple of MotorPlace
    influences : tuple of Influence
        The most influential on any result first.
    noise : dict of str to float
        Rank correlation that may be chance, by result. [-]
    first_to_break : dict of str to int
        Builds in which a link breaks, by the one that is overloaded most.
    quasi_static_off : float or None
        Largest difference of the quasi-static model to full runs of a few builds, in the lift time. [-]
    notes : tuple of str
    """

    asked: int
    random_seed: int
    in_full: bool
    complete: bool
    level: float
    plan: Plan
    outcomes: Outcomes
    values: tuple[Array, ...]
    probabilities: dict[str, Probability]
    quantities: tuple[Quantity, ...]
    motors: tuple[MotorPlace, ...]
    influences: tuple[Influence, ...]
    noise: dict[str, float]
    first_to_break: dict[str, int]
    quasi_static_off: float | None
    notes: tuple[str, ...]

    @property
    def good(self) -> bool:
        """Whether nothing bad is more than a rare exception, and nearly all come up."""
        bad = [self.probabilities[name].share for name in ("stalled", "other", "overload", "overheated")]
        return max(bad) <= MATTERS

    @property
    def sentence(self) -> str:
        """What it comes to, in one sentence."""
        p = self.probabilities
        verb = "lift" if p["lifted"].count else "lifts"
        text = f"With these differences {_of(p['lifted'], 'builds', self.level)} {verb} the load"
        time = next(row for row in self.quantities if row.name == "time")
        if math.isfinite(time.values[2]):
            text += (
                f", half of them within {duration(time.values[2])} and nine in ten "
                f"between {duration(time.values[0])} and {duration(time.values[-1])}"
            )
        words = {"stalled": "stall", "overload": "break a link", "overheated": "get too hot", "ran_back": "run back"}
        shares = {name: "all" if p[name].share == 1 else percent(p[name].share) for name in words}
        bad = [f"{shares[name]} {what}" for name, what in words.items() if p[name].count]
        return text + (f"; {listed(bad)}." if bad else "; none stalls, breaks a link, gets too hot or runs back.")


def _of(p: Probability, noun: str, level: float) -> str:
    """A probability in words, with its interval: "99.2 % of 1000 builds (95 % interval 98.4 to 99.7 %)"."""
    if p.count in (0, p.of):
        edge = f"over {percent(p.low, 3)}" if p.count else f"under {percent(p.high)}"
        return f"{'all' if p.count else 'none of'} {p.of} {noun} ({percent(level)} sure: {edge})"
    return f"{share_text(p)} of {p.of} {noun} ({percent(level)} interval {interval_text(p)})"


def spread(
    inputs: Inputs,
    given: Sequence[Given] = (),
    *,
    builds: int = 1000,
    random_seed: int = 1,
    level: float = 0.95,
    executor: Executor | None = None,
    in_full: bool = False,
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
        The same seed gives the same builds and results, however many workers there are.
    level : float
        Of the confidence intervals, 0.5 to 0.999. [-]
    executor : Executor, optional
        Where to lift them; left out, here.
    in_full : bool
        Whether by the full simulation rather than the quasi-static model.
    on_progress : callable, optional
        Told how many of how many builds are done.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        The scenario cannot be built, or none of its builds can.
    DomainError
        An argument outside its range, or a tolerance of a value that is not there.
    """
    if not 10 <= builds <= MOST_BUILDS:
        raise DomainError("builds", builds, f"from 10 to {MOST_BUILDS}")
    if not 0.5 <= level <= 0.999:
        raise DomainError("level", level, "from 0.5 to 0.999")
    sheet = as_data_sheets(inputs, build(inputs))
    made, note = plan(sheet, uncertain(sheet, build(sheet), given))
    shares = qmc.LatinHypercube(made.dimensions, seed=np.random.default_rng(random_seed)).random(builds)
    done = lift_everywhere(made, shares, executor, in_full=in_full, on_progress=on_progress)
    lifted = done.outcomes
    if np.all(lifted.ending == Ending.CANNOT_BE_BUILT):
        message = "no build of this scenario can be made with these tolerances"
        raise InputError((Fault(message, "tolerance", code=Code.NO_BUILD),))
    used = shares[done.rows]
    off = None if in_full or not done.complete else _quasi_static_off(made, used, lifted)
    influences, noise = _influences(made, used, lifted)
    return Spread(
        asked=builds, random_seed=random_seed, in_full=in_full, complete=done.complete, level=level, plan=made, outcomes=lifted,
        values=tuple(made.values(used)), probabilities=_probabilities(lifted, level), quantities=_quantities(lifted),
        motors=_motors(made, lifted, level), influences=influences, noise=noise,
        first_to_break=_first_to_break(lifted), quasi_static_off=off, notes=(note,) if note else (),
    )  # fmt: skip


def result(found: Outcomes, name: str) -> Array:
    """Result that inputs are asked for their influence on; for times the speed with its sign turned, which stalls have too."""
    if name == "time":
        return -found.speed
    if name in ("teeth", "factor"):
        values: Array = getattr(found, name)
        return np.where(np.isfinite(values), values, np.nan)
    if name == "hold" and np.all(np.isnan(found.hold)):
        return np.where(found.lifted, found.held.astype(float), np.nan)
    values = getattr(found, name)
    return values


def _probabilities(found: Outcomes, level: float) -> dict[str, Probability]:
    made = found.ending != Ending.CANNOT_BE_BUILT
    up = found.lifted

    def of(event: NDArray[np.bool_], among: NDArray[np.bool_]) -> Probability:
        return probability(int(np.sum(event & among)), int(np.sum(among)), level)

    with np.errstate(invalid="ignore"):
        return {
            "lifted": of(up, made),
            "stalled": of(found.ending == Ending.STALLED, made),
            "other": of(found.ending == Ending.OTHER, made),
            "tooth_overload": of(found.teeth < 1, made),
            "overload": of(found.factor < 1, made),
            "overheated": of(found.winding > 0, up),
            "ran_back": of(~found.held, up),
        }


def _quantities(found: Outcomes) -> tuple[Quantity, ...]:
    rows = []
    for name, unit in (("time", "s"), ("current", "A"), ("winding", "K"), ("factor", "")):
        values = getattr(found, name)[found.lifted]
        values = values[np.isfinite(values)]
        at = np.quantile(values, LEVELS) if len(values) else np.full(len(LEVELS), np.nan)
        rows.append(Quantity(name, unit, tuple(float(value) for value in at)))
    return tuple(rows)


def _motors(made: Plan, found: Outcomes, level: float) -> tuple[MotorPlace, ...]:
    """Motors of each group by their place among themselves."""
    rows = []
    for group in dict.fromkeys(single.group for single in made.singles):
        members = [place for place, single in enumerate(made.singles) if single.group == group]
        known = np.nan_to_num(found.torques[:, members]).sum(axis=1) > 0
        if len(members) < 2 or not known.any():
            continue
        torques, currents = found.torques[known][:, members], found.currents[known][:, members]
        order = np.argsort(torques, axis=1)
        torques, currents = np.take_along_axis(torques, order, axis=1), np.take_along_axis(currents, order, axis=1)
        shares = torques / np.mean(torques, axis=1, keepdims=True)
        for place in range(len(members)):
            dragged = probability(int(np.sum(torques[:, place] < 0)), len(torques), level)
            rows.append(MotorPlace(group, place + 1, _three(shares[:, place]), _three(currents[:, place]), dragged))
    return tuple(rows)


def _three(values: Array) -> tuple[float, float, float]:
    middle, low, high = np.quantile(values, (0.5, 0.05, 0.95))
    return float(middle), float(low), float(high)


def _influences(made: Plan, shares: Array, found: Outcomes) -> tuple[tuple[Influence, ...], dict[str, float]]:
    values = made.values(shares)
    ranks: dict[str, RankCorrelation] = {name: rank_correlation(values, result(found, name)) for name in RESULTS}
    rows = [Influence(row, {name: float(ranks[name].values[place]) for name in RESULTS}) for place, row in enumerate(made.rows)]
    rows.sort(key=lambda row: -max(abs(value) for value in row.ranks.values()))
    return tuple(rows), {name: ranks[name].noise for name in RESULTS}


def _first_to_break(found: Outcomes) -> dict[str, int]:
    with np.errstate(invalid="ignore"):
        names, counts = np.unique(found.weakest[found.factor < 1].astype(str), return_counts=True)
    order = np.argsort(-counts, kind="stable")
    return {str(names[i]): int(counts[i]) for i in order}


def _quasi_static_off(made: Plan, shares: Array, found: Outcomes) -> float | None:
    """Largest difference in lift time of a few builds that are run in full; None where none comes up both ways."""
    up = np.flatnonzero(found.lifted)
    if not len(up):
        return None
    ordered = up[np.argsort(found.time[up], kind="stable")]
    few = np.unique([ordered[round(share * (len(ordered) - 1))] for share in CHECKED])
    try:
        full = lift_builds(made, shares[few], in_full=True)
    except (TrustError, KeyboardInterrupt):
        return None
    both = full.lifted
    slow = chosen(found, few)
    return float(np.max(np.abs(slow.time[both] / full.time[both] - 1))) if both.any() else None


# --- findings ----------------------------------------------------------------------------------------------------------

_BAD = (
    ("stalled", FindingKind.STALLED, Severity.CAUTION, "builds", "stall", "More motors, a thinner drum, or a lighter load."),
    ("tooth_overload", FindingKind.OVERLOAD, Severity.DANGER, "builds", "break a tooth", "Wider or stronger gears."),
    ("overload", FindingKind.OVERLOAD, Severity.DANGER, "builds", "break a link", "See what breaks first."),
    ("overheated", FindingKind.MOTOR_OVERHEATED, Severity.DANGER, "lifts", "overheat a motor", "More motors."),
    ("ran_back", FindingKind.RAN_BACK, Severity.CAUTION, "lifts", "run back when the power goes off", "A pawl or a brake."),
)  # fmt: skip


def findings(found: Spread) -> tuple[Finding, ...]:
    """Findings of a spread, each with its probability.

    Parameters
    ----------
    found : Spread
    """
    rows = []
    for name, kind, severity, noun, words, remedy in _BAD:
        p = found.probabilities[name]
        if not p.count or (name == "overload" and p.count == found.probabilities["tooth_overload"].count):
            continue
        grave = severity if p.share > MATTERS else Severity.CAUTION if severity is Severity.DANGER else Severity.NOTE
        sentence = f"{capital(_of(p, noun, found.level))} {words}."
        rows.append(Finding(kind, grave, sentence, value=p.share, limit=MATTERS, help=remedy, about=name))
    return tuple(sorted(rows, key=lambda row: -row.severity.rank))


def describe(row: Uncertain) -> str:
    """An uncertain number in words: its value and how far it may be off."""
    if row.is_strength:
        return f"{number(100 * row.low, 2)} to {number(100 * row.high, 2)} % of the estimate"
    middle, high = quantity(row.center, row.unit), quantity(row.high, row.unit)
    return f"{middle}, {number(in_unit(row.low, row.unit))} to {high}"
