"""One scenario with other values of some keys: what each of these builds comes to."""

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from contextlib import nullcontext
from functools import cached_property
from typing import Any

import numpy as np

from winchsim.assessment.candidates import CheckColumn, capacities, check_columns
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, End, ReadingKey, Side, Status
from winchsim.assessment.ranges import ENDS, find_ranges
from winchsim.errors import InputError, WinchsimError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, idle, misplaced, spec_at
from winchsim.model import build
from winchsim.quantity_text import csv_text, key
from winchsim.simulation import simulate as run
from winchsim.slow import Lifts, SlowEnd, Variants, lift_all, vary

UNITS = {
    "lift_time": "s",
    "height": "m",
    "peak_current": "A",
    "mean_current": "A",
    "energy_in": "J",
}
"""SI unit of each result that has no limit of its own."""

CHECK_UNITS = {CheckKey.WINDING: "°C"}
"""SI unit of each check that is not a ratio."""

NOT_IN_ROWS = frozenset({CheckKey.TARGET, CheckKey.LIFT_TIME})
"""Checks whose value stands among the results already."""

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
class Sweep:
    """Builds that differ in some values; arrays over them.

    Attributes
    ----------
    inputs : Inputs
        The scenario that was varied.
    values : Mapping of str to ndarray
        Values by path. SI
    checks : tuple of CheckColumn
        With ranges of what is assumed, where they were asked for.
    results : Mapping of str to ndarray
        By the names of `UNITS`, in these units; NaN where there is none.
    ends : ndarray of (End or None)
        How each ended; None where it cannot be built.
    parts : ndarray of str
        The part with the least share of its required factor.
    problems : Mapping of int to str
        Builds that cannot be made, and why.
    lifts : Lifts or None
        The quasi-static lifts; None where each build was simulated in full.
    """

    inputs: Inputs
    values: Mapping[str, np.ndarray]
    checks: tuple[CheckColumn, ...]
    results: Mapping[str, np.ndarray]
    ends: np.ndarray
    parts: np.ndarray
    problems: Mapping[int, str]
    lifts: Lifts | None = None

    def __len__(self) -> int:
        return len(self.ends)

    def __repr__(self) -> str:
        counts = ", ".join(f"{np.sum(self.ranks == name.rank)} {name.value}" for name in Status)
        return f"Sweep({len(self)} builds over {', '.join(self.values)}: {counts})"

    @property
    def simulated(self) -> bool:
        """Whether each was simulated in full."""
        return self.lifts is None

    @cached_property
    def ranks(self) -> np.ndarray:
        """Status of each, the worst of its checks, as its rank."""
        return np.min([column.rank for column in self.checks], axis=0)

    def status(self, index: int) -> Status:
        """Status of one build."""
        return list(Status)[self.ranks[index]]

    def check(self, key: CheckKey) -> CheckColumn | None:
        """The column of a check; None where it does not apply."""
        return next((column for column in self.checks if column.key is key), None)

    @cached_property
    def lifted(self) -> np.ndarray:
        """Whether each reaches its target."""
        return np.array([end is End.REACHED for end in self.ends])

    def is_read(self, key: CheckKey) -> np.ndarray:
        """Of which builds a check is read: one of `WHILE_LIFTED` of those that are lifted, or
        raised for as long as the programme asks."""
        carried_out = np.array([end is End.DONE for end in self.ends])
        return self.lifted | carried_out | (key not in WHILE_LIFTED)

    @cached_property
    def sound(self) -> np.ndarray:
        """Whether no check of each fails."""
        return self.ranks > Status.FAILS.rank

    @cached_property
    def always(self) -> tuple[CheckKey, ...]:
        """Checks that are thin for all that do not fail."""
        thin = [c.key for c in self.checks if np.all(c.rank[self.sound] == Status.THIN.rank)]
        return tuple(thin) if self.sound.any() else ()

    @cached_property
    def meets(self) -> np.ndarray:
        """Whether each meets every limit that the values can change."""
        thin = [c.rank == Status.THIN.rank for c in self.checks if c.key not in self.always]
        return self.sound & ~np.any(thin, axis=0)

    @cached_property
    def changeable(self) -> frozenset[CheckKey]:
        """Checks that the values can change: those that differ between the builds."""
        finite = [(column, column.value[np.isfinite(column.value)]) for column in self.checks]
        return frozenset(
            column.key
            for column, values in finite
            if (len(values) and np.ptp(values) > 1e-9 * np.max(np.abs(values)))
            or len(set(column.rank)) > 1
        )

    @cached_property
    def thin_counts(self) -> np.ndarray:
        """Thin checks of each among those that the values can change."""
        return np.sum(
            [(c.rank == Status.THIN.rank) & (c.key in self.changeable) for c in self.checks],
            axis=0,
        )

    def order(self, aim: np.ndarray) -> np.ndarray:
        """The builds, what to take first: without a failing check, then with the fewest thin ones
        that the values can change, then with the least of the aim (NaN counts as the most)."""
        return np.lexsort((np.where(np.isnan(aim), np.inf, aim), self.thin_counts, ~self.sound))

    def binding(self, index: int, leave_out: Collection[CheckKey] = ()) -> CheckKey | None:
        """The worst check of one build that the values can change; None where none is thin or
        fails.

        A thin target has a thin starting margin for its cause, which is named instead.
        """
        found = [
            column
            for column in self.checks
            if column.key in self.changeable
            and column.key not in leave_out
            and column.rank[index]
            <= (Status.FAILS if column.key is CheckKey.TARGET else Status.THIN).rank
        ]
        return min(found, key=lambda column: column.rank[index]).key if found else None

    def cause(self, index: int, leave_out: Collection[CheckKey] = ()) -> CheckKey | None:
        """The check that one build has its status from, one that the values can change first."""
        key = self.binding(index, leave_out)
        worst = [column.key for column in self.checks if column.rank[index] == self.ranks[index]]
        return key if key in worst or self.ranks[index] >= Status.NOT_CHECKED.rank else worst[0]

    def least_share(
        self, keys: Collection[CheckKey] | None = None, limit: str = "required"
    ) -> np.ndarray:
        """Least share of value and limit of some checks; below 1 a limit is missed. [-]

        Parameters
        ----------
        keys : collection of CheckKey, optional
            Left out, those that the values can change.
        limit : str
            ``required`` or ``hard``: which limit counts.
        """
        keys, shares = self.changeable if keys is None else keys, [np.full(len(self), np.inf)]
        for column in self.checks:
            least = getattr(column, limit)
            if column.key in keys and column.key is not CheckKey.TARGET and least is not None:
                origin = self.inputs.settings.ambient if column.key is CheckKey.WINDING else 0.0
                with np.errstate(divide="ignore", invalid="ignore"):
                    share = (column.value - origin) / (least - origin)
                    share = share if column.side is Side.LEAST else 1 / share
                shares.append(np.where(np.isnan(share), np.inf, share))
        return np.min(shares, axis=0)

    def rows(self) -> list[dict[str, Any]]:
        """One dict a build, in SI with the unit in each key; None where there is no number."""
        words = [status.value for status in Status]
        columns: dict[str, Sequence[Any]] = {
            **{
                key(path, spec_at(self.inputs, path).unit): column.tolist()
                for path, column in self.values.items()
            },
            "status": [words[rank] for rank in self.ranks],
            "binding": [self.binding(i) for i in range(len(self))],
            "end": self.ends.tolist(),
            **{key(name, unit): self.results[name].tolist() for name, unit in UNITS.items()},
        }
        for c in self.checks:
            if c.key not in NOT_IN_ROWS:
                columns[key(c.key.value, CHECK_UNITS.get(c.key, ""))] = c.value.tolist()
            columns[f"{c.key.value}_status"] = [words[rank] for rank in c.rank]
        columns |= {
            "part": self.parts.tolist(),
            "problem": [self.problems.get(i) for i in range(len(self))],
        }
        return [
            {name: _plain(values[i]) for name, values in columns.items()} for i in range(len(self))
        ]

    def to_csv(self) -> str:
        """The rows as CSV text under a head of keys; empty where there is no number."""
        return rows_csv(self.rows())

    def to_frame(self) -> Any:
        """The rows as a pandas DataFrame.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        import pandas

        return pandas.DataFrame(self.rows())


def rows_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows with the same keys as CSV text; empty where there is no number."""
    return csv_text(rows[0], (row.values() for row in rows)) if rows else ""


def _plain(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else "inf"
    return getattr(value, "value", value)


def sweep(
    inputs: Inputs,
    values: Mapping[str, Sequence[Any] | np.ndarray],
    *,
    simulate: bool = False,
    grid: bool = True,
    ranges: bool = True,
    executor: Any = None,
    workers: int | None = None,
) -> Sweep:
    """Builds of a scenario with other values of some keys.

    Parameters
    ----------
    inputs : Inputs
    values : Mapping of str to sequence
        By path: in SI (°C for temperatures). `winchsim.sweep` takes texts as in a file too.
    simulate : bool
        Whether each is simulated in full, instead of all at once by the quasi-static model.
    grid : bool
        Whether every value is combined with every other, the last key changing fastest; else the
        first values make one build, the second ones the next.
    ranges : bool
        Whether checks have the range of what is assumed: in full of each build, else of the
        scenario's own, carried over as factors.
    executor : Executor, optional
        Of concurrent.futures' kind: where full simulations run. Left out, processes of this
        machine.
    workers : int, optional
        How many of these; 1 for none.

    Returns
    -------
    Sweep

    Raises
    ------
    InputError, DomainError
        A path is not known or does not apply, the lists are of different lengths, or the load is
        not raised.
    """
    refuse_if(not values, "values", {}, "at least one path with its values")
    lists = {path: np.asarray(given) for path, given in values.items()}
    if grid:
        points = np.array(
            list(itertools.product(*(range(len(v)) for v in lists.values()))), dtype=int
        )
        lists = {path: column[points[:, n]] for n, (path, column) in enumerate(lists.items())}
    for row in idle(replace(inputs, given=inputs.given | lists.keys())):
        if row[0] in lists and row[1] not in lists:
            raise InputError((misplaced(row),))
    variants = vary(inputs, lists)
    if not simulate:
        return by_slow_model(variants, ranges=ranges)
    from concurrent.futures import ProcessPoolExecutor  # heavy, and a single lift needs none

    scenarios = [variants.problems.get(i) or variants.one(i) for i in range(variants.size)]
    alone = executor is not None or workers == 1
    with nullcontext(executor) if alone else ProcessPoolExecutor(workers) as pool:
        each = map if pool is None else pool.map
        found = list(each(_assessed, scenarios, itertools.repeat(ranges)))
    return of_assessments(inputs, variants.columns, found)


# --- by the quasi-static model


def by_slow_model(
    variants: Variants, *, ranges: bool = True, more: Mapping[str, Any] | None = None
) -> Sweep:
    """A sweep of variants by the quasi-static model; `more` is what was `measured` of them, where
    that was done already."""
    machine, lifts = build(variants.inputs), lift_all(variants)
    known = find_ranges(variants.inputs, machine) if ranges else None
    checks = check_columns(variants, lifts, capacities(machine), known, more)
    results = {name: getattr(lifts, name) for name in UNITS}
    ends = np.array([ENDS[SlowEnd(int(end))] for end in lifts.end], dtype=object)
    weakest = np.argmin(lifts.kind_factors_over_required, axis=1)
    parts = lifts.kind_short_links[np.arange(len(lifts)), weakest]
    return Sweep(
        variants.inputs, variants.columns, checks, results, ends, parts, variants.problems, lifts
    )


# --- in full


def _assessed(inputs: Inputs | str, ranges: bool) -> Assessment | str:
    """Assessment of a full simulation, or why there is none."""
    if isinstance(inputs, str):
        return inputs
    try:
        return assess(run(inputs), actions=False, ranges=ranges)
    except WinchsimError as error:
        return str(error)


def of_assessments(
    inputs: Inputs, values: Mapping[str, np.ndarray], found: Sequence[Assessment | str]
) -> Sweep:
    """A sweep of full simulations: each assessed, or why there is no build."""
    good = [None if isinstance(each, str) else each for each in found]
    asked = {CheckKey.TARGET, *(check.key for a in good if a for check in a.checks)}
    columns = [_column(key, good) for key in CheckKey if key in asked]
    times = _numbers([a and a.check(CheckKey.LIFT_TIME) for a in good])
    results = {"lift_time": times} | {
        name: _numbers([a and a.reading(ReadingKey(name)) for a in good])
        for name in UNITS
        if name != "lift_time"
    }
    ends = np.array([a and a.target.end for a in good], dtype=object)
    parts = np.array([a.parts[0].label if a and a.parts else "" for a in good], dtype=object)
    problems = {i: each for i, each in enumerate(found) if isinstance(each, str)}
    return Sweep(inputs, values, tuple(columns), results, ends, parts, problems)


def _column(key: CheckKey, found: Sequence[Assessment | None]) -> CheckColumn:
    checks = [a and a.check(key) for a in found]
    side = next((check.side for check in checks if check), Side.LEAST)
    absent = {CheckKey.TARGET: Status.FAILS, CheckKey.PROGRAMME: Status.OK}
    missing = absent.get(key, Status.NOT_CHECKED)
    ranks = np.array([(check.status if check else missing).rank for check in checks])
    names = ("value", "low", "high", "hard", "required")
    return CheckColumn(key, side, rank=ranks, **{name: _numbers(checks, name) for name in names})


def _numbers(rows: Sequence[object], name: str = "value") -> np.ndarray:
    """A number of each row; NaN where there is none."""
    return np.array([getattr(row, name, None) for row in rows], dtype=float)
